//! A file as it would be after a way out: what else is gone then was the same mistake.

use std::ops::Range;

use analysis::Study;
use circuit::{Book, NodeId};
use syntax::{Expect, FileId, Place, Span, StatementKind, TextEdit};

use crate::{Checked, Finding, Settings, Severity, look, registry};

/// How many bytes of text are read again for one answer, and how often at most: where there is more, it is told as it is.
const MOST_BYTES: usize = 64 * 1024;
const MOST_TRIALS: usize = 8;

/// Rules of a wiring that may have come about by one misspelt name.
const OF_WIRING: [&str; 4] = ["no_feedback", "floating_node", "bias_path", "unsolvable"];

/// Leaves one finding for each mistake.
pub(crate) fn settle(
    book: &Book,
    settings: &Settings,
    slips: Vec<Slip>,
    findings: &mut Vec<Finding>,
) {
    let mut trials = Trials {
        book,
        settings,
        left: MOST_TRIALS.min(MOST_BYTES / length(book).max(1)),
    };
    misspelt(&mut trials, slips, findings);
    consequences(&mut trials, findings);
    missing_lines(findings);
}

/// Where an op-amp is missing of which others speak, its line is: what a circuit without it gives is no second mistake.
fn missing_lines(findings: &mut Vec<Finding>) {
    let lacking = |it: &Finding| {
        it.rule == "unknown_name" && it.message.contains("no op-amp") && it.fixes.is_empty()
    };
    let circuits: Vec<_> = findings
        .iter()
        .filter(|it| lacking(it))
        .map(|it| it.circuit)
        .collect();
    findings.retain(|it| it.rule != "expectation" || !circuits.contains(&it.circuit));
}

fn length(book: &Book) -> usize {
    book.files.iter().map(|it| it.text.len()).sum()
}

/// Drops what the first way out of another finding takes away with it, and ways out that would write another mistake.
fn consequences(trials: &mut Trials, findings: &mut Vec<Finding>) {
    let mut order: Vec<usize> = (0..findings.len()).collect();
    order.sort_by_key(|it| rank(&findings[*it]));
    let mut dropped = vec![false; findings.len()];
    let mut bad = Vec::new();
    for at in order {
        if trials.left == 0 {
            break;
        }
        let others = (0..findings.len()).filter(|it| *it != at && !dropped[*it]);
        let others: Vec<usize> = others.filter(|it| counts(&findings[*it])).collect();
        let cause = &findings[at];
        // Another claim takes away nothing but its own finding.
        let no_cause = cause.severity == Severity::Hint
            || cause.rule == "expectation"
            || accepts(trials.book, cause);
        if dropped[at] || no_cause || !counts(cause) {
            continue;
        }
        let Some(way) = cause.fixes.first() else {
            continue;
        };
        let Some(after) = trials.after(findings, &way.edits) else {
            continue;
        };
        if after.says_nothing(findings, way.safe) {
            bad.push(at);
        }
        if after.errs(findings) || after.has(cause) {
            continue;
        }
        let gone = others.into_iter().filter(|it| !after.has(&findings[*it]));
        gone.for_each(|it| dropped[it] = true);
    }
    for at in bad {
        findings[at].fixes.remove(0);
    }
    let mut dropped = dropped.into_iter();
    findings.retain(|_| dropped.next() != Some(true));
}

/// Whether a finding stands in a line that accepts others: that they are gone with it tells nothing.
fn accepts(book: &Book, finding: &Finding) -> bool {
    let tree = &book.files[0].tree;
    let statement = tree.statement_at(finding.place.span.start);
    let kind = statement.map(|it| &tree.statement(it).kind);
    match kind {
        Some(StatementKind::Allow { .. }) => true,
        Some(StatementKind::Expect(it)) => matches!(**it, Expect::Finding { .. }),
        _ => false,
    }
}

/// What is told first: that a line cannot be read, then a loose end, then the rest of the wiring, then claims.
fn rank(finding: &Finding) -> usize {
    match finding.rule {
        rule if registry::rule(rule).is_none() => 0,
        "loose_end" => 1,
        "expectation" => 3,
        _ if finding.severity == Severity::Hint => 4,
        _ => 2,
    }
}

/// Whether a finding is a mistake: that this version does not compute something is none.
fn counts(finding: &Finding) -> bool {
    finding.rule != "not_built" && finding.place.file == FileId(0)
}

/// A name that stands once and is nearly another one: where that name would put the wiring right, it is told there.
fn misspelt(trials: &mut Trials, slips: Vec<Slip>, findings: &mut Vec<Finding>) {
    for slip in slips {
        let open = |it: &Finding| it.circuit == Some(slip.circuit) && is_open(it);
        if !findings.iter().any(open) {
            continue;
        }
        let Some(after) = trials.after(findings, &slip.fix.edits) else {
            break;
        };
        let gone = |it: &Finding| open(it) && !after.has(it);
        let Some(at) = findings.iter().position(gone).filter(|_| !after.fails) else {
            continue;
        };
        findings[at] = slip.told(&findings[at]);
        let told = findings[at].clone();
        findings.retain(|it| *it == told || !gone(it));
    }
}

/// Whether something lacks in the wiring, and nobody knows what.
fn is_open(finding: &Finding) -> bool {
    OF_WIRING.contains(&finding.rule) && finding.fixes.is_empty() && counts(finding)
}

/// A node that stands once, and the one that was perhaps meant.
pub(crate) struct Slip {
    /// The circuit's index in the book.
    circuit: usize,
    place: Place,
    name: String,
    meant: String,
    fix: syntax::Fix,
}

impl Slip {
    /// What it brought about, told where it is.
    fn told(&self, finding: &Finding) -> Finding {
        let (name, meant) = (&self.name, &self.meant);
        let told = Finding {
            place: self.place,
            message: format!("node `{name}` stands only here, and {}", finding.message),
            help: format!("Did you mean `{meant}`? A name that stands only once joins nothing."),
            fixes: vec![self.fix.clone()],
            ..finding.clone()
        };
        told.about([name.clone()])
            .also(finding.place, finding.message.clone())
    }
}

/// Names that stand once in a circuit where something lacks, and are nearly other ones.
pub(crate) fn slips(checked: &Checked, found: &[Finding]) -> Vec<Slip> {
    if !found.iter().any(is_open) {
        return Vec::new();
    }
    let nodes = checked.circuit.nodes.iter().enumerate();
    let once = nodes.filter(|(_, it)| it.named && it.places.len() == 1);
    let slips = once.filter_map(|(index, node)| {
        let id = NodeId(index as u32);
        let meant = checked.meant(id)?;
        // `n1` is another node than `n2`.
        let stem = |it: NodeId| {
            let name = checked.circuit.node_name(it);
            name.trim_end_matches(|it: char| it.is_ascii_digit())
                .to_owned()
        };
        if stem(id) == stem(meant) {
            return None;
        }
        let place = checked.named_place(id, None)?;
        let fix = checked.rename(place, id, meant)?;
        (place.file == FileId(0)).then(|| Slip {
            circuit: checked.index,
            place,
            name: node.name.clone(),
            meant: fix
                .edits
                .first()
                .map_or(String::new(), |it| it.text.clone()),
            fix,
        })
    });
    slips.take(MOST_TRIALS).collect()
}

/// How often a text may still be tried.
struct Trials<'a> {
    book: &'a Book,
    settings: &'a Settings,
    left: usize,
}

/// What is left after a change.
struct After<'e> {
    edits: &'e [TextEdit],
    /// Rule and start.
    left: Vec<(&'static str, u32)>,
    /// Where names and lines are wrong.
    errors: Vec<(&'static str, Span)>,
    /// Whether something is wrong that was not before.
    fails: bool,
}

impl Trials<'_> {
    fn after<'e>(&mut self, before: &[Finding], edits: &'e [TextEdit]) -> Option<After<'e>> {
        self.left = self.left.checked_sub(1)?;
        let book = mended(self.book, edits)?;
        let studies = book.circuits.iter().map(|it| Study::new(it, &book.parts));
        let studies: Vec<Study> = studies.collect();
        let (found, _) = look(&book, &studies, self.settings);
        let left = found.iter().filter(|it| counts(it));
        let mut after = After {
            edits,
            left: left.map(|it| (it.rule, it.place.span.start)).collect(),
            errors: Vec::new(),
            fails: false,
        };
        let errors = found.iter().filter(|it| counts(it) && rank(it) == 0);
        let errors = errors.filter(|it| !it.unfinished && it.rule != "use_file");
        after.errors = errors.map(|it| (it.rule, it.place.span)).collect();
        let known: Vec<_> = before.iter().map(|it| after.moved(it)).collect();
        after.fails = after.left.iter().any(|it| !known.contains(it));
        Some(after)
    }
}

impl After<'_> {
    /// Whether a finding of before is still there.
    fn has(&self, finding: &Finding) -> bool {
        self.left.contains(&self.moved(finding))
    }

    /// Whether the words that the edits write are themselves wrong, or some between them. Between edits that are surely
    /// right stands only what was wrong already.
    fn says_nothing(&self, before: &[Finding], safe: bool) -> bool {
        if safe {
            let written: Vec<Range<i64>> = self.written();
            return self.new_errors(before).any(|(_, span)| {
                let (start, end) = (i64::from(span.start), i64::from(span.end));
                let inside = |it: &Range<i64>| it.start <= start && end <= it.end && start < end;
                written.iter().any(inside)
            });
        }
        let (Some(first), Some(last)) = (
            self.edits.iter().map(|it| it.span.start).min(),
            self.edits.iter().map(|it| it.span.end).max(),
        ) else {
            return false;
        };
        let grown: i64 = self
            .edits
            .iter()
            .map(|it| it.text.len() as i64 - it.span.range().len() as i64)
            .sum();
        let last = (i64::from(last) + grown).max(0) as u32;
        let inside = |span: Span| first <= span.start && span.end <= last && span.start < span.end;
        self.new_errors(before).any(|it| inside(it.1))
    }

    /// Where the words of the edits stand now.
    fn written(&self) -> Vec<Range<i64>> {
        let mut edits: Vec<&TextEdit> = self.edits.iter().collect();
        edits.sort_by_key(|it| it.span);
        let mut grown = 0;
        let place = |it: &TextEdit| {
            let start = i64::from(it.span.start) + grown;
            let length = it.text.len() as i64;
            grown += length - it.span.range().len() as i64;
            start..start + length
        };
        edits.into_iter().map(place).collect()
    }

    /// Whether a line or a name is wrong that was not before.
    fn errs(&self, before: &[Finding]) -> bool {
        self.new_errors(before).next().is_some()
    }

    fn new_errors(&self, before: &[Finding]) -> impl Iterator<Item = &(&'static str, Span)> {
        let known: Vec<_> = before.iter().map(|it| self.moved(it)).collect();
        let errors = self.errors.iter();
        errors.filter(move |it| !known.contains(&(it.0, it.1.start)))
    }

    /// A finding as it would be told now.
    fn moved(&self, finding: &Finding) -> (&'static str, u32) {
        let start = finding.place.span.start;
        let before = self
            .edits
            .iter()
            .filter(|it| it.span.end <= start && it.span.start < start);
        let by: i64 = before
            .map(|it| it.text.len() as i64 - it.span.range().len() as i64)
            .sum();
        (finding.rule, (i64::from(start) + by).max(0) as u32)
    }
}

/// The book after edits of its first file.
pub(crate) fn mended(book: &Book, edits: &[TextEdit]) -> Option<Book> {
    let file = book.files.first()?;
    let mut edits: Vec<&TextEdit> = edits.iter().collect();
    edits.sort_by_key(|it| std::cmp::Reverse(it.span));
    if edits.windows(2).any(|it| it[1].span.end > it[0].span.start) {
        return None;
    }
    let mut text = file.text.to_string();
    for edit in edits {
        text.replace_range(edit.span.range(), &edit.text);
    }
    let mut read = |path: &str| {
        let used = book.files.iter().find(|it| it.path == path);
        used.map(|it| it.text.clone())
    };
    Some(circuit::build(&file.path, text.into(), &mut read))
}
