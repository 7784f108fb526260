//! N equations for N unknown node voltages, in class order: known nodes, V+ = V−, sums.

use circuit::{Carrier, NodeId, OpampId};

/// The equations of one circuit, ideal op-amps.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Equations {
    /// The unknown node voltages: every node but ground, by first appearance.
    pub unknowns: Vec<NodeId>,
    /// As many equations: sources in text order, op-amps in text order, sums by first appearance of their node.
    pub list: Vec<Equation>,
}

/// One equation.
#[derive(Clone, PartialEq, Debug)]
pub struct Equation {
    /// The node that it belongs to; each unknown node has exactly one equation where the circuit is sound. Of `Held` the
    /// node that the source fixes, of `Virtual` the op-amp's output, of a joined sum the group's first node.
    pub at: NodeId,
    /// Its form.
    pub kind: EquationKind,
    /// What is added: of a sum the currents that leave the node or group; of `Held` and `Virtual` one term.
    pub terms: Vec<Term>,
}

/// The forms of an equation.
#[derive(Clone, PartialEq, Debug)]
pub enum EquationKind {
    /// A source, a wire or an inductor at rest fixes a difference.
    Held {
        /// The source or element.
        by: Carrier,
    },
    /// V+ = V−, in place of the current sum at the output.
    Virtual {
        /// The op-amp.
        opamp: OpampId,
        /// The node whose sum it replaces.
        replaces: NodeId,
        /// The other nodes of the output's group and the sources that tie them to it: no sum stands there either.
        tied: Vec<(NodeId, Carrier)>,
    },
    /// The currents that leave one node.
    Sum,
    /// The currents that leave nodes tied by sources or wires whose current is unknown.
    JoinedSum {
        /// The nodes, `at` first.
        nodes: Vec<NodeId>,
        /// What ties them.
        ties: Vec<Carrier>,
    },
}

/// One term of an equation: the current through `branch` from `from` to `to` (of `Held` and `Virtual`: the difference `from − to`).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Term {
    /// The element, source or op-amp.
    pub branch: Carrier,
    /// The end at this equation's node.
    pub from: NodeId,
    /// The other end.
    pub to: NodeId,
    /// Whether the term is subtracted: a current source that pushes into the node.
    pub minus: bool,
}
