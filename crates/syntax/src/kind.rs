//! Which statement a line is, told by its first tokens.

use crate::BodyKind;
use crate::lexer::{Tok, Token};

/// Where a line belongs that stands above the first circuit.
pub(crate) const NONE_YET: &str = "a circuit, and none has begun yet";

/// The kinds of line, by what has to be read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    Version,
    Use,
    Part,
    Block,
    Circuit,
    Work,
    End,
    Property,
    Equation,
    Path,
    HeldSource,
    CurrentSource,
    Device,
    Let,
    Supply,
    Opamps,
    Start,
    Expect,
    Task,
    Answer,
    Find,
    Vary,
    Require,
    Record,
    Response,
    Allow,
    /// No statement begins so.
    Unknown,
}

impl Kind {
    /// What a line is in the body that holds it (`None`: the file itself).
    pub(crate) fn of(tokens: &[Token], inside: Option<BodyKind>) -> Kind {
        if let Some(opener) = Kind::opener(tokens) {
            return opener;
        }
        let second = tok(tokens, 1);
        match tok(tokens, 0) {
            Some(Tok::End) if !goes_on_as_an_operand(second) => Kind::End,
            _ if inside == Some(BodyKind::Part) => Kind::Property,
            Some(Tok::Let) if second.is_none_or(Tok::is_ref) => Kind::Let,
            _ if inside == Some(BodyKind::Work) => Kind::Equation,
            _ => Kind::of_statement(tokens),
        }
    }

    /// `part`, `block`, `circuit`, `use` or `work` before a name or a text; also where such a line is broken or not
    /// finished, but not where the word can only be a node's name.
    pub(crate) fn opener(tokens: &[Token]) -> Option<Kind> {
        let kind = match tok(tokens, 0)? {
            Tok::Use => Kind::Use,
            Tok::Part => Kind::Part,
            Tok::Block => Kind::Block,
            Tok::Circuit => Kind::Circuit,
            Tok::Work => Kind::Work,
            _ => return None,
        };
        (!goes_on_as_an_operand(tok(tokens, 1))).then_some(kind)
    }

    /// What a line is by its own tokens alone.
    pub(crate) fn of_statement(tokens: &[Token]) -> Kind {
        let (Some(first), second) = (tok(tokens, 0), tok(tokens, 1)) else {
            return Kind::Unknown;
        };
        if first.is_ref() && second == Some(Tok::Wire) {
            return Kind::Path;
        }
        let named = first.is_name()
            && second.is_some_and(Tok::is_name)
            && tok(tokens, 2) == Some(Tok::Colon);
        if named && !matches!(first, Tok::Source | Tok::Allow) {
            return Kind::Device;
        }
        match first {
            Tok::Ampersum => Kind::Version,
            Tok::Source if tokens.iter().any(|(tok, _)| *tok == Tok::Equals) => Kind::HeldSource,
            Tok::Source => Kind::CurrentSource,
            Tok::Let => Kind::Let,
            Tok::Supply => Kind::Supply,
            Tok::Opamps => Kind::Opamps,
            Tok::Start => Kind::Start,
            Tok::Expect => Kind::Expect,
            Tok::Problem | Tok::Ask => Kind::Task,
            Tok::Answer => Kind::Answer,
            Tok::Find => Kind::Find,
            Tok::Vary => Kind::Vary,
            Tok::Require => Kind::Require,
            Tok::Record => Kind::Record,
            Tok::Response => Kind::Response,
            Tok::Allow => Kind::Allow,
            _ => Kind::Unknown,
        }
    }

    /// The body that it opens.
    pub(crate) fn opens(self) -> Option<BodyKind> {
        match self {
            Kind::Part => Some(BodyKind::Part),
            Kind::Block => Some(BodyKind::Block),
            Kind::Circuit => Some(BodyKind::Circuit),
            Kind::Work => Some(BodyKind::Work),
            _ => None,
        }
    }

    /// Whether a product may stand in such a line.
    pub(crate) fn has_products(self) -> bool {
        !matches!(
            self,
            Kind::Start | Kind::Vary | Kind::Allow | Kind::Opamps | Kind::Supply
        )
    }

    /// Whether such a line brings something into a circuit, or says what is in it.
    pub(crate) fn wires(self) -> bool {
        match self {
            Kind::Path | Kind::HeldSource | Kind::CurrentSource | Kind::Device => true,
            Kind::Supply | Kind::Opamps | Kind::Start | Kind::Property | Kind::Unknown => true,
            Kind::Version
            | Kind::Use
            | Kind::Part
            | Kind::Block
            | Kind::Circuit
            | Kind::Work
            | Kind::End => false,
            Kind::Equation
            | Kind::Let
            | Kind::Expect
            | Kind::Task
            | Kind::Answer
            | Kind::Find
            | Kind::Vary => false,
            Kind::Require | Kind::Record | Kind::Response | Kind::Allow => false,
        }
    }

    /// Where such a line stands, if not in this body; `circuits` tells whether the file has any `circuit`.
    pub(crate) fn belongs(
        self,
        inside: Option<BodyKind>,
        circuits: bool,
        first: bool,
    ) -> Option<&'static str> {
        const CIRCUIT: &str = "a circuit";
        match (self, inside) {
            (Kind::Version, _) => (!first).then_some("the first line"),
            (Kind::Use | Kind::Part | Kind::Block, Some(BodyKind::Circuit)) => {
                Some("the lines before the first circuit")
            }
            (Kind::Use | Kind::Part | Kind::Block | Kind::Circuit | Kind::Work, _) => None,
            (Kind::End | Kind::Unknown | Kind::Equation | Kind::Property | Kind::Let, _) => None,
            (
                Kind::Path | Kind::HeldSource | Kind::CurrentSource | Kind::Device | Kind::Allow,
                Some(BodyKind::Block),
            ) => None,
            (_, None) => circuits.then_some(NONE_YET),
            (_, Some(BodyKind::Circuit)) => None,
            (_, Some(BodyKind::Part | BodyKind::Block | BodyKind::Work)) => Some(CIRCUIT),
        }
    }
}

/// The kind of the token at this index.
pub(crate) fn tok(tokens: &[Token], index: usize) -> Option<Tok> {
    tokens.get(index).map(|(tok, _)| *tok)
}

/// Whether a word before this token is an operand or a node, and no statement's first word.
fn goes_on_as_an_operand(next: Option<Tok>) -> bool {
    matches!(
        next,
        Some(
            Tok::Wire
                | Tok::Minus
                | Tok::Plus
                | Tok::Star
                | Tok::Slash
                | Tok::Caret
                | Tok::Equals
                | Tok::Less
                | Tok::Greater
                | Tok::AtMost
                | Tok::AtLeast
                | Tok::Comma
                | Tok::Call
        )
    )
}
