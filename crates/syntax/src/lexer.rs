//! Tokens, and where statements are cut.
//!
//! Words of the language are tokens of their own, but any of them may serve as a name: what a word is depends on its
//! place, which is the grammar's matter. A number and its unit are joined here, since a unit is one by its place alone.

use logos::Logos;

use crate::{Span, units};

/// Declares [`Tok`] with the words of the language, each written once.
macro_rules! tokens {
    ($($name:ident $text:tt)*) => {
        /// The kind of a token; its text is found by its span.
        #[derive(Logos, Clone, Copy, PartialEq, Eq, Hash, Debug)]
        #[logos(skip r"[ \t\u{A0}\u{202F}]+")]
        #[repr(u8)]
        pub(crate) enum Tok {
            #[regex(r"\r?\n")]
            Newline,
            #[regex(r"#[^\n]*", allow_greedy = true)]
            Comment,
            /// `##…`
            #[regex(r"##[^\n]*", priority = 20, allow_greedy = true)]
            Description,
            /// Digits alone.
            #[regex(r"[0-9]+", priority = 20)]
            Whole,
            /// Any other number.
            #[regex(r"[0-9]+(\.[0-9]+)?(e[+\-−]?[0-9]+)?")]
            Decimal,
            /// A number with its unit.
            Quantity,
            /// A number of decibels: a minus sign before it belongs to it.
            Decibel,
            /// A word that is none of the language.
            #[regex(r"[\p{XID_Start}_]\p{XID_Continue}*")]
            Name,
            /// `F1.mid`
            #[regex(r"[\p{XID_Start}_]\p{XID_Continue}*(\.[\p{XID_Start}_]\p{XID_Continue}*)+")]
            Dotted,
            #[regex(r#""[^"\n]*""#)]
            Text,
            #[regex("[-−][-−]")]
            Wire,
            #[regex("[-−]")]
            Minus,
            #[token("+")]
            Plus,
            #[token("*")]
            Star,
            #[token("/")]
            Slash,
            #[token("^")]
            Caret,
            #[token("(")]
            Open,
            /// A bracket that touches the name before it.
            Call,
            #[token(")")]
            Close,
            #[token("=")]
            Equals,
            #[token("<")]
            Less,
            #[token(">")]
            Greater,
            #[token("<=")]
            AtMost,
            #[token(">=")]
            AtLeast,
            #[token(",")]
            Comma,
            #[token(":")]
            Colon,
            #[token("%")]
            Percent,
            /// A text without its closing quote.
            #[regex(r#""[^"\n]*"#, allow_greedy = true)]
            OpenText,
            /// `4,7`
            #[regex("[0-9]+,[0-9]+")]
            DecimalComma,
            /// A word that touches a number and is neither unit nor marking code.
            NotUnit,
            /// A character that is no part of the language.
            #[regex(".", priority = 0)]
            Stray,
            $(#[token($text)] $name,)*
        }

        impl Tok {
            /// The word, for the words of the language.
            pub(crate) fn word(self) -> Option<&'static str> {
                match self {
                    $(Tok::$name => Some($text),)*
                    _ => None,
                }
            }

            /// The word or sign between backticks, where its text is always the same.
            pub(crate) fn quoted(self) -> Option<&'static str> {
                Some(match self {
                    $(Tok::$name => concat!("`", $text, "`"),)*
                    Tok::Wire => "`--`",
                    Tok::Equals => "`=`",
                    Tok::Comma => "`,`",
                    Tok::Colon => "`:`",
                    Tok::Close => "`)`",
                    Tok::Less => "`<`",
                    _ => return None,
                })
            }
        }
    };
}

tokens! {
    Ampersum "ampersum" Use "use" Part "part" Block "block" Circuit "circuit" Work "work" End "end"
    Source "source" Let "let" Supply "supply" Opamps "opamps" Start "start" Expect "expect"
    Problem "problem" Ask "ask" Answer "answer" Find "find" Vary "vary" Require "require"
    Record "record" Response "response" Allow "allow"
    For "for" From "from" Into "into" At "at" To "to" By "by" In "in" Among "among" And "and" Are "are"
    Driven "driven" Points "points" Always "always" Within "within" Finding "finding"
    Linear "linear" Latches "latches" Oscillates "oscillates" High "high" Low "low" Rail "rail" Goes "goes"
    Sine "sine" Square "square" Triangle "triangle" Step "step" Through "through"
    Offset "offset" Phase "phase" Duty "duty"
}

impl Tok {
    /// Whether it is a name without a point; every word of the language is one too.
    pub(crate) fn is_name(self) -> bool {
        self == Tok::Name || self as u8 > Tok::Stray as u8
    }

    /// Whether it is a REF: a name, perhaps with points.
    pub(crate) fn is_ref(self) -> bool {
        self == Tok::Dotted || self.is_name()
    }

    /// Whether it is a number, with or without a unit.
    pub(crate) fn is_quantity(self) -> bool {
        matches!(
            self,
            Tok::Whole | Tok::Decimal | Tok::Quantity | Tok::Decibel
        )
    }

    /// Whether it can never be right.
    pub(crate) fn is_error(self) -> bool {
        matches!(
            self,
            Tok::OpenText | Tok::DecimalComma | Tok::NotUnit | Tok::Stray
        )
    }

    /// Whether a line that begins with it goes on from the line above.
    fn continues(self) -> bool {
        matches!(self, Tok::Wire | Tok::Comma | Tok::Text | Tok::OpenText)
    }
}

/// A token in its place.
pub(crate) type Token = (Tok, Span);

/// One statement's tokens, continuation lines included.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cut {
    /// Its first token.
    pub(crate) first: usize,
    /// One past its last token.
    pub(crate) end: usize,
    /// The `##` lines above it.
    pub(crate) description: Option<Span>,
}

/// A text in tokens.
#[derive(Debug, Default)]
pub(crate) struct Lexed {
    /// All but line ends and comments.
    pub(crate) tokens: Vec<Token>,
    /// The statements.
    pub(crate) cuts: Vec<Cut>,
    /// Comments that describe nothing.
    pub(crate) comments: Vec<Span>,
}

/// Cuts a text into tokens and statements.
pub(crate) fn lex(text: &str) -> Lexed {
    let mut lexer = Lexer {
        text,
        lexed: Lexed {
            tokens: Vec::with_capacity(text.len() / 4),
            ..Lexed::default()
        },
        line_start: true,
        line_empty: true,
        pending: Vec::new(),
        pending_done: false,
    };
    let skipped = if text.starts_with('\u{FEFF}') {
        '\u{FEFF}'.len_utf8()
    } else {
        0
    };
    let mut tokens = Tok::lexer(&text[skipped..]);
    while let Some(token) = tokens.next() {
        let range = tokens.span();
        let span = Span::new(range.start + skipped, range.end + skipped);
        lexer.push(token.unwrap_or(Tok::Stray), span);
    }
    lexer.finish()
}

struct Lexer<'t> {
    text: &'t str,
    lexed: Lexed,
    /// No token of this line was seen yet.
    line_start: bool,
    /// Neither token nor comment was seen on this line.
    line_empty: bool,
    /// `##` lines that wait for their statement.
    pending: Vec<Span>,
    /// Something stood between them and here: a further `##` begins anew.
    pending_done: bool,
}

impl Lexer<'_> {
    fn push(&mut self, tok: Tok, span: Span) {
        match tok {
            Tok::Newline => {
                self.pending_done |= self.line_empty;
                self.line_start = true;
                self.line_empty = true;
                return;
            }
            Tok::Comment | Tok::Description => {
                let length = span.of(self.text).trim_end_matches('\r').len();
                self.comment(
                    tok,
                    Span::new(span.start as usize, span.start as usize + length),
                );
                self.line_empty = false;
                return;
            }
            _ => {}
        }
        self.line_empty = false;
        let span = match tok {
            Tok::OpenText => {
                let length = span.of(self.text).trim_end_matches('\r').len();
                Span::new(span.start as usize, span.start as usize + length)
            }
            _ => span,
        };
        if self.line_start {
            self.line_start = false;
            self.begin_line(tok);
            self.lexed.tokens.push((tok, span));
        } else {
            self.join(tok, span);
        }
    }

    fn comment(&mut self, tok: Tok, span: Span) {
        if tok == Tok::Description && self.line_start {
            if std::mem::take(&mut self.pending_done) {
                self.lexed.comments.append(&mut self.pending);
            }
            self.pending.push(span);
        } else {
            self.pending_done |= self.line_start;
            self.lexed.comments.push(span);
        }
    }

    fn begin_line(&mut self, tok: Tok) {
        let at = self.lexed.tokens.len();
        let description = match (self.pending.first(), self.pending.last()) {
            (Some(first), Some(last)) => Some(first.to(*last)),
            _ => None,
        };
        self.pending_done = false;
        if let Some(above) = self.lexed.cuts.last_mut() {
            above.end = at;
            if tok.continues() {
                self.lexed.comments.append(&mut self.pending);
                return;
            }
        }
        self.pending.clear();
        self.lexed.cuts.push(Cut {
            first: at,
            end: at,
            description,
        });
    }

    /// Pushes a token that stands in a line behind others, joined with its number or name where it belongs to one.
    fn join(&mut self, tok: Tok, span: Span) {
        let tokens = &mut self.lexed.tokens;
        let text = span.of(self.text);
        let Some(&(last, before)) = tokens.last() else {
            return tokens.push((tok, span));
        };
        let touches = before.end == span.start;
        let joined = match last {
            Tok::Whole | Tok::Decimal if tok == Tok::Percent => Some(Tok::Quantity),
            Tok::Whole | Tok::Decimal if tok.is_ref() => {
                if units::unit(text).is_some() {
                    Some(if text == "dB" {
                        Tok::Decibel
                    } else {
                        Tok::Quantity
                    })
                } else if touches && last == Tok::Whole && units::marking(text).is_some() {
                    Some(Tok::Quantity)
                } else if touches {
                    return tokens.push((Tok::NotUnit, span));
                } else {
                    None
                }
            }
            Tok::Slash if touches && tok.is_name() => return self.join_per(tok, span),
            _ => None,
        };
        match joined {
            Some(joined) => *tokens.last_mut().expect("was looked at") = (joined, before.to(span)),
            None if tok == Tok::Open && touches && last.is_ref() => tokens.push((Tok::Call, span)),
            None => tokens.push((tok, span)),
        }
    }

    /// `V/us`, written without spaces, is one unit.
    fn join_per(&mut self, tok: Tok, span: Span) {
        let tokens = &mut self.lexed.tokens;
        if let [.., (Tok::Quantity, quantity), (Tok::Slash, slash)] = tokens[..]
            && quantity.end == slash.start
            && units::is_volts(quantity.of(self.text))
            && units::divides_volts(span.of(self.text))
        {
            tokens.truncate(tokens.len() - 2);
            tokens.push((Tok::Quantity, quantity.to(span)));
        } else {
            tokens.push((tok, span));
        }
    }

    fn finish(mut self) -> Lexed {
        let end = self.lexed.tokens.len();
        if let Some(last) = self.lexed.cuts.last_mut() {
            last.end = end;
        }
        self.lexed.comments.append(&mut self.pending);
        self.lexed.comments.sort_unstable();
        self.lexed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each token as `kind text`, statements divided by a line.
    fn shown(text: &str) -> String {
        let lexed = lex(text);
        let of = |cut: &Cut| {
            let tokens = &lexed.tokens[cut.first..cut.end];
            let shown: Vec<_> = tokens
                .iter()
                .map(|(tok, span)| format!("{tok:?} `{}`", span.of(text)))
                .collect();
            shown.join(" ")
        };
        lexed.cuts.iter().map(of).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn a_number_takes_its_unit() {
        let cases = [
            ("10k", "Quantity `10k`"),
            ("10 k", "Quantity `10 k`"),
            (
                "4k7 2R2 100R 1M5 4n7F 10K",
                "Quantity `4k7` Quantity `2R2` Quantity `100R` Quantity `1M5` Quantity `4n7F` Quantity `10K`",
            ),
            ("6 V/us", "Quantity `6 V/us`"),
            ("6 V / us", "Quantity `6 V` Slash `/` Name `us`"),
            ("6 V/R1", "Quantity `6 V` Slash `/` Name `R1`"),
            ("6 V/mV/us", "Quantity `6 V/mV` Slash `/` Name `us`"),
            ("1 % 50%", "Quantity `1 %` Quantity `50%`"),
            ("100n 3V3", "Whole `100` NotUnit `n` Whole `3` NotUnit `V3`"),
            ("-40 dB 2 x", "Minus `-` Decibel `40 dB` Whole `2` Name `x`"),
            ("1.5e-3 V", "Quantity `1.5e-3 V`"),
            (
                "4,7 1, 2",
                "DecimalComma `4,7` Whole `1` Comma `,` Whole `2`",
            ),
            ("10 kΩ 3 µA", "Quantity `10 kΩ` Quantity `3 µA`"),
        ];
        for (text, expected) in cases {
            assert_eq!(shown(text), expected, "{text}");
        }
    }

    #[test]
    fn a_line_that_begins_with_dashes_a_comma_or_a_text_goes_on_from_above() {
        assert_eq!(
            shown(
                "in -- R1 10k # here\n\n  # between\n  -- out\r\nask \"a\"\n\"b\"\nfind x\n, y\nend"
            ),
            "In `in` Wire `--` Name `R1` Quantity `10k` Wire `--` Name `out`\n\
             Ask `ask` Text `\"a\"` Text `\"b\"`\n\
             Find `find` Name `x` Comma `,` Name `y`\n\
             End `end`"
        );
    }

    #[test]
    fn descriptions_belong_to_the_statement_below() {
        let text = "## stale\n\n## one\r\n## two\nlet a = 1 ## behind\n# plain\n## last";
        let lexed = lex(text);
        assert_eq!(
            lexed.cuts[0].description.map(|it| it.of(text)),
            Some("## one\r\n## two")
        );
        let comments: Vec<_> = lexed.comments.iter().map(|it| it.of(text)).collect();
        assert_eq!(comments, ["## stale", "## behind", "# plain", "## last"]);
    }
}
