//! Why a line could not be read: exactly one fault, at the right word, with what would surely mend it.
//!
//! What the trade gets wrong most often is told by hand, on the tokens of the line; for the rest the grammar says what it
//! had expected.

mod around;
mod claim;
mod codes;
mod device;
mod expected;
mod first;
mod joints;
mod lexical;
mod path;
mod property;
mod prose;
mod source;
mod unit;

use std::collections::HashMap;

use crate::bench::Expectation;
use crate::kind::{Kind, tok};
use crate::lexer::{Tok, Token};
use crate::{BodyKind, Fault, FaultKind, Fix, Span, StatementKind, TextEdit};

pub(crate) use around::Around;
pub use claim::states;
pub use device::device_of;
pub(crate) use device::ports;
pub(crate) use first::is_property;
pub use prose::element;

/// A statement, and where it stands.
pub(crate) struct Line<'t> {
    pub(crate) text: &'t str,
    pub(crate) tokens: &'t [Token],
    pub(crate) kind: Kind,
    pub(crate) inside: Option<BodyKind>,
    /// What may be the kind of a device, besides those of the language.
    pub(crate) blocks: &'t Blocks<'t>,
    /// What other lines of the file say.
    pub(crate) around: &'t Around<'t>,
}

/// The blocks of a file.
#[derive(Default)]
pub(crate) struct Blocks<'t> {
    /// Each with its ports, and whether they have a default.
    pub(crate) names: HashMap<&'t str, Vec<(&'t str, bool)>>,
    /// Whether other files may bring more of them.
    pub(crate) uses: bool,
}

/// A body without its `end`.
pub(crate) fn missing_end(kind: BodyKind, head: Span, last: Span) -> Fault {
    let word = match kind {
        BodyKind::Part => "part",
        BodyKind::Block => "block",
        BodyKind::Circuit => "circuit",
        BodyKind::Work => "work",
    };
    let span = Span {
        end: head.start + word.len() as u32,
        ..head
    };
    let fix = Fix::likely("add its `end`", vec![insert(last.end, "\nend")]);
    Fault::new(span, FaultKind::MissingEnd(Some(kind))).fix(fix)
}

impl<'t> Line<'t> {
    /// An `end` where nothing is open.
    pub(crate) fn stray_end(&self) -> Fault {
        let all = self.span(0).to(self.span(self.tokens.len() - 1));
        Fault::new(self.span(0), FaultKind::MissingEnd(None))
            .fix(Fix::likely("take it out", vec![replace(all, "")]))
    }

    /// A line that stands in the wrong body: at its first word, or where a path's first dashes are.
    pub(crate) fn wrong_place(&self, belongs: &'static str) -> Fault {
        let at = self.tokens.iter().position(|(tok, _)| *tok == Tok::Wire);
        let is_path = Kind::of_statement(self.tokens) == Kind::Path;
        let fault = Fault::new(
            self.span(at.filter(|_| is_path).unwrap_or(0)),
            FaultKind::WrongPlace { belongs },
        );
        // `part fast` in a circuit: all its op-amps are meant.
        if self.kind == Kind::Part && self.tokens.len() == 2 {
            let fix = Fix::likely(
                "write `opamps are`",
                vec![replace(self.span(0), "opamps are")],
            );
            return fault.fix(fix);
        }
        if belongs == crate::kind::NONE_YET {
            let start = self.span(0).start;
            let fix = Fix::likely(
                "begin a circuit above it",
                vec![insert(start, "circuit first\n")],
            );
            return fault.fix(fix);
        }
        if self.kind != Kind::Version {
            return fault;
        }
        let all = self.span(0).to(self.span(self.tokens.len() - 1));
        fault.fix(Fix::likely("take it out", vec![replace(all, "")]))
    }

    /// Why what was read cannot be meant so.
    pub(crate) fn refused(&self, said: &StatementKind) -> Option<Fault> {
        match said {
            StatementKind::Version(number) => match number.of(self.text).parse::<f64>() {
                Ok(1.0) => None,
                Ok(version) if version > 1.0 => Some(Fault::new(*number, FaultKind::NewerVersion)),
                _ => {
                    let (what, example) = ("the version", "ampersum 1");
                    Some(Fault::new(*number, FaultKind::Expected { what, example }))
                }
            },
            StatementKind::Path(items) => {
                self.number_in_groups(items).map(|at| self.two_numbers(at))
            }
            StatementKind::Device(_) => self.bare_clause().filter(|it| !it.fixes.is_empty()),
            _ => None,
        }
    }

    /// Whether a line in a work sheet is no equation but a statement of a circuit, perhaps a broken one.
    pub(crate) fn is_of_a_circuit(&self, reads: impl Fn(Kind) -> bool) -> bool {
        let kind = Kind::of_statement(self.tokens);
        let operand = |tok: Tok| tok.is_ref() || tok.is_quantity() || tok == Tok::Text;
        let by_word =
            !matches!(kind, Kind::Path | Kind::Device) && self.tok(1).is_some_and(operand);
        kind != Kind::Unknown && (by_word || reads(kind))
    }

    /// Why the line could not be read; `expectation` is the grammar's own account.
    pub(crate) fn fault(&self, expectation: Option<Expectation<'_>>) -> Fault {
        if let Some(fault) = self.strokes().or_else(|| self.odd_equals()) {
            return fault;
        }
        let fault = match self.kind {
            Kind::Unknown => Some(self.unknown()),
            Kind::Path => self.path(),
            Kind::HeldSource | Kind::CurrentSource => self.source(),
            Kind::Device => self.device(),
            Kind::Supply => self.supply(),
            Kind::Expect => self.claim().or_else(|| self.bare_equation()),
            Kind::Vary => self.range().or_else(|| self.bare_equation()),
            Kind::Require => self.comparison().or_else(|| self.bare_equation()),
            // A property may be an element that was put into a part.
            Kind::Property if self.tokens.iter().any(|(tok, _)| *tok == Tok::Wire) => {
                Some(self.wrong_place("a circuit"))
            }
            Kind::Property => self.property(),
            _ => self.bare_equation(),
        };
        fault.unwrap_or_else(|| self.expected(expectation))
    }

    /// `supply = 3 V`: an equation whose first name is a word of the language.
    fn bare_equation(&self) -> Option<Fault> {
        let at_equals =
            self.tok(1) == Some(Tok::Equals) && Kind::of_statement(self.tokens) == self.kind;
        if at_equals && self.kind == Kind::Opamps && self.tok(2).is_some_and(Tok::is_name) {
            let (what, example) = self.in_words(Tok::Are);
            let fix = Fix::likely("write `are`", vec![replace(self.span(1), "are")]);
            return Some(self.wanted(1, what, example).fix(fix));
        }
        at_equals.then(|| self.equation_alone())
    }

    fn equation_alone(&self) -> Fault {
        let fault = Fault::new(self.span(0), FaultKind::BareEquation);
        let (left, start) = (self.word(0), self.span(0).start);
        let before = |title: String, text: String| Fix::likely(title, vec![insert(start, text)]);
        let constant = match (self.tok(2), self.tok(3)) {
            (Some(Tok::Minus | Tok::Plus), Some(tok)) => {
                tok.is_quantity() && self.tokens.len() == 4
            }
            (Some(tok), None) => tok.is_quantity(),
            _ => false,
        };
        let single = self.tok(0).is_some_and(Tok::is_name) && self.tok(1) == Some(Tok::Equals);
        let claim = match self.inside {
            Some(BodyKind::Block | BodyKind::Part) => None,
            _ => Some(before("claim it: `expect …`".into(), "expect ".into())),
        };
        let other = match left {
            "ground" => return fault,
            "supply" if single => Some(Fix::likely(
                "leave out `=`",
                vec![replace(self.with_gap(1), "")],
            )),
            _ if single && !self.around.is_node(left) && self.tok(0) == Some(Tok::Name) => {
                Some(before(format!("name it: `let {left} = …`"), "let ".into()))
            }
            _ if single && constant && self.around.is_node(left) && !self.around.is_held(left) => {
                let source = format!("source {left}_source: ");
                Some(before(format!("hold it: `{source}{left} = …`"), source))
            }
            _ => None,
        };
        Fault {
            fixes: other.into_iter().chain(claim).collect(),
            ..fault
        }
    }

    /// The line without its first word.
    pub(crate) fn without_the_first(&self) -> Fix {
        let gap = Span {
            start: self.span(0).start,
            end: self.span(1).start,
        };
        let title = format!("leave out `{}`", self.word(0));
        Fix::likely(title, vec![replace(gap, "")])
    }

    /// The kind of the token at this index.
    fn tok(&self, index: usize) -> Option<Tok> {
        tok(self.tokens, index)
    }

    /// The place of the token at this index; behind the last one, the end of the statement.
    fn span(&self, index: usize) -> Span {
        let end = || Span::at(self.tokens.last().map_or(0, |(_, span)| span.end));
        self.tokens.get(index).map_or_else(end, |(_, span)| *span)
    }

    /// The text of the token at this index.
    fn word(&self, index: usize) -> &'t str {
        self.tokens
            .get(index)
            .map_or("", |(_, span)| span.of(self.text))
    }

    /// Something else was expected at this token; at the end of the line the line is only unfinished.
    fn wanted(&self, index: usize, what: &'static str, example: &'static str) -> Fault {
        let unfinished = index >= self.tokens.len();
        Fault::new(self.span(index), FaultKind::Expected { what, example }).unfinished(unfinished)
    }

    /// The line is complete before this token.
    fn extra(&self, index: usize) -> Fault {
        Fault::new(self.span(index), FaultKind::ExtraWords)
    }

    /// How many brackets are open before each token.
    fn depths(&self) -> Vec<usize> {
        let mut depth = 0usize;
        let before = self.tokens.iter().map(|(tok, _)| {
            let here = depth;
            match tok {
                Tok::Open | Tok::Call => depth += 1,
                Tok::Close => depth = depth.saturating_sub(1),
                _ => {}
            }
            here
        });
        before.collect()
    }
}

fn insert(at: u32, text: impl Into<String>) -> TextEdit {
    TextEdit {
        span: Span::at(at),
        text: text.into(),
    }
}

fn replace(span: Span, text: impl Into<String>) -> TextEdit {
    TextEdit {
        span,
        text: text.into(),
    }
}
