//! What the text itself accepts: `allow`, planted faults, and claims that say the same as a finding.

use std::cell::OnceCell;
use std::collections::HashMap;

use circuit::{Allow, ClaimKind, StateClaim};
use syntax::{Fix, Place, Span, TextEdit};

use crate::rules::{expectation, not_built};
use crate::{Checked, Finding, Severity, reading, registry};

/// Takes away the findings of one circuit, and those of the whole book, that its text accepts; adds what is wrong with the
/// accepting lines.
pub(crate) fn accept(
    checked: &Checked,
    findings: Vec<Finding>,
    of_book: &mut Open,
) -> Vec<Finding> {
    let mut findings = Open::new(findings);
    let mut more = Vec::new();
    for (index, claim) in checked.circuit.claims.iter().enumerate() {
        match &claim.kind {
            Some(ClaimKind::Finding { rule, at }) => {
                if let Some(wrong) = wrong_name(checked, rule, claim.place, "finding") {
                    more.push(wrong);
                } else if registry::LATER.contains(&rule.as_str()) {
                    more.push(not_built::rule(checked, claim.place, rule));
                } else if !(findings.take(rule, at) | of_book.take(rule, at))
                    && !checked.incomplete()
                    && !names_nothing(checked, claim.place)
                {
                    more.push(expectation::not_found(checked, claim, rule, at));
                }
            }
            Some(ClaimKind::State { opamp, state }) => {
                let name = &checked.circuit.opamps[opamp.index()].name;
                for rule in accepted_by(checked, index, state) {
                    findings.take(rule, name);
                }
            }
            _ => {}
        }
    }
    for Allow { rule, at, place } in &checked.circuit.allows {
        more.extend(wrong_name(checked, rule, *place, "allow"));
        findings.take(rule, at);
        of_book.take(rule, at);
    }
    let mut findings = findings.left();
    findings.append(&mut more);
    findings
}

/// Findings that lines of the text may take away.
pub(crate) struct Open {
    findings: Vec<Finding>,
    taken: Vec<bool>,
    /// Which ones are about a name, by rule and name; made for the first line that takes any.
    about: OnceCell<HashMap<&'static str, HashMap<String, Vec<usize>>>>,
}

impl Open {
    pub(crate) fn new(findings: Vec<Finding>) -> Open {
        Open {
            taken: vec![false; findings.len()],
            findings,
            about: OnceCell::new(),
        }
    }

    /// Takes the findings of a rule about a name away; whether there were any.
    fn take(&mut self, rule: &str, at: &str) -> bool {
        let about = self.about.get_or_init(|| {
            let mut about: HashMap<_, HashMap<String, Vec<usize>>> = HashMap::new();
            for (index, it) in self.findings.iter().enumerate() {
                let of_rule = about.entry(it.rule).or_default();
                for name in &it.subjects {
                    of_rule.entry(name.clone()).or_default().push(index);
                }
            }
            about
        });
        let hit = about.get(rule).and_then(|it| it.get(at));
        let mut any = false;
        for it in hit.into_iter().flatten() {
            any |= !std::mem::replace(&mut self.taken[*it], true);
        }
        any
    }

    /// What no line took.
    pub(crate) fn left(self) -> Vec<Finding> {
        let left = self.findings.into_iter().zip(self.taken);
        left.filter(|it| !it.1).map(|it| it.0).collect()
    }
}

/// The rules whose finding at an op-amp says what a claim says.
fn accepted_by(checked: &Checked, claim: usize, state: &StateClaim) -> &'static [&'static str] {
    match state {
        StateClaim::Linear => &[],
        StateClaim::Latches | StateClaim::Goes { .. } => &["positive_feedback", "several_states"],
        StateClaim::Oscillates => &["positive_feedback", "no_feedback", "oscillation"],
        StateClaim::AtRail { .. } => {
            let judged = checked
                .study
                .judgements(checked.circuit, &checked.book.parts);
            match judged.get(claim).and_then(|it| it.holds) {
                // it stands elsewhere
                Some(false) => &["no_feedback", "positive_feedback"],
                _ => &[
                    "swing",
                    "no_feedback",
                    "positive_feedback",
                    "several_states",
                ],
            }
        }
    }
}

/// Whether a line names something that does not exist: that is its mistake.
fn names_nothing(checked: &Checked, line: Place) -> bool {
    checked.book.faults.iter().any(|it| {
        matches!(it.kind, circuit::FaultKind::UnknownName { .. })
            && it.place.file == line.file
            && line.span.start <= it.place.span.start
            && it.place.span.end <= line.span.end
    })
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
