//! A text in tokens and statements, before any of it is read: for whoever measures or tests that step alone.

use std::ops::Range;

use crate::Span;
use crate::lexer::{Lexed, lex};

/// A text cut into tokens and statements.
pub struct Cuts(Lexed);

impl Cuts {
    /// Cuts a text.
    pub fn of(text: &str) -> Cuts {
        Cuts(lex(text))
    }

    /// Every token but line ends and comments, in the order of the text; a number and its unit are one.
    pub fn tokens(&self) -> impl ExactSizeIterator<Item = Span> {
        self.0.tokens.iter().map(|(_, span)| *span)
    }

    /// The tokens of each statement, by their indices, and the `##` lines above it.
    pub fn statements(&self) -> impl ExactSizeIterator<Item = (Range<usize>, Option<Span>)> {
        let cuts = self.0.cuts.iter();
        cuts.map(|cut| (cut.first..cut.end, cut.description))
    }

    /// Comments that describe nothing, in the order of the text.
    pub fn comments(&self) -> &[Span] {
        &self.0.comments
    }
}
