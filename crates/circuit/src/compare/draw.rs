//! A circuit as compared: what each part is, what its pins are joined to, its value, and the statements about it.

use std::collections::{BTreeMap, BTreeSet};

use syntax::{Dimension, FileId, Place, StatementKind};

use super::Show;
use super::figures::{Figure, exact, given, ratio, wave};
use super::said::{Said, statements};
use crate::{
    Book, Carrier, Circuit, ClaimKind, ElementKind, Formula, NodeId, Opamp, SourceKind, Supply,
};

/// A part of the circuit.
#[derive(Clone, PartialEq, Debug)]
pub struct Thing {
    /// As its own text names it.
    pub name: String,
    /// "resistor", "voltage source", "op-amp" …
    pub kind: &'static str,
    /// Pin and node, sorted; the ends of an element that nobody reads the current of carry no pin name.
    pub pins: Vec<(String, String)>,
    /// Its value, tolerance and rating; of a source what it holds.
    pub figures: Vec<Figure>,
    /// Of an op-amp.
    pub amplifier: Option<Amplifier>,
    /// Where it stands.
    pub place: Place,
}

/// What an op-amp is and is fed from.
#[derive(Clone, PartialEq, Debug)]
pub struct Amplifier {
    /// Its part's name.
    pub part: String,
    /// What its part gives; nothing is given of an ideal one.
    pub figures: Vec<Figure>,
    /// Its rails.
    pub rails: Option<Rails>,
}

/// The rails of an op-amp.
#[derive(Clone, PartialEq, Debug)]
pub struct Rails {
    /// What must be equal for them to be: the volts of each.
    pub exact: [String; 2],
    /// The nodes that carry them, where they are nodes.
    pub nodes: [Option<String>; 2],
    /// As shown.
    pub shown: String,
    /// Whether the circuit's `supply` says them.
    pub common: bool,
    /// Where they are said.
    pub place: Place,
}

impl Rails {
    /// Whether op-amps do the same on both.
    pub fn same(&self, other: &Rails) -> bool {
        self.exact == other.exact && self.nodes == other.nodes
    }
}

impl Thing {
    /// "resistor: in, sum"; "op-amp: drives out, minus fb, plus in".
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
        let mut words: Vec<String> = self.figures.iter().map(|it| it.text().to_owned()).collect();
        if let Some(it) = &self.amplifier {
            words.push(it.part.clone());
            let rails = it.rails.as_ref();
            words.extend(rails.map(|it| format!("(supply {})", it.shown)));
        }
        words.push(self.joined());
        words.join(" ")
    }

    /// What must be equal for the values of two things to be.
    pub fn value(&self) -> String {
        let given = self.amplifier.as_ref().map(|it| &it.figures);
        let all = self.figures.iter().chain(given.into_iter().flatten());
        let rails = self.amplifier.as_ref().and_then(|it| it.rails.as_ref());
        all.map(|it| format!("{} {}; ", it.label, it.exact))
            .chain(rails.map(|it| it.exact.join(" ")))
            .collect()
    }
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
    pub fn of(book: &Book, circuit: &Circuit, oriented: &BTreeSet<String>, show: Show) -> Drawing {
        let mut things = BTreeMap::new();
        let mut put = |it: Thing| things.insert(it.name.clone(), it);
        for it in &circuit.elements {
            put(element(book, circuit, it, oriented, show));
        }
        for it in &circuit.sources {
            put(source(book, circuit, it, show));
        }
        for it in &circuit.opamps {
            put(opamp(book, circuit, it, show));
        }
        for it in &circuit.open {
            put(Thing {
                name: it.name.clone(),
                kind: "switch",
                pins: pins(circuit, ["", ""], it.ends),
                figures: vec![Figure::word("open")],
                amplifier: None,
                place: it.place,
            });
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
            let mut other = it.clone();
            other
                .pins
                .iter_mut()
                .for_each(|(_, node)| *node = name(node));
            other.pins.sort();
            let rails = other.amplifier.as_mut().and_then(|it| it.rails.as_mut());
            if let Some(rails) = rails {
                let nodes = rails.nodes.iter_mut().flatten();
                nodes.for_each(|node| *node = name(node));
            }
            (name(key), other)
        });
        Drawing {
            things: things.collect(),
            statements: self.statements.iter().map(|it| it.renamed(names)).collect(),
        }
    }
}

fn element(
    book: &Book,
    circuit: &Circuit,
    it: &crate::Element,
    oriented: &BTreeSet<String>,
    show: Show,
) -> Thing {
    let (kind, dimension, rating) = match it.kind {
        ElementKind::Resistor => ("resistor", Dimension::OHM, Dimension::WATT),
        ElementKind::Capacitor if it.polarised => {
            ("electrolytic", Dimension::FARAD, Dimension::VOLT)
        }
        ElementKind::Capacitor => ("capacitor", Dimension::FARAD, Dimension::VOLT),
        ElementKind::Inductor => ("inductor", Dimension::HENRY, Dimension::AMPERE),
        ElementKind::Wire => ("switch", Dimension::OHM, Dimension::WATT),
    };
    let ends = match (it.polarised, oriented.contains(&it.name)) {
        (true, _) => ["plus", "minus"],
        (false, true) => ["from", "to"],
        (false, false) => ["", ""],
    };
    let mut figures = Vec::new();
    if it.kind == ElementKind::Wire {
        figures.push(Figure::word("closed"));
    } else {
        // What a pot's half comes to stands nowhere in the text.
        let written = spelled(book.text(it.value_place));
        let written = (!it.name.ends_with(".from") && !it.name.ends_with(".to")).then_some(written);
        figures.push(Figure::new("", &it.value, dimension, written, show));
    }
    if let Some(tolerance) = &it.tolerance {
        figures.push(ratio("tolerance", tolerance, show));
    }
    if let Some(value) = &it.rating {
        figures.push(Figure::new("rated", value, rating, None, show));
    }
    Thing {
        name: it.name.clone(),
        kind,
        pins: pins(circuit, ends, it.ends),
        figures,
        amplifier: None,
        place: it.place,
    }
}

fn source(book: &Book, circuit: &Circuit, it: &crate::Source, show: Show) -> Thing {
    let (kind, dimension, mut pins) = match it.kind {
        SourceKind::Voltage { plus, minus } => (
            "voltage source",
            Dimension::VOLT,
            pins(circuit, ["plus", "minus"], [plus, minus]),
        ),
        SourceKind::Current { from, into } => (
            "current source",
            Dimension::AMPERE,
            pins(circuit, ["from", "into"], [from, into]),
        ),
    };
    // What it reads is a connection, each with its factor.
    pins.extend(it.controls.iter().map(|(id, factor)| {
        let factor = exact(factor);
        (format!("{factor} times"), node_name(circuit, *id))
    }));
    pins.sort();
    let written = spelled(book.text(it.drive_place));
    let figure = match &it.wave {
        Some(it) => wave(it, dimension, written, show),
        None => Figure::new("", &it.constant, dimension, Some(written), show),
    };
    Thing {
        name: it.name.clone(),
        kind,
        pins,
        figures: vec![figure],
        amplifier: None,
        place: it.place,
    }
}

fn opamp(book: &Book, circuit: &Circuit, it: &Opamp, show: Show) -> Thing {
    let part = it.part.and_then(|id| book.parts.get(id.index()));
    let is_common = |place: Place| {
        let file = book.files.first().filter(|_| place.file == FileId(0));
        file.is_some_and(|file| {
            let said = file.tree.statement_at(place.span.start);
            said.is_some_and(|id| matches!(file.tree.statement(id).kind, StatementKind::Supply(_)))
        })
    };
    let rails = it.supply.as_ref().map(|supply| {
        let Supply { high, low, place } = supply;
        let volts = |it: &crate::Rail| show(&it.volts, Dimension::VOLT);
        Rails {
            exact: [high, low].map(|it| exact(&it.volts)),
            nodes: [high, low].map(|it| it.node.map(|node| node_name(circuit, node))),
            shown: format!("{} and {}", volts(high), volts(low)),
            common: is_common(*place),
            place: *place,
        }
    });
    Thing {
        name: it.name.clone(),
        kind: if it.comparator {
            "comparator"
        } else {
            "op-amp"
        },
        pins: pins(
            circuit,
            ["plus", "minus", "drives"],
            [it.plus, it.minus, it.drives],
        ),
        figures: Vec::new(),
        amplifier: Some(Amplifier {
            part: part.map_or("ideal", |it| &it.name).to_owned(),
            figures: part.map_or_else(Vec::new, |it| given(it, show)),
            rails,
        }),
        place: it.place,
    }
}

fn pins<const N: usize>(
    circuit: &Circuit,
    names: [&str; N],
    nodes: [NodeId; N],
) -> Vec<(String, String)> {
    let all = names.into_iter().zip(nodes);
    let mut pins: Vec<_> = all
        .map(|(pin, id)| (pin.to_owned(), node_name(circuit, id)))
        .collect();
    pins.sort();
    pins
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

/// One way to write a value.
fn spelled(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
