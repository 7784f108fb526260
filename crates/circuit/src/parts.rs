//! What a `part` gives of an op-amp.

use syntax::{Body, Dimension, Expr, Name, Property, PropertyForm, StatementKind};

use crate::FaultKind;
use crate::files::PartRef;
use crate::formula::Reads;
use crate::model::Part;
use crate::scope::{Builder, describe};

/// The properties of the language.
const PROPERTIES: [&str; 15] = [
    "gain",
    "bandwidth",
    "slew",
    "input_resistance",
    "output_resistance",
    "rejection",
    "offset",
    "bias_current",
    "bias_offset",
    "headroom",
    "supply",
    "current",
    "source",
    "inputs",
    "package",
];

/// Words of the trade for them.
const SYNONYMS: [(&str, &str); 9] = [
    ("gain_bandwidth", "bandwidth"),
    ("gain_bandwidth_product", "bandwidth"),
    ("slew_rate", "slew"),
    ("input_offset", "offset"),
    ("offset_voltage", "offset"),
    ("input_bias", "bias_current"),
    ("bias", "bias_current"),
    ("open_loop_gain", "gain"),
    ("output_current", "current"),
];

const PACKAGES: [&str; 3] = ["single_8", "dual_8", "quad_14"];

impl<'t> Builder<'t> {
    /// Reads one part; wrong properties are left out.
    pub(crate) fn read_part(&mut self, part: PartRef) -> Part {
        let frame = self.file_frame(part.file);
        let tree = self.tree(frame);
        let body: &'t Body = &tree.bodies[part.body];
        let head = &tree.statements[body.head.0 as usize];
        let StatementKind::Part(name) = head.kind else {
            return Part::default();
        };
        let mut it = Part {
            name: self.key(frame, name),
            place: self.place(frame, name),
            description: head
                .description
                .and_then(|span| describe(span.of(self.text(frame)))),
            ..Part::default()
        };
        let mut seen = Vec::new();
        for id in &body.inside {
            let StatementKind::Property(property) = &tree.statements[id.0 as usize].kind else {
                it.incomplete = true;
                continue;
            };
            let word = self.key(frame, property.word);
            // `current 20 mA` and `source 20 mA, sink 5 mA` say the same thing.
            let topic = if word == "source" {
                "current".to_owned()
            } else {
                word.clone()
            };
            if seen.contains(&topic) {
                let span = tree.statements[id.0 as usize].span;
                self.fault(frame, property.word, FaultKind::SaidTwice(word))
                    .fixes
                    .push(crate::declare::leave_out(span));
                continue;
            }
            seen.push(topic);
            if self.property(frame, &mut it, &word, property).is_none() {
                it.incomplete = true;
            }
        }
        it
    }

    fn property(
        &mut self,
        frame: usize,
        it: &mut Part,
        word: &str,
        property: &'t Property,
    ) -> Option<()> {
        match word {
            "gain" => it.gain = Some(self.single(frame, property, Dimension::NONE, true)?),
            "bandwidth" => {
                it.bandwidth = Some(self.single(frame, property, Dimension::HERTZ, true)?)
            }
            "slew" => {
                it.slew = Some(self.single(frame, property, Dimension::VOLT_PER_SECOND, true)?)
            }
            "input_resistance" => {
                it.input_resistance = Some(self.single(frame, property, Dimension::OHM, true)?);
            }
            "output_resistance" => {
                it.output_resistance = Some(self.single(frame, property, Dimension::OHM, true)?);
            }
            "rejection" => {
                it.rejection = Some(self.single(frame, property, Dimension::NONE, true)?)
            }
            "offset" => it.offset = Some(self.single(frame, property, Dimension::VOLT, false)?),
            "bias_current" => {
                it.bias_current = Some(self.single(frame, property, Dimension::AMPERE, false)?)
            }
            "bias_offset" => {
                it.bias_offset = Some(self.single(frame, property, Dimension::AMPERE, false)?)
            }
            "headroom" => {
                it.headroom = Some(self.pair(frame, property, ["low", "high"], Dimension::VOLT)?)
            }
            "inputs" => {
                it.inputs = Some(self.pair(frame, property, ["low", "high"], Dimension::VOLT)?)
            }
            "current" | "source" => {
                it.current =
                    Some(self.pair(frame, property, ["source", "sink"], Dimension::AMPERE)?);
            }
            "supply" => match &property.form {
                PropertyForm::Range(from, to) => {
                    let others = vec![to.span];
                    let Some(from) = self.constant(frame, from, Dimension::VOLT) else {
                        self.volts_too(frame, others);
                        return None;
                    };
                    let to = self.constant(frame, to, Dimension::VOLT)?;
                    // As with rails, the order is of no account.
                    let falls = crate::formula::less(&to, &from);
                    it.supply = Some(if falls { [to, from] } else { [from, to] });
                }
                // `supply 3 V - 36 V`
                PropertyForm::Value(syntax::Expr {
                    kind:
                        syntax::ExprKind::Binary {
                            operator: syntax::Operator::Minus,
                            sign,
                            left,
                            right,
                        },
                    ..
                }) => {
                    let text = |span: syntax::Span| span.of(self.text(frame));
                    let range = format!("{} to {}", text(left.span), text(right.span));
                    let fix = crate::scope::replace(left.span.to(right.span), range, true);
                    let (what, example) = ("`to`", "supply 3 V to 6 V");
                    let fault = self.fault(frame, *sign, FaultKind::Expected { what, example });
                    fault.fixes.push(fix);
                }
                _ => self.wrong_form(frame, property, "a range", "supply 3 V to 6 V"),
            },
            "package" => match &property.form {
                PropertyForm::Name(name) => {
                    let key = self.key(frame, *name);
                    let begun = PACKAGES.iter().find(|it| it.starts_with(&key));
                    if PACKAGES.contains(&key.as_str()) {
                        it.package = Some(key);
                    } else if let Some(begun) = begun {
                        self.unknown_word(frame, *name, "package", PACKAGES);
                        let fix = crate::scope::replace(*name, *begun, true);
                        if let Some(fault) = self.faults.last_mut() {
                            fault.fixes = vec![fix];
                        }
                    } else {
                        self.unknown_word(frame, *name, "package", PACKAGES);
                    }
                }
                _ => self.wrong_form(frame, property, "a package", "package dual_8"),
            },
            _ => {
                // `bias current 20 nA`: one word in two
                if let PropertyForm::Named(all) = &property.form
                    && let Some((Some(second), _)) = all.first()
                {
                    let joined = format!("{word}_{}", self.key(frame, *second));
                    if let Some(meant) = PROPERTIES.iter().find(|it| **it == joined) {
                        let both = property.word.to(*second);
                        let kind = FaultKind::UnknownWord {
                            word: word.to_owned(),
                            wanted: "property",
                            nearest: Some((*meant).to_owned()),
                        };
                        let fix = crate::scope::replace(both, *meant, true);
                        self.fault(frame, property.word, kind).fixes.push(fix);
                        return None;
                    }
                }
                let meant = SYNONYMS.iter().find(|it| it.0.eq_ignore_ascii_case(word));
                let Some((_, meant)) = meant else {
                    self.unknown_word(frame, property.word, "property", PROPERTIES);
                    return None;
                };
                let kind = FaultKind::UnknownWord {
                    word: word.to_owned(),
                    wanted: "property",
                    nearest: Some((*meant).to_owned()),
                };
                let fix = crate::scope::replace(property.word, *meant, false);
                self.fault(frame, property.word, kind).fixes.push(fix);
                return None;
            }
        }
        Some(())
    }

    fn wrong_form(
        &mut self,
        frame: usize,
        property: &Property,
        what: &'static str,
        example: &'static str,
    ) {
        self.fault(frame, property.word, FaultKind::Expected { what, example });
    }

    fn single(
        &mut self,
        frame: usize,
        property: &'t Property,
        dimension: Dimension,
        above_zero: bool,
    ) -> Option<syntax::Number> {
        match &property.form {
            PropertyForm::Value(value) if above_zero => self.positive(frame, value, dimension),
            PropertyForm::Value(value) => self.constant(frame, value, dimension),
            // A `let` alone reads as a name.
            PropertyForm::Name(name) => {
                let name = *name;
                self.value_by_name(frame, name, dimension, above_zero)
            }
            PropertyForm::Named(all) => {
                self.wrong_form(frame, property, "one value", "gain 100 dB");
                self.word_too_many(frame, property, all);
                None
            }
            _ => {
                self.wrong_form(frame, property, "one value", "gain 100 dB");
                None
            }
        }
    }

    /// `gain of 100 dB`; `gain 100 dB, bandwidth 3 MHz`
    fn word_too_many(
        &mut self,
        frame: usize,
        property: &'t Property,
        all: &'t [(Option<Name>, Expr)],
    ) {
        let fix = match all {
            [(Some(word), value)] => {
                let title = format!("leave out `{}`", self.key(frame, *word));
                (title, word.start, value.span.start, "")
            }
            [(None, value), (Some(next), _), ..]
                if PROPERTIES.contains(&self.key(frame, *next).as_str()) =>
            {
                (
                    "begin a new line".to_owned(),
                    value.span.end,
                    next.start,
                    "\n  ",
                )
            }
            _ => return,
        };
        let (title, start, end, text) = fix;
        let edit = syntax::TextEdit {
            span: syntax::Span { start, end },
            text: text.to_owned(),
        };
        let _ = property;
        if let Some(fault) = self.faults.last_mut() {
            fault.fixes.push(syntax::Fix::likely(title, vec![edit]));
        }
    }

    fn value_by_name(
        &mut self,
        frame: usize,
        name: Name,
        dimension: Dimension,
        above_zero: bool,
    ) -> Option<syntax::Number> {
        let Some(crate::scope::What::Let(index)) = self.resolve(frame, name, "value") else {
            return None;
        };
        let place = self.place(frame, name);
        self.lets[index].uses.push(place);
        let value = self.let_value(index)?;
        if value.dimension != dimension {
            let kind = FaultKind::UnitNeeded {
                needed: dimension,
                found: value.dimension,
            };
            self.fault(frame, name, kind);
            return None;
        }
        if above_zero && value.number.to_f64() <= 0.0 {
            self.fault(frame, name, FaultKind::NotPositive);
            return None;
        }
        Some(value.number)
    }

    /// `headroom 1 V`, or `headroom low 0.1 V, high 1.2 V`; `source 20 mA, sink 5 mA`.
    fn pair(
        &mut self,
        frame: usize,
        property: &'t Property,
        words: [&'static str; 2],
        dimension: Dimension,
    ) -> Option<[syntax::Number; 2]> {
        let named: Vec<(Option<Name>, &'t Expr)> = match &property.form {
            PropertyForm::Value(value) if self.key(frame, property.word) != "source" => {
                let both = self.checked(frame, value, dimension)?;
                return Some([both.clone(), both]);
            }
            PropertyForm::Value(value) => vec![(None, value)],
            PropertyForm::Named(all) => all.iter().map(|(word, value)| (*word, value)).collect(),
            _ => {
                self.wrong_form(
                    frame,
                    property,
                    "one value, or one for each side",
                    "headroom low 0.1 V, high 1.2 V",
                );
                return None;
            }
        };
        let mut found: [Option<syntax::Number>; 2] = [None, None];
        for (word, value) in named {
            // The first pair of `source 20 mA, sink 5 mA` is named by the property itself.
            let at = word.unwrap_or(property.word);
            let key = self.key(frame, at);
            let Some(index) = words.iter().position(|it| *it == key) else {
                self.unknown_word(frame, at, "side", words);
                return None;
            };
            if found[index].is_some() {
                self.fault(frame, at, FaultKind::SaidTwice(key));
                return None;
            }
            let Some(value) = self.checked(frame, value, dimension) else {
                if let PropertyForm::Named(all) = &property.form
                    && dimension == Dimension::VOLT
                {
                    let later = all.iter().filter(|it| it.1.span.start > value.span.start);
                    self.volts_too(frame, later.map(|it| it.1.span).collect());
                }
                return None;
            };
            found[index] = Some(value);
        }
        match found {
            [Some(a), Some(b)] => Some([a, b]),
            _ => {
                let name = self.key(frame, property.word);
                let missing = words
                    .iter()
                    .zip(&found)
                    .filter(|(_, it)| it.is_none())
                    .map(|(it, _)| (*it).to_owned());
                let kind = FaultKind::ClauseMissing {
                    name,
                    missing: missing.collect(),
                };
                self.fault(frame, property.word, kind).unfinished = true;
                None
            }
        }
    }

    /// A value that is not below zero.
    fn checked(
        &mut self,
        frame: usize,
        value: &'t Expr,
        dimension: Dimension,
    ) -> Option<syntax::Number> {
        let typed = self.formula(frame, value, Reads::Values)?;
        self.of_dimension(frame, &typed, dimension)?;
        let number = typed.number()?.clone();
        if number.to_f64() < 0.0 {
            self.fault(frame, value.span, FaultKind::NotPositive);
            return None;
        }
        Some(number)
    }
}
