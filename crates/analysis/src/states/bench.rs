//! A circuit as the algebra of its states: what each output moves, its limits, and the circuit again for a choice of modes.

use std::sync::OnceLock;

use circuit::{Circuit, ElementKind, Opamp, OpampId, Part, SourceId, SourceKind};
use syntax::{Number, Ratio};

use super::Stability;
use super::plant::{Mode, Plant, Stage};
use super::small;
use crate::Answer;
use crate::board::{Board, Causes, Drive, Piece};
use crate::feedback::{Moment, Slow, Sum, Values, add};
use crate::linear::Budget;
use crate::network::{Network, fraction};
use crate::solution::Solution;

/// More op-amps than this are not looked at together.
pub(crate) const MOST_OPAMPS: usize = 128;

/// What an op-amp cannot exceed.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Limits {
    /// The low and the high limit of the output: the rails less the headroom, in volts.
    pub volts: Option<[Number; 2]>,
    /// The most that it sources and the most that it sinks, in amperes, both counted positive.
    pub amperes: Option<[Number; 2]>,
}

impl Limits {
    /// As its rails and its part say.
    pub fn of(opamp: &Opamp, parts: &[Part]) -> Limits {
        let part = opamp.part.and_then(|it| parts.get(it.index()));
        let volts = opamp.supply.as_ref().map(|supply| {
            let headroom = part.and_then(|it| it.headroom.as_ref());
            let [low, high] = headroom.map_or([Number::ZERO, Number::ZERO], Clone::clone);
            [supply.low.volts.add(&low), supply.high.volts.sub(&high)]
        });
        let size = |it: &Number| {
            if it.to_f64() < 0.0 {
                it.neg()
            } else {
                it.clone()
            }
        };
        let current = part.and_then(|it| it.current.as_ref());
        Limits {
            volts,
            amperes: current.map(|it| [size(&it[0]), size(&it[1])]),
        }
    }

    /// What the output's voltage is in a mode, or at a limit of current what it delivers; `None` where it is linear, or has no such limit.
    pub fn value(&self, mode: Mode) -> Option<Number> {
        let volts = |at: usize| self.volts.as_ref().map(|it| it[at].clone());
        let amperes = |at: usize| self.amperes.as_ref().map(|it| it[at].clone());
        match mode {
            Mode::Linear => None,
            Mode::High => volts(1),
            Mode::Low => volts(0),
            Mode::Sourcing => amperes(0),
            Mode::Sinking => amperes(1).map(|it| it.neg()),
        }
    }

    /// What drives an output in a mode.
    pub(crate) fn drive(&self, mode: Mode) -> Drive {
        match (self.value(mode), mode) {
            (None, _) => Drive::Law,
            (Some(amperes), Mode::Sourcing | Mode::Sinking) => Drive::Current(amperes),
            (Some(volts), _) => Drive::Voltage(volts),
        }
    }
}

/// A circuit's outputs as independent sources.
#[derive(Debug)]
pub(crate) struct Bench {
    pub limits: Vec<Limits>,
    /// With nothing in the column of the free source.
    pub plant: Plant,
    board: Board,
    outputs: Vec<SourceId>,
    slack: Vec<Ratio>,
    reactive: bool,
    instant: OnceLock<Option<Vec<Sum<Ratio>>>>,
}

impl Bench {
    /// `None` where the pins' voltages do not follow from the outputs, or an op-amp has no room between its limits.
    pub fn of(circuit: &Circuit, parts: &[Part]) -> Option<Bench> {
        let board = Board::driven(circuit, parts, Causes::ALL, |_| {
            Drive::Voltage(Number::ZERO)
        });
        let ids = (0..circuit.opamps.len() as u32).map(OpampId);
        let outputs: Option<Vec<SourceId>> =
            ids.map(|it| board.source(it, Piece::Output)).collect();
        let limits: Vec<Limits> = circuit
            .opamps
            .iter()
            .map(|it| Limits::of(it, parts))
            .collect();
        let inverse = |(it, opamp): (&crate::board::Law, &Opamp)| match &it.gain {
            Some(gain) if !gain.is_zero() && !opamp.comparator => Ratio::ONE / fraction(gain),
            _ => Ratio::ZERO,
        };
        let stores = |it: &circuit::Element| {
            matches!(it.kind, ElementKind::Capacitor | ElementKind::Inductor)
        };
        let mut bench = Bench {
            plant: Plant::default(),
            slack: board
                .laws
                .iter()
                .zip(&circuit.opamps)
                .map(inverse)
                .collect(),
            outputs: outputs?,
            limits,
            reactive: circuit.elements.iter().any(stores),
            board,
            instant: OnceLock::new(),
        };
        bench.plant = bench.work_out(circuit)?;
        Some(bench)
    }

    fn work_out(&self, circuit: &Circuit) -> Option<Plant> {
        let written = self.board.constants();
        let (zero, one) = (Number::ZERO, Number::ONE);
        let mut sides = vec![written.clone()];
        for output in &self.outputs {
            let mut side = vec![&zero; written.len()];
            side[output.index()] = &one;
            sides.push(side);
        }
        let solved = self.board.solve_unfed(&sides, Budget::default());
        let mut plant = Plant::default();
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let pair =
                |it: &Option<[Number; 2]>| it.as_ref().map(|it| [0, 1].map(|at| fraction(&it[at])));
            let stage = Stage {
                limits: pair(&self.limits[index].volts),
                currents: pair(&self.limits[index].amperes),
                comparator: opamp.comparator,
            };
            if stage.limits.as_ref().is_some_and(|[low, high]| low > high)
                || stage.comparator && stage.limits.is_none()
            {
                return None;
            }
            let mut pull = Vec::new();
            let mut current = Vec::new();
            for (side, solution) in solved.iter().enumerate() {
                // The outputs come first, then the constant part.
                let column = side.checked_sub(1).unwrap_or(self.outputs.len());
                add(
                    &mut pull,
                    column,
                    &self.input(opamp, index, solution, side == 0)?,
                );
                if stage.currents.is_some() {
                    let current_of = solution.opamps.get(index)?.as_ref()?.current.as_ref()?;
                    add(&mut current, column, &plain(current_of));
                }
            }
            add(&mut pull, index, &-self.slack[index].clone());
            plant.stages.push(stage);
            plant.pulls.push(pull);
            plant.currents.push(current);
        }
        Some(plant)
    }

    /// What an op-amp amplifies; `whole` with its offset.
    fn input(
        &self,
        opamp: &Opamp,
        index: usize,
        solution: &Solution,
        whole: bool,
    ) -> Option<Ratio> {
        let node = |it: circuit::NodeId| solution.nodes.get(it.index())?.as_ref();
        let (plus, minus) = (node(opamp.plus)?, node(opamp.minus)?);
        let law = &self.board.laws[index];
        Some(plain(&match whole {
            true => law.input(plus, minus),
            false => law.moved(plus, minus),
        }))
    }

    /// The plant with a source free to move: its value stands in the constant part no more.
    pub fn freed(&self, circuit: &Circuit, source: SourceId) -> Option<Plant> {
        let (zero, one) = (Number::ZERO, Number::ONE);
        let mut side = vec![&zero; self.board.constants().len()];
        side[source.index()] = &one;
        let solution = self.board.solve_unfed(&[side], Budget::default()).pop()?;
        let value = fraction(&circuit.sources[source.index()].constant);
        let mut plant = self.plant.clone();
        let (constant, free) = (plant.constant(), plant.free());
        let put = |sum: &mut Sum<Ratio>, moved: Ratio| {
            add(sum, constant, &-(&moved * &value));
            add(sum, free, &moved);
        };
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            put(
                &mut plant.pulls[index],
                self.input(opamp, index, &solution, false)?,
            );
            if plant.stages[index].currents.is_some() {
                let current = solution.opamps.get(index)?.as_ref()?.current.as_ref()?;
                put(&mut plant.currents[index], plain(current));
            }
        }
        Some(plant)
    }

    /// Whether members of a block in these modes would stay there.
    pub fn stability(&self, circuit: &Circuit, members: &[usize], modes: &[Mode]) -> Stability {
        let judged = small::stability(&self.plant, members, modes, |loose| match loose {
            [] => self
                .instant
                .get_or_init(|| self.at_first(circuit, &[]))
                .clone(),
            _ => self.at_first(circuit, loose),
        });
        match judged.stays() && self.reactive && self.grows(circuit, members, modes) {
            true => Stability::Unstable,
            false => judged,
        }
    }

    /// Whether a disturbance grows slowly, with quick op-amps where they are linear; those at a rail are sources, those at their limit of current
    /// change no current.
    fn grows(&self, circuit: &Circuit, members: &[usize], modes: &[Mode]) -> bool {
        let mut plain = self.board.circuit.clone();
        let (mut slack, mut free) = (Vec::new(), Vec::new());
        for (index, mode) in members.iter().zip(modes) {
            let output = self.outputs[*index];
            let SourceKind::Voltage { plus, .. } = plain.sources[output.index()].kind else {
                return false;
            };
            match mode {
                Mode::High | Mode::Low => continue,
                Mode::Linear => {
                    plain.opamps.push(Opamp {
                        drives: plus,
                        ..circuit.opamps[*index].clone()
                    });
                    slack.push(self.slack[*index].clone());
                }
                Mode::Sourcing | Mode::Sinking => {}
            }
            free.push(output);
        }
        let mut sources = (0..).map(SourceId);
        plain
            .sources
            .retain(|_| sources.next().is_none_or(|it| !free.contains(&it)));
        let network = Network::without_inductors(&plain);
        let block: Vec<usize> = (0..slack.len()).collect();
        let growth = Slow::of(&plain, &network).growth(&plain, &block, &slack);
        growth.is_some_and(|it| it.right > 0 || it.pairs > 0)
    }

    /// The rows of P at the first instant of a sudden change, without the op-amps that hold no voltage.
    fn at_first(&self, circuit: &Circuit, loose: &[usize]) -> Option<Vec<Sum<Ratio>>> {
        if !self.reactive {
            return None;
        }
        let mut plain = self.board.circuit.clone();
        let kept: Vec<usize> = (0..circuit.opamps.len())
            .filter(|it| !loose.contains(it))
            .collect();
        for index in &kept {
            let source = &self.board.circuit.sources[self.outputs[*index].index()];
            let SourceKind::Voltage { plus, .. } = source.kind else {
                return None;
            };
            let drives = plus;
            plain.opamps.push(Opamp {
                drives,
                ..circuit.opamps[*index].clone()
            });
        }
        let mut index = 0;
        plain.sources.retain(|_| {
            index += 1;
            !self.outputs.contains(&SourceId(index - 1))
        });
        let network = Network::without_inductors(&plain);
        let values = Values::of(&plain, &network, Moment::Instant);
        let every: Vec<usize> = (0..kept.len()).collect();
        let mut rows = vec![Vec::new(); circuit.opamps.len()];
        for (row, index) in values.block(&every).into_iter().zip(&kept) {
            let columns = row.into_iter().map(|(column, share)| (kept[column], share));
            rows[*index] = columns.collect();
            add(&mut rows[*index], *index, &self.slack[*index]);
        }
        Some(rows)
    }
}

/// An answer as a fraction; what may be zero is.
pub(crate) fn plain(answer: &Answer) -> Ratio {
    match answer {
        Answer::Exact(ratio) => ratio.clone(),
        Answer::Float { value, bound } if value.abs() <= *bound => Ratio::ZERO,
        Answer::Float { value, .. } => Ratio::try_from(*value).unwrap_or(Ratio::ZERO),
    }
}
