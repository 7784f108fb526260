//! Byte offsets to lines and columns and back, as people and editors count.

use ::line_index::{LineCol, TextSize, WideEncoding, WideLineCol};

use crate::Span;

/// What a column counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Encoding {
    /// Bytes.
    Utf8,
    /// 16-bit units, as most editors count.
    Utf16,
    /// Characters.
    Utf32,
}

/// A line and a column, both from 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Position {
    /// From 0.
    pub line: u32,
    /// From 0, in units of an [`Encoding`].
    pub column: u32,
}

/// Where the lines of a text lie. Every question has an answer: what lies outside counts as the nearest place inside, and
/// no answer splits a character or a CRLF.
#[derive(Clone, Debug)]
pub struct LineIndex {
    lines: ::line_index::LineIndex,
    /// The offset of each `\r` before a `\n`.
    returns: Vec<u32>,
}

impl LineIndex {
    /// The index of this text.
    pub fn new(text: &str) -> LineIndex {
        // A text too large for offsets of 32 bits is refused by every reader.
        let text = if text.len() < u32::MAX as usize {
            text
        } else {
            ""
        };
        let returns = text
            .match_indices("\r\n")
            .map(|(at, _)| at as u32)
            .collect();
        LineIndex {
            lines: ::line_index::LineIndex::new(text),
            returns,
        }
    }

    /// How many lines there are: one more than line ends.
    pub fn line_count(&self) -> u32 {
        self.position(u32::MAX, Encoding::Utf8).line + 1
    }

    /// The text of a line without its end; beyond the last line, the empty span at the end of the text.
    pub fn line(&self, line: u32) -> Span {
        let Some(range) = self.lines.line(line) else {
            return Span::at(self.lines.len().into());
        };
        let (start, mut end) = (u32::from(range.start()), u32::from(range.end()));
        if self.lines.line(line + 1).is_some() && end > start {
            end -= 1;
        }
        Span {
            start,
            end: self.before_line_end(end).max(start),
        }
    }

    /// Line and column of an offset, in characters, both from 0.
    pub fn line_col(&self, offset: u32) -> (u32, u32) {
        let Position { line, column } = self.position(offset, Encoding::Utf32);
        (line, column)
    }

    /// Line and column of an offset, as an editor counts.
    pub fn position(&self, offset: u32, encoding: Encoding) -> Position {
        let offset = self.inside(offset);
        let found = self
            .lines
            .try_line_col(TextSize::from(offset))
            .unwrap_or(LineCol { line: 0, col: 0 });
        let column = match wide(encoding) {
            None => found.col,
            Some(wide) => self
                .lines
                .to_wide(wide, found)
                .map_or(found.col, |it| it.col),
        };
        Position {
            line: found.line,
            column,
        }
    }

    /// The offset of a line and column; a column beyond its line is the line's end.
    pub fn offset(&self, position: Position, encoding: Encoding) -> u32 {
        let line = self.line(position.line);
        if self.lines.line(position.line).is_none() {
            return line.start;
        }
        let column = match wide(encoding) {
            None => Some(position.column),
            Some(wide) => {
                let wanted = WideLineCol {
                    line: position.line,
                    col: position.column,
                };
                self.lines.to_utf8(wide, wanted).map(|it| it.col)
            }
        };
        let offset = column
            .and_then(|it| line.start.checked_add(it))
            .unwrap_or(line.end);
        self.inside(offset.min(line.end))
    }

    /// The nearest offset at or before this one that splits nothing.
    fn inside(&self, offset: u32) -> u32 {
        let offset = offset.min(self.lines.len().into());
        let whole = (0..4).filter_map(|back| offset.checked_sub(back));
        let is_boundary = |at: &u32| self.lines.try_line_col(TextSize::from(*at)).is_some();
        self.before_line_end(whole.into_iter().find(is_boundary).unwrap_or(0))
    }

    /// An offset between `\r` and `\n` moves before both.
    fn before_line_end(&self, offset: u32) -> u32 {
        match offset.checked_sub(1) {
            Some(before) if self.returns.binary_search(&before).is_ok() => before,
            _ => offset,
        }
    }
}

fn wide(encoding: Encoding) -> Option<WideEncoding> {
    match encoding {
        Encoding::Utf8 => None,
        Encoding::Utf16 => Some(WideEncoding::Utf16),
        Encoding::Utf32 => Some(WideEncoding::Utf32),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const ALL: [Encoding; 3] = [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32];

    #[test]
    fn columns_count_what_the_editor_counts() {
        let text = "aΩ𝛺b\r\nc";
        let index = LineIndex::new(text);
        let b = text.find('b').expect("it stands there") as u32;
        let columns = ALL.map(|it| index.position(b, it).column);
        assert_eq!(columns, [7, 4, 3]);
        assert_eq!(index.line_col(b + 3), (1, 0));
        assert_eq!(index.line_count(), 2);
        assert_eq!(index.line(0).of(text), "aΩ𝛺b");
        assert_eq!(index.line(1).of(text), "c");
        // Into the middle of a surrogate pair, behind the line, between CR and LF, behind the text.
        let offset = |line, column| index.offset(Position { line, column }, Encoding::Utf16);
        assert_eq!(offset(0, 3), 3);
        assert_eq!(offset(0, 99), b + 1);
        assert_eq!(
            index.position(b + 2, Encoding::Utf8),
            index.position(b + 1, Encoding::Utf8)
        );
        assert_eq!(offset(9, 0), text.len() as u32);
        assert_eq!(offset(0, u32::MAX), b + 1);
    }

    proptest! {
        #[test]
        fn offsets_survive_the_way_there_and_back(text in "[aΩ𝛺\r\n ]{0,40}", line in 0u32..9, column in 0u32..20) {
            let index = LineIndex::new(&text);
            for encoding in ALL {
                for (at, _) in text.char_indices() {
                    let splits = at > 0 && text.get(at - 1..at + 1) == Some("\r\n");
                    let back = index.offset(index.position(at as u32, encoding), encoding);
                    prop_assert_eq!(back, at as u32 - u32::from(splits));
                }
                let offset = index.offset(Position { line, column }, encoding) as usize;
                prop_assert!(text.is_char_boundary(offset));
                prop_assert!(offset == 0 || text.get(offset - 1..offset + 1) != Some("\r\n"));
            }
        }
    }
}
