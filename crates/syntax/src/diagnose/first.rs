//! Lines that no statement begins with.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{DEVICES, Fault, FaultKind, Fix, Span, spelled, units};

/// The words that begin a statement.
const STATEMENTS: [&str; 23] = [
    "ampersum", "use", "part", "block", "circuit", "work", "end", "source", "let", "supply",
    "opamps", "start", "expect", "problem", "ask", "answer", "find", "vary", "require", "record",
    "response", "allow", "opamp",
];

/// Words of the trade for those that begin a statement.
const SYNONYMS: [(&str, &str); 20] = [
    ("supplies", "supply"),
    ("rails", "supply"),
    ("power", "supply"),
    ("check", "expect"),
    ("claim", "expect"),
    ("assert", "expect"),
    ("verify", "expect"),
    ("include", "use"),
    ("import", "use"),
    ("question", "ask"),
    ("task", "problem"),
    ("exercise", "problem"),
    ("solution", "answer"),
    ("key", "answer"),
    ("determine", "find"),
    ("calculate", "find"),
    ("measure", "find"),
    ("voltage", "source"),
    ("battery", "source"),
    ("sheet", "work"),
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
        if second == Some(Tok::Colon) && self.is_a_block() {
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
        if let Some(fault) = self.small_words_for_dashes() {
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

    /// `in to R1 10k to out`
    fn small_words_for_dashes(&self) -> Option<Fault> {
        let joins = |at: &usize| matches!(self.word(*at), "to" | "then" | "via");
        let at: Vec<usize> = (1..self.tokens.len()).filter(joins).collect();
        let elements = (2..self.tokens.len()).any(|at| {
            let before = self.tok(at - 1).is_some_and(Tok::is_ref) && !joins(&(at - 1));
            before && self.tok(at).is_some_and(Tok::is_quantity)
        });
        if at.len() < 2 || at[0] != 1 || !elements {
            return None;
        }
        let edits = at.iter().map(|at| replace(self.span(*at), "--"));
        let fix = Fix::likely("join with `--`", edits.collect());
        Some(self.wanted(1, "`--`", "in -- R1 10k -- out").fix(fix))
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
            && !self.is_clause(self.word(2))
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
            let block = "inverter S1: in a, out b";
            let example = if self.is_a_block() { block } else { example };
            let fault = self.wanted(1, "a name", example);
            let called = self.around.missing(self.is_a_block());
            let colon = self.tok(1) == Some(Tok::Colon);
            return match called.filter(|_| colon) {
                Some(name) => {
                    let edit = insert(self.span(0).end, format!(" {name}"));
                    fault.fix(Fix::likely(format!("call it `{name}`"), vec![edit]))
                }
                None => fault,
            };
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
        let kind = |word: &str| DEVICES.contains(&word) || self.blocks.names.contains_key(word);
        if self.tok(1) == Some(Tok::Colon)
            && kind(self.word(2))
            && self.tok(3).is_some_and(Tok::is_name)
        {
            let head = self.span(0).to(self.span(2));
            let text = format!("{} {first}:", self.word(2));
            let fix = Fix::likely(format!("write `{text} …`"), vec![replace(head, text)]);
            return Some(Fault::new(self.span(0), FaultKind::NotAStatement(None)).fix(fix));
        }
        // `A1: plus …, minus …, drives …`
        let words: Vec<&str> = (0..self.tokens.len()).map(|at| self.word(at)).collect();
        if self.tok(1) == Some(Tok::Colon)
            && !has(Tok::Equals)
            && let Some(device) = super::device_of(|word| words.contains(&word))
        {
            let edit = insert(self.span(0).start, format!("{device} "));
            let fix = Fix::likely(format!("write `{device}` before it"), vec![edit]);
            return Some(Fault::new(self.span(0), FaultKind::NotAStatement(Some(device))).fix(fix));
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

    /// Whether the first word is a block's name.
    pub(super) fn is_a_block(&self) -> bool {
        self.blocks.names.contains_key(self.word(0))
    }

    /// Whether the first word is a block's name, or may be one of a file that is used.
    pub(super) fn may_be_a_block(&self) -> bool {
        self.blocks.uses || self.is_a_block()
    }

    /// A device of unknown kind that cannot be read: perhaps its first word was meant for a statement's.
    pub(crate) fn misspelt_head(&self) -> Option<Fault> {
        if DEVICES.contains(&self.word(0)) || self.is_a_block() {
            return None;
        }
        // `expect out: 3 V`
        if matches!(self.tok(0), Some(Tok::Expect | Tok::Let)) {
            let (what, example) = self.in_words(Tok::Equals);
            let gap = self.with_gap(2);
            let fix = Fix::likely("write `=`", vec![replace(gap, " =")]);
            return Some(self.wanted(2, what, example).fix(fix));
        }
        if let Some(near) = spelled(["source", "allow", "block"], self.word(0)) {
            return Some(self.not_a_statement(Some(near)));
        }
        if matches!(self.word(0), "subcircuit" | "module") {
            return Some(self.not_a_statement(Some("block")));
        }
        // `current lamp: 1 mA from a into b`
        let has = |wanted: Tok| self.tokens.iter().any(|(tok, _)| *tok == wanted);
        if has(Tok::From) && has(Tok::Into) && self.tok(3)?.is_quantity() {
            return Some(self.begins_with("source", self.span(0)));
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
        let said = SYNONYMS
            .iter()
            .find(|it| it.0.eq_ignore_ascii_case(self.word(0)));
        if let Some((_, said)) = said {
            return Some(said);
        }
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
