//! Properties of a part: ranges and sides.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{Fault, Fix};

impl Line<'_> {
    /// What is wrong with a property's values.
    pub(super) fn property(&self) -> Option<Fault> {
        match self.word(0) {
            "supply" => self.supply_range(),
            "headroom" | "inputs" => self.sides("low", "high", 1),
            "current" => self.sides("source", "sink", 0),
            _ => None,
        }
    }

    /// `supply 3 V and 36 V`, `supply from 3 V to 36 V`
    fn supply_range(&self) -> Option<Fault> {
        let quantity = |at: usize| self.tok(at).is_some_and(Tok::is_quantity);
        let example = "supply 3 V to 6 V";
        if self.tok(1) == Some(Tok::From) && quantity(2) {
            let fix = Fix::likely("leave out `from`", vec![replace(self.with_gap(1), "")]);
            return Some(self.wanted(1, "a value", example).fix(fix));
        }
        let joined = matches!(self.tok(2)?, Tok::Comma | Tok::And | Tok::Name);
        if !quantity(1) || !joined || !quantity(3) || self.tokens.len() != 4 {
            return None;
        }
        let fix = Fix::likely("write `to`", vec![replace(self.with_gap(2), " to")]);
        Some(self.wanted(2, "`to`", example).fix(fix))
    }

    /// `headroom 0.1 V, 1.2 V`, `headroom 0.1 V low, 1.2 V high`; the words go from the token at `from` on.
    fn sides(&self, first: &str, second: &str, from: usize) -> Option<Fault> {
        let quantity = |at: usize| self.tok(at).is_some_and(Tok::is_quantity);
        let words = [first, second];
        let behind = usize::from(words.contains(&self.word(2)));
        let comma = 2 + behind;
        let shape = quantity(1)
            && self.tok(comma) == Some(Tok::Comma)
            && quantity(comma + 1)
            && self.tokens.len() == comma + 2 + behind
            && (behind == 0 || words.contains(&self.word(comma + 2)));
        if !shape || behind == 1 && from == 0 {
            return None;
        }
        let (first, second) = match behind {
            1 => (self.word(2), self.word(comma + 2)),
            _ => (first, second),
        };
        let mut edits = vec![insert(self.span(comma + 1).start, format!("{second} "))];
        match from {
            0 => edits.push(replace(self.span(0), first)),
            _ => edits.push(insert(self.span(1).start, format!("{first} "))),
        }
        if behind == 1 {
            edits.push(replace(self.with_gap(2), ""));
            edits.push(replace(self.with_gap(comma + 2), ""));
        }
        let (a, b) = (self.word(1), self.word(comma + 1));
        let head = if from == 0 { "" } else { self.word(0) };
        let text = format!("{head} {first} {a}, {second} {b}");
        let fix = Fix::likely(format!("write `{}`", text.trim()), edits);
        let fault = self.wanted(1, "the word of its side", "headroom low 0.1 V, high 1.2 V");
        Some(fault.fix(fix))
    }
}
