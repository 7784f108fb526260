//! The statement that is being written, as far as the caret.

use syntax::{Span, TokenClass};

use crate::View;

/// What stands before the caret.
pub(crate) struct Line<'v> {
    /// The statement's tokens before the word at the caret.
    pub(crate) before: Vec<Token<'v>>,
    /// The word at the caret, up to its end; empty where none stands there. Of `F1.mid` the part behind the point.
    pub(crate) word: Span,
    /// `F1` of `F1.mid`.
    pub(crate) within: Option<&'v str>,
    /// The caret stands in a text; what stands in it so far.
    pub(crate) in_text: Option<Span>,
    pub(crate) caret: u32,
}

/// A token before the caret.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Token<'v> {
    pub(crate) text: &'v str,
    pub(crate) kind: Tok,
    pub(crate) span: Span,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Tok {
    Name,
    Number,
    Text,
    Sign,
}

impl<'v> Line<'v> {
    /// The line at the caret; `None` in a comment.
    pub(crate) fn at(view: &'v View, caret: u32) -> Option<Line<'v>> {
        let (text, lines) = (view.text(), view.lines());
        let tokens = view.tokens();
        let seen = tokens.partition_point(|it| it.span.start < caret);
        let touched = tokens[..seen].last().filter(|it| caret <= it.span.end);
        let class = touched.map(|it| it.class);
        if matches!(class, Some(TokenClass::Comment | TokenClass::Description)) {
            return None;
        }
        let mut line = Line {
            before: Vec::new(),
            word: Span::at(caret),
            within: None,
            in_text: None,
            caret,
        };
        let mut first = seen;
        // A line that begins with one of these goes on from the line above.
        let mut number = lines.line_at(caret);
        loop {
            let start = lines.span(number)?.start;
            let own = tokens[..first].partition_point(|it| it.span.start < start);
            let begins = tokens[own..seen]
                .iter()
                .find(|it| !matches!(it.class, TokenClass::Comment | TokenClass::Description));
            let goes_on = begins.is_none_or(|it| {
                let words = it.span.of(text);
                words.starts_with([',', '"']) || matches!(words, "--" | "−−" | "-−" | "−-")
            });
            first = own;
            // An empty line is one of its own, unless a line below it goes on.
            if !goes_on || number == 0 || (begins.is_none() && number == lines.line_at(caret)) {
                break;
            }
            number -= 1;
        }
        for it in &tokens[first..seen] {
            let kind = match it.class {
                TokenClass::Word | TokenClass::Name | TokenClass::Function => Tok::Name,
                TokenClass::Number => Tok::Number,
                TokenClass::Text => Tok::Text,
                TokenClass::Sign => Tok::Sign,
                TokenClass::Comment | TokenClass::Description => continue,
                TokenClass::Error if it.span.of(text).starts_with('"') => Tok::Text,
                TokenClass::Error if it.span.of(text).starts_with(char::is_alphabetic) => Tok::Name,
                TokenClass::Error => Tok::Sign,
            };
            let words = it.span.of(text);
            line.before.push(Token {
                text: words,
                kind,
                span: it.span,
            });
        }
        line.take_word(text);
        Some(line)
    }

    /// The token at the caret is the word that is being written, if it is one.
    fn take_word(&mut self, text: &'v str) {
        let Some(last) = self
            .before
            .last()
            .copied()
            .filter(|it| self.caret <= it.span.end)
        else {
            return;
        };
        match last.kind {
            Tok::Name => {
                self.before.pop();
                let typed = Span {
                    start: last.span.start,
                    end: self.caret,
                };
                let cut = typed.of(text).rfind('.').map_or(0, |it| it as u32 + 1);
                if cut > 0 {
                    self.within = Some(&last.text[..cut as usize - 1]);
                }
                self.word = Span {
                    start: last.span.start + cut,
                    end: last.span.end,
                };
            }
            Tok::Text if self.caret > last.span.start => {
                let closed = last.text.len() > 1 && last.text.ends_with('"');
                if !closed || self.caret < last.span.end {
                    let end = if closed {
                        last.span.end - 1
                    } else {
                        last.span.end
                    };
                    self.in_text = Some(Span {
                        start: last.span.start + 1,
                        end,
                    });
                    self.before.pop();
                }
            }
            // `F1.` is not finished.
            Tok::Sign if last.text == "." => {
                self.before.pop();
                let name = self
                    .before
                    .last()
                    .filter(|it| it.kind == Tok::Name && it.span.end == last.span.start);
                self.within = name.map(|it| it.text);
                if self.within.is_some() {
                    self.before.pop();
                }
            }
            _ => {}
        }
    }

    /// Where its statement begins.
    pub(crate) fn start(&self) -> u32 {
        self.before
            .first()
            .map_or(self.word.start, |it| it.span.start)
    }

    /// The innermost bracket that is still open, by its index.
    pub(crate) fn open_bracket(&self) -> Option<usize> {
        let mut open = Vec::new();
        for (index, it) in self.before.iter().enumerate() {
            match it.text {
                "(" => open.push(index),
                ")" => _ = open.pop(),
                _ => {}
            }
        }
        open.pop()
    }
}
