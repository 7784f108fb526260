//! What outputs would have to deliver in a state in which some of them give way: the same state without their limits of current.

use std::cmp::Ordering;

use analysis::board::Board;
use analysis::feedback::Verdict;
use analysis::linear::Budget;
use analysis::solution::Solution;
use analysis::states::Mode;
use analysis::{Answer, Outcome};
use circuit::{NodeId, OpampId};

use crate::Checked;
use crate::rules::output_current::{self, Overload};
use crate::standings::Standing;

pub(crate) fn gives_way(mode: Mode) -> bool {
    matches!(mode, Mode::Sourcing | Mode::Sinking)
}

impl<'a> Checked<'a> {
    /// The voltages and currents that each output would have to bring about; where that is not known those of the state.
    pub(crate) fn demanded<'s>(&self, standing: &'s Standing<'a>) -> &'s Solution
    where
        'a: 's,
    {
        let outcome = self.study.outcome(self.circuit, &self.book.parts);
        let linear = self.wanted().filter(|_| *outcome != Outcome::Several);
        if let Some(linear) = linear {
            return linear;
        }
        let demand = standing
            .demand
            .get_or_init(|| self.find_demand(&standing.modes));
        demand.as_ref().unwrap_or(standing.solution)
    }

    /// Outputs that are asked for too much current, in one way in which the circuit may rest.
    pub(crate) fn overloads_in<'s>(&self, standing: &'s Standing<'a>) -> &'s [Overload] {
        let find = || output_current::overloads(self, standing);
        standing.overloads.get_or_init(find)
    }

    /// An output that gives way would be linear where its feedback holds it and a rail leaves it room, else at that rail.
    fn find_demand(&self, modes: &[Mode]) -> Option<Solution> {
        if !modes.iter().any(|it| gives_way(*it)) {
            return None;
        }
        let (circuit, parts) = (self.circuit, &self.book.parts);
        let rail = |index: usize| {
            let supplied = circuit.opamps[index].supply.is_some();
            supplied.then_some(match modes[index] {
                Mode::Sourcing => Mode::High,
                _ => Mode::Low,
            })
        };
        let held = |index: usize| {
            let verdict = self.study.feedback_of(OpampId(index as u32));
            !circuit.opamps[index].comparator
                && verdict.is_some_and(|it| {
                    matches!(it.verdict, Verdict::Negative | Verdict::NegativeIfAlike)
                })
        };
        let all = modes.iter().enumerate();
        let tried = all.map(|(index, mode)| match gives_way(*mode) {
            false => Some(*mode),
            true if held(index) => Some(Mode::Linear),
            true => rail(index),
        });
        let mut tried: Vec<Mode> = tried.collect::<Option<_>>()?;
        loop {
            let solution = Board::standing(circuit, parts, &tried).solve(Budget::default());
            let beyond = |at: &usize| {
                gives_way(modes[*at]) && tried[*at] == Mode::Linear && !self.fits(&solution, *at)
            };
            let beyond: Vec<usize> = (0..modes.len()).filter(beyond).collect();
            if beyond.is_empty() {
                return self
                    .is_consistent(modes, &tried, &solution)
                    .then_some(solution);
            }
            for at in beyond {
                tried[at] = rail(at)?;
            }
        }
    }

    /// Whether an output is between its limits at the pin: what its own resistance takes more is for want of current, too.
    fn fits(&self, solution: &Solution, opamp: usize) -> bool {
        let id = OpampId(opamp as u32);
        let output = solution.opamps.get(opamp).and_then(Option::as_ref);
        let negative = |it: Answer| it.sign() == Some(Ordering::Less);
        output.is_some_and(|it| {
            let mut rooms = [true, false].into_iter();
            !rooms.any(|high| self.room(id, high, &it.voltage).is_some_and(negative))
        })
    }

    /// How far a voltage at an output is from one of its limits, in volts; `None` without supply.
    pub(crate) fn room(&self, id: OpampId, high: bool, volts: &Answer) -> Option<Answer> {
        let supply = self.circuit.opamps[id.index()].supply.as_ref()?;
        let headroom = self.part_of(id).and_then(|it| it.headroom.as_ref());
        let kept = |end: usize| headroom.map_or(Answer::zero(), |it| Answer::from(&it[end]));
        Some(match high {
            true => &(&Answer::from(&supply.high.volts) - &kept(1)) - volts,
            false => volts - &(&Answer::from(&supply.low.volts) + &kept(0)),
        })
    }

    /// Whether the other op-amps would stay as they are, and those that gave way be where they are put.
    fn is_consistent(&self, stood: &[Mode], modes: &[Mode], solution: &Solution) -> bool {
        let volts = |node: NodeId| solution.nodes.get(node.index())?.as_ref();
        let sign = |index: usize| {
            let opamp = &self.circuit.opamps[index];
            (volts(opamp.plus)? - volts(opamp.minus)?).sign()
        };
        modes.iter().enumerate().all(|(index, mode)| match mode {
            Mode::Linear if gives_way(stood[index]) => self.fits(solution, index),
            Mode::Linear => !has_no_room(solution, index),
            Mode::High => sign(index).is_some_and(Ordering::is_ge),
            Mode::Low => sign(index).is_some_and(Ordering::is_le),
            Mode::Sourcing | Mode::Sinking => false,
        })
    }
}

/// Whether an output is beyond one of its limits.
fn has_no_room(solution: &Solution, opamp: usize) -> bool {
    let output = solution.opamps.get(opamp).and_then(Option::as_ref);
    let negative = |it: &Option<Answer>| it.as_ref().and_then(Answer::sign) == Some(Ordering::Less);
    output.is_some_and(|it| negative(&it.margin_high) || negative(&it.margin_low))
}
