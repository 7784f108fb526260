//! Findings: what a reader is told, where, why, and what to do.
//!
//! Errors of reading and naming have one table ([`reading`]), every other rule a file of its own ([`rules`]) and a line in
//! the [`registry`]. [`check`] runs them all, takes away what the text itself accepts ([`accept`]), and obeys the
//! [`settings`].

mod accept;
mod behind;
mod checked;
mod demand;
mod doubt;
mod extents;
mod finding;
mod fixes;
mod limits;
pub mod reading;
pub mod registry;
pub mod rules;
mod settings;
mod standings;
pub mod suit;
#[cfg(test)]
mod tests;
mod trial;

use std::cell::OnceCell;
use std::collections::HashMap;

use analysis::Study;
use circuit::Book;
use syntax::Place;

pub use checked::{Checked, Guesses};
pub use finding::{Finding, Related, Severity};
pub use fixes::safe_edits;
pub use registry::{Check, RULES, Rule};
pub use settings::{Inlay, Level, Settings, Symbols, Trouble};

/// Everything that is wrong in a book, in the order of the text. `studies` has one entry a circuit.
///
/// Findings of used files are among them, each with its own file in its place.
pub fn check(book: &Book, studies: &[Study], settings: &Settings) -> Vec<Finding> {
    let (mut findings, slips) = look(book, studies, settings);
    trial::settle(book, settings, slips, &mut findings);
    in_order(&mut findings);
    findings
}

/// The same of circuits that are not as their text says: no change of the text is tried.
pub(crate) fn check_beside_text(
    book: &Book,
    studies: &[Study],
    settings: &Settings,
) -> Vec<Finding> {
    let (mut findings, _) = look(book, studies, settings);
    in_order(&mut findings);
    findings
}

/// The same, where one mistake may still show in several places, and names that were perhaps misspelt.
fn look(book: &Book, studies: &[Study], settings: &Settings) -> (Vec<Finding>, Vec<trial::Slip>) {
    let mut slips = Vec::new();
    let extents = extents::Extents::of(book);
    let mut findings = reading::findings(book, &extents);
    let mut of_book = Vec::new();
    for rule in RULES {
        if let Check::Book(check) = rule.check {
            check(book, &mut of_book);
        }
    }
    let mut of_book = accept::Open::new(of_book);
    let guesses = Guesses::default();
    for (index, (circuit, study)) in book.circuits.iter().zip(studies).enumerate() {
        let checked = Checked {
            book,
            index,
            circuit,
            study,
            settings,
            guesses: &guesses,
            carriers: OnceCell::new(),
            standings: OnceCell::new(),
        };
        let mut found = Vec::new();
        for rule in RULES {
            if let Check::Circuit(check) = rule.check {
                check(&checked, &mut found);
            }
        }
        merge(&mut found);
        let mut found = accept::accept(&checked, found, &mut of_book);
        behind::settle(&checked, &mut found);
        slips.extend(trial::slips(&checked, &found));
        findings.append(&mut found);
    }
    findings.append(&mut of_book.left());
    doubt::settle(book, &extents, &mut findings);
    doubt::settle_starts(book, &mut findings);
    doubt::settle_not_built(book, &mut findings);
    findings.retain_mut(|it| settings.apply(it));
    keep_worst(&mut findings);
    in_order(&mut findings);
    (findings, slips)
}

fn in_order(findings: &mut [Finding]) {
    findings.sort_by(|a, b| {
        let key = |it: &Finding| (it.place.file, it.place.span.start, it.place.span.end);
        key(a)
            .cmp(&key(b))
            .then(b.severity.cmp(&a.severity))
            .then(a.rule.cmp(b.rule))
    });
}

/// The most findings that are told of a file and what it uses.
const MOST: usize = 5_000;
/// No rule needs to find more in a circuit: then the rest is not told anyway.
pub(crate) const MOST_OF_A_RULE: usize = MOST + 1;

/// Of very many findings keeps the worst, and says that there are more where the first of them is left out.
fn keep_worst(findings: &mut Vec<Finding>) {
    if findings.len() <= MOST {
        return;
    }
    findings.sort_by_key(|it| std::cmp::Reverse(it.severity));
    let more = findings.split_off(MOST);
    let Some(first) = more.first() else { return };
    let message = "more than 5,000 findings: not all are told from here on".to_owned();
    let help = "Begin with the first ones: many others may come from them.".to_owned();
    findings.push(Finding {
        circuit: first.circuit,
        ..Finding::new("too_big", first.severity, first.place, message, help)
    });
}

/// So many other places are shown with a finding of several copies.
const MOST_PLACES: usize = 8;

/// A block that is used many times has its mistake once: findings of one rule at one place become one.
fn merge(findings: &mut Vec<Finding>) {
    let mut first: HashMap<(&'static str, Place), usize> = HashMap::new();
    let mut merged: Vec<(Finding, Vec<String>)> = Vec::with_capacity(findings.len());
    for finding in findings.drain(..) {
        let place = (finding.rule, finding.place);
        let Some(index) = first.get(&place) else {
            first.insert(place, merged.len());
            merged.push((finding, Vec::new()));
            continue;
        };
        let (kept, copies) = &mut merged[*index];
        copies.extend(finding.subjects.first().cloned());
        kept.subjects.extend(finding.subjects);
        kept.severity = kept.severity.max(finding.severity);
        // What brings it about may stand outside of the block, for each copy elsewhere.
        for other in finding.related {
            if kept.related.len() < MOST_PLACES && !kept.related.contains(&other) {
                kept.related.push(other);
            }
        }
    }
    findings.extend(merged.into_iter().map(|(mut finding, copies)| {
        finding::keep_first(&mut finding.subjects);
        if let [first, rest @ ..] = copies.as_slice() {
            let more = match rest.len() {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            finding
                .help
                .push_str(&format!(" It is the same with `{first}`{more}."));
        }
        finding
    }));
}
