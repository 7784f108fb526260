//! Sources and supplies.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{Fault, FaultKind, Fix, Span};

impl Line<'_> {
    /// What is wrong with the head of a source, or left of its `=`.
    pub(super) fn source(&self) -> Option<Fault> {
        if !self.tok(1).is_some_and(Tok::is_name) {
            if self.tok(1) == Some(Tok::Equals) {
                return Some(self.equation_alone());
            }
            return Some(self.wanted(1, "a name", "source probe: in = 1.2 V"));
        }
        if self.tok(2) != Some(Tok::Colon) {
            return Some(self.missing_colon(2, "source probe: in = 1.2 V"));
        }
        match self.tokens.iter().position(|(tok, _)| *tok == Tok::Equals) {
            Some(equals) => self.left_side(equals).or_else(|| self.said_twice(equals)),
            None => self.without_equals().or_else(|| self.said_twice(2)),
        }
    }

    /// A colon is missing before this token.
    pub(super) fn missing_colon(&self, at: usize, example: &'static str) -> Fault {
        let fault = self.wanted(at, "`:`", example);
        match self.tok(at) {
            Some(tok) if tok.is_ref() || tok.is_quantity() => fault.fix(Fix::likely(
                "add the colon",
                vec![insert(self.span(at - 1).end, ":")],
            )),
            _ => fault,
        }
    }

    /// Left of `=` stands `a` or `a - b`, without ground.
    fn left_side(&self, equals: usize) -> Option<Fault> {
        let form = |at: usize| Fault::new(self.span(at), FaultKind::SourceForm);
        let is_node = |at: usize| self.tok(at).is_some_and(Tok::is_ref);
        let is_ground = |at: usize| self.word(at) == "ground";
        let difference = equals == 6 && is_node(3) && self.tok(4) == Some(Tok::Minus) && is_node(5);
        let single = equals == 4 && is_node(3);
        if !difference && !single {
            return Some(form(3));
        }
        if single {
            return is_ground(3).then(|| form(3));
        }
        let left = self.span(3).to(self.span(5));
        if is_ground(5) && !is_ground(3) {
            let plus = self.word(3);
            let fix = Fix::safe(format!("write `{plus} = …`"), vec![replace(left, plus)]);
            return Some(form(5).fix(fix));
        }
        if !is_ground(3) {
            return None;
        }
        let fault = form(3);
        let drive_is_a_quantity =
            self.tokens.len() == 8 && self.tok(7).is_some_and(Tok::is_quantity);
        if is_ground(5) || !drive_is_a_quantity {
            return Some(fault);
        }
        let (node, value) = (self.word(5), self.span(7));
        let title = format!("write `{node} = -{}`", value.of(self.text));
        Some(fault.fix(Fix::safe(
            title,
            vec![replace(left, node), insert(value.start, "-")],
        )))
    }

    /// A wave's `offset`, `phase` or `duty` a second time.
    fn said_twice(&self, from: usize) -> Option<Fault> {
        self.tok(from + 1).filter(|tok| is_wave(*tok))?;
        let mut seen = Vec::new();
        (from..self.tokens.len()).find_map(|at| {
            let option = self
                .tok(at)
                .filter(|tok| matches!(tok, Tok::Offset | Tok::Phase | Tok::Duty))?;
            // After an operator it is a name.
            let follows_a_value = self
                .tok(at - 1)
                .is_some_and(|tok| tok.is_quantity() || tok.is_ref() || tok == Tok::Close);
            if seen.contains(&option) && follows_a_value {
                return Some(self.extra(at));
            }
            seen.push(option);
            None
        })
    }

    /// `source probe: in`, `source probe: in 5 V`
    fn without_equals(&self) -> Option<Fault> {
        let behind = &self.tokens[3..];
        let unfinished = match behind {
            [] => return Some(self.wanted(3, "what it holds", "in = 1.2 V")),
            [(a, _)] => a.is_ref(),
            [(a, _), (Tok::Minus, _)] => a.is_ref(),
            [(a, _), (Tok::Minus, _), (b, _)] => a.is_ref() && b.is_ref(),
            [(a, _), (b, _)] if a.is_name() && !is_wave(*a) && b.is_quantity() => {
                let fix = Fix::likely(
                    "write `=` between them",
                    vec![insert(self.span(4).start, "= ")],
                );
                return Some(self.wanted(4, "`=`", "in = 1.2 V").fix(fix));
            }
            _ => false,
        };
        let end = Span::at(self.span(self.tokens.len()).end);
        unfinished.then(|| Fault::new(end, FaultKind::SourceForm).unfinished(true))
    }

    /// `supply +9 V, -9 V`
    pub(super) fn supply(&self) -> Option<Fault> {
        if self.tok(1) == Some(Tok::Equals) {
            return Some(self.equation_alone());
        }
        self.rails(1, self.tokens.len())
    }

    /// Two rails without the `and` between them, from the token at `first`.
    pub(super) fn rails(&self, first: usize, end: usize) -> Option<Fault> {
        let signed = matches!(self.tok(first), Some(Tok::Plus | Tok::Minus));
        let second = first + 1 + usize::from(signed);
        if second >= end
            || !self
                .tok(second - 1)
                .is_some_and(|tok| tok.is_ref() || tok.is_quantity())
        {
            return None;
        }
        let begins_a_rail = |at: usize| {
            matches!(self.tok(at), Some(Tok::Plus | Tok::Minus))
                || self
                    .tok(at)
                    .is_some_and(|it| it.is_quantity() || it.is_ref())
        };
        let example = "+9 V and -9 V";
        match self.tok(second)? {
            Tok::Comma if begins_a_rail(second + 1) => {
                let gap = Span {
                    start: self.span(second - 1).end,
                    end: self.span(second + 1).start,
                };
                let fix = Fix::safe("write `and`", vec![replace(gap, " and ")]);
                Some(self.wanted(second, "`and`", example).fix(fix))
            }
            Tok::Plus | Tok::Minus => {
                let fix = Fix::safe("write `and`", vec![insert(self.span(second).start, "and ")]);
                Some(self.wanted(second, "`and`", example).fix(fix))
            }
            _ => None,
        }
    }
}

/// Whether a word begins a wave.
fn is_wave(tok: Tok) -> bool {
    matches!(
        tok,
        Tok::Sine | Tok::Square | Tok::Triangle | Tok::Step | Tok::Through
    )
}
