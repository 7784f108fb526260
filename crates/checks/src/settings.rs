//! What `ampersum.toml` says: how bad findings are, limits, what is shown, how a class writes.

use std::collections::HashMap;

use syntax::{Dimension, Number, Ratio, Span, quantity};
use teaching::{Letter, Sums, Writing};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::{Finding, RULES, Severity, registry};

/// What applies to a file.
#[derive(Clone, PartialEq, Debug)]
pub struct Settings {
    /// `[rules]`: only those that are set.
    rules: HashMap<&'static str, Level>,
    /// `[limits] resistor`, in ohms: from and to, both allowed.
    pub resistor: [Number; 2],
    /// `[limits] output_current`, in amperes.
    pub output_current: Number,
    /// `[limits] phase_margin`, in degrees.
    pub phase_margin: Number,
    /// `[limits] touch_voltage`, in volts.
    pub touch_voltage: Number,
    /// `[limits] touch_peak`, in volts.
    pub touch_peak: Number,
    /// `[answers] hidden`: no answer value is shown.
    pub hidden: bool,
    /// `[writing] voltage` and `sums`.
    pub writing: Writing,
    /// `[writing] symbols`.
    pub symbols: Symbols,
    /// `[writing] inlay`.
    pub inlay: Inlay,
    /// `[writing] lens`: a line above each circuit tells how many equations it has.
    pub lens: bool,
    /// `[marking] carried_errors = "again"`: a carried error costs at each step.
    pub carried_errors_again: bool,
    /// What could not be read.
    pub troubles: Vec<Trouble>,
}

/// How bad a rule's findings are.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Level {
    /// They are not made.
    Off,
    /// They are made so.
    As(Severity),
}

/// How parts are drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Symbols {
    /// After IEC 60617.
    #[default]
    Rectangles,
    /// After IEEE 315.
    Zigzags,
}

/// Which values stand in the lines of the text.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Inlay {
    /// None.
    Off,
    /// Node voltages.
    #[default]
    Nodes,
    /// Node voltages, currents and states.
    All,
}

/// Something in the settings' own file that could not be read: a finding of the rule `settings`, in that file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Trouble {
    /// The file, as it was named.
    pub path: String,
    /// The key or value, in that file's text.
    pub span: Span,
    /// What.
    pub message: String,
    /// What to write.
    pub help: String,
}

impl Default for Settings {
    fn default() -> Settings {
        let number = |value: u32| Number::Exact(Ratio::from(value));
        Settings {
            rules: HashMap::new(),
            resistor: [number(100), number(10_000_000)],
            output_current: Number::Exact(Ratio::from_parts(1.into(), 50u8.into())),
            phase_margin: number(45),
            touch_voltage: number(60),
            touch_peak: Number::Exact(Ratio::from_parts(212.into(), 5u8.into())),
            hidden: false,
            writing: Writing::default(),
            symbols: Symbols::default(),
            inlay: Inlay::default(),
            lens: true,
            carried_errors_again: false,
            troubles: Vec::new(),
        }
    }
}

impl Settings {
    /// Reads the text of `ampersum.toml`; what it does not say has its default, what cannot be read is a [`Trouble`].
    pub fn from_toml(path: &str, text: &str) -> Settings {
        let mut settings = Settings::default();
        settings.read_toml(path, text);
        settings
    }

    /// Reads another text over what is already set.
    pub fn read_toml(&mut self, path: &str, text: &str) {
        let (table, errors) = DeTable::parse_recoverable(text);
        let mut reader = Reader {
            settings: self,
            path,
        };
        for error in errors.iter().take(1) {
            let span = error.span().unwrap_or(0..0);
            let message = format!("this file cannot be read here: {}", error.message());
            let help = "A setting is a line such as `resistor_range = \"hint\"` below a line such as `[rules]`.";
            reader.trouble(Span::new(span.start, span.end), message, help.into());
        }
        for (key, value) in table.get_ref() {
            reader.section(key, value);
        }
        self.troubles.sort_by_key(|it| it.span.start);
    }

    /// The level that is set for a rule.
    pub fn level(&self, rule: &str) -> Option<Level> {
        self.rules.get(rule).copied()
    }

    /// Sets the level of a rule; `false` where there is no such rule.
    pub fn set(&mut self, rule: &str, level: Level) -> bool {
        let known = RULES
            .iter()
            .map(|it| it.name)
            .chain(registry::LATER.iter().copied())
            .find(|it| *it == rule);
        known.map(|it| self.rules.insert(it, level)).is_some()
    }

    /// How a class writes.
    pub fn writing(&self) -> Writing {
        self.writing
    }

    /// Gives a finding its severity; `false` where it is off.
    pub(crate) fn apply(&self, finding: &mut Finding) -> bool {
        match self.level(finding.rule) {
            None => true,
            Some(Level::Off) => false,
            Some(Level::As(severity)) => {
                finding.severity = severity;
                true
            }
        }
    }
}

const SECTIONS: &[&str] = &["rules", "limits", "answers", "writing", "marking"];

type Entry<'t, 'i> = (
    &'t Spanned<std::borrow::Cow<'i, str>>,
    &'t Spanned<DeValue<'i>>,
);

struct Reader<'a> {
    settings: &'a mut Settings,
    path: &'a str,
}

impl Reader<'_> {
    fn trouble(&mut self, span: Span, message: String, help: String) {
        self.settings.troubles.push(Trouble {
            path: self.path.into(),
            span,
            message,
            help,
        });
    }

    fn section(&mut self, key: &Spanned<std::borrow::Cow<'_, str>>, value: &Spanned<DeValue<'_>>) {
        let name = key.get_ref().as_ref();
        if !SECTIONS.contains(&name) {
            return self.unknown(key, "section", SECTIONS);
        }
        let Some(table) = value.get_ref().as_table() else {
            let help = format!("Write `[{name}]` on a line of its own and its settings below it.");
            return self.trouble(
                span(value),
                format!("`{name}` is a section, not a value"),
                help,
            );
        };
        for (key, value) in table {
            match name {
                "rules" => self.rule((key, value)),
                "limits" => self.limit((key, value)),
                "answers" => self.answers((key, value)),
                "writing" => self.writing((key, value)),
                _ => self.marking((key, value)),
            }
        }
    }

    fn rule(&mut self, (key, value): Entry<'_, '_>) {
        let name = key.get_ref().as_ref();
        let levels = [
            ("error", Level::As(Severity::Error)),
            ("warning", Level::As(Severity::Warning)),
            ("hint", Level::As(Severity::Hint)),
            ("off", Level::Off),
        ];
        if crate::reading::doc(name).is_some() {
            let help =
                "A line that cannot be read, or a name that means nothing, is always an error.";
            return self.trouble(
                span(key),
                format!("`{name}` is an error of reading and cannot be set"),
                help.into(),
            );
        }
        if !RULES.iter().any(|it| it.name == name) && !registry::LATER.contains(&name) {
            let help = match registry::nearest(name) {
                Some(nearest) => format!("Did you mean `{nearest}`?"),
                None => "`ampersum rule` lists the rules.".into(),
            };
            return self.trouble(span(key), format!("there is no rule `{name}`"), help);
        }
        if let Some(level) = self.one_of((key, value), &levels) {
            self.settings.set(name, level);
        }
    }

    fn limit(&mut self, entry: Entry<'_, '_>) {
        let (key, value) = entry;
        match key.get_ref().as_ref() {
            "resistor" => {
                let said = value
                    .get_ref()
                    .as_str()
                    .and_then(|it| it.split_once(" to "));
                let read = said.and_then(|(from, to)| {
                    Some([
                        positive(from, Dimension::OHM)?,
                        positive(to, Dimension::OHM)?,
                    ])
                });
                match read {
                    Some([from, to]) if from.compare(&to).is_some_and(|it| it.is_le()) => {
                        self.settings.resistor = [from, to]
                    }
                    _ => self.bad_value(entry, "two resistances, such as `\"100 ohm to 10 Mohm\"`"),
                }
            }
            "output_current" => {
                if let Some(it) =
                    self.quantity(entry, Dimension::AMPERE, "a current, such as `\"20 mA\"`")
                {
                    self.settings.output_current = it;
                }
            }
            "phase_margin" => {
                if let Some(it) =
                    self.quantity(entry, Dimension::DEGREE, "an angle, such as `\"45 deg\"`")
                {
                    self.settings.phase_margin = it;
                }
            }
            "touch_voltage" => {
                if let Some(it) =
                    self.quantity(entry, Dimension::VOLT, "a voltage, such as `\"60 V\"`")
                {
                    self.settings.touch_voltage = it;
                }
            }
            "touch_peak" => {
                if let Some(it) =
                    self.quantity(entry, Dimension::VOLT, "a voltage, such as `\"42.4 V\"`")
                {
                    self.settings.touch_peak = it;
                }
            }
            _ => {
                let known = [
                    "resistor",
                    "output_current",
                    "phase_margin",
                    "touch_voltage",
                    "touch_peak",
                ];
                self.unknown(key, "limit", &known)
            }
        }
    }

    fn answers(&mut self, (key, value): Entry<'_, '_>) {
        match (key.get_ref().as_ref(), value.get_ref().as_bool()) {
            ("hidden", Some(hidden)) => self.settings.hidden = hidden,
            ("hidden", None) => self.bad_value((key, value), "`true` or `false`"),
            _ => self.unknown(key, "setting", &["hidden"]),
        }
    }

    fn writing(&mut self, entry: Entry<'_, '_>) {
        match entry.0.get_ref().as_ref() {
            "voltage" => {
                if let Some(it) = self.one_of(entry, &[("V", Letter::V), ("U", Letter::U)]) {
                    self.settings.writing.voltage = it;
                }
            }
            "sums" => {
                if let Some(it) = self.one_of(
                    entry,
                    &[("leaving", Sums::Leaving), ("entering", Sums::Entering)],
                ) {
                    self.settings.writing.sums = it;
                }
            }
            "symbols" => {
                let words = [
                    ("rectangles", Symbols::Rectangles),
                    ("zigzags", Symbols::Zigzags),
                ];
                if let Some(it) = self.one_of(entry, &words) {
                    self.settings.symbols = it;
                }
            }
            "inlay" => {
                let words = [
                    ("nodes", Inlay::Nodes),
                    ("off", Inlay::Off),
                    ("all", Inlay::All),
                ];
                if let Some(it) = self.one_of(entry, &words) {
                    self.settings.inlay = it;
                }
            }
            "lens" => {
                if let Some(it) = self.one_of(entry, &[("circuits", true), ("off", false)]) {
                    self.settings.lens = it;
                }
            }
            _ => self.unknown(
                entry.0,
                "setting",
                &["voltage", "sums", "symbols", "inlay", "lens"],
            ),
        }
    }

    fn marking(&mut self, entry: Entry<'_, '_>) {
        match entry.0.get_ref().as_ref() {
            "carried_errors" => {
                if let Some(it) = self.one_of(entry, &[("once", false), ("again", true)]) {
                    self.settings.carried_errors_again = it;
                }
            }
            _ => self.unknown(entry.0, "setting", &["carried_errors"]),
        }
    }

    fn one_of<T: Copy>(&mut self, (key, value): Entry<'_, '_>, words: &[(&str, T)]) -> Option<T> {
        let said = value.get_ref().as_str();
        let found = words.iter().find(|it| said == Some(it.0)).map(|it| it.1);
        if found.is_none() {
            let known = words.iter().map(|it| format!("`\"{}\"`", it.0));
            self.bad_value(
                (key, value),
                &teaching::names::list(known).replace(" and ", " or "),
            );
        }
        found
    }

    fn quantity(
        &mut self,
        (key, value): Entry<'_, '_>,
        dimension: Dimension,
        wanted: &str,
    ) -> Option<Number> {
        let read = value
            .get_ref()
            .as_str()
            .and_then(|it| positive(it, dimension));
        if read.is_none() {
            self.bad_value((key, value), wanted);
        }
        read
    }

    fn bad_value(&mut self, (key, value): Entry<'_, '_>, wanted: &str) {
        self.trouble(
            span(value),
            format!("this value does not fit `{}`", key.get_ref()),
            format!("Write {wanted}."),
        );
    }

    fn unknown(&mut self, key: &Spanned<std::borrow::Cow<'_, str>>, what: &str, known: &[&str]) {
        let name = key.get_ref().as_ref();
        let help = match syntax::spelled(known.iter().copied(), name) {
            Some(nearest) => format!("Did you mean `{nearest}`?"),
            None => format!(
                "Here stand {}.",
                teaching::names::list(known.iter().map(|it| format!("`{it}`")))
            ),
        };
        self.trouble(span(key), format!("there is no {what} `{name}`"), help);
    }
}

/// A quantity of the language, above zero and of this dimension.
fn positive(text: &str, dimension: Dimension) -> Option<Number> {
    let text = text.trim();
    let read = quantity::read(text, Span::new(0, text.len())).ok()?;
    (read.dimension == dimension && read.value.is_positive()).then_some(read.value)
}

fn span<T>(spanned: &Spanned<T>) -> Span {
    Span::new(spanned.span().start, spanned.span().end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_written_out_change_nothing() {
        let text = r#"
[limits]
resistor = "100 ohm to 10 Mohm"
output_current = "20 mA"
phase_margin = "45 deg"
touch_voltage = "60 V"
touch_peak = "42.4 V"
[answers]
hidden = false
[writing]
voltage = "V"
sums = "leaving"
symbols = "rectangles"
inlay = "nodes"
lens = "circuits"
[marking]
carried_errors = "once"
"#;
        assert_eq!(
            Settings::from_toml("ampersum.toml", text),
            Settings::default()
        );
    }

    #[test]
    fn what_is_set_is_taken() {
        let text = "[rules]\nloose_end = \"off\"\nresistor_range = \"hint\"\n[writing]\nsums = \"entering\"\nvoltage = \"U\"\n\
                    [answers]\nhidden = true\n";
        let settings = Settings::from_toml("ampersum.toml", text);
        assert_eq!(settings.troubles, []);
        assert_eq!(settings.level("loose_end"), Some(Level::Off));
        assert_eq!(
            settings.level("resistor_range"),
            Some(Level::As(Severity::Hint))
        );
        assert_eq!(
            settings.writing,
            Writing {
                voltage: Letter::U,
                sums: Sums::Entering
            }
        );
        assert!(settings.hidden);
    }

    #[test]
    fn each_mistake_is_told_at_its_word() {
        for (text, word, message, help) in [
            (
                "[ruls]\n",
                "ruls",
                "there is no section `ruls`",
                "Did you mean `rules`?",
            ),
            (
                "[rules]\nlose_end = \"off\"",
                "lose_end",
                "there is no rule `lose_end`",
                "Did you mean `loose_end`?",
            ),
            (
                "[rules]\nloose_end = \"never\"",
                "\"never\"",
                "this value does not fit `loose_end`",
                "Write `\"error\"`, `\"warning\"`, `\"hint\"` or `\"off\"`.",
            ),
            (
                "[rules]\ndecimal_comma = \"off\"",
                "decimal_comma",
                "`decimal_comma` is an error of reading and cannot be set",
                "A line that cannot be read, or a name that means nothing, is always an error.",
            ),
            (
                "[limits]\nresistor = \"100 V to 200 V\"",
                "\"100 V to 200 V\"",
                "this value does not fit `resistor`",
                "Write two resistances, such as `\"100 ohm to 10 Mohm\"`.",
            ),
            (
                "[answers]\nhiden = true",
                "hiden",
                "there is no setting `hiden`",
                "Did you mean `hidden`?",
            ),
        ] {
            let settings = Settings::from_toml("ampersum.toml", text);
            let [trouble] = settings.troubles.as_slice() else {
                panic!("{text}: {:?}", settings.troubles)
            };
            assert_eq!(
                (
                    trouble.span.of(text),
                    trouble.message.as_str(),
                    trouble.help.as_str()
                ),
                (word, message, help)
            );
        }
        let broken = Settings::from_toml("ampersum.toml", "[rules\nx = ");
        assert!(
            broken.troubles[0]
                .message
                .starts_with("this file cannot be read here"),
            "{:?}",
            broken.troubles
        );
    }
}
