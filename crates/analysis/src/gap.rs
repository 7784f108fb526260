//! How far the answer with real op-amps is from the ideal one, and what each cause has to do with it.
//!
//! The causes are switched on one after the other in the fixed order of [`Cause::ALL`]; what each one changes then is its part, so the parts add
//! up to the gap exactly. A resistance at a pin does nothing while the gain is without limit, which is why gain comes before it. What a cause would
//! spare if it alone were cured does not add up, and stands beside.

use circuit::{Circuit, OpampId, Part};

use crate::Answer;
use crate::board::{Board, Cause, Causes};
use crate::solution::Solution;

/// The gap between two answers of one circuit.
#[derive(Clone, PartialEq, Debug)]
pub struct Gap {
    /// In the order of [`Cause::ALL`], those that a part of the circuit gives.
    pub parts: Vec<PartOfGap>,
}

/// What one cause does to each node, in volts; both are indexed like the circuit's nodes.
#[derive(Clone, PartialEq, Debug)]
pub struct PartOfGap {
    /// The cause.
    pub cause: Cause,
    /// What it adds when it is switched on after those before it.
    pub adds: Vec<Answer>,
    /// What would be gone if it alone were cured.
    pub cured: Vec<Answer>,
}

impl Gap {
    /// Attributes the gap of a circuit whose answer with all causes is `full`; `None` where some step on the way has no single answer.
    pub fn of(circuit: &Circuit, parts: &[Part], ideal: &Solution, full: &Solution) -> Option<Gap> {
        let present = present(circuit, parts);
        let all = present.iter().fold(Causes::NONE, |set, it| set.with(*it));
        let nodes = |causes: Causes| {
            let board = Board::of(circuit, parts, causes);
            board.solve(board.budget(1)).single()
        };
        let (mut before, full) = (ideal.single()?, full.single()?);
        let mut on = Causes::NONE;
        let mut found = Vec::with_capacity(present.len());
        for cause in present {
            on = on.with(cause);
            let after = if on == all { full.clone() } else { nodes(on)? };
            let rest = all.without(cause);
            let without = if rest == Causes::NONE {
                ideal.single()?
            } else {
                nodes(rest)?
            };
            found.push(PartOfGap {
                cause,
                adds: less(&after, &before),
                cured: less(&full, &without),
            });
            before = after;
        }
        Some(Gap { parts: found })
    }
}

/// The causes that some op-amp's part gives.
pub fn present(circuit: &Circuit, parts: &[Part]) -> Vec<Cause> {
    let own = |id: OpampId| {
        circuit.opamps[id.index()]
            .part
            .and_then(|it| parts.get(it.index()))
    };
    let opamps = || (0..circuit.opamps.len() as u32).map(OpampId);
    let is_there = |cause: &Cause| opamps().filter_map(own).any(|it| cause.is_in(it));
    Cause::ALL.into_iter().filter(is_there).collect()
}

fn less(all: &[Answer], some: &[Answer]) -> Vec<Answer> {
    all.iter().zip(some).map(|(all, some)| all - some).collect()
}
