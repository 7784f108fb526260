//! What the text itself accepts: `allow`, planted faults, and claims that say the same as a finding.

use circuit::{Allow, ClaimKind, OpampId, StateClaim};
use syntax::{Fix, Place, Span, TextEdit};

use crate::rules::{expectation, not_built, swing};
use crate::{Checked, Finding, Severity, reading, registry};

/// Takes away the findings of one circuit, and those of the whole book, that its text accepts; adds what is wrong with the
/// accepting lines.
pub(crate) fn accept(checked: &Checked, findings: &mut Vec<Finding>, of_book: &mut Vec<Finding>) {
    let mut more = Vec::new();
    for claim in &checked.circuit.claims {
        match &claim.kind {
            Some(ClaimKind::Finding { rule, at }) => {
                if let Some(wrong) = wrong_name(checked, rule, claim.place, "finding") {
                    more.push(wrong);
                } else if registry::LATER.contains(&rule.as_str()) {
                    more.push(not_built::rule(checked, claim.place, rule));
                } else if !(take(findings, rule, at) | take(of_book, rule, at))
                    && !checked.incomplete()
                {
                    more.push(expectation::not_found(checked, claim, rule, at));
                }
            }
            Some(ClaimKind::State { opamp, state }) => {
                let name = &checked.circuit.opamps[opamp.index()].name;
                for rule in accepted_by(checked, *opamp, state) {
                    take(findings, rule, name);
                }
            }
            _ => {}
        }
    }
    for Allow { rule, at, place } in &checked.circuit.allows {
        more.extend(wrong_name(checked, rule, *place, "allow"));
        take(findings, rule, at);
        take(of_book, rule, at);
    }
    findings.append(&mut more);
}

/// Takes the findings of a rule about a name away; whether there were any.
fn take(findings: &mut Vec<Finding>, rule: &str, at: &str) -> bool {
    let before = findings.len();
    findings.retain(|it| it.rule != rule || !it.subjects.iter().any(|subject| subject == at));
    findings.len() < before
}

/// The rules whose finding at an op-amp says what a claim says.
fn accepted_by(checked: &Checked, opamp: OpampId, state: &StateClaim) -> &'static [&'static str] {
    match state {
        StateClaim::Linear => &[],
        StateClaim::Latches | StateClaim::Goes { .. } => &["positive_feedback", "several_states"],
        StateClaim::Oscillates => &["positive_feedback", "no_feedback", "oscillation"],
        StateClaim::AtRail { high } => match swing::limit(checked, opamp) {
            // it would be at the other rail
            Some(beyond) if beyond.high != *high => &["no_feedback", "positive_feedback"],
            _ => &["swing", "no_feedback", "positive_feedback"],
        },
    }
}

/// A rule's name in an `allow` or `expect finding` that names no rule.
fn wrong_name(checked: &Checked, rule: &str, place: Place, after: &str) -> Option<Finding> {
    if registry::rule(rule).is_some() || registry::LATER.contains(&rule) {
        return None;
    }
    let word = word_after(checked, place, after, rule);
    let nearest = registry::nearest(rule);
    let (message, help) = match (reading::doc(rule), nearest) {
        (Some(_), _) => (
            format!("`{rule}` is an error of reading, not a rule that a line can accept"),
            "A line that cannot be read, or a name that means nothing, is always an error."
                .to_string(),
        ),
        (None, Some(nearest)) => (
            format!("there is no rule `{rule}`"),
            format!("Did you mean `{nearest}`?"),
        ),
        (None, None) => (
            format!("there is no rule `{rule}`"),
            "`ampersum rule` lists the rules.".to_string(),
        ),
    };
    let mut finding = Finding::new("unknown_word", Severity::Error, word, message, help)
        .about([rule.to_string()]);
    finding.circuit = Some(checked.index);
    Some(match nearest {
        Some(nearest) if reading::doc(rule).is_none() => {
            let edit = TextEdit {
                span: word.span,
                text: nearest.into(),
            };
            finding.fix(Fix::safe(format!("write `{nearest}`"), vec![edit]))
        }
        _ => finding,
    })
}

/// Where a word stands in a statement, behind another one.
fn word_after(checked: &Checked, place: Place, after: &str, word: &str) -> Place {
    let text = checked.text(place);
    let found = text.find(after).and_then(|at| {
        let start = at + after.len();
        text[start..].find(word).map(|at| start + at)
    });
    match found {
        Some(start) => {
            let start = place.span.start as usize + start;
            Place {
                span: Span::new(start, start + word.len()),
                ..place
            }
        }
        None => place,
    }
}
