//! What keeps the equations from having one answer, with the smallest set of names to point at.
//!
//! Seven steps in a fixed order; what one step reports, the later ones leave out, so that one mistake is one fault. Graphs
//! come first and rank is the referee: random values modulo a prime tell what holds whatever the values, the exact values
//! tell what cancels. A fault that rests on something's absence is not reported where a line that could not be read, or is
//! not computed yet, may have brought it: [`Regions::may_lack`].

use std::collections::HashSet;

use circuit::{Carrier, Circuit, NodeId, OpampId, Part};
use syntax::Ratio;

use crate::feedback::Maps;
use crate::network::Network;

mod islands;
mod loops;
mod outputs;
mod regions;

pub use regions::Regions;

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
    let regions = Regions::of(circuit, network);
    look(circuit, network, &regions, &Maps::of(circuit, network))
}

pub(crate) fn look(
    circuit: &Circuit,
    network: &Network,
    regions: &Regions,
    maps: &Maps,
) -> Vec<Fault> {
    let mut search = Search {
        circuit,
        network,
        regions,
        maps,
        found: Vec::new(),
        started: islands::started(circuit),
        told_nodes: vec![false; circuit.nodes.len()],
        adrift: vec![false; circuit.nodes.len()],
        // A comparator's inputs need not be equal.
        told_opamps: circuit.opamps.iter().map(|it| it.comparator).collect(),
    };
    loops::shorted(&mut search);
    loops::closed(&mut search);
    loops::inputs(&mut search);
    islands::without_ground(&mut search);
    outputs::without_feedback(&mut search);
    islands::loose_ends(&mut search);
    search.found
}

/// A search under way.
struct Search<'a> {
    circuit: &'a Circuit,
    network: &'a Network,
    regions: &'a Regions,
    maps: &'a Maps,
    found: Vec<Fault>,
    /// The pairs of nodes whose voltage a `start` sets, the lower one first.
    started: HashSet<[NodeId; 2]>,
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
