//! Something in `ampersum.toml` that could not be read. It is looked for while the settings are read.

use crate::{Check, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "settings",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Settings,
};

const DOC: &str = "\
A key that `ampersum.toml` does not have, or a value that does not fit. What cannot be read is left at its default, so a
misspelt key would otherwise change nothing and nobody would notice.
# Wrong
    [rules]
    resistor_rang = \"hint\"
# Right
    [rules]
    resistor_range = \"hint\"
";
