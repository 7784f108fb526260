//! Whether a state lasts: the feedback of the op-amps that are linear in it, small changes alone counted.

use std::borrow::Cow;

use syntax::Ratio;

use super::Stability;
use super::plant::{Mode, Plant};
use crate::feedback::{BUDGET, Sum, Verdict, add, eliminate, verdict_on};

/// Judges members of a block in these modes. `instant` gives the rows of P at the first instant, where capacitors or inductors take part, with
/// the op-amps in the list (at their limit of current, so that they hold no voltage) taken out; rows and columns count all op-amps.
pub(crate) fn stability<'i>(
    plant: &Plant,
    members: &[usize],
    modes: &[Mode],
    instant: impl Fn(&[usize]) -> Option<Cow<'i, [Sum<Ratio>]>>,
) -> Stability {
    let of = |wanted: fn(&Mode) -> bool| -> Vec<usize> {
        let both = members.iter().zip(modes);
        both.filter(|it| wanted(it.1)).map(|it| *it.0).collect()
    };
    let linear = of(|it| *it == Mode::Linear);
    let loose = of(|it| matches!(it, Mode::Sourcing | Mode::Sinking));
    if linear.is_empty() {
        return Stability::Stable;
    }
    let Some(rest) = at_rest(plant, &linear, &loose) else {
        return Stability::Unstable;
    };
    let within = |row: &Sum<Ratio>| -> Sum<Ratio> {
        let place = |column| linear.binary_search(&column).ok();
        row.iter()
            .filter_map(|(column, share)| Some((place(*column)?, share.clone())))
            .collect()
    };
    let first = instant(&loose).map(|rows| {
        let own = linear.iter().map(|it| within(&rows[*it]));
        own.collect::<Vec<_>>()
    });
    match verdict_on(&rest, first.as_deref()).0 {
        Verdict::Negative => Stability::Stable,
        Verdict::NegativeIfAlike => Stability::IfAlike,
        Verdict::DependsOnSpeeds => Stability::DependsOnSpeeds,
        _ => Stability::Unstable,
    }
}

/// The rows of P of the linear ones. Those at their limit of current follow: their current does not change.
fn at_rest(plant: &Plant, linear: &[usize], loose: &[usize]) -> Option<Vec<Sum<Ratio>>> {
    let column = |it: usize| {
        let own = loose.iter().position(|other| *other == it);
        let after = || Some(loose.len() + linear.binary_search(&it).ok()?);
        own.or_else(after)
    };
    let row = |sum: &Sum<Ratio>| {
        let mut row = Vec::new();
        for (it, factor) in sum {
            if let Some(column) = column(*it) {
                add(&mut row, column, factor);
            }
        }
        row
    };
    let rows = loose.iter().map(|it| row(&plant.currents[*it])).collect();
    let follow = eliminate(loose.len(), linear.len(), rows, BUDGET)?;
    let follow: Vec<Sum<Ratio>> = follow.values.into_iter().collect::<Option<_>>()?;
    let p = linear.iter().map(|it| {
        let mut p: Sum<Ratio> = Vec::new();
        for (column, factor) in row(&plant.pulls[*it]) {
            match column.checked_sub(loose.len()) {
                Some(place) => add(&mut p, place, &-factor),
                None => {
                    for (place, share) in &follow[column] {
                        add(&mut p, *place, &-(&factor * share));
                    }
                }
            }
        }
        p
    });
    Some(p.collect())
}
