//! What this version reads and does not compute yet.

use analysis::Trouble;
use analysis::feedback::{Feedback, Verdict};
use circuit::{Claim, ClaimKind, Later, OpampId, StateClaim, When};
use syntax::Place;

use super::supply_missing;
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "not_built",
    severity: Severity::Hint,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
The language is larger than what this version computes. Each statement that is read and not computed is named, so that nobody
takes a missing answer for an answer.
# Wrong
    source probe: in = sine 1 V at 5 Hz
    in -- R1 16k -- out -- C1 1 uF -- ground
    response out / in from 0.1 Hz to 1 kHz
# Right
    source probe: in = 1 V
    in -- R1 16k -- out -- C1 1 uF -- ground
    expect out = 1 V
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    findings.extend(
        checked
            .circuit
            .later
            .iter()
            .map(|it| statement(checked, it)),
    );
    let troubles = checked.troubles();
    let feedback = &checked.study.feedback;
    findings.extend(feedback.iter().filter_map(|it| too_many(checked, it)));
    let beyond = troubles.iter().filter_map(|it| match it {
        Trouble::BeyondRail(opamp) | Trouble::BeyondCurrent(opamp) => Some(*opamp),
        _ => None,
    });
    if !checked.incomplete() && !is_untrusted(&troubles) {
        findings.extend(at_limit(checked, &beyond.collect::<Vec<_>>()));
    }
    claims(checked, findings);
}

/// Whether the ideal answer means nothing, for reasons that have findings of their own.
fn is_untrusted(troubles: &[Trouble]) -> bool {
    troubles
        .iter()
        .any(|it| matches!(it, Trouble::NoSingleAnswer | Trouble::Feedback(_)))
}

/// `expect finding` of a rule that this version does not have.
pub(crate) fn rule(checked: &Checked, place: Place, name: &str) -> Finding {
    let message = format!("this version does not look for `{name}` yet");
    let help =
        "The line is kept as it is, and says nothing until a version that has the rule reads it.";
    checked
        .finding(&RULE, place, message, help)
        .about([name.to_string()])
}

fn statement(checked: &Checked, later: &Later) -> Finding {
    let kind = kind(&later.what);
    let message = format!("this version reads {kind} and does not compute it yet");
    let help = match (later.wires, kind) {
        (true, _) => {
            "The circuit is not whole without it, so what hangs on it is not known and claims are not judged."
        }
        (_, WAVE) => {
            "The source stands at its level in the steady state: a wave at its offset, a step at its first level."
        }
        (_, TASK) => "The circuit itself is computed, and its claims are judged.",
        (_, "`start`") => "It says where a record begins; the steady state does not depend on it.",
        _ => "The rest of the circuit does not depend on it.",
    };
    checked
        .finding(&RULE, later.place, message, help)
        .about(later.names.iter().cloned())
}

const WAVE: &str = "how a source changes with time";
const TASK: &str = "the task";

/// What a statement is called.
fn kind(what: &str) -> &str {
    match what {
        "sine" | "square" | "triangle" | "step" | "through" => WAVE,
        "problem" | "ask" | "answer" | "find" | "vary" | "require" => TASK,
        "start" => "`start`",
        "record" => "`record`",
        "response" => "`response`",
        "work" => "the work sheet",
        "diode" => "the diode",
        "comparator" => "the comparator",
        other => other,
    }
}

fn too_many(checked: &Checked, feedback: &Feedback) -> Option<Finding> {
    if feedback.verdict != Verdict::TooMany {
        return None;
    }
    let circuit = checked.circuit;
    let first = &circuit.opamps[feedback.block.first()?.index()];
    let message = format!(
        "this version does not judge the feedback of {} op-amps that move each other",
        feedback.block.len()
    );
    let help = "Whether V+ = V− holds at them is not known, so the answer is shown for ideal op-amps, and the claims of this circuit are not judged.";
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about([first.name.clone()]),
    )
}

fn at_limit(checked: &Checked, opamps: &[OpampId]) -> Option<Finding> {
    let first = &checked.circuit.opamps[opamps.first()?.index()];
    let all = teaching::feedback::opamps(checked.circuit, opamps);
    let message = format!("this version does not compute the circuit with {all} at the limit yet");
    let help = "What is shown is the answer without limits. Claims of this circuit that need more are not judged.";
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about(opamp_names(checked, opamps)),
    )
}

/// Claims that could not be judged for want of a computation.
fn claims(checked: &Checked, findings: &mut Vec<Finding>) {
    if !checked
        .circuit
        .claims
        .iter()
        .any(|it| not_judged(it).is_some())
    {
        return;
    }
    let judgements = checked
        .study
        .judgements(checked.circuit, &checked.book.parts);
    for (claim, judgement) in checked.circuit.claims.iter().zip(judgements) {
        let Some(what) = not_judged(claim).filter(|_| {
            judgement.holds.is_none() && supply_missing::missing(checked, claim).is_none()
        }) else {
            continue;
        };
        let message = format!("this version does not judge {what} yet");
        let help = "The claim is read, and neither confirmed nor refused.";
        let finding = checked.finding(&RULE, claim.place, message, help);
        findings.push(finding.about(claim_subject(checked, claim)));
    }
}

fn not_judged(claim: &Claim) -> Option<&'static str> {
    match claim.kind.as_ref()? {
        ClaimKind::Equal {
            at: Some(When::Time(_)),
            ..
        } => Some("claims at a time"),
        ClaimKind::Equal {
            at: Some(When::Frequency(_)),
            ..
        } => Some("claims at a frequency"),
        ClaimKind::State {
            state: StateClaim::Linear,
            ..
        } => None,
        ClaimKind::State { .. } => Some("how op-amps behave at their rails"),
        _ => None,
    }
}

fn claim_subject(checked: &Checked, claim: &Claim) -> Option<String> {
    match &claim.kind {
        Some(ClaimKind::State { opamp, .. }) => {
            Some(checked.circuit.opamps[opamp.index()].name.clone())
        }
        _ => None,
    }
}

fn opamp_names(checked: &Checked, opamps: &[OpampId]) -> Vec<String> {
    opamps
        .iter()
        .map(|it| checked.circuit.opamps[it.index()].name.clone())
        .collect()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn one_hint_a_statement() {
        report(
            r#"
source probe: in = sine 1 V at 5 Hz
source mains: hum = sine 1 V at 50 Hz
in -- R1 16k -- out -- C1 1 uF -- ground
hum -- R2 16k -- out
find in
ask "Why?"
response out / in driven by probe from 1 Hz to 1 kHz
expect abs(out / in) = 0.1 at 10 Hz
"#,
            expect![[r#"
                hint: not_built at `sine`
                  this version reads how a source changes with time and does not compute it yet
                  The source stands at its level in the steady state: a wave at its offset, a step at its first level.
                hint: not_built at `sine`
                  this version reads how a source changes with time and does not compute it yet
                  The source stands at its level in the steady state: a wave at its offset, a step at its first level.
                hint: not_built at `find`
                  this version reads the task and does not compute it yet
                  The circuit itself is computed, and its claims are judged.
                hint: not_built at `ask`
                  this version reads the task and does not compute it yet
                  The circuit itself is computed, and its claims are judged.
                hint: not_built at `response`
                  this version reads `response` and does not compute it yet
                  The rest of the circuit does not depend on it.
                hint: not_built at `expect abs(out / in) = 0.1 at 10 Hz`
                  this version does not judge claims at a frequency yet
                  The claim is read, and neither confirmed nor refused.
            "#]],
        );
    }
}
