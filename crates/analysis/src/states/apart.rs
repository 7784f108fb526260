//! Which outputs may move together and still be told apart: those that nothing asked about follows two of.
//!
//! What one output moves ends where another output, or a source to ground, holds the node. In a chain of stages two or three right sides then
//! tell what every output moves, however long the chain is.

use circuit::{Carrier, Circuit, NodeId, SourceId, SourceKind};

use super::bench::MOST_OPAMPS;
use crate::board::Board;
use crate::feedback::{Moment, Rules};
use crate::linear::modular::Modular;
use crate::network::Joined;

/// Outputs, a bit each.
type Outputs = u128;
const _: () = assert!(MOST_OPAMPS <= Outputs::BITS as usize);

/// Outputs by turns: those of one turn move together.
pub(crate) struct Turns {
    /// Of each output, from 0.
    turns: Vec<usize>,
    /// Of each op-amp the outputs that can move its pins: no two of one turn.
    pins: Vec<Outputs>,
    /// And what it delivers, where that is limited.
    currents: Vec<Outputs>,
}

impl Turns {
    /// `outputs` are the sources of `board` that stand for the op-amps' outputs, `limited` says which op-amps have a limit of current.
    pub fn of(circuit: &Circuit, board: &Board, outputs: &[SourceId], limited: &[bool]) -> Turns {
        let count = outputs.len();
        let edges = &board.network.edges;
        let edge = |output: &SourceId| {
            let carrier = Carrier::Source(*output);
            edges.iter().position(|it| it.carrier == carrier)
        };
        // An output on a node that something else holds: a contradiction, whose answers follow from nothing.
        let Some(columns) = outputs.iter().map(edge).collect::<Option<Vec<_>>>() else {
            return Turns::alone(count);
        };
        let follows = Follows::of(board, &columns);
        let pins = circuit
            .opamps
            .iter()
            .map(|it| follows.mask(it.plus) | follows.mask(it.minus));
        let mut turns = Turns {
            turns: Vec::new(),
            pins: pins.collect(),
            currents: match limited.contains(&true) {
                true => follows.currents(board, &columns),
                false => Vec::new(),
            },
        };
        let mut apart: Vec<Outputs> = vec![0; count];
        let limited = turns
            .currents
            .iter()
            .zip(limited)
            .filter_map(|it| it.1.then_some(it.0));
        for set in turns.pins.iter().chain(limited) {
            members(*set).for_each(|it| apart[it] |= set);
        }
        for others in apart {
            let taken = |turn: &usize| {
                turns
                    .turns
                    .iter()
                    .zip(0..)
                    .any(|it| it.0 == turn && has(others, it.1))
            };
            let free = (0..).find(|it| !taken(it)).unwrap_or(0);
            turns.turns.push(free);
        }
        turns
    }

    /// Each output by itself.
    pub fn alone(count: usize) -> Turns {
        Turns {
            turns: (0..count).collect(),
            pins: vec![Outputs::MAX; count],
            currents: vec![Outputs::MAX; count],
        }
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.turns.iter().max().map_or(0, |it| it + 1)
    }

    /// Of each output its turn.
    pub fn list(&self) -> &[usize] {
        &self.turns
    }

    /// The output of a turn that an op-amp's pins follow.
    pub fn moves_pins(&self, turn: usize, opamp: usize) -> Option<usize> {
        self.within(turn, self.pins[opamp])
    }

    /// The output of a turn that the current of an op-amp with a limit follows.
    pub fn moves_current(&self, turn: usize, opamp: usize) -> Option<usize> {
        self.within(turn, self.currents[opamp])
    }

    fn within(&self, turn: usize, set: Outputs) -> Option<usize> {
        let mut all = self.turns.iter().zip(0..);
        all.find(|it| *it.0 == turn && has(set, it.1))
            .map(|it| it.1)
    }
}

fn has(set: Outputs, output: usize) -> bool {
    set >> output & 1 == 1
}

fn members(set: Outputs) -> impl Iterator<Item = usize> {
    (0..Outputs::BITS as usize).filter(move |it| has(set, *it))
}

/// Of each node the outputs that can move it.
struct Follows {
    nodes: Vec<Outputs>,
}

impl Follows {
    fn of(board: &Board, columns: &[usize]) -> Follows {
        let (pinned, rules) =
            Rules::of::<Modular>(&board.circuit, &board.network, Moment::Rest, columns);
        let bits =
            |sum: &[(usize, Modular)]| sum.iter().fold(0, |all: Outputs, it| all | 1 << it.0);
        let mut joined = Joined::new(board.circuit.nodes.len());
        let free = |it: NodeId| pinned[it.index()].is_none();
        for rule in &rules {
            let mut own = rule.terms.iter().map(|it| it.0).filter(|it| free(*it));
            if let Some(first) = own.next() {
                own.for_each(|it| {
                    joined.join(first, it);
                });
            }
        }
        let mut moves: Vec<Outputs> = vec![0; pinned.len()];
        for rule in &rules {
            let Some(first) = rule.terms.iter().map(|it| it.0).find(|it| free(*it)) else {
                continue;
            };
            let held = rule
                .terms
                .iter()
                .filter_map(|it| pinned[it.0.index()].as_ref());
            let all = held.fold(bits(&rule.columns), |all, it| all | bits(it));
            moves[joined.root(first).index()] |= all;
        }
        let nodes = pinned.iter().zip(0..).map(|(it, node)| match it {
            Some(sum) => bits(sum),
            None => moves[joined.root(NodeId(node)).index()],
        });
        Follows {
            nodes: nodes.collect(),
        }
    }

    fn mask(&self, node: NodeId) -> Outputs {
        self.nodes[node.index()]
    }

    /// Of each output what moves the current that it delivers: the ends of all that hangs on the nodes that it holds.
    fn currents(&self, board: &Board, columns: &[usize]) -> Vec<Outputs> {
        let network = &board.network;
        let mut output_of = vec![None; network.edges.len()];
        columns
            .iter()
            .zip(0..)
            .for_each(|(edge, output)| output_of[*edge] = Some(output));
        // The output that a node hangs on.
        let holder = |mut node: NodeId| {
            while let Some(parent) = network.parents[node.index()] {
                if let Some(output) = output_of[parent.edge] {
                    return Some(output);
                }
                node = parent.node;
            }
            None
        };
        let holders: Vec<Option<usize>> = (0..board.circuit.nodes.len() as u32)
            .map(|it| holder(NodeId(it)))
            .collect();
        let mut asked: Vec<Outputs> = vec![0; columns.len()];
        let mut hang = |ends: &[NodeId], also: Outputs| {
            let all = ends.iter().fold(also, |all, it| all | self.mask(*it));
            for end in ends {
                if let Some(output) = holders[end.index()] {
                    asked[output] |= all;
                }
            }
        };
        for element in &board.circuit.elements {
            hang(&element.ends, 0);
        }
        for source in &board.circuit.sources {
            let (SourceKind::Voltage { plus: a, minus: b }
            | SourceKind::Current { from: a, into: b }) = source.kind;
            let controls = source
                .controls
                .iter()
                .fold(0, |all, it| all | self.mask(it.0));
            hang(&[a, b], controls);
        }
        asked
    }
}
