//! Bytes here, lines and characters there: the only place where the two meet.

use ide::Lines;
use syntax::Span;
use tower_lsp::lsp_types::{Position, Range};

/// What a client counts as one character.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Encoding {
    /// Bytes.
    Utf8,
    /// The protocol's default.
    Utf16,
    /// Characters.
    Utf32,
}

impl Encoding {
    /// How far a character goes.
    pub(crate) fn width(self, character: char) -> u32 {
        match self {
            Encoding::Utf8 => character.len_utf8() as u32,
            Encoding::Utf16 => character.len_utf16() as u32,
            Encoding::Utf32 => 1,
        }
    }
}

/// One text with its lines, as the client counts them.
#[derive(Clone, Copy)]
pub(crate) struct Ruler<'t> {
    pub(crate) text: &'t str,
    pub(crate) lines: &'t Lines,
    pub(crate) encoding: Encoding,
}

impl Ruler<'_> {
    /// The byte at a position. Past a line's end it is the end of the line, past the last line the end of the text; inside
    /// a character it is the character's start.
    pub(crate) fn offset(&self, position: Position) -> u32 {
        let Some(line) = self.lines.content(position.line, self.text) else {
            return self.text.len() as u32;
        };
        let mut units = 0;
        for (at, character) in line.of(self.text).char_indices() {
            units += self.encoding.width(character);
            if units > position.character {
                return line.start + at as u32;
            }
        }
        line.end
    }

    /// The position of a byte; inside a character that of its start, inside a line's end that of the end's start.
    pub(crate) fn position(&self, offset: u32) -> Position {
        let line = self.lines.line_at(offset.min(self.text.len() as u32));
        let content = self.lines.content(line, self.text).unwrap_or_default();
        let words = content.of(self.text);
        let mut end = (offset.clamp(content.start, content.end) - content.start) as usize;
        while !words.is_char_boundary(end) {
            end -= 1;
        }
        let character = words
            .get(..end)
            .unwrap_or("")
            .chars()
            .map(|it| self.encoding.width(it))
            .sum();
        Position { line, character }
    }

    /// The bytes of a range; an empty span where it runs backwards.
    pub(crate) fn span(&self, range: Range) -> Span {
        let start = self.offset(range.start);
        Span {
            start,
            end: self.offset(range.end).max(start),
        }
    }

    /// The range of a span.
    pub(crate) fn range(&self, span: Span) -> Range {
        Range {
            start: self.position(span.start),
            end: self.position(span.end),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "aΩ𝄞b\r\nµ−\rz";

    fn ruler(lines: &Lines, encoding: Encoding) -> Ruler<'_> {
        Ruler {
            text: TEXT,
            lines,
            encoding,
        }
    }

    #[test]
    fn every_character_has_the_same_place_both_ways() {
        let lines = Lines::of(TEXT);
        for encoding in [Encoding::Utf8, Encoding::Utf16] {
            let ruler = ruler(&lines, encoding);
            for (at, character) in TEXT.char_indices().filter(|(_, it)| *it != '\n') {
                let position = ruler.position(at as u32);
                assert_eq!(
                    ruler.offset(position),
                    at as u32,
                    "{encoding:?} {character:?} {position:?}"
                );
            }
        }
    }

    #[test]
    fn columns_count_what_the_client_counts() {
        let lines = Lines::of(TEXT);
        let b = TEXT.find('b').unwrap() as u32;
        assert_eq!(
            ruler(&lines, Encoding::Utf8).position(b),
            Position::new(0, 7)
        );
        assert_eq!(
            ruler(&lines, Encoding::Utf16).position(b),
            Position::new(0, 4)
        );
        let minus = TEXT.find('−').unwrap() as u32;
        assert_eq!(
            ruler(&lines, Encoding::Utf8).position(minus),
            Position::new(1, 2)
        );
        assert_eq!(
            ruler(&lines, Encoding::Utf16).position(minus),
            Position::new(1, 1)
        );
    }

    #[test]
    fn positions_outside_the_text_are_drawn_in() {
        let lines = Lines::of(TEXT);
        let utf16 = ruler(&lines, Encoding::Utf16);
        let line_end = TEXT.find('\r').unwrap() as u32;
        for (position, offset) in [
            (Position::new(0, 99), line_end),
            (Position::new(9, 0), TEXT.len() as u32),
            (Position::new(2, 99), TEXT.len() as u32),
            // In the middle of the clef, which is two units wide.
            (Position::new(0, 3), 3),
            (Position::new(u32::MAX, u32::MAX), TEXT.len() as u32),
        ] {
            assert_eq!(utf16.offset(position), offset, "{position:?}");
        }
        assert_eq!(utf16.position(999), Position::new(2, 1));
        // Between CR and LF.
        assert_eq!(utf16.position(line_end + 1), Position::new(0, 5));
        assert_eq!(
            utf16
                .span(Range::new(Position::new(2, 0), Position::new(0, 0)))
                .range(),
            16..16
        );
    }
}
