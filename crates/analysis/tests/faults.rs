//! What keeps the equations from having one answer: circuits by hand.

extern crate ampersum_analysis as analysis;

mod wiring;

use wiring::*;

fn good() -> Vec<Item> {
    vec![
        holds("probe", "in", "ground", 1),
        resistor("R1", "in", "sum", 10),
        resistor("R2", "sum", "out", 33),
        opamp("A1", "ground", "sum", "out"),
        resistor("RL", "out", "ground", 5),
    ]
}

fn and(more: &[Item]) -> Vec<Item> {
    [&good(), more].concat()
}

#[track_caller]
fn check(items: &[Item], expected: &[&str]) {
    assert_eq!(found(&wired(items)), expected);
}

#[test]
fn a_sound_circuit_has_no_fault() {
    check(&good(), &[]);
    check(&[], &[]);
}

#[test]
fn both_ends_on_one_node() {
    check(
        &and(&[resistor("R9", "sum", "sum", 1)]),
        &["Shorted { sourced: false }: sum | R9"],
    );
    check(
        &and(&[holds("v", "x", "x", 1), resistor("R9", "x", "in", 1)]),
        &["Shorted { sourced: true }: x | v"],
    );
}

#[test]
fn sources_wires_and_outputs_that_close_a_loop() {
    let v = |name, volts| holds(name, "in", "ground", volts);
    check(
        &and(&[v("other", 3)]),
        &["SourceLoop { only_wires: false } 2: ground in | other probe"],
    );
    check(
        &and(&[v("other", 1)]),
        &["SourceLoop { only_wires: false } 0: ground in | other probe"],
    );
    check(
        &and(&[holds("up", "x", "in", 4), holds("down", "x", "ground", 5)]),
        &["SourceLoop { only_wires: false } 0: ground in x | down probe up"],
    );
    check(
        &and(&[inductor("L", "in", "ground")]),
        &["SourceLoop { only_wires: false } -1: ground in | L probe"],
    );
    check(
        &and(&[
            wire("S1", "out", "load"),
            inductor("L1", "out", "load"),
            resistor("R9", "load", "ground", 1),
        ]),
        &["SourceLoop { only_wires: true } 0: load out | L1 S1"],
    );
    check(
        &and(&[holds("measured", "in", "ground", 0).controlled((1, 2), "sum")]),
        &["SourceLoop { only_wires: false }: ground in | measured probe"],
    );
    check(
        &and(&[holds("clash", "out", "ground", 1)]),
        &["OutputOnSource: out | A1 clash"],
    );
    check(
        &and(&[opamp("A2", "in", "n", "out"), resistor("R8", "out", "n", 1)]),
        &["OutputsTied: out out | A1 A2"],
    );
    check(
        &and(&[opamp("A2", "in", "o2", "o2"), wire("S1", "o2", "out")]),
        &["OutputsTied: o2 out | A1 A2 S1"],
    );
}

#[test]
fn inputs_that_something_else_holds() {
    let with = |plus, minus| {
        and(&[
            opamp("A2", plus, minus, "end"),
            resistor("R9", "end", "ground", 1),
        ])
    };
    check(&with("sum", "sum"), &["InputsTied: sum | A2"]);
    check(
        &with("in", "ground"),
        &["InputsHeldApart 1: ground in | A2 probe"],
    );
    check(
        &and(&[holds("w", "b", "ground", 1), opamp("A2", "in", "b", "end")]),
        &["InputsHeldEqual: b in | A2 probe w"],
    );
    check(&with("sum", "ground"), &["RulesRepeat: ground sum | A1 A2"]);
}

#[test]
fn a_controlled_source_may_hold_an_input() {
    check(
        &[
            holds("v", "in", "ground", 1),
            holds("half", "p", "ground", 0).controlled((1, 2), "out"),
            opamp("A1", "in", "p", "out"),
        ],
        &[],
    );
}

#[test]
fn nodes_that_direct_current_does_not_reach() {
    check(
        &and(&[pushes("i", "ground", "x", 2), resistor("R9", "x", "y", 1)]),
        &["CurrentIntoNothing 2: x y | i"],
    );
    check(
        &and(&[opamp("A2", "p", "end", "end")]),
        &["InputOpen: p | A2"],
    );
    check(
        &and(&[opamp("A2", "p", "end", "end"), capacitor("C1", "out", "p")]),
        &["InputNoDcPath: p | A2 C1"],
    );
    check(
        &and(&[resistor("R8", "x", "y", 1), resistor("R9", "x", "y", 2)]),
        &["FloatingPart { by_capacitors: false }: x y | R8 R9"],
    );
    check(
        &and(&[capacitor("C1", "out", "x"), capacitor("C2", "x", "ground")]),
        &["FloatingPart { by_capacitors: true }: x | C1 C2"],
    );
    // A floating source is no way to ground.
    check(
        &and(&[holds("cell", "x", "y", 9), resistor("R8", "x", "y", 1)]),
        &["FloatingPart { by_capacitors: false }: x y | R8 cell"],
    );
}

#[test]
fn outputs_that_do_not_move_their_inputs() {
    let open = [
        holds("v", "in", "ground", 1),
        resistor("R1", "in", "sum", 10),
        resistor("R2", "sum", "ground", 10),
    ];
    check(
        &[&open[..], &[opamp("A1", "ground", "sum", "out")]].concat(),
        &["NoFeedback: out | A1"],
    );
    let misspelt = [
        open[0].clone(),
        open[1].clone(),
        resistor("R2", "sum", "outt", 10),
        opamp("A1", "ground", "sum", "out"),
    ];
    check(&misspelt, &["NoFeedback: out outt | A1"]);
    let integrator = [
        open[0].clone(),
        open[1].clone(),
        capacitor("C1", "sum", "out"),
        opamp("A1", "ground", "sum", "out"),
    ];
    check(&integrator, &["NoneAtDc: out | A1 C1"]);
    assert!(found(&started(wired(&integrator), "sum", "out")).is_empty());
    assert!(found(&started(wired(&integrator), "out", "sum")).is_empty());
    assert_eq!(
        found(&started(wired(&integrator), "in", "ground")),
        ["NoneAtDc: out | A1 C1"]
    );
}

#[test]
fn a_ring_broken_in_one_place_is_one_fault() {
    let ring = |far: &str| {
        wired(&[
            holds("v", "in", "ground", 1),
            resistor("R1", "in", "p", 10),
            resistor("R2", "p", far, 10),
            opamp("A1", "p", "ground", "a"),
            resistor("R3", "a", "m", 10),
            resistor("R4", "m", "b", 10),
            opamp("A2", "ground", "m", "b"),
        ])
    };
    assert!(found(&ring("b")).is_empty());
    assert_eq!(found(&ring("in")), ["NoFeedback: a | A1"]);
}

#[test]
fn balanced_ways_back_cancel_at_these_values_alone() {
    let pump = |ohms| {
        [
            holds("setting", "in", "ground", 2),
            resistor("R1", "ground", "n", 10),
            resistor("R2", "n", "out", 10),
            resistor("R3", "in", "coil", ohms),
            resistor("R4", "coil", "out", 10),
            opamp("A1", "coil", "n", "out"),
        ]
    };
    check(&pump(10), &["CancelsAtTheseValues: out | A1"]);
    check(&pump(11), &[]);
}

#[test]
fn a_controlled_current_that_eats_a_resistor_is_singular() {
    let with = |siemens| {
        [
            holds("v", "in", "ground", 1),
            resistor("R1", "x", "ground", 10),
            pushes("g", "ground", "x", 0).controlled((siemens, 10), "x"),
        ]
    };
    check(&with(1), &["Singular: x | g"]);
    check(&with(2), &[]);
}

#[test]
fn nodes_that_one_connection_touches() {
    check(
        &and(&[resistor("R9", "in", "sun", 1)]),
        &["LooseEnd: sun | R9"],
    );
    check(
        &and(&[capacitor("C9", "in", "sun")]),
        &["LooseEnd: sun | C9"],
    );
    check(
        &and(&[
            holds("vcc", "rail", "ground", 9),
            opamp("A2", "sum", "out2", "out2"),
        ]),
        &[],
    );
}

#[test]
fn nothing_is_missing_where_a_broken_line_may_have_brought_it() {
    let loose = wired(&and(&[
        resistor("R9", "in", "x", 1),
        resistor("R8", "x", "sun", 1),
    ]));
    assert_eq!(found(&loose), ["LooseEnd: sun | R8"]);
    assert!(found(&perhaps(loose.clone(), &["sun"])).is_empty());
    assert!(found(&perhaps(loose.clone(), &["x"])).is_empty());
    assert_eq!(
        found(&perhaps(loose, &["in", "out"])),
        ["LooseEnd: sun | R8"]
    );
    let open = wired(&[
        holds("v", "in", "ground", 1),
        resistor("R1", "in", "m", 1),
        opamp("A1", "ground", "m", "out"),
    ]);
    assert_eq!(found(&open), ["NoFeedback: out | A1"]);
    assert!(found(&perhaps(open.clone(), &["out"])).is_empty());
    assert!(found(&perhaps(open.clone(), &["m"])).is_empty());
    assert_eq!(found(&perhaps(open, &["in"])), ["NoFeedback: out | A1"]);
    let tied = wired(&and(&[holds("clash", "out", "ground", 1)]));
    assert_eq!(
        found(&perhaps(tied, &["out"])),
        ["OutputOnSource: out | A1 clash"],
        "what is there is there"
    );
}
