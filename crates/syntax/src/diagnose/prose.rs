//! Lines as one would say them: sentences, and elements told in words.

use super::{Line, insert, replace};
use crate::kind::Kind;
use crate::lexer::Tok;
use crate::{DEVICES, Fault, FaultKind, Fix, Span};

/// Words that make a line a sentence.
const SENTENCE: [&str; 14] = [
    "the", "this", "that", "is", "are", "we", "a", "an", "of", "it", "has", "because", "should",
    "with",
];
/// Orders, which the language has not: what a line says simply is so.
const ORDERS: [&str; 10] = [
    "connect", "wire", "join", "put", "attach", "link", "place", "add", "insert", "solder",
];
/// Kinds of elements, which the unit tells already.
const ELEMENTS: [(&str, &str); 7] = [
    ("resistor", "in -- R1 10k -- sum"),
    ("resistance", "in -- R1 10k -- sum"),
    ("capacitor", "in -- C1 100 nF -- sum"),
    ("capacitance", "in -- C1 100 nF -- sum"),
    ("cap", "in -- C1 100 nF -- sum"),
    ("inductor", "in -- L1 10 mH -- sum"),
    ("coil", "in -- L1 10 mH -- sum"),
];
/// What stands between the names of an element told in words.
const GLUE: [&str; 14] = [
    "from", "to", "between", "and", "at", "on", "with", "is", "of", "connects", "goes", "node",
    "nodes", "value",
];

/// Where an element of this kind stands: an example of its path.
pub fn element(word: &str) -> Option<&'static str> {
    let of_trade = ELEMENTS.iter().find(|it| it.0.eq_ignore_ascii_case(word));
    of_trade.map(|it| it.1)
}

impl Line<'_> {
    /// A sentence, a heading, an order.
    pub(crate) fn prose(&self) -> Option<Fault> {
        if self.kind != Kind::Unknown || !self.tok(0)?.is_name() || DEVICES.contains(&self.word(0))
        {
            return None;
        }
        let none_of = |signs: &[Tok]| !self.tokens.iter().any(|(tok, _)| signs.contains(tok));
        if !none_of(&[Tok::Equals, Tok::Wire]) || self.tok(1) == Some(Tok::Minus) {
            return None;
        }
        let first = self.word(0).to_lowercase();
        let fault = Fault::new(self.span(0), FaultKind::NotAStatement(None));
        if ORDERS.contains(&first.as_str()) || element(&first).is_some() {
            return Some(match self.path_in_words(1) {
                Some(path) => fault.fix(self.instead_of_all(path)),
                None => fault,
            });
        }
        let small = |word: &str| SENTENCE.contains(&word.to_lowercase().as_str());
        let sentence = (0..self.tokens.len())
            .filter(|at| small(self.word(*at)))
            .count();
        let names = (0..4)
            .filter(|at| self.tok(*at).is_some_and(Tok::is_name))
            .count();
        let named = self.tok(1).is_some_and(Tok::is_name) && self.tok(2) == Some(Tok::Colon);
        let is_prose = match self.near_statement() {
            Some(_) => sentence > 0 && !named && self.tok(1) != Some(Tok::Are),
            None => names == 4 && !self.may_be_a_block() || sentence > 1,
        };
        if !is_prose || self.path_in_words(0).is_some() {
            return None;
        }
        let remark = insert(self.span(0).start, "# ");
        Some(fault.fix(Fix::likely("make it a remark", vec![remark])))
    }

    /// `resistor R1: in, sum, 10k`
    pub(super) fn element_as_a_device(&self) -> Option<Fault> {
        element(self.word(0)).filter(|_| !self.is_a_block())?;
        let fault = Fault::new(self.span(0), FaultKind::NotAStatement(None));
        Some(match self.path_in_words(1) {
            Some(path) => fault.fix(self.instead_of_all(path)),
            None => fault,
        })
    }

    /// `1. supply …`: a number in front.
    pub(crate) fn numbered(&self) -> Option<Fault> {
        let number = self.tok(0) == Some(Tok::Whole) && self.tok(1) == Some(Tok::Stray);
        if !number || !matches!(self.word(1), "." | "•") || self.tokens.len() < 3 {
            return None;
        }
        let span = self.span(0).to(self.span(1));
        let gap = Span {
            end: self.span(2).start,
            ..span
        };
        let fix = Fix::likely(
            format!("leave out `{}`", span.of(self.text)),
            vec![replace(gap, "")],
        );
        Some(Fault::new(span, FaultKind::NotAStatement(None)).fix(fix))
    }

    /// `RL 4.7k from out to ground` and the like, as a path: one name, one value, two nodes, whatever their order.
    pub(super) fn path_in_words(&self, first: usize) -> Option<String> {
        let name = self.word(first);
        let element = first > 0 || name.starts_with(['R', 'C', 'L']);
        if !self.tok(first)?.is_name() || !element {
            return None;
        }
        let mut value = None;
        let mut nodes = Vec::new();
        for at in first + 1..self.tokens.len() {
            let word = self.word(at);
            match self.tok(at)? {
                tok if tok.is_quantity() && value.is_none() => value = Some(word),
                Tok::Equals | Tok::Colon | Tok::Comma | Tok::Open | Tok::Call | Tok::Close => {}
                tok if tok.is_name() && !GLUE.contains(&word) => nodes.push(word),
                tok if tok.is_name() => {}
                _ => return None,
            }
        }
        match (value, nodes.as_slice()) {
            (Some(value), [a, b]) => Some(format!("{a} -- {name} {value} -- {b}")),
            _ => None,
        }
    }

    pub(super) fn instead_of_all(&self, text: String) -> Fix {
        let all = self.span(0).to(self.span(self.tokens.len() - 1));
        Fix::likely(format!("write `{text}`"), vec![replace(all, text)])
    }
}
