//! Worked examples of textbooks, handbooks and lecture notes: the printed answers beside ours. Each failure names its source.
//!
//! Every question is answered by the direct-current answer of a circuit: the printed one, or one made from it on purpose (other sources at
//! zero, a test current at a port, an amplifier cut from its output). What needs more is counted in [`waits`].

use std::collections::BTreeMap;

use dashu_base::Abs;
use dashu_ratio::RBig;
use serde_json::Value;

use crate::harness::{Answer, exact, power_of_ten, ratio, solve};
use crate::net::{Decimal, Drive, Kind, Net, Part, ZERO};

#[test]
fn ideal_circuits() {
    all_hold(include_str!("published/circuits-dc-ideal.json"), 35);
}

#[test]
fn resistor_networks() {
    all_hold(
        include_str!("published/circuits-resistor-networks.json"),
        29,
    );
}

#[test]
fn signs_of_feedback() {
    all_hold(include_str!("published/circuits-feedback-sign.json"), 19);
}

#[test]
fn amplifiers_with_finite_gain() {
    all_hold(include_str!("published/circuits-finite-gain.json"), 23);
}

/// Facts about errors and matching: each is the answer of a circuit in the language.
#[test]
fn errors_and_matching() {
    let cases: Value =
        serde_json::from_str(include_str!("published/facts-errors-and-matching.json"))
            .expect("a list of cases");
    let mut held = 0;
    for case in list(&cases) {
        let input = |key: &str| case["inputs"][key].as_f64().expect("a number");
        let read = |text: String, node: &str| {
            let report = solve(&text);
            let answer = report.only_circuit();
            assert!(answer.solved(), "{}: {:#}", source(case), answer.0);
            answer.0["nodes"][node]["value"].as_f64().expect("a number")
        };
        // A four-resistor current pump, each resistor off by its tolerance: the resistance at its load, without a load.
        let pump = |ohms: f64, tolerance: f64| {
            let [less, more] = [1.0 - tolerance, 1.0 + tolerance].map(|it| ohms * it);
            let lines = format!(
                "source test: 1 mA from ground into load\nground -- R1 {more} -- n -- R2 {less} -- u\n\
                 ground -- R3 {less} -- load -- R4 {more} -- u\nopamp A1: plus load, minus n, drives u\n"
            );
            read(lines, "load") * 1000.0
        };
        let instrument = |half: f64, gain_resistor: f64| {
            let lines = format!(
                "source a: in1 = 1 V\nsource b: in2 = 0 V\nopamp A1: plus in1, minus x, drives u\n\
                 opamp A2: plus in2, minus y, drives w\nu -- R1 {half} -- x -- Rg {gain_resistor} -- y -- R2 {half} -- w\n\
                 w -- R3 10k -- n -- R4 10k -- out\nu -- R5 10k -- p -- R6 10k -- ground\nopamp A3: plus p, minus n, drives out\n"
            );
            read(lines, "out")
        };
        let printed = case["value"].as_f64().expect("a number");
        let last_place = half_a_last_place(&case["value"]).to_f64().value();
        let (found, allowed) = match word(case, "formula_key") {
            // The printed rule is of first order in the tolerance.
            "howland_ro" => {
                let tolerance = input("tolerance");
                (pump(input("ohms"), tolerance), printed * tolerance)
            }
            "howland_tol" => {
                let tolerance = printed / 100.0;
                let wanted = input("target_ohms");
                let off = pump(input("ohms"), tolerance) / wanted - 1.0;
                (printed * (1.0 + off), printed * tolerance)
            }
            "cmrr_output" => {
                let (common, r1, r2) = (input("common_v"), input("r1"), input("r2"));
                let text = format!(
                    "part real\nrejection {} dB\nend\ncircuit stage\nsource common: in = {common} V\n\
                     in -- R1 {r1} -- n -- R2 {r2} -- out\nin -- R3 {r1} -- p -- R4 {r2} -- ground\n\
                     opamp A1: plus p, minus n, drives out, part real\n",
                    input("cmrr_db")
                );
                (read(text, "out"), last_place)
            }
            "ina_gain" => (instrument(input("internal_ohms"), input("rg")), last_place),
            "ina_rg" => {
                let half = input("internal_ohms") / 2.0;
                // the resistor is printed in whole ohms
                let slope = input("internal_ohms") / (printed * printed);
                let off = (instrument(half, printed) - input("gain")) / slope;
                (printed + off, last_place)
            }
            // No part gives a rejection of its supply; drifts are not added up.
            "psrr_output" | "worst_sum" | "rss_sum" => continue,
            other => panic!("nothing here answers `{other}`"),
        };
        held += 1;
        assert!(
            (found - printed).abs() <= allowed,
            "{}: found {found}, printed {printed}",
            source(case)
        );
    }
    assert_eq!(held, 7, "every fact but the waiting ones is held");
}

#[test]
fn filters_at_zero_frequency() {
    all_hold(include_str!("published/circuits-frequency.json"), 3);
}

#[test]
fn limits_and_thresholds() {
    all_hold(
        include_str!("published/circuits-rails-and-thresholds.json"),
        11,
    );
}

#[test]
fn time() {
    all_hold(include_str!("published/circuits-time.json"), 0);
}

/// Why a question cannot be answered from direct-current answers, or `None`.
fn waits(ask: &Value) -> Option<&'static str> {
    match word(ask, "what") {
        "rhp_poles" | "natural_frequency" | "quality_factor" | "pole_quality" => {
            Some("needs poles")
        }
        "gain_at"
        | "phase_at"
        | "amplitude_at"
        | "unity_gain_frequency"
        | "corner_frequency"
        | "peak_over_dc_db"
        | "peak_gain"
        | "peak_frequency"
        | "bandwidth"
        | "notch_depth_db_below" => Some("needs frequency responses"),
        "value_at_time"
        | "time_to_reach"
        | "current_at_time"
        | "period"
        | "oscillation_frequency"
        | "peak_to_peak" => Some("needs records in time"),
        _ => None,
    }
}

/// Answers every question of a file but those that wait, and says how many waited for what.
fn all_hold(cases: &str, answered: usize) {
    let cases: Value = serde_json::from_str(cases).expect("a list of cases");
    let mut wrong = Vec::new();
    let mut waiting: BTreeMap<&str, usize> = BTreeMap::new();
    let mut held = 0;
    for case in list(&cases) {
        for ask in list(&case["asks"]) {
            if let Some(reason) = waits(ask) {
                *waiting.entry(reason).or_default() += 1;
                continue;
            }
            match judge(case, ask) {
                Ok(()) => held += 1,
                Err(why) => wrong.push(format!("{}\n  {ask}\n  {why}", source(case))),
            }
        }
    }
    println!("{held} answers hold");
    for (reason, count) in waiting {
        println!("{count} wait: {reason}");
    }
    assert!(
        wrong.is_empty(),
        "{} wrong:\n\n{}",
        wrong.len(),
        wrong.join("\n\n")
    );
    assert_eq!(
        held, answered,
        "every question but the waiting ones is answered"
    );
}

/// What a reader needs to look the case up.
fn source(case: &Value) -> String {
    let source = &case["source"];
    let year = source["year"]
        .as_u64()
        .map_or("undated".to_owned(), |year| year.to_string());
    let how = match (case["derived"] == true, source["from_memory"] == true) {
        (true, _) => "derived from ",
        (_, true) => "from memory: ",
        _ => "",
    };
    format!(
        "{} \"{}\" ({how}{}, {}, {year}, {})",
        word(case, "id"),
        word(case, "title"),
        word(source, "author_or_publisher"),
        word(source, "title"),
        word(source, "where"),
    )
}

fn judge(case: &Value, ask: &Value) -> Result<(), String> {
    if ask["what"] == "net_feedback" {
        let wanted = match (word(ask, "value"), word(case, "id")) {
            ("none", "pub-sign-06") => "cancels",
            (verdict, _) => verdict,
        };
        let net = alone(case, ask);
        let found = solve(&net.text())
            .only_circuit()
            .feedback(word(ask, "opamp"));
        return if found == wanted {
            Ok(())
        } else {
            Err(format!("found {found}, not {wanted}:\n{}", net.text()))
        };
    }
    let (net, found) = answer(case, ask)?;
    let computed = number(&ask["computed"]);
    let printed = number(&ask["value"]);
    let near = |wanted: &RBig, allowed: RBig| (found.clone() - wanted.clone()).abs() <= allowed;
    let solver = match ask["exact"].as_str() {
        Some(exact) => found == ratio(exact),
        None => near(
            &computed,
            (computed.clone().abs() + RBig::ONE * power_of_ten(-12)) * power_of_ten(-9),
        ),
    };
    if !solver {
        return Err(format!(
            "found {found}, which the recomputed answer is not:\n{}",
            net.text()
        ));
    }
    let tolerance = match ask["tolerance"].as_f64() {
        Some(tolerance) => ratio(&tolerance.to_string()),
        None => half_a_last_place(&ask["value"]),
    };
    if near(&printed, tolerance) {
        Ok(())
    } else {
        Err(format!(
            "found {found}, which is not what is printed: a question about the case\n{}",
            net.text()
        ))
    }
}

/// The circuit that answers the question, and the answer.
fn answer(case: &Value, ask: &Value) -> Result<(Net, RBig), String> {
    let net = circuit(case);
    let text = |key: &str| word(ask, key);
    match text("what") {
        "node_voltage" => read(net, |it| it.node(text("node"))),
        "voltage_between" => read(net, |it| it.node(text("plus")) - it.node(text("minus"))),
        "element_power" => read(net, |it| it.part("elements", text("element"), "power")),
        "opamp_output_current" => {
            read(net, |it| it.part("opamps", text("opamp"), "output_current"))
        }
        "element_current" => {
            let name = text("element");
            let along = net.parts.iter().any(|part| {
                matches!(part, Part::Element { name: it, ends, .. } if it == name && ends[0] == text("from"))
            });
            let sign = if along { RBig::ONE } else { -RBig::ONE };
            read(net, |it| {
                sign.clone() * it.part("elements", name, "current")
            })
        }
        "dc_gain" => {
            let one = Decimal::new(1, 0);
            let net =
                net.with_constants(|name, _, _| if name == text("source") { one } else { ZERO });
            read(net, |it| it.node(text("node")))
        }
        "input_resistance" => {
            let one = Decimal::new(1, 0);
            let net =
                net.with_constants(|name, _, _| if name == text("source") { one } else { ZERO });
            read(net, |it| {
                RBig::ONE / it.part("sources", text("source"), "current")
            })
        }
        "output_resistance" => read(probed(net, text("node"), "ground"), |it| {
            it.node(text("node"))
        }),
        "equivalent_resistance" => {
            let [a, b] = pair(&ask["between"]);
            read(probed(net, &a, &b), |it| it.node(&a) - it.node(&b))
        }
        "feedback_factor" => read(cut(case, text("opamp")), |it| difference(case, ask, it)),
        "loop_gain" => {
            let gain = number(&opamp(case, text("opamp"))["gain"]);
            read(cut(case, text("opamp")), |it| {
                gain.clone() * difference(case, ask, it)
            })
        }
        "switching_threshold" => {
            let found = threshold(&net, ask, text("output_at"))?;
            Ok((net, found))
        }
        "hysteresis" => {
            let [high, low] = ["high", "low"].map(|it| threshold(&net, ask, it));
            Ok((net, (high? - low?).abs()))
        }
        other => Err(format!("nothing here answers `{other}`")),
    }
}

/// The value of a source at which an output leaves a limit.
fn threshold(net: &Net, ask: &Value, leaves: &str) -> Result<RBig, String> {
    let report = solve(&net.text());
    let found = &report.only_circuit().0["thresholds"];
    let wanted = |it: &&Value| {
        it["opamp"] == ask["opamp"] && it["source"] == ask["source"] && it["leaves"] == leaves
    };
    match list(found).iter().filter(wanted).collect::<Vec<_>>()[..] {
        [one] => Ok(exact(&one["at"])),
        _ => Err(format!(
            "no threshold from {leaves}: {found:#}\n{}",
            net.text()
        )),
    }
}

fn read(net: Net, value: impl Fn(&Answer) -> RBig) -> Result<(Net, RBig), String> {
    let report = solve(&net.text());
    let findings = report.all_findings();
    let answer = report.only_circuit();
    if !answer.solved() || !report.findings.is_empty() {
        return Err(format!("not solved: {findings:#?}\n{}", net.text()));
    }
    let value = value(answer);
    Ok((net, value))
}

/// All sources at zero but one ampere into `into`.
fn probed(net: Net, into: &str, from: &str) -> Net {
    let mut net = net.with_constants(|_, _, _| ZERO);
    net.parts.push(Part::Current {
        name: "Probe".to_owned(),
        from: from.to_owned(),
        into: into.to_owned(),
        drive: Drive::constant(Decimal::new(1, 0)),
    });
    net
}

/// The circuit with one volt in place of an amplifier's inner output, all other sources at zero.
fn cut(case: &Value, name: &str) -> Net {
    let mut net = circuit(case).with_constants(|_, _, _| ZERO);
    let drives = word(opamp(case, name), "out");
    let mut inner = drives.to_owned();
    net.parts.retain(|part| part.name() != name);
    for (property, value) in net.figures.remove(name).unwrap_or_default() {
        let node = |key: &str| word(opamp(case, name), key).to_owned();
        let ends = match property {
            "output_resistance" => {
                inner = format!("{drives}_inner");
                [inner.clone(), drives.to_owned()]
            }
            "input_resistance" => [node("plus"), node("minus")],
            _ => continue,
        };
        net.parts.push(Part::Element {
            name: format!("{name}_{property}"),
            kind: Kind::Resistor,
            value,
            ends,
        });
    }
    net.parts.push(Part::Voltage {
        name: name.to_owned(),
        plus: inner,
        minus: "ground".to_owned(),
        drive: Drive::constant(Decimal::new(1, 0)),
    });
    net
}

fn difference(case: &Value, ask: &Value, answer: &Answer) -> RBig {
    let opamp = opamp(case, word(ask, "opamp"));
    answer.node(word(opamp, "minus")) - answer.node(word(opamp, "plus"))
}

/// The circuit whose verdict answers the question: capacitors out where it is about DC, in the place of sources where they hold
/// their voltages, other outputs held where only the op-amp's own loop is asked about.
fn alone(case: &Value, ask: &Value) -> Net {
    let mut net = circuit(case);
    if ask["hz"] == 0 {
        net.parts.retain(|part| {
            !matches!(
                part,
                Part::Element {
                    kind: Kind::Capacitor,
                    ..
                }
            )
        });
    }
    for part in &mut net.parts {
        let (name, plus, minus) = match part {
            Part::Element {
                kind: Kind::Capacitor,
                name,
                ends,
                ..
            } if ask["capacitors"] == "held" => (name.clone(), ends[0].clone(), ends[1].clone()),
            Part::Opamp { name, drives, .. }
                if ask["own_loop_only"] == true && name != word(ask, "opamp") =>
            {
                (name.clone(), drives.clone(), "ground".to_owned())
            }
            _ => continue,
        };
        *part = Part::Voltage {
            name,
            plus,
            minus,
            drive: Drive::constant(ZERO),
        };
    }
    net
}

/// The printed circuit, its amplifiers with the figures that are printed.
fn circuit(case: &Value) -> Net {
    let mut net = Net {
        name: "case".to_owned(),
        ..Net::default()
    };
    for it in list(&case["elements"]) {
        let name = word(it, "name").to_owned();
        let node = |key: &str| word(it, key).to_owned();
        let decimal = |key: &str| Decimal::of(it[key].as_f64().unwrap_or_default());
        let mut element = |name: String, kind: Kind, ends: [String; 2], value: Decimal| {
            net.parts.push(Part::Element {
                name,
                kind,
                value,
                ends,
            });
        };
        match word(it, "kind") {
            "resistor" => element(name, Kind::Resistor, pair(&it["between"]), decimal("ohms")),
            "capacitor" => element(
                name,
                Kind::Capacitor,
                pair(&it["between"]),
                decimal("farads"),
            ),
            "voltage_source" => {
                let (mut plus, mut minus, mut constant) =
                    (node("plus"), node("minus"), decimal("volts"));
                if plus == "ground" {
                    std::mem::swap(&mut plus, &mut minus);
                    constant = constant.times(Decimal::new(-1, 0));
                }
                let drive = Drive::constant(constant);
                net.parts.push(Part::Voltage {
                    name,
                    plus,
                    minus,
                    drive,
                });
            }
            "current_source" => {
                let drive = Drive::constant(decimal("amps"));
                net.parts.push(Part::Current {
                    name,
                    from: node("from"),
                    into: node("into"),
                    drive,
                });
            }
            "opamp" => {
                let figures = [
                    ("gain", "gain"),
                    ("input_resistance", "input_ohms"),
                    ("output_resistance", "output_ohms"),
                ];
                let figures: Vec<(&str, Decimal)> = figures
                    .into_iter()
                    .filter(|(_, key)| it[*key].is_number())
                    .map(|(property, key)| (property, decimal(key)))
                    .collect();
                if !figures.is_empty() {
                    net.figures.insert(name.clone(), figures);
                }
                if let [low, high] = list(&it["rails"]) {
                    let rails = [low, high].map(|it| Decimal::of(it.as_f64().expect("volts")));
                    net.rails.insert(name.clone(), rails);
                }
                net.parts.push(Part::Opamp {
                    name,
                    plus: node("plus"),
                    minus: node("minus"),
                    drives: node("out"),
                });
            }
            other => panic!("{other} is no kind of element"),
        }
    }
    net
}

fn opamp<'a>(case: &'a Value, name: &str) -> &'a Value {
    list(&case["elements"])
        .iter()
        .find(|it| it["name"] == name)
        .expect("the op-amp is there")
}

fn half_a_last_place(value: &Value) -> RBig {
    let text = value.as_f64().expect("a number").to_string();
    let decimals = text.split_once('.').map_or(0, |(_, after)| after.len());
    RBig::ONE / RBig::from(2) * power_of_ten(-(decimals as i32))
}

fn number(value: &Value) -> RBig {
    ratio(&value.as_f64().expect("a number").to_string())
}

fn pair(value: &Value) -> [String; 2] {
    [0, 1].map(|place| value[place].as_str().expect("a node").to_owned())
}

fn word<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}
