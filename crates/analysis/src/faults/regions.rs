//! What hangs together at rest or in motion, and where lines that could not be read may have brought more.

use circuit::{Circuit, GROUND, NodeId, OpampId};

use super::loops::ends;
use crate::network::{Joined, Network};

/// Nodes joined by elements and floating sources without crossing ground or a held node.
#[derive(Debug)]
pub struct Regions {
    /// For each node the lowest of its region; of a held node itself.
    home: Vec<NodeId>,
    /// For each node whether something may be missing at it or anywhere in its region.
    lacking: Vec<bool>,
}

impl Regions {
    /// The regions of a circuit.
    pub fn of(circuit: &Circuit, network: &Network) -> Regions {
        let mut joined = Joined::new(circuit.nodes.len());
        let sources = circuit.sources.iter().map(ends);
        for [a, b] in circuit.elements.iter().map(|it| it.ends).chain(sources) {
            if !network.is_held(a) && !network.is_held(b) {
                joined.join(a, b);
            }
        }
        let nodes = (0..circuit.nodes.len() as u32).map(NodeId);
        let home: Vec<NodeId> = nodes.map(|it| joined.root(it)).collect();
        let mut lacking = vec![false; home.len()];
        for it in &circuit.perhaps.nodes {
            lacking[home[it.index()].index()] = true;
        }
        let lacking = home.iter().map(|it| lacking[it.index()]).collect();
        Regions { home, lacking }
    }

    /// Whether a line that could not be read, or is not computed yet, may have wired something at these nodes or anywhere in
    /// their regions: what seems to be missing there may not be.
    pub fn may_lack(&self, nodes: &[NodeId]) -> bool {
        nodes.iter().any(|it| self.lacking[it.index()])
    }

    /// The same at the pins of these op-amps: no verdict on their feedback is sure where it holds.
    pub fn may_lack_feedback(&self, circuit: &Circuit, opamps: &[OpampId]) -> bool {
        opamps.iter().any(|it| {
            let opamp = &circuit.opamps[it.index()];
            self.may_lack(&[opamp.plus, opamp.minus, opamp.drives])
        })
    }

    /// The region of a node, by its lowest one; of held nodes `None`.
    pub(super) fn around(&self, network: &Network, node: NodeId) -> Option<NodeId> {
        (!network.is_held(node) && node != GROUND).then(|| self.home[node.index()])
    }
}
