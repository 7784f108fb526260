//! What each token is, for colouring: the words of the language are told from names by their place.

use crate::lexer::{Tok, lex};
use crate::{NameRole, Span, StatementKind, normal, parse};

/// What a token is.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum TokenClass {
    /// A word of the language, in its place.
    Word,
    /// A name.
    Name,
    /// A function's name.
    Function,
    /// A number with its unit.
    Number,
    /// A text in quotes.
    Text,
    /// Dashes, brackets, operators.
    Sign,
    /// `# …`
    Comment,
    /// `## …`
    Description,
    /// Never right: a stray character, a text without its end.
    Error,
}

/// A token's class and place.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ClassedToken {
    /// What it is.
    pub class: TokenClass,
    /// Where; descriptions of several lines are one token a line.
    pub span: Span,
}

/// The kinds of device that the language knows.
pub const DEVICES: [&str; 6] = [
    "opamp",
    "comparator",
    "switch",
    "pot",
    "diode",
    "electrolytic",
];

/// The first words of clauses that the language knows.
pub const CLAUSES: [&str; 16] = [
    "plus", "minus", "drives", "part", "supply", "from", "to", "wiper", "total", "at", "open",
    "closed", "anode", "cathode", "value", "rated",
];

/// Every token of a text but white space, in order.
pub fn tokens(text: &str) -> Vec<ClassedToken> {
    let tree = parse(text);
    let lexed = lex(text);
    let mut classed = Vec::with_capacity(lexed.tokens.len() + lexed.comments.len());
    for (cut, statement) in lexed.cuts.iter().zip(&tree.statements) {
        let names = statement.names();
        let broken = matches!(statement.kind, StatementKind::Broken(_));
        for (at, &(tok, span)) in lexed.tokens[cut.first..cut.end].iter().enumerate() {
            let role = names
                .binary_search_by_key(&span.start, |(name, _)| name.start)
                .ok()
                .map(|at| names[at].1);
            let begins_broken =
                broken && at == 0 && (tok.word().is_some() || DEVICES.contains(&span.of(text)));
            let class = match class_of(tok) {
                TokenClass::Name if begins_broken => TokenClass::Word,
                TokenClass::Name => class_of_word(role, span.of(text)),
                class => class,
            };
            classed.push(ClassedToken { class, span });
        }
        for line in description_lines(text, statement.description) {
            classed.push(ClassedToken {
                class: TokenClass::Description,
                span: line,
            });
        }
    }
    classed.extend(tree.comments.iter().map(|span| ClassedToken {
        class: TokenClass::Comment,
        span: *span,
    }));
    classed.sort_unstable_by_key(|it| it.span.start);
    classed
}

fn class_of(tok: Tok) -> TokenClass {
    match tok {
        Tok::Text => TokenClass::Text,
        tok if tok.is_ref() => TokenClass::Name,
        tok if tok.is_quantity() => TokenClass::Number,
        tok if tok.is_error() => TokenClass::Error,
        _ => TokenClass::Sign,
    }
}

fn class_of_word(role: Option<NameRole>, word: &str) -> TokenClass {
    let known = |words: &[&str]| {
        if words.contains(&word) {
            TokenClass::Word
        } else {
            TokenClass::Name
        }
    };
    match role {
        None | Some(NameRole::Property) => TokenClass::Word,
        Some(NameRole::Thing) if normal(word) == "ground" => TokenClass::Word,
        Some(NameRole::Thing | NameRole::Rule | NameRole::Series) => TokenClass::Name,
        Some(NameRole::DeviceKind) => known(&DEVICES),
        Some(NameRole::Clause) => known(&CLAUSES),
        Some(NameRole::Function) => TokenClass::Function,
    }
}

fn description_lines(text: &str, description: Option<Span>) -> impl Iterator<Item = Span> + '_ {
    let description = description.unwrap_or_default();
    let mut at = description.start as usize;
    description
        .of(text)
        .split_inclusive('\n')
        .filter_map(move |line| {
            let trimmed = line.trim_matches(|it: char| it.is_whitespace());
            let start = at + (line.len() - line.trim_start().len());
            at += line.len();
            (!trimmed.is_empty()).then(|| Span::new(start, start + trimmed.len()))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_told_from_names_by_their_place() {
        let text = "## a\n  ## b\nsource S2: sine 1 mA at 1 kHz from in into out # x\nopamp at: plus in, minus ground\nfind points, abs(a) points 3";
        let shown = |class| {
            let of_class = tokens(text).into_iter().filter(move |it| it.class == class);
            of_class
                .map(|it| it.span.of(text))
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(
            shown(TokenClass::Word),
            "source sine at from into opamp plus minus ground find points"
        );
        assert_eq!(shown(TokenClass::Name), "S2 in out at in points a");
        assert_eq!(shown(TokenClass::Function), "abs");
        assert_eq!(shown(TokenClass::Description), "## a ## b");
        assert_eq!(shown(TokenClass::Comment), "# x");
        assert_eq!(shown(TokenClass::Number), "1 mA 1 kHz 3");
    }
}
