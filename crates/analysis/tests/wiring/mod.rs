//! Test circuits, wired item by item.
#![allow(dead_code)] // each test binary uses a part of it

use std::collections::HashSet;

use analysis::faults::{Fault, FaultKind, faults};
use analysis::feedback::{Feedback, feedback};
use analysis::network::Network;
use circuit::{
    Carrier, Circuit, Element, ElementId, ElementKind, GROUND, Node, NodeId, Opamp, OpampId,
    Source, SourceId, SourceKind, Start,
};
use syntax::{Number, Place, Ratio};

/// One thing of a circuit; nodes are named, `ground` is the reference.
#[derive(Clone)]
pub struct Item {
    /// Its name.
    pub name: String,
    /// What it is.
    pub what: What,
}

/// What can be wired.
#[derive(Clone, Debug)]
pub enum What {
    Passive(ElementKind, [String; 2], Ratio),
    Holds([String; 2], Ratio, Vec<(String, Ratio)>),
    Pushes([String; 2], Ratio, Vec<(String, Ratio)>),
    Opamp([String; 3]),
}

fn passive(kind: ElementKind, name: &str, a: &str, b: &str, value: Ratio) -> Item {
    Item {
        name: name.into(),
        what: What::Passive(kind, [a.into(), b.into()], value),
    }
}

pub fn resistor(name: &str, a: &str, b: &str, ohms: i64) -> Item {
    passive(ElementKind::Resistor, name, a, b, Ratio::from(ohms))
}

pub fn capacitor(name: &str, a: &str, b: &str) -> Item {
    passive(
        ElementKind::Capacitor,
        name,
        a,
        b,
        Ratio::from(1) / Ratio::from(1_000_000),
    )
}

pub fn inductor(name: &str, a: &str, b: &str) -> Item {
    passive(
        ElementKind::Inductor,
        name,
        a,
        b,
        Ratio::from(1) / Ratio::from(1000),
    )
}

pub fn wire(name: &str, a: &str, b: &str) -> Item {
    passive(ElementKind::Wire, name, a, b, Ratio::ZERO)
}

pub fn holds(name: &str, plus: &str, minus: &str, volts: i64) -> Item {
    Item {
        name: name.into(),
        what: What::Holds([plus.into(), minus.into()], volts.into(), Vec::new()),
    }
}

pub fn pushes(name: &str, from: &str, into: &str, amperes: i64) -> Item {
    Item {
        name: name.into(),
        what: What::Pushes([from.into(), into.into()], amperes.into(), Vec::new()),
    }
}

pub fn opamp(name: &str, plus: &str, minus: &str, drives: &str) -> Item {
    Item {
        name: name.into(),
        what: What::Opamp([plus.into(), minus.into(), drives.into()]),
    }
}

impl std::fmt::Debug for Item {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        let name = &self.name;
        let measured = |it: &[(String, Ratio)]| {
            it.iter()
                .map(|(node, by)| format!(" + {by}*{node}"))
                .collect::<String>()
        };
        match &self.what {
            What::Passive(kind, [a, b], value) => {
                write!(f, "{a} -- {name} {kind:?} {value} -- {b}")
            }
            What::Holds([a, b], volts, more) => {
                write!(f, "{name}: {a} - {b} = {volts}{}", measured(more))
            }
            What::Pushes([a, b], amps, more) => {
                write!(f, "{name}: {amps}{} from {a} into {b}", measured(more))
            }
            What::Opamp([plus, minus, out]) => {
                write!(f, "{name}: plus {plus}, minus {minus}, drives {out}")
            }
        }
    }
}

impl Item {
    /// A source that also measures: adds `factor · node` to its drive.
    pub fn controlled(mut self, factor: (i64, i64), node: &str) -> Item {
        if let What::Holds(_, _, controls) | What::Pushes(_, _, controls) = &mut self.what {
            controls.push((node.into(), Ratio::from(factor.0) / Ratio::from(factor.1)));
        }
        self
    }

    /// An op-amp with its inputs swapped.
    pub fn swapped(mut self) -> Item {
        if let What::Opamp(pins) = &mut self.what {
            pins.swap(0, 1);
        }
        self
    }

    /// The nodes that it is wired to.
    pub fn ends(&self) -> Vec<&String> {
        match &self.what {
            What::Passive(_, ends, _) | What::Holds(ends, ..) | What::Pushes(ends, ..) => {
                ends.iter().collect()
            }
            What::Opamp(pins) => pins.iter().collect(),
        }
    }

    /// Every node name changed.
    pub fn renamed(mut self, rename: &dyn Fn(&str) -> String) -> Item {
        let change = |it: &mut String| {
            *it = if it == "ground" {
                it.clone()
            } else {
                rename(it)
            }
        };
        match &mut self.what {
            What::Passive(_, ends, _) => ends.iter_mut().for_each(change),
            What::Opamp(pins) => pins.iter_mut().for_each(change),
            What::Holds(ends, _, controls) | What::Pushes(ends, _, controls) => {
                ends.iter_mut().for_each(change);
                controls.iter_mut().for_each(|(node, _)| change(node));
            }
        }
        self
    }
}

/// The circuit of these items, in this order.
pub fn wired(items: &[Item]) -> Circuit {
    let mut circuit = Circuit {
        name: "bench".into(),
        nodes: vec![node("ground")],
        ..Circuit::default()
    };
    for item in items {
        let name = item.name.clone();
        let place = Place::default();
        match &item.what {
            What::Passive(kind, [a, b], value) => {
                let ends = [at(&mut circuit, a), at(&mut circuit, b)];
                circuit.elements.push(Element {
                    name,
                    kind: *kind,
                    value: Number::Exact(value.clone()),
                    ends,
                    place,
                    name_place: place,
                    value_place: place,
                    end_places: [place; 2],
                    tolerance: None,
                    rating: None,
                    polarised: false,
                    description: None,
                });
            }
            What::Holds([a, b], constant, controls) | What::Pushes([a, b], constant, controls) => {
                let (a, b) = (at(&mut circuit, a), at(&mut circuit, b));
                let kind = match &item.what {
                    What::Holds(..) => SourceKind::Voltage { plus: a, minus: b },
                    _ => SourceKind::Current { from: a, into: b },
                };
                let controls = controls
                    .iter()
                    .map(|(it, k)| (at(&mut circuit, it), Number::Exact(k.clone())))
                    .collect();
                circuit.sources.push(Source {
                    name,
                    kind,
                    constant: Number::Exact(constant.clone()),
                    controls,
                    wave: None,
                    place,
                    name_place: place,
                    drive_place: place,
                    end_places: [Some(place); 2],
                    description: None,
                });
            }
            What::Opamp([plus, minus, drives]) => {
                let opamp = Opamp {
                    name,
                    plus: at(&mut circuit, plus),
                    minus: at(&mut circuit, minus),
                    drives: at(&mut circuit, drives),
                    comparator: false,
                    part: None,
                    supply: None,
                    place,
                    name_place: place,
                    pin_places: [place; 3],
                    description: None,
                };
                circuit.opamps.push(opamp);
            }
        }
    }
    circuit
}

fn node(name: &str) -> Node {
    Node {
        name: name.into(),
        named: true,
        places: Vec::new(),
        description: None,
    }
}

fn at(circuit: &mut Circuit, name: &str) -> NodeId {
    let known = circuit.nodes.iter().position(|it| it.name == name);
    NodeId(known.unwrap_or_else(|| {
        circuit.nodes.push(node(name));
        circuit.nodes.len() - 1
    }) as u32)
}

/// The circuit with `start a - b = 0 V`.
pub fn started(mut circuit: Circuit, plus: &str, minus: &str) -> Circuit {
    let (plus, minus) = (at(&mut circuit, plus), at(&mut circuit, minus));
    circuit.starts.push(Start::Voltage {
        plus,
        minus,
        volts: Number::Exact(Ratio::ZERO),
        place: Place::default(),
    });
    circuit
}

/// The circuit beside a broken line that names these nodes.
pub fn perhaps(mut circuit: Circuit, nodes: &[&str]) -> Circuit {
    circuit.perhaps.incomplete = true;
    circuit.perhaps.nodes = nodes
        .iter()
        .map(|it| at(&mut circuit, it))
        .collect::<HashSet<_>>();
    circuit
}

/// Faults in words: kind, nodes, carriers, each set sorted by name; then sorted.
pub fn found(circuit: &Circuit) -> Vec<String> {
    let network = Network::of(circuit);
    let mut all: Vec<String> = faults(circuit, &[], &network)
        .iter()
        .map(|it| told(circuit, it))
        .collect();
    all.sort();
    all
}

fn told(circuit: &Circuit, fault: &Fault) -> String {
    let mut nodes: Vec<&str> = fault
        .nodes
        .iter()
        .map(|it| circuit.node_name(*it))
        .collect();
    let mut carriers: Vec<&str> = fault
        .carriers
        .iter()
        .map(|it| carrier_name(circuit, *it))
        .collect();
    nodes.sort();
    carriers.sort();
    let amount = fault
        .amount
        .as_ref()
        .map(|it| format!(" {it}"))
        .unwrap_or_default();
    format!(
        "{:?}{amount}: {} | {}",
        fault.kind,
        nodes.join(" "),
        carriers.join(" ")
    )
}

pub fn carrier_name(circuit: &Circuit, carrier: Carrier) -> &str {
    match carrier {
        Carrier::Element(ElementId(it)) => &circuit.elements[it as usize].name,
        Carrier::Source(SourceId(it)) => &circuit.sources[it as usize].name,
        Carrier::Opamp(OpampId(it)) => &circuit.opamps[it as usize].name,
    }
}

/// The kinds of fault alone.
pub fn kinds(circuit: &Circuit) -> Vec<FaultKind> {
    faults(circuit, &[], &Network::of(circuit))
        .iter()
        .map(|it| it.kind)
        .collect()
}

/// The verdicts.
pub fn judged(circuit: &Circuit) -> Vec<Feedback> {
    let network = Network::of(circuit);
    let faults = faults(circuit, &[], &network);
    feedback(circuit, &[], &network, &faults)
}

/// Verdicts in words: `A1 A2: Positive, swap A1`; sorted.
pub fn verdicts(circuit: &Circuit) -> Vec<String> {
    let name = |it: &OpampId| circuit.opamps[it.index()].name.clone();
    let names = |set: &[OpampId]| {
        let mut names: Vec<String> = set.iter().map(name).collect();
        names.sort();
        names.join(" ")
    };
    let mut all: Vec<String> = judged(circuit)
        .iter()
        .map(|it| {
            let mut repairs: Vec<String> = it
                .repairs
                .iter()
                .map(|set| format!(", swap {}", names(set)))
                .collect();
            repairs.sort();
            format!("{}: {:?}{}", names(&it.block), it.verdict, repairs.concat())
        })
        .collect();
    all.sort();
    all
}

/// The ground node, for tests that need no name.
pub const REFERENCE: NodeId = GROUND;
