//! Tokens that can never be right.

use super::{Line, insert, replace};
use crate::kind::Kind;
use crate::lexer::{Tok, Token};
use crate::{Fault, FaultKind, Fix, Span};

impl Line<'_> {
    /// A text without quotes.
    pub(crate) fn unquoted(&self) -> Option<Fault> {
        let first = match self.kind {
            Kind::Task | Kind::Answer => 1,
            Kind::Circuit => 2,
            _ => return None,
        };
        let word = self
            .tok(first)
            .is_some_and(|tok| tok.is_name() || tok.is_quantity());
        let broken = self.tokens.iter().any(|(tok, _)| tok.is_error());
        let quoted = self.tokens.iter().any(|(tok, _)| *tok == Tok::Text);
        // A quote at the end alone.
        let late = self
            .tokens
            .last()
            .is_some_and(|(tok, span)| *tok == Tok::OpenText && span.range().len() == 1);
        (word
            && broken
            && !quoted
            && (late || !self.tokens.iter().any(|(tok, _)| *tok == Tok::OpenText)))
        .then(|| {
            self.wanted(first, "a text in quotes", self.text_example())
                .fix(self.in_quotes(first))
        })
    }

    /// The fault of the first token that can never be right.
    pub(crate) fn never_right(&self) -> Option<Fault> {
        let at = self.tokens.iter().position(|(tok, _)| tok.is_error())?;
        let span = self.span(at);
        Some(match self.tokens[at].0 {
            Tok::OpenText => {
                // `points 2` stands behind the text.
                let text = span.of(self.text).trim_end();
                let digits = text.trim_end_matches(|it: char| it.is_ascii_digit());
                let points = digits
                    .strip_suffix(" points ")
                    .filter(|_| digits.len() < text.len());
                let end = match points {
                    Some(text) if self.kind == Kind::Task => span.start + text.len() as u32,
                    _ => span.end,
                };
                let fix = Fix::likely("add the closing quote", vec![insert(end, "\"")]);
                Fault::new(span, FaultKind::OpenString).fix(fix)
            }
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
        // `1,000,000`: only groups of three digits have more than one comma.
        if !may_be_a_list && let Some(fix) = self.commas_between_thousands(at) {
            return fault.fix(fix);
        }
        if may_be_a_list {
            fault.fix(point).fix(offer(format!("{whole}, {places}")))
        } else if places.len() == 3 && whole.len() <= 3 && whole != "0" {
            let joined = offer(format!("{whole}{places}"));
            match places {
                "000" => fault.fix(joined).fix(point),
                _ => fault.fix(point).fix(joined),
            }
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
        if character == '.'
            && self.tok(at + 1).is_some_and(Tok::is_quantity)
            && touches(at + 1, false)
        {
            let behind_a_number = at > 0
                && touches(at - 1, true)
                && (self.tokens[at - 1].0.is_quantity() || self.tokens[at - 1].0 == Tok::Close);
            if behind_a_number {
                let groups = self.points_between_thousands(at);
                return groups.map_or(fault.clone(), |fix| fault.fix(fix));
            }
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
        let count = |wanted: char| {
            let same = |it: &&Token| it.0 == Tok::Stray && it.1.of(self.text).starts_with(wanted);
            self.tokens.iter().filter(same).count()
        };
        let number =
            |at: Option<usize>| at.and_then(|at| self.tok(at)).is_some_and(Tok::is_quantity);
        let between_digits = number(at.checked_sub(1)) && number(Some(at + 1));
        if matches!(character, '\'' | '’' | '‘') && (between_digits || count(character) % 2 == 1)
        {
            return fault;
        }
        if character == ';' {
            return self.semicolon(at, fault);
        }
        if let Some(fix) = self.bars(at) {
            return fault.fix(fix);
        }
        if let Some(fix) = self.scientific(at) {
            return fault.fix(fix);
        }
        let equation = self.tokens.iter().any(|(tok, _)| *tok == Tok::Equals);
        let replacement =
            |sign| replacement(sign, equation, self.kind, at > 0 && number(Some(at - 1)));
        match replacement(character) {
            Some((text, safe)) => {
                let same = |(tok, span): &&Token| {
                    *tok == Tok::Stray && {
                        let other = span.of(self.text).chars().next().unwrap_or(' ');
                        let bracket = |sign: &str| matches!(sign, "(" | ")");
                        replacement(other).is_some_and(|(other, _)| {
                            other == text || bracket(other) && bracket(text)
                        })
                    }
                };
                // Two of them that touch are one pair of dashes.
                let mut spans: Vec<Span> = Vec::new();
                for (_, it) in self.tokens.iter().filter(same) {
                    match spans.last_mut() {
                        Some(last) if text == "--" && last.end == it.start => last.end = it.end,
                        _ => spans.push(*it),
                    }
                }
                let edit = |it: Span| {
                    let other = it.of(self.text).chars().next().unwrap_or(' ');
                    let text = replacement(other).map_or(text, |it| it.0);
                    replace(it, self.spaced(it, text))
                };
                let edits = spans.into_iter().map(edit).collect();
                fault.fix(Fix {
                    title: format!("write `{}`", text.trim()),
                    safe,
                    edits,
                })
            }
            None => fault,
        }
    }

    /// `1.000.000`: only groups of three digits have more than one point.
    fn points_between_thousands(&self, at: usize) -> Option<Fix> {
        let all = self.span(at - 1).to(self.span(at + 1));
        let written = all.of(self.text);
        let digits = written.find(|it: char| !it.is_ascii_digit() && it != '.');
        let mut groups = written[..digits.unwrap_or(written.len())].split('.');
        let first = groups.next().map_or(0, str::len);
        let rest: Vec<&str> = groups.collect();
        let even =
            (1..=3).contains(&first) && rest.len() > 1 && rest.iter().all(|it| it.len() == 3);
        let text = written.replace('.', "");
        even.then(|| Fix::likely(format!("write `{text}`"), vec![replace(all, text)]))
    }

    fn commas_between_thousands(&self, at: usize) -> Option<Fix> {
        let touches = |at: usize| self.span(at - 1).end == self.span(at).start;
        let mut last = at;
        while self.tok(last + 1) == Some(Tok::Comma)
            && self
                .tok(last + 2)
                .is_some_and(|it| it.is_quantity() || it == Tok::DecimalComma)
            && touches(last + 1)
            && touches(last + 2)
        {
            last += 2;
        }
        let all = self.span(at).to(self.span(last));
        let written = all.of(self.text);
        let digits = written.find(|it: char| !it.is_ascii_digit() && it != ',');
        let mut groups = written[..digits.unwrap_or(written.len())].split(',');
        let first = groups.next().map_or(0, str::len);
        let even = (1..=3).contains(&first) && groups.all(|it| it.len() == 3);
        let text = written.replace(',', "");
        let fix = || Fix::likely(format!("write `{text}`"), vec![replace(all, &text)]);
        (last > at && even).then(fix)
    }

    /// `|out|`, `20k || 20k`
    fn bars(&self, at: usize) -> Option<Fix> {
        let bar = |at: usize| self.tok(at) == Some(Tok::Stray) && self.word(at) == "|";
        if !bar(at) || matches!(self.kind, Kind::Path | Kind::Unknown) {
            return None;
        }
        let operand = |at: usize| {
            let tok = self.tok(at);
            tok.is_some_and(|it| it.is_ref() || it.is_quantity())
        };
        if bar(at + 1) && at > 0 && operand(at - 1) && operand(at + 2) {
            let all = self.span(at - 1).to(self.span(at + 2));
            let text = format!("parallel({}, {})", self.word(at - 1), self.word(at + 2));
            return Some(Fix::likely(
                format!("write `{text}`"),
                vec![replace(all, text)],
            ));
        }
        let close = (at + 1..self.tokens.len()).find(|at| bar(*at))?;
        let inner = self.span(at + 1).to(self.span(close - 1)).of(self.text);
        let title = format!("write `abs({inner})`");
        let edits = vec![
            replace(self.span(at), "abs("),
            replace(self.span(close), ")"),
        ];
        (close > at + 1).then(|| Fix::likely(title, edits))
    }

    /// `;` between clauses, between rails, before a statement, at the end.
    fn semicolon(&self, at: usize, fault: Fault) -> Fault {
        let gap = self.with_gap(at);
        let begins = self.tok(at + 1).is_some_and(Tok::is_name) && self.begins_a_statement(at + 1);
        let (title, text, gap) = match self.kind {
            _ if at == 0 => ("write `#`", "#", self.span(0)),
            _ if at + 1 == self.tokens.len() => ("leave out `;`", "", gap),
            _ if begins => {
                let end = self.span(at + 1).start;
                ("begin a new line", "\n", Span { end, ..gap })
            }
            Kind::Supply => ("write `and`", " and", gap),
            _ => {
                let edits = self
                    .tokens
                    .iter()
                    .enumerate()
                    .filter(|(_, (tok, it))| *tok == Tok::Stray && it.of(self.text) == ";")
                    .map(|(at, _)| replace(self.with_gap(at), ","))
                    .collect();
                return fault.fix(Fix::likely("write a comma", edits));
            }
        };
        fault.fix(Fix::likely(title, vec![replace(gap, text)]))
    }

    /// `1.2 × 10^-4 A`, where the sign or the letter between them stands at this token.
    pub(super) fn scientific(&self, at: usize) -> Option<Fix> {
        let number = at
            .checked_sub(1)
            .filter(|at| matches!(self.tok(*at), Some(Tok::Whole | Tok::Decimal)))?;
        let cross = matches!(self.word(at), "x" | "X" | "×" | "·" | "⋅");
        if !cross || self.word(at + 1) != "10" || self.tok(at + 2) != Some(Tok::Caret) {
            return None;
        }
        let sign = usize::from(self.tok(at + 3) == Some(Tok::Minus));
        let exponent = at + 3 + sign;
        if !self.tok(exponent)?.is_quantity() {
            return None;
        }
        let minus = if sign == 1 { "-" } else { "" };
        let text = format!("{}e{minus}{}", self.word(number), self.word(exponent));
        let all = self.span(number).to(self.span(exponent));
        Some(Fix::likely(
            format!("write `{text}`"),
            vec![replace(all, text)],
        ))
    }

    /// Dashes keep a space on both sides.
    pub(super) fn spaced(&self, span: Span, text: &str) -> String {
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
fn replacement(
    character: char,
    equation: bool,
    kind: Kind,
    behind_a_number: bool,
) -> Option<(&'static str, bool)> {
    // Between the nodes of a path a dash joins.
    let minus = equation || !matches!(kind, Kind::Path | Kind::Unknown);
    Some(match character {
        '→' | '⟶' if !equation => ("--", true),
        '|' | '¦' if !equation && matches!(kind, Kind::Path | Kind::Unknown) => ("--", false),
        '≈' | '≃' | '≅' | '~' if matches!(kind, Kind::Expect | Kind::Equation) => {
            ("=", false)
        }
        '±' if kind == Kind::Expect && behind_a_number => ("within", false),
        '&' if kind == Kind::Supply => ("and", true),
        '\'' | '’' | '‘' if !equation => ("\"", false),
        '—' | '–' | '―' | '‒' | '‐' | '‑' | '─' | '━' | '﹣' | '－' if minus => {
            ("-", false)
        }
        '—' | '–' | '―' | '‒' | '‐' | '‑' | '─' | '━' | '﹣' | '－' => {
            ("--", true)
        }
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
