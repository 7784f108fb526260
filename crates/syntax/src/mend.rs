//! Ways out that were tried: a change is offered only where the line reads after it.
//!
//! What the trade gets wrong most often has its way out where it is diagnosed; this is for the rest, and for lines that have
//! the same slip several times.

use crate::bench::{Bench, Standing};
use crate::kind::Kind;
use crate::lexer::{Tok, Token, lex};
use crate::{Fault, FaultKind, Fix, Span, TextEdit};

/// Longer lines are not tried again and again.
const LONGEST: usize = 400;
/// How often one line may have the same slip.
const MOST_SLIPS: usize = 12;
/// Signs that may have been left out, or stand there as something else.
const SIGNS: [&str; 6] = ["--", ",", ":", "=", ")", "*"];
/// Small words that a sentence has and the language has not.
const FILLERS: [&str; 11] = [
    "is", "the", "a", "an", "of", "to", "and", "with", "node", "that", "our",
];

/// The fault with a way out, if there is none yet that reads.
pub(crate) fn with_ways_out<'t>(
    bench: &Bench<'t>,
    standing: Standing,
    tokens: &'t [Token],
    mut fault: Fault,
) -> Fault {
    let Some(statement) = extent(tokens) else {
        return fault;
    };
    if statement.range().len() > LONGEST {
        return fault;
    }
    let whole = statement.of(bench.text);
    if let Some(first) = fault.fixes.first() {
        if let Some(text) = repeated(bench, standing, whole, statement.start, &fault, first) {
            let edits = vec![difference(whole, &text, statement.start)];
            fault.fixes[0].edits = edits;
        }
        return fault;
    }
    // `2^2^2`: nobody knows which power is meant.
    let power = fault.kind == FaultKind::ExtraWords && fault.span.of(bench.text) == "^";
    if power {
        return fault;
    }
    let way = candidate(bench, standing, tokens, &fault);
    if way.is_none()
        && let FaultKind::ExtraWords = fault.kind
    {
        let remark = as_a_remark(bench, standing, tokens, statement, &fault);
        return fault.fix(remark);
    }
    match way {
        Some(fix) => fault.fix(fix),
        None => fault,
    }
}

/// The line after the same way out wherever it helps, where one alone is not enough.
fn repeated(
    bench: &Bench,
    standing: Standing,
    whole: &str,
    base: u32,
    fault: &Fault,
    first: &Fix,
) -> Option<String> {
    let mut text = applied(whole, base, &first.edits)?;
    for round in 0..MOST_SLIPS {
        match next(bench, standing, &text, fault) {
            Next::Reads => return (round > 0).then_some(text),
            Next::Slip(way) => text = applied(&text, 0, &way.edits)?,
            Next::Other => return None,
        }
    }
    None
}

/// What a line is after a way out.
enum Next {
    Reads,
    /// The same slip once more.
    Slip(Fix),
    Other,
}

fn next(bench: &Bench, standing: Standing, text: &str, fault: &Fault) -> Next {
    let lexed = lex(text);
    let [cut] = lexed.cuts[..] else {
        return Next::Other;
    };
    let tokens = &lexed.tokens[cut.first..cut.end];
    let trial = Bench::new(text, bench.blocks, bench.circuits, bench.around);
    let next = match trial.statement(standing, tokens) {
        Ok(_) => return Next::Reads,
        Err(next) if next.kind.id() == fault.kind.id() => next,
        Err(_) => return Next::Other,
    };
    let way = next.fixes.first().cloned();
    let way = way.or_else(|| candidate(&trial, standing, tokens, &next));
    way.map_or(Next::Other, Next::Slip)
}

/// The first change of one place after which the line reads.
fn candidate(bench: &Bench, standing: Standing, tokens: &[Token], fault: &Fault) -> Option<Fix> {
    let statement = extent(tokens)?;
    let whole = statement.of(bench.text);
    let kind = Kind::of(tokens, standing.inside);
    let changes = changes(bench.text, tokens, kind, fault);
    // All of them in one text, so that the grammar is built once.
    let mut joined = String::new();
    let mut tried: Vec<(usize, Vec<Token>)> = Vec::new();
    for (index, (_, edit)) in changes.iter().enumerate() {
        let Some(text) = applied(whole, statement.start, std::slice::from_ref(edit)) else {
            continue;
        };
        let lexed = lex(&text);
        if lexed.cuts.len() != 1 {
            continue;
        }
        let offset = joined.len() as u32;
        let shifted = lexed.tokens.into_iter().map(|(tok, span)| {
            let (start, end) = (span.start + offset, span.end + offset);
            (tok, Span { start, end })
        });
        tried.push((index, shifted.collect()));
        joined.push_str(&text);
        joined.push('\n');
    }
    if tried.is_empty() {
        return None;
    }
    let trial = Bench::new(&joined, bench.blocks, bench.circuits, bench.around);
    let (index, _) = tried.iter().find(|(_, tokens)| {
        // Another kind of line would say another thing.
        let now = Kind::of(tokens, standing.inside);
        let source = |it: Kind| matches!(it, Kind::HeldSource | Kind::CurrentSource);
        let same = now == kind || kind == Kind::Unknown || source(now) && source(kind);
        same && trial.statement(standing, tokens).is_ok()
    })?;
    let (title, edit) = changes.into_iter().nth(*index)?;
    Some(Fix::likely(title, vec![edit]))
}

/// What could be changed at a fault, the likeliest first.
fn changes(text: &str, tokens: &[Token], kind: Kind, fault: &Fault) -> Vec<(String, TextEdit)> {
    let at = tokens
        .iter()
        .position(|(_, span)| span.end > fault.span.start)
        .unwrap_or(tokens.len());
    let shop = Shop { text, tokens };
    let mut changes = Vec::new();
    let (may_lack, may_be_too_much) = match fault.kind {
        FaultKind::Expected { .. } => (true, true),
        // Without the point between its digits a number is another one.
        FaultKind::StrayCharacter('.') => (false, !shop.is_between_digits(at)),
        FaultKind::ExtraWords
        | FaultKind::StrayCharacter(_)
        | FaultKind::PathEnds
        | FaultKind::NotAStatement(None)
        | FaultKind::WireInEquation => (false, true),
        _ => (false, false),
    };
    if at >= tokens.len() {
        let last = tokens.len().checked_sub(1);
        changes.extend(
            last.filter(|at| shop.ends_nothing(*at))
                .map(|at| shop.without(at)),
        );
        return changes;
    }
    // Two names side by side are no product where the line says what is so.
    let names = at > 0 && tokens[at].0.is_ref() && tokens[at - 1].0.is_ref();
    let product = kind.has_products() && !(names && kind != Kind::Let);
    let signs = SIGNS.iter().filter(move |it| **it != "*" || product);
    let missing = signs.chain(words(kind));
    if may_lack && !shop.is_filler(at) {
        let others = missing.clone().filter(|it| **it != shop.word(at));
        changes.extend(others.map(|it| shop.with(at, it)));
    }
    if may_lack && tokens[at].0 == Tok::Text {
        changes.push(shop.without_quotes(at));
    }
    if may_be_too_much {
        if shop.word(at) == "%" {
            changes.extend(shop.exchanged(at));
        }
        if shop.is_sign(at) || shop.is_filler(at) {
            changes.push(shop.without(at));
            let fixed = matches!(fault.kind, FaultKind::StrayCharacter(_));
            if !fixed && tokens[at].0 != Tok::Wire {
                let compares = matches!(tokens[at].0, Tok::Less | Tok::Greater | Tok::Equals);
                let other = missing.filter(|it| **it != "*" || !compares);
                changes.extend(other.map(|it| shop.instead(at, it)));
            }
        }
        if at > 0 && shop.is_filler(at - 1) {
            changes.push(shop.without(at - 1));
        }
        if !matches!(fault.kind, FaultKind::StrayCharacter(_)) {
            changes.extend(shop.exchanged(at));
            changes.extend(at.checked_sub(1).and_then(|at| shop.exchanged(at)));
        }
        changes.extend(shop.joined(at));
    }
    changes
}

/// Words that may be missing in such a line; elsewhere they would be taken for names.
fn words(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::HeldSource => &["at", "to"],
        Kind::CurrentSource => &["into", "from", "at", "to"],
        Kind::Supply => &["and"],
        Kind::Start => &["-"],
        Kind::Record => &["for"],
        Kind::Response => &["from", "to"],
        Kind::Vary => &["in", "from", "to"],
        Kind::Opamps => &["are"],
        Kind::Property => &["to"],
        Kind::Allow => &["at"],
        _ => &[],
    }
}

/// Where changes are made.
struct Shop<'a> {
    text: &'a str,
    tokens: &'a [Token],
}

impl Shop<'_> {
    fn word(&self, at: usize) -> &str {
        self.tokens
            .get(at)
            .map_or("", |(_, span)| span.of(self.text))
    }

    fn span(&self, at: usize) -> Span {
        self.tokens[at].1
    }

    fn is_sign(&self, at: usize) -> bool {
        let tok = self.tokens[at].0;
        !tok.is_ref()
            && !tok.is_quantity()
            && !matches!(tok, Tok::Text | Tok::OpenText | Tok::NotUnit)
    }

    fn is_between_digits(&self, at: usize) -> bool {
        let number = |at: usize| self.tokens.get(at).is_some_and(|it| it.0.is_quantity());
        at.checked_sub(1).is_some_and(number) && number(at + 1)
    }

    fn is_filler(&self, at: usize) -> bool {
        FILLERS.contains(&self.word(at))
    }

    /// A sign that waits for more.
    fn ends_nothing(&self, at: usize) -> bool {
        matches!(self.tokens[at].0, Tok::Comma | Tok::Wire | Tok::Stray)
    }

    fn without(&self, at: usize) -> (String, TextEdit) {
        let span = self.span(at);
        let before = at.checked_sub(1).map(|before| self.span(before).end);
        let after = self.tokens.get(at + 1).map(|(_, span)| span.start);
        let touches = |word: Option<(Tok, Span)>| {
            word.is_some_and(|(tok, _)| tok.is_ref() || tok.is_quantity())
        };
        let joins = before == Some(span.start)
            && after == Some(span.end)
            && self.tokens[at].0 != Tok::Stray
            && touches(self.tokens.get(at - 1).copied())
            && touches(self.tokens.get(at + 1).copied());
        let (start, end) = match (before, after) {
            (None, Some(after)) => (span.start, after),
            (Some(before), _) if self.tokens[at].0 != Tok::Stray || after.is_none() => {
                (before, span.end)
            }
            _ => (span.start, span.end),
        };
        let text = if joins { " " } else { "" };
        (
            format!("leave out `{}`", self.word(at)),
            edit(start, end, text),
        )
    }

    fn without_quotes(&self, at: usize) -> (String, TextEdit) {
        let span = self.span(at);
        let inner = self.word(at).trim_matches('"').trim();
        (
            format!("write `{inner}`"),
            edit(span.start, span.end, inner),
        )
    }

    fn with(&self, at: usize, word: &str) -> (String, TextEdit) {
        let title = format!("put `{word}` before it");
        let start = self.span(at).start;
        match (word, at.checked_sub(1)) {
            ("," | ":" | ")", Some(before)) => {
                let end = self.span(before).end;
                (title, edit(end, end, word))
            }
            _ => (title, edit(start, start, &format!("{word} "))),
        }
    }

    fn instead(&self, at: usize, word: &str) -> (String, TextEdit) {
        let span = self.span(at);
        let title = format!("write `{word}`");
        let before = at.checked_sub(1).map(|before| self.span(before).end);
        let space = |touches: bool| if touches { " " } else { "" };
        let after = space(
            self.tokens
                .get(at + 1)
                .is_some_and(|it| it.1.start == span.end),
        );
        match (word, before) {
            ("," | ":" | ")", Some(before)) => {
                (title, edit(before, span.end, &format!("{word}{after}")))
            }
            _ => {
                let before = space(before == Some(span.start));
                (
                    title,
                    edit(span.start, span.end, &format!("{before}{word}{after}")),
                )
            }
        }
    }

    fn exchanged(&self, at: usize) -> Option<(String, TextEdit)> {
        if at + 1 >= self.tokens.len()
            || self.is_sign(at) && self.word(at) != "%"
            || self.is_sign(at + 1)
        {
            return None;
        }
        let (a, b) = (self.word(at), self.word(at + 1));
        let text = format!("{b} {a}");
        let edit = edit(self.span(at).start, self.span(at + 1).end, &text);
        Some((format!("write `{text}`"), edit))
    }

    /// `moisture scaler`, `moisture-scaler`: one name.
    fn joined(&self, at: usize) -> Option<(String, TextEdit)> {
        let dash = usize::from(self.tokens[at].0 == Tok::Minus);
        let (before, after) = (at.checked_sub(1)?, at + dash);
        let is_name = |at: usize| {
            self.tokens
                .get(at)
                .is_some_and(|(tok, _)| *tok == Tok::Name)
        };
        if !is_name(before) || !is_name(after) {
            return None;
        }
        let text = format!("{}_{}", self.word(before), self.word(after));
        let edit = edit(self.span(before).start, self.span(after).end, &text);
        Some((format!("write `{text}`"), edit))
    }
}

/// What follows a complete line, behind `#`; behind `end` it goes.
fn as_a_remark(
    bench: &Bench,
    standing: Standing,
    tokens: &[Token],
    statement: Span,
    fault: &Fault,
) -> Fix {
    let at = fault.span.start;
    let before = bench.text[..at as usize].trim_end().len() as u32;
    if Kind::of(tokens, standing.inside) == Kind::End {
        return Fix::likely("leave out the rest", vec![edit(before, statement.end, "")]);
    }
    Fix::likely("make the rest a remark", vec![edit(at, at, "# ")])
}

fn edit(start: u32, end: u32, text: &str) -> TextEdit {
    TextEdit {
        span: Span { start, end },
        text: text.to_owned(),
    }
}

fn extent(tokens: &[Token]) -> Option<Span> {
    Some(tokens.first()?.1.to(tokens.last()?.1))
}

/// A statement after edits that lie inside it; `base` is where it begins.
pub(crate) fn applied(whole: &str, base: u32, edits: &[TextEdit]) -> Option<String> {
    let mut edits: Vec<&TextEdit> = edits.iter().collect();
    edits.sort_by_key(|it| std::cmp::Reverse(it.span));
    let mut text = whole.to_owned();
    for it in edits {
        let start = it.span.start.checked_sub(base)? as usize;
        let end = it.span.end.checked_sub(base)? as usize;
        if end > text.len() {
            return None;
        }
        text.replace_range(start..end, &it.text);
    }
    Some(text)
}

/// The one edit that makes a statement into another text.
fn difference(before: &str, after: &str, base: u32) -> TextEdit {
    let same = |(a, b): &((usize, char), (usize, char))| a.1 == b.1;
    let head: usize = before
        .char_indices()
        .zip(after.char_indices())
        .take_while(same)
        .map(|(it, _)| it.1.len_utf8())
        .sum();
    let tail: usize = before[head..]
        .chars()
        .rev()
        .zip(after[head..].chars().rev())
        .take_while(|(a, b)| a == b)
        .map(|it| it.0.len_utf8())
        .sum();
    let end = base + (before.len() - tail) as u32;
    edit(base + head as u32, end, &after[head..after.len() - tail])
}
