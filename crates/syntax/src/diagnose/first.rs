//! Lines that no statement begins with.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{CLAUSES, DEVICES, Fault, FaultKind, Fix, Span, spelled, units};

/// The words that begin a statement.
const STATEMENTS: [&str; 23] = [
    "ampersum", "use", "part", "block", "circuit", "work", "end", "source", "let", "supply",
    "opamps", "start", "expect", "problem", "ask", "answer", "find", "vary", "require", "record",
    "response", "allow", "opamp",
];

/// The first words of properties that begin nothing else.
const PROPERTIES: [&str; 13] = [
    "gain",
    "bandwidth",
    "slew",
    "input_resistance",
    "output_resistance",
    "rejection",
    "offset",
    "bias_current",
    "bias_offset",
    "current",
    "headroom",
    "inputs",
    "package",
];

/// Whether a word begins a property and nothing else.
pub(crate) fn is_property(word: &str) -> bool {
    PROPERTIES.contains(&word)
}

impl Line<'_> {
    /// What a line is that begins with no word of a statement.
    pub(super) fn unknown(&self) -> Fault {
        let first = self.tokens[0].0;
        let has = |wanted: Tok| self.tokens.iter().any(|(tok, _)| *tok == wanted);
        let second = self.tok(1);
        let operator = matches!(
            second,
            Some(
                Tok::Equals
                    | Tok::Minus
                    | Tok::Plus
                    | Tok::Star
                    | Tok::Slash
                    | Tok::Caret
                    | Tok::Call
            )
        );
        if let Some(fault) = self.underline() {
            return fault;
        }
        if first.is_name() && DEVICES.contains(&self.word(0)) && !has(Tok::Wire) && !operator {
            return self.half_a_device();
        }
        if let Some(fault) = self.other_word() {
            return fault;
        }
        let near = first.is_name().then(|| self.near_statement()).flatten();
        if let Some(fault) = self
            .odd_dashes()
            .filter(|_| near.is_none() || has(Tok::Wire))
        {
            return fault;
        }
        if has(Tok::Wire) {
            let outside = self.path();
            return outside.unwrap_or_else(|| self.not_a_statement(near));
        }
        if let Some(fault) = self.element_in_words() {
            return fault;
        }
        if has(Tok::Equals) && (operator || !first.is_ref()) {
            return self.equation_alone();
        }
        if !first.is_ref() {
            return self.not_a_statement(None);
        }
        if second == Some(Tok::Minus) && self.tok(2).is_some_and(Tok::is_ref) {
            return self.single_dash(1);
        }
        if self.tokens.len() > 1 && PROPERTIES.contains(&self.word(0)) && second != Some(Tok::Colon)
        {
            return Fault::new(self.span(0), FaultKind::WrongPlace { belongs: "a part" });
        }
        if near.is_some() {
            return self.not_a_statement(near);
        }
        match second {
            Some(Tok::Comma) if self.tokens.iter().any(|(tok, _)| tok.is_quantity()) => {
                let fix = Fix::likely("join with `--`", vec![replace(self.span(1), " --")]);
                self.wanted(1, "`--`", "in -- R1 10k -- out").fix(fix)
            }
            Some(Tok::Open | Tok::Call) => Fault::new(self.span(0), FaultKind::ElementAlone),
            Some(tok) if tok.is_quantity() => self.element_alone(),
            Some(tok) if tok.is_ref() => self.two_words(),
            _ => self.not_a_statement(None),
        }
    }

    fn element_alone(&self) -> Fault {
        let fault = Fault::new(self.span(0), FaultKind::ElementAlone);
        // `R1 10k out` has its second node already, but `R1 10 kOhm` is first of all no unit.
        match self.behind_a_number(2) {
            Some(unit)
                if matches!(
                    unit.kind,
                    FaultKind::UnknownUnit(Some(_)) | FaultKind::TwoNumbers
                ) =>
            {
                unit
            }
            _ => fault,
        }
    }

    /// `opamp A2`, `opamp A2 plus in`
    fn half_a_device(&self) -> Fault {
        let example = "opamp A1: plus in, minus fb, drives out";
        if self.tok(1) == Some(Tok::Are) {
            return self.not_a_statement(Some("opamps"));
        }
        if self.tok(1) == Some(Tok::Colon)
            && self.tok(2).is_some_and(Tok::is_name)
            && !CLAUSES.contains(&self.word(2))
        {
            let name = self.word(2);
            let gap = Span {
                start: self.span(1).start,
                end: self.span(2).end,
            };
            let fix = Fix::likely(
                "put the colon behind the name",
                vec![replace(gap, format!(" {name}:"))],
            );
            return self.wanted(1, "a name", example).fix(fix);
        }
        if !self.tok(1).is_some_and(Tok::is_name) {
            return self.wanted(1, "a name", example);
        }
        self.missing_colon(2, example)
    }

    /// Two words in front: a path without dashes, a device whose kind is a block, or nothing known.
    fn two_words(&self) -> Fault {
        if self.tok(2).is_some_and(Tok::is_quantity) {
            let fix = Fix::likely("join with `--`", vec![insert(self.span(1).start, "-- ")]);
            return self.wanted(1, "`--`", "in -- R1 10k -- out").fix(fix);
        }
        if self.may_be_a_block() {
            return self.missing_colon(2, "inverter S1: in a, out b");
        }
        self.not_a_statement(None)
    }

    /// Another word of the trade, or a word in another place, for what begins a statement.
    fn other_word(&self) -> Option<Fault> {
        let has = |wanted: Tok| self.tokens.iter().any(|(tok, _)| *tok == wanted);
        let (first, second) = (self.word(0), self.word(1));
        let touch = |at: usize| self.span(at).end == self.span(at + 1).start;
        // `op-amp A1: …`, `op amp A1: …`
        if first.eq_ignore_ascii_case("op") {
            let last = 1 + usize::from(self.tok(1) == Some(Tok::Minus) && touch(0));
            if self.word(last).eq_ignore_ascii_case("amp") {
                let span = self.span(0).to(self.span(last));
                return Some(self.begins_with("opamp", span));
            }
        }
        if !self.tok(0)?.is_name() {
            return None;
        }
        // `A1: opamp plus …`
        if self.tok(1) == Some(Tok::Colon)
            && DEVICES.contains(&self.word(2))
            && self.tok(3).is_some_and(Tok::is_name)
        {
            let head = self.span(0).to(self.span(2));
            let text = format!("{} {first}:", self.word(2));
            let fix = Fix::likely(format!("write `{text} …`"), vec![replace(head, text)]);
            return Some(Fault::new(self.span(0), FaultKind::NotAStatement(None)).fix(fix));
        }
        // `A1 = opamp(…)`
        if self.tok(1) == Some(Tok::Equals) && matches!(self.tok(3), Some(Tok::Open | Tok::Call)) {
            let device = DEVICES.into_iter().find(|it| *it == self.word(2))?;
            return Some(Fault::new(
                self.span(0),
                FaultKind::NotAStatement(Some(device)),
            ));
        }
        // `probe: in = 1.2 V`
        if self.tok(1) == Some(Tok::Colon)
            && has(Tok::Equals)
            && self.tok(2).is_some_and(Tok::is_ref)
        {
            let fix = Fix::likely(
                "write `source` before it",
                vec![insert(self.span(0).start, "source ")],
            );
            return Some(
                Fault::new(self.span(0), FaultKind::NotAStatement(Some("source"))).fix(fix),
            );
        }
        // `set gain = 10`
        let sets = matches!(
            first.to_lowercase().as_str(),
            "set" | "define" | "const" | "var"
        );
        if sets && self.tok(1)?.is_name() && self.tok(2) == Some(Tok::Equals) && !second.is_empty()
        {
            return Some(self.begins_with("let", self.span(0)));
        }
        None
    }

    /// Another word stands where this one begins the statement.
    fn begins_with(&self, word: &'static str, span: Span) -> Fault {
        let fix = Fix::likely(format!("write `{word}`"), vec![replace(span, word)]);
        Fault::new(span, FaultKind::NotAStatement(Some(word))).fix(fix)
    }

    /// `R1 = 10k`, `RL 4.7k from out to ground`: an element without a path.
    fn element_in_words(&self) -> Option<Fault> {
        if let Some(path) = self.path_in_words(0) {
            let fault = Fault::new(self.span(0), FaultKind::ElementAlone);
            return Some(fault.fix(self.instead_of_all(path)));
        }
        let names_one = self.word(0).starts_with(['R', 'C', 'L']) && self.tok(0)?.is_name();
        let sets = matches!(self.tok(1), Some(Tok::Equals | Tok::Colon));
        let value = self.tok(2)?.is_quantity() && self.tokens.len() == 3;
        let volts = units::is_volts(self.word(2)) || self.around.is_node(self.word(0));
        (names_one && sets && value && !volts)
            .then(|| Fault::new(self.span(0), FaultKind::ElementAlone))
    }

    /// Whether the first word is a block's name, or may be one of a file that is used.
    pub(super) fn may_be_a_block(&self) -> bool {
        self.blocks.uses || self.blocks.names.contains(self.word(0))
    }

    /// A device of unknown kind that cannot be read: perhaps its first word was meant for a statement's.
    pub(crate) fn misspelt_head(&self) -> Option<Fault> {
        let unknown = !DEVICES.contains(&self.word(0)) && !self.blocks.names.contains(self.word(0));
        if !unknown {
            return None;
        }
        if let Some(near) = spelled(["source", "allow", "block"], self.word(0)) {
            return Some(self.not_a_statement(Some(near)));
        }
        // `battery probe: in = 1.2 V`
        let single = self.tok(3)?.is_ref() && self.tok(4) == Some(Tok::Equals);
        let held = self
            .tokens
            .iter()
            .filter(|(tok, _)| *tok == Tok::Equals)
            .count()
            == 1
            && !self.tokens.iter().any(|(tok, _)| *tok == Tok::Comma);
        let voltage = self
            .tok(5)
            .is_some_and(|tok| tok.is_quantity() || tok == Tok::Minus);
        (single && held && voltage).then(|| self.begins_with("source", self.span(0)))
    }

    pub(super) fn near_statement(&self) -> Option<&'static str> {
        spelled(STATEMENTS.into_iter().chain(DEVICES), self.word(0))
            .filter(|near| *near != self.word(0))
    }

    /// No statement begins so; a single word may be the beginning of anything.
    fn not_a_statement(&self, near: Option<&'static str>) -> Fault {
        let fault = Fault::new(self.span(0), FaultKind::NotAStatement(near))
            .unfinished(self.tokens.len() == 1 && self.tokens[0].0.is_name());
        match near {
            Some(word) => fault.fix(Fix::likely(
                format!("write `{word}`"),
                vec![replace(self.span(0), word)],
            )),
            None => fault,
        }
    }
}
