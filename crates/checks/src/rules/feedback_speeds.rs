//! Whether feedback is negative depends on which op-amp is quicker.

use analysis::feedback::{Feedback, Verdict};
use teaching::feedback;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "feedback_speeds",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
Where several op-amps move each other's inputs, feedback may be negative if some of them are quicker than the others, and not
if all are alike. Two op-amps of one kind then do not do. The cure is most often to exchange the inputs of one of them, or to
give each op-amp a feedback path of its own.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- a -- R2 100k -- x
    y -- R3 5k -- a
    opamp A1: plus ground, minus a, drives x
    x -- R4 10k -- b -- R5 30k -- y
    b -- R6 10k -- ground
    opamp A2: plus b, minus ground, drives y
# Right
    source probe: in = 1 V
    in -- R1 10k -- a -- R2 100k -- x
    opamp A1: plus ground, minus a, drives x
    x -- R4 10k -- b -- R5 30k -- y
    b -- R6 10k -- ground
    opamp A2: plus ground, minus b, drives y
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for it in &checked.study.feedback {
        if it.verdict == Verdict::DependsOnSpeeds && checked.is_sure(&it.block) {
            findings.extend(speeds(checked, it));
        }
    }
}

fn speeds(checked: &Checked, it: &Feedback) -> Option<Finding> {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let first = &circuit.opamps[it.block.first()?.index()];
    let message = format!(
        "whether the feedback through {} is negative depends on which of them is quicker",
        feedback::opamps(circuit, &it.block)
    );
    let cure = match it.repairs.as_slice() {
        [] => "Give each op-amp a feedback path of its own to minus.".to_string(),
        [one, ..] => format!(
            "Exchange the inputs of {}, or give each op-amp a path of its own to minus.",
            feedback::opamps(circuit, one)
        ),
    };
    let help = format!(
        "If all are alike, the loop does not settle, so {v}+ = {v}− cannot be relied on. {cure}"
    );
    let mut finding = checked
        .finding(&RULE, first.name_place, message, help)
        .about(
            it.block
                .iter()
                .map(|it| circuit.opamps[it.index()].name.clone()),
        );
    for other in it.block[1..].iter().take(8) {
        let other = &circuit.opamps[other.index()];
        finding = finding.also(
            other.name_place,
            format!("`{}` belongs to the loop", other.name),
        );
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_loop_that_needs_a_quick_op_amp() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- a -- R2 100k -- x
y -- R3 5k -- a
opamp A1: plus ground, minus a, drives x
x -- R4 10k -- b -- R5 30k -- y
b -- R6 10k -- ground
opamp A2: plus b, minus ground, drives y
"#,
            expect![[r#"
                warning: feedback_speeds at `A1`
                  whether the feedback through `A1` and `A2` is negative depends on which of them is quicker
                  If all are alike, the loop does not settle, so V+ = V− cannot be relied on. Exchange the inputs of `A1` and `A2`, or give each op-amp a path of its own to minus.
                  `A2`: `A2` belongs to the loop
            "#]],
        );
    }
}
