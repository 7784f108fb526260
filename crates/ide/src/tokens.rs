//! What each token is, for colours that know names: nodes, elements, op-amps told apart.

use syntax::{Span, TokenClass};

use crate::View;
use crate::names::{Access, Kind};

/// One token.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Token {
    /// Never more than one line.
    pub span: Span,
    /// What it is.
    pub kind: TokenKind,
    /// It brings its name into being.
    pub declaration: bool,
    /// It keeps its value: a `let`, `ground`.
    pub readonly: bool,
    /// It belongs to the language.
    pub built_in: bool,
    /// It describes what stands below it.
    pub documentation: bool,
}

/// What a token is, in the words that editors have for it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum TokenKind {
    /// A circuit.
    Namespace,
    /// A part.
    Type,
    /// An op-amp.
    Class,
    /// A block, a function.
    Function,
    /// A block's parameter.
    Parameter,
    /// A node, a `let`.
    Variable,
    /// An element, another device.
    Property,
    /// A rule, a series.
    EnumMember,
    /// A source.
    Event,
    /// A word of the language.
    Keyword,
    /// A text.
    String,
    /// A number with its unit.
    Number,
    /// A comment.
    Comment,
    /// A sign.
    Operator,
}

impl TokenKind {
    /// All of them.
    pub const ALL: [TokenKind; 14] = [
        TokenKind::Namespace,
        TokenKind::Type,
        TokenKind::Class,
        TokenKind::Function,
        TokenKind::Parameter,
        TokenKind::Variable,
        TokenKind::Property,
        TokenKind::EnumMember,
        TokenKind::Event,
        TokenKind::Keyword,
        TokenKind::String,
        TokenKind::Number,
        TokenKind::Comment,
        TokenKind::Operator,
    ];
}

/// The tokens of a stretch of the text, in its order, none overlapping another.
pub fn tokens(view: &View, within: Span) -> Vec<Token> {
    let (names, all) = (view.names(), view.tokens());
    let first = all.partition_point(|it| it.span.end < within.start);
    let mut tokens = Vec::new();
    for it in all[first..]
        .iter()
        .take_while(|it| it.span.start <= within.end)
    {
        let known = names
            .said
            .partition_point(|said| said.span.start < it.span.start);
        let known = names.said[known..]
            .iter()
            .take_while(|said| said.span.end <= it.span.end);
        let before = tokens.len();
        for said in known {
            let kind = names.things[said.thing].kind;
            tokens.push(Token {
                declaration: said.access == Access::Declares,
                readonly: matches!(kind, Kind::Let | Kind::Ground),
                built_in: kind == Kind::Ground,
                ..plain(said.span, of_name(kind))
            });
        }
        if tokens.len() == before
            && let Some(kind) = of_class(it.class)
        {
            tokens.push(Token {
                built_in: it.class == TokenClass::Function,
                documentation: it.class == TokenClass::Description,
                ..plain(it.span, kind)
            });
        }
    }
    tokens
}

fn plain(span: Span, kind: TokenKind) -> Token {
    Token {
        span,
        kind,
        declaration: false,
        readonly: false,
        built_in: false,
        documentation: false,
    }
}

fn of_name(kind: Kind) -> TokenKind {
    match kind {
        Kind::Node | Kind::Ground | Kind::Let => TokenKind::Variable,
        Kind::Element | Kind::Device | Kind::Instance => TokenKind::Property,
        Kind::Source => TokenKind::Event,
        Kind::Opamp => TokenKind::Class,
        Kind::Parameter => TokenKind::Parameter,
        Kind::Part => TokenKind::Type,
        Kind::Block => TokenKind::Function,
        Kind::Circuit => TokenKind::Namespace,
    }
}

fn of_class(class: TokenClass) -> Option<TokenKind> {
    Some(match class {
        TokenClass::Word => TokenKind::Keyword,
        // A name that nothing has: a rule, a series, or a mistake that its finding tells.
        TokenClass::Name => TokenKind::EnumMember,
        TokenClass::Function => TokenKind::Function,
        TokenClass::Number => TokenKind::Number,
        TokenClass::Text => TokenKind::String,
        TokenClass::Sign => TokenKind::Operator,
        TokenClass::Comment | TokenClass::Description => TokenKind::Comment,
        TokenClass::Error => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    #[test]
    fn names_are_told_apart_by_what_they_are() {
        let (view, _) = open(
            "let k = 2\nblock b: p, q, R = 1k\n  p -- R1 (R) -- q\nend\npart slow\n  gain 5\nend\ncircuit c\n## in\nsource s: a = k * 1 V\n\
             b B1: p a, q o\nopamp A1: plus o, minus ground, drives z, part slow\nexpect B1.R1 = parallel(1k) within 1 % # x\nallow unused at A1: \"y\"\n",
        );
        let drawn = tokens(&view, Span::new(0, view.text().len()))
            .into_iter()
            .filter(|it| it.kind != TokenKind::Operator)
            .map(|it| {
                let mut marks = String::new();
                for (set, mark) in [
                    (it.declaration, "!"),
                    (it.readonly, "="),
                    (it.built_in, "*"),
                    (it.documentation, "#"),
                ] {
                    marks.push_str(if set { mark } else { "" });
                }
                format!("{}:{:?}{marks}", it.span.of(view.text()), it.kind)
            });
        let drawn = drawn.collect::<Vec<_>>().join(" ");
        expect_test::expect!["let:Keyword k:Variable!= 2:Number block:Keyword b:Function! p:Variable! q:Variable! R:Parameter! 1k:Number p:Variable R1:Property! R:Parameter q:Variable end:Keyword part:Keyword slow:Type! gain:Keyword 5:Number end:Keyword circuit:Keyword c:Namespace! ## in:Comment# source:Keyword s:Event! a:Variable k:Variable= 1 V:Number b:Function B1:Property! p:Variable a:Variable q:Variable o:Variable opamp:Keyword A1:Class! plus:Keyword o:Variable minus:Keyword ground:Variable=* drives:Keyword z:Variable part:Keyword slow:Type expect:Keyword B1:Property R1:Property parallel:Function* 1k:Number within:Keyword 1 %:Number # x:Comment allow:Keyword unused:EnumMember at:Keyword A1:Class \"y\":String"].assert_eq(&drawn);
        // A stretch has what touches it.
        let own = tokens(&view, Span::new(0, 3));
        assert_eq!(own.len(), 1);
    }
}
