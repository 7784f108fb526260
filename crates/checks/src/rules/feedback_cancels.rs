//! As much of the output comes back to plus as to minus, at these values.

use std::collections::BTreeSet;

use analysis::faults::FaultKind;
use analysis::feedback::Verdict;
use circuit::OpampId;
use teaching::{feedback, names};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "feedback_cancels",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
The output of an op-amp may come back to both inputs. If the two shares are equal, a rise of the output moves V+ and V− alike
and V+ − V− not at all: the op-amp cannot hold its inputs equal, and the node equations have no single answer. Other values,
or a resistor that is a little off, make it one or the other kind of feedback. Where a `supply` or a part of finite gain gives the
circuit an answer all the same, it is a warning.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- p -- R2 20k -- out
    ground -- R3 10k -- n -- R4 20k -- out
    opamp A1: plus p, minus n, drives out
# Right
    source probe: in = 1 V
    in -- R1 10k -- p -- R2 20k -- out
    ground -- R3 10k -- n -- R4 10k -- out
    opamp A1: plus p, minus n, drives out
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let mut told: BTreeSet<OpampId> = BTreeSet::new();
    for fault in checked.faults(|it| it == FaultKind::CancelsAtTheseValues) {
        let opamps: Vec<OpampId> = fault.opamps().collect();
        if !opamps.is_empty() && opamps.iter().all(|it| told.insert(*it)) {
            findings.extend(cancels(checked, &opamps));
        }
    }
    for it in checked
        .study
        .feedback
        .iter()
        .filter(|it| it.verdict == Verdict::Cancels)
    {
        if checked.is_sure(&it.block) && !it.block.iter().any(|it| told.contains(it)) {
            findings.extend(cancels(checked, &it.block));
        }
    }
}

fn cancels(checked: &Checked, opamps: &[OpampId]) -> Option<Finding> {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let first = *opamps.first()?;
    let opamp = &circuit.opamps[first.index()];
    let all = feedback::opamps(circuit, opamps);
    let message = match opamps {
        [_] => format!("the two feedback paths of {all} cancel at these values"),
        _ => format!("the feedback paths of {all} cancel at these values"),
    };
    let shares = checked
        .study
        .feedback_of(first)
        .and_then(|it| feedback::shares(circuit, it, first));
    let shares = match opamps {
        [_] => shares
            .map(|it| format!("{}. ", names::sentence(&it)))
            .unwrap_or_default(),
        _ => String::new(),
    };
    let severity = checked.without_equal_inputs();
    let answer = match severity {
        Severity::Error => ", and the equations have no single answer",
        _ => "",
    };
    let help = format!(
        "{shares}A rise of the output moves {v}+ and {v}− alike, so the op-amp cannot hold them equal{answer}. {}Change a resistor so that more comes \
         back to minus than to plus.",
        checked.by_gain(first)
    );
    let mut finding = checked
        .finding(&RULE, opamp.name_place, message, help)
        .about(
            opamps
                .iter()
                .map(|it| circuit.opamps[it.index()].name.clone()),
        );
    for other in opamps[1..].iter().take(8) {
        let other = &circuit.opamps[other.index()];
        finding = finding.also(other.name_place, format!("`{}` belongs to it", other.name));
    }
    finding.severity = severity;
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn equal_paths_to_both_inputs_cancel() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- p -- R2 20k -- out
ground -- R3 10k -- n -- R4 20k -- out
opamp A1: plus p, minus n, drives out
"#,
            expect![[r#"
                error: feedback_cancels at `A1`
                  the two feedback paths of `A1` cancel at these values
                  Of a small rise of `out`, 1/3 comes back to minus (`n`) and 1/3 to plus (`p`). A rise of the output moves V+ and V− alike, so the op-amp cannot hold them equal, and the equations have no single answer. Change a resistor so that more comes back to minus than to plus.
            "#]],
        );
    }
}
