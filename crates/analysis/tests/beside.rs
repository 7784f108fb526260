//! What stands beside an answer at limits: the gap to the ideal one by cause, and each source's share, by hand.

use ampersum_analysis as analysis;

use std::fmt::Write;

use analysis::gap::{PartOfGap, Reason};
use analysis::shares::{Giver, Resistance};
use analysis::{Answer, Outcome, Study};
use circuit::Book;
use expect_test::{Expect, expect};

fn read(text: &str) -> Book {
    let book = circuit::build("test", text.into(), &mut |_| None);
    assert!(book.faults.is_empty(), "{:?} in\n{text}", book.faults);
    book
}

fn number(answer: &Answer) -> String {
    match answer {
        Answer::Exact(ratio) => ratio.to_string(),
        Answer::Float { value, bound } => format!("{value:.9} to {bound:.0e}"),
    }
}

/// The answer, the ideal one and the gap of each node by cause, its shares (in brackets per unit of the source), and what is seen.
#[track_caller]
fn beside(text: &str, expected: Expect) {
    let book = read(text);
    let (circuit, parts) = (&book.circuits[0], &book.parts);
    let study = Study::new(circuit, parts);
    let mut found = format!("{:?}\n", study.outcome(circuit, parts));
    let name = |it: &PartOfGap| match it.reason {
        Reason::Figure(cause) => format!("{cause:?}"),
        other => format!("{other:?}"),
    };
    let giver = |it: Giver| match it {
        Giver::Source(id) => circuit.sources[id.index()].name.clone(),
        Giver::Offset(id) => format!("{}.offset", circuit.opamps[id.index()].name),
        Giver::Bias(id) => format!("{}.bias", circuit.opamps[id.index()].name),
        Giver::Limit(id) => format!("{}.limit", circuit.opamps[id.index()].name),
    };
    let (gap, shares) = (study.gap(circuit, parts), study.shares(circuit, parts));
    let ideal = study.ideal(circuit, parts).single();
    for node in circuit.unknowns() {
        let at = node.index();
        let written = study
            .answer(circuit, parts)
            .and_then(|it| it.nodes[at].as_ref());
        let written = written.map_or("?".into(), number);
        write!(found, "{} = {written}", circuit.node_name(node)).unwrap();
        if let (Some(gap), Some(ideal)) = (gap, &ideal) {
            let of = |it: &PartOfGap| {
                let cured = it
                    .cured
                    .as_ref()
                    .map(|it| format!(" ({})", number(&it[at])));
                let adds = number(&it.adds[at]);
                format!("{} {adds}{}", name(it), cured.unwrap_or_default())
            };
            let all: Vec<String> = gap.parts.iter().map(of).collect();
            write!(found, "; ideal {}; {}", number(&ideal[at]), all.join(", ")).unwrap();
        }
        if let Some(shares) = shares {
            let of = |it: &analysis::shares::Share| {
                let gain = it
                    .gains
                    .as_ref()
                    .map(|it| format!(" ({})", number(&it[at])));
                let volts = number(&it.volts[at]);
                format!("{} {volts}{}", giver(it.of), gain.unwrap_or_default())
            };
            let all: Vec<String> = shares.shares.iter().map(of).collect();
            write!(found, "; by {}", all.join(", ")).unwrap();
        }
        found.push('\n');
    }
    let seen = |it: &Resistance| match it {
        Resistance::Ohms(ohms) => number(ohms),
        Resistance::Infinite => "infinite".into(),
    };
    for it in shares.iter().flat_map(|it| &it.inputs) {
        writeln!(
            found,
            "{} sees {}",
            circuit.sources[it.0.index()].name,
            seen(&it.1)
        )
        .unwrap();
    }
    for it in shares.iter().flat_map(|it| &it.outputs) {
        writeln!(
            found,
            "at {} {}",
            circuit.opamps[it.0.index()].name,
            seen(&it.1)
        )
        .unwrap();
    }
    expected.assert_eq(&found);
}

// Ideal −12 V, at the rail −9 V: 3 V are the limit's, and sum is (1.2 V·100k − 9 V·10k)/110k = 3/11 V = 12/11 V − 9/11 V. The probe sees R1 and R2.
#[test]
fn a_clipped_inverter() {
    beside(
        "
        supply +9 V and -9 V
        source probe: in = 1.2 V
        in -- R1 10k -- sum -- R2 100k -- out
        opamp A1: plus ground, minus sum, drives out
        ",
        expect![[r#"
            AtLimits
            in = 6/5; ideal 6/5; Limit 0; by probe 6/5 (1), A1.limit 0
            sum = 3/11; ideal 0; Limit 3/11; by probe 12/11 (10/11), A1.limit -9/11
            out = -9; ideal -12; Limit 3; by probe 0 (0), A1.limit -9
            probe sees 110000
            at A1 0
        "#]],
    );
}

// The offset alone would take the output to −12 + 0.022 V; at −8 V (headroom 1 V) it makes no difference. The rail is a source: −9 V of the output
// are its, 1 V the headroom's.
#[test]
fn a_rail_that_is_a_source_has_its_share() {
    beside(
        "
        part plain
          offset 2 mV
          headroom 1 V
        end
        circuit c
        opamps are plain
        source under: vee = -9 V
        supply 9 V and vee
        source probe: in = 1.2 V
        in -- R1 10k -- sum -- R2 100k -- out
        opamp A1: plus ground, minus sum, drives out
        ",
        expect![[r#"
            AtLimits
            vee = -9; ideal -9; Offset 0, Limit 0; by under -9 (1), probe 0 (0), A1.limit 0
            in = 6/5; ideal 6/5; Offset 0, Limit 0; by under 0 (0), probe 6/5 (1), A1.limit 0
            sum = 4/11; ideal 0; Offset 1/500, Limit 1989/5500; by under -9/11 (1/11), probe 12/11 (10/11), A1.limit 1/11
            out = -8; ideal -12; Offset 11/500, Limit 1989/500; by under -9 (1), probe 0 (0), A1.limit 1
            under sees infinite
            probe sees 110000
            at A1 0
        "#]],
    );
}

// 10 mA through 200 ohm are 2 V, not 5 (1000/1001 of it with that gain); the second stage amplifies what is left. A test current at `out` meets 200 ohm.
#[test]
fn a_limit_of_current_is_a_source_of_current() {
    beside(
        "
        part weak
          gain 1000
          current source 10 mA, sink 2 mA
        end
        circuit c
        supply +9 V and -9 V
        source probe: in = 5 V
        opamp A1: plus in, minus out, drives out, part weak
        out -- RL 200 -- ground
        opamp A2: plus out, minus low, drives twice
        ground -- R1 1k -- low -- R2 1k -- twice
        ",
        expect![[r#"
            AtLimits
            in = 5; ideal 5; Gain 0, Limit 0; by probe 5 (1), A1.limit 0
            out = 2; ideal 5; Gain -5/1001, Limit -2998/1001; by probe 0 (0), A1.limit 2
            low = 2; ideal 5; Gain -5/1001, Limit -2998/1001; by probe 0 (0), A1.limit 2
            twice = 4; ideal 10; Gain -10/1001, Limit -5996/1001; by probe 0 (0), A1.limit 4
            probe sees infinite
            at A1 200
            at A2 0
        "#]],
    );
}

// The ideal answer has the comparator where it stands, at 5 V; the amplifier behind it is linear and has a gap of its own.
#[test]
fn a_comparator_is_no_part_of_the_gap() {
    beside(
        "
        part slow
          gain 999
        end
        circuit c
        source level: in = 2.4 V
        source mark: ref = 2.5 V
        comparator K1: plus ref, minus in, drives lamp, supply 5 V
        opamp A1: plus lamp, minus out, drives out, part slow
        ",
        expect![[r#"
            AtLimits
            in = 12/5; ideal 12/5; Gain 0, Limit 0; by level 12/5 (1), mark 0 (0), K1.limit 0
            ref = 5/2; ideal 5/2; Gain 0, Limit 0; by level 0 (0), mark 5/2 (1), K1.limit 0
            lamp = 5; ideal 5; Gain 0, Limit 0; by level 0 (0), mark 0 (0), K1.limit 5
            out = 999/200; ideal 5; Gain -1/200, Limit 0; by level 0 (0), mark 0 (0), K1.limit 999/200
            level sees infinite
            mark sees infinite
            at K1 0
            at A1 0
        "#]],
    );
}

// 1/2 of the output comes back to plus and 3/4 to minus. A rejection of 2.5 adds (V+ + V−)/5 to V+ − V−, and what comes back just cancels: the linear
// equations have no answer, 3/5 · in + 3/5 · out = 3/5 · out.
#[test]
fn what_cannot_be_told_apart_is_the_rest() {
    beside(
        "
        part poor
          rejection 2.5
        end
        circuit c
        opamps are poor
        supply +9 V and -9 V
        source probe: in = 1 V
        in -- R1 10k -- p -- R2 10k -- out
        ground -- R3 30k -- m -- R4 10k -- out
        opamp A1: plus p, minus m, drives out
        ",
        expect![[r#"
            AtLimits
            in = 1; ideal 1; Rest 0; by probe 1 (1), A1.limit 0
            p = 5; ideal 3/2; Rest 7/2; by probe 1/2 (1/2), A1.limit 9/2
            out = 9; ideal 2; Rest 7; by probe 0 (0), A1.limit 9
            m = 27/4; ideal 3/2; Rest 21/4; by probe 0 (0), A1.limit 27/4
            probe sees 20000
            at A1 0
        "#]],
    );
}

#[test]
fn without_one_state_there_is_neither() {
    let book = read(
        "supply +9 V and -9 V\nsource probe: in = 1 V\nin -- R1 10k -- p -- R2 20k -- out\nopamp A1: plus p, minus ground, drives out",
    );
    let (circuit, parts) = (&book.circuits[0], &book.parts);
    let study = Study::new(circuit, parts);
    assert_eq!(*study.outcome(circuit, parts), Outcome::Several);
    assert!(study.gap(circuit, parts).is_none() && study.shares(circuit, parts).is_none());
}
