//! A current source pushes into nodes that offer no way back.

use analysis::faults::{Fault, FaultKind};
use circuit::Carrier;
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "current_dead_end",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A current source drives its current whatever the voltage, so there must be a way around for it: a resistor, a voltage source
or an op-amp's output. A capacitor is none at rest, and an op-amp's input never is. Without one the currents at its node
cannot add up to zero.
# Wrong
    source leaf_light: 120 nA from ground into sensor
    sensor -- C1 1 uF -- ground
# Right
    source leaf_light: 120 nA from ground into sensor
    sensor -- C1 1 uF -- ground
    sensor -- R1 1M -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| it == FaultKind::CurrentIntoNothing) {
        findings.extend(dead_end(checked, fault));
    }
}

fn dead_end(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let sources: Vec<Carrier> = fault
        .carriers
        .iter()
        .copied()
        .filter(|it| matches!(it, Carrier::Source(_)))
        .collect();
    let first = sources.first().or(fault.carriers.first()).copied()?;
    let at = checked.few_nodes(&fault.nodes);
    let [current, has] = if sources.len() > 1 {
        ["currents", "have"]
    } else {
        ["current", "has"]
    };
    let message = format!(
        "the {current} of {} {has} no way on from {at}",
        names::carriers(circuit, sources.iter().copied())
    );
    let help = format!(
        "A current source drives its current whatever the voltage, and no resistor, voltage source or output leads from {at} to \
         ground. Give the current a way back, through a resistor for instance."
    );
    let mut finding = checked
        .finding(
            &RULE,
            names::carrier_name_place(circuit, first),
            message,
            help,
        )
        .about(checked.subjects(&[], &fault.carriers))
        .about(checked.subjects(&fault.nodes, &[]));
    if let Some(node) = fault.nodes.first() {
        finding = finding.also(checked.node_place(*node), "the current ends here");
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_current_into_a_capacitor() {
        report(
            r#"
source leaf_light: 120 nA from ground into sensor
sensor -- C1 1 uF -- ground
"#,
            expect![[r#"
                error: current_dead_end at `leaf_light`
                  the current of `leaf_light` has no way on from `sensor`
                  A current source drives its current whatever the voltage, and no resistor, voltage source or output leads from `sensor` to ground. Give the current a way back, through a resistor for instance.
                  `sensor`: the current ends here
            "#]],
        );
    }
}
