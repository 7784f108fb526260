//! Why a line could not be read: exactly one fault, at the right word.

use chumsky::error::RichPattern;

use crate::grammar;
use crate::kind::{Kind, tok};
use crate::lexer::{Tok, Token};
use crate::parse::Expectation;
use crate::{BodyKind, Fault, FaultKind, Fix, Span, StatementKind, TextEdit};

/// A statement, and where it stands.
pub(crate) struct Line<'t> {
    pub(crate) text: &'t str,
    pub(crate) tokens: &'t [Token],
    pub(crate) kind: Kind,
    pub(crate) inside: Option<BodyKind>,
}

/// A body without its `end`.
pub(crate) fn missing_end(_text: &str, kind: BodyKind, head: Span, last: Span) -> Fault {
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
    let edit = TextEdit {
        span: Span::at(last.end),
        text: "\nend".to_string(),
    };
    Fault::new(span, FaultKind::MissingEnd(Some(kind)))
        .fix(Fix::likely("add its `end`", vec![edit]))
}

impl Line<'_> {
    /// The first token that can never be right.
    pub(crate) fn never_right(&self) -> Option<Fault> {
        let (tok, span) = self
            .tokens
            .iter()
            .copied()
            .find(|(tok, _)| tok.is_error())?;
        let kind = match tok {
            Tok::OpenText => FaultKind::OpenString,
            Tok::DecimalComma => FaultKind::DecimalComma,
            Tok::NotUnit => FaultKind::UnknownUnit(None),
            _ => FaultKind::StrayCharacter(span.of(self.text).chars().next()?),
        };
        Some(Fault::new(span, kind))
    }

    pub(crate) fn stray_end(&self) -> Fault {
        Fault::new(self.tokens[0].1, FaultKind::MissingEnd(None))
    }

    pub(crate) fn wrong_place(&self, belongs: &'static str) -> Fault {
        let wire = self.tokens.iter().find(|(tok, _)| *tok == Tok::Wire);
        let (_, span) = wire
            .filter(|_| self.kind == Kind::Path)
            .unwrap_or(&self.tokens[0]);
        Fault::new(*span, FaultKind::WrongPlace { belongs })
    }

    /// What was read, unless it says what this version cannot know.
    pub(crate) fn checked(&self, said: StatementKind) -> Result<StatementKind, Fault> {
        match said {
            StatementKind::Version(number) if number.of(self.text) != "1" => {
                Err(Fault::new(number, FaultKind::NewerVersion))
            }
            said => Ok(said),
        }
    }

    pub(crate) fn is_a_statement_of_a_circuit(&self, reads: impl Fn(Kind) -> bool) -> bool {
        let kind = Kind::of_statement(self.tokens);
        kind != Kind::Unknown && reads(kind)
    }

    pub(crate) fn fault(&self, expectation: Option<Option<Expectation<'_>>>) -> Fault {
        let Some(Some(expectation)) = expectation else {
            return Fault::new(self.tokens[0].1, FaultKind::NotAStatement(None));
        };
        let unfinished = expectation.found().is_none();
        let (what, example) = match expectation.expected().next() {
            Some(RichPattern::Label(label)) if label == grammar::QUANTITY => ("a value", "1.2 V"),
            _ => ("something else", ""),
        };
        let _ = (tok(self.tokens, 0), self.inside);
        Fault::new(*expectation.span(), FaultKind::Expected { what, example })
            .unfinished(unfinished)
    }
}
