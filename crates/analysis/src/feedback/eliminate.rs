//! Sparse elimination over any field: what each unknown is, as a sum over given columns.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::field::Field;

/// Exact numbers may grow so long that a solution takes this many nanoseconds, roughly.
pub(crate) const BUDGET: u64 = 60_000_000;

/// A sum: indices and factors, by index.
pub(crate) type Sum<F> = Vec<(usize, F)>;

/// What elimination found.
pub(crate) struct Eliminated<F> {
    /// Each unknown as a sum over the columns; `None` where the equations do not fix it.
    pub values: Vec<Option<Sum<F>>>,
    /// Whether some equation cannot hold for all values of the columns.
    pub contradicts: bool,
}

/// Solves the rows, each a sum that is zero: indices below `unknowns` are unknowns, column `c` stands at `unknowns + c`.
/// `None` where the numbers grow beyond `budget` (nanoseconds, roughly).
pub(crate) fn eliminate<F: Field>(
    unknowns: usize,
    columns: usize,
    mut rows: Vec<Sum<F>>,
    budget: u64,
) -> Option<Eliminated<F>> {
    let mut spent = 0;
    let mut holding = vec![Vec::new(); unknowns];
    let mut waiting = BinaryHeap::new();
    for (index, row) in rows.iter().enumerate() {
        for (unknown, _) in row.iter().filter(|it| it.0 < unknowns) {
            holding[*unknown].push(index);
        }
        waiting.push(Reverse((length(row, unknowns), index)));
    }
    let mut done = vec![false; rows.len()];
    let mut pivots = Vec::new();
    let mut contradicts = false;
    while let Some(Reverse((counted, index))) = waiting.pop() {
        let entries = length(&rows[index], unknowns);
        if done[index] || entries != counted {
            continue;
        }
        done[index] = true;
        if entries == 0 {
            contradicts |= !rows[index].is_empty();
            continue;
        }
        let pivot_row = std::mem::take(&mut rows[index]);
        let largest = pivot_row[..entries]
            .iter()
            .map(|it| it.1.weight())
            .fold(0.0, f64::max);
        let (unknown, pivot) = pivot_row[..entries]
            .iter()
            .filter(|it| it.1.weight() >= 0.1 * largest)
            .min_by_key(|it| holding[it.0].len())
            .or(pivot_row.first())
            .cloned()?;
        for other in std::mem::take(&mut holding[unknown]) {
            if done[other] {
                continue;
            }
            let Ok(place) = rows[other].binary_search_by_key(&unknown, |it| it.0) else {
                continue;
            };
            let factor = rows[other][place].1.over(&pivot);
            let before = std::mem::take(&mut rows[other]);
            let after = less(&before, &factor, &pivot_row, unknown, |fresh| {
                if fresh < unknowns {
                    holding[fresh].push(other);
                }
            });
            spent += after.iter().map(|it| it.1.cost()).sum::<u64>();
            waiting.push(Reverse((length(&after, unknowns), other)));
            rows[other] = after;
        }
        if spent > budget {
            return None;
        }
        pivots.push((unknown, pivot, pivot_row));
    }

    // An unknown that no pivot fixes stands for itself, in a column beyond the given ones.
    let mut values: Vec<Sum<F>> = vec![Vec::new(); unknowns];
    let mut fixed = vec![false; unknowns];
    pivots.iter().for_each(|it| fixed[it.0] = true);
    for (unknown, pivot, row) in pivots.into_iter().rev() {
        let mut sum: Sum<F> = Vec::new();
        for (index, factor) in row.iter().filter(|it| it.0 != unknown) {
            let share = F::zero().minus(&factor.over(&pivot));
            if *index >= unknowns {
                add(&mut sum, *index - unknowns, &share);
            } else if fixed[*index] {
                for (column, value) in &values[*index] {
                    add(&mut sum, *column, &share.times(value));
                }
            } else {
                add(&mut sum, columns + index, &share);
            }
        }
        spent += sum.iter().map(|it| it.1.cost()).sum::<u64>();
        if spent > budget {
            return None;
        }
        values[unknown] = sum;
    }
    let values = values
        .into_iter()
        .zip(fixed)
        .map(|(sum, fixed)| (fixed && sum.last().is_none_or(|it| it.0 < columns)).then_some(sum))
        .collect();
    Some(Eliminated {
        values,
        contradicts,
    })
}

fn length<F>(row: &Sum<F>, unknowns: usize) -> usize {
    row.partition_point(|it| it.0 < unknowns)
}

/// `sum + factor at index`, zeros left out.
pub(crate) fn add<F: Field>(sum: &mut Sum<F>, index: usize, factor: &F) {
    match sum.binary_search_by_key(&index, |it| it.0) {
        Ok(place) => {
            sum[place].1 = sum[place].1.plus(factor);
            if sum[place].1.is_zero() {
                sum.remove(place);
            }
        }
        Err(place) if !factor.is_zero() => sum.insert(place, (index, factor.clone())),
        Err(_) => {}
    }
}

/// `row − factor · pivot_row`, without `unknown`; `fresh` hears of every index that was not in `row`.
fn less<F: Field>(
    row: &Sum<F>,
    factor: &F,
    pivot_row: &Sum<F>,
    unknown: usize,
    mut fresh: impl FnMut(usize),
) -> Sum<F> {
    let mut result = Vec::with_capacity(row.len() + pivot_row.len());
    let (mut left, mut right) = (row.iter().peekable(), pivot_row.iter().peekable());
    loop {
        let index = match (left.peek(), right.peek()) {
            (Some(a), Some(b)) => a.0.min(b.0),
            (Some(a), None) => a.0,
            (None, Some(b)) => b.0,
            (None, None) => return result,
        };
        let here = left.next_if(|it| it.0 == index).map(|it| &it.1);
        let there = right
            .next_if(|it| it.0 == index)
            .map(|it| factor.times(&it.1));
        let value = match (here, there) {
            _ if index == unknown => continue,
            (Some(here), Some(there)) => here.minus(&there),
            (Some(here), None) => here.clone(),
            (None, Some(there)) => {
                fresh(index);
                F::zero().minus(&there)
            }
            (None, None) => continue,
        };
        if !value.is_zero() {
            result.push((index, value));
        }
    }
}

/// A vector that the rows send to zero, with few entries that are not zero; `None` where there is none but
/// zero itself (or the numbers grow beyond [`BUDGET`]).
pub(crate) fn null_vector<F: Field>(unknowns: usize, rows: Vec<Sum<F>>, one: F) -> Option<Vec<F>> {
    let found = eliminate(unknowns, 0, rows.clone(), BUDGET)?;
    let loose = found.values.iter().position(Option::is_none)?;
    // The first loose one is 1; whatever stays free then is 0, one after the other: so the support is minimal.
    let mut rows = rows;
    rows.push(vec![
        (loose, one.clone()),
        (unknowns, F::zero().minus(&one)),
    ]);
    loop {
        let found = eliminate(unknowns, 1, rows.clone(), BUDGET)?;
        match found.values.iter().position(Option::is_none) {
            Some(free) => rows.push(vec![(free, one.clone())]),
            None => {
                let entry =
                    |it: Option<Sum<F>>| it.unwrap_or_default().pop().map_or(F::zero(), |it| it.1);
                return Some(found.values.into_iter().map(entry).collect());
            }
        }
    }
}
