//! What is wrong with names and values, as facts; the sentences are made in `checks`.

use syntax::{Dimension, Fix, Place};

/// One trouble of naming or of values, at one word.
#[derive(Clone, PartialEq, Debug)]
pub struct Fault {
    /// The word at fault.
    pub place: Place,
    /// What.
    pub kind: FaultKind,
    /// Names that the finding is about.
    pub subjects: Vec<String>,
    /// Other places that belong to it: the first `R1`, the other side of a sum. The key says what is there.
    pub related: Vec<(Place, String)>,
    /// Ways out that are certain, best first.
    pub fixes: Vec<Fix>,
    /// The circuit it belongs to, by its index in the book; `None`: the file.
    pub circuit: Option<usize>,
    /// Whether the line is only unfinished, so that an editor may wait.
    pub unfinished: bool,
}

/// The errors of naming and of values, by the ids of the language.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum FaultKind {
    /// The name is already something else: what ("an element").
    NameTaken {
        /// The name.
        name: String,
        /// What it already is; "reserved" words say so.
        is: &'static str,
        /// The line of the first, from 1.
        line: Option<u32>,
    },
    /// There is no such name; perhaps this one was meant.
    UnknownName {
        /// As written.
        name: String,
        /// What was looked for: "node", "part", "op-amp", "circuit", "name".
        wanted: &'static str,
        /// The nearest name.
        nearest: Option<String>,
        /// Others that are as near.
        also: Vec<String>,
    },
    /// No such device, part, clause, property, function, rule, series.
    UnknownWord {
        /// As written.
        word: String,
        /// "device", "clause", "property", "function", "rule", "series".
        wanted: &'static str,
        /// The nearest word.
        nearest: Option<String>,
    },
    /// A device or part does not say everything it must.
    ClauseMissing {
        /// The device.
        name: String,
        /// The clauses it must still say.
        missing: Vec<String>,
    },
    /// A clause, property or statement stands twice.
    SaidTwice(String),
    /// The inside of a block is read, not wired.
    InsideName(String),
    /// Worked out from itself.
    Ring(String),
    /// The name has no value of its own: what it is ("an op-amp").
    NoValue {
        /// The name.
        name: String,
        /// What it is.
        is: &'static str,
    },
    /// Dimensions do not agree.
    UnitsDiffer {
        /// Left.
        left: Dimension,
        /// Right.
        right: Dimension,
        /// "added", "compared", …
        doing: &'static str,
    },
    /// A unit is needed here.
    UnitNeeded {
        /// Which dimension was needed.
        needed: Dimension,
        /// What stands there.
        found: Dimension,
    },
    /// A unit that may not stand here (`Vpp`, `dB`).
    UnitMisplaced(&'static str),
    /// An element's value, or a limit, is not above zero.
    NotPositive,
    /// Divides by zero.
    DivisionByZero,
    /// Not a sum of constants times voltages.
    DriveForm,
    /// No constant source holds a rail.
    RailNotHeld(String),
    /// No capacitor lies there.
    StartNowhere,
    /// Several sources reach the input.
    WhichSource,
    /// No such file in the workspace, or a ring of uses.
    UseFile {
        /// It uses the file that uses it.
        ring: bool,
    },
    /// Something else was expected here: what, and an example.
    Expected {
        /// What: "a node", "a value".
        what: &'static str,
        /// Such as.
        example: &'static str,
    },
    /// Beyond a limit: which.
    TooBig(&'static str),
}

impl FaultKind {
    /// The id: the rule's name in every output.
    pub fn id(&self) -> &'static str {
        match self {
            FaultKind::NameTaken { .. } => "name_taken",
            FaultKind::UnknownName { .. } => "unknown_name",
            FaultKind::UnknownWord { .. } => "unknown_word",
            FaultKind::ClauseMissing { .. } => "clause_missing",
            FaultKind::SaidTwice(_) => "said_twice",
            FaultKind::InsideName(_) => "inside_name",
            FaultKind::Ring(_) => "ring",
            FaultKind::NoValue { .. } => "no_value",
            FaultKind::UnitsDiffer { .. } => "units_differ",
            FaultKind::UnitNeeded { .. } => "unit_needed",
            FaultKind::UnitMisplaced(_) => "unit_misplaced",
            FaultKind::NotPositive => "not_positive",
            FaultKind::DivisionByZero => "division_by_zero",
            FaultKind::DriveForm => "drive_form",
            FaultKind::RailNotHeld(_) => "rail_not_held",
            FaultKind::StartNowhere => "start_nowhere",
            FaultKind::WhichSource => "which_source",
            FaultKind::UseFile { .. } => "use_file",
            FaultKind::Expected { .. } => "expected",
            FaultKind::TooBig(_) => "too_big",
        }
    }
}

impl Fault {
    /// A fault without related places and fixes.
    pub fn new(place: Place, kind: FaultKind) -> Fault {
        Fault {
            place,
            kind,
            subjects: Vec::new(),
            related: Vec::new(),
            fixes: Vec::new(),
            circuit: None,
            unfinished: false,
        }
    }
}
