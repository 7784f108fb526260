//! A circuit as compared: what each part is, what its pins are joined to, its value, and the statements about it.

use std::collections::{BTreeMap, BTreeSet};

use syntax::{FileId, NameRole, Number, Place, StatementKind};

use crate::{
    Book, Carrier, Circuit, ClaimKind, ElementKind, Formula, NodeId, Opamp, Part, SourceKind,
    Supply, normal_name,
};

/// A part of the circuit.
#[derive(Clone, PartialEq, Debug)]
pub struct Thing {
    /// "resistor", "voltage source", "op-amp" …
    pub kind: &'static str,
    /// Pin and node, sorted; the ends of an element that nobody reads the current of carry no pin name.
    pub pins: Vec<(String, String)>,
    /// What must be equal for the values to be.
    pub value: String,
    /// The value as the text has it.
    pub shown: String,
    /// Where it stands.
    pub place: Place,
}

impl Thing {
    /// "in and sum"; "plus in, minus fb".
    pub fn joined(&self) -> String {
        let pin = |(pin, node): &(String, String)| match pin.as_str() {
            "" => node.clone(),
            pin => format!("{pin} {node}"),
        };
        let pins: Vec<String> = self.pins.iter().map(pin).collect();
        format!("{}: {}", self.kind, pins.join(", "))
    }

    /// All of it in one phrase.
    pub fn whole(&self) -> String {
        format!("{} {}", self.shown, self.joined())
            .trim()
            .to_owned()
    }

    /// The value as written; where both are written alike, what it comes to.
    pub fn shown_beside(&self, other: &Thing) -> String {
        if self.shown == other.shown {
            self.value.clone()
        } else {
            self.shown.clone()
        }
    }
}

/// A statement about the circuit, in its canonical form.
#[derive(Clone, PartialEq, Debug)]
pub struct Said {
    /// Its first word.
    pub word: String,
    /// All of it.
    pub text: String,
    /// Where it stands.
    pub place: Place,
    /// Its names: where in the text, and the name.
    names: Vec<(std::ops::Range<usize>, String)>,
}

/// A circuit as compared.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// By name.
    pub things: BTreeMap<String, Thing>,
    /// In the order of the text.
    pub statements: Vec<Said>,
}

/// The elements, by name, whose direction matters: something reads their current.
pub fn oriented(a: &Circuit, b: &Circuit) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for circuit in [a, b] {
        for claim in &circuit.claims {
            if let Some(ClaimKind::Equal { left, right, .. }) = &claim.kind {
                currents(circuit, left, &mut names);
                currents(circuit, right, &mut names);
            }
        }
    }
    names
}

fn currents(circuit: &Circuit, formula: &Formula, names: &mut BTreeSet<String>) {
    match formula {
        Formula::Current(Carrier::Element(id)) => {
            names.insert(circuit.elements[id.index()].name.clone());
        }
        Formula::Negative(inner) | Formula::Raised(inner, _) => currents(circuit, inner, names),
        Formula::Binary(_, left, right) => {
            currents(circuit, left, names);
            currents(circuit, right, names);
        }
        Formula::Call(_, all) => all.iter().for_each(|it| currents(circuit, it, names)),
        _ => {}
    }
}

impl Drawing {
    /// Draws a circuit of a book.
    pub fn of(book: &Book, circuit: &Circuit, oriented: &BTreeSet<String>) -> Drawing {
        let node = |id: NodeId| node_name(circuit, id);
        let mut things = BTreeMap::new();
        for it in &circuit.elements {
            let kind = match it.kind {
                ElementKind::Resistor => "resistor",
                ElementKind::Capacitor => "capacitor",
                ElementKind::Inductor => "inductor",
                ElementKind::Wire => "closed switch",
            };
            let pins = if oriented.contains(&it.name) {
                ["from", "to"]
            } else {
                ["", ""]
            };
            let pins = sorted(
                pins.into_iter()
                    .zip(it.ends)
                    .map(|(pin, end)| (pin.to_owned(), node(end)))
                    .collect(),
            );
            let extra =
                |number: &Option<Box<Number>>| number.as_deref().map_or(String::new(), exact);
            let value = [exact(&it.value), extra(&it.tolerance), extra(&it.rating)]
                .join(" ")
                .trim()
                .to_owned();
            let shown = spelled(book.text(it.value_place));
            things.insert(
                it.name.clone(),
                Thing {
                    kind,
                    pins,
                    value,
                    shown,
                    place: it.place,
                },
            );
        }
        for it in &circuit.sources {
            let (kind, pins) = match it.kind {
                SourceKind::Voltage { plus, minus } => {
                    ("voltage source", [("plus", plus), ("minus", minus)])
                }
                SourceKind::Current { from, into } => {
                    ("current source", [("from", from), ("into", into)])
                }
            };
            let mut pins: Vec<(String, String)> = pins
                .into_iter()
                .map(|(pin, id)| (pin.to_owned(), node(id)))
                .collect();
            // What it reads is a connection, each with its factor.
            pins.extend(
                it.controls
                    .iter()
                    .map(|(id, factor)| (format!("{} times", exact(factor)), node(*id))),
            );
            let wave = it
                .wave
                .as_ref()
                .map_or(String::new(), |wave| format!("{wave:?}"));
            let value = [exact(&it.constant), wave].join(" ").trim().to_owned();
            let shown = spelled(book.text(it.drive_place));
            things.insert(
                it.name.clone(),
                Thing {
                    kind,
                    pins: sorted(pins),
                    value,
                    shown,
                    place: it.place,
                },
            );
        }
        for it in &circuit.opamps {
            let pins = [
                ("plus", it.plus),
                ("minus", it.minus),
                ("drives", it.drives),
            ];
            let pins = pins
                .into_iter()
                .map(|(pin, id)| (pin.to_owned(), node(id)))
                .collect();
            let (value, shown) = opamp_value(book, it);
            things.insert(
                it.name.clone(),
                Thing {
                    kind: if it.comparator {
                        "comparator"
                    } else {
                        "op-amp"
                    },
                    pins: sorted(pins),
                    value,
                    shown,
                    place: it.place,
                },
            );
        }
        Drawing {
            things,
            statements: statements(book, circuit),
        }
    }

    /// The same with other names (those not in the table stay).
    pub fn renamed(&self, names: &BTreeMap<String, String>) -> Drawing {
        let name = |it: &String| names.get(it).unwrap_or(it).clone();
        let things = self.things.iter().map(|(key, it)| {
            let pins = it
                .pins
                .iter()
                .map(|(pin, node)| (pin.clone(), name(node)))
                .collect();
            (
                name(key),
                Thing {
                    pins: sorted(pins),
                    ..it.clone()
                },
            )
        });
        let statements = self.statements.iter().map(|it| {
            let mut text = it.text.clone();
            for (range, old) in it.names.iter().rev() {
                text.replace_range(range.clone(), &name(old));
            }
            Said {
                text,
                names: Vec::new(),
                ..it.clone()
            }
        });
        Drawing {
            things: things.collect(),
            statements: statements.collect(),
        }
    }
}

/// The order of the two elements beside an unnamed node does not matter.
fn node_name(circuit: &Circuit, id: NodeId) -> String {
    let node = &circuit.nodes[id.index()];
    match node.name.split_once("..") {
        Some((left, right)) if !node.named => {
            let (prefix, left) = left
                .rsplit_once('.')
                .map_or(("", left), |(prefix, left)| (prefix, left));
            let (first, second) = if left <= right {
                (left, right)
            } else {
                (right, left)
            };
            if prefix.is_empty() {
                format!("{first}..{second}")
            } else {
                format!("{prefix}.{first}..{second}")
            }
        }
        _ => node.name.clone(),
    }
}

fn sorted(mut pins: Vec<(String, String)>) -> Vec<(String, String)> {
    pins.sort();
    pins
}

fn exact(number: &Number) -> String {
    match number {
        Number::Exact(ratio) => ratio.to_string(),
        Number::Rounded { value, .. } => format!("{value:e}"),
    }
}

/// One way to write a value.
fn spelled(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn opamp_value(book: &Book, it: &Opamp) -> (String, String) {
    let part = it.part.and_then(|id| book.parts.get(id.index()));
    let rails = it
        .supply
        .as_ref()
        .map_or(String::new(), |Supply { high, low, .. }| {
            format!("{} and {}", exact(&high.volts), exact(&low.volts))
        });
    // Two parts are one if they give the same figures, whatever their names and places.
    let figures = part.map_or("ideal".to_owned(), |it| {
        let bare = Part {
            name: String::new(),
            place: Place::default(),
            uses: Vec::new(),
            description: None,
            ..it.clone()
        };
        format!("{bare:?}")
    });
    let name = part.map_or("ideal", |it| &it.name);
    let shown = if rails.is_empty() {
        name.to_owned()
    } else {
        format!("{name}, supply {rails}")
    };
    (format!("{figures} {rails}"), shown)
}

/// Every statement that says something about the circuit and wires nothing.
fn statements(book: &Book, circuit: &Circuit) -> Vec<Said> {
    let Some(file) = book.files.first() else {
        return Vec::new();
    };
    let (text, tree) = (&file.text, &file.tree);
    let wires = |kind: &StatementKind| match kind {
        StatementKind::Device(device) => device.kind.of(text) != "diode",
        StatementKind::Path(_) | StatementKind::Source(_) | StatementKind::Let { .. } => true,
        StatementKind::Supply(_) | StatementKind::OpampsAre(_) | StatementKind::End => true,
        StatementKind::Version(_) | StatementKind::Use(_) | StatementKind::Part(_) => true,
        StatementKind::Block { .. }
        | StatementKind::Circuit { .. }
        | StatementKind::Property(_) => true,
        _ => false,
    };
    // The insides of parts and blocks are told by what they give.
    let inside_of = |kinds: &[syntax::BodyKind]| -> BTreeSet<u32> {
        let bodies = tree.bodies.iter().filter(|it| kinds.contains(&it.kind));
        let ids = bodies.flat_map(|it| &it.inside);
        ids.map(|id| id.0).collect()
    };
    let hidden = inside_of(&[syntax::BodyKind::Part, syntax::BodyKind::Block]);
    let in_sheets = inside_of(&[syntax::BodyKind::Work]);
    let inside = |at: u32| circuit.extent.span.start <= at && at < circuit.extent.span.end;
    tree.ids()
        .filter(|(id, it)| inside(it.span.start) && !wires(&it.kind) && !hidden.contains(&id.0))
        .map(|(id, it)| {
            let raw = it.span.of(text);
            // A line of a sheet is one only inside a sheet.
            let (head, end) = ("work \"sheet\"\n", "end\n");
            let canonical = if in_sheets.contains(&id.0) {
                let sheet = syntax::format(&format!("{head}{raw}\n{end}"));
                let inside = sheet.strip_prefix(head);
                let inside = inside.and_then(|it| it.strip_suffix(end));
                inside.unwrap_or(raw).to_owned()
            } else {
                syntax::format(raw)
            };
            let canonical = canonical.split_whitespace().collect::<Vec<_>>().join(" ");
            let word = canonical
                .split(|it: char| !it.is_alphanumeric())
                .next()
                .unwrap_or("")
                .to_owned();
            let names = match it.kind {
                StatementKind::Broken(_) => Vec::new(),
                _ => names_in(
                    &canonical,
                    it.names()
                        .iter()
                        .filter(|it| it.1 == NameRole::Thing)
                        .map(|it| it.0.of(text)),
                ),
            };
            let place = Place {
                file: FileId(0),
                span: it.span,
            };
            Said {
                word,
                text: canonical,
                place,
                names,
            }
        })
        .collect()
}

/// Where names stand in a statement's canonical text: in the same order as in the text itself.
fn names_in<'n>(
    canonical: &str,
    names: impl Iterator<Item = &'n str>,
) -> Vec<(std::ops::Range<usize>, String)> {
    let mut at = 0;
    let mut found = Vec::new();
    for name in names {
        let is_word =
            |it: Option<char>| it.is_some_and(|it| it.is_alphanumeric() || matches!(it, '_' | '.'));
        let mut from = at;
        while let Some(step) = canonical[from..].find(name) {
            let start = from + step;
            let end = start + name.len();
            let alone = !is_word(canonical[..start].chars().next_back())
                && !is_word(canonical[end..].chars().next());
            if alone {
                found.push((start..end, normal_name(name)));
                at = end;
                break;
            }
            from = end;
        }
    }
    found
}
