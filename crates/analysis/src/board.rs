//! Real op-amps put on the board: a circuit whose op-amps follow their parts, as a plain circuit that the rest of this crate solves.
//!
//! An op-amp's law is u = A·(V+ − V− + (V+ + V−)/(2·CMRR) + Vos) and Vout = u − Rout·i; its bias currents flow into its pins, its input
//! resistance lies between them. On the board a finite gain is a controlled source from the output (or from the node `A1.u` before the output
//! resistance) to ground; without limit of gain the op-amp stays ideal, and offset and rejection are a source in series with plus. What a
//! part does not give, and what a [`Causes`] leaves out, is ideal.
//!
//! The plain circuit begins with everything that the circuit has but its op-amps, in the same order, so that a node, an element or a source
//! keeps its index. What is added stands behind, and knows the op-amp that it belongs to ([`Board::piece`]).

mod law;
mod paper;

use circuit::{
    Carrier, Circuit, Element, ElementKind, GROUND, Node, NodeId, Opamp, OpampId, Part, Source,
    SourceId, SourceKind,
};
use syntax::{Number, Place};

use crate::equations::{self, Equations};
use crate::linear::Budget;
use crate::network::Network;
use crate::solution::{self, Outlet, Solution};
use crate::states::{Limits, Mode};

pub use law::{Cause, Causes, Law};

/// What drives an op-amp's output.
#[derive(Clone, PartialEq, Debug, Default)]
pub enum Drive {
    /// Its own law.
    #[default]
    Law,
    /// It stands at this voltage before its output resistance, whatever its inputs say.
    Voltage(Number),
    /// It delivers this current out of its pin.
    Current(Number),
}

/// What a part of the plain circuit stands for, of its op-amp.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Piece {
    /// The output: the op-amp itself where it is ideal, else a source at the node before the output resistance.
    Output,
    /// Offset and rejection, as a source in series with plus.
    Plus,
    /// The current into plus.
    BiasPlus,
    /// The current into minus.
    BiasMinus,
    /// Between the input pins.
    InputResistance,
    /// In series with the output.
    OutputResistance,
}

/// A circuit on the board.
#[derive(Clone, Debug)]
pub struct Board {
    /// The plain circuit.
    pub circuit: Circuit,
    /// Its network.
    pub network: Network,
    /// Its equations.
    pub equations: Equations,
    /// The figures of each op-amp of the circuit that count.
    pub laws: Vec<Law>,
    /// How each op-amp of the circuit stands: linear, unless it was put at a limit.
    pub modes: Vec<Mode>,
    outlets: Vec<Outlet>,
    /// How many nodes, elements and sources the circuit itself has.
    nodes: usize,
    elements: usize,
    sources: usize,
    /// What stands behind them, and for what.
    added_elements: Vec<(OpampId, Piece)>,
    added_sources: Vec<(OpampId, Piece)>,
    /// What holds each added node.
    holders: Vec<SourceId>,
    /// The op-amps that stayed op-amps.
    ideal: Vec<OpampId>,
}

impl Board {
    /// Each op-amp by its own law.
    pub fn of(circuit: &Circuit, parts: &[Part], causes: Causes) -> Board {
        Board::driven(circuit, parts, causes, |_| Drive::Law)
    }

    /// Each op-amp by its own law where it is linear, else at its limit.
    pub fn standing(circuit: &Circuit, parts: &[Part], modes: &[Mode]) -> Board {
        let drive = |id: OpampId| {
            let limits = Limits::of(&circuit.opamps[id.index()], parts);
            limits.drive(modes[id.index()])
        };
        let mut board = Board::driven(circuit, parts, Causes::ALL, drive);
        board.modes = modes.to_vec();
        board
    }

    /// Each op-amp as it is driven.
    pub fn driven(
        circuit: &Circuit,
        parts: &[Part],
        causes: Causes,
        drive: impl Fn(OpampId) -> Drive,
    ) -> Board {
        let plain = Circuit {
            name: circuit.name.clone(),
            place: circuit.place,
            extent: circuit.extent,
            nodes: circuit.nodes.clone(),
            elements: circuit.elements.clone(),
            sources: circuit.sources.clone(),
            ..Circuit::default()
        };
        let part = |it: &Opamp| it.part.and_then(|it| parts.get(it.index()));
        let laws = circuit.opamps.iter().map(|it| Law::of(part(it), causes));
        let mut board = Board {
            laws: laws.collect(),
            modes: vec![Mode::Linear; circuit.opamps.len()],
            outlets: Outlet::ideal(circuit, parts),
            nodes: plain.nodes.len(),
            elements: plain.elements.len(),
            sources: plain.sources.len(),
            added_elements: Vec::new(),
            added_sources: Vec::new(),
            holders: Vec::new(),
            ideal: Vec::new(),
            circuit: plain,
            network: Network::default(),
            equations: Equations::default(),
        };
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let id = OpampId(index as u32);
            board.wire(id, opamp, drive(id));
        }
        board.join();
        board
    }

    /// Works out network and equations of the plain circuit.
    pub(crate) fn join(&mut self) {
        self.network = Network::of(&self.circuit);
        self.equations = equations::equations(&self.circuit, &self.network);
    }

    /// What exact answers may cost, for so many right sides. Resistances at the pins tie whole chains of op-amps into one block, whose fractions
    /// grow with its size: about twenty real op-amps in one block stay exact, a larger block is refused by an estimate before any work is done.
    /// Measured (released, one core): 20 in one block 0.6 ms, exact; 50 in one block 0.4 ms, 200 in one block 1.2 ms, 1,000 in one block 6 ms, all with bounds; unbounded fractions
    /// would take 79 ms for 50 in one block, and a second for 200.
    pub fn budget(&self, sides: usize) -> Budget {
        const BITS: u64 = 150_000;
        match self.laws.iter().all(|it| *it == Law::default()) {
            true => Budget::default(),
            false => Budget {
                bits: BITS * sides.max(1) as u64,
            },
        }
    }

    /// The answer, for the circuit's own nodes, elements, sources and op-amps.
    pub fn solve(&self, budget: Budget) -> Solution {
        self.solve_for(&[self.constants()], budget)
            .pop()
            .unwrap_or_default()
    }

    /// The same for each choice of the constants of all sources of the plain circuit, [`Board::constants`] being those as written.
    pub fn solve_for(&self, constants: &[Vec<&Number>], budget: Budget) -> Vec<Solution> {
        self.solve_with(&self.outlets, constants, budget)
    }

    /// The same with nothing drawn from rails, so that every answer is linear in the constants.
    pub(crate) fn solve_unfed(&self, constants: &[Vec<&Number>], budget: Budget) -> Vec<Solution> {
        let unfed = |it: &Outlet| Outlet {
            supply: None,
            ..it.clone()
        };
        let outlets: Vec<Outlet> = self.outlets.iter().map(unfed).collect();
        self.solve_with(&outlets, constants, budget)
    }

    fn solve_with(
        &self,
        outlets: &[Outlet],
        constants: &[Vec<&Number>],
        budget: Budget,
    ) -> Vec<Solution> {
        let (circuit, network) = (&self.circuit, &self.network);
        let mut solutions = solution::solve_for(
            circuit,
            outlets,
            network,
            &self.equations,
            constants,
            budget,
        );
        for it in &mut solutions {
            it.nodes.truncate(self.nodes);
            it.elements.truncate(self.elements);
            it.sources.truncate(self.sources);
            for block in &mut it.blocks {
                block.retain(|node| !self.is_added(*node));
            }
            it.blocks.retain(|block| !block.is_empty());
        }
        solutions
    }

    /// What each source of the plain circuit holds or pushes by itself.
    pub fn constants(&self) -> Vec<&Number> {
        self.circuit.sources.iter().map(|it| &it.constant).collect()
    }

    /// The op-amp that something of the plain circuit belongs to, and what of it; `None` for what the circuit itself has.
    pub fn piece(&self, carrier: Carrier) -> Option<(OpampId, Piece)> {
        match carrier {
            Carrier::Opamp(id) => Some((*self.ideal.get(id.index())?, Piece::Output)),
            Carrier::Element(id) => {
                let behind = id.index().checked_sub(self.elements)?;
                self.added_elements.get(behind).copied()
            }
            Carrier::Source(id) => {
                let behind = id.index().checked_sub(self.sources)?;
                self.added_sources.get(behind).copied()
            }
        }
    }

    /// The source of the plain circuit that stands for a piece of an op-amp.
    pub fn source(&self, opamp: OpampId, piece: Piece) -> Option<SourceId> {
        // They stand in the order of the op-amps.
        let first = self.added_sources.partition_point(|it| it.0 < opamp);
        let mut own = self.added_sources[first..]
            .iter()
            .take_while(|it| it.0 == opamp);
        let behind = first + own.position(|it| it.1 == piece)?;
        Some(SourceId((self.sources + behind) as u32))
    }

    /// The source that stands for an op-amp's output behind its output resistance, where it does.
    pub fn source_behind(&self, opamp: OpampId) -> Option<SourceId> {
        let id = self.source(opamp, Piece::Output)?;
        match self.circuit.sources[id.index()].kind {
            SourceKind::Voltage { plus, .. } if self.is_added(plus) => Some(id),
            _ => None,
        }
    }

    /// The limit that an op-amp stands at: its voltage behind the output resistance, or the current that it delivers; `None` where it is linear.
    pub fn limit(&self, opamp: OpampId) -> Option<(Mode, &Number)> {
        let mode = *self.modes.get(opamp.index())?;
        let source = self
            .source(opamp, Piece::Output)
            .filter(|_| mode != Mode::Linear)?;
        Some((mode, &self.circuit.sources[source.index()].constant))
    }

    /// Whether the circuit itself has no such node.
    pub fn is_added(&self, node: NodeId) -> bool {
        node.index() >= self.nodes
    }

    /// How many sources the circuit itself has: those of the op-amps stand behind them.
    pub fn own_sources(&self) -> usize {
        self.sources
    }

    fn wire(&mut self, id: OpampId, opamp: &Opamp, drive: Drive) {
        let law = self.laws[id.index()].clone();
        if let Some([plus, minus]) = &law.bias {
            self.push(id, opamp, Piece::BiasPlus, [opamp.plus, GROUND], plus);
            self.push(id, opamp, Piece::BiasMinus, [opamp.minus, GROUND], minus);
        }
        if let Some(ohms) = &law.input_resistance {
            self.resistor(
                id,
                opamp,
                Piece::InputResistance,
                [opamp.plus, opamp.minus],
                ohms,
            );
        }
        // Without limit of gain an output resistance changes nothing: the output goes where its inputs are equal.
        let resistance = match (&drive, &law.gain) {
            (Drive::Law, None) | (Drive::Current(_), _) => None,
            _ => law.output_resistance.as_ref(),
        };
        let before = match resistance {
            None => opamp.drives,
            Some(ohms) => {
                let before = self.node(format!("{}.u", opamp.name), opamp.pin_places[2]);
                let ends = [before, opamp.drives];
                self.resistor(id, opamp, Piece::OutputResistance, ends, ohms);
                before
            }
        };
        let offset = law.offset.clone().unwrap_or(Number::ZERO);
        let leak = law.leak().unwrap_or(Number::ZERO);
        let carrier = match (drive, &law.gain) {
            (Drive::Current(amperes), _) => {
                let ends = [GROUND, opamp.drives];
                let kind = SourceKind::Current {
                    from: ends[0],
                    into: ends[1],
                };
                self.source_at(id, opamp, Piece::Output, kind, amperes, Vec::new())
            }
            (Drive::Voltage(volts), _) => {
                let kind = SourceKind::Voltage {
                    plus: before,
                    minus: GROUND,
                };
                self.source_at(id, opamp, Piece::Output, kind, volts, Vec::new())
            }
            (Drive::Law, Some(gain)) => {
                let kind = SourceKind::Voltage {
                    plus: before,
                    minus: GROUND,
                };
                let controls = controls(
                    opamp,
                    &gain.mul(&Number::ONE.add(&leak)),
                    &gain.mul(&leak.sub(&Number::ONE)),
                );
                self.source_at(id, opamp, Piece::Output, kind, gain.mul(&offset), controls)
            }
            (Drive::Law, None) => {
                let mut plain = opamp.clone();
                (plain.part, plain.supply) = (None, None);
                if law.offset.is_some() || law.rejection.is_some() {
                    plain.plus = self.node(format!("{}.p", opamp.name), opamp.pin_places[0]);
                    let kind = SourceKind::Voltage {
                        plus: plain.plus,
                        minus: opamp.plus,
                    };
                    let controls = controls(opamp, &leak, &leak);
                    self.source_at(id, opamp, Piece::Plus, kind, offset, controls);
                }
                self.circuit.opamps.push(plain);
                self.ideal.push(id);
                Carrier::Opamp(OpampId(self.ideal.len() as u32 - 1))
            }
        };
        let outlet = &mut self.outlets[id.index()];
        outlet.carrier = carrier;
        outlet.resistance = law.output_resistance;
    }

    fn node(&mut self, name: String, place: Place) -> NodeId {
        self.circuit.nodes.push(Node {
            name,
            named: true,
            places: vec![place],
            description: None,
        });
        NodeId(self.circuit.nodes.len() as u32 - 1)
    }

    fn resistor(
        &mut self,
        id: OpampId,
        opamp: &Opamp,
        piece: Piece,
        ends: [NodeId; 2],
        ohms: &Number,
    ) {
        let what = if piece == Piece::InputResistance {
            "Rin"
        } else {
            "Rout"
        };
        let place = |node: NodeId| match node {
            it if it == opamp.plus => opamp.pin_places[0],
            it if it == opamp.minus => opamp.pin_places[1],
            _ => opamp.pin_places[2],
        };
        self.circuit.elements.push(Element {
            name: format!("{}.{what}", opamp.name),
            kind: ElementKind::Resistor,
            value: ohms.clone(),
            ends,
            place: opamp.place,
            name_place: opamp.name_place,
            value_place: opamp.name_place,
            end_places: ends.map(place),
            tolerance: None,
            rating: None,
            polarised: false,
            description: None,
        });
        self.added_elements.push((id, piece));
    }

    /// A current that flows into a pin, and from there to nowhere that is asked about.
    fn push(
        &mut self,
        id: OpampId,
        opamp: &Opamp,
        piece: Piece,
        [from, into]: [NodeId; 2],
        amperes: &Number,
    ) {
        if from != into && !amperes.is_zero() {
            let kind = SourceKind::Current { from, into };
            self.source_at(id, opamp, piece, kind, amperes.clone(), Vec::new());
        }
    }

    fn source_at(
        &mut self,
        id: OpampId,
        opamp: &Opamp,
        piece: Piece,
        kind: SourceKind,
        constant: Number,
        controls: Vec<(NodeId, Number)>,
    ) -> Carrier {
        let what = match piece {
            Piece::Output => "u",
            Piece::Plus => "p",
            _ => "bias",
        };
        self.circuit.sources.push(Source {
            name: format!("{}.{what}", opamp.name),
            kind,
            constant,
            controls,
            wave: None,
            place: opamp.place,
            name_place: opamp.name_place,
            drive_place: opamp.name_place,
            end_places: [None, None],
            description: None,
        });
        self.added_sources.push((id, piece));
        let source = SourceId(self.circuit.sources.len() as u32 - 1);
        if let SourceKind::Voltage { plus, .. } = kind
            && self.is_added(plus)
        {
            self.holders.push(source);
        }
        Carrier::Source(source)
    }
}

/// The pins as what a source follows: each node once, ground and what has no weight left out.
fn controls(opamp: &Opamp, plus: &Number, minus: &Number) -> Vec<(NodeId, Number)> {
    let pins = match opamp.plus == opamp.minus {
        true => vec![(opamp.plus, plus.add(minus))],
        false => vec![(opamp.plus, plus.clone()), (opamp.minus, minus.clone())],
    };
    let counts = |it: &(NodeId, Number)| it.0 != GROUND && !it.1.is_zero();
    pins.into_iter().filter(counts).collect()
}
