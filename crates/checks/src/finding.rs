//! What a reader is told.

use std::collections::HashSet;

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

impl Severity {
    /// "error", "warning", "hint".
    pub fn word(self) -> &'static str {
        match self {
            Severity::Hint => "hint",
            Severity::Warning => "warning",
            Severity::Error => "error",
        }
    }
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

impl Finding {
    /// A finding with its words, about nothing yet.
    pub fn new(
        rule: &'static str,
        severity: Severity,
        place: Place,
        message: String,
        help: String,
    ) -> Finding {
        Finding {
            rule,
            severity,
            place,
            message,
            help,
            subjects: Vec::new(),
            related: Vec::new(),
            fixes: Vec::new(),
            circuit: None,
            unfinished: false,
            unnecessary: false,
        }
    }

    /// The same, about these names too.
    pub fn about<N: Into<String>>(mut self, names: impl IntoIterator<Item = N>) -> Finding {
        self.subjects.extend(names.into_iter().map(Into::into));
        keep_first(&mut self.subjects);
        self
    }

    /// The same with another place.
    pub fn also(mut self, place: Place, message: impl Into<String>) -> Finding {
        self.related.push(Related {
            place,
            message: message.into(),
        });
        self
    }

    /// The same with one more way out.
    pub fn fix(mut self, fix: Fix) -> Finding {
        self.fixes.push(fix);
        self
    }
}

/// Takes away what was said before.
pub(crate) fn keep_first(names: &mut Vec<String>) {
    let mut seen = HashSet::new();
    let fresh: Vec<bool> = names.iter().map(|it| seen.insert(it.as_str())).collect();
    let mut fresh = fresh.into_iter();
    names.retain(|_| fresh.next() == Some(true));
}
