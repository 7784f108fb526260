//! What lines that could not be read leave in doubt: one mistake is one finding.
//!
//! `circuit` keeps apart what a broken line names. Here is what it would still have said: a line that stops early may go on
//! to any node and make any name, and a broken `allow` or `expect` would have accepted a finding.

use circuit::{Book, Circuit, FaultKind};
use syntax::{BodyKind, FileId, Place, Statement, StatementKind};

use crate::Finding;

/// Rules that conclude from something that is not there.
const FROM_ABSENCE: &[&str] = &[
    "floating_node",
    "loose_end",
    "bias_path",
    "current_dead_end",
    "positive_feedback",
    "no_feedback",
    "feedback_cancels",
    "feedback_speeds",
    "unsolvable",
    "unused",
    "unknown_name",
    "rail_not_held",
    "start_nowhere",
];

/// Rules whose finding a claim about an op-amp's state may accept.
const ACCEPTED_BY_CLAIMS: &[&str] = &["positive_feedback", "no_feedback", "swing"];

/// Takes away the findings that rest on what a broken line does not say.
pub(crate) fn settle(book: &Book, findings: &mut Vec<Finding>) {
    let lines = lines(book);
    findings.retain(|it| !lines.iter().any(|line| line.leaves_open(it)));
}

fn lines(book: &Book) -> Vec<Line<'_>> {
    let Some(file) = book.files.first() else {
        return Vec::new();
    };
    let text: &str = &file.text;
    let mut lines = Vec::new();
    for statement in &file.tree.statements {
        let StatementKind::Broken(broken) = &statement.kind else {
            continue;
        };
        let names: Vec<&str> = broken.names.iter().map(|it| it.of(text)).collect();
        let stops = stops_early(&file.tree.faults, statement);
        lines.push(Line {
            circuit: circuit_around(book, statement),
            makes: match names.as_slice() {
                [word, ..] if "use".starts_with(word) => Makes::Words,
                _ if matches!(broken.opens, Some(BodyKind::Part | BodyKind::Block)) => Makes::Words,
                _ if !stops && names.len() > 1 => Makes::Nothing,
                [] | [_] => Makes::Anything,
                ["let", ..] => Makes::Names,
                _ if broken.wires => Makes::Anything,
                _ => Makes::Nothing,
            },
            names,
            stops,
        });
    }
    // a device that does not say all its nodes
    for fault in &book.faults {
        if matches!(fault.kind, FaultKind::ClauseMissing { .. }) && fault.place.file == FileId(0) {
            lines.push(Line {
                circuit: fault.circuit,
                names: Vec::new(),
                stops: true,
                makes: Makes::Anything,
            });
        }
    }
    lines
}

/// Whether nothing that was written follows the fault.
fn stops_early(faults: &[syntax::Fault], statement: &Statement) -> bool {
    let at = faults.partition_point(|it| it.span.end < statement.span.start);
    let mut own = faults[at..]
        .iter()
        .take_while(|it| it.span.start <= statement.span.end);
    own.any(|it| it.unfinished || it.span.end >= statement.span.end)
}

fn circuit_around(book: &Book, statement: &Statement) -> Option<usize> {
    let around = |it: &Circuit| {
        let Place { file, span } = it.extent;
        file == FileId(0) && span.start <= statement.span.start && statement.span.end <= span.end
    };
    book.circuits.iter().position(around)
}

/// A line that could not be read, or does not say all it must.
struct Line<'t> {
    /// Where it stands; `None`: in no circuit, or in a block that any may use.
    circuit: Option<usize>,
    names: Vec<&'t str>,
    /// It stops early.
    stops: bool,
    makes: Makes,
}

/// What the rest of a line might have made.
#[derive(PartialEq)]
enum Makes {
    /// Nodes, parts, names.
    Anything,
    /// Devices and parts of another file, or one of this file.
    Words,
    /// A `let`.
    Names,
    Nothing,
}

impl Line<'_> {
    fn leaves_open(&self, finding: &Finding) -> bool {
        let concerns =
            self.circuit.is_none() || finding.circuit.is_none() || self.circuit == finding.circuit;
        concerns && (self.may_make(finding) || self.may_accept(finding))
    }

    fn may_make(&self, finding: &Finding) -> bool {
        match self.makes {
            Makes::Anything => FROM_ABSENCE.contains(&finding.rule),
            Makes::Words => matches!(finding.rule, "unknown_word" | "unknown_name" | "unused"),
            Makes::Names => matches!(finding.rule, "unknown_name" | "unused"),
            Makes::Nothing => false,
        }
    }

    /// A broken `allow` or `expect` (then no error of reading) that names the finding's rule or its op-amp, perhaps not to the end.
    fn may_accept(&self, finding: &Finding) -> bool {
        if crate::registry::rule(finding.rule).is_none() {
            return false;
        }
        let begins = |name: &str, word: &str| word == name || self.stops && name.starts_with(word);
        let about = |word: &str| finding.subjects.iter().any(|it| begins(it, word));
        match self.names.as_slice() {
            ["allow"] | ["expect", "finding"] => true,
            ["allow", rule, ..] | ["expect", "finding", rule, ..] => begins(finding.rule, rule),
            ["expect", word] if begins("finding", word) => true,
            ["expect", word, ..] => ACCEPTED_BY_CLAIMS.contains(&finding.rule) && about(word),
            [word] => "allow".starts_with(word) || "expect".starts_with(word),
            _ => false,
        }
    }
}
