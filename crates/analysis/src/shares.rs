//! What each independent source does to each node, and the resistances that are seen: superposition, exactly.
//!
//! Every source in turn stands at one unit with all others at zero; its share is that times what it gives. Offsets and bias currents of real
//! op-amps are independent sources too. All of them are right sides of one system.
//!
//! With op-amps held at their limits the circuit is as linear as before: each limit is an independent source in place of the op-amp's law. A rail
//! that is a node belongs to the source that holds it, and the limit's own share is then what the op-amp keeps from that rail.

use circuit::{Circuit, GROUND, NodeId, OpampId, SourceId, SourceKind};
use syntax::Number;

use crate::Answer;
use crate::board::{Board, Piece};
use crate::solution::Solution;
use crate::states::Mode;

/// Each node's voltage by independent source, and what the sources and the outputs are like from outside.
#[derive(Clone, PartialEq, Debug)]
pub struct Shares {
    /// Sources in the order of the text, then offset, bias and limit of each op-amp. For each node they add up to its voltage.
    pub shares: Vec<Share>,
    /// For each source that follows nothing the resistance that it sees, the others at zero.
    pub inputs: Vec<(SourceId, Resistance)>,
    /// For each op-amp the resistance seen at its output node, all sources at zero.
    pub outputs: Vec<(OpampId, Resistance)>,
}

/// What one independent source does.
#[derive(Clone, PartialEq, Debug)]
pub struct Share {
    /// The source.
    pub of: Giver,
    /// For each node of the circuit, in volts.
    pub volts: Vec<Answer>,
    /// For each node, per unit of the source: a ratio, of a current source ohms. Of what belongs to an op-amp nothing.
    pub gains: Option<Vec<Answer>>,
}

/// What gives a share.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Giver {
    /// A source of the text.
    Source(SourceId),
    /// An op-amp's offset.
    Offset(OpampId),
    /// An op-amp's bias currents.
    Bias(OpampId),
    /// The limit that an op-amp stands at: rail and headroom, of a rail that is a node the headroom alone, or its limit of current.
    Limit(OpampId),
}

/// A resistance seen from outside.
#[derive(Clone, PartialEq, Debug)]
pub enum Resistance {
    /// In ohms; below zero where the circuit pushes back.
    Ohms(Answer),
    /// No current flows.
    Infinite,
}

/// So many answers (nodes times sources) are worked out at most.
const MOST: usize = 4_000_000;

impl Shares {
    /// Splits the answer of a circuit on the board; `None` where it has no single answer, or is too large.
    pub fn of(circuit: &Circuit, board: &Board) -> Option<Shares> {
        let probed = board.probed(circuit);
        let givers = givers(circuit, &probed);
        let sides = givers.len() + circuit.opamps.len();
        if sides * circuit.nodes.len() > MOST {
            return None;
        }
        let (zero, one) = (Number::ZERO, Number::ONE);
        let none = vec![&zero; probed.circuit.sources.len()];
        let mut drives: Vec<Vec<&Number>> = givers
            .iter()
            .map(|(giver, sources)| {
                let mut drive = none.clone();
                for id in sources {
                    drive[id.index()] = match giver {
                        Giver::Source(_) => &one,
                        _ => &probed.circuit.sources[id.index()].constant,
                    };
                }
                drive
            })
            .collect();
        let probes = board.circuit.sources.len();
        drives.extend((0..circuit.opamps.len()).map(|index| {
            let mut drive = none.clone();
            drive[probes + index] = &one;
            drive
        }));
        let solutions = probed.solve_unfed(&drives, probed.budget(drives.len()));
        let mut shares = Vec::with_capacity(givers.len());
        let mut inputs = Vec::new();
        for ((giver, _), solution) in givers.iter().zip(&solutions) {
            let nodes = solution.single()?;
            let Giver::Source(id) = *giver else {
                shares.push(Share {
                    of: *giver,
                    volts: nodes,
                    gains: None,
                });
                continue;
            };
            let source = &circuit.sources[id.index()];
            let amount = Answer::from(&source.constant);
            shares.push(Share {
                of: *giver,
                volts: nodes.iter().map(|it| it * &amount).collect(),
                gains: Some(nodes),
            });
            if source.controls.is_empty() {
                inputs.extend(seen(source.kind, solution, id).map(|it| (id, it)));
            }
        }
        let outputs = solutions[givers.len()..]
            .iter()
            .zip(&circuit.opamps)
            .enumerate();
        let outputs = outputs.map(|(index, (solution, opamp))| {
            let volts = solution.nodes.get(opamp.drives.index())?.clone()?;
            Some((OpampId(index as u32), Resistance::Ohms(volts)))
        });
        Some(Shares {
            shares,
            inputs,
            outputs: outputs.collect::<Option<_>>()?,
        })
    }

    /// The shares of one node.
    pub fn at(&self, node: NodeId) -> impl Iterator<Item = (Giver, &Answer)> {
        self.shares
            .iter()
            .filter_map(move |it| Some((it.of, it.volts.get(node.index())?)))
    }
}

/// Everything that gives a share, with its sources in the plain circuit.
fn givers(circuit: &Circuit, board: &Board) -> Vec<(Giver, Vec<SourceId>)> {
    let own = circuit.sources.iter().enumerate();
    let own = own.filter(|(_, it)| it.controls.is_empty() || !it.constant.is_zero());
    let own = own
        .map(|(index, _)| SourceId(index as u32))
        .map(|id| (Giver::Source(id), vec![id]));
    let of_opamps = (0..circuit.opamps.len() as u32)
        .map(OpampId)
        .flat_map(|id| {
            let pieces = |pieces: [Piece; 2]| {
                pieces
                    .into_iter()
                    .filter_map(|it| board.source(id, it))
                    .collect::<Vec<_>>()
            };
            let mut found = Vec::new();
            let limited = board.limit(id).map(|it| it.1);
            if board.laws[id.index()].offset.is_some() && limited.is_none() {
                found.push((Giver::Offset(id), pieces([Piece::Output, Piece::Plus])));
            }
            let bias = pieces([Piece::BiasPlus, Piece::BiasMinus]);
            if !bias.is_empty() {
                found.push((Giver::Bias(id), bias));
            }
            if limited.is_some_and(|it| !it.is_zero()) {
                found.push((Giver::Limit(id), pieces([Piece::Output, Piece::Plus])));
            }
            found
        });
    own.chain(of_opamps).collect()
}

/// What a source at one unit sees.
fn seen(kind: SourceKind, solution: &Solution, id: SourceId) -> Option<Resistance> {
    let carried = solution.sources.get(id.index())?.as_ref()?;
    match kind {
        SourceKind::Voltage { .. } => {
            let current = carried.current.as_ref()?;
            if current.is_zero() {
                return Some(Resistance::Infinite);
            }
            Some(Resistance::Ohms(carried.voltage.over(current)?))
        }
        SourceKind::Current { .. } => Some(Resistance::Ohms(-&carried.voltage)),
    }
}

impl Board {
    /// With one more source behind all others for each op-amp: a current into its output node, as yet 0. An output at a rail that is a node
    /// follows that node.
    fn probed(&self, circuit: &Circuit) -> Board {
        let mut board = self.clone();
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let id = OpampId(index as u32);
            let rail = match (self.modes[index], &opamp.supply) {
                (Mode::High, Some(supply)) => &supply.high,
                (Mode::Low, Some(supply)) => &supply.low,
                _ => continue,
            };
            let (Some(node), Some(source)) = (rail.node, self.source(id, Piece::Output)) else {
                continue;
            };
            let source = &mut board.circuit.sources[source.index()];
            source.constant = source.constant.sub(&rail.volts);
            if node != GROUND {
                source.controls = vec![(node, Number::ONE)];
            }
        }
        for opamp in &circuit.opamps {
            board.circuit.sources.push(circuit::Source {
                name: opamp.name.clone(),
                kind: SourceKind::Current {
                    from: GROUND,
                    into: opamp.drives,
                },
                constant: Number::ZERO,
                controls: Vec::new(),
                wave: None,
                place: opamp.place,
                name_place: opamp.name_place,
                drive_place: opamp.name_place,
                end_places: [None, None],
                description: None,
            });
        }
        board.join();
        board
    }
}
