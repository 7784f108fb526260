//! Signs that are drawn where two dashes stand, and signs for the equals sign.

use super::{Line, insert, replace};
use crate::kind::Kind;
use crate::lexer::Tok;
use crate::{Fault, FaultKind, Fix, Span};

impl Line<'_> {
    /// `---`, `->`, `- -` between stations of a path.
    pub(super) fn odd_dashes(&self) -> Option<Fault> {
        if self.tokens.iter().any(|(tok, _)| *tok == Tok::Equals) {
            return None;
        }
        let runs = self.runs();
        let (first, last) = runs.iter().copied().find(|(first, last)| first < last)?;
        let span = self.span(first).to(self.span(last));
        let edits = runs
            .iter()
            .filter(|(first, last)| first < last || self.tok(*first) == Some(Tok::Minus))
            .map(|(first, last)| {
                let run = self.span(*first).to(self.span(*last));
                replace(run, self.spaced(run, "--"))
            });
        let fix = Fix::safe("join with `--`", edits.collect());
        Some(Fault::new(span, FaultKind::SingleDash).fix(fix))
    }

    /// Signs that touch each other and are made of dashes and arrow heads, by their first and last token.
    fn runs(&self) -> Vec<(usize, usize)> {
        let dash = |at: usize| matches!(self.tok(at), Some(Tok::Wire | Tok::Minus));
        let head = |at: usize| matches!(self.tok(at), Some(Tok::Greater | Tok::Less));
        let depths = self.depths();
        let mut runs = Vec::new();
        let mut at = 0;
        while at < self.tokens.len() {
            let first = at;
            at += 1;
            if depths[first] > 0 || !(dash(first) || head(first) && dash(at)) {
                continue;
            }
            while at < self.tokens.len() && (dash(at) || head(at)) {
                let touches = self.span(at - 1).end == self.span(at).start;
                let apart =
                    self.tok(at - 1) == Some(Tok::Minus) && self.tok(at) == Some(Tok::Minus);
                if !touches && !apart {
                    break;
                }
                at += 1;
            }
            runs.push((first, at - 1));
        }
        runs
    }

    /// `==`, `:=`, `=<`: two signs for one.
    pub(super) fn odd_equals(&self) -> Option<Fault> {
        let touches = |at: &usize| {
            let next = self.tokens.get(at + 1);
            next.is_some_and(|next| next.1.start == self.span(*at).end)
        };
        let of = |at: usize| Some((self.tok(at)?, self.tok(at + 1)?));
        let is_odd = |pair: (Tok, Tok)| {
            let equals = |tok: Tok| matches!(tok, Tok::Equals | Tok::Colon);
            equals(pair.0) && equals(pair.1) && pair != (Tok::Colon, Tok::Colon)
                || matches!(pair, (Tok::Equals, Tok::Less | Tok::Greater))
        };
        let at = (0..self.tokens.len()).find(|at| of(*at).is_some_and(is_odd) && touches(at))?;
        if at == 0 {
            return None;
        }
        let span = self.span(at).to(self.span(at + 1));
        let (what, example) = self.in_words(if self.kind == Kind::Require {
            Tok::Less
        } else {
            Tok::Equals
        });
        // `in == R1 10k == out`
        let element = self.tok(at + 2).is_some_and(Tok::is_ref)
            && self.tok(at + 3).is_some_and(Tok::is_quantity);
        let path = self.tokens.iter().any(|(tok, _)| *tok == Tok::Wire) || element;
        if path && matches!(self.kind, Kind::Path | Kind::Unknown) {
            let (what, example) = self.in_words(Tok::Wire);
            let fault = Fault::new(span, FaultKind::Expected { what, example });
            return Some(fault.fix(Fix::safe("write `--`", vec![replace(span, "--")])));
        }
        let sign = match (self.kind, self.tok(at + 1)) {
            (Kind::Require, Some(Tok::Less)) => "<=",
            (Kind::Require, Some(Tok::Greater)) => ">=",
            _ => "=",
        };
        let example = match self.kind {
            Kind::HeldSource => "in = 1.2 V",
            _ => example,
        };
        let fault = Fault::new(span, FaultKind::Expected { what, example });
        Some(fault.fix(Fix::safe(
            format!("write `{sign}`"),
            vec![replace(span, sign)],
        )))
    }

    /// `// a remark`
    pub(super) fn strokes(&self) -> Option<Fault> {
        let at = (0..self.tokens.len()).find(|at| {
            self.tok(*at) == Some(Tok::Slash)
                && self.tok(at + 1) == Some(Tok::Slash)
                && self.span(*at).end == self.span(at + 1).start
        })?;
        let span = self.span(at).to(self.span(at + 1));
        let kind = match at {
            0 => FaultKind::NotAStatement(None),
            _ => FaultKind::ExtraWords,
        };
        let fix = Fix::likely("write `#`", vec![replace(span, "#")]);
        Some(Fault::new(span, kind).fix(fix))
    }

    /// A line of signs alone.
    pub(super) fn underline(&self) -> Option<Fault> {
        let sign = |tok: Tok| !tok.is_ref() && !tok.is_quantity() && tok != Tok::Text;
        if self.tokens.len() < 2 || !self.tokens.iter().all(|(tok, _)| sign(*tok)) {
            return None;
        }
        let all = self.span(0).to(self.span(self.tokens.len() - 1));
        let fix = Fix::likely("make it a remark", vec![insert(all.start, "# ")]);
        Some(Fault::new(all, FaultKind::NotAStatement(None)).fix(fix))
    }

    /// The gap before this token and the token itself.
    pub(super) fn with_gap(&self, at: usize) -> Span {
        let start = at
            .checked_sub(1)
            .map_or(self.span(at).start, |before| self.span(before).end);
        Span {
            start,
            end: self.span(at).end,
        }
    }
}
