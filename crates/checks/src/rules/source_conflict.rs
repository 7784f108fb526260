//! Voltage sources and wires close a loop: they contradict each other, or one says nothing new.

use analysis::Answer;
use analysis::faults::{Fault, FaultKind};
use circuit::Carrier;
use syntax::{Dimension, Ratio};
use teaching::{names, notation};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "source_conflict",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A voltage source holds its voltage whatever current that takes. Where sources and wires close a loop, the voltages around
it are fixed by them alone. If they do not add up to zero, they contradict each other, and no circuit can obey them: an
error. If they do, one of them says nothing new, and how the current is shared among them is not determined: a warning.
# Wrong
    source battery: vcc = 9 V
    source charger: vcc = 12 V
    vcc -- R1 10k -- ground
# Right
    source battery: vcc = 9 V
    source charger: charge = 12 V
    charge -- R2 10 1 W -- vcc -- R1 10k -- ground
    allow resistor_range at R2: \"the charger's own resistance\"
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| matches!(it, FaultKind::SourceLoop { .. })) {
        findings.extend(conflict(checked, fault));
    }
}

fn conflict(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let sources = fault
        .carriers
        .iter()
        .copied()
        .filter(|it| matches!(it, Carrier::Source(_)));
    let last = sources
        .max_by_key(|it| names::carrier_name_place(circuit, *it))
        .or(fault.carriers.last().copied())?;
    let mut around = fault.carriers.clone();
    around.sort_by_key(|it| names::carrier_name_place(circuit, *it));
    let loop_names = names::carriers(circuit, around.iter().copied());
    let mismatch = fault.amount.as_ref().filter(|it| !it.is_zero());
    let alone = fault.carriers.len() == 1;
    let (severity, message, help) = match (fault.kind, mismatch) {
        (FaultKind::SourceLoop { only_wires: true }, _) => (
            Severity::Warning,
            format!("{loop_names} are wires side by side, so nothing tells how they share the current"),
            "At rest an inductor is a wire, as a closed switch is. All voltages are certain, only the share of each wire is not. \
             Take one out, or give it the resistance that a real one has."
                .to_string(),
        ),
        (_, Some(amount)) => {
            let size = if amount < &Ratio::ZERO { -amount.clone() } else { amount.clone() };
            let size = notation::short(&Answer::Exact(size), Dimension::VOLT);
            (
                Severity::Error,
                match alone {
                    true => format!("{loop_names} contradicts itself by {size}"),
                    false => format!("{loop_names} contradict each other by {size}"),
                },
                format!(
                    "Around the loop that they close, the voltages must add up to 0 V; these add up to {size}. Take one of them out, \
                     or put a resistor in series with it: a real source has one inside."
                ),
            )
        }
        (_, None) if fault.amount.is_some() => (
            Severity::Warning,
            format!("`{}` says nothing new", names::carrier(circuit, last)),
            format!(
                "{loop_names} close a loop and agree, so all voltages are certain, but nothing tells how they share the current. \
                 Take one of them out."
            ),
        ),
        _ => (
            Severity::Error,
            format!("{loop_names} close a loop and cannot all be obeyed"),
            "Each holds a voltage by itself. Take one of them out, or put a resistor in series with it.".into(),
        ),
    };
    let mut finding = checked
        .finding(
            &RULE,
            names::carrier_name_place(circuit, last),
            message,
            help,
        )
        .about(checked.subjects(&[], &fault.carriers))
        .about(checked.subjects(&fault.nodes, &[]));
    finding.severity = severity;
    for other in around.iter().filter(|it| **it != last).take(4) {
        let message = format!("`{}` is part of the loop", names::carrier(circuit, *other));
        finding = finding.also(names::carrier_name_place(circuit, *other), message);
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn sources_that_contradict_each_other() {
        report(
            r#"
source battery: vcc = 9 V
source charger: vcc = 12 V
vcc -- R1 10k -- ground
"#,
            expect![[r#"
                error: source_conflict at `charger`
                  `battery` and `charger` contradict each other by 3 V
                  Around the loop that they close, the voltages must add up to 0 V; these add up to 3 V. Take one of them out, or put a resistor in series with it: a real source has one inside.
                  `battery`: `battery` is part of the loop
            "#]],
        );
    }

    #[test]
    fn sources_that_agree_are_a_warning() {
        report(
            r#"
source left_cell: a = 9 V
source right_cell: b = 4 V
source between: a - b = 5 V
a -- R1 10k -- b
"#,
            expect![[r#"
                warning: source_conflict at `between`
                  `between` says nothing new
                  `left_cell`, `right_cell` and `between` close a loop and agree, so all voltages are certain, but nothing tells how they share the current. Take one of them out.
                  `left_cell`: `left_cell` is part of the loop
                  `right_cell`: `right_cell` is part of the loop
            "#]],
        );
    }
}
