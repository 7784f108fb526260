//! The equations have no single answer and no other rule says why.

use analysis::faults::{Fault, FaultKind};
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "unsolvable",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
Every other reason why node equations have no single answer has a rule of its own. What is left are equations that repeat
each other: two op-amps whose rules V+ = V− say the same, or a controlled source whose value just undoes what the rest does.
Where a `supply` or a part of finite gain gives op-amps an answer all the same, it is a warning.
# Wrong
    source probe: in = 1 V
    in -- R1 1k -- x
    source lift: 1 mS * x from ground into x
# Right
    source probe: in = 1 V
    in -- R1 1k -- x
    source lift: 0.5 mS * x from ground into x
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| {
        matches!(
            it,
            FaultKind::RulesRepeat | FaultKind::Singular | FaultKind::CancelsAtTheseValues
        )
    }) {
        // op-amps whose paths cancel have a rule of their own
        if fault.kind != FaultKind::CancelsAtTheseValues || fault.opamps().next().is_none() {
            findings.push(unsolvable(checked, fault));
        }
    }
}

fn unsolvable(checked: &Checked, fault: &Fault) -> Finding {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let carriers = names::carriers(circuit, fault.carriers.iter().take(4).copied());
    let (message, help) = match fault.kind {
        FaultKind::RulesRepeat => (
            format!("{v}+ = {v}− says the same at {carriers}"),
            "One of these equations follows from the others, so the outputs are not all fixed. Each op-amp needs a feedback path by \
             which its own output moves its own inputs."
                .to_string(),
        ),
        _ => {
            let through = if fault.carriers.is_empty() { String::new() } else { format!(" Look at {carriers}.") };
            let which = match fault.nodes.as_slice() {
                [] => "the node equations have no single answer at these values".to_string(),
                [_] => format!("the equations do not fix {} at these values", checked.few_nodes(&fault.nodes)),
                nodes => format!("the equations do not fix {} at these values", checked.few_nodes(nodes)),
            };
            (
                which,
                format!(
                    "At these values one equation follows from the others, or contradicts them: what a source adds just undoes what the \
                     rest takes away.{through} With another value there is an answer."
                ),
            )
        }
    };
    let place = match (fault.carriers.first(), fault.nodes.first()) {
        (Some(carrier), _) => names::carrier_name_place(circuit, *carrier),
        (None, Some(node)) => checked.node_place(*node),
        (None, None) => circuit.place,
    };
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&fault.nodes, &fault.carriers));
    for node in fault
        .nodes
        .iter()
        .take(3)
        .filter(|_| !fault.carriers.is_empty())
    {
        finding = finding.also(
            checked.node_place(*node),
            format!("{} is not fixed", names::node(circuit, *node)),
        );
    }
    finding.severity = checked.without_equal_inputs();
    finding
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_controlled_source_undoes_a_resistor() {
        report(
            r#"
source probe: in = 1 V
in -- R1 1k -- x
source lift: 1 mS * x from ground into x
"#,
            expect![[r#"
                error: unsolvable at `lift`
                  the equations do not fix `x` at these values
                  At these values one equation follows from the others, or contradicts them: what a source adds just undoes what the rest takes away. Look at `lift`. With another value there is an answer.
                  `x`: `x` is not fixed
            "#]],
        );
    }
}
