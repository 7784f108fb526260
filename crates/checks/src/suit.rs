//! Which generic class of op-amp would do for a circuit, and which limit rules the others out.

use std::collections::BTreeSet;

use analysis::solution::Solution;
use analysis::{Answer, Outcome, Study};
use circuit::classes::{Class, classes};
use circuit::{Book, Circuit, Claim, ClaimKind, NodeId, Part};

use crate::rules::{expectation, input_range, output_current, resistor_range, supply_range, swing};
use crate::{Finding, Settings, Severity, check_beside_text};

/// One class in every op-amp's place.
#[derive(Debug)]
pub struct Suited {
    /// The class.
    pub class: &'static Class,
    /// Whether some op-amp had no supply, and got the rails that the class usually has.
    pub usual_rails: bool,
    /// What rules it out; none: it would do. Places are those of the book.
    pub findings: Vec<Finding>,
    /// How far each output is from the ideal answer, in volts, the furthest first; empty where that is not known. Offsets and
    /// bias currents could have the other sign, for a class says only how large they are.
    pub off: Vec<(NodeId, Answer)>,
}

/// The rules whose findings depend on the op-amp's part.
const OF_A_PART: [&str; 5] = [
    swing::RULE.name,
    output_current::RULE.name,
    input_range::RULE.name,
    supply_range::RULE.name,
    resistor_range::RULE.name,
];

/// Each class, in the place of every op-amp of one circuit; comparators keep what they are, and where there are no others nothing is to choose.
///
/// A warning about a limit of the part rules a class out, and so does an error of the circuit: without an answer nothing can
/// be said. A claim that fails does not: most are about the ideal answer, and how far a class is from it is told as a number.
/// What the text accepts with `allow` is accepted here too; a fault that it claims to have is one all the same.
pub fn suit(book: &Book, index: usize, settings: &Settings) -> Vec<Suited> {
    let chooses = |it: &&Circuit| it.opamps.iter().any(|it| !it.comparator);
    let Some(circuit) = book.circuits.get(index).filter(chooses) else {
        return Vec::new();
    };
    let rest = Book {
        circuits: Vec::new(),
        ..book.clone()
    };
    classes()
        .iter()
        .map(|class| tried(&rest, circuit, index, class, settings))
        .collect()
}

fn tried(
    book: &Book,
    circuit: &Circuit,
    index: usize,
    class: &'static Class,
    settings: &Settings,
) -> Suited {
    let (mut book, mut circuit) = (book.clone(), circuit.clone());
    let part = book.with_class(class);
    let planted = |it: &Claim| matches!(it.kind, Some(ClaimKind::Finding { .. }));
    circuit.claims.retain(|it| !planted(it));
    let mut usual_rails = false;
    for opamp in circuit.opamps.iter_mut().filter(|it| !it.comparator) {
        opamp.part = Some(part);
        if opamp.supply.is_none() {
            usual_rails = true;
            opamp.supply = Some(class.supply(opamp.name_place));
        }
    }
    let study = Study::new(&circuit, &book.parts);
    let off = off(&circuit, &book.parts, &study);
    book.circuits.push(circuit);
    let mut findings = check_beside_text(&book, &[study], settings);
    findings.retain_mut(|it| {
        let rules_out = it.severity == Severity::Error && it.rule != expectation::RULE.name
            || it.severity == Severity::Warning && OF_A_PART.contains(&it.rule);
        let mine = it.circuit.is_some();
        it.circuit = Some(index);
        mine && rules_out
    });
    Suited {
        class,
        usual_rails,
        findings,
        off,
    }
}

fn off(circuit: &Circuit, parts: &[Part], study: &Study) -> Vec<(NodeId, Answer)> {
    if *study.outcome(circuit, parts) != Outcome::Real {
        return Vec::new();
    }
    let (real, ideal) = (study.linear(circuit, parts), study.solution(circuit, parts));
    let outputs: BTreeSet<NodeId> = circuit.opamps.iter().map(|it| it.drives).collect();
    let mut off: Vec<(NodeId, Answer)> = outputs
        .into_iter()
        .filter_map(|node| {
            let volts = |of: &Solution| of.nodes.get(node.index()).cloned().flatten();
            Some((node, &volts(real)? - &volts(ideal)?))
        })
        .collect();
    off.sort_by(|a, b| b.1.to_f64().abs().total_cmp(&a.1.to_f64().abs()));
    off
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use syntax::Dimension;
    use teaching::notation;

    use super::*;

    #[track_caller]
    fn table(text: &str, expected: Expect) {
        let book = circuit::build("a.amp", text.into(), &mut |_| None);
        assert!(book.faults.is_empty(), "{:?}", book.faults);
        let mut page = String::new();
        for it in suit(&book, 0, &Settings::default()) {
            let rules: Vec<&str> = it.findings.iter().map(|it| it.rule).collect();
            let rails = if it.usual_rails { " (usual rails)" } else { "" };
            let off = it.off.first().map_or(String::new(), |(_, volts)| {
                format!(" off by {}", notation::short(volts, Dimension::VOLT))
            });
            page.push_str(&format!(
                "{}{rails}:{off} {}\n",
                it.class.part.name,
                rules.join(" ")
            ));
        }
        expected.assert_eq(&page);
    }

    #[test]
    fn each_class_is_ruled_out_by_its_own_limit() {
        table(
            "supply +9 V and -9 V\nsource probe: in = 1.2 V\nin -- R1 10k -- sum -- R2 33k -- out\nopamp A1: plus ground, minus sum, drives out\nout -- RL 200 -- ground\n",
            expect![[r#"
                general_bipolar: off by 16.556 mV 
                low_noise_bipolar: off by 21.358 mV resistor_range
                low_voltage_cmos: supply_range swing
                precision_bipolar: output_current
                fet_input: off by 8.7298 mV 
                fast_bipolar: off by 175.08 mV supply_range resistor_range
            "#]],
        );
        table(
            "source leaf: 20 nA from ground into p\np -- R1 10M -- ground\nopamp A1: plus p, minus out, drives out\nout -- RL 10k -- ground\n",
            expect![[r#"
                general_bipolar (usual rails): off by −967.76 mV resistor_range
                low_noise_bipolar (usual rails): off by −4.8990 V resistor_range
                low_voltage_cmos (usual rails): off by 2.9179 mV 
                precision_bipolar (usual rails): off by −19.933 mV resistor_range
                fet_input (usual rails): off by 1.5191 mV 
                fast_bipolar (usual rails): swing
            "#]],
        );
        table(
            "supply 5 V\nsource tank: level = 0.2 V\nopamp A1: plus level, minus copy, drives copy\ncopy -- RL 10k -- ground\n",
            expect![[r#"
                general_bipolar: swing input_range
                low_noise_bipolar: swing input_range
                low_voltage_cmos: off by 3.0179 mV 
                precision_bipolar: supply_range swing
                fet_input: supply_range swing
                fast_bipolar: swing input_range
            "#]],
        );
    }

    #[test]
    fn a_circuit_without_an_answer_suits_no_class() {
        table(
            "supply 5 V\nsource tank: level = 1 V\nopamp A1: plus copy, minus level, drives copy\ncopy -- RL 10k -- ground\nexpect finding positive_feedback at A1\n",
            expect![[r#"
                general_bipolar: positive_feedback input_range
                low_noise_bipolar: positive_feedback input_range
                low_voltage_cmos: positive_feedback
                precision_bipolar: supply_range positive_feedback
                fet_input: supply_range positive_feedback
                fast_bipolar: positive_feedback
            "#]],
        );
    }
}
