//! What is wrong with a line, as facts; the sentences are made in `checks`.

use crate::{Span, TextEdit};

/// One trouble of reading, at one word.
#[derive(Clone, PartialEq, Debug)]
pub struct Fault {
    /// Where: the word at fault (an empty span at the end of the statement where something is missing there).
    pub span: Span,
    /// What.
    pub kind: FaultKind,
    /// Whether the line is only unfinished, so that an editor may wait until the caret leaves it.
    pub unfinished: bool,
    /// Ways out that are certain, best first: a title's key and the edits.
    pub fixes: Vec<Fix>,
}

/// A way out of a fault.
#[derive(Clone, PartialEq, Debug)]
pub struct Fix {
    /// What is done, in a few words: "write `4.7`".
    pub title: String,
    /// Where the meaning cannot be other than this.
    pub safe: bool,
    /// The replacements; they do not overlap.
    pub edits: Vec<TextEdit>,
}

/// The errors of reading, by the ids of the language (those of naming are in `circuit`).
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum FaultKind {
    /// A text without its closing quote.
    OpenString,
    /// `4,7`
    DecimalComma,
    /// A character that is no part of the language.
    StrayCharacter(char),
    /// No statement begins so; perhaps this word was meant.
    NotAStatement(Option<&'static str>),
    /// `out = 3 V` alone on a line.
    BareEquation,
    /// `R1 10k` alone on a line.
    ElementAlone,
    /// `in - R1 10k`
    SingleDash,
    /// `--` inside an expression.
    WireInEquation,
    /// A path that does not begin or end at a node.
    PathEnds,
    /// An element without a value.
    ElementValue,
    /// Something else was expected here: "here a value was expected, such as `1.2 V`".
    Expected {
        /// What, in words of the trade: "a value". A word or sign of the language stands in backticks: "`into`".
        what: &'static str,
        /// An example, without backticks: "1.2 V".
        example: &'static str,
    },
    /// The line is complete before this.
    ExtraWords,
    /// Not a unit; perhaps this one was meant.
    UnknownUnit(Option<&'static str>),
    /// `10 000`
    TwoNumbers,
    /// Left of `=` in a source.
    SourceForm,
    /// A body without its `end`, or an `end` where nothing is open (`None`).
    MissingEnd(Option<crate::BodyKind>),
    /// A statement that stands in the wrong body.
    WrongPlace {
        /// Where it would stand, after "stands in": "a circuit", "a part", "the first line", "the lines before the first circuit".
        belongs: &'static str,
    },
    /// `ampersum 9`
    NewerVersion,
    /// Beyond a limit of the language: which.
    TooBig(Limit),
}

/// The limits of the language on one file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Limit {
    /// 16 MiB.
    File,
    /// 10,000 characters.
    Line,
    /// 64 characters.
    Name,
    /// 40 digits.
    Digits,
    /// e±30.
    Exponent,
    /// ^±32.
    Power,
    /// 64 brackets deep.
    Brackets,
    /// 1,000 signs `+ - * / ^` around one operand: so deep trees nest at most.
    Signs,
    /// 500,000 signs of arithmetic and brackets in a file: the rest of it is left out.
    AllSigns,
    /// 5,000 lines that cannot be read: the rest of the file is left out.
    Faults,
}

impl FaultKind {
    /// The id: the rule's name in every output.
    pub fn id(&self) -> &'static str {
        match self {
            FaultKind::OpenString => "open_string",
            FaultKind::DecimalComma => "decimal_comma",
            FaultKind::StrayCharacter(_) => "stray_character",
            FaultKind::NotAStatement(_) => "not_a_statement",
            FaultKind::BareEquation => "bare_equation",
            FaultKind::ElementAlone => "element_alone",
            FaultKind::SingleDash => "single_dash",
            FaultKind::WireInEquation => "wire_in_equation",
            FaultKind::PathEnds => "path_ends",
            FaultKind::ElementValue => "element_value",
            FaultKind::Expected { .. } => "expected",
            FaultKind::ExtraWords => "extra_words",
            FaultKind::UnknownUnit(_) => "unknown_unit",
            FaultKind::TwoNumbers => "two_numbers",
            FaultKind::SourceForm => "source_form",
            FaultKind::MissingEnd(_) => "missing_end",
            FaultKind::WrongPlace { .. } => "wrong_place",
            FaultKind::NewerVersion => "newer_version",
            FaultKind::TooBig(_) => "too_big",
        }
    }
}

impl Fault {
    /// A fault at a word, in a finished line, without ways out.
    pub fn new(span: Span, kind: FaultKind) -> Fault {
        Fault {
            span,
            kind,
            unfinished: false,
            fixes: Vec::new(),
        }
    }

    /// The same in a line that is only unfinished, where `unfinished` holds.
    pub fn unfinished(self, unfinished: bool) -> Fault {
        Fault { unfinished, ..self }
    }

    /// The same with one more way out.
    pub fn fix(mut self, fix: Fix) -> Fault {
        self.fixes.push(fix);
        self
    }
}

impl Fix {
    /// A way out in which the meaning cannot be other.
    pub fn safe(title: impl Into<String>, edits: Vec<TextEdit>) -> Fix {
        Fix {
            title: title.into(),
            safe: true,
            edits: in_order(edits),
        }
    }

    /// Makes these edits too.
    pub fn extend(&mut self, more: impl IntoIterator<Item = TextEdit>) {
        self.edits.extend(more);
        self.edits.sort_by_key(|it| it.span);
    }

    /// A way out that is likely meant.
    pub fn likely(title: impl Into<String>, edits: Vec<TextEdit>) -> Fix {
        Fix {
            title: title.into(),
            safe: false,
            edits: in_order(edits),
        }
    }
}

/// In the order of the text; insertions at one place stay as they come.
fn in_order(mut edits: Vec<TextEdit>) -> Vec<TextEdit> {
    edits.sort_by_key(|it| it.span);
    edits
}
