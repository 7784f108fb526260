//! A circuit as the algebra of its states: what each output moves, its limits, and the circuit again for a choice of modes.

use std::borrow::Cow;
use std::sync::OnceLock;

use circuit::{Circuit, ElementKind, Opamp, OpampId, Part, SourceId, SourceKind};
use syntax::{Number, Ratio};

use super::Stability;
use super::apart::Turns;
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
    quick: OnceLock<Option<Quick>>,
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
            quick: OnceLock::new(),
        };
        bench.plant = bench.work_out(circuit, &bench.turns(circuit))?;
        Some(bench)
    }

    fn turns(&self, circuit: &Circuit) -> Turns {
        let limited: Vec<bool> = self.limits.iter().map(|it| it.amperes.is_some()).collect();
        Turns::of(circuit, &self.board, &self.outputs, &limited)
    }

    fn work_out(&self, circuit: &Circuit, turns: &Turns) -> Option<Plant> {
        let written = self.board.constants();
        let (zero, one) = (Number::ZERO, Number::ONE);
        let mut sides = vec![vec![&zero; written.len()]; turns.count()];
        for (output, turn) in self.outputs.iter().zip(turns.list()) {
            sides[*turn][output.index()] = &one;
        }
        // The constant part, behind the outputs.
        sides.push(written);
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
            for (turn, solution) in solved.iter().enumerate() {
                let whole = turn == turns.count();
                let column = |moved: Option<usize>| match whole {
                    true => Some(self.outputs.len()),
                    false => moved,
                };
                let input = self.input(opamp, index, solution, whole)?;
                if let Some(column) = column(turns.moves_pins(turn, index)) {
                    add(&mut pull, column, &input);
                }
                if stage.currents.is_some() {
                    let delivered = solution.opamps.get(index)?.as_ref()?.current.as_ref()?;
                    if let Some(column) = column(turns.moves_current(turn, index)) {
                        add(&mut current, column, &plain(delivered));
                    }
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
            [] => {
                let rows = || self.at_first(circuit, &[]);
                self.instant.get_or_init(rows).as_deref().map(Cow::Borrowed)
            }
            _ => self.at_first(circuit, loose).map(Cow::Owned),
        });
        match judged.stays() && self.reactive && self.grows(circuit, members, modes) {
            true => Stability::Unstable,
            false => judged,
        }
    }

    /// Whether a disturbance grows slowly, with quick op-amps where they are linear; those at a rail are sources, those at their limit of current
    /// change no current.
    fn grows(&self, circuit: &Circuit, members: &[usize], modes: &[Mode]) -> bool {
        let of = |wanted: fn(Mode) -> bool| -> Vec<usize> {
            let both = members.iter().zip(modes);
            both.filter(|it| wanted(*it.1)).map(|it| *it.0).collect()
        };
        let linear = of(|it| it == Mode::Linear);
        let loose = of(|it| matches!(it, Mode::Sourcing | Mode::Sinking));
        let grows = |quick: &Quick| {
            let block: Vec<usize> = linear.iter().filter_map(|it| quick.place(*it)).collect();
            let slack: Vec<Ratio> = linear.iter().map(|it| self.slack[*it].clone()).collect();
            let growth = quick.slow().growth(&quick.circuit, &block, &slack);
            growth.is_some_and(|it| it.right > 0 || it.pairs > 0)
        };
        match loose.is_empty() {
            true => self.quick(circuit).is_some_and(grows),
            false => Quick::of(self, circuit, &loose).is_some_and(|it| grows(&it)),
        }
    }

    /// With all outputs as those of op-amps that are quick.
    fn quick(&self, circuit: &Circuit) -> Option<&Quick> {
        let quick = || Quick::of(self, circuit, &[]);
        self.quick.get_or_init(quick).as_ref()
    }

    /// The rows of P at the first instant of a sudden change, without the op-amps that hold no voltage.
    fn at_first(&self, circuit: &Circuit, loose: &[usize]) -> Option<Vec<Sum<Ratio>>> {
        if !self.reactive {
            return None;
        }
        let without;
        let quick = match loose {
            [] => self.quick(circuit)?,
            _ => {
                without = Quick::of(self, circuit, loose)?;
                &without
            }
        };
        let values = Values::of(&quick.circuit, &quick.network, Moment::Instant);
        let every: Vec<usize> = (0..quick.kept.len()).collect();
        let mut rows = vec![Vec::new(); circuit.opamps.len()];
        for (row, index) in values.block(&every).into_iter().zip(&quick.kept) {
            let columns = row
                .into_iter()
                .map(|(column, share)| (quick.kept[column], share));
            rows[*index] = columns.collect();
            add(&mut rows[*index], *index, &self.slack[*index]);
        }
        Some(rows)
    }
}

/// A bench whose outputs are those of op-amps again, quicker than all capacitors and inductors; all but a few, which hold no voltage.
#[derive(Debug)]
struct Quick {
    circuit: Circuit,
    /// Inductors fix nothing.
    network: Network,
    /// Which op-amps of the circuit those of this one are.
    kept: Vec<usize>,
    slow: OnceLock<Slow>,
}

impl Quick {
    /// `None` where an output is no voltage source.
    fn of(bench: &Bench, circuit: &Circuit, loose: &[usize]) -> Option<Quick> {
        let mut plain = bench.board.circuit.clone();
        let all = 0..circuit.opamps.len();
        let kept: Vec<usize> = all.filter(|it| !loose.contains(it)).collect();
        for index in &kept {
            let SourceKind::Voltage { plus, .. } =
                plain.sources[bench.outputs[*index].index()].kind
            else {
                return None;
            };
            plain.opamps.push(Opamp {
                drives: plus,
                ..circuit.opamps[*index].clone()
            });
        }
        let mut sources = (0..).map(SourceId);
        let is_output = |it: SourceId| bench.outputs.binary_search(&it).is_ok();
        plain
            .sources
            .retain(|_| sources.next().is_none_or(|it| !is_output(it)));
        Some(Quick {
            network: Network::without_inductors(&plain),
            circuit: plain,
            kept,
            slow: OnceLock::new(),
        })
    }

    fn place(&self, opamp: usize) -> Option<usize> {
        self.kept.binary_search(&opamp).ok()
    }

    fn slow(&self) -> &Slow {
        self.slow
            .get_or_init(|| Slow::of(&self.circuit, &self.network))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The text, and how many turns its outputs need.
    const TEXTS: [(&str, usize); 7] = [
        // A chain of four: each stage follows its own output and the one before.
        (
            "source s: n0 = 1 V
             n0 -- Ra 10k -- m1 -- Rb 20k -- n1 -- Rc 10k -- m2 -- Rd 30k -- n2 -- Re 10k -- m3 -- Rf 40k -- n3
             opamp A1: plus ground, minus m1, drives n1
             opamp A2: plus ground, minus m2, drives n2
             opamp A3: plus ground, minus m3, drives n3
             opamp A4: plus n3, minus n4, drives n4",
            2,
        ),
        // Three outputs meet at one node.
        (
            "source s: in = 1 V
             opamp A1: plus in, minus a, drives a
             opamp A2: plus in, minus b, drives b
             opamp A3: plus ground, minus m, drives c
             a -- R1 1k -- m -- R2 2k -- c -- R3 3k -- ground
             m -- R4 5k -- b",
            3,
        ),
        // Currents are limited: what hangs on an output counts, behind a source and at the far end too.
        (
            "part weak
               current 5 mA
             end
             circuit loads
             opamps are weak
             supply 9 V and -9 V
             source s: in = 1 V
             source lift: up - a = 2 V
             opamp A1: plus in, minus a, drives a
             opamp A2: plus in, minus b, drives b
             opamp A3: plus in, minus c, drives c
             up -- R1 1k -- b
             a -- R2 2k -- far -- R3 1k -- c -- R4 1k -- ground",
            3,
        ),
        // Input and output resistances tie a chain into one piece.
        (
            "part real
               gain 100
               rejection 60 dB
               input_resistance 1 Mohm
               output_resistance 50 ohm
               offset 1 mV
             end
             circuit tied
             opamps are real
             source s: n0 = 1 V
             n0 -- Ra 10k -- m1 -- Rb 20k -- n1 -- Rc 10k -- m2 -- Rd 30k -- n2
             opamp A1: plus ground, minus m1, drives n1
             opamp A2: plus ground, minus m2, drives n2",
            2,
        ),
        // A source that follows a node, and a closed switch.
        (
            "source s: in = 1 V
             source twice: t = 2 * a
             t -- R1 1k -- p -- R2 1k -- ground
             opamp A1: plus in, minus a, drives a
             opamp A2: plus p, minus b, drives b
             opamp A3: plus ground, minus m, drives c
             switch S: from b, to m, closed",
            2,
        ),
        // Stages that share only a source.
        (
            "source s: in = 1 V
             in -- Ra 10k -- m1 -- Rb 20k -- n1
             in -- Rc 10k -- m2 -- Rd 30k -- n2
             opamp A1: plus ground, minus m1, drives n1
             opamp A2: plus ground, minus m2, drives n2",
            1,
        ),
        // Two outputs on one node contradict each other.
        (
            "source s: in = 1 V
             opamp A1: plus in, minus a, drives a
             opamp A2: plus in, minus a, drives a",
            2,
        ),
    ];

    #[test]
    fn outputs_that_move_together_are_told_apart() {
        for (text, count) in TEXTS {
            let book = circuit::build("bench.amp", text.into(), &mut |_| None);
            let circuit = &book.circuits[0];
            let bench = Bench::of(circuit, &book.parts).expect(text);
            let turns = bench.turns(circuit);
            assert_eq!(turns.count(), count, "{text}");
            let alone = bench.work_out(circuit, &Turns::alone(circuit.opamps.len()));
            let alone = alone.expect(text);
            assert_eq!(bench.plant.pulls, alone.pulls, "{text}");
            assert_eq!(bench.plant.currents, alone.currents, "{text}");
        }
    }
}
