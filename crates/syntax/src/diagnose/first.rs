//! Lines that no statement begins with.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{DEVICES, Fault, FaultKind, Fix, spelled};

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
        if first.is_name() && DEVICES.contains(&self.word(0)) && !has(Tok::Wire) && !operator {
            return self.half_a_device();
        }
        let near = first.is_name().then(|| self.near_statement()).flatten();
        if has(Tok::Wire) {
            let outside = self.path();
            return outside.unwrap_or_else(|| self.not_a_statement(near));
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

    /// Whether the first word is a block's name, or may be one of a file that is used.
    fn may_be_a_block(&self) -> bool {
        self.blocks.uses || self.blocks.names.contains(self.word(0))
    }

    /// A device of unknown kind that cannot be read: perhaps its first word was meant for a statement's.
    pub(super) fn misspelt_head(&self) -> Option<Fault> {
        let unknown = !DEVICES.contains(&self.word(0)) && !self.blocks.names.contains(self.word(0));
        let near = spelled(["source", "allow", "block"], self.word(0)).filter(|_| unknown)?;
        Some(self.not_a_statement(Some(near)))
    }

    fn near_statement(&self) -> Option<&'static str> {
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
