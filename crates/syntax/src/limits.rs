//! The limits of the language on one statement, checked before anything recurses.

use crate::lexer::{Tok, Token};
use crate::{FaultKind, Limit, Span, quantity};

/// The most bytes of a file: 16 MiB.
pub const LARGEST_FILE: usize = 16 << 20;
/// The most statements that cannot be read before the rest is left out.
pub(crate) const FAULTS: usize = 5_000;
/// The most signs of arithmetic in a file before the rest is left out: each is a node of the tree.
pub(crate) const ALL_SIGNS: usize = 500_000;
const LINE: usize = 10_000;
const NAME: usize = 64;
const BRACKETS: usize = 64;
const POWER: u32 = 32;
const SIGNS: u32 = 1_000;

/// The first limit that a statement exceeds, and where.
pub(crate) fn exceeded(text: &str, tokens: &[Token]) -> Option<(Span, Limit)> {
    too_long_a_line(text, tokens).or_else(|| {
        let mut depth = Depth::default();
        tokens.iter().enumerate().find_map(|(at, (tok, span))| {
            let before = &tokens[..at];
            let limit = depth
                .step(*tok)
                .or_else(|| too_big(text, *tok, *span, before))?;
            Some((*span, limit))
        })
    })
}

/// How many signs of arithmetic, brackets and calls stand in a statement.
pub(crate) fn signs(tokens: &[Token]) -> usize {
    let counts = |it: &&Token| is_sign(it.0) || matches!(it.0, Tok::Open | Tok::Call);
    tokens.iter().filter(counts).count()
}

fn is_sign(tok: Tok) -> bool {
    use Tok::{Caret, Minus, Plus, Slash, Star};
    matches!(tok, Plus | Minus | Star | Slash | Caret)
}

/// The first token that ends beyond the longest line.
fn too_long_a_line(text: &str, tokens: &[Token]) -> Option<(Span, Limit)> {
    let (first, last) = (tokens.first()?.1, tokens.last()?.1);
    if (last.end - first.start) as usize + indent(text, first) <= LINE {
        return None;
    }
    let mut line_start = first.start as usize - indent(text, first);
    let mut line_end = line_start;
    // Characters of the line up to its last token.
    let mut counted = 0;
    for (_, span) in tokens {
        let (start, end) = (span.start as usize, span.end as usize);
        let mut from = line_end;
        if let Some(feed) = text[line_end..start].rfind('\n') {
            line_start = line_end + feed + 1;
            (from, counted) = (line_start, 0);
        }
        counted += text[from..end].chars().count();
        line_end = end;
        if counted > LINE {
            return Some((*span, Limit::Line));
        }
    }
    None
}

/// Bytes between the start of the line and this token.
fn indent(text: &str, token: Span) -> usize {
    let before = &text[..token.start as usize];
    before.len() - before.rfind('\n').map_or(0, |at| at + 1)
}

fn too_big(text: &str, tok: Tok, span: Span, before: &[Token]) -> Option<Limit> {
    let length = (span.end - span.start) as usize;
    match tok {
        Tok::Whole if matches!(before.last(), Some((Tok::Caret, _))) => exponent(text, span),
        Tok::Whole
            if matches!(before.last(), Some((Tok::Minus, _)))
                && matches!(before.iter().rev().nth(1), Some((Tok::Caret, _))) =>
        {
            exponent(text, span)
        }
        _ if tok == Tok::Decibel
            || tok.is_quantity() && (length > 30 || span.of(text).contains('e')) =>
        {
            match quantity::read(text, span) {
                Err(FaultKind::TooBig(limit)) => Some(limit),
                _ => None,
            }
        }
        _ if tok.is_ref() && length > NAME => span
            .of(text)
            .split('.')
            .any(|name| name.chars().count() > NAME)
            .then_some(Limit::Name),
        _ => None,
    }
}

fn exponent(text: &str, span: Span) -> Option<Limit> {
    match span.of(text).parse::<u32>() {
        Ok(power) if power <= POWER => None,
        _ => Some(Limit::Power),
    }
}

/// How deep the expression at hand nests: brackets, and how many signs stand around one operand at most.
#[derive(Default)]
struct Depth {
    /// Signs on each open level but the innermost.
    outer: Vec<u32>,
    /// Their sum.
    total: u32,
    /// Signs on the innermost level since its last comma.
    here: u32,
}

impl Depth {
    fn step(&mut self, tok: Tok) -> Option<Limit> {
        match tok {
            Tok::Open | Tok::Call => {
                self.outer.push(self.here);
                self.total += std::mem::take(&mut self.here);
                if self.outer.len() > BRACKETS {
                    return Some(Limit::Brackets);
                }
            }
            Tok::Close => {
                if let Some(outer) = self.outer.pop() {
                    self.here = outer;
                    self.total -= outer;
                }
            }
            Tok::Comma => self.here = 0,
            sign if is_sign(sign) => {
                self.here += 1;
                if self.total + self.here > SIGNS {
                    return Some(Limit::Signs);
                }
            }
            _ => {}
        }
        None
    }
}
