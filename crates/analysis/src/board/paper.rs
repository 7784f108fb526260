//! The equations of a board as on paper: what is added behind the circuit's own nodes is no unknown, but written as what it stands for.

use std::collections::HashMap;

use circuit::{Carrier, NodeId, SourceId};

use super::{Board, Piece};
use crate::equations::{self, EquationKind, Equations};
use crate::linear::{Row, System};

impl Board {
    /// The equations as on paper: what is added behind the circuit's own nodes is no unknown, but written as what it stands for.
    pub fn paper(&self) -> Equations {
        let own = |node: &NodeId| !self.is_added(*node);
        let list = self.equations.list.iter().filter(|it| own(&it.at));
        let list = list.cloned().map(|mut it| {
            it.kind = match it.kind {
                EquationKind::Held { by } => self.held(by, it.at),
                EquationKind::JoinedSum {
                    mut nodes,
                    mut ties,
                } => {
                    nodes.retain(own);
                    ties.retain(|it| !matches!(self.piece(*it), Some((_, Piece::Plus))));
                    match ties.is_empty() {
                        true => EquationKind::Sum,
                        false => EquationKind::JoinedSum { nodes, ties },
                    }
                }
                EquationKind::Virtual {
                    opamp,
                    replaces,
                    mut tied,
                } => {
                    tied.retain(|(node, _)| own(node));
                    EquationKind::Virtual {
                        opamp,
                        replaces,
                        tied,
                    }
                }
                other => other,
            };
            it
        });
        Equations {
            unknowns: self
                .equations
                .unknowns
                .iter()
                .copied()
                .filter(own)
                .collect(),
            list: list.collect(),
        }
    }

    /// What holds a node of the circuit itself: an output at a limit is told as that, with the op-amp of the circuit.
    fn held(&self, by: Carrier, at: NodeId) -> EquationKind {
        let output = self.piece(by).filter(|it| it.1 == Piece::Output);
        match output.and_then(|(opamp, _)| Some((opamp, self.limit(opamp)?))) {
            Some((opamp, (mode, value))) => EquationKind::Limit {
                opamp,
                mode,
                value: value.clone(),
                replaces: at,
                tied: Vec::new(),
            },
            None => EquationKind::Held { by },
        }
    }

    /// The source that holds an added node.
    pub fn holder(&self, node: NodeId) -> Option<SourceId> {
        let behind = node.index().checked_sub(self.nodes)?;
        self.holders.get(behind).copied()
    }

    /// The equations of [`Board::paper`] as rows, every added node replaced by what holds it.
    pub fn system(&self) -> System {
        let mut system = equations::system(&self.circuit, &self.equations);
        let own = self.nodes.saturating_sub(1);
        let rows = std::mem::take(&mut system.rows);
        let rows = rows.into_iter().zip(&self.equations.list);
        let (added, kept): (Vec<_>, Vec<_>) = rows.partition(|(_, it)| self.is_added(it.at));
        let held: HashMap<usize, Row> = added
            .into_iter()
            .map(|(row, it)| (it.at.index() - 1, row))
            .collect();
        system.unknowns = own;
        system.rows = kept
            .into_iter()
            .map(|(row, _)| row.without(|unknown| held.get(&unknown).filter(|_| unknown >= own)))
            .collect();
        system
    }
}
