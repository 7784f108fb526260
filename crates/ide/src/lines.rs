//! Where the lines of a text begin: LF, CRLF and a lone CR each end one, as in editors.

use syntax::Span;

/// The lines of one text.
#[derive(Debug)]
pub struct Lines {
    /// First byte of each line; there is at least one.
    starts: Vec<u32>,
    length: u32,
}

impl Lines {
    /// Reads them off a text.
    pub fn of(text: &str) -> Lines {
        let mut starts = vec![0];
        let bytes = text.as_bytes();
        for (at, byte) in bytes.iter().enumerate() {
            if *byte == b'\n' || (*byte == b'\r' && bytes.get(at + 1) != Some(&b'\n')) {
                starts.push(at as u32 + 1);
            }
        }
        Lines {
            starts,
            length: bytes.len() as u32,
        }
    }

    /// The line that holds this byte, from 0.
    pub fn line_at(&self, offset: u32) -> u32 {
        self.starts.partition_point(|start| *start <= offset) as u32 - 1
    }

    /// A line with its end; `None` past the last one.
    pub fn span(&self, line: u32) -> Option<Span> {
        let start = *self.starts.get(line as usize)?;
        let end = self
            .starts
            .get(line as usize + 1)
            .copied()
            .unwrap_or(self.length);
        Some(Span { start, end })
    }

    /// A line without its end; `None` past the last one.
    pub fn content(&self, line: u32, text: &str) -> Option<Span> {
        let span = self.span(line)?;
        let kept = span.of(text).trim_end_matches(['\r', '\n']).len() as u32;
        Some(Span {
            start: span.start,
            end: span.start + kept,
        })
    }

    /// How many lines there are: at least one.
    pub fn count(&self) -> u32 {
        self.starts.len() as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_line_end_ends_one_line() {
        let text = "a\nbc\r\n\rd";
        let lines = Lines::of(text);
        let contents: Vec<_> = (0..lines.count())
            .map(|it| lines.content(it, text).unwrap().of(text))
            .collect();
        assert_eq!(contents, ["a", "bc", "", "d"]);
        let at: Vec<_> = (0..=text.len() as u32)
            .map(|it| lines.line_at(it))
            .collect();
        assert_eq!(at, [0, 0, 1, 1, 1, 1, 2, 3, 3]);
        assert_eq!(lines.span(4), None);
    }
}
