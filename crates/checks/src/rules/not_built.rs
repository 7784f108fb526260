//! What this version reads and does not compute yet.

use analysis::feedback::{Feedback, Verdict};
use analysis::{Outcome, Trouble};
use circuit::{Claim, ClaimKind, Later, When};
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
    let feedback = &checked.study.feedback;
    findings.extend(feedback.iter().filter_map(|it| too_many(checked, it)));
    if !checked.incomplete() {
        findings.extend(unsearched(checked));
    }
    claims(checked, findings);
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

/// So many ways in which the op-amps could stand that not all were looked at.
fn unsearched(checked: &Checked) -> Option<Finding> {
    let circuit = checked.circuit;
    if checked.troubles().is_empty() && !circuit.opamps.iter().any(|it| it.comparator) {
        return None;
    }
    let Outcome::Unknown(troubles) = checked.study.outcome(circuit, &checked.book.parts) else {
        return None;
    };
    if !troubles.contains(&Trouble::TooManyStates) {
        return None;
    }
    let first = circuit.opamps.first()?;
    let message = "the op-amps of this circuit could stand in more ways than are looked at";
    let help = "Each can be linear or at a limit, and too many of these combinations could be its state: more than 1024 are, or the search grew too \
                long. What is shown is the answer with ideal op-amps, and claims are not judged. Fewer op-amps that move each other in one circuit help.";
    let names = circuit.opamps.iter().map(|it| it.name.clone());
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about(names),
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
        findings.push(checked.finding(&RULE, claim.place, message, help));
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
        _ => None,
    }
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
