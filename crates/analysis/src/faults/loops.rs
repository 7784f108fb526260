//! Steps 0 to 2: both ends on one node; sources, wires and outputs that close a loop; inputs that are held already.

use std::collections::VecDeque;

use circuit::{Carrier, Circuit, NodeId, OpampId, Source, SourceKind};
use dashu_base::Abs;
use syntax::{Number, Ratio};

use super::{FaultKind, Search};
use crate::network::{Edge, Joined, fraction};

/// Step 0.
pub(super) fn shorted(search: &mut Search) {
    for carrier in &search.network.shorted {
        let (node, sourced) = match carrier {
            Carrier::Element(it) => (search.circuit.elements[it.index()].ends[0], false),
            Carrier::Source(it) => {
                let source = &search.circuit.sources[it.index()];
                let constant = fraction(&source.constant);
                (
                    ends(source)[0],
                    !constant.is_zero() || !source.controls.is_empty() || source.wave.is_some(),
                )
            }
            Carrier::Opamp(it) => (search.circuit.opamps[it.index()].drives, false),
        };
        search.tell(
            FaultKind::Shorted { sourced },
            vec![node],
            vec![*carrier],
            None,
        );
    }
}

/// Step 1.
pub(super) fn closed(search: &mut Search) {
    let circuit = search.circuit;
    for closed in &search.network.loops {
        let carriers: Vec<Carrier> = [closed.edge.carrier]
            .into_iter()
            .chain(closed.path.iter().copied())
            .collect();
        let outputs: Vec<NodeId> = carriers
            .iter()
            .filter_map(|it| output(circuit, *it))
            .collect();
        let mut apart = outputs.clone();
        apart.dedup();
        let (kind, nodes, amount) = match outputs.len() {
            0 => {
                let only_wires = carriers.iter().all(|it| matches!(it, Carrier::Element(_)));
                let walked = closed.path.iter().zip(&closed.nodes);
                let steps = walked.map(|(carrier, from)| (*carrier, *from));
                let against = volts(circuit, steps);
                let along = volts(
                    circuit,
                    [(closed.edge.carrier, closed.edge.from)].into_iter(),
                );
                let amount = along
                    .zip(against)
                    .map(|(along, against)| along.less(against));
                (
                    FaultKind::SourceLoop { only_wires },
                    closed.nodes.clone(),
                    amount.and_then(Volts::sum).map(Abs::abs),
                )
            }
            1 => (FaultKind::OutputOnSource, apart, None),
            _ => (FaultKind::OutputsTied, apart, None),
        };
        search.tell(kind, nodes, carriers, amount);
    }
}

/// Step 2: a second forest, of what holds differences whatever the outputs do, and of the rules V+ = V−.
pub(super) fn inputs(search: &mut Search) {
    let circuit = search.circuit;
    let mut trees = Joined::new(circuit.nodes.len());
    let mut beside: Vec<Vec<(Carrier, NodeId)>> = vec![Vec::new(); circuit.nodes.len()];
    let mut add = |edge: &Edge, trees: &mut Joined| {
        let fresh = trees.join(edge.from, edge.to);
        if fresh {
            beside[edge.from.index()].push((edge.carrier, edge.to));
            beside[edge.to.index()].push((edge.carrier, edge.from));
            return None;
        }
        Some(way(&beside, edge.from, edge.to))
    };
    for edge in &search.network.edges {
        let fixed = match edge.carrier {
            Carrier::Source(it) => circuit.sources[it.index()].controls.is_empty(),
            Carrier::Element(_) => true,
            Carrier::Opamp(_) => false,
        };
        if fixed {
            add(edge, &mut trees);
        }
    }
    let mut found = Vec::new();
    for (index, opamp) in circuit
        .opamps
        .iter()
        .enumerate()
        .filter(|it| !search.told_opamps[it.0])
    {
        let carrier = Carrier::Opamp(OpampId(index as u32));
        let Some(way) = add(
            &Edge {
                carrier,
                from: opamp.plus,
                to: opamp.minus,
            },
            &mut trees,
        ) else {
            continue;
        };
        let carriers: Vec<Carrier> = [carrier]
            .into_iter()
            .chain(way.iter().map(|it| it.0))
            .collect();
        let volts = volts(circuit, way.iter().copied());
        let volts = volts.and_then(Volts::sum);
        let kind = if opamp.plus == opamp.minus {
            FaultKind::InputsTied
        } else if way.iter().any(|it| matches!(it.0, Carrier::Opamp(_))) {
            FaultKind::RulesRepeat
        } else if volts.as_ref().is_some_and(Ratio::is_zero) {
            FaultKind::InputsHeldEqual
        } else {
            FaultKind::InputsHeldApart
        };
        let mut nodes = vec![opamp.plus];
        nodes.extend((opamp.plus != opamp.minus).then_some(opamp.minus));
        let amount = if kind == FaultKind::InputsHeldApart {
            volts
        } else {
            None
        };
        found.push((kind, nodes, carriers, amount));
    }
    for (kind, nodes, carriers, amount) in found {
        search.tell(kind, nodes, carriers, amount);
    }
}

/// The two nodes of a source.
pub(super) fn ends(source: &Source) -> [NodeId; 2] {
    match source.kind {
        SourceKind::Voltage { plus, minus } => [plus, minus],
        SourceKind::Current { from, into } => [from, into],
    }
}

fn output(circuit: &Circuit, carrier: Carrier) -> Option<NodeId> {
    match carrier {
        Carrier::Opamp(it) => Some(circuit.opamps[it.index()].drives),
        _ => None,
    }
}

/// The walk between two nodes of one tree: each step's edge and the node where it starts.
fn way(beside: &[Vec<(Carrier, NodeId)>], from: NodeId, to: NodeId) -> Vec<(Carrier, NodeId)> {
    let mut came: Vec<Option<(Carrier, NodeId)>> = vec![None; beside.len()];
    let mut waiting = VecDeque::from([from]);
    while let Some(at) = waiting.pop_front() {
        if at == to {
            break;
        }
        for (carrier, next) in &beside[at.index()] {
            if *next != from && came[next.index()].is_none() {
                came[next.index()] = Some((*carrier, at));
                waiting.push_back(*next);
            }
        }
    }
    let mut way = Vec::new();
    let mut at = to;
    while let Some((carrier, before)) = came[at.index()] {
        way.push((carrier, before));
        at = before;
    }
    way.reverse();
    way
}

/// A sum of volts, with what tells whether a small remainder is one of rounding.
struct Volts {
    sum: Ratio,
    size: f64,
    rounded: bool,
    waves: bool,
}

impl Volts {
    fn less(self, other: Volts) -> Volts {
        Volts {
            sum: self.sum - other.sum,
            size: self.size + other.size,
            rounded: self.rounded || other.rounded,
            waves: self.waves || other.waves,
        }
    }

    /// `None` where a wave makes sources differ that agree at rest.
    fn sum(self) -> Option<Ratio> {
        let noise = self.rounded && self.sum.to_f64().value().abs() <= 1e-12 * self.size;
        let sum = if noise { Ratio::ZERO } else { self.sum };
        (!self.waves || !sum.is_zero()).then_some(sum)
    }
}

/// The voltage from the start of a walk to its end at rest: `None` where a controlled source is on it.
fn volts(circuit: &Circuit, steps: impl Iterator<Item = (Carrier, NodeId)>) -> Option<Volts> {
    let mut volts = Volts {
        sum: Ratio::ZERO,
        size: 0.0,
        rounded: false,
        waves: false,
    };
    for (carrier, from) in steps {
        let Carrier::Source(id) = carrier else {
            continue;
        };
        let source = &circuit.sources[id.index()];
        if !source.controls.is_empty() {
            return None;
        }
        let drive = fraction(&source.constant);
        volts.size += drive.to_f64().value().abs();
        volts.rounded |= matches!(source.constant, Number::Rounded { .. });
        volts.waves |= source.wave.is_some();
        volts.sum += if ends(source)[0] == from {
            drive
        } else {
            -drive
        };
    }
    Some(volts)
}
