//! The rules: a list of the files in [`crate::rules`], nothing else.

use circuit::Book;

use crate::rules::*;
use crate::{Checked, Finding, Severity, reading};

/// One rule.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Its name, which equals its file's.
    pub name: &'static str,
    /// How bad its findings are unless they or the settings say otherwise.
    pub severity: Severity,
    /// Its manual page: a paragraph, `# Wrong`, `# Right`.
    pub doc: &'static str,
    /// How it looks.
    pub check: Check,
}

/// What a rule looks at.
#[derive(Clone, Copy, Debug)]
pub enum Check {
    /// One circuit with its facts.
    Circuit(fn(&Checked, &mut Vec<Finding>)),
    /// All that a file brought together.
    Book(fn(&Book, &mut Vec<Finding>)),
    /// The settings, while they are read.
    Settings,
}

/// Every rule, in the order of the manual.
pub const RULES: &[Rule] = &[
    floating_node::RULE,
    loose_end::RULE,
    bias_path::RULE,
    source_conflict::RULE,
    output_conflict::RULE,
    shorted_element::RULE,
    current_dead_end::RULE,
    inputs_tied::RULE,
    positive_feedback::RULE,
    no_feedback::RULE,
    feedback_cancels::RULE,
    feedback_speeds::RULE,
    oscillation::RULE,
    unsolvable::RULE,
    supply_missing::RULE,
    swing::RULE,
    several_states::RULE,
    output_current::RULE,
    input_range::RULE,
    supply_range::RULE,
    resistor_range::RULE,
    resistor_power::RULE,
    reversed_polarity::RULE,
    voltage_rating::RULE,
    capacitive_load::RULE,
    touch_voltage::RULE,
    expectation::RULE,
    unused::RULE,
    not_built::RULE,
    settings::RULE,
];

/// Rules that the language names and this version does not look for yet.
pub const LATER: &[&str] = &["slew", "bandwidth", "work"];

/// The rule of this name.
pub fn rule(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|it| it.name == name)
}

/// The manual page of a rule, or of an error of reading or naming.
pub fn doc(name: &str) -> Option<&'static str> {
    rule(name).map(|it| it.doc).or_else(|| reading::doc(name))
}

/// The name nearest to a misspelt one, among rules of this and later versions.
pub fn nearest(name: &str) -> Option<&'static str> {
    syntax::spelled(
        RULES.iter().map(|it| it.name).chain(LATER.iter().copied()),
        name,
    )
}
