//! Which way feedback acts: circuits by hand.

extern crate ampersum_analysis as analysis;

mod wiring;

use analysis::feedback::{Proof, Verdict};
use circuit::{Circuit, ElementKind, Part, PartId, SourceKind};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use syntax::{Number, Ratio};
use wiring::*;

#[track_caller]
fn check(items: &[Item], expected: &[&str]) {
    assert_eq!(verdicts(&wired(items)), expected);
}

fn inverting() -> Vec<Item> {
    vec![
        holds("probe", "in", "ground", 1),
        resistor("R1", "in", "sum", 10),
        resistor("R2", "sum", "out", 33),
        opamp("A1", "ground", "sum", "out"),
    ]
}

fn pump(load: Option<i64>) -> Vec<Item> {
    let mut items = vec![
        holds("setting", "in", "ground", 2),
        resistor("R1", "ground", "n", 10),
        resistor("R2", "n", "out", 10),
        resistor("R3", "in", "coil", 10),
        resistor("R4", "coil", "out", 10),
        opamp("A1", "coil", "n", "out"),
    ];
    items.extend(load.map(|it| resistor("Rcoil", "coil", "ground", it)));
    items
}

fn instrumentation() -> Vec<Item> {
    vec![
        holds("left", "a", "ground", 1),
        holds("right", "b", "ground", 2),
        opamp("A1", "a", "x", "p"),
        opamp("A2", "b", "y", "q"),
        resistor("R1", "p", "x", 10),
        resistor("Rg", "x", "y", 1),
        resistor("R2", "y", "q", 10),
        resistor("R3", "p", "m", 10),
        resistor("R4", "m", "out", 20),
        resistor("R5", "q", "s", 10),
        resistor("R6", "s", "ground", 20),
        opamp("A3", "s", "m", "out"),
    ]
}

/// The same circuit with the inputs of these op-amps swapped.
fn swapped(items: &[Item], names: &[&str]) -> Vec<Item> {
    let swap = |it: &Item| {
        if names.contains(&&it.name[..]) {
            it.clone().swapped()
        } else {
            it.clone()
        }
    };
    items.iter().map(swap).collect()
}

#[test]
fn amplifiers_and_the_same_with_inputs_swapped() {
    check(&inverting(), &["A1: Negative"]);
    check(&swapped(&inverting(), &["A1"]), &["A1: Positive, swap A1"]);
    check(
        &[
            holds("v", "in", "ground", 1),
            opamp("A1", "in", "out", "out"),
        ],
        &["A1: Negative"],
    );
    check(
        &[
            holds("v", "in", "ground", 1),
            opamp("A1", "out", "in", "out"),
        ],
        &["A1: Positive, swap A1"],
    );
    let difference = [
        holds("v", "a", "ground", 1),
        holds("w", "b", "ground", 1),
        resistor("R1", "a", "m", 10),
        resistor("R2", "m", "out", 20),
        resistor("R3", "b", "p", 10),
        resistor("R4", "p", "ground", 20),
        opamp("A1", "p", "m", "out"),
    ];
    check(&difference, &["A1: Negative"]);
    check(&swapped(&difference, &["A1"]), &["A1: Positive, swap A1"]);
}

#[test]
fn a_pump_is_negative_with_its_load_cancels_without_and_is_positive_when_unbalanced() {
    check(&pump(Some(5)), &["A1: Negative"]);
    check(&pump(None), &["A1: Cancels"]);
    let mut unbalanced = pump(None);
    unbalanced[1] = resistor("R1", "ground", "n", 9);
    check(&unbalanced, &["A1: Positive, swap A1"]);
}

#[test]
fn a_negative_resistance_is_stable_below_its_own_size() {
    let fed_from = |ohms| {
        wired(&[
            holds("v", "s", "ground", 1),
            resistor("Rs", "s", "p", ohms),
            resistor("R3", "p", "out", 10),
            resistor("R1", "m", "ground", 10),
            resistor("R2", "out", "m", 10),
            opamp("A1", "p", "m", "out"),
        ])
    };
    assert_eq!(verdicts(&fed_from(5)), ["A1: Negative"]);
    assert_eq!(verdicts(&fed_from(20)), ["A1: Positive, swap A1"]);
    assert_eq!(verdicts(&fed_from(10)), ["A1: Cancels"]);
    let shares = &judged(&fed_from(5))[0].returns[0];
    assert_eq!(shares.to_minus, Some(Ratio::from(1) / Ratio::from(2)));
    assert_eq!(shares.to_plus, Some(Ratio::from(1) / Ratio::from(3)));
}

#[test]
fn every_set_of_swaps_of_three_op_amps_is_caught_and_named() {
    let names = ["A1", "A2", "A3"];
    check(&instrumentation(), &["A1 A2: Negative", "A3: Negative"]);
    for set in 1..8 {
        let wrong: Vec<&str> = (0..3)
            .filter(|it| set >> it & 1 == 1)
            .map(|it| names[it])
            .collect();
        let verdicts = verdicts(&wired(&swapped(&instrumentation(), &wrong)));
        let pair: Vec<&str> = wrong.iter().copied().filter(|it| *it != "A3").collect();
        let first = match pair.is_empty() {
            true => "A1 A2: Negative".to_string(),
            false => format!("A1 A2: Positive, swap {}", pair.join(" ")),
        };
        let second = if wrong.contains(&"A3") {
            "A3: Positive, swap A3"
        } else {
            "A3: Negative"
        };
        assert_eq!(verdicts, [&first[..], second], "{wrong:?}");
    }
}

#[test]
fn two_op_amps_in_a_ring_share_one_verdict() {
    // A1 has no way of its own to its inputs: A2 inverts inside its loop.
    let ring = [
        holds("v", "in", "ground", 1),
        resistor("R1", "in", "p", 10),
        resistor("R2", "p", "b", 10),
        opamp("A1", "p", "ground", "a"),
        resistor("R3", "a", "m", 10),
        resistor("R4", "m", "b", 10),
        opamp("A2", "ground", "m", "b"),
    ];
    check(&ring, &["A1 A2: Negative"]);
    check(&swapped(&ring, &["A1"]), &["A1 A2: Positive, swap A1"]);
    check(&swapped(&ring, &["A2"]), &["A1 A2: Positive, swap A2"]);
    check(
        &swapped(&ring, &["A1", "A2"]),
        &["A1 A2: Positive, swap A1 A2"],
    );
    let neither = [
        resistor("R1", "a", "p", 10),
        resistor("R2", "p", "ground", 10),
        opamp("A2", "p", "ground", "b"),
        opamp("A1", "ground", "b", "a"),
    ];
    check(&neither, &["A1 A2: Marginal"]);
}

#[test]
fn nothing_returns_and_inputs_in_the_air() {
    let open = [
        holds("v", "in", "ground", 1),
        resistor("R1", "in", "sum", 10),
        resistor("R2", "sum", "ground", 10),
        opamp("A1", "ground", "sum", "out"),
        resistor("R3", "out", "ground", 10),
    ];
    check(&open, &["A1: None"]);
    check(&[opamp("A1", "p", "out", "out")], &["A1: InputFloats"]);
}

#[test]
fn capacitors_are_judged_at_rest_and_at_the_first_instant() {
    let integrator = [
        holds("v", "in", "ground", 1),
        resistor("R1", "in", "sum", 10),
        capacitor("C1", "sum", "out"),
        opamp("A1", "ground", "sum", "out"),
    ];
    check(&integrator, &["A1: NoneAtDc"]);
    check(&swapped(&integrator, &["A1"]), &["A1: Positive, swap A1"]);
    let differentiator = [
        holds("v", "in", "ground", 1),
        capacitor("C1", "in", "sum"),
        resistor("R1", "sum", "out", 10),
        opamp("A1", "ground", "sum", "out"),
    ];
    check(&differentiator, &["A1: Negative"]);
    check(
        &swapped(&differentiator, &["A1"]),
        &["A1: Positive, swap A1"],
    );
    let relaxation = [
        resistor("R1", "p", "ground", 180),
        resistor("R2", "out", "p", 20),
        resistor("R", "out", "m", 1),
        capacitor("C", "m", "ground"),
        opamp("A1", "p", "m", "out"),
    ];
    let relaxation = &judged(&wired(&relaxation))[0];
    assert_eq!(relaxation.verdict, Verdict::Positive);
    // At rest all comes back to minus; what drives it away is the first instant, when the capacitor keeps its voltage.
    assert!(relaxation.sudden);
    assert_eq!(relaxation.returns[0].to_minus, Some(Ratio::ZERO));
    assert_eq!(
        relaxation.returns[0].to_plus,
        Some(Ratio::from(9) / Ratio::from(10))
    );
    let schmitt = [
        holds("level", "in", "ground", 1),
        resistor("R1", "p", "ground", 30),
        resistor("R2", "out", "p", 60),
        opamp("A1", "p", "in", "out"),
    ];
    check(&schmitt, &["A1: Positive, swap A1"]);
}

/// A Wien bridge: R1 and C1 in series from the output to plus, R2 beside C2 from there to ground. With the gain 1 + R4/R3 it grows where that is more
/// than 1 + R1/R2 + C2/C1 (Barkhausen's condition, worked out by hand; 3 for equal parts), whatever rest and first instant say.
#[test]
fn a_slow_growth_between_rest_and_the_first_instant_is_seen() {
    let farads = |name: &str, a: &str, b: &str, size: i64| {
        let mut it = capacitor(name, a, b);
        if let What::Passive(_, _, value) = &mut it.what {
            *value = Ratio::from(size);
        }
        it
    };
    let bridge = |[r1, r2, c1, c2]: [i64; 4], r4: i64| {
        [
            resistor("R1", "out", "x", r1),
            farads("C1", "x", "p", c1),
            resistor("R2", "p", "ground", r2),
            farads("C2", "p", "ground", c2),
            resistor("R3", "m", "ground", 100),
            resistor("R4", "m", "out", r4),
            opamp("A1", "p", "m", "out"),
        ]
    };
    let equal = [10, 10, 1, 1];
    // 1 + 10/20 + 3/2 = 3 too, 1 + 10/5 + 1 = 4.
    for (parts, r4, expected) in [
        (equal, 190, Verdict::Negative),
        (equal, 200, Verdict::Marginal),
        (equal, 201, Verdict::Oscillates),
        (equal, 400, Verdict::RunsAway),
        (equal, 499, Verdict::RunsAway),
        ([10, 20, 2, 3], 199, Verdict::Negative),
        ([10, 20, 2, 3], 200, Verdict::Marginal),
        ([10, 20, 2, 3], 210, Verdict::Oscillates),
        ([10, 5, 7, 7], 299, Verdict::Negative),
        ([10, 5, 7, 7], 301, Verdict::Oscillates),
    ] {
        let found = &judged(&wired(&bridge(parts, r4)))[0];
        let told = (found.verdict, found.proof);
        assert_eq!(told, (expected, Proof::Between), "{parts:?} {r4}");
    }
}

/// Two integrators and a turned stage in a ring turn for ever; with a resistor beside one capacitor they come to rest.
#[test]
fn integrators_in_a_ring_are_on_the_border() {
    let ring = |damped: bool| {
        let mut items = vec![
            resistor("R1", "c", "m1", 10),
            capacitor("C1", "m1", "a"),
            opamp("A1", "ground", "m1", "a"),
            resistor("R2", "a", "m2", 10),
            capacitor("C2", "m2", "b"),
            opamp("A2", "ground", "m2", "b"),
            resistor("R3", "b", "m3", 10),
            resistor("R4", "m3", "c", 10),
            opamp("A3", "ground", "m3", "c"),
        ];
        items.extend(damped.then(|| resistor("R5", "m1", "a", 100)));
        judged(&wired(&items))[0].verdict
    };
    assert_eq!(ring(false), Verdict::Marginal);
    assert_eq!(ring(true), Verdict::Negative);
}

#[test]
fn a_divider_of_capacitors_counts_by_its_sizes() {
    // At the first instant three quarters return to minus, and R alone to plus at rest.
    let farads = |name: &str, a: &str, b: &str, size: i64| {
        let mut it = capacitor(name, a, b);
        if let What::Passive(_, _, value) = &mut it.what {
            *value = Ratio::from(size);
        }
        it
    };
    let with = |shunt| {
        [
            holds("v", "in", "ground", 1),
            resistor("R1", "out", "m", 10),
            farads("C1", "out", "m", 1),
            farads("C2", "m", "ground", shunt),
            resistor("R2", "out", "p", 10),
            resistor("R3", "p", "in", 10),
            opamp("A1", "p", "m", "out"),
        ]
    };
    assert_eq!(
        verdicts(&wired(&with(1)[..])),
        ["A1: Negative"],
        "1/2 against 1/2 tells nothing: rest decides"
    );
    let mut less = with(3);
    less[2] = farads("C1", "out", "m", 2);
    assert_eq!(
        judged(&wired(&less))[0].verdict,
        Verdict::Positive,
        "2/5 return to minus at once, 1/2 to plus"
    );
    less[2] = farads("C1", "out", "m", 4);
    assert_eq!(verdicts(&wired(&less)), ["A1: Negative"]);
}

#[test]
fn given_bandwidths_decide_what_speeds_decide() {
    // A2 returns a quarter of its output to plus; the loop through A1 outweighs it unless A2 is much the faster one.
    let mut circuit = wired(&[
        resistor("R1", "a", "m", 10),
        resistor("R2", "m", "b", 20),
        opamp("A1", "ground", "m", "a"),
        resistor("R3", "a", "p", 10),
        resistor("R4", "p", "b", 30),
        opamp("A2", "p", "ground", "b"),
    ]);
    let network = analysis::network::Network::of(&circuit);
    let verdict = |circuit: &Circuit, parts: &[Part]| {
        let found = analysis::feedback::feedback(circuit, parts, &network, &[]);
        (found[0].verdict, found[0].proof)
    };
    assert_eq!(
        verdict(&circuit, &[]),
        (Verdict::NegativeIfAlike, Proof::Alike)
    );
    let part = |hertz: i64| Part {
        bandwidth: Some(Number::Exact(hertz.into())),
        ..Part::default()
    };
    circuit.opamps[0].part = Some(PartId(0));
    circuit.opamps[1].part = Some(PartId(1));
    assert_eq!(
        verdict(&circuit, &[part(3), part(7)]),
        (Verdict::Negative, Proof::Given),
        "below 8/3 times"
    );
    assert_eq!(
        verdict(&circuit, &[part(3), part(9)]),
        (Verdict::Positive, Proof::Given),
        "above"
    );
    assert_eq!(
        verdict(&circuit, &[part(3), Part::default()]),
        (Verdict::NegativeIfAlike, Proof::Alike)
    );
}

#[test]
fn a_long_ladder_in_the_way_back_is_judged_without_its_exact_shares() {
    let mut items = vec![
        opamp("A1", "ground", "n0", "out"),
        resistor("back", "n2000", "out", 5),
    ];
    for index in 0..2000 {
        items.push(resistor(
            &format!("R{index}"),
            &format!("n{index}"),
            &format!("n{}", index + 1),
            10 + index % 17,
        ));
        items.push(resistor(
            &format!("S{index}"),
            &format!("n{index}"),
            "ground",
            11 + index % 19,
        ));
    }
    let found = &judged(&wired(&items))[0];
    assert_eq!(
        (found.verdict, found.proof),
        (Verdict::Negative, Proof::Sampled)
    );
    assert_eq!(
        found.returns[0].to_minus, None,
        "no number stands where none is exact"
    );
}

/// Up to four op-amps with resistors from anything to anything.
fn knots() -> impl Strategy<Value = Vec<Item>> {
    let resistors = proptest::collection::vec((0..9usize, 0..9usize, 1..30i64), 3..11);
    let opamps = proptest::collection::vec((0..9usize, 0..9usize), 1..5);
    (resistors, opamps).prop_map(|(resistors, opamps)| {
        let count = opamps.len();
        let name = |it: usize| match it {
            0 => "ground".to_string(),
            1 => "in".to_string(),
            2..=4 => format!("x{it}"),
            _ => format!("o{}", (it - 5) % count),
        };
        let mut items = vec![holds("probe", "in", "ground", 1)];
        for (index, (a, b, ohms)) in resistors.into_iter().enumerate() {
            if name(a) != name(b) {
                items.push(resistor(&format!("R{index}"), &name(a), &name(b), ohms));
            }
        }
        for (index, (plus, minus)) in opamps.into_iter().enumerate() {
            items.push(opamp(
                &format!("A{index}"),
                &name(plus),
                &name(minus),
                &format!("o{index}"),
            ));
        }
        items
    })
}

/// d(V+ − V−)/dVout in doubles, by node voltages: an independent way to M.
fn shares(circuit: &Circuit) -> DMatrix<f64> {
    let float = |it: &Number| match it {
        Number::Exact(it) => it.to_f64().value(),
        Number::Rounded { value, .. } => *value,
    };
    let nodes = circuit.nodes.len();
    let mut held = vec![false; nodes];
    held[0] = true;
    for source in &circuit.sources {
        if let SourceKind::Voltage { plus, .. } = source.kind {
            held[plus.index()] = true;
        }
    }
    circuit
        .opamps
        .iter()
        .for_each(|it| held[it.drives.index()] = true);
    let mut matrix = DMatrix::<f64>::zeros(nodes, nodes);
    for element in circuit
        .elements
        .iter()
        .filter(|it| it.kind == ElementKind::Resistor)
    {
        let [a, b] = element.ends.map(|it| it.index());
        let siemens = 1.0 / float(&element.value);
        for (here, there) in [(a, b), (b, a)] {
            matrix[(here, here)] += siemens;
            matrix[(here, there)] -= siemens;
        }
    }
    for node in 0..nodes {
        if held[node] || matrix[(node, node)] == 0.0 {
            (0..nodes).for_each(|it| matrix[(node, it)] = 0.0);
            matrix[(node, node)] = 1.0;
        }
    }
    let factored = matrix.lu();
    let count = circuit.opamps.len();
    let mut shares = DMatrix::zeros(count, count);
    for (column, opamp) in circuit.opamps.iter().enumerate() {
        let mut right = DVector::zeros(nodes);
        right[opamp.drives.index()] = 1.0;
        let volts = factored
            .solve(&right)
            .expect("sound circuits have one answer");
        for (row, opamp) in circuit.opamps.iter().enumerate() {
            shares[(row, column)] = volts[opamp.plus.index()] - volts[opamp.minus.index()];
        }
    }
    shares
}

/// The largest real part of the poles of v′ = W·M·v, against the size of the largest.
fn growth(shares: &DMatrix<f64>, block: &[usize], speeds: &[f64]) -> f64 {
    let scaled = DMatrix::from_fn(block.len(), block.len(), |i, j| {
        speeds[i] * shares[(block[i], block[j])]
    });
    let poles = scaled.complex_eigenvalues();
    let size = poles
        .iter()
        .map(|it| it.norm())
        .fold(f64::MIN_POSITIVE, f64::max);
    poles.iter().map(|it| it.re).fold(f64::MIN, f64::max) / size
}

/// Sets of speeds over six decades, the first one alike.
fn speeds(count: usize) -> Vec<Vec<f64>> {
    let mut state = 7u64;
    let mut next = || {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        10f64.powf((state >> 40) as f64 / (1u64 << 24) as f64 * 6.0 - 3.0)
    };
    [vec![1.0; count]]
        .into_iter()
        .chain((0..12).map(|_| (0..count).map(|_| next()).collect()))
        .collect()
}

#[test]
fn verdicts_on_random_knots_agree_with_their_poles_at_many_speeds() {
    // Doubles of poles of matrices up to 4x4: relative errors stay far below this, but for nearly multiple poles.
    const SLACK: f64 = 1e-6;
    let mut runner = TestRunner::deterministic();
    let strategy = knots();
    let mut seen = std::collections::BTreeMap::new();
    for _ in 0..6000 {
        let items = strategy
            .new_tree(&mut runner)
            .expect("never rejects")
            .current();
        let circuit = wired(&items);
        if kinds(&circuit)
            .iter()
            .any(|it| *it != analysis::faults::FaultKind::LooseEnd)
        {
            continue;
        }
        let shares = shares(&circuit);
        for found in judged(&circuit) {
            let block: Vec<usize> = found.block.iter().map(|it| it.index()).collect();
            let rates: Vec<f64> = speeds(block.len())
                .iter()
                .map(|it| growth(&shares, &block, it))
                .collect();
            *seen
                .entry(format!(
                    "{:?} {:?} {}",
                    found.verdict,
                    found.proof,
                    block.len()
                ))
                .or_insert(0) += 1;
            let right = match found.verdict {
                Verdict::Negative => rates.iter().all(|it| *it < SLACK),
                Verdict::Positive => rates.iter().all(|it| *it > -SLACK),
                Verdict::NegativeIfAlike => rates[0] < SLACK,
                Verdict::DependsOnSpeeds => rates[0] > -SLACK,
                Verdict::Marginal => rates.iter().all(|it| it.abs() < SLACK),
                other => panic!("{other:?} in a circuit without faults: {items:?}"),
            };
            assert!(right, "{:?} against {rates:?}: {items:?}", found.verdict);
            let for_all = matches!(
                found.verdict,
                Verdict::Negative | Verdict::Positive | Verdict::Marginal
            );
            assert!(for_all || found.proof != Proof::AnySpeed, "{found:?}");
            assert!(
                found.verdict != Verdict::Negative || found.proof == Proof::AnySpeed,
                "{found:?}"
            );
        }
    }
    let count = |verdict: &str| {
        seen.iter()
            .filter(|it| it.0.starts_with(verdict))
            .map(|it| it.1)
            .sum::<i32>()
    };
    assert!(
        count("Negative ") > 200 && count("Positive") > 200,
        "{seen:?}"
    );
    assert!(
        count("NegativeIfAlike") > 2 && count("DependsOnSpeeds") > 0 && count("Marginal") > 0,
        "{seen:?}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..Default::default() })]

    #[test]
    fn one_swap_in_a_negative_block_makes_it_positive_and_is_named(items in knots()) {
        let circuit = wired(&items);
        for found in judged(&circuit).iter().filter(|it| it.verdict == Verdict::Negative) {
            for wrong in &found.block {
                let name = &circuit.opamps[wrong.index()].name;
                let after = judged(&wired(&swapped(&items, &[name])));
                let after = after.iter().find(|it| it.block.contains(wrong)).expect("each op-amp has a block");
                prop_assert_eq!(&after.block, &found.block);
                prop_assert_eq!(after.verdict, Verdict::Positive, "{} of {:?}", name, items);
                prop_assert!(after.repairs.contains(&vec![*wrong]), "{:?} for {} of {:?}", after.repairs, name, items);
            }
        }
    }

    #[test]
    fn verdicts_depend_neither_on_sources_nor_on_the_scale_of_resistors(items in knots(), volts in 0..9i64, times in 2..9i64) {
        let scaled = items.iter().cloned().map(|mut it| {
            match &mut it.what {
                What::Passive(_, _, ohms) => *ohms *= Ratio::from(times),
                What::Holds(_, constant, _) => *constant = volts.into(),
                _ => {}
            }
            it
        });
        let (before, after) = (judged(&wired(&items)), judged(&wired(&scaled.collect::<Vec<_>>())));
        prop_assert_eq!(before, after);
    }

    #[test]
    fn every_op_amp_is_in_exactly_one_block(items in knots()) {
        let circuit = wired(&items);
        let mut all: Vec<usize> = judged(&circuit).iter().flat_map(|it| it.block.iter().map(|it| it.index())).collect();
        all.sort();
        prop_assert_eq!(all, (0..circuit.opamps.len()).collect::<Vec<_>>());
    }
}
