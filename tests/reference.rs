//! The exact answers beside those of another method in another language: `reference/solve.py`, full tableau in FLINT.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::generate;
use crate::harness::{Answer, here, ratio, solve};
use crate::net::{Decimal, Kind, Net, Part, file};
use crate::random::{Random, seed};

#[test]
fn amplifiers_have_the_answers_of_the_full_tableau() {
    let nets = many(300, 1, generate::amplifier);
    for (net, (answer, reference)) in nets.iter().zip(both(&nets)) {
        assert!(reference.single, "sound by construction:\n{}", net.text());
        assert_eq!(answer.errors(), [], "{}", net.text());
        same(net, &answer, &reference);
    }
}

#[test]
fn real_opamps_have_the_answers_of_the_full_tableau() {
    let nets = many(400, 6, generate::real_amplifier);
    let real = nets.iter().filter(|net| !net.figures.is_empty()).count();
    assert!(real > 300, "{real} have real op-amps");
    for (net, (answer, reference)) in nets.iter().zip(both(&nets)) {
        assert!(reference.single, "sound by construction:\n{}", net.text());
        assert_eq!(answer.errors(), [], "{}", net.text());
        assert!(answer.solved(), "{:#}\n{}", answer.0, net.text());
        same(net, &answer, &reference);
    }
}

#[test]
fn networks_have_the_answers_of_the_full_tableau() {
    let nets = many(300, 2, generate::network);
    for (net, (answer, reference)) in nets.iter().zip(both(&nets)) {
        judged_alike(net, &answer, &reference);
    }
}

#[test]
fn tangles_are_refused_exactly_where_the_full_tableau_has_no_single_answer() {
    let nets = many(600, 3, generate::tangle);
    let mut refused = 0;
    for (net, (answer, reference)) in nets.iter().zip(both(&nets)) {
        judged_alike(net, &answer, &reference);
        refused += usize::from(!reference.single);
    }
    println!("{refused} of {} have no single answer", nets.len());
    assert!(
        (50..nets.len() - 50).contains(&refused),
        "both sorts should be among them, {refused} were refused"
    );
}

#[test]
fn verdicts_on_feedback_agree_with_the_roots_at_every_speed_tried() {
    let mut nets = many(200, 4, generate::amplifier);
    nets.extend(many(600, 5, generate::tangle));
    for net in &mut nets {
        // Without stores of energy the op-amps' own speeds decide alone.
        for part in &mut net.parts {
            if let Part::Element { kind, value, .. } = part
                && *kind != Kind::Resistor
            {
                (*kind, *value) = (Kind::Resistor, Decimal::new(33, 2));
            }
        }
    }
    for (place, net) in nets.iter_mut().enumerate() {
        net.name = format!("c{place}");
    }
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    for (net, (answer, reference)) in nets.iter().zip(both(&nets)) {
        for Loop { block, stable } in &reference.loops {
            for opamp in block {
                let verdict = answer.feedback(opamp);
                let own = &answer.0["opamps"][opamp]["block"];
                assert_eq!(*own, serde_json::json!(block), "{opamp} of\n{}", net.text());
                let fits = match verdict.as_str() {
                    "negative" => stable.iter().all(|it| *it == Some(true)),
                    "positive" => stable.iter().all(|it| *it == Some(false)),
                    "negative_if_alike" => stable[0] == Some(true),
                    "depends_on_speeds" => stable[0] == Some(false),
                    "marginal" => stable[0].is_none(),
                    _ => false,
                };
                assert!(fits, "{opamp}: {verdict}, but {stable:?}:\n{}", net.text());
                *told.entry(verdict).or_default() += 1;
            }
        }
    }
    println!("{told:?}");
    assert!(
        told["negative"] >= 300 && told["positive"] >= 100,
        "{told:?}"
    );
}

// What is neither at rest nor at the first instant: the roots of the whole tableau's determinant in s, its op-amps ideal.
#[test]
fn what_grows_slowly_has_a_root_to_the_right() {
    let nets = many(600, 7, generate::reactive);
    let report = solve(&file(&nets));
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    for ((net, answer), reference) in nets.iter().zip(&report.circuits).zip(answers(&nets)) {
        let opamps = answer.0["opamps"].as_object().into_iter().flatten();
        let verdicts: Vec<String> = opamps.map(|(name, _)| answer.feedback(name)).collect();
        let any = |words: &[&str]| verdicts.iter().any(|it| words.contains(&it.as_str()));
        let Some(frequencies) = reference["frequencies"].as_object() else {
            continue;
        };
        // Of quick op-amps that run off at once, and of inputs in the air, these roots tell nothing.
        if any(&["positive", "cancels", "none", "input_floats"]) {
            continue;
        }
        let [right, axis] = ["right", "axis"].map(|it| frequencies[it].as_u64().expect("a count"));
        let text = || {
            format!(
                "{verdicts:?}, {right} right, {axis} on the axis:\n{}",
                net.text()
            )
        };
        assert_eq!(any(&["oscillates", "runs_away"]), right > 0, "{}", text());
        if right == 0 {
            assert_eq!(any(&["marginal"]), axis > 0, "{}", text());
        }
        for it in verdicts {
            *told.entry(it).or_default() += 1;
        }
    }
    println!("{told:?}");
    let grow =
        told.get("oscillates").copied().unwrap_or(0) + told.get("runs_away").copied().unwrap_or(0);
    assert!(grow >= 10 && told["negative"] >= 50, "{told:?}");
}

struct Reference {
    single: bool,
    nodes: BTreeMap<String, String>,
    currents: BTreeMap<String, String>,
    loops: Vec<Loop>,
}

/// Op-amps that move each other's inputs; whether they come to rest, first at equal speeds, then at other ones; `None`: on the border.
struct Loop {
    block: Vec<String>,
    stable: Vec<Option<bool>>,
}

fn many(count: usize, own_seed: u64, make: fn(&mut Random, &str) -> Net) -> Vec<Net> {
    let mut random = Random::new(seed(own_seed));
    (0..count)
        .map(|place| make(&mut random, &format!("c{place}")))
        .collect()
}

fn both(nets: &[Net]) -> Vec<(Answer, Reference)> {
    let report = solve(&file(nets));
    assert_eq!(report.findings, [], "every text reads well");
    assert_eq!(report.circuits.len(), nets.len());
    report.circuits.into_iter().zip(references(nets)).collect()
}

/// The Python of the reference solver, installed where it is not.
pub fn python() -> String {
    let install = Command::new("sh")
        .arg(here("reference/install"))
        .output()
        .expect("sh runs");
    assert!(
        install.status.success(),
        "the reference solver could not be installed: {}",
        String::from_utf8_lossy(&install.stderr)
    );
    String::from_utf8_lossy(&install.stdout).trim().to_owned()
}

/// What the reference solver prints of each circuit.
pub fn answers(nets: &[Net]) -> Vec<Value> {
    let mut python = Command::new(python())
        .arg(here("reference/solve.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the reference solver starts");
    let lines: String = nets
        .iter()
        .map(|net| format!("{}\n", net.netlist()))
        .collect();
    let mut input = python.stdin.take().expect("piped");
    let feeder = std::thread::spawn(move || input.write_all(lines.as_bytes()));
    let output = python
        .wait_with_output()
        .expect("the reference solver ends");
    feeder
        .join()
        .expect("no panic")
        .expect("it read everything");
    assert!(output.status.success(), "the reference solver failed");
    String::from_utf8(output.stdout)
        .expect("UTF-8")
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect()
}

fn references(nets: &[Net]) -> Vec<Reference> {
    let texts = |value: &Value| {
        value
            .as_object()
            .into_iter()
            .flatten()
            .map(|(key, text)| (key.clone(), text.as_str().expect("a fraction").to_owned()))
            .collect()
    };
    answers(nets)
        .into_iter()
        .map(|answer| Reference {
            single: answer["single"] == true,
            nodes: texts(&answer["nodes"]),
            currents: texts(&answer["currents"]),
            loops: list(&answer["loops"])
                .iter()
                .map(|it| Loop {
                    block: list(&it["block"])
                        .iter()
                        .map(|name| name.as_str().expect("a name").to_owned())
                        .collect(),
                    stable: list(&it["stable"]).iter().map(Value::as_bool).collect(),
                })
                .collect(),
        })
        .collect()
}

fn judged_alike(net: &Net, answer: &Answer, reference: &Reference) {
    let text = net.text();
    if reference.single {
        let errors: Vec<_> = answer
            .errors()
            .into_iter()
            .filter(|finding| finding.rule != "positive_feedback")
            .collect();
        assert_eq!(errors, [], "it has a single answer:\n{text}");
        same(net, answer, reference);
    } else {
        assert!(!answer.solved(), "it has no single answer:\n{text}");
        // One capacitor to nowhere, and an integrator that starts anywhere, are warnings.
        let warned = ["no_feedback", "loose_end"];
        let told = answer
            .findings()
            .iter()
            .any(|finding| finding.severity == "error" || warned.contains(&finding.rule.as_str()));
        assert!(told, "nothing says why there is no answer:\n{text}");
    }
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// Every voltage and every current, digit for digit. An output that runs to a limit is not solved as written: then the ideal
/// voltages are compared.
fn same(net: &Net, answer: &Answer, reference: &Reference) {
    let text = net.text();
    let nodes = answer.nodes();
    let found: Vec<&String> = nodes.keys().collect();
    let wanted: Vec<&String> = reference.nodes.keys().collect();
    assert_eq!(found, wanted, "the nodes differ:\n{text}");
    for (node, wanted) in &reference.nodes {
        assert_eq!(nodes[node], ratio(wanted), "voltage of {node}:\n{text}");
    }
    if !answer.solved() {
        let astray = [
            "positive",
            "oscillates",
            "runs_away",
            "marginal",
            "depends_on_speeds",
            "input_floats",
        ];
        let told = |opamp: &String| astray.contains(&answer.feedback(opamp).as_str());
        assert!(
            net.opamps().iter().any(told),
            "not solved: {:#}\n{text}",
            answer.0
        );
        return;
    }
    for part in &net.parts {
        let (group, what) = match part {
            Part::Element { .. } => ("elements", "current"),
            Part::Voltage { .. } | Part::Current { .. } => ("sources", "current"),
            Part::Opamp { .. } => ("opamps", "output_current"),
        };
        let name = part.name();
        assert_eq!(
            answer.part(group, name, what),
            ratio(&reference.currents[name]),
            "current of {name}:\n{text}"
        );
    }
}
