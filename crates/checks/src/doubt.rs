//! What lines that could not be read leave in doubt: one mistake is one finding.
//!
//! `circuit` keeps apart what a broken line names. Here is what it would still have said: a line that stops early may go on
//! to any node and make any name, and a broken `allow` or `expect` would have accepted a finding.

use std::collections::{HashMap, HashSet};

use circuit::{Book, FaultKind};
use syntax::{BodyKind, Broken, FileId, Statement, StatementKind};

use crate::extents::Extents;
use crate::{Finding, registry};

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
pub(crate) fn settle(book: &Book, extents: &Extents, findings: &mut Vec<Finding>) {
    let doubts = doubts(book, extents);
    let everywhere = doubts.get(&None);
    let mut somewhere = Doubt::default();
    for it in doubts.values() {
        somewhere.anything |= it.anything;
        somewhere.words |= it.words;
        somewhere.names |= it.names;
        somewhere.any_rule |= it.any_rule;
    }
    findings.retain(|it| {
        let open = |doubt: &Doubt| doubt.leaves_open(it);
        !match it.circuit {
            Some(_) => everywhere.is_some_and(open) || doubts.get(&it.circuit).is_some_and(open),
            None => open(&somewhere),
        }
    });
}

/// The doubts of each circuit; `None`: of lines that stand in none, or in a block that any may use.
fn doubts<'t>(book: &'t Book, extents: &Extents) -> HashMap<Option<usize>, Doubt<'t>> {
    let mut doubts: HashMap<Option<usize>, Doubt> = HashMap::new();
    let Some(file) = book.files.first() else {
        return doubts;
    };
    for statement in &file.tree.statements {
        if let StatementKind::Broken(broken) = &statement.kind {
            let doubt = doubts.entry(extents.circuit(statement.span)).or_default();
            doubt.add(
                broken,
                stops_early(&file.tree.faults, statement),
                &file.text,
            );
        }
    }
    // a device that does not say all its nodes
    for fault in &book.faults {
        if matches!(fault.kind, FaultKind::ClauseMissing { .. }) && fault.place.file == FileId(0) {
            doubts.entry(fault.circuit).or_default().anything = true;
        }
    }
    doubts
}

/// Whether nothing that was written follows the fault.
fn stops_early(faults: &[syntax::Fault], statement: &Statement) -> bool {
    let at = faults.partition_point(|it| it.span.end < statement.span.start);
    let mut own = faults[at..]
        .iter()
        .take_while(|it| it.span.start <= statement.span.end);
    own.any(|it| it.unfinished || it.span.end >= statement.span.end)
}

/// What the broken lines of one circuit might have said.
#[derive(Default)]
struct Doubt<'t> {
    /// Nodes, parts, names.
    anything: bool,
    /// Devices and parts.
    words: bool,
    /// A `let`.
    names: bool,
    /// Any rule would have been accepted.
    any_rule: bool,
    /// These rules would have been.
    rules: Words<'t>,
    /// Claims about these op-amps (or whatever `expect` was to say something of).
    claimed: Words<'t>,
    /// A claim about some op-amp.
    any_claim: bool,
}

impl<'t> Doubt<'t> {
    fn add(&mut self, broken: &Broken, stops: bool, text: &'t str) {
        let names: Vec<&str> = broken.names.iter().take(3).map(|it| it.of(text)).collect();
        let alone = names.len() <= 1;
        match names.as_slice() {
            ["allow"] | ["expect", "finding"] => self.any_rule = true,
            ["allow", rule, ..] | ["expect", "finding", rule] => self.rules.add(rule, stops),
            ["expect"] => self.any_claim = true,
            ["expect", word, ..] => {
                self.any_rule |= stops && "finding".starts_with(word);
                self.claimed.add(word, stops);
            }
            [word] => self.any_rule |= "allow".starts_with(word) || "expect".starts_with(word),
            _ => {}
        }
        let head = matches!(broken.opens, Some(BodyKind::Part | BodyKind::Block));
        match names.first() {
            Some(word) if head || "use".starts_with(word) => self.words = true,
            Some(&"let") if stops && !alone => self.names = true,
            _ => self.anything |= alone || stops && broken.wires,
        }
    }

    fn leaves_open(&self, finding: &Finding) -> bool {
        let rule = finding.rule;
        self.anything && FROM_ABSENCE.contains(&rule)
            || self.words && matches!(rule, "unknown_word" | "unknown_name" | "unused")
            || self.names && matches!(rule, "unknown_name" | "unused")
            || registry::rule(rule).is_some() && (self.any_rule || self.rules.hold(rule))
            || ACCEPTED_BY_CLAIMS.contains(&rule)
                && (self.any_claim || finding.subjects.iter().any(|it| self.claimed.hold(it)))
    }
}

/// Words that were written, some perhaps not to their end.
#[derive(Default)]
struct Words<'t> {
    whole: HashSet<&'t str>,
    begun: HashSet<&'t str>,
}

impl<'t> Words<'t> {
    fn add(&mut self, word: &'t str, begun: bool) {
        self.whole.insert(word);
        if begun {
            self.begun.insert(word);
        }
    }

    fn hold(&self, name: &str) -> bool {
        let mut ends = name.char_indices().skip(1).map(|(end, _)| end);
        self.whole.contains(name)
            || !self.begun.is_empty() && ends.any(|end| self.begun.contains(&name[..end]))
    }
}
