//! Which way feedback acts: circuits by hand.

extern crate ampersum_analysis as analysis;

mod wiring;

use analysis::feedback::Verdict;
use syntax::Ratio;
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
    assert_eq!(judged(&wired(&relaxation))[0].verdict, Verdict::Positive);
    let schmitt = [
        holds("level", "in", "ground", 1),
        resistor("R1", "p", "ground", 30),
        resistor("R2", "out", "p", 60),
        opamp("A1", "p", "in", "out"),
    ];
    check(&schmitt, &["A1: Positive, swap A1"]);
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
