//! What the grammar expected, in words of the trade.

use chumsky::error::RichPattern;

use super::{Line, insert, replace};
use crate::bench::Expectation;
use crate::grammar;
use crate::kind::Kind;
use crate::lexer::Tok;
use crate::{Fault, FaultKind, Fix, Span, spelled};

/// The functions of the language.
const FUNCTIONS: [&str; 10] = [
    "parallel", "abs", "sqrt", "min", "max", "log10", "nearest", "current", "power", "phase",
];
/// Words that a sentence might have for those of the language.
const SYNONYMS: [(&str, &str); 20] = [
    ("step", "by"),
    ("steps", "by"),
    ("every", "by"),
    ("until", "to"),
    ("till", "to"),
    ("til", "to"),
    ("in", "into"),
    ("onto", "into"),
    ("during", "for"),
    ("over", "for"),
    ("through", "for"),
    ("between", "from"),
    ("starting", "from"),
    ("after", "at"),
    ("when", "at"),
    ("of", "for"),
    ("use", "are"),
    ("have", "are"),
    ("mark", "points"),
    ("marks", "points"),
];

/// What would have been taken where the line failed.
#[derive(Default)]
struct Wanted {
    end: bool,
    labels: Vec<String>,
    tokens: Vec<Tok>,
}

impl Wanted {
    fn of(expectation: &Expectation<'_>) -> Wanted {
        let mut wanted = Wanted::default();
        for pattern in expectation.expected() {
            match pattern {
                RichPattern::EndOfInput => wanted.end = true,
                RichPattern::Label(label) => wanted.labels.push(label.to_string()),
                RichPattern::Token(token) => wanted.tokens.push(**token),
                _ => {}
            }
        }
        wanted
    }

    fn label(&self, label: &str) -> bool {
        self.labels.iter().any(|it| it == label)
    }

    fn token(&self, tok: Tok) -> bool {
        self.tokens.contains(&tok)
    }

    /// Whether an operand of an expression would do.
    fn operand(&self) -> bool {
        self.label(grammar::QUANTITY)
    }
}

impl Line<'_> {
    /// The fault where the grammar could not go on.
    pub(super) fn expected(&self, expectation: Option<Expectation<'_>>) -> Fault {
        let Some(expectation) = expectation else {
            return self.extra(0);
        };
        let wanted = Wanted::of(&expectation);
        let failed = expectation.span().start;
        let at = match expectation.found() {
            Some(_) => self
                .tokens
                .iter()
                .position(|(_, span)| span.start >= failed)
                .unwrap_or(self.tokens.len()),
            None => self.tokens.len(),
        };
        let Some(found) = self.tok(at) else {
            return self.missing(at, &wanted);
        };
        if found == Tok::Open && at > 0 && self.tok(at - 1).is_some_and(Tok::is_ref)
            || found == Tok::Close && !wanted.token(Tok::Close) && !wanted.operand()
        {
            return self.complete_before(at, &wanted);
        }
        if found == Tok::Wire && self.has_expressions() {
            return self.wire_in_equation(at);
        }
        if let Some(fault) = self.call_without_brackets(at) {
            return fault;
        }
        if let Some(fault) = self.points_otherwise(at) {
            return fault;
        }
        if let Some(fault) = self.in_response(at) {
            return fault;
        }
        if let Some(fault) = self.plus_sign(at).filter(|_| wanted.operand()) {
            return fault;
        }
        if let Some(fault) = self.misspelt_wave(at) {
            return fault;
        }
        if let Some(fault) = self.misspelt_word(at, &wanted) {
            return fault;
        }
        if !wanted.operand()
            && let Some(fault) = self.behind_a_number(at)
        {
            return fault;
        }
        if self.kind == Kind::Circuit
            && at == 2
            && found.is_name()
            && self.tok(3) == Some(Tok::Text)
        {
            let name = format!("{}_{}", self.word(1), self.word(2));
            let both = self.span(1).to(self.span(2));
            let fix = Fix::likely(format!("write `{name}`"), vec![replace(both, name)]);
            return self.missing(at, &wanted).fix(fix);
        }
        if wanted.label(grammar::TEXT) && found.is_ref() {
            return self.missing(at, &wanted).fix(self.in_quotes(at));
        }
        if wanted.end {
            return self.complete_before(at, &wanted);
        }
        self.missing(at, &wanted)
    }

    /// Whether dashes in such a line can only have slipped into an expression.
    fn has_expressions(&self) -> bool {
        !matches!(
            self.kind,
            Kind::Use
                | Kind::Part
                | Kind::Circuit
                | Kind::Work
                | Kind::Task
                | Kind::Answer
                | Kind::Opamps
                | Kind::End
        )
    }

    /// `let x = a--b`
    fn wire_in_equation(&self, at: usize) -> Fault {
        let fault = Fault::new(self.span(at), FaultKind::WireInEquation);
        let operand = |at: usize| {
            self.tok(at)
                .is_some_and(|tok| tok.is_ref() || tok.is_quantity())
        };
        let touches = |left: usize| self.span(left).end == self.span(left + 1).start;
        // Dashes in front let the line go on from the one above.
        let line_start = self.text[..self.span(at).start as usize]
            .rfind('\n')
            .map_or(0, |it| it + 1);
        if self.text[line_start..self.span(at).start as usize]
            .trim()
            .is_empty()
        {
            let end = self
                .tokens
                .get(at + 1)
                .map_or(self.span(at).end, |it| it.1.start);
            let gap = Span {
                end,
                ..self.span(at)
            };
            return fault.fix(Fix::likely("leave out `--`", vec![replace(gap, "")]));
        }
        if at == 0 || !operand(at - 1) || !operand(at + 1) {
            return fault;
        }
        if !touches(at - 1) || !touches(at) {
            let minus = vec![replace(self.span(at), "-")];
            return match self.depths()[at] {
                0 => fault,
                _ => fault.fix(Fix::likely("write `-`", minus)),
            };
        }
        let (left, right) = (self.word(at - 1), self.word(at + 1));
        let gap = Span {
            start: self.span(at - 1).end,
            end: self.span(at + 1).end,
        };
        fault.fix(Fix::likely(
            format!("write `{left} - (-{right})`"),
            vec![replace(gap, format!(" - (-{right})"))],
        ))
    }

    /// A word that is nearly one of those that may stand here.
    fn misspelt_word(&self, at: usize, wanted: &Wanted) -> Option<Fault> {
        if !self.tok(at)?.is_name() {
            return None;
        }
        let words = || wanted.tokens.iter().filter_map(|tok| tok.word());
        let said = SYNONYMS.iter().find(|it| it.0 == self.word(at));
        let said = said
            .map(|it| it.1)
            .filter(|it| words().any(|word| word == *it));
        let near = said.or_else(|| spelled(words(), self.word(at)))?;
        let tok = wanted.tokens.iter().find(|tok| tok.word() == Some(near))?;
        let (what, example) = self.in_words(*tok);
        let fix = Fix::likely(
            format!("write `{near}`"),
            vec![replace(self.span(at), near)],
        );
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `sqrt 9`, `abs out`, `current through R1`
    fn call_without_brackets(&self, at: usize) -> Option<Fault> {
        let small = |at: usize| matches!(self.word(at), "of" | "through" | "in" | "into");
        let operand = |at: usize| {
            let tok = self.tok(at);
            tok.is_some_and(|it| it.is_quantity() || it.is_ref())
        };
        let name = at.checked_sub(1)?;
        let first = at + usize::from(small(at) && operand(at + 1));
        if !FUNCTIONS.contains(&self.word(name)) || !operand(first) || !self.has_expressions() {
            return None;
        }
        let mut last = first;
        while self.tok(last + 1) == Some(Tok::Comma) && operand(last + 2) {
            last += 2;
        }
        let several = matches!(self.word(name), "parallel" | "min" | "max" | "nearest");
        let last = if several { last } else { first };
        let inside = self.span(first).to(self.span(last)).of(self.text);
        let text = format!("{}({inside})", self.word(name));
        let all = self.span(name).to(self.span(last));
        let fix = Fix::likely(format!("write `{text}`"), vec![replace(all, text)]);
        let example = match self.word(name) {
            "current" | "power" => "current(R1)",
            "parallel" | "min" | "max" | "nearest" => "parallel(R1, R2)",
            _ => "sqrt(2)",
        };
        Some(self.wanted(at, "`(`", example).fix(fix))
    }

    /// `"…" (4 points)`, `"…", 4`, `find out, 3 points`
    fn points_otherwise(&self, at: usize) -> Option<Fault> {
        let begins = matches!(self.tok(at), Some(Tok::Comma | Tok::Open | Tok::Whole));
        if !matches!(self.kind, Kind::Task | Kind::Find) || at < 2 || !begins {
            return None;
        }
        let first = at - usize::from(self.tok(at - 1) == Some(Tok::Comma));
        let mut number = None;
        for index in first..self.tokens.len() {
            let word = self.word(index);
            match self.tok(index)? {
                Tok::Whole if number.is_none() => number = Some(word),
                Tok::Comma | Tok::Open | Tok::Close | Tok::Points => {}
                _ if matches!(word, "point" | "marks" | "mark") => {}
                _ => return None,
            }
        }
        let text = format!("points {}", number?);
        if self.kind == Kind::Find && !self.tokens[first..].iter().any(|it| it.0 == Tok::Points) {
            return None;
        }
        let all = self.span(first).to(self.span(self.tokens.len() - 1));
        let touches = self.span(first - 1).end == all.start;
        let gap = if touches { " " } else { "" };
        let fix = Fix::likely(
            format!("write `{text}`"),
            vec![replace(all, format!("{gap}{text}"))],
        );
        Some(self.extra(first).fix(fix))
    }

    /// `response out over in`, `… by drip`
    fn in_response(&self, at: usize) -> Option<Fault> {
        if self.kind != Kind::Response {
            return None;
        }
        let (title, text) = match (self.word(at), at) {
            ("over", _) => ("write `/`", "/"),
            ("by", 3..) => ("write `driven by`", "driven by"),
            _ => return None,
        };
        let (what, example) = match text {
            "/" => ("a ratio", "response out / in from 10 Hz to 1 MHz"),
            _ => ("`driven by`", "driven by probe"),
        };
        let fix = Fix::likely(title, vec![replace(self.span(at), text)]);
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `in = +1.2 V`
    pub(super) fn plus_sign(&self, at: usize) -> Option<Fault> {
        let operand = |tok: Tok| tok.is_quantity() || tok.is_ref() || tok == Tok::Open;
        if self.tok(at)? != Tok::Plus || !self.tok(at + 1).is_some_and(operand) {
            return None;
        }
        let (what, example) = self.operand_in_words(at);
        let gap = Span {
            start: self.span(at).start,
            end: self.span(at + 1).start,
        };
        let fix = Fix::safe("leave out `+`", vec![replace(gap, "")]);
        Some(self.wanted(at, what, example).fix(fix))
    }

    /// `in = sin 1 V at 1 kHz`
    fn misspelt_wave(&self, at: usize) -> Option<Fault> {
        let begins =
            |at: usize| at > 2 && matches!(self.tok(at - 1), Some(Tok::Equals | Tok::Colon));
        let at = [Some(at), at.checked_sub(1)]
            .into_iter()
            .flatten()
            .find(|at| begins(*at))?;
        let source = matches!(self.kind, Kind::HeldSource | Kind::CurrentSource);
        let size = matches!(self.tok(at + 1), Some(Tok::Minus)) || self.tok(at + 1)?.is_quantity();
        if !source || !size || !self.tok(at)?.is_name() {
            return None;
        }
        let waves = ["sine", "square", "triangle", "step", "through"];
        let small = self.word(at).to_lowercase();
        let near = match small.as_str() {
            "sin" | "sinus" | "cosine" | "wave" => "sine",
            "ramp" | "sawtooth" => "triangle",
            "pulse" | "rect" => "square",
            small => spelled(waves, small)?,
        };
        let fix = Fix::likely(
            format!("write `{near}`"),
            vec![replace(self.span(at), near)],
        );
        Some(self.wanted(at, "a wave", "sine 1 V at 1 kHz").fix(fix))
    }

    /// The line is complete before this token.
    fn complete_before(&self, at: usize, wanted: &Wanted) -> Fault {
        let fault = self.extra(at);
        let before = at.checked_sub(1);
        let gap = before.map_or(self.span(at), |before| Span {
            start: self.span(before).end,
            end: self.span(at).start,
        });
        match (before.and_then(|before| self.tok(before)), self.tok(at)) {
            // `abs (x)`: the bracket of a function touches its name.
            (Some(name), Some(Tok::Open)) if name.is_ref() => {
                let name = self.word(at - 1);
                if FUNCTIONS.contains(&name) {
                    fault.fix(Fix::safe(
                        format!("write `{name}(`"),
                        vec![replace(gap, "")],
                    ))
                } else {
                    fault.fix(Fix::likely(
                        format!("write `{name} * (`"),
                        vec![replace(gap, " * ")],
                    ))
                }
            }
            // `drives out out`
            (Some(_), Some(found)) if found.is_ref() && self.word(at) == self.word(at - 1) => {
                let title = format!("leave out the second `{}`", self.word(at));
                fault.fix(Fix::likely(title, vec![replace(self.with_gap(at), "")]))
            }
            // `gain x (a - b)`
            (Some(before), Some(_))
                if matches!(self.word(at), "x" | "X" | "times")
                    && self.has_expressions()
                    && (before.is_ref() || before == Tok::Close) =>
            {
                fault.fix(Fix::likely("write `*`", vec![replace(self.span(at), "*")]))
            }
            // `block turn: in, out, R 20k`
            (Some(name), Some(found))
                if self.kind == Kind::Block && name.is_name() && found.is_quantity() =>
            {
                let edit = vec![insert(self.span(at).start, "= ")];
                fault.fix(Fix::likely("write `=` before it", edit))
            }
            (Some(Tok::Close), Some(Tok::Open)) => {
                fault.fix(Fix::likely("write `) * (`", vec![replace(gap, " * ")]))
            }
            (Some(Tok::Points), _) if at > 1 && self.tok(at - 2) == Some(Tok::Comma) => {
                let comma = self.with_gap(at - 2);
                self.extra(at - 2)
                    .fix(Fix::likely("leave out the comma", vec![replace(comma, "")]))
            }
            (_, Some(found)) if found.is_name() && self.begins_a_statement(at) => {
                fault.fix(Fix::likely("begin a new line", vec![replace(gap, "\n")]))
            }
            (Some(name), Some(found))
                if name.is_name() && found.is_name() && self.word(at - 1) == "the" =>
            {
                fault
            }
            (_, Some(Tok::And)) if wanted.token(Tok::Comma) => fault.fix(Fix::likely(
                "write a comma",
                vec![replace(self.with_gap(at), ",")],
            )),
            // `6 V per us`
            (Some(before), Some(_))
                if before.is_quantity()
                    && self.word(at) == "per"
                    && at + 2 == self.tokens.len() =>
            {
                let all = self.span(at - 1).to(self.span(at + 1));
                let text = format!("{}/{}", self.word(at - 1), self.word(at + 1));
                fault.fix(Fix::likely(
                    format!("write `{text}`"),
                    vec![replace(all, text)],
                ))
            }
            (_, Some(Tok::Close)) => fault.fix(Fix::likely(
                "leave out `)`",
                vec![replace(self.span(at), "")],
            )),
            (Some(_), Some(found))
                if wanted.token(Tok::Comma) && (found.is_ref() || found.is_quantity()) =>
            {
                fault.fix(Fix::likely(
                    "put a comma before it",
                    vec![insert(gap.start, ",")],
                ))
            }
            _ => fault,
        }
    }

    /// Whether a statement of its own begins at this token, in the middle of a line.
    pub(super) fn begins_a_statement(&self, at: usize) -> bool {
        let named =
            self.tok(at + 1).is_some_and(Tok::is_name) && self.tok(at + 2) == Some(Tok::Colon);
        let path = self.tok(at + 1) == Some(Tok::Wire);
        let by_word = matches!(
            self.tok(at),
            Some(
                Tok::Expect
                    | Tok::Let
                    | Tok::Supply
                    | Tok::Opamps
                    | Tok::Ask
                    | Tok::Problem
                    | Tok::Record
                    | Tok::Find
            )
        ) && self
            .tok(at + 1)
            .is_some_and(|tok| tok.is_ref() || tok == Tok::Text || tok == Tok::Plus);
        named || path || by_word
    }

    /// The rest of the line, but for its points, in quotes.
    pub(super) fn in_quotes(&self, at: usize) -> Fix {
        let mut end = self.tokens.len();
        if end >= at + 3
            && (self.tok(end - 2) == Some(Tok::Points)
                || self.kind == Kind::Work && self.tok(end - 2) == Some(Tok::For))
        {
            end -= 2;
        }
        let span = self.span(at).to(self.span(end - 1));
        let mut text = span.of(self.text).to_string();
        text.retain(|it| it != '"');
        Fix::likely(
            format!("write `\"{text}\"`"),
            vec![replace(span, format!("\"{text}\""))],
        )
    }

    /// `expect out -3.96 V`, `expect current R1 = 1 mA`, `circuit "Scale the probe"`
    fn no_equals(&self, at: usize, wanted: &Wanted) -> Option<Fault> {
        let quantity = |at: usize| self.tok(at).is_some_and(Tok::is_quantity);
        let end = self.tokens.len();
        if self.kind == Kind::Circuit && self.tok(at) == Some(Tok::Text) && at == 1 {
            let text = self.word(1).trim_matches('"').to_lowercase();
            let letters = text
                .chars()
                .map(|it| if it.is_alphanumeric() { it } else { '_' });
            let name: String = letters.take(40).collect();
            let name = name.trim_matches('_');
            let fault = self.wanted(1, "a name", self.name_example());
            let begins = name.chars().next().is_some_and(char::is_alphabetic);
            return Some(match begins {
                true => fault.fix(Fix::likely(
                    format!("call it `{name}`"),
                    vec![insert(self.span(1).start, format!("{name} "))],
                )),
                false => fault,
            });
        }
        if !wanted.token(Tok::Equals) {
            return None;
        }
        let (what, example) = self.in_words(Tok::Equals);
        if self.kind == Kind::Expect
            && at == end
            && end == 4
            && self.tok(2) == Some(Tok::Minus)
            && quantity(3)
        {
            let value = self.span(2).to(self.span(3));
            let fault = Fault::new(value, FaultKind::Expected { what, example }).unfinished(true);
            let fix = Fix::likely("write `=` before it", vec![insert(value.start, "= ")]);
            return Some(fault.fix(fix));
        }
        let function =
            ["current", "power", "abs", "phase"].contains(&self.word(at.checked_sub(1)?));
        if function && self.tok(at).is_some_and(Tok::is_ref) {
            let (name, of) = (self.span(at - 1), self.span(at));
            let text = format!("{}({})", self.word(at - 1), self.word(at));
            let fix = Fix::likely(format!("write `{text}`"), vec![replace(name.to(of), text)]);
            return Some(self.wanted(at, "`(`", "current(R1)").fix(fix));
        }
        None
    }

    /// Something is missing at this token or, behind the last one, at the end of the line.
    fn missing(&self, at: usize, wanted: &Wanted) -> Fault {
        if let Some(fault) = self.no_equals(at, wanted) {
            return fault;
        }
        if wanted.operand()
            && at > 0
            && self.tok(at) == Some(Tok::Equals)
            && self.tok(at - 1) == Some(Tok::Equals)
        {
            let both = self.span(at - 1).to(self.span(at));
            return self
                .wanted(at, "a value", "1.2 V")
                .fix(Fix::safe("write `=`", vec![replace(both, "=")]));
        }
        if wanted.operand() {
            let (what, example) = self.operand_in_words(at);
            return self.wanted(at, what, example);
        }
        let labels = [
            (grammar::WHOLE, "a whole number", "x^2"),
            (grammar::NUMBER, "a number", self.number_example()),
            (grammar::NODE, "a node", "ground"),
            (grammar::CLAUSE, "a clause", "plus in"),
            (grammar::TEXT, "a text in quotes", self.text_example()),
            (grammar::NAME, "a name", self.name_example()),
        ];
        if let Some((_, what, example)) = labels.into_iter().find(|(label, ..)| wanted.label(label))
        {
            return self.wanted(at, what, example);
        }
        // Brackets close before anything else can follow; then come signs, then words in the grammar's order.
        let order = [Tok::Close, Tok::Equals, Tok::Colon, Tok::Less, Tok::From];
        let by_order = order.into_iter().find(|tok| wanted.token(*tok));
        let word = || {
            wanted
                .tokens
                .iter()
                .copied()
                .find(|tok| tok.word().is_some())
        };
        let comma = || wanted.tokens.iter().copied().find(|tok| *tok == Tok::Comma);
        match by_order.or_else(word).or_else(comma) {
            Some(tok) => {
                let (what, example) = self.in_words(tok);
                let fault = self.wanted(at, what, example);
                let opens_a_value = self
                    .tok(at)
                    .is_some_and(|it| it.is_quantity() || it.is_ref());
                // `let full scale = 2 V`
                let two_words = self.tok(at) == Some(Tok::Name)
                    && at.checked_sub(1).and_then(|it| self.tok(it)) == Some(Tok::Name)
                    && self.tok(at + 1) == Some(Tok::Equals);
                if tok == Tok::Equals && two_words && self.kind == Kind::Let {
                    let name = format!("{}_{}", self.word(at - 1), self.word(at));
                    let both = self.span(at - 1).to(self.span(at));
                    let fix = Fix::likely(format!("write `{name}`"), vec![replace(both, name)]);
                    return fault.fix(fix);
                }
                if tok == Tok::Equals
                    && opens_a_value
                    && self.kind == Kind::Let
                    && self.tok(at) != Some(Tok::Are)
                {
                    return fault.fix(Fix::likely(
                        "write `=` before it",
                        vec![insert(self.span(at).start, "= ")],
                    ));
                }
                if tok == Tok::Colon {
                    return self.missing_colon(at, example);
                }
                fault
            }
            None => self.wanted(at, "a value", "1.2 V"),
        }
    }

    /// A word or sign that was expected, with an example for this kind of line.
    pub(super) fn in_words(&self, tok: Tok) -> (&'static str, &'static str) {
        let what = match (tok, self.kind) {
            (Tok::Among | Tok::From, Kind::Vary) => "`from` or `among`",
            (Tok::By | Tok::In, Kind::Vary) => "`by` or `in`",
            (tok, _) => tok.quoted().unwrap_or("something else"),
        };
        let example = match (tok, self.kind) {
            (Tok::Less, _) => return ("a comparison", "abs(out) < 9 V"),
            (Tok::Equals, Kind::Let) => "let R = 10k",
            (Tok::Equals, Kind::Start) => "start a - b = 2 V",
            (Tok::Equals, Kind::Equation) => "(u - n) / R1 = 0",
            (Tok::Equals, _) => "expect out = 3 V",
            (Tok::Colon, Kind::Block) => "block inverter: in, out",
            (Tok::Colon, Kind::Allow) => "allow loose_end at R1: \"why\"",
            (Tok::Colon, _) => "opamp A1: plus in",
            (Tok::Close, _) => "(a + b)",
            (Tok::Comma, _) => "a, b",
            (Tok::Are, _) => "opamps are ideal",
            (Tok::Into, _) => "into ground",
            (Tok::From, Kind::CurrentSource) => "from sum into ground",
            (Tok::From, Kind::Response) => "from 10 Hz to 1 MHz",
            (Tok::To, Kind::Response) => "to 1 MHz",
            (Tok::From | Tok::Among, _) => "from 1k to 10k in E24",
            (Tok::To, Kind::Vary) => "to 10k",
            (Tok::To, _) => "step 0 V to 1 V at 1 ms",
            (Tok::By | Tok::In, Kind::Vary) => "in E24",
            (Tok::By | Tok::Driven, _) => "driven by probe",
            (Tok::For, Kind::Record) => "for 5 ms",
            (Tok::For, _) => "for moisture_scaler",
            (Tok::At, Kind::HeldSource | Kind::CurrentSource) => "at 1 kHz",
            (Tok::At, Kind::Allow) => "at R1",
            (Tok::At, _) => "at 2 ms",
            (Tok::High | Tok::Low, _) => "at high rail",
            (Tok::Rail, _) => "at high rail",
            (Tok::Linear, _) => "expect A1 linear",
            (Tok::Within, _) => "within 1 %",
            (Tok::Points, _) => "points 2",
            (Tok::And, _) => "+9 V and -9 V",
            (tok, _) => tok.word().unwrap_or(""),
        };
        (what, example)
    }

    /// An operand that was expected, by the word before it.
    fn operand_in_words(&self, at: usize) -> (&'static str, &'static str) {
        let before = at.checked_sub(1).and_then(|it| self.tok(it));
        let shape = self.tokens.iter().rev().map(|(tok, _)| *tok).find(|tok| {
            matches!(
                tok,
                Tok::Sine | Tok::Square | Tok::Triangle | Tok::Step | Tok::Through
            )
        });
        match (before, self.kind) {
            (Some(Tok::At), Kind::HeldSource | Kind::CurrentSource) => match shape {
                Some(Tok::Step | Tok::Through) => ("a time", "1 ms"),
                _ => ("a frequency", "1 kHz"),
            },
            (Some(Tok::Phase), Kind::HeldSource | Kind::CurrentSource) => ("an angle", "90 deg"),
            (Some(Tok::Duty), Kind::HeldSource | Kind::CurrentSource) => ("a share", "30 %"),
            (Some(Tok::At), Kind::Expect) => ("a time or a frequency", "2 ms"),
            (Some(Tok::Within), _) => ("a ratio or an amount", "1 %"),
            (Some(Tok::For), Kind::Record) => ("a time", "5 ms"),
            (Some(Tok::From | Tok::To), Kind::Response) => ("a frequency", "10 Hz"),
            (Some(Tok::Find), Kind::Find) => ("what is asked", "out"),
            (Some(Tok::Record), Kind::Record) => ("what is recorded", "out"),
            (Some(Tok::Expect), Kind::Expect) => ("a claim", "out = 3 V"),
            (_, Kind::Property) => ("a value", self.property_example()),
            (_, Kind::Block | Kind::Let) => ("a value", "10k"),
            (Some(Tok::Supply), Kind::Supply) => ("the rails", "+9 V and -9 V"),
            (_, Kind::Vary) => ("a value", "10k"),
            _ => ("a value", "1.2 V"),
        }
    }

    fn name_example(&self) -> &'static str {
        match self.kind {
            Kind::Part => "part low_noise",
            Kind::Block => "block inverter: in, out",
            Kind::Circuit => "circuit moisture_scaler",
            Kind::Work => "for moisture_scaler",
            Kind::Opamps => "opamps are ideal",
            Kind::Let => "let R = 10k",
            Kind::Vary => "vary R4 from 20k to 39k in E24",
            Kind::Response => "driven by probe",
            Kind::Allow => "allow loose_end at R1: \"why\"",
            _ => "out",
        }
    }

    pub(super) fn text_example(&self) -> &'static str {
        match self.kind {
            Kind::Use => "use \"lab.amp\"",
            Kind::Allow => "\"measured\"",
            Kind::Circuit => "\"Scale the moisture probe\"",
            Kind::Work => "\"my solution\"",
            _ => "\"Find the output.\"",
        }
    }

    fn property_example(&self) -> &'static str {
        match self.word(0) {
            "gain" => "100 dB",
            "bandwidth" => "3 MHz",
            "slew" => "6 V/us",
            "input_resistance" => "1.5M",
            "output_resistance" => "120 ohm",
            "rejection" => "86 dB",
            "offset" => "1.5 mV",
            "bias_current" | "bias_offset" => "20 nA",
            "headroom" => "1.5 V",
            "current" => "20 mA",
            "supply" => "3 V to 6 V",
            "package" => "dual_8",
            _ => "1.2 V",
        }
    }

    fn number_example(&self) -> &'static str {
        if self.kind == Kind::Version {
            "ampersum 1"
        } else {
            "points 2"
        }
    }
}
