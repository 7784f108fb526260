//! Places in a text: byte spans, files, edits.

use std::ops::Range;

/// A stretch of one text: byte offsets, end exclusive. Eight bytes; lines and columns exist only where people read them.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Default)]
pub struct Span {
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// The span of these byte offsets.
    pub fn new(start: usize, end: usize) -> Span {
        Span {
            start: start as u32,
            end: end as u32,
        }
    }

    /// The empty span at one offset.
    pub fn at(offset: u32) -> Span {
        Span {
            start: offset,
            end: offset,
        }
    }

    /// The smallest span that covers both.
    pub fn to(self, other: Span) -> Span {
        Span {
            start: self.start.min(other.start),
            end: self.end.max(other.end),
        }
    }

    /// Whether the caret at `offset` touches this span (both ends count, as in an editor).
    pub fn touches(self, offset: u32) -> bool {
        self.start <= offset && offset <= self.end
    }

    /// Bytes as a range, for slicing.
    pub fn range(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }

    /// The text that this span covers; empty where the span does not fit the text.
    pub fn of(self, text: &str) -> &str {
        text.get(self.range()).unwrap_or("")
    }
}

/// A file among those that one reading brought together; `FileId(0)` is the file that was asked for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Default)]
pub struct FileId(pub u32);

/// A span in one of several files: the origin of everything in a circuit.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Default)]
pub struct Place {
    /// The file.
    pub file: FileId,
    /// Where in it.
    pub span: Span,
}

/// One replacement in a text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TextEdit {
    /// What is replaced (empty: an insertion).
    pub span: Span,
    /// By what.
    pub text: String,
}
