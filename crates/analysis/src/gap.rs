//! How far the answer as written is from the ideal one, and what each cause has to do with it.
//!
//! The figures of the parts are switched on one after the other in the fixed order of [`Cause::ALL`], every op-amp still linear; what each one
//! changes then is its part. A resistance at a pin does nothing while the gain is without limit, which is why gain comes before it. The limits come
//! last: what is left between that linear answer and the one as written is theirs. So the parts add up to the gap exactly. Limits first would
//! leave the figures nothing to do, since an output at its rail does not care for an offset. What a cause would spare if it alone were cured
//! does not add up, and stands beside.

use circuit::{Circuit, OpampId, Part};

use crate::Answer;
use crate::board::{Cause, Causes};

/// The gap between two answers of one circuit.
#[derive(Clone, PartialEq, Debug)]
pub struct Gap {
    /// In the order in which they are switched on.
    pub parts: Vec<PartOfGap>,
}

/// What a part of a gap is put down to.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Reason {
    /// A figure of the op-amps' parts.
    Figure(Cause),
    /// The figures behind the last one told, all together: with one of them switched on the linear equations have no single answer. Where they
    /// have none with all of them either, the limits count here too.
    Rest,
    /// Op-amps that stand at a rail or at their limit of current.
    Limit,
}

/// What one cause does to each node, in volts; both are indexed like the circuit's nodes.
#[derive(Clone, PartialEq, Debug)]
pub struct PartOfGap {
    /// The cause.
    pub reason: Reason,
    /// What it adds when it is switched on after those before it.
    pub adds: Vec<Answer>,
    /// What would be gone if it alone were cured; `None` where that has no single answer, and at limits: without a figure the op-amps may stand
    /// otherwise, and that is another circuit.
    pub cured: Option<Vec<Answer>>,
}

impl Gap {
    /// Attributes the gap. `linear` is the answer with some causes switched on and every op-amp linear, `at_limits` the one as written where some
    /// op-amp stands at a limit. `None` where one of the ends has no single answer.
    pub fn of(
        present: Vec<Cause>,
        linear: impl Fn(Causes) -> Option<Vec<Answer>>,
        at_limits: Option<Vec<Answer>>,
    ) -> Option<Gap> {
        let all = Causes::of(&present);
        let mut before = linear(Causes::NONE)?;
        let last = linear(all);
        let written = at_limits.as_ref().or(last.as_ref())?;
        let cured = |cause| match all.without(cause) {
            _ if at_limits.is_some() => None,
            others => Some(less(written, &linear(others)?)),
        };
        let mut on = Causes::NONE;
        let mut found = Vec::with_capacity(present.len() + 1);
        for cause in present {
            on = on.with(cause);
            let after = match on == all {
                true => last.clone(),
                false => linear(on),
            };
            let Some(after) = after else {
                let to = last.as_ref().unwrap_or(written);
                found.push(PartOfGap {
                    reason: Reason::Rest,
                    adds: less(to, &before),
                    cured: None,
                });
                break;
            };
            found.push(PartOfGap {
                reason: Reason::Figure(cause),
                adds: less(&after, &before),
                cured: cured(cause),
            });
            before = after;
        }
        if let (Some(written), Some(last)) = (&at_limits, &last) {
            found.push(PartOfGap {
                reason: Reason::Limit,
                adds: less(written, last),
                cured: None,
            });
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
