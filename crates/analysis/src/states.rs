//! What happens at the limits: every op-amp linear, at a rail, or at its limit of current; all states that are consistent, which of them
//! would last, and where each ends as a source moves.
//!
//! With the outputs as independent sources all else is linear ([`bench`]), so a state is a choice of one mode an op-amp ([`plant`]). Op-amps that
//! move each other are one block; what comes first is settled first ([`whole`]). A block whose matrix leaves only one state gets it by pivoting
//! ([`unique`]); any other is searched mode by mode with bounds that only rule out the impossible ([`search`]). A state lasts if the op-amps that
//! are linear in it hold each other ([`small`]). Thresholds are the ends of the exact intervals of the states ([`walk`]).

use std::sync::OnceLock;

use circuit::{Circuit, GROUND, NodeId, OpampId, Part, SourceId, SourceKind};
use dashu_base::Sign;
use syntax::{Number, Ratio};

mod apart;
mod bench;
mod by_parts;
mod plant;
mod search;
mod small;
mod survey;
#[cfg(test)]
mod tests;
mod unique;
mod walk;
mod whole;

use bench::{Bench, MOST_OPAMPS};
use plant::{Condition, Quantity};
use search::Work;
use whole::{Finder, at};

use crate::Answer;
use crate::board::Board;
use crate::linear::Budget;
use crate::solution::Solution;

pub use bench::Limits;
pub use plant::Mode;

pub(crate) use by_parts::judge_by_parts;

/// Whether a state would last.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Stability {
    /// At any op-amp speed.
    Stable,
    /// If the op-amps are alike.
    IfAlike,
    /// With some speeds.
    DependsOnSpeeds,
    /// A small disturbance grows.
    Unstable,
}

impl Stability {
    /// Whether the circuit can be found there.
    pub fn stays(self) -> bool {
        self != Stability::Unstable
    }
}

/// All states of a circuit.
#[derive(Debug)]
pub struct States {
    /// Every consistent one, those with the same voltages counted once; those that would not last only where there are few.
    pub list: Vec<State>,
    /// Whether these are certainly all: the work did not grow beyond what is allowed.
    pub complete: bool,
    /// Whether some op-amp may rest anywhere in a range: its feedback cancels or is missing, and nothing drives it.
    pub open: bool,
    bench: Option<Bench>,
    switches: OnceLock<Switches>,
}

/// One way in which all op-amps can stand.
#[derive(Debug)]
pub struct State {
    /// Of each op-amp.
    pub modes: Vec<Mode>,
    /// Op-amps that are also just at the edge of another mode.
    pub at_edge: Vec<bool>,
    /// Of each op-amp whether its output is on its high side, at the rail or held back from it by a limit of current (else on its low side); `None`:
    /// linear.
    pub sides: Vec<Option<bool>>,
    /// Whether it would last.
    pub stability: Stability,
    solution: OnceLock<Solution>,
}

/// Where states end.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Switches {
    /// By source, then by value.
    pub list: Vec<Switch>,
    /// Whether these are certainly all.
    pub complete: bool,
}

/// A value of a source at which a state ends and no stable one with the same voltages goes on.
#[derive(Clone, PartialEq, Debug)]
pub struct Switch {
    /// The source that moves; all others stand as written.
    pub source: SourceId,
    /// Its value there, in volts or amperes.
    pub at: Answer,
    /// Whether it rises there (else it falls).
    pub rises: bool,
    /// The op-amps whose mode ends.
    pub leaving: Vec<OpampId>,
    /// The modes of the state that ends.
    pub from: Vec<Mode>,
    /// The modes of the stable states beyond; none: it then never rests.
    pub to: Vec<Vec<Mode>>,
    /// On which side each op-amp is in the state that ends, as in [`State::sides`].
    pub from_sides: Vec<Option<bool>>,
    /// On which side in the states beyond.
    pub to_sides: Vec<Vec<Option<bool>>>,
}

impl State {
    /// Whether every op-amp is linear.
    pub fn is_linear(&self) -> bool {
        self.modes.iter().all(|it| *it == Mode::Linear)
    }

    /// Voltages, currents and powers in it.
    pub fn solution(&self, circuit: &Circuit, parts: &[Part]) -> &Solution {
        let solve = || Board::standing(circuit, parts, &self.modes).solve(Budget::default());
        self.solution.get_or_init(solve)
    }
}

impl States {
    /// Looks for all states; `None` where the voltages do not follow from the outputs at all.
    pub fn of(circuit: &Circuit, parts: &[Part]) -> Option<States> {
        let mut states = States {
            list: Vec::new(),
            complete: false,
            open: false,
            bench: None,
            switches: OnceLock::new(),
        };
        if circuit.opamps.len() > MOST_OPAMPS {
            return Some(states);
        }
        let bench = Bench::of(circuit, parts)?;
        let judge = |members: &[usize], modes: &[Mode]| bench.stability(circuit, members, modes);
        let mut work = Work::default();
        let finder = Finder::new(&bench.plant, &judge, &mut work);
        let all = finder.states(&at(&Ratio::ZERO, Sign::Positive, false), &mut work);
        drop(finder);
        states.complete = !all.gave_up;
        states.open = all.open;
        states.list = all
            .states
            .into_iter()
            .map(|it| State {
                sides: bench.plant.sides(&it.modes, &it.outputs),
                modes: it.modes,
                at_edge: it.edge,
                stability: it.stability,
                solution: OnceLock::new(),
            })
            .collect();
        states.bench = Some(bench);
        Some(states)
    }

    /// Those in which the circuit can be found.
    pub fn stable(&self) -> impl Iterator<Item = &State> {
        self.list.iter().filter(|it| it.stability.stays())
    }

    /// Where states end as each independent source moves alone. A source that is a rail of an op-amp does not move.
    pub fn switches(&self, circuit: &Circuit, parts: &[Part]) -> &Switches {
        self.switches
            .get_or_init(|| self.find_switches(circuit, parts))
    }

    fn find_switches(&self, circuit: &Circuit, parts: &[Part]) -> Switches {
        let Some(bench) = self.bench.as_ref().filter(|_| self.complete) else {
            return Switches::default();
        };
        let judge = |members: &[usize], modes: &[Mode]| bench.stability(circuit, members, modes);
        let mut work = Work::default();
        let mut switches = Switches {
            complete: true,
            ..Switches::default()
        };
        if Finder::new(&bench.plant, &judge, &mut work).is_unique() {
            return switches;
        }
        for (index, source) in circuit.sources.iter().enumerate() {
            let id = SourceId(index as u32);
            if !source.controls.is_empty() || is_rail(circuit, id) {
                continue;
            }
            let Some(plant) = bench.freed(circuit, id) else {
                switches.complete = false;
                continue;
            };
            let moves =
                |sum: &crate::feedback::Sum<Ratio>| sum.iter().any(|it| it.0 == plant.free());
            if !plant.pulls.iter().chain(&plant.currents).any(moves) {
                continue;
            }
            let finder = Finder::new(&plant, &judge, &mut work);
            let written = crate::network::fraction(&source.constant);
            let walk = walk::walk(&finder, &written, &mut work);
            switches.complete &= !walk.gave_up;
            let jumps = walk.jumps.into_iter().map(|it| {
                let exact = Answer::Exact(it.value.clone());
                Switch {
                    at: match is_exact(circuit, parts) {
                        true => exact,
                        false => rounded(circuit, parts, id, &it).unwrap_or(exact.to_float()),
                    },
                    source: id,
                    rises: it.rises,
                    leaving: it.leaving.iter().map(|it| OpampId(*it as u32)).collect(),
                    from: it.from,
                    to: it.to,
                    from_sides: it.sides,
                    to_sides: it.to_sides,
                }
            });
            switches.list.extend(jumps);
        }
        switches
    }
}

/// Whether a source holds a node that is a rail.
fn is_rail(circuit: &Circuit, id: SourceId) -> bool {
    let SourceKind::Voltage { plus, minus } = circuit.sources[id.index()].kind else {
        return false;
    };
    let holds =
        |node: Option<NodeId>| node.is_some_and(|it| it != GROUND && (it == plus || it == minus));
    circuit
        .opamps
        .iter()
        .filter_map(|it| it.supply.as_ref())
        .any(|it| holds(it.high.node) || holds(it.low.node))
}

/// Whether every number that counts at rest is a fraction.
fn is_exact(circuit: &Circuit, parts: &[Part]) -> bool {
    let exact = |it: &Number| matches!(it, Number::Exact(_));
    let figures = |opamp: &circuit::Opamp| {
        let law = opamp.part.and_then(|it| parts.get(it.index()));
        let limits = Limits::of(opamp, parts);
        let mut given: Vec<Number> = Vec::new();
        if let Some(it) = law {
            let all = [
                &it.gain,
                &it.rejection,
                &it.offset,
                &it.bias_current,
                &it.bias_offset,
                &it.input_resistance,
                &it.output_resistance,
            ];
            given.extend(all.into_iter().flatten().cloned());
        }
        given.extend(limits.volts.into_iter().chain(limits.amperes).flatten());
        given.iter().all(exact)
    };
    circuit.elements.iter().all(|it| exact(&it.value))
        && circuit
            .sources
            .iter()
            .all(|it| exact(&it.constant) && it.controls.iter().all(|it| exact(&it.1)))
        && circuit.opamps.iter().all(figures)
}

/// A switching value of a circuit with rounded numbers, with its bound: the condition that ends, at two values of the source.
fn rounded(
    circuit: &Circuit,
    parts: &[Part],
    source: SourceId,
    jump: &walk::Jump,
) -> Option<Answer> {
    let board = Board::standing(circuit, parts, &jump.from);
    let (zero, one) = (Number::ZERO, Number::ONE);
    let sides = [&zero, &one].map(|value| {
        let mut side = board.constants();
        side[source.index()] = value;
        side
    });
    let solved = board.solve_unfed(&sides, Budget::default());
    let index = *jump.leaving.first()?;
    let opamp = &circuit.opamps[index];
    let law = &board.laws[index];
    let near = jump.value.to_f64().value();
    let quantity = |solution: &Solution, it: Quantity| {
        let output = solution.opamps.get(index)?.as_ref()?;
        let node = |it: NodeId| solution.nodes.get(it.index())?.as_ref();
        let before = || output.before(law.output_resistance.as_ref());
        match it {
            Quantity::Output => before(),
            Quantity::Current => output.current.clone(),
            Quantity::Pull => {
                let wanted = law.input(node(opamp.plus)?, node(opamp.minus)?);
                match &law.gain {
                    Some(gain) => Some(&wanted - &before()?.over(&Answer::from(gain))?),
                    None => Some(wanted),
                }
            }
        }
    };
    let limits = Limits::of(opamp, parts);
    let bounds = |it: &Condition| -> Vec<Answer> {
        let given = match it.quantity {
            Quantity::Pull => return vec![Answer::zero()],
            Quantity::Output => limits.volts.clone(),
            Quantity::Current => limits.amperes.clone(),
        };
        let [a, b] = given.unwrap_or([Number::ZERO, Number::ZERO]);
        let turned = (it.quantity == Quantity::Current).then(|| b.neg());
        vec![Answer::from(&a), Answer::from(&turned.unwrap_or(b))]
    };
    let stage = plant::Stage {
        limits: limits.volts.as_ref().map(|_| [Ratio::ZERO, Ratio::ZERO]),
        currents: limits.amperes.as_ref().map(|_| [Ratio::ZERO, Ratio::ZERO]),
        comparator: opamp.comparator,
    };
    let ends = stage.conditions(jump.from[index]).into_iter().flatten();
    let candidates = ends.flat_map(|it| {
        let at = |side: usize| quantity(solved.get(side)?, it.quantity);
        let (Some(start), Some(next)) = (at(0), at(1)) else {
            return Vec::new();
        };
        let slope = &next - &start;
        let ends = bounds(&it).into_iter();
        ends.filter_map(|bound| (&bound - &start).over(&slope))
            .collect()
    });
    candidates.min_by(|a, b| {
        let far = |it: &Answer| (it.to_f64() - near).abs();
        far(a).total_cmp(&far(b))
    })
}
