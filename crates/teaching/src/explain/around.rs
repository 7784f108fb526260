//! What stands around a node or a tie, looked up once for a whole circuit.

use std::collections::HashMap;

use analysis::board::Board;
use analysis::equations::{Equation, EquationKind, Equations};
use analysis::feedback::Feedback;
use analysis::states::Mode;
use circuit::{Carrier, ElementId, ElementKind, NodeId, OpampId};

use crate::equation::Paper;

/// The lookups.
pub(super) struct Around<'a> {
    nodes: Vec<AtNode>,
    ties: HashMap<Carrier, &'a Equation>,
    feedback: HashMap<OpampId, &'a Feedback>,
}

/// What touches a node, by what its current sum makes of it.
#[derive(Clone, Default)]
pub(super) struct AtNode {
    /// No current at rest.
    pub(super) capacitors: Vec<ElementId>,
    /// A term each, unless both ends lie in one group.
    pub(super) resistors: Vec<ElementId>,
    /// No current: the op-amp and its pin.
    pub(super) inputs: Vec<(OpampId, &'static str)>,
    /// Behind an output resistance or at their limit of current, so that the node is not held.
    pub(super) outputs: Vec<OpampId>,
}

impl<'a> Around<'a> {
    pub(super) fn of(
        paper: &Paper,
        equations: &'a Equations,
        feedback: &'a [Feedback],
    ) -> Around<'a> {
        let circuit = paper.circuit;
        let mut nodes = vec![AtNode::default(); circuit.nodes.len()];
        for (index, element) in circuit.elements.iter().enumerate() {
            for end in element.ends {
                let node = &mut nodes[end.index()];
                match element.kind {
                    ElementKind::Capacitor => node.capacitors.push(ElementId(index as u32)),
                    ElementKind::Resistor => node.resistors.push(ElementId(index as u32)),
                    _ => {}
                }
            }
        }
        for (index, opamp) in paper.text.opamps.iter().enumerate() {
            let takes = |board: &Board| {
                let law = &board.laws[index];
                law.bias.is_some() || law.input_resistance.is_some()
            };
            let id = OpampId(index as u32);
            let holds_not = |it: &Board| {
                let limited = matches!(it.modes[index], Mode::Sourcing | Mode::Sinking);
                limited || it.source_behind(id).is_some()
            };
            if paper.board.is_some_and(holds_not) {
                nodes[opamp.drives.index()].outputs.push(id);
            }
            if paper.board.is_some_and(takes) {
                continue;
            }
            nodes[opamp.plus.index()].inputs.push((id, "plus"));
            nodes[opamp.minus.index()].inputs.push((id, "minus"));
        }
        let mut ties = HashMap::new();
        for equation in &equations.list {
            match &equation.kind {
                EquationKind::JoinedSum { ties: by, .. } => {
                    ties.extend(by.iter().map(|it| (*it, equation)));
                }
                EquationKind::Virtual { tied, .. } | EquationKind::Limit { tied, .. } => {
                    ties.extend(tied.iter().map(|(_, by)| (*by, equation)));
                }
                _ => {}
            }
        }
        let blocks = feedback
            .iter()
            .flat_map(|it| it.block.iter().map(move |opamp| (*opamp, it)));
        Around {
            nodes,
            ties,
            feedback: blocks.collect(),
        }
    }

    pub(super) fn node(&self, node: NodeId) -> &AtNode {
        &self.nodes[node.index()]
    }

    /// The equation that stands for the sums of what a source or wire ties together.
    pub(super) fn tie(&self, tie: Carrier) -> Option<&'a EquationKind> {
        self.ties.get(&tie).map(|it| &it.kind)
    }

    pub(super) fn feedback(&self, opamp: OpampId) -> Option<&'a Feedback> {
        self.feedback.get(&opamp).copied()
    }
}
