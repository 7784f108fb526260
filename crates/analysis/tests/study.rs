//! Small circuits by hand: signs, supplies, what is lost and what isn't, when the ideal answer is the answer, claims.

use ampersum_analysis as analysis;

use std::fmt::Write;

use analysis::equations::EquationKind;
use analysis::{Answer, Outcome, Study};
use circuit::{Book, Carrier, Circuit};
use expect_test::{Expect, expect};

fn read(text: &str) -> Book {
    let book = circuit::build("test", text.into(), &mut |_| None);
    let faults: Vec<_> = book.faults.iter().map(|it| &it.kind).collect();
    assert!(
        faults.is_empty() && book.circuits.len() == 1,
        "{faults:?} in\n{text}"
    );
    book
}

/// Voltage, current and power of everything; `?` where it is not fixed.
#[track_caller]
fn answers(text: &str, expected: Expect) {
    let book = read(text);
    let circuit = &book.circuits[0];
    let study = Study::new(circuit, &book.parts);
    let solution = study.solution(circuit, &book.parts);
    let word = |it: Option<&Answer>| match it {
        None => "?".to_string(),
        Some(Answer::Exact(ratio)) => ratio.to_string(),
        Some(Answer::Float { value, bound }) => format!("{value:.6} to {bound:.0e}"),
    };
    let mut found = String::new();
    for (node, voltage) in circuit.nodes.iter().zip(&solution.nodes).skip(1) {
        writeln!(found, "{} {} V", node.name, word(voltage.as_ref())).unwrap();
    }
    let names = circuit
        .elements
        .iter()
        .map(|it| &it.name)
        .chain(circuit.sources.iter().map(|it| &it.name));
    for (name, it) in names.zip(solution.elements.iter().chain(&solution.sources)) {
        let (voltage, current, power) = match it {
            Some(it) => (Some(&it.voltage), it.current.as_ref(), it.power()),
            None => (None, None, None),
        };
        writeln!(
            found,
            "{name} {} V {} A {} W",
            word(voltage),
            word(current),
            word(power.as_ref())
        )
        .unwrap();
    }
    for (opamp, it) in circuit.opamps.iter().zip(&solution.opamps) {
        let Some(it) = it else {
            writeln!(found, "{} ?", opamp.name).unwrap();
            continue;
        };
        let margins = [&it.margin_high, &it.margin_low].map(|it| word(it.as_ref()));
        let [current, power] = [&it.current, &it.power()].map(|it| word(it.as_ref()));
        writeln!(
            found,
            "{} {} V {current} A {power} W, {} V below high, {} V above low",
            opamp.name,
            word(Some(&it.voltage)),
            margins[0],
            margins[1]
        )
        .unwrap();
    }
    expected.assert_eq(&found);
}

/// One line an equation: its node, its form, its terms.
#[track_caller]
fn written(text: &str, expected: Expect) {
    let book = read(text);
    let circuit = &book.circuits[0];
    let name = |carrier: Carrier| match carrier {
        Carrier::Element(id) => circuit.elements[id.index()].name.as_str(),
        Carrier::Source(id) => circuit.sources[id.index()].name.as_str(),
        Carrier::Opamp(id) => circuit.opamps[id.index()].name.as_str(),
    };
    let node = |it: &circuit::NodeId| circuit.node_name(*it);
    let mut found = String::new();
    for it in &Study::new(circuit, &book.parts).equations.list {
        let kind = match &it.kind {
            EquationKind::Held { by } => format!("held by {}", name(*by)),
            EquationKind::Virtual {
                opamp,
                replaces,
                tied,
            } => {
                let tied: Vec<String> = tied
                    .iter()
                    .map(|(at, by)| format!(", and at {} tied by {}", node(at), name(*by)))
                    .collect();
                format!(
                    "inputs of {}, no sum at {}{}",
                    circuit.opamps[opamp.index()].name,
                    node(replaces),
                    tied.concat()
                )
            }
            EquationKind::Limit { opamp, .. } => {
                format!("limit of {}", circuit.opamps[opamp.index()].name)
            }
            EquationKind::Sum => "sum".to_string(),
            EquationKind::JoinedSum { nodes, ties } => {
                let nodes: Vec<&str> = nodes.iter().map(node).collect();
                let ties: Vec<&str> = ties.iter().map(|it| name(*it)).collect();
                format!("sum over {} tied by {}", nodes.join(" "), ties.join(" "))
            }
        };
        let sign = |minus: bool| if minus { '-' } else { '+' };
        let terms: Vec<String> = it
            .terms
            .iter()
            .map(|term| {
                format!(
                    "{}{}({} {})",
                    sign(term.minus),
                    name(term.branch),
                    node(&term.from),
                    node(&term.to)
                )
            })
            .collect();
        writeln!(found, "{}: {}: {}", node(&it.at), kind, terms.join(" ")).unwrap();
    }
    expected.assert_eq(&found);
}

/// The outcome, then each claim's judgement.
#[track_caller]
fn judged(text: &str, expected: Expect) {
    let book = read(text);
    let circuit: &Circuit = &book.circuits[0];
    let study = Study::new(circuit, &book.parts);
    let mut found = match study.outcome(circuit, &book.parts) {
        Outcome::AsIdeal => "as ideal\n".to_string(),
        Outcome::Real => "real\n".to_string(),
        Outcome::Unknown(troubles) => format!("{troubles:?}\n"),
        other => format!("{other:?}\n"),
    };
    for (claim, it) in circuit
        .claims
        .iter()
        .zip(study.judgements(circuit, &book.parts))
    {
        let holds = it.holds.map_or("?".to_string(), |it| it.to_string());
        let value = it
            .found
            .as_ref()
            .map_or(String::new(), |it| format!(", found {}", it.to_f64()));
        writeln!(found, "{holds}: {}{value}", claim.text).unwrap();
    }
    expected.assert_eq(&found);
}

const SCALER: &str = "
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
    out -- RL 4.7k -- ground
";

#[test]
fn an_output_sinks_what_its_load_and_its_feedback_bring() {
    answers(
        SCALER,
        expect![[r#"
        in 6/5 V
        sum 0 V
        out -99/25 V
        R1 6/5 V 3/25000 A 9/62500 W
        R2 99/25 V 3/25000 A 297/625000 W
        RL -99/25 V -99/117500 A 9801/2937500 W
        probe 6/5 V 3/25000 A -9/62500 W
        A1 -99/25 V -1131/1175000 A ? W, ? V below high, ? V above low
    "#]],
    );
}

#[test]
fn an_op_amp_has_no_sum_at_its_output() {
    written(
        SCALER,
        expect![[r#"
        in: held by probe: +probe(in ground)
        out: inputs of A1, no sum at out: +A1(ground sum)
        sum: sum: +R1(sum in) +R2(sum out)
    "#]],
    );
}

#[test]
fn a_source_between_two_nodes_joins_their_sums() {
    written(
        "
        source cell: a - b = 9 V
        source feed: 2 mA from ground into a
        a -- R1 1k -- ground
        b -- R2 2k -- c
        a -- R3 3k -- b
        c -- R4 4k -- ground
        ",
        expect![[r#"
            b: held by cell: +cell(a b)
            a: sum over a b tied by cell: +R1(a ground) -feed(a ground) +R2(b c)
            c: sum: +R2(c b) +R4(c ground)
        "#]],
    );
}

#[test]
fn a_source_on_an_output_takes_the_sum_of_its_far_node_too() {
    written(
        "
        source probe: in = 1 V
        opamp A1: plus in, minus far, drives out
        source shift: far - out = 2 V
        far -- R1 1k -- ground
        ",
        expect![[r#"
            in: held by probe: +probe(in ground)
            far: held by shift: +shift(far out)
            out: inputs of A1, no sum at out, and at far tied by shift: +A1(in far)
        "#]],
    );
}

#[test]
fn rails_carry_what_the_op_amps_take() {
    // A1 sources 1 mA out of vcc, A2 sinks 2 mA into vee; the source of vcc also feeds R3.
    answers(
        "
        source plus: vcc = 9 V
        source minus: vee = -9 V
        supply vcc and vee
        source probe: in = 2 V
        opamp A1: plus in, minus a, drives a
        a -- R1 2k -- ground
        source low: lo = -4 V
        opamp A2: plus lo, minus b, drives b
        b -- R2 2k -- ground
        vcc -- R3 9k -- ground
        ",
        expect![[r#"
            vcc 9 V
            vee -9 V
            in 2 V
            a 2 V
            lo -4 V
            b -4 V
            R1 2 V 1/1000 A 1/500 W
            R2 -4 V -1/500 A 1/125 W
            R3 9 V 1/1000 A 9/1000 W
            plus 9 V 1/500 A -9/500 W
            minus -9 V -1/500 A -9/500 W
            probe 2 V 0 A 0 W
            low -4 V 0 A 0 W
            A1 2 V 1/1000 A 7/1000 W, 7 V below high, 11 V above low
            A2 -4 V -1/500 A 1/100 W, 13 V below high, 5 V above low
        "#]],
    );
}

#[test]
fn a_current_source_pushes_and_an_inductor_is_a_wire() {
    answers(
        "
        source drive: 3 mA from ground into a
        a -- L1 1 mH -- b -- R1 2k -- ground
        a -- C1 1 uF -- ground
        ",
        expect![[r#"
            a 6 V
            b 6 V
            L1 0 V 3/1000 A 0 W
            R1 6 V 3/1000 A 9/500 W
            C1 6 V 0 A 0 W
            drive -6 V 3/1000 A -9/500 W
        "#]],
    );
}

#[test]
fn parallel_wires_share_in_no_certain_way_and_all_else_is_known() {
    answers(
        "
        source feed: in = 6 V
        in -- R0 1k -- top
        switch S1: from top, to mid, closed
        switch S2: from mid, to top, closed
        switch S3: from mid, to tail, closed
        tail -- R1 2k -- ground
        ",
        expect![[r#"
            in 6 V
            top 4 V
            mid 4 V
            tail 4 V
            R0 2 V 1/500 A 1/250 W
            S1 0 V ? A 0 W
            S2 0 V ? A 0 W
            S3 0 V 1/500 A 0 W
            R1 4 V 1/500 A 1/125 W
            feed 6 V 1/500 A -3/250 W
        "#]],
    );
}

#[test]
fn what_floats_has_currents_and_no_voltages() {
    // A loop that nothing ties to ground, beside a divider that is sound.
    answers(
        "
        source cell: a - b = 3 V
        a -- R1 1k -- m -- R2 2k -- b
        source feed: in = 2 V
        in -- R3 1k -- half -- R4 1k -- ground
        ",
        expect![[r#"
            a ? V
            b ? V
            m ? V
            in 2 V
            half 1 V
            R1 1 V 1/1000 A 1/1000 W
            R2 2 V 1/1000 A 1/500 W
            R3 1 V 1/1000 A 1/1000 W
            R4 1 V 1/1000 A 1/1000 W
            cell 3 V 1/1000 A -3/1000 W
            feed 2 V 1/1000 A -1/500 W
        "#]],
    );
}

#[test]
fn inputs_that_sources_hold_apart_leave_the_sources_what_they_are() {
    answers(
        "
        source one: a = 1 V
        source two: b = 2 V
        opamp A1: plus a, minus b, drives out
        out -- R1 1k -- ground
        a -- R2 1k -- c -- R3 1k -- ground
        ",
        expect![[r#"
            a 1 V
            b 2 V
            out ? V
            c 1/2 V
            R1 ? V ? A ? W
            R2 1/2 V 1/2000 A 1/4000 W
            R3 1/2 V 1/2000 A 1/4000 W
            one 1 V 1/2000 A -1/2000 W
            two 2 V 0 A 0 W
            A1 ?
        "#]],
    );
}

#[test]
fn rounded_values_answer_with_a_bound_and_leave_the_rest_exact() {
    answers(
        "
        let k = sqrt(2)
        source probe: in = 3 V
        source shifted: s = (k * 1 V)
        in -- R1 1k -- m -- R2 2k -- ground
        s -- R3 1k -- n -- R4 1k -- ground
        ",
        expect![[r#"
            in 3 V
            s 1.414214 to 3e-15 V
            m 2 V
            n 0.707107 to 2e-15 V
            R1 1 V 1/1000 A 1/1000 W
            R2 2 V 1/1000 A 1/500 W
            R3 0.707107 to 4e-15 V 0.000707 to 5e-18 A 0.000500 to 7e-18 W
            R4 0.707107 to 2e-15 V 0.000707 to 2e-18 A 0.000500 to 3e-18 W
            probe 3 V 1/1000 A -3/1000 W
            shifted 1.414214 to 3e-15 V 0.000707 to 5e-18 A -0.001000 to 9e-18 W
        "#]],
    );
}

#[test]
fn claims_of_a_sound_circuit_are_judged() {
    judged(
        &format!(
            "{SCALER}
            supply +9 V and -9 V
            expect always out = -3.3 * in
            expect always out = -3.96 V
            expect always out / in = -3.3
            expect always out = -3.3 * in^2 / 1.2 V
            expect out = -3.964 V
            expect out = -3.963 V
            expect out = -3.9 V within 0.1 V
            expect out = -3.8 V within 0.1 V
            expect sum = 0 V
            expect power(A1) = 4.8513 mW
            expect current(A1) = -962.55 uA
            expect parallel(R1, RL) = 3197.28 ohm
            expect sqrt(out^2) = 3.96 V
            expect 1 V / sum = 2
            expect A1 linear
            expect A1 latches
            "
        ),
        expect![[r#"
            as ideal
            true: always out = -3.3 * in, found -3.96
            true: always out = -3.96 V, found -3.96
            true: always out / in = -3.3, found -3.3
            false: always out = -3.3 * in^2 / 1.2 V, found -3.96
            false: out = -3.964 V, found -3.96
            true: out = -3.963 V, found -3.96
            true: out = -3.9 V within 0.1 V, found -3.96
            false: out = -3.8 V within 0.1 V, found -3.96
            true: sum = 0 V, found 0
            true: power(A1) = 4.8513 mW, found 0.004851268085106383
            true: current(A1) = -962.55 uA, found -0.0009625531914893617
            true: parallel(R1, RL) = 3197.28 ohm, found 3197.278911564626
            true: sqrt(out^2) = 3.96 V, found 3.96
            ?: 1 V / sum = 2
            true: A1 linear
            false: A1 latches
        "#]],
    );
}

#[test]
fn no_claim_is_judged_where_the_ideal_answer_may_not_be_the_answer() {
    judged(
        &format!("{SCALER}supply +5 V and -3 V\nexpect in = 1.2 V\nexpect A1 linear"),
        expect![[r#"
            AtLimits
            true: in = 1.2 V, found 1.2
            false: A1 linear
        "#]],
    );
    judged(
        &SCALER.replace("plus ground, minus sum", "plus sum, minus ground"),
        expect![[r#"
            [Feedback(0)]
        "#]],
    );
    judged(
        &format!("part slow\ngain 100 dB\nend\n{SCALER}opamps are slow"),
        expect![[r#"
            real
        "#]],
    );
    judged(
        &format!(
            "part weak\nheadroom 1 V\ncurrent 0.5 mA\nend\n{SCALER}supply +9 V and -4.5 V\nopamps are weak"
        ),
        expect![[r#"
            AtLimits
        "#]],
    );
    judged(
        &format!("{SCALER}diode D1: anode out, cathode ground"),
        expect![[r#"
            [NotBuilt(0)]
        "#]],
    );
    judged(
        &format!("{SCALER}x -- R9 1k -- y"),
        expect![[r#"
        [NoSingleAnswer]
    "#]],
    );
}

#[test]
fn at_its_limit_exactly_the_ideal_answer_still_is_the_answer() {
    judged(
        &format!("{SCALER}supply +9 V and -3.96 V\nexpect out = -3.96 V"),
        expect![[r#"
            as ideal
            true: out = -3.96 V, found -3.96
        "#]],
    );
}
