//! Findings: what a reader is told, where, why, and what to do. One rule a file; errors of reading and naming in one table.

use syntax::{Fix, Place};

/// How bad it is.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Severity {
    /// A remark.
    Hint,
    /// Probably not what was meant.
    Warning,
    /// Wrong.
    Error,
}

/// One finding.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// The rule's name.
    pub rule: &'static str,
    /// As the settings have it.
    pub severity: Severity,
    /// The word at fault.
    pub place: Place,
    /// What: stands alone on one line, names in backticks, no full stop, no cure in it.
    pub message: String,
    /// Why, and what to do: one or two plain sentences.
    pub help: String,
    /// The nodes, elements, op-amps that it is about: `allow` and `expect finding` match them.
    pub subjects: Vec<String>,
    /// Other places that belong to it, each with its own words.
    pub related: Vec<Related>,
    /// Ways out, best first; edits are in the finding's own file.
    pub fixes: Vec<Fix>,
    /// The circuit it belongs to, by its index in the book; `None`: the file.
    pub circuit: Option<usize>,
    /// The line is only unfinished: an editor may wait until the caret leaves it.
    pub unfinished: bool,
    /// What it marks does nothing (an editor may grey it).
    pub unnecessary: bool,
}

/// Another place of a finding.
#[derive(Clone, PartialEq, Debug)]
pub struct Related {
    /// Where.
    pub place: Place,
    /// What is there.
    pub message: String,
}

/// Everything that is wrong in a book, in the order of the text. `studies` has one entry a circuit.
pub fn check(_book: &circuit::Book, _studies: &[analysis::Study]) -> Vec<Finding> {
    Vec::new()
}
