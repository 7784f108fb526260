//! What lines that could not be read leave in doubt: one mistake is one finding.
//!
//! `circuit` keeps apart what a broken line names. Here is what it would still have said: a line that stops early may go on
//! to any node and make any name, and a broken `allow` or `expect` would have accepted a finding.

use std::collections::{HashMap, HashSet};

use circuit::Book;
use syntax::{BodyKind, Broken, FaultKind, FileId, Statement, StatementKind};

use crate::extents::Extents;
use crate::{Finding, Severity, registry};

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
const ACCEPTED_BY_CLAIMS: &[&str] = &[
    "positive_feedback",
    "no_feedback",
    "swing",
    "several_states",
    "oscillation",
];

/// Takes away the findings that rest on what a broken line does not say.
pub(crate) fn settle(book: &Book, extents: &Extents, findings: &mut Vec<Finding>) {
    let doubts = doubts(book, extents);
    let everywhere = doubts.get(&None);
    let mut somewhere = Doubt::default();
    for it in doubts.values() {
        somewhere.anything |= it.anything;
        somewhere.words |= it.words;
        somewhere.names |= it.names;
        somewhere.unfinished |= it.unfinished;
        somewhere.nameless |= it.nameless;
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
            let fault = fault_of(&file.tree.faults, statement);
            let meant = fault.and_then(|it| match it.kind {
                FaultKind::NotAStatement(meant) => meant,
                _ => None,
            });
            doubt.add(
                broken,
                meant,
                fault.is_none_or(|it| {
                    stops_early(it, statement) && !only_dangles(it, broken, &file.text)
                }),
                match fault {
                    Some(it) if it.unfinished => Rest::Comes,
                    Some(it) if !it.fixes.is_empty() => Rest::Known,
                    _ => Rest::Lost,
                },
                &file.text,
            );
            if let Some(fault) = fault.filter(|it| lacks_a_name(it, &file.text)) {
                let given = fault.fixes.first().and_then(|it| it.edits.first());
                doubt.nameless |= given.is_none();
                doubt
                    .named
                    .extend(given.map(|it| it.text.trim().trim_end_matches(':')));
            }
        }
    }
    // a device that does not say all its nodes
    for fault in &book.faults {
        let lacks_a_node = match &fault.kind {
            circuit::FaultKind::ClauseMissing { missing, .. } => {
                !missing.iter().all(|it| it.starts_with("open"))
            }
            _ => false,
        };
        if lacks_a_node && fault.place.file == FileId(0) {
            doubts.entry(fault.circuit).or_default().anything = true;
        }
    }
    doubts
}

/// The fault of a broken line.
fn fault_of<'t>(faults: &'t [syntax::Fault], statement: &Statement) -> Option<&'t syntax::Fault> {
    let at = faults.partition_point(|it| it.span.start < statement.span.start);
    faults
        .get(at)
        .filter(|it| it.span.start <= statement.span.end)
}

/// Whether nothing that was written follows the fault. A line that a way out makes readable is there to its end.
fn stops_early(fault: &syntax::Fault, statement: &Statement) -> bool {
    let lost = fault.fixes.is_empty() || fault.kind == FaultKind::OpenString;
    fault.unfinished || lost && fault.span.end >= statement.span.end
}

/// Whether a path, or a device with all its words, ends in a point: only the rest of that one name can come.
fn only_dangles(fault: &syntax::Fault, broken: &Broken, text: &str) -> bool {
    const POINT: &str = "a name behind the point";
    let says = |word: &str| broken.names.iter().any(|it| it.of(text) == word);
    let first = broken.names.first();
    let joins = first.is_some_and(|it| {
        let line = text[it.start as usize..fault.span.end as usize].lines();
        line.take(1).any(|it| it.contains("--"))
    });
    matches!(fault.kind, FaultKind::Expected { what: POINT, .. })
        && (joins || syntax::device_of(says).is_some())
}

/// Whether the line makes something and does not say what it is called: `opamp: plus in`, `in -- 10k -- out`.
fn lacks_a_name(fault: &syntax::Fault, text: &str) -> bool {
    let word = fault.span.of(text);
    matches!(fault.kind, FaultKind::Expected { what: "a name", .. })
        && (word == ":" || word.starts_with(|it: char| it.is_ascii_digit()))
}

/// A `start` where no capacitor lies sets none: that only capacitors lead back is the same mistake. And where nothing leads
/// back at all, the capacitor that `start` looks for is what is missing.
pub(crate) fn settle_starts(book: &Book, findings: &mut Vec<Finding>) {
    let wrong: HashSet<_> = findings
        .iter()
        .filter(|it| it.rule == "start_nowhere")
        .map(|it| it.circuit)
        .collect();
    let broken: HashSet<_> = findings
        .iter()
        .filter(|it| registry::rule(it.rule).is_none() && is_of_a_start(book, it))
        .map(|it| it.circuit)
        .collect();
    let open: HashSet<_> = findings
        .iter()
        .filter(|it| it.rule == "no_feedback" && it.severity == Severity::Error)
        .map(|it| it.circuit)
        .collect();
    findings.retain(|it| match it.rule {
        "start_nowhere" => !open.contains(&it.circuit),
        "no_feedback" => {
            let told = wrong.contains(&it.circuit) || broken.contains(&it.circuit);
            it.severity == Severity::Error || !told
        }
        _ => true,
    });
}

/// A statement with a mistake of its own is not told as one that this version does not compute as well.
pub(crate) fn settle_not_built(book: &Book, findings: &mut Vec<Finding>) {
    let Some(file) = book
        .files
        .first()
        .filter(|_| findings.iter().any(|it| it.rule == "not_built"))
    else {
        return;
    };
    let statement = |it: &Finding| file.tree.statement_at(it.place.span.start);
    let wrong: HashSet<_> = findings
        .iter()
        .filter(|it| registry::rule(it.rule).is_none() && it.place.file == FileId(0))
        .filter_map(statement)
        .collect();
    findings.retain(|it| {
        it.rule != "not_built"
            || it.place.file != FileId(0)
            || statement(it).is_none_or(|it| !wrong.contains(&it))
    });
}

fn is_of_a_start(book: &Book, finding: &Finding) -> bool {
    let file = book.files.get(finding.place.file.0 as usize);
    let tree = file.map(|it| &it.tree);
    let statement =
        tree.and_then(|it| Some(it.statement(it.statement_at(finding.place.span.start)?)));
    statement.is_some_and(|it| matches!(it.kind, StatementKind::Start { .. }))
}

/// What a broken line says beside what could not be read.
#[derive(Clone, Copy, PartialEq)]
enum Rest {
    /// All of it is there: a way out makes it readable.
    Known,
    /// It is not written yet.
    Comes,
    /// Nobody knows.
    Lost,
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
    /// Some thing whose name is missing.
    nameless: bool,
    /// The names that ways out would give such things.
    named: HashSet<&'t str>,
    /// A line is still being written.
    unfinished: bool,
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
    /// `meant`: what the first word was to be. `stops`: nothing follows what could not be read.
    fn add(
        &mut self,
        broken: &Broken,
        meant: Option<&'t str>,
        stops: bool,
        rest: Rest,
        text: &'t str,
    ) {
        let mut names: Vec<&str> = broken.names.iter().take(3).map(|it| it.of(text)).collect();
        if let (Some(first), Some(meant)) = (names.first_mut(), meant) {
            *first = meant;
        }
        let alone = names.len() <= 1 && rest != Rest::Known;
        self.unfinished |= rest == Rest::Comes;
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
            Some(&"let") if stops => self.names = true,
            _ => self.anything |= broken.wires && (alone || stops),
        }
    }

    fn leaves_open(&self, finding: &Finding) -> bool {
        let rule = finding.rule;
        // a misspelt name is one whatever else there is, but where a line goes on `R3` is not `R1` misspelt
        let alike = |it| self.unfinished && is_numbered_alike(it, finding);
        let misspelt = matches!(rule, "unknown_name" | "unknown_word")
            && finding.fixes.iter().any(|it| !alike(it));
        let root = |it: &String| it.split('.').next().unwrap_or("").to_owned();
        self.nameless && matches!(rule, "unknown_name" | "unused")
            || !self.named.is_empty() && rule == "unused"
            || rule == "unknown_name"
                && finding
                    .subjects
                    .iter()
                    .any(|it| self.named.contains(root(it).as_str()))
            || !misspelt
                && (self.anything && FROM_ABSENCE.contains(&rule)
                    || self.words && matches!(rule, "unknown_word" | "unknown_name" | "unused")
                    || self.names && matches!(rule, "unknown_name" | "unused"))
            || registry::rule(rule).is_some() && (self.any_rule || self.rules.hold(rule))
            || ACCEPTED_BY_CLAIMS.contains(&rule)
                && (self.any_claim || finding.subjects.iter().any(|it| self.claimed.hold(it)))
    }
}

/// Whether a way out would write a name that differs in its number alone.
fn is_numbered_alike(fix: &syntax::Fix, finding: &Finding) -> bool {
    let stem = |name: &str| {
        name.trim_end_matches(|it: char| it.is_ascii_digit())
            .to_owned()
    };
    let written = fix.edits.first().map_or("", |it| &it.text);
    finding.subjects.iter().any(|it| stem(it) == stem(written))
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
