//! What keeps the equations from having one answer, with the smallest set of names to point at.
//!
//! Seven steps in a fixed order; what one step reports, the later ones leave out, so that one mistake is one fault. Graphs
//! come first and rank is the referee: random values modulo a prime tell what holds whatever the values, the exact values
//! tell what cancels. A fault that rests on something's absence is not reported where a line that could not be read, or is
//! not computed yet, may have brought it: [`may_lack`].

use std::collections::HashSet;

use circuit::{Carrier, Circuit, NodeId, OpampId, Part};
use syntax::Ratio;

use crate::network::Network;

mod islands;
mod loops;
mod outputs;

/// One structural fault.
#[derive(Clone, PartialEq, Debug)]
pub struct Fault {
    /// What.
    pub kind: FaultKind,
    /// The nodes to point at, the most telling first.
    pub nodes: Vec<NodeId>,
    /// The elements, sources and op-amps to point at: for a loop all of it, for an island what crosses its border.
    pub carriers: Vec<Carrier>,
    /// Of a loop: by how many volts it contradicts itself at rest; `None` where that is not fixed (a controlled source, a
    /// wave). Of inputs held apart: V+ − V−. Of a current into nothing: the net current that cannot leave.
    pub amount: Option<Ratio>,
}

/// The kinds, in the order in which they are looked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FaultKind {
    /// Both ends are one node; `sourced`: of a source that is not zero.
    Shorted {
        /// A source that is not zero.
        sourced: bool,
    },
    /// Sources and wires close a loop; `only_wires`: nothing but wires and inductors.
    SourceLoop {
        /// Nothing but wires and inductors.
        only_wires: bool,
    },
    /// An op-amp's output and a source hold one node.
    OutputOnSource,
    /// Two outputs hold one node.
    OutputsTied,
    /// Both inputs of an op-amp are one node.
    InputsTied,
    /// Sources hold the inputs of an op-amp apart.
    InputsHeldApart,
    /// Sources hold the inputs of an op-amp equal: V+ = V− says nothing new.
    InputsHeldEqual,
    /// A current source pushes into nodes that offer no way back.
    CurrentIntoNothing,
    /// An input pin that nothing reaches.
    InputOpen,
    /// An input pin that only capacitors (or other input pins) reach.
    InputNoDcPath,
    /// Nodes without a conducting way to ground; `by_capacitors`: only capacitors reach them.
    FloatingPart {
        /// Only capacitors reach them.
        by_capacitors: bool,
    },
    /// The output cannot move its own inputs.
    NoFeedback,
    /// The output moves its own inputs only through capacitors, and no `start` sets them.
    NoneAtDc,
    /// Input rules repeat each other, whatever the values.
    RulesRepeat,
    /// Both paths are equal at these values.
    CancelsAtTheseValues,
    /// The equations have no single answer at these values, and no op-amp is to blame.
    Singular,
    /// A node that one connection alone touches.
    LooseEnd,
}

impl Fault {
    /// The op-amps among the carriers.
    pub fn opamps(&self) -> impl Iterator<Item = OpampId> + '_ {
        self.carriers.iter().filter_map(|it| match it {
            Carrier::Opamp(id) => Some(*id),
            _ => None,
        })
    }
}

/// Looks for every kind of fault.
pub fn faults(circuit: &Circuit, _parts: &[Part], network: &Network) -> Vec<Fault> {
    let mut search = Search {
        circuit,
        network,
        found: Vec::new(),
        told_nodes: vec![false; circuit.nodes.len()],
        adrift: vec![false; circuit.nodes.len()],
        told_opamps: vec![false; circuit.opamps.len()],
    };
    loops::shorted(&mut search);
    loops::closed(&mut search);
    loops::inputs(&mut search);
    islands::without_ground(&mut search);
    outputs::without_feedback(&mut search);
    islands::loose_ends(&mut search);
    search.found
}

/// Whether a line that could not be read, or is not computed yet, may have wired something at these nodes or at any that
/// they reach through elements and floating sources without crossing ground or a held node: what seems to be missing there
/// may not be.
pub fn may_lack(circuit: &Circuit, network: &Network, nodes: &[NodeId]) -> bool {
    let perhaps = &circuit.perhaps.nodes;
    !perhaps.is_empty()
        && (nodes.iter().any(|it| perhaps.contains(it))
            || neighbourhood(circuit, network, nodes)
                .iter()
                .any(|it| perhaps.contains(it)))
}

/// The same at the pins of these op-amps: no verdict on their feedback is sure where it holds.
pub fn may_lack_feedback(circuit: &Circuit, network: &Network, opamps: &[OpampId]) -> bool {
    let pins = |it: &OpampId| {
        let opamp = &circuit.opamps[it.index()];
        [opamp.plus, opamp.minus, opamp.drives]
    };
    may_lack(
        circuit,
        network,
        &opamps.iter().flat_map(pins).collect::<Vec<_>>(),
    )
}

/// The nodes that are not held among these, and all others that elements and floating sources join to them without
/// crossing ground or a held node.
pub fn neighbourhood(circuit: &Circuit, network: &Network, nodes: &[NodeId]) -> Vec<NodeId> {
    let mut beside = vec![Vec::new(); circuit.nodes.len()];
    let sources = circuit.sources.iter().map(loops::ends);
    for [a, b] in circuit.elements.iter().map(|it| it.ends).chain(sources) {
        beside[a.index()].push(b);
        beside[b.index()].push(a);
    }
    let mut seen = HashSet::new();
    let mut reached = Vec::new();
    let mut waiting = nodes.to_vec();
    while let Some(node) = waiting.pop() {
        if !network.is_held(node) && seen.insert(node) {
            reached.push(node);
            waiting.extend(&beside[node.index()]);
        }
    }
    reached
}

/// A search under way.
struct Search<'a> {
    circuit: &'a Circuit,
    network: &'a Network,
    found: Vec<Fault>,
    /// Nodes that a fault accounts for.
    told_nodes: Vec<bool>,
    /// Nodes of islands without a way to ground, told or not (but for those that a controlled current may hold).
    adrift: Vec<bool>,
    /// Op-amps that a fault accounts for, or of which nothing can be said.
    told_opamps: Vec<bool>,
}

impl Search<'_> {
    fn tell(
        &mut self,
        kind: FaultKind,
        nodes: Vec<NodeId>,
        carriers: Vec<Carrier>,
        amount: Option<Ratio>,
    ) {
        let fault = Fault {
            kind,
            nodes,
            carriers,
            amount,
        };
        fault
            .opamps()
            .for_each(|it| self.told_opamps[it.index()] = true);
        self.found.push(fault);
    }
}
