//! Sources and supplies.

use super::{Line, insert, replace};
use crate::kind::Kind;
use crate::lexer::Tok;
use crate::{Dimension, Fault, FaultKind, Fix, Span, quantity};

impl Line<'_> {
    /// What is wrong with the head of a source, or left of its `=`.
    pub(super) fn source(&self) -> Option<Fault> {
        if !self.tok(1).is_some_and(Tok::is_name) {
            if self.tok(1) == Some(Tok::Equals) {
                return Some(self.equation_alone());
            }
            let fault = self.wanted(1, "a name", "source probe: in = 1.2 V");
            return Some(match (self.tok(1), self.tok(2)) {
                (Some(Tok::Colon), Some(node)) if node.is_name() => {
                    fault.fix(self.name_for(self.with_gap(1), self.word(2)))
                }
                _ => fault,
            });
        }
        let equals = |tok: &Tok| *tok == Tok::Equals;
        if self.tok(2).filter(equals).is_some()
            && !self.tokens[3..].iter().any(|(tok, _)| equals(tok))
        {
            let fault = self.wanted(1, "a name", "source probe: in = 1.2 V");
            return Some(fault.fix(self.name_for(Span::at(self.span(0).end), self.word(1))));
        }
        if self.tok(2) != Some(Tok::Colon) {
            return Some(self.missing_colon(2, "source probe: in = 1.2 V"));
        }
        match self.tokens.iter().position(|(tok, _)| *tok == Tok::Equals) {
            Some(equals) => {
                let fault = self
                    .left_side(equals)
                    .or_else(|| self.half_a_wave(equals + 1));
                fault.or_else(|| self.said_twice(equals))
            }
            None => {
                if self.tok(3) == Some(Tok::From) && self.tok(5) == Some(Tok::Into) {
                    return Some(self.wanted(3, "a current", "1 mA from ground into sum"));
                }
                let fault = self.without_equals().or_else(|| self.out_of_nowhere());
                let fault = fault.or_else(|| self.half_a_wave(3));
                fault.or_else(|| self.said_twice(2))
            }
        }
    }

    /// A source without a name gets its node's.
    fn name_for(&self, gap: Span, node: &str) -> Fix {
        let name = format!("{node}_source");
        Fix::likely(
            format!("call it `{name}`"),
            vec![replace(gap, format!(" {name}:"))],
        )
    }

    /// A colon is missing before this token.
    pub(super) fn missing_colon(&self, at: usize, example: &'static str) -> Fault {
        let fault = self.wanted(at, "`:`", example);
        match self.tok(at) {
            Some(tok) if tok.is_ref() || tok.is_quantity() => fault.fix(Fix::likely(
                "add the colon",
                vec![insert(self.span(at - 1).end, ":")],
            )),
            Some(Tok::Open | Tok::Call)
                if self.kind == Kind::Block
                    && self.tokens.last().is_some_and(|it| it.0 == Tok::Close) =>
            {
                let last = self.tokens.len() - 1;
                let edits = vec![
                    replace(self.with_gap(at), ": "),
                    replace(self.with_gap(last), ""),
                ];
                fault.fix(Fix::likely("write a colon for the brackets", edits))
            }
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
        if equals == 5 && is_node(3) && self.tok(4) == Some(Tok::Minus) {
            return Some(form(4));
        }
        if !difference && !single {
            return Some(self.other_left_side(form(3), equals));
        }
        let currents = self.tokens.iter().any(|(tok, _)| *tok == Tok::Into);
        if single && currents {
            let left = Span {
                start: self.span(3).start,
                end: self.span(5).start,
            };
            let title = format!("leave out `{} =`", self.word(3));
            return Some(form(3).fix(Fix::likely(title, vec![replace(left, "")])));
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
        let quantity =
            |at: usize| self.tokens.len() == at + 1 && self.tok(at).is_some_and(Tok::is_quantity);
        let negative = self.tok(7) == Some(Tok::Minus) && quantity(8);
        if is_ground(5) || !quantity(7) && !negative {
            return Some(fault);
        }
        let node = self.word(5);
        let (value, edit) = if negative {
            let gap = Span {
                start: self.span(7).start,
                end: self.span(8).start,
            };
            (self.word(8).to_string(), replace(gap, ""))
        } else {
            (
                format!("-{}", self.word(7)),
                insert(self.span(7).start, "-"),
            )
        };
        let title = format!("write `{node} = {value}`");
        Some(fault.fix(Fix::safe(title, vec![replace(left, node), edit])))
    }

    /// `1.2 V = in`, `V(in) = 1.2 V`
    fn other_left_side(&self, fault: Fault, equals: usize) -> Fault {
        let span = |from: usize, to: usize| self.span(from).to(self.span(to)).of(self.text);
        let sign = usize::from(self.tok(3) == Some(Tok::Minus));
        let quantity = self.tok(3 + sign).is_some_and(Tok::is_quantity) && equals == 4 + sign;
        // `1.2 V = a - b`
        let difference = self.tokens.len() == equals + 4
            && self.tok(equals + 2) == Some(Tok::Minus)
            && [1, 3]
                .iter()
                .all(|it| self.tok(equals + it).is_some_and(Tok::is_name));
        if quantity && difference {
            let text = format!("{} = {}", span(equals + 1, equals + 3), span(3, 3 + sign));
            let all = self.span(3).to(self.span(equals + 3));
            return fault.fix(Fix::safe(
                format!("write `{text}`"),
                vec![replace(all, text)],
            ));
        }
        if quantity
            && self.tokens.len() == equals + 2
            && self.tok(equals + 1).is_some_and(Tok::is_name)
        {
            let text = format!("{} = {}", self.word(equals + 1), span(3, 3 + sign));
            let all = self.span(3).to(self.span(equals + 1));
            return fault.fix(Fix::safe(
                format!("write `{text}`"),
                vec![replace(all, text)],
            ));
        }
        // `a -> b = 1.2 V`, `a, b = 1.2 V`
        let arrow = self.tok(4) == Some(Tok::Minus) && self.tok(5) == Some(Tok::Greater);
        let joint = matches!(
            self.tok(4),
            Some(Tok::Comma | Tok::And | Tok::To | Tok::Wire | Tok::Colon)
        );
        let second = equals - 1;
        let names = [3, second]
            .iter()
            .all(|at| self.tok(*at).is_some_and(Tok::is_name));
        if names && (arrow && equals == 7 || joint && equals == 6) {
            let (a, b) = (self.word(3), self.word(second));
            let last = self.tokens.len() - 1;
            let amperes = quantity::read(self.text, self.span(last))
                .is_ok_and(|it| it.dimension == Dimension::AMPERE);
            if amperes && last == equals + 1 {
                let text = format!("{} from {a} into {b}", self.word(last));
                let all = self.span(3).to(self.span(last));
                let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
                return fault.fix(fix);
            }
            let text = match b {
                "ground" => a.to_owned(),
                minus => format!("{a} - {minus}"),
            };
            let all = self.span(3).to(self.span(second));
            let fix = Fix::likely(format!("write `{text} = …`"), vec![replace(all, text)]);
            return fault.fix(fix);
        }
        let called =
            equals == 7 && self.tok(4) == Some(Tok::Call) && self.tok(6) == Some(Tok::Close);
        if called && matches!(self.word(3), "V" | "v" | "U" | "u" | "E") {
            let node = self.word(5);
            let all = self.span(3).to(self.span(6));
            return fault.fix(Fix::safe(
                format!("write `{node}`"),
                vec![replace(all, node)],
            ));
        }
        fault
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
            // `1.2 V`, of which nobody knows where
            [(value, _)] | [(Tok::Plus | Tok::Minus, _), (value, _)]
                if value.is_quantity() && self.is_volts(self.tokens.len() - 1) =>
            {
                let fault = Fault::new(
                    self.span(3).to(self.span(self.tokens.len() - 1)),
                    FaultKind::SourceForm,
                );
                return Some(match self.around.unfed() {
                    Some(node) => fault.fix(Fix::likely(
                        format!("write `{node} = …`"),
                        vec![insert(self.span(3).start, format!("{node} = "))],
                    )),
                    None => fault,
                });
            }
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
            // `in -> 1.2 V`
            [(a, _), (Tok::Minus | Tok::Equals, _), (Tok::Greater, _), ..] if a.is_name() => {
                let arrow = self.span(4).to(self.span(5));
                let (what, example) = ("`=`", "in = 1.2 V");
                let fault = Fault::new(arrow, FaultKind::Expected { what, example });
                return Some(fault.fix(Fix::safe("write `=`", vec![replace(arrow, "=")])));
            }
            // `1.2 V at in`
            [(value, _), (Tok::At | Tok::In | Tok::To, _), (node, _)]
                if value.is_quantity() && node.is_name() =>
            {
                let text = format!("{} = {}", self.word(5), self.word(3));
                let all = self.span(3).to(self.span(5));
                let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
                return Some(self.wanted(4, "`=`", "in = 1.2 V").fix(fix));
            }
            _ => false,
        };
        let end = Span::at(self.span(self.tokens.len()).end);
        unfinished.then(|| Fault::new(end, FaultKind::SourceForm).unfinished(true))
    }

    /// `1 V at 1 kHz`, `0 V to 1 V at 1 ms`, `step from 0 V …`, `sine(1 V, 1 kHz)`
    fn half_a_wave(&self, at: usize) -> Option<Fault> {
        let quantity = |at: usize| self.tok(at).is_some_and(Tok::is_quantity);
        let (what, example) = ("a wave", "sine 1 V at 1 kHz");
        let wave = self.tok(at).is_some_and(is_wave);
        if wave && self.tok(at + 1) == Some(Tok::From) && quantity(at + 2) {
            let fix = Fix::likely("leave out `from`", vec![replace(self.with_gap(at + 1), "")]);
            return Some(
                self.wanted(at + 1, "a value", "step 0 V to 1 V at 1 ms")
                    .fix(fix),
            );
        }
        let called = wave
            && matches!(self.tok(at + 1), Some(Tok::Open | Tok::Call))
            && quantity(at + 2)
            && self.tok(at + 3) == Some(Tok::Comma)
            && quantity(at + 4)
            && self.tok(at + 5) == Some(Tok::Close);
        if called {
            let text = format!(
                "{} {} at {}",
                self.word(at),
                self.word(at + 2),
                self.word(at + 4)
            );
            let all = self.span(at).to(self.span(at + 5));
            let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
            return Some(self.wanted(at + 1, "a value", example).fix(fix));
        }
        if let Some(fault) = self.steady_part(at) {
            return Some(fault);
        }
        if !quantity(at) {
            return None;
        }
        let word = match (self.tok(at + 1)?, self.tok(at + 3)) {
            (Tok::At, _) if quantity(at + 2) => "sine",
            (Tok::To, Some(Tok::At)) if quantity(at + 2) && quantity(at + 4) => "step",
            _ => return None,
        };
        let fix = Fix::likely(
            format!("write `{word}` before it"),
            vec![insert(self.span(at).start, format!("{word} "))],
        );
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `3 V + sine 1 V at 1 kHz`
    fn steady_part(&self, at: usize) -> Option<Fault> {
        let sign = usize::from(self.tok(at) == Some(Tok::Minus));
        let (value, plus) = (at + sign, at + sign + 1);
        let wave = self.tok(plus + 1).is_some_and(is_wave);
        let offset = self.tokens.iter().any(|(tok, _)| *tok == Tok::Offset);
        if !self.tok(value)?.is_quantity() || self.tok(plus)? != Tok::Plus || !wave || offset {
            return None;
        }
        let steady = self.span(at).to(self.span(value));
        let gap = Span {
            start: steady.start,
            end: self.span(plus + 1).start,
        };
        let text = format!("offset {}", steady.of(self.text));
        let end = self.span(self.tokens.len()).end;
        let edits = vec![replace(gap, ""), insert(end, format!(" {text}"))];
        let fault = self.wanted(at, "a wave", "sine 1 V at 1 kHz offset 3 V");
        Some(fault.fix(Fix::likely(
            format!("write `{text}` behind the wave"),
            edits,
        )))
    }

    fn is_volts(&self, at: usize) -> bool {
        quantity::read(self.text, self.span(at)).is_ok_and(|it| it.dimension == Dimension::VOLT)
    }

    /// `1 mA into a`: out of ground, most often.
    fn out_of_nowhere(&self) -> Option<Fault> {
        let at = self.tokens.iter().position(|(tok, _)| *tok == Tok::Into)?;
        let from = self.tokens[3..].iter().any(|(tok, _)| *tok == Tok::From);
        // `1 mA into b from a`
        if from && self.tok(at + 2) == Some(Tok::From) && self.tokens.len() == at + 4 {
            let text = format!("from {} into {}", self.word(at + 3), self.word(at + 1));
            let all = self.span(at).to(self.span(at + 3));
            let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
            return Some(self.wanted(at, "`from`", "from ground into sum").fix(fix));
        }
        if from || at < 4 || !self.tok(at - 1)?.is_quantity() {
            return None;
        }
        let insert = insert(self.span(at).start, "from ground ");
        let (what, example) = ("`from`", "from ground into sum");
        let fix = Fix::likely("put `from ground` before it", vec![insert]);
        Some(self.wanted(at, what, example).fix(fix))
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
        // `+/-9 V`, `+-9 V`
        let slash = usize::from(self.tok(first + 1) == Some(Tok::Slash));
        let value = first + 2 + slash;
        if let (Some(Tok::Plus), Some(Tok::Minus)) = (self.tok(first), self.tok(value - 1))
            && self.tok(value).is_some_and(Tok::is_quantity)
        {
            let signs = self.span(first).to(self.span(value - 1));
            let size = self.word(value);
            let text = format!("+{size} and -{size}");
            let all = signs.to(self.span(value));
            let (what, example) = ("a rail", "+9 V and -9 V");
            let fault = Fault::new(signs, FaultKind::Expected { what, example });
            return Some(fault.fix(Fix::safe(
                format!("write `{text}`"),
                vec![replace(all, text)],
            )));
        }
        // `supply at +9 V and -9 V`
        let begins = |at: usize| {
            let sign = usize::from(matches!(self.tok(at), Some(Tok::Plus | Tok::Minus)));
            self.tok(at + sign).is_some_and(Tok::is_quantity)
        };
        let small = matches!(
            self.word(first),
            "at" | "of" | "is" | "from" | "with" | "by" | "to" | "rails"
        );
        if small && begins(first + 1) {
            let title = format!("leave out `{}`", self.word(first));
            let fix = Fix::likely(title, vec![replace(self.with_gap(first), "")]);
            return Some(self.wanted(first, "a rail", "+9 V and -9 V").fix(fix));
        }
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
            Tok::Slash if begins_a_rail(second + 1) => {
                Some(self.wanted(second, "`and`", example).fix(Fix::safe(
                    "write `and`",
                    vec![replace(self.span(second), "and")],
                )))
            }
            tok if tok.is_name() && tok != Tok::And && begins_a_rail(second + 1) => {
                // A statement of its own goes on with a name or a colon.
                let alone = second + 2 == end
                    || self
                        .tok(second + 1)
                        .is_some_and(|it| matches!(it, Tok::Plus | Tok::Minus));
                alone.then(|| {
                    let edit = vec![replace(self.span(second), "and")];
                    self.wanted(second, "`and`", example)
                        .fix(Fix::likely("write `and`", edit))
                })
            }
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
