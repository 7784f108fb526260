//! Steps 3 and 7: nodes that no direct current reaches, and nodes that one connection alone touches.

use std::collections::HashSet;
use std::hash::Hash;

use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceId, SourceKind, Start,
};
use syntax::Ratio;

use super::loops::ends;
use super::{FaultKind, Search};
use crate::network::fraction;

/// What crosses an island's border, and what lies inside.
#[derive(Default)]
struct Border {
    currents: Vec<SourceId>,
    net: Ratio,
    /// A controlled current may conduct; rank decides.
    controlled: bool,
    capacitors: Vec<ElementId>,
    pins: Vec<(OpampId, NodeId)>,
    inside: Vec<Carrier>,
}

/// Step 3.
pub(super) fn without_ground(search: &mut Search) {
    let borders = borders(search);
    for (island, border) in search.network.islands.iter().zip(borders).skip(1) {
        judge(search, island, border);
    }
}

fn judge(search: &mut Search, island: &[NodeId], border: Border) {
    let circuit = search.circuit;
    let caps = border.capacitors.iter().map(|it| Carrier::Element(*it));
    let touches =
        border.currents.len() + border.capacitors.len() + border.pins.len() + border.inside.len();
    let tied = |it: &(OpampId, NodeId)| {
        let opamp = &circuit.opamps[it.0.index()];
        search.told_opamps[it.0.index()] && opamp.plus == opamp.minus
    };
    let said_already =
        !border.pins.is_empty() && border.pins.iter().all(tied) && touches == border.pins.len();
    if border.controlled {
        return;
    }
    island
        .iter()
        .for_each(|it| search.adrift[it.index()] = true);
    if touches == 0 || said_already {
        return;
    }
    // From where a capacitor starts, the nodes go on: that is what `start` is for.
    let started = border.capacitors.iter().any(|it| search.starts(*it));
    if started && (!border.currents.is_empty() || border.pins.is_empty()) {
        return;
    }
    island
        .iter()
        .for_each(|it| search.told_nodes[it.index()] = true);
    border
        .pins
        .iter()
        .for_each(|it| search.told_opamps[it.0.index()] = true);
    if search.regions.may_lack(island) {
        return;
    }
    let pins = border.pins.iter().map(|it| it.1);
    let nodes = each_once(pins.chain(island.iter().copied()));
    if !border.currents.is_empty() {
        let carriers = border
            .currents
            .iter()
            .map(|it| Carrier::Source(*it))
            .collect();
        search.tell(
            FaultKind::CurrentIntoNothing,
            nodes,
            carriers,
            Some(border.net),
        );
    } else if !border.pins.is_empty() {
        let kind = if touches == 1 {
            FaultKind::InputOpen
        } else {
            FaultKind::InputNoDcPath
        };
        let pins = border.pins.iter().map(|it| Carrier::Opamp(it.0));
        search.tell(kind, nodes, each_once(pins.chain(caps)), None);
    } else {
        let by_capacitors = !border.capacitors.is_empty();
        let carriers = if by_capacitors {
            caps.collect()
        } else {
            border.inside
        };
        search.tell(
            FaultKind::FloatingPart { by_capacitors },
            nodes,
            carriers,
            None,
        );
    }
}

/// In their order, repetitions left out.
fn each_once<T: Copy + Eq + Hash>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut seen = HashSet::new();
    all.filter(|it| seen.insert(*it)).collect()
}

fn borders(search: &Search) -> Vec<Border> {
    let island = |node: NodeId| search.network.island_of[node.index()];
    let mut borders: Vec<Border> = search
        .network
        .islands
        .iter()
        .map(|_| Border::default())
        .collect();
    for (index, element) in search.circuit.elements.iter().enumerate() {
        let id = ElementId(index as u32);
        let [a, b] = element.ends;
        if a == b {
            continue;
        }
        if island(a) == island(b) {
            borders[island(a)].inside.push(Carrier::Element(id));
        } else if element.kind == ElementKind::Capacitor {
            [a, b]
                .iter()
                .for_each(|it| borders[island(*it)].capacitors.push(id));
        }
    }
    for (index, source) in search.circuit.sources.iter().enumerate() {
        let id = SourceId(index as u32);
        let [a, b] = ends(source);
        if a == b {
            continue;
        }
        if island(a) == island(b) {
            borders[island(a)].inside.push(Carrier::Source(id));
        } else if matches!(source.kind, SourceKind::Current { .. }) {
            for (node, into) in [(a, false), (b, true)] {
                let border = &mut borders[island(node)];
                border.controlled |= !source.controls.is_empty();
                border.currents.push(id);
                let drive = fraction(&source.constant);
                border.net += if into { drive } else { -drive };
            }
        }
    }
    for (index, opamp) in search.circuit.opamps.iter().enumerate() {
        for pin in [opamp.plus, opamp.minus] {
            borders[island(pin)].pins.push((OpampId(index as u32), pin));
        }
    }
    borders
}

/// The pairs of nodes whose voltage a `start` sets, the lower one first.
pub(super) fn started(circuit: &Circuit) -> HashSet<[NodeId; 2]> {
    let pair = |it: &Start| match it {
        Start::Voltage { plus, minus, .. } => Some([*plus.min(minus), *plus.max(minus)]),
        Start::Current { .. } => None,
    };
    circuit.starts.iter().filter_map(pair).collect()
}

impl Search<'_> {
    /// Whether `start` sets this capacitor's voltage.
    pub(super) fn starts(&self, capacitor: ElementId) -> bool {
        let [a, b] = self.circuit.elements[capacitor.index()].ends;
        self.started.contains(&[a.min(b), a.max(b)])
    }
}

/// Step 7.
pub(super) fn loose_ends(search: &mut Search) {
    for (node, touching) in loose(search.circuit) {
        if !search.told_nodes[node.index()] && !search.regions.may_lack(&[node]) {
            search.tell(
                FaultKind::LooseEnd,
                vec![node],
                vec![Carrier::Element(touching)],
                None,
            );
        }
    }
    for (node, source) in loose_sources(search.circuit) {
        if !search.told_nodes[node.index()] && !search.regions.may_lack(&[node]) {
            let carriers = vec![Carrier::Source(source)];
            search.tell(FaultKind::LooseEnd, vec![node], carriers, None);
        }
    }
}

/// Nodes where a source between two nodes ends and nothing else is: it drives nothing.
fn loose_sources(circuit: &Circuit) -> Vec<(NodeId, SourceId)> {
    let mut count = vec![0; circuit.nodes.len()];
    let mut touch = |node: NodeId| count[node.index()] += 1;
    circuit
        .elements
        .iter()
        .flat_map(|it| it.ends)
        .for_each(&mut touch);
    let pins = circuit
        .opamps
        .iter()
        .flat_map(|it| [it.plus, it.minus, it.drives]);
    pins.for_each(&mut touch);
    for source in &circuit.sources {
        ends(source).into_iter().for_each(&mut touch);
        source.controls.iter().for_each(|it| touch(it.0));
    }
    let mut loose = Vec::new();
    for (index, source) in circuit.sources.iter().enumerate() {
        let held = matches!(source.kind, SourceKind::Voltage { .. });
        let [a, b] = ends(source);
        if held && a != GROUND && b != GROUND && a != b {
            let alone = [a, b].into_iter().filter(|it| count[it.index()] == 1);
            loose.extend(alone.map(|it| (it, SourceId(index as u32))));
        }
    }
    loose
}

/// Nodes that one element's end alone touches. Outputs and nodes that a source stands at are none.
pub(super) fn loose(circuit: &Circuit) -> Vec<(NodeId, ElementId)> {
    let mut count = vec![0; circuit.nodes.len()];
    let mut touching = vec![None; circuit.nodes.len()];
    for (index, element) in circuit.elements.iter().enumerate() {
        for end in element.ends {
            count[end.index()] += 1;
            touching[end.index()] = Some(ElementId(index as u32));
        }
    }
    let pins = circuit
        .opamps
        .iter()
        .flat_map(|it| [it.plus, it.minus, it.drives]);
    let sources = circuit.sources.iter().flat_map(|it| {
        ends(it)
            .into_iter()
            .chain(it.controls.iter().map(|it| it.0))
    });
    let open = circuit.open.iter().flat_map(|it| it.ends);
    pins.chain(sources)
        .chain(open)
        .for_each(|it| count[it.index()] += 1);
    let nodes = (0..circuit.nodes.len() as u32)
        .map(NodeId)
        .filter(|it| *it != GROUND && count[it.index()] == 1);
    nodes
        .filter_map(|it| Some((it, touching[it.index()]?)))
        .collect()
}
