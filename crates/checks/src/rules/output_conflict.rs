//! Two op-amp outputs, or an output and a voltage source, hold one node.

use analysis::faults::{Fault, FaultKind};
use circuit::Carrier;
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "output_conflict",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
The output of an op-amp holds its node at a voltage, as a source does. If something else holds the same node, they fight: in
a real circuit the stronger one wins and a large current flows. Give each a node of its own and join them through a resistor.
# Wrong
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    source lamp: out = 5 V
    out -- RL 10k -- ground
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    source lamp: rail = 5 V
    out -- RL 10k -- rail
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in
        checked.faults(|it| matches!(it, FaultKind::OutputOnSource | FaultKind::OutputsTied))
    {
        findings.extend(conflict(checked, fault));
    }
}

fn conflict(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let opamps: Vec<_> = fault.opamps().collect();
    let last = *opamps
        .iter()
        .max_by_key(|it| circuit.opamps[it.index()].name_place)?;
    let out = circuit.opamps[last.index()].drives;
    let others: Vec<Carrier> = fault
        .carriers
        .iter()
        .copied()
        .filter(|it| *it != Carrier::Opamp(last))
        .collect();
    let name = &circuit.opamps[last.index()].name;
    let node = names::node(circuit, out);
    let message = match (others.as_slice(), out) {
        ([], circuit::GROUND) => format!("the output of `{name}` is ground"),
        ([], _) => format!("the output of `{name}` and something else both hold {node}"),
        (others, _) if fault.kind == FaultKind::OutputsTied => {
            let other = others
                .iter()
                .copied()
                .filter(|it| matches!(it, Carrier::Opamp(_)));
            format!(
                "the outputs of {} and `{name}` are tied together",
                names::carriers(circuit, other)
            )
        }
        (others, circuit::GROUND) => {
            format!(
                "the output of `{name}` is held by {}",
                names::carriers(circuit, others.iter().copied())
            )
        }
        (others, _) => format!(
            "{} and the output of `{name}` both hold {node}",
            names::carriers(circuit, others.iter().copied())
        ),
    };
    let help = match out {
        circuit::GROUND => "Ground stays at 0 V, so the output could not move. Give the output a node of its own.".to_string(),
        _ => "Each sets the voltage there by itself, so they would fight and a large current would flow. Give each a node of its own; \
              where both shall act, join them through a resistor."
            .to_string(),
    };
    let mut finding = checked
        .finding(
            &RULE,
            circuit.opamps[last.index()].pin_places[2],
            message,
            help,
        )
        .about(checked.subjects(&[], &fault.carriers))
        .about(checked.subjects(&[out], &[]));
    for other in others.iter().take(8) {
        let message = format!("`{}` holds it too", names::carrier(circuit, *other));
        finding = finding.also(names::carrier_name_place(circuit, *other), message);
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn two_outputs_on_one_node() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus out, drives out
opamp A2: plus in, minus out, drives out
out -- R1 10k -- ground
"#,
            expect![[r#"
                error: output_conflict at `out`
                  the outputs of `A1` and `A2` are tied together
                  Each sets the voltage there by itself, so they would fight and a large current would flow. Give each a node of its own; where both shall act, join them through a resistor.
                  `A1`: `A1` holds it too
            "#]],
        );
    }

    #[test]
    fn an_output_on_a_source() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus out, drives out
source lamp: out = 5 V
out -- R1 10k -- ground
"#,
            expect![[r#"
                error: output_conflict at `out`
                  `lamp` and the output of `A1` both hold `out`
                  Each sets the voltage there by itself, so they would fight and a large current would flow. Give each a node of its own; where both shall act, join them through a resistor.
                  `lamp`: `lamp` holds it too
            "#]],
        );
    }
}
