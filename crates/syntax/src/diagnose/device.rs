//! Devices: their clauses.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{CLAUSES, Fault, Fix};

impl Line<'_> {
    /// What is wrong with `kind NAME: clause, …`.
    pub(super) fn device(&self) -> Option<Fault> {
        if let Some(fault) = self.misspelt_head() {
            return Some(fault);
        }
        if self.tokens.len() == 3 {
            return Some(self.wanted(3, "a clause", self.clause_example()));
        }
        let depths = self.depths();
        let commas = (3..self.tokens.len())
            .filter(|at| self.tok(*at) == Some(Tok::Comma) && depths[*at] == 0);
        let ends: Vec<usize> = commas.chain([self.tokens.len()]).collect();
        let mut first = 3;
        for end in ends {
            if let Some(fault) = self.clause(first, end) {
                return Some(fault);
            }
            first = end + 1;
        }
        None
    }

    fn clause(&self, first: usize, end: usize) -> Option<Fault> {
        if first == end {
            // An empty clause: at the comma behind it, or at the end.
            return Some(self.wanted(first, "a clause", self.clause_example()));
        }
        match self.tok(first)? {
            Tok::Plus | Tok::Minus => return Some(self.signs_for_pins(first)),
            tok if tok.is_name()
                && matches!(self.tok(first + 1), Some(Tok::Plus | Tok::Minus))
                && self.tok(first + 2).is_some_and(Tok::is_ref) =>
            {
                return Some(self.signs_for_pins(first));
            }
            tok if !tok.is_name() => {
                return Some(self.wanted(first, "a clause", self.clause_example()));
            }
            _ => {}
        }
        if first + 1 == end {
            return self.lone_word(first);
        }
        if self.tok(first) == Some(Tok::Supply) {
            // `supply +9 V, -9 V` looks like two clauses.
            let goes_on = matches!(self.tok(end + 1), Some(Tok::Plus | Tok::Minus))
                || self.tok(end + 1).is_some_and(Tok::is_quantity);
            return self
                .rails(first + 1, if goes_on { self.tokens.len() } else { end })
                .or_else(|| self.next_clause(first + 2, end));
        }
        match self.tok(first + 1)? {
            Tok::Equals | Tok::Colon => {
                let gap = self.with_gap(first + 1);
                let touches = self.span(first + 2).start == gap.end;
                let title = format!("leave out `{}`", self.word(first + 1));
                let (what, example) = wanted_by(self.word(first));
                Some(self.wanted(first + 1, what, example).fix(Fix::safe(
                    title,
                    vec![replace(gap, if touches { " " } else { "" })],
                )))
            }
            // `plus to ground`
            tok if tok.is_name()
                && matches!(
                    self.word(first + 1),
                    "to" | "at" | "is" | "on" | "into" | "node" | "the"
                )
                && CLAUSES.contains(&self.word(first))
                && first + 3 == end
                && self.tok(first + 2).is_some_and(Tok::is_ref) =>
            {
                let (what, example) = wanted_by(self.word(first));
                let title = format!("leave out `{}`", self.word(first + 1));
                let fix = Fix::likely(title, vec![replace(self.with_gap(first + 1), "")]);
                Some(self.wanted(first + 1, what, example).fix(fix))
            }
            Tok::Minus | Tok::Plus if self.tok(first + 2).is_some_and(Tok::is_quantity) => Some(
                self.wanted(first + 1, "a value", "(-2 mV)")
                    .fix(self.in_brackets(first + 1, end - 1)),
            ),
            tok if tok.is_quantity() || tok.is_ref() => self.next_clause(first + 2, end),
            _ => None,
        }
    }

    /// A clause that goes on behind its argument.
    fn next_clause(&self, at: usize, end: usize) -> Option<Fault> {
        if at >= end {
            return None;
        }
        match self.tok(at)? {
            Tok::Star | Tok::Slash | Tok::Caret | Tok::Plus | Tok::Minus
                if self.tok(at - 1).is_some_and(Tok::is_quantity) =>
            {
                Some(
                    self.wanted(at, "brackets around the value", "(2 * R1)")
                        .fix(self.in_brackets(at - 1, end - 1)),
                )
            }
            Tok::And if CLAUSES.contains(&self.word(at + 1)) => {
                let fix = Fix::safe("write a comma", vec![replace(self.with_gap(at), ",")]);
                Some(self.wanted(at, "`,`", "plus in, minus fb").fix(fix))
            }
            tok if tok.is_name()
                && (CLAUSES.contains(&self.word(at)) || at + 1 < end)
                && tok != Tok::And =>
            {
                let known = CLAUSES.contains(&self.word(at));
                let comma = Fix {
                    title: "put a comma before it".into(),
                    safe: known,
                    edits: vec![insert(self.span(at - 1).end, ",")],
                };
                let fault = self.wanted(at, "`,`", "plus in, minus fb");
                match self.behind_a_number(at) {
                    Some(unit) if !known => Some(unit),
                    _ => Some(fault.fix(comma)),
                }
            }
            _ => self.behind_a_number(at),
        }
    }

    /// `opamp A2: + in, - fb`
    fn signs_for_pins(&self, at: usize) -> Fault {
        let begins = |at: usize| at == 3 || self.tok(at - 1) == Some(Tok::Comma);
        let mut edits = Vec::new();
        for first in (3..self.tokens.len()).filter(|index| begins(*index)) {
            // `in+ ground`
            let index = first + usize::from(self.tok(first).is_some_and(Tok::is_name));
            let pin = match self.tok(index) {
                Some(Tok::Plus) => "plus",
                Some(Tok::Minus) => "minus",
                _ => continue,
            };
            let touches = self.span(index).end == self.span(index + 1).start;
            edits.push(replace(
                self.span(first).to(self.span(index)),
                if touches {
                    format!("{pin} ")
                } else {
                    pin.to_string()
                },
            ));
        }
        let named = usize::from(self.tok(at).is_some_and(Tok::is_name));
        let fault = self.wanted(at, "a clause", "plus in");
        let span = self.span(at).to(self.span(at + named));
        Fault { span, ..fault }.fix(Fix::safe("write `plus` and `minus`", edits))
    }

    /// A clause of one word that needs more.
    fn lone_word(&self, at: usize) -> Option<Fault> {
        let word = self.word(at);
        let speaks_alone = match word {
            "open" | "closed" => true,
            word => self.word(0) == "switch" && word != "from" && word != "to",
        };
        let last = at + 1 == self.tokens.len();
        // Nothing goes by position.
        if !speaks_alone && !last && !CLAUSES.contains(&word) && self.word(0) == "opamp" {
            return Some(self.wanted(at, "a clause", self.clause_example()));
        }
        let (what, example) = wanted_by(word);
        (!speaks_alone).then(|| self.wanted(at, what, example).unfinished(last))
    }

    fn clause_example(&self) -> &'static str {
        match self.word(0) {
            "switch" => "from a",
            "pot" => "wiper w",
            "diode" => "anode a",
            _ => "plus in",
        }
    }
}

/// What stands behind a clause's word.
fn wanted_by(word: &str) -> (&'static str, &'static str) {
    match word {
        "plus" => ("a node", "plus in"),
        "minus" => ("a node", "minus fb"),
        "drives" => ("a node", "drives out"),
        "from" | "to" | "wiper" | "anode" | "cathode" => ("a node", "ground"),
        "part" => ("a part", "part ideal"),
        "supply" => ("the rails", "supply +9 V and -9 V"),
        "total" => ("a value", "total 10k"),
        "at" => ("a share", "at 30 %"),
        "value" => ("a value", "value 47 uF"),
        "rated" => ("a value", "rated 25 V"),
        _ => ("a node or a value", "out"),
    }
}
