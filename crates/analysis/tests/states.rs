//! Circuits at their limits: their stable states, where each ends, and what is claimed of them.

use ampersum_analysis as analysis;

use std::fmt::Write;

use analysis::states::{Mode, States};
use analysis::{Answer, Outcome, Study};
use circuit::Book;
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

fn word(mode: Mode) -> &'static str {
    match mode {
        Mode::Linear => "linear",
        Mode::High => "high",
        Mode::Low => "low",
        Mode::Sourcing => "sourcing",
        Mode::Sinking => "sinking",
    }
}

fn number(answer: &Answer) -> String {
    match answer {
        Answer::Exact(ratio) => ratio.to_string(),
        Answer::Float { value, bound } => format!("{value:.9} to {bound:.0e}"),
    }
}

/// With 1 kΩ at the output 5 mA make 5 V at most, so the high side is a limit of current: a source of 5 mA. There p is (in + o)/2 and o = (5 mA − (o − in)/20k)·1k,
/// which is zero at in = −50/11 V. Wherever the source stands both ways are found, and a claim counts the limit of current as the high side.
#[test]
fn a_limit_of_current_has_thresholds_both_ways() {
    for written in ["-8 V", "-300 V", "-4 V", "0 V", "4 V", "8 V", "300 V"] {
        let book = read(&format!(
            "part q\n  current source 5 mA, sink 20 mA\nend\ncircuit z\nsupply +12 V and -5 V\nsource s0: in = {written}\n\
             in -- R1 10k -- p -- R2 10k -- o\no -- R6 1k -- ground\ncomparator A0: plus p, minus ground, drives o, part q\n\
             expect A0 goes high at in = 5 V\nexpect A0 goes low at in = -4.545 V within 1 mV\nexpect A0 latches"
        ));
        let (circuit, parts) = (&book.circuits[0], &book.parts);
        let study = Study::new(circuit, parts);
        let switches = study
            .states(circuit, parts)
            .expect("limits")
            .switches(circuit, parts);
        let told = switches.list.iter();
        let told: Vec<_> = told
            .map(|it| (number(&it.at), word(it.from[0]), it.rises))
            .collect();
        let [down, up] = [("-50/11", "sourcing", false), ("5", "low", true)];
        let [down, up] = [down, up].map(|it| (it.0.to_string(), it.1, it.2));
        assert_eq!(told, [down, up], "{written}");
        let holds: Vec<_> = study
            .judgements(circuit, parts)
            .iter()
            .map(|it| it.holds)
            .collect();
        let latches = matches!(written, "-4 V" | "0 V" | "4 V");
        assert_eq!(holds, [Some(true), Some(true), Some(latches)], "{written}");
    }
}

/// The outcome, every state with its outputs, where states end, and each claim's judgement.
#[track_caller]
fn states(text: &str, expected: Expect) {
    let book = read(text);
    let (circuit, parts) = (&book.circuits[0], &book.parts);
    let study = Study::new(circuit, parts);
    let mut found = match study.outcome(circuit, parts) {
        Outcome::Unknown(troubles) => format!("unknown: {troubles:?}\n"),
        other => format!("{other:?}\n"),
    };
    let states: Option<&States> = study.states(circuit, parts);
    let name = |it: usize| circuit.opamps[it].name.as_str();
    let modes = |modes: &[Mode]| {
        let all: Vec<String> = modes
            .iter()
            .enumerate()
            .map(|(index, mode)| format!("{} {}", name(index), word(*mode)))
            .collect();
        all.join(", ")
    };
    for it in states.iter().flat_map(|it| &it.list) {
        let solution = it.solution(circuit, parts);
        let outputs: Vec<String> = circuit
            .opamps
            .iter()
            .map(|it| {
                let volts = solution.nodes[it.drives.index()].as_ref().map(number);
                format!(
                    "{} {}",
                    circuit.node_name(it.drives),
                    volts.unwrap_or("?".into())
                )
            })
            .collect();
        writeln!(
            found,
            "{}: {}, {:?}",
            modes(&it.modes),
            outputs.join(", "),
            it.stability
        )
        .unwrap();
    }
    if let Some(states) = states {
        for it in &states.switches(circuit, parts).list {
            let leaving: Vec<String> = it
                .leaving
                .iter()
                .map(|id| format!("{} leaves {}", name(id.index()), word(it.from[id.index()])))
                .collect();
            let to: Vec<String> = it.to.iter().map(|it| modes(it)).collect();
            writeln!(
                found,
                "{} as {} {} past {}, to {}",
                leaving.join(", "),
                circuit.sources[it.source.index()].name,
                if it.rises { "rises" } else { "falls" },
                number(&it.at),
                to.join(" or ")
            )
            .unwrap();
        }
    }
    for (claim, it) in circuit.claims.iter().zip(study.judgements(circuit, parts)) {
        let holds = it.holds.map_or("?".to_string(), |it| it.to_string());
        let value = it
            .found
            .as_ref()
            .map_or(String::new(), |it| format!(", found {}", it.to_f64()));
        writeln!(found, "{holds}: {}{value}", claim.text).unwrap();
    }
    expected.assert_eq(&found);
}

// p = (5/30k + pump/60k)/(1/30k + 1/30k + 1/60k) = 2 + pump/5, so 2 V and 3 V.
#[test]
fn a_pump_switch_latches_between_its_thresholds() {
    states(
        "
        source rail: vcc = 5 V
        supply vcc
        source level: in = 2.5 V
        vcc -- R1 30k -- p -- R2 30k -- ground
        p -- R3 60k -- pump
        opamp A1: plus p, minus in, drives pump
        expect A1 latches
        expect A1 goes low at in = 3 V
        expect A1 goes high at in = 2 V
        expect A1 goes high at in = 3 V
        expect A1 linear
        expect A1 at high rail
        expect A1 oscillates
        expect in = 2.5 V
        expect pump = 5 V
        ",
        expect![[r#"
            Several
            A1 linear: pump 5/2, Unstable
            A1 high: pump 5, Stable
            A1 low: pump 0, Stable
            A1 leaves low as level falls past 2, to A1 high
            A1 leaves high as level rises past 3, to A1 low
            true: A1 latches
            true: A1 goes low at in = 3 V, found 3
            true: A1 goes high at in = 2 V, found 2
            false: A1 goes high at in = 3 V, found 2
            false: A1 linear
            false: A1 at high rail
            false: A1 oscillates
            true: in = 2.5 V, found 2.5
            false: pump = 5 V
        "#]],
    );
}

// An ideal answer of −12 V stops at −9 V; the other input is then at (1.2 · 100 − 9 · 10)/110 = 3/11 V.
#[test]
fn a_clipped_stage_stands_at_its_limit() {
    states(
        "
        supply +9 V and -9 V
        source probe: in = 1.2 V
        in -- R1 10k -- sum -- R2 100k -- out
        opamp A1: plus ground, minus sum, drives out
        out -- R3 10k -- b -- R4 10k -- back
        opamp A2: plus ground, minus b, drives back
        back -- R5 1k -- c -- R6 1k -- ground
        opamp A3: plus c, minus d, drives d
        expect out = -9 V
        expect always out = -9 V
        expect back = 9 V
        expect sum = 3 / 11 * 1 V
        expect A1 linear
        expect A1 at low rail
        expect A2 linear
        expect A2 at high rail
        expect A3 linear
        expect A1 latches
        expect A1 goes high at in = 1 V
        ",
        expect![[r#"
            AtLimits
            A1 low, A2 linear, A3 linear: out -9, back 9, d 9/2, Stable
            true: out = -9 V, found -9
            true: always out = -9 V, found -9
            true: back = 9 V, found 9
            true: sum = 3 / 11 * 1 V, found 0.2727272727272727
            false: A1 linear
            true: A1 at low rail
            true: A2 linear
            true: A2 at high rail
            true: A3 linear
            false: A1 latches
            false: A1 goes high at in = 1 V
        "#]],
    );
}

#[test]
fn a_limit_of_current_makes_an_output_a_source() {
    states(
        "
        part weak
          current source 10 mA, sink 2 mA
        end
        circuit c
        opamps are weak
        supply +9 V and -9 V
        source probe: in = 5 V
        opamp A1: plus in, minus out, drives out
        out -- RL 200 -- ground
        source other: low = -5 V
        opamp A2: plus low, minus w, drives w
        w -- RW 1k -- ground
        expect current(A1) = 10 mA
        expect out = 2 V
        expect w = -2 V
        expect A1 linear
        ",
        expect![[r#"
            AtLimits
            A1 sourcing, A2 sinking: out 2, w -2, Stable
            true: current(A1) = 10 mA, found 0.01
            true: out = 2 V, found 2
            true: w = -2 V, found -2
            false: A1 linear
        "#]],
    );
}

// (1 − β)·u must vanish: linear at 0 V, unstable at the first instant, and at a rail the capacitor goes after the output.
#[test]
fn a_relaxation_oscillator_has_no_stable_state() {
    states(
        "
        supply +9 V and -9 V
        out -- R1 10k -- p -- R2 10k -- ground
        out -- R3 10k -- m -- C1 100 nF -- ground
        opamp A1: plus p, minus m, drives out
        expect A1 oscillates
        expect A1 latches
        expect out = 0 V
        ",
        expect![[r#"
            Restless
            A1 linear: out 0, Unstable
            true: A1 oscillates
            false: A1 latches
            ?: out = 0 V
        "#]],
    );
}

// Linear at 0 V a Wien bridge of gain 3.1 grows, and at a rail its capacitors let plus go: so it never rests. With 2.9 it rests at 0 V.
#[test]
fn a_bridge_with_too_much_gain_has_no_stable_state() {
    let bridge = |feedback: &str| {
        format!(
            "
        supply +9 V and -9 V
        out -- R1 10k -- x -- C1 100 nF -- p
        p -- R2 10k -- ground
        p -- C2 100 nF -- ground
        ground -- R3 10k -- m -- R4 {feedback} -- out
        opamp A1: plus p, minus m, drives out
        expect A1 oscillates
        expect A1 linear
        "
        )
    };
    states(
        &bridge("21k"),
        expect![[r#"
            Restless
            A1 linear: out 0, Unstable
            true: A1 oscillates
            false: A1 linear
        "#]],
    );
    states(
        &bridge("19k"),
        expect![[r#"
            AsIdeal
            A1 linear: out 0, Stable
            false: A1 oscillates
            true: A1 linear
        "#]],
    );
}

#[test]
fn a_comparator_is_at_a_rail_and_an_integrator_goes_to_one() {
    states(
        "
        source level: in = 2.4 V
        source mark: ref = 2.5 V
        comparator K1: plus in, minus ref, drives pump, supply 5 V
        pump -- R1 10k -- ground
        expect K1 at low rail
        expect K1 goes high at in = 2.5 V
        expect K1 goes low at in = 2.5 V
        expect K1 linear
        expect pump = 0 V
        ",
        expect![[r#"
            AtLimits
            K1 low: pump 0, Stable
            K1 leaves high as level falls past 5/2, to K1 low
            K1 leaves low as level rises past 5/2, to K1 high
            K1 leaves low as mark falls past 12/5, to K1 high
            K1 leaves high as mark rises past 12/5, to K1 low
            true: K1 at low rail
            true: K1 goes high at in = 2.5 V, found 2.5
            true: K1 goes low at in = 2.5 V, found 2.5
            false: K1 linear
            true: pump = 0 V, found 0
        "#]],
    );
    states(
        "
        supply +9 V and -9 V
        source probe: in = 1 V
        in -- R1 10k -- sum -- C1 1 uF -- out
        opamp A1: plus ground, minus sum, drives out
        expect out = -9 V
        expect A1 at low rail
        ",
        expect![[r#"
            AtLimits
            A1 low: out -9, Stable
            A1 leaves low as probe falls past 0, to A1 high
            A1 leaves high as probe rises past 0, to A1 low
            true: out = -9 V, found -9
            true: A1 at low rail
        "#]],
    );
}

// A comparator with hysteresis and an integrator in a ring: a generator of triangles.
#[test]
fn a_generator_of_triangles_never_rests() {
    states(
        "
        supply +9 V and -9 V
        tri -- R1 10k -- p -- R2 20k -- sq
        comparator K1: plus p, minus ground, drives sq
        sq -- R3 10k -- m -- C1 100 nF -- tri
        opamp A1: plus ground, minus m, drives tri
        expect K1 oscillates
        ",
        expect![[r#"
            Restless
            true: K1 oscillates
        "#]],
    );
}

#[test]
fn real_parts_have_their_own_limits_and_thresholds() {
    // β = 1/3 of ±(9 − 1) V, moved by the offset at plus.
    states(
        "
        part plain
          gain 100000
          headroom 1 V
          offset 3 mV
          output_resistance 100 ohm
        end
        circuit c
        opamps are plain
        supply +9 V and -9 V
        source probe: in = 0 V
        opamp A1: plus p, minus in, drives out
        out -- R1 20k -- p -- R2 10k -- ground
        expect A1 latches
        expect A1 goes low at in = 2.66 V within 1 %
        ",
        expect![[r#"
            Several
            A1 linear: out -30000/3333233, Unstable
            A1 high: out 2400/301, Stable
            A1 low: out -2400/301, Stable
            A1 leaves low as probe falls past -19976823/7525000, to A1 high
            A1 leaves high as probe rises past 20021973/7525000, to A1 low
            true: A1 latches
            true: A1 goes low at in = 2.66 V within 1 %, found 2.6607273089701
        "#]],
    );
    // Rounded numbers: a threshold with its bound.
    states(
        "
        let k = sqrt(2)
        supply +9 V and -9 V
        source probe: in = 0 V
        opamp A1: plus p, minus in, drives out
        out -- R1 (k * 10k) -- p -- R2 10k -- ground
        ",
        expect![[r#"
            Several
            A1 linear: out -0.000000000 to 4e-308, Unstable
            A1 high: out 9, Stable
            A1 low: out -9, Stable
            A1 leaves low as probe falls past -3.727922061 to 1e-13, to A1 high
            A1 leaves high as probe rises past 3.727922061 to 9e-14, to A1 low
        "#]],
    );
}
