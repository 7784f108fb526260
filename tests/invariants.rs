//! What must hold of every answer, whatever the circuit: laws of the trade that need no reference.

use std::collections::{BTreeMap, BTreeSet};

use dashu_ratio::RBig;

use crate::generate;
use crate::harness::{Answer, Report, ratio, solve};
use crate::net::{Decimal, Drive, Kind, Net, Part, ZERO, file};
use crate::random::{Random, seed};

const CIRCUITS: usize = 240;

#[test]
fn there_are_as_many_equations_as_unknown_node_voltages() {
    let sound = sound(1);
    let nets: Vec<Net> = sound.into_iter().map(|(net, _)| net).collect();
    let report = Report::new(ampersum::equations_json("bench.amp", &file(&nets)));
    for (net, printed) in nets.iter().zip(report.circuits) {
        let texts = |value: &serde_json::Value| -> Vec<String> {
            let items = value.as_array().expect("a list").iter();
            items
                .map(|it| it.as_str().unwrap_or_default().to_owned())
                .collect()
        };
        let unknowns = texts(&printed.0["unknowns"]);
        let equations = printed.0["equations"].as_array().expect("a list");
        assert_eq!(unknowns.len(), equations.len(), "{}", net.text());
        let different: BTreeSet<&String> = unknowns.iter().collect();
        assert_eq!(different.len(), unknowns.len(), "{}", net.text());
        let of_kind = |kind: &str| equations.iter().filter(|it| it["kind"] == kind).count();
        assert_eq!(of_kind("virtual"), net.opamps().len(), "{}", net.text());
        let holding = |part: &&Part| {
            matches!(
                part,
                Part::Voltage { .. }
                    | Part::Element {
                        kind: Kind::Inductor,
                        ..
                    }
            )
        };
        assert_eq!(
            of_kind("held"),
            net.parts.iter().filter(holding).count(),
            "{}",
            net.text()
        );
    }
}

#[test]
fn what_is_taken_in_is_given_out() {
    for (net, answer) in sound(2) {
        let mut sum = RBig::ZERO;
        for group in ["elements", "sources"] {
            for name in answer.names(group) {
                let power = answer.part(group, name, "power");
                let product =
                    answer.part(group, name, "voltage") * answer.part(group, name, "current");
                let gives =
                    |part: &Part| matches!(part, Part::Voltage { .. }) && part.name() == name;
                let sign = match net.parts.iter().any(gives) {
                    true => -RBig::ONE,
                    false => RBig::ONE,
                };
                assert_eq!(power, sign * product, "power of {name}:\n{}", net.text());
                sum += power;
            }
        }
        for name in answer.names("opamps") {
            sum -= answer.part("opamps", name, "output_voltage")
                * answer.part("opamps", name, "output_current");
        }
        assert_eq!(sum, RBig::ZERO, "{}", net.text());
    }
}

#[test]
fn the_answers_of_the_sources_alone_add_up() {
    let sound = sound(3);
    let mut alone = Vec::new();
    for (net, _) in &sound {
        for source in independent(net) {
            alone.push(net.with_constants(
                |name, _, constant| {
                    if name == source { constant } else { ZERO }
                },
            ));
        }
    }
    let mut shares = answers(&alone).into_iter();
    for (net, answer) in &sound {
        let mut sum: BTreeMap<String, RBig> = answer
            .nodes()
            .into_keys()
            .map(|node| (node, RBig::ZERO))
            .collect();
        for _ in independent(net) {
            let share = shares.next().expect("one a source");
            for (node, volts) in share.nodes() {
                *sum.entry(node).or_default() += volts;
            }
        }
        assert_eq!(sum, answer.nodes(), "{}", net.text());
    }
}

#[test]
fn order_and_names_change_nothing() {
    let mut random = Random::new(seed(4));
    let sound = sound(4);
    let renamed: Vec<(Net, BTreeMap<String, String>)> = sound
        .iter()
        .map(|(net, _)| renamed(&mut random, net))
        .collect();
    let others: Vec<Net> = renamed.iter().map(|(net, _)| net.clone()).collect();
    for (((net, answer), (other, names)), other_answer) in
        sound.iter().zip(&renamed).zip(answers(&others))
    {
        let new = |name: &String| names.get(name).unwrap_or(name).clone();
        let expected: BTreeMap<String, RBig> = answer
            .nodes()
            .into_iter()
            .map(|(node, volts)| (new(&node), volts))
            .collect();
        assert_eq!(
            expected,
            other_answer.nodes(),
            "{}\n{}",
            net.text(),
            other.text()
        );
        let told = |answer: &Answer, new: &dyn Fn(&String) -> String| {
            let mut told: Vec<(String, Vec<String>)> = answer
                .findings()
                .into_iter()
                .map(|finding| {
                    let mut subjects: Vec<String> = finding.subjects.iter().map(new).collect();
                    subjects.sort();
                    (finding.rule, subjects)
                })
                .collect();
            told.sort();
            told
        };
        assert_eq!(
            told(answer, &new),
            told(&other_answer, &String::clone),
            "{}\n{}",
            net.text(),
            other.text()
        );
    }
}

#[test]
fn resistances_and_currents_scaled_against_each_other_leave_the_voltages_and_verdicts() {
    let sound = sound(5);
    let others: Vec<Net> = sound.iter().map(|(net, _)| more_ohms(net)).collect();
    for ((net, answer), other) in sound.iter().zip(answers(&others)) {
        assert_eq!(answer.nodes(), other.nodes(), "{}", net.text());
        for opamp in net.opamps() {
            assert_eq!(
                answer.feedback(&opamp),
                other.feedback(&opamp),
                "{}",
                net.text()
            );
        }
    }
}

#[test]
fn sources_times_a_factor_are_voltages_times_that_factor_under_the_same_verdicts() {
    let factor = Decimal::new(-7, 0);
    let sound = sound(6);
    let others: Vec<Net> = sound
        .iter()
        .map(|(net, _)| net.with_constants(|_, _, constant| constant.times(factor)))
        .collect();
    for ((net, answer), other) in sound.iter().zip(answers(&others)) {
        let scaled: BTreeMap<String, RBig> = answer
            .nodes()
            .into_iter()
            .map(|(node, volts)| (node, volts * RBig::from(-7)))
            .collect();
        assert_eq!(scaled, other.nodes(), "{}", net.text());
        for opamp in net.opamps() {
            assert_eq!(
                answer.feedback(&opamp),
                other.feedback(&opamp),
                "{}",
                net.text()
            );
        }
    }
}

#[test]
fn a_path_written_backwards_only_turns_its_own_currents() {
    let mut random = Random::new(seed(7));
    let sound = sound(7);
    let turned: Vec<(Net, Vec<String>)> = sound
        .iter()
        .map(|(net, _)| backwards(&mut random, net))
        .collect();
    let others: Vec<Net> = turned.iter().map(|(net, _)| net.clone()).collect();
    for (((net, answer), (other, names)), other_answer) in
        sound.iter().zip(&turned).zip(answers(&others))
    {
        let texts = format!("{}\n{}", net.text(), other.text());
        assert_eq!(
            by_own_names(net, answer),
            by_own_names(other, &other_answer),
            "{texts}"
        );
        for part in &net.parts {
            let (group, what) = current_of(part);
            let sign = if names.iter().any(|name| name == part.name()) {
                -RBig::ONE
            } else {
                RBig::ONE
            };
            assert_eq!(
                answer.part(group, part.name(), what),
                sign * other_answer.part(group, part.name(), what),
                "current of {}:\n{texts}",
                part.name()
            );
        }
    }
}

#[test]
fn open_voltage_over_short_current_is_the_resistance_with_sources_off() {
    let mut random = Random::new(seed(8));
    let mut nets = Vec::new();
    let mut ports = Vec::new();
    for place in 0..3 * CIRCUITS {
        let open = generate::network(&mut random, &format!("open{place}"));
        let nodes: Vec<String> = wired(&open).into_iter().collect();
        let port = random.pick(&nodes).clone();
        let mut short = open.clone();
        short.name = format!("short{place}");
        short.parts.push(Part::Voltage {
            name: "Short".to_owned(),
            plus: port.clone(),
            minus: "ground".to_owned(),
            drive: Drive::constant(ZERO),
        });
        let mut off = open.with_constants(|_, _, _| ZERO);
        off.name = format!("off{place}");
        off.parts.push(Part::Current {
            name: "Probe".to_owned(),
            from: "ground".to_owned(),
            into: port.clone(),
            drive: Drive::constant(Decimal::new(1, 0)),
        });
        nets.extend([open, short, off]);
        ports.push(port);
    }
    let mut compared = 0;
    let all = solve(&file(&nets));
    assert_eq!(all.findings, []);
    for ((port, nets), found) in ports.iter().zip(nets.chunks(3)).zip(all.circuits.chunks(3)) {
        let [open, short, off] = found else {
            unreachable!("three each");
        };
        // A port that a coil shorts already has no current of its own.
        let known = short.0["sources"]["Short"]["current"].is_object();
        if !(open.solved() && short.solved() && off.solved() && known) {
            continue;
        }
        compared += 1;
        let into_short = -short.part("sources", "Short", "current");
        assert_eq!(
            open.node(port),
            into_short * off.node(port),
            "at {port} of\n{}",
            nets[0].text()
        );
    }
    assert!(compared >= CIRCUITS, "only {compared} ports were compared");
}

#[test]
fn resistors_in_a_row_are_one_resistor() {
    let mut random = Random::new(seed(9));
    let mut nets = Vec::new();
    while nets.len() < 2 * CIRCUITS {
        let net = generate::amplifier(&mut random, &format!("c{}", nets.len()));
        if let Some(merged) = merged(&net) {
            nets.extend([net, merged]);
        }
    }
    let found = answers(&nets);
    for (nets, found) in nets.chunks(2).zip(found.chunks(2)) {
        let mut longer = by_own_names(&nets[0], &found[0]);
        let shorter = by_own_names(&nets[1], &found[1]);
        longer.retain(|node, _| shorter.contains_key(node));
        assert_eq!(longer, shorter, "{}", nets[0].text());
        for part in &nets[1].parts {
            let (group, what) = current_of(part);
            assert_eq!(
                found[0].part(group, part.name(), what),
                found[1].part(group, part.name(), what),
                "current of {}:\n{}",
                part.name(),
                nets[0].text()
            );
        }
    }
}

#[test]
fn a_resistor_across_an_ideal_source_or_output_moves_no_voltage() {
    let mut random = Random::new(seed(10));
    let sound = sound(10);
    let others: Vec<Net> = sound
        .iter()
        .map(|(net, _)| {
            let mut places: Vec<[String; 2]> = Vec::new();
            for part in &net.parts {
                match part {
                    Part::Voltage { plus, minus, .. } => {
                        places.push([plus.clone(), minus.clone()]);
                    }
                    Part::Opamp { drives, .. } => {
                        places.push([drives.clone(), "ground".to_owned()]);
                    }
                    _ => {}
                }
            }
            let mut other = net.clone();
            if !places.is_empty() {
                other.parts.push(Part::Element {
                    name: "Rload".to_owned(),
                    kind: Kind::Resistor,
                    value: Decimal::new(47, 2),
                    ends: random.pick(&places).clone(),
                });
            }
            other
        })
        .collect();
    for ((net, answer), other) in sound.iter().zip(answers(&others)) {
        assert_eq!(answer.nodes(), other.nodes(), "{}", net.text());
    }
}

#[test]
fn plus_and_minus_exchanged_keep_the_ideal_answer_and_turn_the_verdict() {
    let mut random = Random::new(seed(11));
    let mut nets = Vec::new();
    let mut exchanged = Vec::new();
    for place in 0..CIRCUITS {
        let net = generate::amplifier(&mut random, &format!("c{place}"));
        let opamp = random.pick(&net.opamps()).clone();
        let mut wrong = net.swapped(&opamp);
        wrong.name += "_turned";
        nets.push(wrong);
        nets.push(net);
        exchanged.push(opamp);
    }
    let found = answers_that_may_be_unstable(&nets);
    for ((opamp, nets), found) in exchanged.iter().zip(nets.chunks(2)).zip(found.chunks(2)) {
        let [wrong, right] = found else {
            unreachable!("two each");
        };
        let text = nets[0].text();
        assert_eq!(right.errors(), [], "{}", nets[1].text());
        assert_eq!(wrong.nodes(), right.nodes(), "{text}");
        assert_eq!(right.feedback(opamp), "negative", "{}", nets[1].text());
        assert_eq!(wrong.feedback(opamp), "positive", "{text}");
        let errors = wrong.errors();
        assert_eq!(errors.len(), 1, "one slip, one error: {errors:?}\n{text}");
        assert_eq!(errors[0].rule, "positive_feedback", "{text}");
        assert!(errors[0].is_about(opamp), "{opamp}: {errors:?}\n{text}");
        assert_eq!(
            wrong.0["opamps"][opamp]["repairs"],
            serde_json::json!([[opamp]]),
            "{text}"
        );
    }
}

#[test]
fn two_circuits_that_do_not_touch_have_the_answers_and_findings_of_both() {
    let sound = sound(12);
    let mut both = Vec::new();
    for pair in sound.chunks_exact(2) {
        let [(first, _), (second, _)] = pair else {
            unreachable!("two each");
        };
        let mut net = first.clone();
        for mut part in second.parts.clone() {
            for node in part.nodes_mut() {
                if node != "ground" {
                    node.push('b');
                }
            }
            let name = match &mut part {
                Part::Element { name, .. }
                | Part::Voltage { name, .. }
                | Part::Current { name, .. }
                | Part::Opamp { name, .. } => name,
            };
            name.push('b');
            net.parts.push(part);
        }
        both.push(net);
    }
    for ((pair, net), together) in sound.chunks_exact(2).zip(&both).zip(answers(&both)) {
        let mut nodes = pair[0].1.nodes();
        nodes.extend(pair[1].1.nodes().into_iter().map(|(node, volts)| {
            let parts: Vec<String> = node.split("..").map(|it| format!("{it}b")).collect();
            (parts.join(".."), volts)
        }));
        assert_eq!(nodes, together.nodes(), "{}", net.text());
        let mut rules: Vec<String> = [&pair[0].1, &pair[1].1]
            .iter()
            .flat_map(|answer| answer.findings())
            .map(|finding| finding.rule)
            .collect();
        let mut found: Vec<String> = together
            .findings()
            .into_iter()
            .map(|finding| finding.rule)
            .collect();
        // The one rule that is about any two points of all.
        rules.retain(|it| it != "touch_voltage");
        found.retain(|it| it != "touch_voltage");
        rules.sort();
        found.sort();
        assert_eq!(rules, found, "{}", net.text());
    }
}

#[test]
fn printed_equations_hold_exactly_at_the_printed_answer() {
    for (net, answer) in sound(13) {
        let equations = answer.0["equations"].as_array().expect("a list");
        assert!(!equations.is_empty());
        for equation in equations {
            let text = equation["text"].as_str().expect("a text");
            match equation["kind"].as_str() {
                Some("sum" | "joined sum") => {
                    let mut sum = RBig::ZERO;
                    for term in equation["terms"].as_array().expect("a list") {
                        sum += leaving(&net, &answer, term);
                    }
                    assert_eq!(sum, RBig::ZERO, "{text}\n{}", net.text());
                }
                Some("virtual" | "held") => {}
                other => panic!("{other:?} is no kind of equation"),
            }
        }
    }
}

/// The current that a term of a current sum stands for, counted in the direction from its first node to its second.
fn leaving(net: &Net, answer: &Answer, term: &serde_json::Value) -> RBig {
    let text = |key: &str| term[key].as_str().unwrap_or_default();
    let part = net
        .parts
        .iter()
        .find(|part| part.name() == text("element"))
        .unwrap_or_else(|| panic!("{term} is of no part of\n{}", net.text()));
    match part {
        Part::Element { value, .. } => {
            (answer.node(text("from")) - answer.node(text("to"))) / ratio(&value.to_string())
        }
        Part::Current { from, drive, .. } => {
            let mut amps = ratio(&drive.constant.to_string());
            for (factor, node) in &drive.controls {
                amps += ratio(&factor.to_string()) * answer.node(node);
            }
            let from = net.keys().get(from).unwrap_or(from).clone();
            if text("from") == from { amps } else { -amps }
        }
        part => panic!("{} has no known current", part.name()),
    }
}

/// Amplifiers and networks that have an answer, with it.
fn sound(own_seed: u64) -> Vec<(Net, Answer)> {
    let mut random = Random::new(seed(own_seed));
    let mut nets = Vec::new();
    for place in 0..CIRCUITS {
        let make = match place % 3 {
            0 => generate::network,
            _ => generate::amplifier,
        };
        nets.push(make(&mut random, &format!("c{place}")));
    }
    let report = solve(&file(&nets));
    assert_eq!(report.findings, [], "every text reads well");
    let sound: Vec<(Net, Answer)> = nets
        .into_iter()
        .zip(report.circuits)
        .filter(|(_, answer)| answer.solved())
        .collect();
    assert!(sound.len() >= 200, "only {} have an answer", sound.len());
    sound
}

/// The answers of circuits that must have one.
fn answers(nets: &[Net]) -> Vec<Answer> {
    let found = answers_that_may_be_unstable(nets);
    for (net, answer) in nets.iter().zip(&found) {
        assert!(
            answer.solved(),
            "not solved: {:?}\n{}",
            answer.errors(),
            net.text()
        );
    }
    found
}

fn answers_that_may_be_unstable(nets: &[Net]) -> Vec<Answer> {
    let report = solve(&file(nets));
    assert_eq!(report.findings, [], "every text reads well");
    assert_eq!(report.circuits.len(), nets.len());
    report.circuits
}

fn independent(net: &Net) -> Vec<String> {
    net.parts
        .iter()
        .filter(|part| match part {
            Part::Voltage { drive, .. } | Part::Current { drive, .. } => drive.constant.digits != 0,
            _ => false,
        })
        .map(|part| part.name().to_owned())
        .collect()
}

fn current_of(part: &Part) -> (&'static str, &'static str) {
    match part {
        Part::Element { .. } => ("elements", "current"),
        Part::Voltage { .. } | Part::Current { .. } => ("sources", "current"),
        Part::Opamp { .. } => ("opamps", "output_current"),
    }
}

/// Every named node that something is wired to, without ground.
fn wired(net: &Net) -> BTreeSet<String> {
    let mut net = net.clone();
    net.parts
        .iter_mut()
        .flat_map(|part| part.nodes_mut().into_iter().take(2))
        .filter(|node| *node != "ground" && !node.starts_with('~'))
        .map(|node| node.clone())
        .collect()
}

/// Voltages by the names that the data gives to nodes, which do not depend on the text.
fn by_own_names(net: &Net, answer: &Answer) -> BTreeMap<String, RBig> {
    let own: BTreeMap<String, String> = net
        .keys()
        .into_iter()
        .map(|(own, printed)| (printed, own))
        .collect();
    answer
        .nodes()
        .into_iter()
        .map(|(node, volts)| (own.get(&node).unwrap_or(&node).clone(), volts))
        .collect()
}

/// New names for everything, in another order; and from each printed name to the new one.
pub fn renamed(random: &mut Random, net: &Net) -> (Net, BTreeMap<String, String>) {
    let mut other = net.clone();
    let mut names = BTreeMap::new();
    let mut fresh: Vec<usize> = (10..10 + 2 * net.parts.len() + 40).collect();
    random.shuffle(&mut fresh);
    for part in &mut other.parts {
        for node in part.nodes_mut() {
            if node != "ground" && !node.starts_with('~') {
                let new = names
                    .entry(node.clone())
                    .or_insert_with(|| format!("bed_{}", fresh.pop().expect("enough names")));
                node.clone_from(new);
            }
        }
    }
    for part in &mut other.parts {
        let (Part::Element { name, .. }
        | Part::Voltage { name, .. }
        | Part::Current { name, .. }
        | Part::Opamp { name, .. }) = part;
        let new = format!("Part{}", fresh.pop().expect("enough names"));
        names.insert(std::mem::replace(name, new.clone()), new);
    }
    random.shuffle(&mut other.parts);
    let new_keys = other.keys();
    for (own, printed) in net.keys() {
        names.insert(printed, new_keys[&own].clone());
    }
    (other, names)
}

/// All resistances times 8, all currents and transconductances by 8.
fn more_ohms(net: &Net) -> Net {
    let (more, less) = (Decimal::new(8, 0), Decimal::new(125, -3));
    let mut other = net.with_constants(|_, voltage, constant| {
        if voltage {
            constant
        } else {
            constant.times(less)
        }
    });
    for part in &mut other.parts {
        match part {
            Part::Element {
                kind: Kind::Resistor,
                value,
                ..
            } => *value = value.times(more),
            Part::Current { drive, .. } => {
                for (factor, _) in &mut drive.controls {
                    *factor = factor.times(less);
                }
            }
            _ => {}
        }
    }
    other
}

/// One element, with those that hang on it by unnamed nodes, written from the other side.
fn backwards(random: &mut Random, net: &Net) -> (Net, Vec<String>) {
    let mut other = net.clone();
    let elements: Vec<usize> = (0..net.parts.len())
        .filter(|&place| matches!(net.parts[place], Part::Element { .. }))
        .collect();
    let mut chain = vec![*random.pick(&elements)];
    let mut grown = 0;
    while grown < chain.len() {
        let Part::Element { ends, .. } = &net.parts[chain[grown]] else {
            unreachable!("elements only");
        };
        for &place in &elements {
            if let Part::Element { ends: others, .. } = &net.parts[place]
                && !chain.contains(&place)
                && ends
                    .iter()
                    .any(|end| end.starts_with('~') && others.contains(end))
            {
                chain.push(place);
            }
        }
        grown += 1;
    }
    for &place in &chain {
        if let Part::Element { ends, .. } = &mut other.parts[place] {
            ends.swap(0, 1);
        }
    }
    let names = chain
        .iter()
        .map(|&place| net.parts[place].name().to_owned())
        .collect();
    (other, names)
}

/// The same circuit with two resistors in a row put into one, if it has any.
fn merged(net: &Net) -> Option<Net> {
    let mut other = net.clone();
    let second = other.parts.iter().position(|part| {
        matches!(part, Part::Element { kind: Kind::Resistor, ends, .. } if ends[0].starts_with('~'))
    })?;
    let Part::Element {
        value: more, ends, ..
    } = other.parts.remove(second)
    else {
        return None;
    };
    let [unnamed, far] = ends;
    for part in &mut other.parts {
        if let Part::Element { value, ends, .. } = part
            && ends[1] == unnamed
        {
            ends[1] = far;
            let exponent = value.exponent.min(more.exponent);
            let at = |it: Decimal| it.digits * 10_i64.pow((it.exponent - exponent) as u32);
            *value = Decimal::new(at(*value) + at(more), exponent);
            return Some(other);
        }
    }
    None
}
