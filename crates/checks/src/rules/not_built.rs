//! What this version reads and does not compute yet.

use std::collections::HashSet;

use analysis::Trouble;
use circuit::{Claim, ClaimKind, Later, OpampId, Part, StateClaim, When};
use syntax::Place;
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "not_built",
    severity: Severity::Hint,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
The language is larger than what this version computes. What is read and not computed is named once, so that nobody takes a
missing answer for an answer.
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
    let mut told: HashSet<&str> = HashSet::new();
    for later in &checked.circuit.later {
        if told.insert(&later.what) {
            findings.push(statement(checked, later));
        }
    }
    let troubles = checked.troubles();
    let real = troubles.iter().filter_map(|it| match it {
        Trouble::RealPart(opamp) => Some(*opamp),
        _ => None,
    });
    findings.extend(real_parts(checked, &real.collect::<Vec<_>>()));
    let beyond = troubles.iter().filter_map(|it| match it {
        Trouble::BeyondRail(opamp) => Some(*opamp),
        _ => None,
    });
    if !checked.incomplete() {
        findings.extend(at_limit(checked, &beyond.collect::<Vec<_>>()));
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
    let what = match later.what.contains(' ') {
        true => later.what.clone(),
        false => format!("`{}`", later.what),
    };
    let message = format!("this version reads {what} and does not compute it yet");
    let help = match (later.wires, later.what.as_str()) {
        (true, _) => {
            "The circuit is not whole without it, so what hangs on it is not known and claims are not judged."
        }
        (_, "sine" | "square" | "triangle" | "step" | "through") => {
            "The source stands at its level in the steady state: a wave at its offset, a step at its first level."
        }
        (_, "start") => "It says where a record begins; the steady state does not depend on it.",
        _ => "The rest of the circuit does not depend on it.",
    };
    checked
        .finding(&RULE, later.place, message, help)
        .about(later.names.iter().cloned())
}

fn real_parts(checked: &Checked, opamps: &[OpampId]) -> Option<Finding> {
    let circuit = checked.circuit;
    let first = &circuit.opamps[opamps.first()?.index()];
    let part = &checked.book.parts[first.part?.index()];
    let all = teaching::feedback::opamps(circuit, opamps);
    let message = format!("this version takes {all} as ideal");
    let help = format!(
        "The part `{}` has {}, so V+ = V− holds only nearly. Until that is computed, the answer is shown for ideal op-amps, and claims \
         that hang on it are not judged.",
        part.name,
        figures(part)
    );
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about(opamp_names(checked, opamps)),
    )
}

/// The figures of a part that count at rest: "a gain, an offset".
fn figures(part: &Part) -> String {
    let all = [
        ("a finite gain", part.gain.is_some()),
        ("a finite rejection", part.rejection.is_some()),
        ("an offset", part.offset.is_some()),
        (
            "a bias current",
            part.bias_current.is_some() || part.bias_offset.is_some(),
        ),
        ("an input resistance", part.input_resistance.is_some()),
        ("an output resistance", part.output_resistance.is_some()),
    ];
    names::list(all.iter().filter(|it| it.1).map(|it| it.0))
}

fn at_limit(checked: &Checked, opamps: &[OpampId]) -> Option<Finding> {
    let first = &checked.circuit.opamps[opamps.first()?.index()];
    let all = teaching::feedback::opamps(checked.circuit, opamps);
    let message = format!("this version does not compute the circuit with {all} at the limit yet");
    let help = "What is shown is the answer without limits. Claims that hang on it are not judged.";
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about(opamp_names(checked, opamps)),
    )
}

/// Claims that could not be judged for want of a computation, one hint a kind.
fn claims(checked: &Checked, findings: &mut Vec<Finding>) {
    let mut told: HashSet<&str> = HashSet::new();
    let judgements = checked
        .study
        .judgements(checked.circuit, &checked.book.parts);
    for (claim, judgement) in checked.circuit.claims.iter().zip(judgements) {
        let Some(what) = not_judged(claim).filter(|_| judgement.holds.is_none()) else {
            continue;
        };
        if told.insert(what) {
            let message = format!("this version does not judge {what} yet");
            let help = "The claim is read, and neither confirmed nor refused.";
            findings.push(
                checked
                    .finding(&RULE, claim.place, message, help)
                    .about(claim_subject(checked, claim)),
            );
        }
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
            state: StateClaim::Latches,
            ..
        } => Some("whether an op-amp latches"),
        ClaimKind::State {
            state: StateClaim::Oscillates,
            ..
        } => Some("whether an op-amp oscillates"),
        ClaimKind::State {
            state: StateClaim::AtRail { .. },
            ..
        } => Some("claims that an op-amp is at a rail"),
        ClaimKind::State {
            state: StateClaim::Goes { .. },
            ..
        } => Some("where an op-amp changes its state"),
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
