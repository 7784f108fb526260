//! Feedback judged again with the figures of the parts, where they can turn a verdict on ideal op-amps.
//!
//! A finite gain A adds 1/A to the diagonal of P, so that an op-amp with slightly more positive than negative feedback rests all the same.
//! A finite rejection of what both inputs share lets a little more count at plus, and may turn two paths that are nearly equal.

use std::cell::OnceCell;

use circuit::{Circuit, OpampId, Part};
use syntax::Ratio;

use super::bench::{Bench, MOST_OPAMPS};
use super::{Mode, Stability};
use crate::feedback::{Feedback, Proof, Verdict, sign};
use crate::network::fraction;

/// Sets [`Feedback::verdict`] and [`Feedback::rests`] as the parts have it.
pub(crate) fn judge_by_parts(circuit: &Circuit, parts: &[Part], feedback: &mut [Feedback]) {
    let bench = OnceCell::new();
    let rests = |block: &[OpampId]| {
        let make = || {
            let few = circuit.opamps.len() <= MOST_OPAMPS;
            few.then(|| Bench::of(circuit, parts))?
        };
        let bench = bench.get_or_init(make).as_ref()?;
        let members: Vec<usize> = block.iter().map(|it| it.index()).collect();
        Some(bench.stability(circuit, &members, &vec![Mode::Linear; members.len()]))
    };
    for it in feedback {
        let has_gain = |it: &OpampId| part(circuit, parts, *it).is_some_and(|it| it.gain.is_some());
        let finite = it.block.iter().all(has_gain);
        match it.verdict {
            // Nothing comes back to it.
            Verdict::None if it.block.len() == 1 => it.rests = finite,
            Verdict::None | Verdict::Cancels | Verdict::NoneAtDc if finite => {
                it.rests = rests(&it.block).is_none_or(Stability::stays);
            }
            Verdict::Positive | Verdict::Oscillates | Verdict::RunsAway | Verdict::Marginal
                if it.proof != Proof::Given && it.block.iter().any(has_gain) =>
            {
                it.verdict = match rests(&it.block) {
                    Some(Stability::Stable | Stability::IfAlike) => Verdict::HeldByGain,
                    Some(Stability::DependsOnSpeeds) => Verdict::DependsOnSpeeds,
                    Some(Stability::Unstable) | None => continue,
                };
                it.rests = true;
            }
            Verdict::Negative
                if may_turn(circuit, parts, it)
                    && rests(&it.block) == Some(Stability::Unstable) =>
            {
                it.verdict = Verdict::Positive;
                it.rests = false;
            }
            _ => {}
        }
    }
}

/// Whether an op-amp alone has so little more coming back to minus than to plus that its rejection could turn that.
fn may_turn(circuit: &Circuit, parts: &[Part], feedback: &Feedback) -> bool {
    let ([opamp], [back]) = (&feedback.block[..], &feedback.returns[..]) else {
        return false;
    };
    let rejection = part(circuit, parts, *opamp).and_then(|it| it.rejection.as_ref());
    let (Some(rejection), Some(plus), Some(minus)) = (rejection, &back.to_plus, &back.to_minus)
    else {
        return false;
    };
    let both = (plus + minus) / Ratio::from(2);
    sign(&((minus - plus) * fraction(rejection) - both)) <= 0
}

fn part<'p>(circuit: &Circuit, parts: &'p [Part], opamp: OpampId) -> Option<&'p Part> {
    parts.get(circuit.opamps[opamp.index()].part?.index())
}
