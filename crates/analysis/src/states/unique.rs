//! Blocks that have exactly one state whatever drives them, and how to find it.
//!
//! If every principal minor of P is positive (a P-matrix), there is exactly one state for every drive (Samelson, Thrall and Wesler 1958, A
//! partition theorem for Euclidean n-space, for the problem with one limit; with two limits likewise; from memory). Starting with all op-amps
//! linear, those that leave their limits are set there and those that are wanted back are let go, until all conditions hold: first all at
//! once, then one at a time with the least index, which ends for such matrices (Murty 1974, from memory).

use std::cmp::Ordering;

use syntax::Ratio;

use super::plant::{Mode, Quantity, compare};
use super::search::{Block, Found, Work};
use crate::feedback::sign;

/// Up to this many op-amps all 2ⁿ principal minors are looked at.
const ALL_MINORS: usize = 12;
/// So often all are moved at once, and then one at a time.
const AT_ONCE: usize = 20;
const ONE_BY_ONE: usize = 400;

/// Whether a block has exactly one state for every drive; `false` where that isn't known.
pub(crate) fn has_one_state(block: &Block, work: &mut Work) -> bool {
    if block
        .stages
        .iter()
        .any(|it| it.currents.is_some() || it.comparator)
    {
        return false;
    }
    let p = block.p();
    compares_with_m_matrix(&p) || p.len() <= ALL_MINORS && is_p_matrix(p, work)
}

/// A positive diagonal, and with |P_ij| taken off elsewhere still no pivot that isn't positive: all principal minors are then positive.
fn compares_with_m_matrix(p: &[Vec<Ratio>]) -> bool {
    let mut left = p.to_vec();
    for (i, line) in left.iter_mut().enumerate() {
        for (j, it) in line.iter_mut().enumerate() {
            if i != j && sign(it) > 0 {
                *it = -std::mem::replace(it, Ratio::ZERO);
            }
        }
    }
    for k in 0..left.len() {
        if sign(&left[k][k]) <= 0 {
            return false;
        }
        let (above, below) = left.split_at_mut(k + 1);
        for line in below {
            let factor = &line[k] / &above[k][k];
            for (it, pivot) in line.iter_mut().zip(&above[k]).skip(k) {
                *it -= &factor * pivot;
            }
        }
    }
    true
}

/// Whether all principal minors are positive: the first pivot, what is left without it, and what is left after it.
fn is_p_matrix(p: Vec<Vec<Ratio>>, work: &mut Work) -> bool {
    if p.is_empty() {
        return true;
    }
    if sign(&p[0][0]) <= 0 || !work.spend(p.len() * p.len()) {
        return false;
    }
    let rest = |row: &Vec<Ratio>| row[1..].to_vec();
    let without: Vec<Vec<Ratio>> = p[1..].iter().map(rest).collect();
    let after = p[1..].iter().map(|row| {
        let factor = &row[0] / &p[0][0];
        let entries = row[1..].iter().zip(&p[0][1..]);
        entries.map(|(it, above)| it - &factor * above).collect()
    });
    let after = after.collect();
    is_p_matrix(without, work) && is_p_matrix(after, work)
}

/// The one state of such a block; `None` where the steps do not end in time.
pub(crate) fn settle(block: &Block, work: &mut Work) -> Option<Found> {
    let size = block.stages.len();
    let mut modes = vec![Mode::Linear; size];
    for round in 0..AT_ONCE + ONE_BY_ONE {
        if !work.spend(size * size * size) {
            return None;
        }
        let outputs = block.outputs(&modes)?;
        if let Some(edge) = block.holds(&modes, &outputs) {
            return Some(Found {
                modes,
                outputs,
                edge,
            });
        }
        for place in 0..size {
            let next = match modes[place] {
                Mode::Linear => {
                    let limits = block.stages[place].limits.as_ref();
                    limits.and_then(|[low, high]| match &outputs[place] {
                        it if compare(it, high) == Ordering::Greater => Some(Mode::High),
                        it if compare(it, low) == Ordering::Less => Some(Mode::Low),
                        _ => None,
                    })
                }
                at => {
                    let pull = compare(&block.value(place, Quantity::Pull, &outputs), &Ratio::ZERO);
                    let back = match at {
                        Mode::High => Ordering::Less,
                        _ => Ordering::Greater,
                    };
                    (pull == back).then_some(Mode::Linear)
                }
            };
            if let Some(next) = next {
                modes[place] = next;
                if round >= AT_ONCE {
                    break;
                }
            }
        }
    }
    None
}
