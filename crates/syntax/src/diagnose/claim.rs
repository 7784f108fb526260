//! Claims and ranges: the state of an op-amp, how far a value may be off, between what a value varies.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{Dimension, Fault, FaultKind, Fix, Form, Quantity, quantity};

const HIGH: &[&str] = &["at high rail"];
const LOW: &[&str] = &["at low rail"];
const EITHER: &[&str] = &["at high rail", "at low rail"];

/// Words of the trade for the states of an op-amp, and what the language says for them.
const STATES: [(&str, &[&str]); 22] = [
    ("linear", &["linear"]),
    ("linearly", &["linear"]),
    ("latches", &["latches"]),
    ("latched", &["latches"]),
    ("latching", &["latches"]),
    ("oscillates", &["oscillates"]),
    ("oscillating", &["oscillates"]),
    ("high", HIGH),
    ("top", HIGH),
    ("upper", HIGH),
    ("positive", HIGH),
    ("highest", HIGH),
    ("low", LOW),
    ("bottom", LOW),
    ("lower", LOW),
    ("negative", LOW),
    ("lowest", LOW),
    ("saturated", EITHER),
    ("saturates", EITHER),
    ("saturation", EITHER),
    ("clipped", EITHER),
    ("clips", EITHER),
];

/// Words that a sentence has around them.
const AROUND: [&str; 12] = [
    "is", "=", "at", "in", "the", "a", "its", "to", "stays", "rails", "state", "region",
];
/// Words that may stand before a name and say nothing.
const BEFORE: [&str; 11] = [
    "opamp", "op", "node", "the", "that", "voltage", "output", "element", "if", "resistor",
    "source",
];
/// Words for the equals sign.
const EQUAL: [&str; 9] = [
    "about",
    "approximately",
    "approx",
    "around",
    "near",
    "equals",
    "gives",
    "shows",
    "becomes",
];

/// What `expect A1 …` says for a word that the trade has for the state of an op-amp.
pub fn states(word: &str) -> &'static [&'static str] {
    let of_trade = STATES.iter().find(|it| it.0.eq_ignore_ascii_case(word));
    of_trade.map_or(&[], |it| it.1)
}

impl Line<'_> {
    /// What is wrong with a claim.
    pub(super) fn claim(&self) -> Option<Fault> {
        self.word_before()
            .or_else(|| self.inequality())
            .or_else(|| self.word_for_equals())
            .or_else(|| self.tolerance())
            .or_else(|| self.state())
    }

    /// `expect out < 9 V`
    fn inequality(&self) -> Option<Fault> {
        let has = |wanted: &[Tok]| self.tokens.iter().position(|it| wanted.contains(&it.0));
        let at = has(&[Tok::Less, Tok::Greater]).filter(|at| *at > 1)?;
        let equals = has(&[Tok::Equals]).is_some_and(|it| it != at + 1);
        if equals || has(&[Tok::Within, Tok::At]).is_some() {
            return None;
        }
        let (what, example) = self.in_words(Tok::Equals);
        let fix = Fix::likely("write `require`", vec![replace(self.span(0), "require")]);
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `expect opamp A1 linear`, `expect linear A1`
    fn word_before(&self) -> Option<Fault> {
        let two = self.tok(1)?.is_ref() && self.tok(2)?.is_ref() && self.tokens.len() > 3;
        if two && BEFORE.contains(&self.word(1)) && states(self.word(2)).is_empty() {
            let fix = Fix::likely(
                format!("leave out `{}`", self.word(1)),
                vec![replace(self.with_gap(1), "")],
            );
            return Some(self.wanted(1, "a claim", "out = 3 V").fix(fix));
        }
        let state = states(self.word(1)).first()?;
        if !self.tok(2)?.is_ref() || self.tokens.len() != 3 {
            return None;
        }
        let text = format!("{} {state}", self.word(2));
        let all = self.span(1).to(self.span(2));
        let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
        Some(self.wanted(1, "an op-amp", "expect A1 linear").fix(fix))
    }

    /// `expect out about 3 V`, `expect out equals 3 V`
    fn word_for_equals(&self) -> Option<Fault> {
        let at = (2..self.tokens.len()).find(|at| EQUAL.contains(&self.word(*at)))?;
        if self.tokens.iter().any(|(tok, _)| *tok == Tok::Equals) {
            return None;
        }
        let more = usize::from(self.tok(at + 1) == Some(Tok::To));
        let fix = Fix::likely(
            "write `=`",
            vec![replace(self.span(at).to(self.span(at + more)), "=")],
        );
        let (what, example) = self.in_words(Tok::Equals);
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `require out is below 5 V`
    pub(super) fn comparison(&self) -> Option<Fault> {
        let sign = |at: &usize| match self.word(*at) {
            "below" | "under" | "less" | "smaller" => Some("<"),
            "above" | "over" | "more" | "greater" | "larger" | "exceeds" => Some(">"),
            _ => None,
        };
        let at = (2..self.tokens.len()).find(|at| sign(at).is_some())?;
        let first = at - usize::from(self.word(at - 1) == "is");
        let last = at + usize::from(self.word(at + 1) == "than");
        let sign = sign(&at)?;
        let all = self.span(first).to(self.span(last));
        let (what, example) = self.in_words(Tok::Less);
        let fix = Fix::likely(format!("write `{sign}`"), vec![replace(all, sign)]);
        Some(self.wanted(first, what, example).fix(fix))
    }

    /// `expect A1 saturated`, `expect A1 at top rail`
    fn state(&self) -> Option<Fault> {
        let last = self.tokens.len() - 1;
        if !self.tok(1)?.is_ref() || last < 2 {
            return None;
        }
        let mut words = (2..=last).filter(|at| !AROUND.contains(&self.word(*at)));
        let (Some(word), more) = (words.next(), words.next()) else {
            return None;
        };
        // `high rail`, or `rail` alone
        if words.next().is_some() || more.is_some_and(|it| self.word(it) != "rail") {
            return None;
        }
        let states = match self.word(word) {
            "rail" => EITHER,
            word => states(word),
        };
        let rest = self.span(2).to(self.span(last)).of(self.text);
        // What is only not finished is told as that.
        if states.iter().any(|it| it.starts_with(rest)) {
            return None;
        }
        let first = states.first()?;
        let agrees = self.word(2) == "at" && first.starts_with("at");
        let fault = self.wanted(if agrees { word } else { 2 }, "a state", "expect A1 linear");
        let span = self.span(2).to(self.span(last));
        let fixes = states
            .iter()
            .map(|it| Fix::likely(format!("write `{it}`"), vec![replace(span, *it)]));
        Some(Fault {
            fixes: fixes.collect(),
            ..fault
        })
    }

    /// `out = 3 V +- 1 %`, `(1 %)`, `, 1 %`: how far the value may be off, without its word.
    pub(super) fn tolerance(&self) -> Option<Fault> {
        let has = |wanted: Tok| self.tokens.iter().any(|(tok, _)| *tok == wanted);
        let last = self.tokens.len() - 1;
        let close = usize::from(self.tok(last) == Some(Tok::Close));
        let value = last.checked_sub(close)?;
        let size = quantity::read(self.text, self.span(value)).ok()?;
        let mut first = value;
        let signs = (self.tok(first - 1), self.tok(first.checked_sub(2)?));
        let slash = usize::from(signs == (Some(Tok::Minus), Some(Tok::Slash)));
        let plus = first.checked_sub(2 + slash)?;
        let touching = self.span(plus).end + slash as u32 == self.span(first - 1).start;
        let signed = signs.0 == Some(Tok::Minus) && self.tok(plus) == Some(Tok::Plus) && touching;
        if signed {
            first = plus;
        }
        if close == 1 {
            first = first.checked_sub(1)?;
            if self.tok(first) != Some(Tok::Open) {
                return None;
            }
        }
        let word = word_before(&size, signed)?;
        let said = has(word);
        let instead = |at: usize| {
            let words = [
                "with",
                "tolerance",
                "tol",
                "by",
                "about",
                "after",
                "when",
                "error",
            ];
            self.tok(at) == Some(Tok::Comma) || words.contains(&self.word(at))
        };
        let within = word.word()?;
        let before = first.checked_sub(1)?;
        let (from, text) = match said {
            // `within +- 1 %`
            true if signed && self.tok(before) == Some(word) => (first, ""),
            true => return None,
            false if instead(before) => (before, within),
            false => (first, within),
        };
        // `3 V witin 1 %`: the word is there, misspelt.
        let behind_a_value = self.tok(before - 1).is_some_and(Tok::is_quantity);
        if from == first && !said && self.tok(before)?.is_name() && behind_a_value {
            return None;
        }
        let operand = self.tok(from - 1)?;
        let complete = operand.is_quantity() || operand.is_ref() || operand == Tok::Close;
        if from == value && self.tok(from - 1) == Some(Tok::Minus) || !complete || !has(Tok::Equals)
        {
            return None;
        }
        let (what, example) = self.in_words(word);
        let written = format!("{text} {}", self.word(value));
        let written = written.trim_start();
        let all = self.span(from).to(self.span(last));
        let told = match (signed, close) {
            (true, 0) => self.span(plus).to(self.span(value - 1)),
            _ => self.span(from),
        };
        let gap = match self.span(from - 1).end == all.start {
            true => " ",
            false => "",
        };
        let edit = replace(all, format!("{gap}{written}"));
        let fault = Fault::new(told, FaultKind::Expected { what, example });
        Some(fault.fix(Fix::likely(format!("write `{written}`"), vec![edit])))
    }

    /// `vary R9 1k to 10k`, `vary R9 = 1k, 2k`, `vary R9 between 1k and 10k`, `… in steps of 1k`
    pub(super) fn range(&self) -> Option<Fault> {
        let steps = (2..self.tokens.len()).find(|at| matches!(self.word(*at), "steps" | "step"));
        if let Some(steps) = steps.filter(|at| self.tok(at - 1) == Some(Tok::In)) {
            let of = usize::from(self.word(steps + 1) == "of");
            let all = self.span(steps - 1).to(self.span(steps + of));
            let fault = self.wanted(steps, "a series", "in E24");
            return Some(fault.fix(Fix::likely("write `by`", vec![replace(all, "by")])));
        }
        let quantity = |at: usize| self.tok(at).is_some_and(Tok::is_quantity);
        let first = (2..4).find(|at| quantity(*at))?;
        let list = self.tok(first + 1) == Some(Tok::Comma);
        let word = if list { "among" } else { "from" };
        let opener = (first == 3).then_some(2);
        let mut told = first.min(opener.unwrap_or(first));
        let mut edits = Vec::new();
        match opener {
            Some(at) if self.word(at) == word => told = first + 1,
            Some(at)
                if matches!(
                    self.word(at),
                    "=" | ":" | "between" | "over" | "from" | "among" | "in"
                ) =>
            {
                let touches = self.span(at - 1).end == self.span(at).start;
                let space = if touches { " " } else { "" };
                edits.push(replace(self.span(at), format!("{space}{word}")));
            }
            Some(_) => return None,
            None => edits.push(insert(self.span(first).start, format!("{word} "))),
        }
        if !list {
            match self.tok(first + 1)? {
                Tok::To => {}
                Tok::And | Tok::Minus => edits.push(replace(self.span(first + 1), "to")),
                _ => return None,
            }
            if !quantity(first + 2) {
                return None;
            }
            if self.tokens.len() == first + 3 {
                edits.push(insert(self.span(first + 2).end, " in E24"));
            }
        }
        if self.tokens.len() == first + 3 && edits.len() == 1 && told == first + 1 {
            told = self.tokens.len();
        }
        let tok = match (list, told == first + 1) {
            (true, true) => return None,
            _ if told == self.tokens.len() => Tok::In,
            (_, true) => Tok::To,
            (_, false) => Tok::From,
        };
        let (what, example) = self.in_words(tok);
        let fault = self.wanted(told, what, example);
        let (start, end) = (self.span(2).start, self.span(self.tokens.len() - 1).end);
        let rest = crate::Span { start, end }.of(self.text);
        let title = match edits.as_slice() {
            [] => return None,
            [only] => format!("write `{}`", only.text.trim()),
            edits => format!("write `{}`", crate::mend::applied(rest, start, edits)?),
        };
        Some(fault.fix(Fix::likely(title, edits)))
    }
}

/// The word that such a value stands behind in a claim.
fn word_before(value: &Quantity, signed: bool) -> Option<Tok> {
    match value.form {
        _ if signed => Some(Tok::Within),
        Form::Percent => Some(Tok::Within),
        _ if matches!(value.dimension, Dimension::SECOND | Dimension::HERTZ) => Some(Tok::At),
        _ => None,
    }
}
