//! Paths: what stands between the dashes.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{Fault, FaultKind, Fix};

/// The tokens between two pairs of dashes.
struct Station {
    first: usize,
    end: usize,
}

impl Station {
    fn is_node(&self) -> bool {
        self.end == self.first + 1
    }
}

impl Line<'_> {
    /// What is wrong with a line of nodes, elements and dashes.
    pub(super) fn path(&self) -> Option<Fault> {
        if let Some(fault) = self.dashes_in_brackets() {
            return Some(fault);
        }
        let stations = self.stations();
        let last = stations.len() - 1;
        for (index, station) in stations.iter().enumerate() {
            if station.first == station.end {
                return Some(self.nothing_between(station, index == 0, index == last));
            }
            if let Some(fault) = self.station(station) {
                return Some(fault);
            }
            if index == 0 && !station.is_node() {
                let fix = Fix::likely(
                    format!("write `node -- {}`", self.word(0)),
                    vec![insert(self.span(0).start, "node -- ")],
                );
                return Some(Fault::new(self.span(0), FaultKind::PathEnds).fix(fix));
            }
        }
        for pair in stations.windows(2) {
            let [left, right] = pair else { continue };
            if left.is_node() && right.is_node() {
                let right_is_last = right.end == self.tokens.len();
                let left_is_first = left.first == 0;
                let left_it_is =
                    !left_is_first && self.names_an_element(left) && !self.names_an_element(right);
                let lacking = if left_it_is { left } else { right };
                return Some(self.element_value(lacking, right_is_last && !left_it_is));
            }
        }
        let ends_with_an_element = stations.last().is_some_and(|it| !it.is_node());
        ends_with_an_element
            .then(|| Fault::new(self.span(self.tokens.len()), FaultKind::PathEnds).unfinished(true))
    }

    fn stations(&self) -> Vec<Station> {
        let mut stations = Vec::new();
        let mut first = 0;
        for (index, (tok, _)) in self.tokens.iter().enumerate() {
            if *tok == Tok::Wire {
                stations.push(Station { first, end: index });
                first = index + 1;
            }
        }
        stations.push(Station {
            first,
            end: self.tokens.len(),
        });
        stations
    }

    /// `R3 (2 * R1 -- sum`
    fn dashes_in_brackets(&self) -> Option<Fault> {
        let depths = self.depths();
        let at = self
            .tokens
            .iter()
            .zip(&depths)
            .position(|((tok, _), depth)| *tok == Tok::Wire && *depth > 0)?;
        let fault = Fault::new(self.span(at), FaultKind::WireInEquation);
        let closes_later = self.tokens[at..].iter().any(|(tok, _)| *tok == Tok::Close);
        let open = self.tokens[..at]
            .iter()
            .rposition(|(tok, _)| matches!(tok, Tok::Open | Tok::Call))?;
        if closes_later || depths[at] > 1 || open + 1 == at {
            return Some(fault);
        }
        let inner = self.span(open).to(self.span(at - 1));
        let title = format!("write `{}) --`", inner.of(self.text));
        Some(fault.fix(Fix::safe(title, vec![insert(inner.end, ")")])))
    }

    fn nothing_between(&self, station: &Station, first: bool, last: bool) -> Fault {
        match (first, last) {
            (true, _) => Fault::new(self.span(0), FaultKind::PathEnds),
            (_, true) => {
                Fault::new(self.span(station.first - 1), FaultKind::PathEnds).unfinished(true)
            }
            _ => self.wanted(station.first, "a node or an element", "R1 10k"),
        }
    }

    /// What is wrong between two pairs of dashes.
    fn station(&self, station: &Station) -> Option<Fault> {
        let &Station { first, end } = station;
        if !self.tok(first)?.is_ref() {
            return Some(self.wanted(first, "a name", "R1 10k"));
        }
        let mut at = first + 1;
        if at == end {
            return None;
        }
        match self.tok(at)? {
            tok if tok.is_quantity() => at += 1,
            Tok::Open | Tok::Call => {
                at = self.behind_the_bracket(at, end);
                let unclosed = at == end && self.tok(end - 1) != Some(Tok::Close);
                if unclosed {
                    return Some(self.wanted(end, "`)`", "(2 * R1)"));
                }
            }
            Tok::Minus if self.tok(at + 1).is_some_and(Tok::is_ref) => {
                return Some(self.single_dash(at));
            }
            Tok::Minus | Tok::Plus if self.tok(at + 1).is_some_and(Tok::is_quantity) => {
                return Some(self.wanted(at, "a value without a sign", "10k"));
            }
            Tok::Equals | Tok::Colon => {
                let fault = self.wanted(at, "a value", "10k");
                let gap = crate::Span {
                    start: self.span(at - 1).end,
                    end: self.span(at).end,
                };
                return Some(fault.fix(Fix::likely(
                    format!("leave out `{}`", self.word(at)),
                    vec![replace(gap, "")],
                )));
            }
            tok if tok.is_ref() => {
                let fault = self.wanted(at, "a value", "10k");
                let alone = at + 1 == end;
                return Some(if alone {
                    fault.fix(self.in_brackets(at, at))
                } else {
                    fault
                });
            }
            _ => return Some(self.wanted(at, "a value", "10k")),
        }
        while at < end {
            match self.tok(at)? {
                tok if tok.is_quantity() && self.tok(at - 1) != Some(Tok::Whole) => at += 1,
                tok if tok.is_quantity()
                    && self.word(at).ends_with(|it: char| !it.is_ascii_digit()) =>
                {
                    at += 1
                }
                Tok::Minus if self.tok(at + 1).is_some_and(Tok::is_ref) => {
                    return Some(self.single_dash(at));
                }
                Tok::Star | Tok::Slash | Tok::Caret | Tok::Plus | Tok::Minus => {
                    return Some(
                        self.wanted(at, "brackets around the value", "(2 * R1)")
                            .fix(self.in_brackets(first + 1, end - 1)),
                    );
                }
                tok => {
                    let dashes = || {
                        let fault = self.wanted(at, "`--`", "R1 10k -- out");
                        let fix =
                            Fix::likely("join with `--`", vec![insert(self.span(at).start, "-- ")]);
                        if tok.is_ref() { fault.fix(fix) } else { fault }
                    };
                    return Some(self.behind_a_number(at).unwrap_or_else(dashes));
                }
            }
        }
        None
    }

    /// The token behind the bracket that opens at `open`, or `end` where none closes it.
    fn behind_the_bracket(&self, open: usize, end: usize) -> usize {
        let mut depth = 0usize;
        for index in open..end {
            match self.tokens[index].0 {
                Tok::Open | Tok::Call => depth += 1,
                Tok::Close => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return index + 1;
            }
        }
        end
    }

    /// `in - R1 10k - out`
    pub(super) fn single_dash(&self, at: usize) -> Fault {
        let depths = self.depths();
        let joins = |index: &usize| {
            self.tok(*index) == Some(Tok::Minus)
                && depths[*index] == 0
                && self.tok(index + 1).is_some_and(Tok::is_ref)
        };
        let edits = (0..self.tokens.len())
            .filter(joins)
            .map(|index| replace(self.span(index), "--"))
            .collect();
        Fault::new(self.span(at), FaultKind::SingleDash).fix(Fix::safe("join with `--`", edits))
    }

    fn element_value(&self, station: &Station, unfinished: bool) -> Fault {
        let (span, name) = (self.span(station.first), self.word(station.first));
        let value = match name.chars().next() {
            Some('C') => "100 nF",
            Some('L') => "10 mH",
            _ => "10k",
        };
        let fix = Fix::likely(
            format!("write `{name} {value}`"),
            vec![insert(span.end, format!(" {value}"))],
        );
        Fault::new(span, FaultKind::ElementValue)
            .unfinished(unfinished)
            .fix(fix)
    }

    /// Whether a name without a value is more likely an element's than a node's.
    fn names_an_element(&self, station: &Station) -> bool {
        self.word(station.first).starts_with(['R', 'C', 'L'])
    }
}
