//! What the things of a circuit are called in a sentence, and where their words stand.

use circuit::{Carrier, Circuit, ElementKind, GROUND, NodeId};
use syntax::{Dimension, Place};

/// `R1`, `probe`, `A1`.
pub fn carrier(circuit: &Circuit, carrier: Carrier) -> &str {
    match carrier {
        Carrier::Element(id) => &circuit.elements[id.index()].name,
        Carrier::Source(id) => &circuit.sources[id.index()].name,
        Carrier::Opamp(id) => &circuit.opamps[id.index()].name,
    }
}

/// From its name to its value; of an op-amp the whole statement.
pub fn carrier_place(circuit: &Circuit, carrier: Carrier) -> Place {
    match carrier {
        Carrier::Element(id) => circuit.elements[id.index()].place,
        Carrier::Source(id) => circuit.sources[id.index()].place,
        Carrier::Opamp(id) => circuit.opamps[id.index()].place,
    }
}

/// Its name alone.
pub fn carrier_name_place(circuit: &Circuit, carrier: Carrier) -> Place {
    match carrier {
        Carrier::Element(id) => circuit.elements[id.index()].name_place,
        Carrier::Source(id) => circuit.sources[id.index()].name_place,
        Carrier::Opamp(id) => circuit.opamps[id.index()].name_place,
    }
}

/// The two ends: of an element left and right, of a source as its statement says them, of an op-amp output and ground.
pub fn carrier_ends(circuit: &Circuit, carrier: Carrier) -> [NodeId; 2] {
    match carrier {
        Carrier::Element(id) => circuit.elements[id.index()].ends,
        Carrier::Source(id) => match circuit.sources[id.index()].kind {
            circuit::SourceKind::Voltage { plus, minus } => [plus, minus],
            circuit::SourceKind::Current { from, into } => [from, into],
        },
        Carrier::Opamp(id) => [circuit.opamps[id.index()].drives, GROUND],
    }
}

/// "the resistor `R1`", "the source `probe`", "the op-amp `A1`".
pub fn the(circuit: &Circuit, it: Carrier) -> String {
    let noun = match it {
        Carrier::Element(id) => element_noun(circuit.elements[id.index()].kind),
        Carrier::Source(_) => "source",
        Carrier::Opamp(_) => "op-amp",
    };
    format!("the {noun} `{}`", carrier(circuit, it))
}

/// "resistor", "capacitor", "inductor", "closed switch".
pub fn element_noun(kind: ElementKind) -> &'static str {
    match kind {
        ElementKind::Resistor => "resistor",
        ElementKind::Capacitor => "capacitor",
        ElementKind::Inductor => "inductor",
        ElementKind::Wire => "closed switch",
    }
}

/// The unit of an element's value.
pub fn element_dimension(kind: ElementKind) -> Dimension {
    match kind {
        ElementKind::Resistor | ElementKind::Wire => Dimension::OHM,
        ElementKind::Capacitor => Dimension::FARAD,
        ElementKind::Inductor => Dimension::HENRY,
    }
}

/// "`sum`", "ground"; of a node without a name "`R1..R2`".
pub fn node(circuit: &Circuit, node: NodeId) -> String {
    match node {
        GROUND => "ground".into(),
        _ => format!("`{}`", circuit.node_name(node)),
    }
}

/// "`a`", "`a` and `b`", "`a`, `b` and `c`".
pub fn list<T: AsRef<str>>(items: impl IntoIterator<Item = T>) -> String {
    let items: Vec<T> = items.into_iter().collect();
    match items.as_slice() {
        [] => String::new(),
        [one] => one.as_ref().into(),
        [init @ .., last] => {
            let init: Vec<&str> = init.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", init.join(", "), last.as_ref())
        }
    }
}

/// The first few of many as a list: "`a`, `b`, `c`, `d` and 7 more".
pub fn few<T>(items: &[T], name: impl Fn(&T) -> String) -> String {
    const FEW: usize = 4;
    // never "and 1 more": the one itself is as short
    let shown = if items.len() <= FEW + 1 {
        items.len()
    } else {
        FEW
    };
    let mut words: Vec<String> = items[..shown].iter().map(name).collect();
    if shown < items.len() {
        words.push(format!("{} more", items.len() - shown));
    }
    list(words)
}

/// The names of these nodes, the first few of many.
pub fn nodes(circuit: &Circuit, nodes: impl IntoIterator<Item = NodeId>) -> String {
    few(&nodes.into_iter().collect::<Vec<_>>(), |it| {
        node(circuit, *it)
    })
}

/// The names of these parts, each in backticks, the first few of many.
pub fn carriers(circuit: &Circuit, carriers: impl IntoIterator<Item = Carrier>) -> String {
    few(&carriers.into_iter().collect::<Vec<_>>(), |it| {
        format!("`{}`", carrier(circuit, *it))
    })
}

/// With its first letter large.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
