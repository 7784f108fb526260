//! Tokens that can never be right.

use super::{Line, insert, replace};
use crate::kind::Kind;
use crate::lexer::{Tok, Token};
use crate::{Fault, FaultKind, Fix, Span};

impl Line<'_> {
    /// The fault of the first token that can never be right.
    pub(crate) fn never_right(&self) -> Option<Fault> {
        let at = self.tokens.iter().position(|(tok, _)| tok.is_error())?;
        let span = self.span(at);
        Some(match self.tokens[at].0 {
            Tok::OpenText => Fault::new(span, FaultKind::OpenString).fix(Fix::likely(
                "add the closing quote",
                vec![insert(span.end, "\"")],
            )),
            Tok::DecimalComma => self.decimal_comma(at),
            Tok::NotUnit => self.unknown_unit(at),
            _ => self.stray_character(at),
        })
    }

    fn decimal_comma(&self, at: usize) -> Fault {
        let span = self.span(at);
        let written = span.of(self.text);
        let (whole, places) = written.split_once(',').unwrap_or((written, ""));
        let fault = Fault::new(span, FaultKind::DecimalComma);
        let offer =
            |text: String| Fix::likely(format!("write `{text}`"), vec![replace(span, text)]);
        let may_be_a_list = matches!(
            self.kind,
            Kind::Find | Kind::Vary | Kind::Record | Kind::Version
        ) || self.tokens[..at].iter().any(|(tok, _)| *tok == Tok::Call);
        let point = offer(format!("{whole}.{places}"));
        if may_be_a_list {
            fault.fix(point).fix(offer(format!("{whole}, {places}")))
        } else if places.len() == 3 && whole.len() <= 3 && whole != "0" {
            fault.fix(point).fix(offer(format!("{whole}{places}")))
        } else {
            fault.fix(Fix {
                safe: true,
                ..point
            })
        }
    }

    fn stray_character(&self, at: usize) -> Fault {
        let span = self.span(at);
        let character = span.of(self.text).chars().next().unwrap_or('\u{FFFD}');
        let touches = |other: usize, end: bool| match self.tokens.get(other) {
            Some((_, other)) => {
                if end {
                    other.end == span.start
                } else {
                    span.end == other.start
                }
            }
            None => false,
        };
        // `F1.` is a name that is not finished.
        if character == '.' && at > 0 && touches(at - 1, true) && self.tokens[at - 1].0.is_ref() {
            let last = at + 1 == self.tokens.len();
            return self.wanted(
                if last { at + 1 } else { at },
                "a name behind the point",
                "F1.out",
            );
        }
        let fault = Fault::new(span, FaultKind::StrayCharacter(character));
        if character == '.' && self.tok(at + 1) == Some(Tok::Whole) && touches(at + 1, false) {
            let title = format!("write `0.{}`", self.word(at + 1));
            return fault.fix(Fix::safe(title, vec![insert(span.start, "0")]));
        }
        if character == '±' && self.kind == Kind::Supply && self.tokens.len() == 3 && at == 1 {
            let size = self.word(2);
            let rails = format!("+{size} and -{size}");
            return fault.fix(Fix::safe(
                format!("write `{rails}`"),
                vec![replace(span.to(self.span(2)), rails)],
            ));
        }
        let equation = self.tokens.iter().any(|(tok, _)| *tok == Tok::Equals);
        match replacement(character, equation) {
            Some((text, safe)) => {
                let same = |(tok, span): &&Token| {
                    *tok == Tok::Stray && {
                        let other = span.of(self.text).chars().next().unwrap_or(' ');
                        replacement(other, equation).is_some_and(|(other, _)| other == text)
                    }
                };
                let edits: Vec<_> = self
                    .tokens
                    .iter()
                    .filter(same)
                    .map(|(_, it)| replace(*it, self.spaced(*it, text)))
                    .collect();
                fault.fix(Fix {
                    title: format!("write `{}`", text.trim()),
                    safe,
                    edits,
                })
            }
            None => fault,
        }
    }

    /// Dashes keep a space on both sides.
    fn spaced(&self, span: Span, text: &str) -> String {
        if text != "--" {
            return text.to_string();
        }
        let space = |missing: bool| if missing { " " } else { "" };
        let before = self.text[..span.start as usize].ends_with(|it: char| !it.is_whitespace());
        let after = self.text[span.end as usize..].starts_with(|it: char| !it.is_whitespace());
        format!("{}{text}{}", space(before), space(after))
    }
}

/// What of the language a character stands for, and whether nothing else can be meant; in an equation a dash is a
/// minus sign.
fn replacement(character: char, equation: bool) -> Option<(&'static str, bool)> {
    Some(match character {
        '—' | '–' | '―' | '‒' | '‐' | '‑' if equation => ("-", false),
        '—' | '–' | '―' | '‒' | '─' | '━' => ("--", true),
        '“' | '”' | '„' | '‟' | '«' | '»' => ("\"", true),
        '×' | '·' | '⋅' | '∙' => ("*", true),
        '÷' | '∕' => ("/", true),
        '≤' => ("<=", true),
        '≥' => (">=", true),
        '²' => ("^2", true),
        '³' => ("^3", true),
        '°' => (" deg", false),
        ';' => (",", false),
        '[' | '{' => ("(", false),
        ']' | '}' => (")", false),
        _ => return None,
    })
}
