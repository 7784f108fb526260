//! Real op-amps at rest: laws that need no reference. The gap closes as the gain grows, its causes add up, sources superpose, and a resistance
//! that is seen is the open voltage over the short current.

use std::collections::BTreeMap;

use dashu_base::Abs;
use dashu_ratio::RBig;
use serde_json::Value;

use crate::generate;
use crate::harness::{Answer, Report, exact, power_of_ten, solve};
use crate::net::{Decimal, Drive, Net, Part, ZERO, file};
use crate::random::{Random, seed};

fn amplifiers(count: usize, own_seed: u64, make: fn(&mut Random, &str) -> Net) -> Vec<Net> {
    let mut random = Random::new(seed(own_seed));
    let name = |place: usize| format!("c{place}");
    (0..count).map(|it| make(&mut random, &name(it))).collect()
}

fn with_shares(nets: &[Net]) -> Vec<Answer> {
    Report::new(ampersum::shares_json("bench.amp", &file(nets))).circuits
}

/// Every number of an object of objects.
fn table(value: &Value) -> BTreeMap<String, BTreeMap<String, RBig>> {
    let rows = value.as_object().into_iter().flatten();
    let cells = |row: &Value| {
        let cells = row.as_object().into_iter().flatten();
        cells.map(|(key, it)| (key.clone(), exact(it))).collect()
    };
    rows.map(|(key, row)| (key.clone(), cells(row))).collect()
}

fn size(of: &RBig) -> RBig {
    of.clone().abs()
}

#[test]
fn the_gap_closes_as_one_over_the_gain() {
    let nets = amplifiers(500, 70, generate::amplifier);
    let gaps = |power: i32| -> Vec<BTreeMap<String, RBig>> {
        let with_gain = |net: &Net| {
            let mut net = net.clone();
            let gain = vec![("gain", Decimal::new(1, power))];
            net.figures = net
                .opamps()
                .into_iter()
                .map(|it| (it, gain.clone()))
                .collect();
            net
        };
        let nets: Vec<Net> = nets.iter().map(with_gain).collect();
        let answers = solve(&file(&nets)).circuits;
        let gap = |answer: &Answer| {
            let rows = table(&answer.0["gap"]).into_iter();
            rows.map(|(node, causes)| (node, causes["gain"].clone()))
                .collect()
        };
        answers.iter().map(gap).collect()
    };
    let (small, large) = (gaps(9), gaps(12));
    let mut nodes = 0;
    for (net, (small, large)) in nets.iter().zip(small.iter().zip(&large)) {
        assert_eq!(small.len(), large.len());
        for (node, small) in small {
            let large = &large[node];
            let [once, again] = [small * power_of_ten(9), large * power_of_ten(12)];
            // Terms of second order are left: a noise gain over the gain.
            let allowed = size(&again) * power_of_ten(-3) + power_of_ten(-6);
            assert!(
                size(&(&once - &again)) <= allowed,
                "A times the gap at {node} is {} and {}:\n{}",
                once.to_f64().value(),
                again.to_f64().value(),
                net.text()
            );
            nodes += usize::from(*small != RBig::ZERO);
        }
    }
    assert!(nodes > 2000, "{nodes} nodes have a gap");
}

#[test]
fn the_causes_add_up_to_the_gap_and_the_sources_to_the_answer() {
    let nets = amplifiers(200, 71, generate::real_amplifier);
    let mut causes = BTreeMap::new();
    for (net, answer) in nets.iter().zip(with_shares(&nets)) {
        let text = || net.text();
        let ideal = &answer.0["ideal"]["nodes"];
        let gap = table(&answer.0["gap"]);
        for (node, by_giver) in table(&answer.0["shares"]) {
            let written = answer.node(&node);
            let sum = by_giver.values().fold(RBig::ZERO, |sum, it| sum + it);
            assert_eq!(sum, written, "shares of {node}:\n{}", text());
            let Some(by_cause) = gap.get(&node) else {
                assert_eq!(*ideal, Value::Null, "no gap, no ideal answer beside it");
                continue;
            };
            let sum = by_cause.values().fold(RBig::ZERO, |sum, it| sum + it);
            assert_eq!(
                sum,
                written - exact(&ideal[&node]),
                "gap of {node}:\n{}",
                text()
            );
            for (cause, part) in by_cause {
                *causes.entry(cause.clone()).or_insert(0) += usize::from(*part != RBig::ZERO);
            }
        }
    }
    let all = [
        "bias",
        "gain",
        "input_resistance",
        "offset",
        "output_resistance",
        "rejection",
    ];
    assert_eq!(
        causes.keys().collect::<Vec<_>>(),
        all,
        "every cause is there"
    );
    assert!(causes.values().all(|it| *it > 50), "{causes:?}");
}

/// One part of a circuit at one unit, all other constants at zero and no op-amp with a figure that is a source.
fn alone(net: &Net, source: &str) -> Net {
    let one = Decimal::new(1, 0);
    let mut net = net.with_constants(|name, _, _| if name == source { one } else { ZERO });
    for figures in net.figures.values_mut() {
        figures.retain(|it| !["offset", "bias_current", "bias_offset"].contains(&it.0));
    }
    net.figures.retain(|_, it| !it.is_empty());
    net
}

#[test]
fn resistances_and_gains_are_those_of_test_sources() {
    let nets = amplifiers(60, 72, generate::real_amplifier);
    let mut seen = [0; 2];
    for (net, answer) in nets.iter().zip(with_shares(&nets)) {
        let resistances = &answer.0["resistances"];
        for part in &net.parts {
            match part {
                Part::Opamp { name, drives, .. } => {
                    // open voltage per ampere, by a test current
                    let mut probed = alone(net, "");
                    probed.parts.push(Part::Current {
                        name: "Probe".into(),
                        from: "ground".into(),
                        into: drives.clone(),
                        drive: Drive::constant(Decimal::new(1, 0)),
                    });
                    let found = solve(&probed.text()).only_circuit().node(drives);
                    let said = exact(&resistances["outputs"][name]);
                    assert_eq!(said, found, "at {name}:\n{}", net.text());
                    seen[0] += usize::from(found != RBig::ZERO);
                }
                Part::Voltage { name, drive, .. } if drive.controls.is_empty() => {
                    let lone = solve(&alone(net, name).text());
                    let lone = lone.only_circuit();
                    let current = lone.part("sources", name, "current");
                    let said = &resistances["inputs"][name];
                    if current == RBig::ZERO {
                        assert_eq!(*said, Value::Null, "{name} of\n{}", net.text());
                    } else {
                        assert_eq!(
                            exact(said),
                            RBig::ONE / current,
                            "{name} of\n{}",
                            net.text()
                        );
                        seen[1] += 1;
                    }
                    for (node, gains) in table(&answer.0["gains"]) {
                        assert_eq!(
                            gains[name],
                            lone.node(&node),
                            "{node} by {name}:\n{}",
                            net.text()
                        );
                    }
                }
                _ => {}
            }
        }
    }
    assert!(seen.iter().all(|it| *it > 50), "{seen:?}");
}

/// Real op-amps between rails so close that many stand at one, some with little current.
fn clipped_amplifiers(count: usize, own_seed: u64) -> Vec<Net> {
    let mut random = Random::new(seed(own_seed));
    let one = |place: usize| {
        let mut net = generate::real_amplifier(&mut random, &format!("c{place}"));
        for opamp in net.opamps() {
            let rails = [-1, 1].map(|sign| Decimal::new(sign * (1 + random.below(6) as i64), 0));
            net.rails.insert(opamp.clone(), rails);
            let mut figures = net.figures.remove(&opamp).unwrap_or_default();
            if random.chance(40) {
                figures.push(("headroom", Decimal::new(1 + random.below(9) as i64, -1)));
            }
            if random.chance(30) {
                figures.push(("current", Decimal::new(1 + random.below(50) as i64, -4)));
            }
            if !figures.is_empty() {
                net.figures.insert(opamp, figures);
            }
        }
        net
    };
    (0..count).map(one).collect()
}

/// The same without any limit.
fn without_limits(net: &Net) -> Net {
    let mut net = net.clone();
    net.rails.clear();
    for figures in net.figures.values_mut() {
        figures.retain(|it| !["headroom", "current"].contains(&it.0));
    }
    net.figures.retain(|_, it| !it.is_empty());
    net
}

fn modes(answer: &Answer) -> Vec<Value> {
    let opamps = answer.0["opamps"].as_object().into_iter().flatten();
    opamps.map(|it| it.1["state"].clone()).collect()
}

#[test]
fn at_limits_the_causes_add_up_to_the_gap_and_the_sources_to_the_answer() {
    let nets = clipped_amplifiers(120, 73);
    let free: Vec<Net> = nets.iter().map(without_limits).collect();
    let (clipped, free) = (with_shares(&nets), solve(&file(&free)).circuits);
    let (mut compared, mut limits, mut by_current) = (0, 0, 0);
    for ((net, answer), free) in nets.iter().zip(&clipped).zip(&free) {
        let modes = modes(answer);
        if !answer.solved() || modes.iter().all(|it| it == "linear") {
            continue;
        }
        let text = || net.text();
        let ideal = &answer.0["ideal"]["nodes"];
        let gap = table(&answer.0["gap"]);
        for (node, by_giver) in table(&answer.0["shares"]) {
            let written = answer.node(&node);
            let sum = by_giver.values().fold(RBig::ZERO, |sum, it| sum + it);
            assert_eq!(sum, written, "shares of {node}:\n{}", text());
            let by_cause = &gap[&node];
            let sum = by_cause.values().fold(RBig::ZERO, |sum, it| sum + it);
            let whole = &written - exact(&ideal[&node]);
            assert_eq!(sum, whole, "gap of {node}:\n{}", text());
            // What the same circuit without limits has instead.
            assert_eq!(by_cause["limit"], &written - free.node(&node), "{}", text());
            limits += usize::from(by_cause["limit"] != RBig::ZERO);
        }
        compared += 1;
        by_current += usize::from(modes.iter().any(|it| it == "sourcing" || it == "sinking"));
    }
    assert!(
        compared > 60 && limits > 300 && by_current > 3,
        "{compared} {limits} {by_current}"
    );
}

// While no op-amp leaves its state, a little more of one source is that much times its gain more everywhere: none behind a clipped stage.
#[test]
fn at_limits_a_gain_is_what_a_little_more_of_the_source_does() {
    let nets = clipped_amplifiers(60, 74);
    let mut moved = Vec::new();
    for (place, net) in nets.iter().enumerate() {
        for part in &net.parts {
            if let Part::Voltage { name, .. } = part {
                let mut other = net.with_constants(|it, _, constant| match it == name {
                    true => constant.plus_one(),
                    false => constant,
                });
                other.name = format!("m{}", moved.len());
                moved.push((place, name.clone(), other));
            }
        }
    }
    let own = with_shares(&nets);
    let others: Vec<Net> = moved.iter().map(|it| it.2.clone()).collect();
    let (mut compared, mut none) = (0, 0);
    for ((place, source, net), after) in moved.iter().zip(solve(&file(&others)).circuits) {
        let before = &own[*place];
        let at_limit = |it: &Answer| modes(it).iter().any(|it| it != "linear");
        if !before.solved() || !at_limit(before) || modes(before) != modes(&after) {
            continue;
        }
        let of = |net: &Net| {
            let own = net.parts.iter().find(|it| it.name() == source);
            match own {
                Some(Part::Voltage { drive, .. }) => {
                    crate::harness::ratio(&drive.constant.to_string())
                }
                _ => RBig::ZERO,
            }
        };
        let step = of(net) - of(&nets[*place]);
        for (node, gains) in table(&before.0["gains"]) {
            let change = after.node(&node) - before.node(&node);
            let gain = gains.get(source).cloned().unwrap_or(RBig::ZERO);
            if gains.contains_key(source) {
                assert_eq!(&gain * &step, change, "{node} by {source}:\n{}", net.text());
                compared += 1;
                none += usize::from(change == RBig::ZERO);
            }
        }
    }
    assert!(compared > 200 && none > 50, "{compared} {none}");
}
