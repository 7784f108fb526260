//! Errors of reading and naming: one table from what is wrong to the words that say it. They are errors always.

mod docs;
mod lines;
mod naming;

use std::collections::HashSet;

use circuit::{Book, FaultKind};
use syntax::{FileId, Place};

use crate::extents::Extents;
use crate::{Finding, Severity};

pub use docs::{DOCS, doc};

/// What is said of an error.
struct Said {
    message: String,
    help: String,
}

impl Said {
    fn new(message: impl Into<String>, help: impl Into<String>) -> Said {
        Said {
            message: message.into(),
            help: help.into(),
        }
    }
}

/// Every error of reading and naming in the files of a book.
pub(crate) fn findings(book: &Book, extents: &Extents) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, file) in book.files.iter().enumerate() {
        let mut misplaced = false;
        for fault in &file.tree.faults {
            // where the head of a circuit is forgotten, its first line tells it for all
            let none_yet = syntax::FaultKind::WrongPlace {
                belongs: "a circuit, and none has begun yet",
            };
            if fault.kind == none_yet && std::mem::replace(&mut misplaced, true) {
                continue;
            }
            let place = Place {
                file: FileId(index as u32),
                span: fault.span,
            };
            let said = lines::said(&fault.kind, fault.span, &file.text);
            let finding = Finding::new(
                fault.kind.id(),
                Severity::Error,
                place,
                said.message,
                said.help,
            );
            findings.push(Finding {
                fixes: fault.fixes.clone(),
                circuit: (place.file == FileId(0))
                    .then(|| extents.circuit(place.span))
                    .flatten(),
                unfinished: fault.unfinished,
                ..finding.about(subject(fault.span.of(&file.text)))
            });
        }
    }
    let mut taken: HashSet<(Option<usize>, &str)> = HashSet::new();
    for fault in &book.faults {
        // a node that has a source's name is one mistake, wherever it stands
        if let FaultKind::NameTaken { name, is, .. } = &fault.kind
            && *is != "an element"
            && !taken.insert((fault.circuit, name))
        {
            continue;
        }
        let text = book
            .files
            .get(fault.place.file.0 as usize)
            .map_or("", |it| &it.text);
        let said = naming::said(&fault.kind, fault.place.span, text);
        let mut finding = Finding::new(
            fault.kind.id(),
            Severity::Error,
            fault.place,
            said.message,
            said.help,
        )
        .about(fault.subjects.iter().cloned());
        for (place, message) in &fault.related {
            finding = finding.also(*place, message.clone());
        }
        findings.push(Finding {
            fixes: fault.fixes.clone(),
            circuit: fault.circuit,
            unfinished: fault.unfinished,
            ..finding
        });
    }
    findings
}

/// A word that could be a name is what the error is about.
fn subject(word: &str) -> Option<String> {
    // In bytes: a few names of 64 characters with points between them.
    let long = word.len() > 1_000;
    let name = !long
        && word
            .chars()
            .next()
            .is_some_and(|it| it.is_alphabetic() || it == '_');
    (name
        && word
            .chars()
            .all(|it| it.is_alphanumeric() || it == '_' || it == '.'))
    .then(|| word.to_string())
}
