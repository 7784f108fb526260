//! The inputs of an op-amp are one node or are both held by sources: V+ = V− says nothing, or contradicts.

use analysis::Answer;
use analysis::faults::{Fault, FaultKind};
use syntax::{Dimension, Ratio};
use teaching::{names, notation};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "inputs_tied",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An op-amp with negative feedback moves its output until V+ = V−. If both inputs are one node, or if sources hold both of
them, the output has no say in it: V+ = V− is then either true by itself, which leaves the output open, or can never become
true, which drives the output to a rail. That is an error; where a `supply` or a part of finite gain gives the circuit an answer
all the same, it is a warning.
# Wrong
    source leaf_probe: leaf = 250 mV
    source air_probe: air = 310 mV
    opamp A1: plus leaf, minus air, drives out
    out -- RL 10k -- ground
# Right
    source leaf_probe: leaf = 250 mV
    source air_probe: air = 310 mV
    air -- R1 10k -- n -- R2 100k -- out
    opamp A1: plus leaf, minus n, drives out
    out -- RL 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let tied = |it| {
        matches!(
            it,
            FaultKind::InputsTied | FaultKind::InputsHeldApart | FaultKind::InputsHeldEqual
        )
    };
    for fault in checked.faults(tied) {
        findings.extend(inputs(checked, fault));
    }
}

fn inputs(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let opamps: Vec<_> = fault.opamps().collect();
    let (first, rest) = opamps.split_first()?;
    let opamp = &circuit.opamps[first.index()];
    let (name, out) = (&opamp.name, names::node(circuit, opamp.drives));
    let [plus, minus] = [opamp.plus, opamp.minus].map(|it| names::node(circuit, it));
    let holders: Vec<_> = fault
        .carriers
        .iter()
        .copied()
        .filter(|it| *it != circuit::Carrier::Opamp(*first))
        .collect();
    let by = match holders.as_slice() {
        [] => String::new(),
        holders => format!(" by {}", names::carriers(circuit, holders.iter().copied())),
    };
    let by_gain = checked.by_gain(*first);
    let goes = match by_gain.is_empty() {
        true => ", and the output goes to a rail",
        false => "",
    };
    let (message, help) = match fault.kind {
        FaultKind::InputsTied if opamp.plus == opamp.minus => (
            format!("both inputs of `{name}` are {plus}"),
            format!(
                "So {v}+ = {v}− is true whatever the output does, and nothing tells where {out} stands. One input takes the signal, the \
                 other one a share of the output."
            ),
        ),
        FaultKind::InputsHeldApart => {
            let apart = fault.amount.as_ref().map(|it| {
                let size = if it < &Ratio::ZERO {
                    -it.clone()
                } else {
                    it.clone()
                };
                format!(
                    " {}",
                    notation::short(&Answer::Exact(size), Dimension::VOLT)
                )
            });
            (
                format!(
                    "the inputs of `{name}` are held{} apart{by}",
                    apart.unwrap_or_default()
                ),
                format!(
                    "{out} cannot move {plus} or {minus}, so {v}+ = {v}− can never become true{goes}. Lead a share of the output back to minus \
                     through resistors."
                ),
            )
        }
        _ => (
            format!("the inputs of `{name}` are held equal{by}"),
            format!(
                "{out} cannot move {plus} or {minus}, so {v}+ = {v}− says nothing new, and nothing tells where {out} stands. Lead a share \
                 of the output back to minus through resistors."
            ),
        ),
    };
    let help = format!("{by_gain}{}", names::sentence(&help));
    let mut finding = checked
        .finding(&RULE, opamp.name_place, message, help)
        .about(checked.subjects(&[], &fault.carriers))
        .about(checked.subjects(&fault.nodes, &[]))
        .also(opamp.pin_places[0], "the plus input")
        .also(opamp.pin_places[1], "the minus input");
    for other in rest.iter().take(8) {
        let other = &circuit.opamps[other.index()];
        finding = finding.also(other.name_place, format!("`{}` belongs to it", other.name));
    }
    finding.severity = checked.without_equal_inputs();
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn both_inputs_are_one_node() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus in, drives out
out -- R1 10k -- ground
"#,
            expect![[r#"
                error: inputs_tied at `A1`
                  both inputs of `A1` are `in`
                  So V+ = V− is true whatever the output does, and nothing tells where `out` stands. One input takes the signal, the other one a share of the output.
                  `in`: the plus input
                  `in`: the minus input
            "#]],
        );
    }

    #[test]
    fn sources_hold_the_inputs_apart() {
        report(
            r#"
source leaf_probe: leaf = 250 mV
source air_probe: air = 310 mV
opamp A1: plus leaf, minus air, drives out
out -- R1 10k -- ground
"#,
            expect![[r#"
                error: inputs_tied at `A1`
                  the inputs of `A1` are held 60 mV apart by `leaf_probe` and `air_probe`
                  `out` cannot move `leaf` or `air`, so V+ = V− can never become true, and the output goes to a rail. Lead a share of the output back to minus through resistors.
                  `leaf`: the plus input
                  `air`: the minus input
            "#]],
        );
    }
}
