//! What keeps the equations from having one answer, with the smallest set of names to point at.

use circuit::{Carrier, NodeId, OpampId};
use syntax::Ratio;

/// One structural fault.
#[derive(Clone, PartialEq, Debug)]
pub struct Fault {
    /// What.
    pub kind: FaultKind,
    /// The nodes to point at, the most telling first.
    pub nodes: Vec<NodeId>,
    /// The elements, sources and op-amps to point at: for a loop all of it, for an island what crosses its border.
    pub carriers: Vec<Carrier>,
    /// Of a loop: by how many volts it contradicts itself.
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

/// Convenience for rules: the op-amps among a fault's carriers.
impl Fault {
    /// The op-amps among the carriers.
    pub fn opamps(&self) -> impl Iterator<Item = OpampId> + '_ {
        self.carriers.iter().filter_map(|it| match it {
            Carrier::Opamp(id) => Some(*id),
            _ => None,
        })
    }
}
