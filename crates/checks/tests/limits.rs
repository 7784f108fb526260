//! Limits crossed on purpose, and kept: random circuits whose parts and ratings are written to fit what the circuit asks for.
//!
//! Each limit stands at what is asked for times a margin. With every margin at 1.1 or more nothing may be told; with one of
//! them at 0.9 or less, its rule and no other is, about the right thing, and a way out that is offered ends it.

use std::fmt::Write as _;

use ampersum_checks::{Finding, Settings, check};
use analysis::{Answer, Study, inputs};
use circuit::{Book, OpampId};

/// How many circuits for each limit.
const EACH: usize = 24;

/// The limits that are crossed: the rule, and which of its limits.
const CROSSED: &[(&str, &str)] = &[
    ("output_current", "current"),
    ("input_range", "inputs"),
    ("supply_range", "least"),
    ("supply_range", "most"),
    ("resistor_power", "watts"),
    ("voltage_rating", "volts"),
    ("capacitive_load", "farads"),
    ("resistor_range", "bias"),
    ("resistor_range", "input resistance"),
    ("touch_voltage", "rails"),
    ("touch_voltage", "wave"),
];

#[test]
fn a_circuit_that_keeps_ten_percent_away_from_every_limit_has_no_finding() {
    let mut dice = Dice(7);
    for _ in 0..12 * EACH {
        let stages = Stages::thrown(&mut dice);
        let text = stages.text(&mut dice, None);
        let told = told(&text);
        assert!(told.is_empty(), "{told:#?}\n{text}");
    }
}

#[test]
fn each_limit_that_is_crossed_is_named_alone_and_its_way_out_ends_it() {
    let mut dice = Dice(8);
    let (mut wrong, mut ways) = (String::new(), 0);
    for (rule, limit) in CROSSED {
        for _ in 0..EACH {
            let (stages, which) = loop {
                let stages = Stages::thrown(&mut dice);
                let which = dice.below(stages.count);
                if stages.can_cross(limit, which) {
                    break (stages, which);
                }
            };
            let text = stages.text(&mut dice, Some((limit, which)));
            let told = told(&text);
            let about = stages.name_of(limit, which);
            let [one] = &told[..] else {
                writeln!(wrong, "{rule} ({limit}): {told:#?}\n{text}").expect("a string");
                continue;
            };
            if one.rule != *rule || !one.subjects.contains(&about) {
                writeln!(wrong, "{rule} ({limit}) at {about}: {one:#?}\n{text}").expect("a string");
            }
            if let Some(fix) = one.fixes.first() {
                let mut mended = text.clone();
                for edit in fix.edits.iter().rev() {
                    mended.replace_range(edit.span.range(), &edit.text);
                }
                ways += 1;
                let left = self::told(&mended);
                if !left.is_empty() {
                    writeln!(wrong, "{}: {left:#?}\n{mended}", fix.title).expect("a string");
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", &wrong[..wrong.len().min(6000)]);
    assert!(ways >= 3 * EACH, "{ways} ways out");
}

/// One to three stages in a row, each with a load, and a capacitor at each input.
struct Stages {
    lines: String,
    count: usize,
    asked: Vec<Asked>,
    /// The largest voltage at a pin.
    largest: f64,
}

/// What the circuit asks of one stage.
struct Asked {
    /// Of its op-amp's output.
    amperes: f64,
    /// At its op-amp's inputs, the one further from 0 V.
    input: f64,
    /// Of its load.
    watts: f64,
    /// Of the capacitor at its input.
    volts: f64,
    /// What its op-amp's inputs look into.
    ohms: [f64; 2],
}

impl Stages {
    fn thrown(dice: &mut Dice) -> Stages {
        loop {
            let it = Stages::wired(dice);
            if it.largest < 13.0 {
                return it;
            }
        }
    }

    fn wired(dice: &mut Dice) -> Stages {
        let count = 1 + dice.below(3);
        let mut lines = format!("source probe: n0 = {} V\n", dice.between(0.2, 2.0));
        for it in 1..=count {
            let (from, to) = (format!("n{}", it - 1), format!("n{it}"));
            let mut ohms = || format!("{:.0}", dice.between(2e3, 60e3));
            let (a, b, c, d) = (ohms(), ohms(), ohms(), ohms());
            let wired = match dice.below(4) {
                0 => format!(
                    "{from} -- Ra{it} {a} -- p{it}\nopamp A{it}: plus p{it}, minus {to}, drives {to}, part p{it}\n\
                     {from} -- Rb{it} {b} -- ground\n{to} -- Rc{it} {c} -- ground\n"
                ),
                1 => format!(
                    "{from} -- Ra{it} {a} -- m{it} -- Rb{it} {b} -- {to}\n{from} -- Rc{it} {c} -- ground\n\
                     opamp A{it}: plus ground, minus m{it}, drives {to}, part p{it}\n"
                ),
                2 => format!(
                    "opamp A{it}: plus {from}, minus m{it}, drives {to}, part p{it}\n\
                     {to} -- Ra{it} {a} -- m{it} -- Rb{it} {b} -- ground\n{to} -- Rc{it} {c} -- ground\n"
                ),
                _ => format!(
                    "{from} -- Ra{it} {a} -- m{it} -- Rb{it} {b} -- {to}\n\
                     {from} -- Rc{it} {c} -- p{it} -- Rd{it} {d} -- ground\n\
                     opamp A{it}: plus p{it}, minus m{it}, drives {to}, part p{it}\n"
                ),
            };
            let load = dice.between(1e3, 5e3);
            let rest = format!(
                "{to} -- RL{it} {load:.0} WATTS{it} -- ground\n{from} -- Rs{it} 1k -- q{it} -- C{it} 10 nF VOLTS{it} -- ground\n"
            );
            lines.push_str(&wired);
            lines.push_str(&rest);
        }
        let parts: String = (1..=count).map(|it| format!("part p{it}\nend\n")).collect();
        let unrated = lines.lines().map(|it| {
            let words = it.split(' ');
            let kept = words.filter(|it| !it.starts_with("WATTS") && !it.starts_with("VOLTS"));
            kept.collect::<Vec<_>>().join(" ") + "\n"
        });
        let (book, study) = studied(&format!(
            "{parts}circuit c\n{}",
            unrated.collect::<String>()
        ));
        let circuit = &book.circuits[0];
        let solution = study.solution(circuit, &book.parts);
        let opamps: Vec<OpampId> = (0..count as u32).map(OpampId).collect();
        let seen = inputs::resistances(circuit, &opamps);
        let known = |it: &Option<Answer>| it.as_ref().expect("known").to_f64();
        let volts = |node: circuit::NodeId| known(&solution.nodes[node.index()]).abs();
        let element = |name: String| {
            let at = circuit.elements.iter().position(|it| it.name == name);
            solution.elements[at.expect("an element")]
                .as_ref()
                .expect("known")
        };
        let asked = (0..count).map(|index| {
            let (opamp, output) = (&circuit.opamps[index], &solution.opamps[index]);
            Asked {
                amperes: known(&output.as_ref().expect("known").current).abs(),
                input: volts(opamp.plus).max(volts(opamp.minus)),
                watts: known(&element(format!("RL{}", index + 1)).power()),
                volts: element(format!("C{}", index + 1)).voltage.to_f64().abs(),
                ohms: [0, 1].map(|pin| known(&seen[index][pin])),
            }
        });
        let pins = circuit
            .opamps
            .iter()
            .flat_map(|it| [it.plus, it.minus, it.drives]);
        Stages {
            count,
            asked: asked.collect(),
            largest: pins.map(volts).fold(1.0, f64::max),
            lines,
        }
    }

    /// Whether the stage asks for anything that could be too much.
    fn can_cross(&self, limit: &str, which: usize) -> bool {
        let it = &self.asked[which];
        match limit {
            "inputs" => it.input > 0.2,
            "bias" => (it.ohms[0] - it.ohms[1]).abs() > 500.0 && self.largest < 4.0,
            "volts" => it.volts > 0.1,
            _ => true,
        }
    }

    /// What the finding must be about.
    fn name_of(&self, limit: &str, which: usize) -> String {
        let stage = which + 1;
        match limit {
            "watts" => format!("RL{stage}"),
            "volts" => format!("C{stage}"),
            "farads" => format!("CL{stage}"),
            "wave" => "w".to_owned(),
            "rails" => "A1".to_owned(),
            _ => format!("A{stage}"),
        }
    }

    /// The circuit with a part for each op-amp and a rating for each load and capacitor, each with a margin; the one that is
    /// `crossed` without.
    fn text(&self, dice: &mut Dice, crossed: Option<(&str, usize)>) -> String {
        let mut margin = |limit: &str, which: usize| match crossed {
            Some(it) if it == (limit, which) => dice.between(0.3, 0.9),
            // The bias current moves the outputs.
            Some(("bias", _)) => dice.between(10.0, 20.0),
            _ => dice.between(1.1, 3.0),
        };
        let is_crossed = |limit: &str| crossed.is_some_and(|it| it.0 == limit);
        let rail = match crossed.map(|it| it.0) {
            Some("rails") => 33.0 + self.largest,
            Some("bias") => self.largest * 4.0 + 1.0,
            _ => self.largest * 1.2 + 0.2,
        };
        let (mut parts, mut lines) = (String::new(), self.lines.clone());
        for (index, asked) in self.asked.iter().enumerate() {
            let name = index + 1;
            let [plus, minus] = asked.ohms;
            let bias = match is_crossed("bias") {
                true => 0.01 / (plus - minus).abs().max(100.0) / margin("bias", index),
                false => 0.0,
            };
            // The inputs keep to what they have, and a little more.
            let reach = rail - (asked.input + 0.01) * margin("inputs", index);
            write!(
                parts,
                "part p{name}\n  gain 1000000\n  input_resistance {:.0} ohm\n  bias_current {bias:e} A\n  supply {:.4} V to {:.4} V\n  \
                 current {:e} A\n  inputs {:e} V\nend\n",
                20.0 * (plus + minus + 1.0) * margin("input resistance", index),
                2.0 * rail / margin("least", index),
                2.0 * rail * margin("most", index),
                (asked.amperes + 1e-6) * margin("current", index),
                reach.max(0.0),
            )
            .expect("a string");
            let watts = format!("{:e} W", (asked.watts + 1e-9) * margin("watts", index));
            let volts = format!("{:e} V", (asked.volts + 1e-9) * margin("volts", index));
            lines = lines.replace(&format!("WATTS{name}"), &watts);
            lines = lines.replace(&format!("VOLTS{name}"), &volts);
            // A hint begins at 50 pF, a warning at 100 pF.
            let farads = 50.0 / margin("farads", index);
            writeln!(lines, "n{name} -- CL{name} {farads:.1} pF -- ground").expect("a string");
        }
        // Against the far rail.
        let peak = (42.4 / margin("wave", crossed.map_or(0, |it| it.1)) - rail).max(0.1);
        writeln!(
            lines,
            "source coil: w = sine {peak:.3} V at 50 Hz\nw -- Rw 1M -- ground"
        )
        .expect("a string");
        format!("{parts}circuit c\nsupply +{rail:.4} V and -{rail:.4} V\n{lines}")
    }
}

fn studied(text: &str) -> (Book, Study) {
    let book = circuit::build("limits.amp", text.into(), &mut |_| None);
    assert!(book.faults.is_empty(), "{:?}\n{text}", book.faults);
    let study = Study::new(&book.circuits[0], &book.parts);
    (book, study)
}

/// Everything that is told, but for what is not computed yet.
fn told(text: &str) -> Vec<Finding> {
    let (book, study) = studied(text);
    let mut found = check(&book, &[study], &Settings::default());
    found.retain(|it| it.rule != "not_built");
    found
}

/// Numbers that look random and are the same each time (a linear congruence, constants after Knuth, from memory).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        self.0 >> 33
    }

    fn below(&mut self, most: usize) -> usize {
        self.next() as usize % most
    }

    /// A number with three digits behind the point of its size.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = self.below(1000) as f64 / 999.0;
        (low + (high - low) * share).max(low)
    }
}
