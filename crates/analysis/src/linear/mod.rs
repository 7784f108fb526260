//! Linear equations over the rationals: split into blocks, solved exactly, floating point with a bound beyond the budget.
//!
//! The blocks ([`split`]) are solved one after the other ([`blockwise`]): exactly ([`integer`], [`lifting`]) while their answers are
//! exact and fit the budget, else in floating point with a bound ([`floating`]). What no block fixes is eliminated row by row
//! ([`rest`]), so that nothing is lost that the equations do fix. [`modular`] serves [`lifting`], and structure elsewhere.

mod balls;
mod blockwise;
mod floating;
mod integer;
mod lifting;
pub(crate) mod modular;
mod rest;
mod split;

use rustc_hash::FxHashMap;
use syntax::{Number, Ratio};

use self::blockwise::Work;
use self::rest::Part;
use self::split::Block;
use crate::Answer;
use crate::answer::{nearest, outward};

/// A coefficient: its value, and how far the true one may be from it (0 where the text is exact).
#[derive(Clone, PartialEq, Debug)]
pub struct Coefficient {
    /// The value used.
    pub value: Ratio,
    /// |true − value| ≤ error.
    pub error: f64,
}

/// Σ factor · unknown = right.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Row {
    /// Unknown and factor; an unknown stands at most once.
    pub terms: Vec<(usize, Coefficient)>,
    /// The right side, one entry for each right side asked for.
    pub right: Vec<Coefficient>,
}

/// Equations for `unknowns` unknowns; every row has the same number of right sides. There may be too few rows or
/// too many.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct System {
    /// How many unknowns.
    pub unknowns: usize,
    /// The equations.
    pub rows: Vec<Row>,
}

/// What solving found.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Solved {
    /// For each right side, for each unknown: its one value; `None` where the equations do not fix it.
    pub values: Vec<Vec<Option<Answer>>>,
    /// The unknowns of each block of the block triangular form, in the order of solving; what no block fixes stands last,
    /// grouped by what hangs together.
    pub blocks: Vec<Vec<usize>>,
    /// Rows that those before them contradict, for some right side. In rising order.
    pub unmet: Vec<usize>,
}

/// How much exact arithmetic may cost.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Budget {
    /// So many bits may all exact answers together have; beyond, the rest is answered in floating point.
    pub bits: u64,
}

impl Default for Budget {
    fn default() -> Budget {
        Budget { bits: 20_000_000 }
    }
}

impl From<Ratio> for Coefficient {
    fn from(value: Ratio) -> Coefficient {
        Coefficient { value, error: 0.0 }
    }
}

impl From<&Number> for Coefficient {
    fn from(number: &Number) -> Coefficient {
        match number {
            Number::Exact(value) => value.clone().into(),
            Number::Rounded { value, error } => Coefficient {
                value: Ratio::try_from(*value).unwrap_or(Ratio::ZERO),
                error: *error,
            },
        }
    }
}

impl From<&Answer> for Coefficient {
    fn from(answer: &Answer) -> Coefficient {
        match answer {
            Answer::Exact(value) => value.clone().into(),
            Answer::Float { value, bound } => Coefficient {
                value: Ratio::try_from(*value).unwrap_or(Ratio::ZERO),
                error: *bound,
            },
        }
    }
}

impl Coefficient {
    /// Whether it is anything but exactly 0.
    fn stands(&self) -> bool {
        !self.value.is_zero() || !self.is_exact()
    }

    fn is_exact(&self) -> bool {
        self.error == 0.0
    }

    /// A double, and how far the true value can be from it.
    fn approximate(&self) -> (f64, f64) {
        let (value, error) = nearest(&self.value);
        (
            value,
            if self.error == 0.0 {
                error
            } else {
                outward(error + self.error)
            },
        )
    }

    /// As an answer, with its bound.
    pub fn answer(&self) -> Answer {
        if self.is_exact() {
            Answer::Exact(self.value.clone())
        } else {
            let (value, bound) = self.approximate();
            Answer::float(value, bound)
        }
    }
}

impl Row {
    /// The row with unknowns put in: where `held` gives a row for one, that row is solved for it. Such rows hold no unknown that is
    /// put in itself.
    pub(crate) fn without<'r>(self, held: impl Fn(usize) -> Option<&'r Row>) -> Row {
        let mut terms: Vec<(usize, Answer)> = Vec::with_capacity(self.terms.len());
        let mut right: Vec<Answer> = self.right.iter().map(Coefficient::answer).collect();
        let mut add =
            |unknown: usize, factor: Answer| match terms.iter_mut().find(|it| it.0 == unknown) {
                Some((_, sum)) => *sum = &*sum + &factor,
                None => terms.push((unknown, factor)),
            };
        for (unknown, factor) in &self.terms {
            let factor = factor.answer();
            let Some(row) = held(*unknown) else {
                add(*unknown, factor);
                continue;
            };
            let own = row.terms.iter().find(|it| it.0 == *unknown);
            let Some(share) = own.and_then(|it| factor.over(&it.1.answer())) else {
                add(*unknown, factor);
                continue;
            };
            for (other, it) in row.terms.iter().filter(|it| it.0 != *unknown) {
                add(*other, -&(&share * &it.answer()));
            }
            for (side, it) in right.iter_mut().zip(&row.right) {
                *side = &*side - &(&share * &it.answer());
            }
        }
        terms.retain(|it| !it.1.is_zero());
        Row {
            terms: terms
                .iter()
                .map(|(unknown, it)| (*unknown, it.into()))
                .collect(),
            right: right.iter().map(Coefficient::from).collect(),
        }
    }
}

/// Solves the equations for every right side.
pub fn solve(system: &System, budget: Budget) -> Solved {
    solve_with(system, 0, budget)
}

/// The same where the first `given` rows hold whatever the others say. Of the others those that contradict each other fix nothing.
pub(crate) fn solve_with(system: &System, given: usize, budget: Budget) -> Solved {
    let pattern: Vec<Vec<u32>> = system
        .rows
        .iter()
        .map(|row| {
            row.terms
                .iter()
                .filter(|it| it.1.stands())
                .map(|(unknown, _)| *unknown as u32)
                .collect()
        })
        .collect();
    let sides = system.rows.first().map_or(0, |row| row.right.len());
    let mut work = Work::new(system, sides, budget);
    let mut blocks = Vec::new();
    let mut used = vec![false; system.rows.len()];
    let mut known = vec![false; system.unknowns];
    for block in split::split(&pattern, system.unknowns) {
        if work.solve(&block).is_some() {
            block.rows.iter().for_each(|&row| used[row] = true);
            block
                .unknowns
                .iter()
                .for_each(|&unknown| known[unknown] = true);
            blocks.push(block);
        }
    }
    let over: Vec<usize> = (0..system.rows.len()).filter(|&row| !used[row]).collect();
    let parts = match over.is_empty() && !known.contains(&false) {
        true => Vec::new(),
        false => rest::parts(&pattern, &over, &known),
    };
    let mut unmet: Vec<usize> = parts
        .iter()
        .flat_map(|part| rest::eliminate(system, part, &mut work.values))
        .collect();
    unmet.sort_unstable();
    if !unmet.is_empty() {
        let doubtful = doubtful(&pattern, given, &blocks, &parts, &unmet);
        for values in &mut work.values {
            values
                .iter_mut()
                .zip(&doubtful)
                .filter(|it| *it.1)
                .for_each(|(value, _)| *value = None);
        }
    }
    let parts = parts
        .into_iter()
        .map(|it| it.unknowns)
        .filter(|it| !it.is_empty());
    Solved {
        values: work.values,
        blocks: blocks
            .into_iter()
            .map(|it| it.unknowns)
            .chain(parts)
            .collect(),
        unmet,
    }
}

/// The unknowns that only rows fix which take part in a contradiction: those of an unmet row, unless a given row fixes them, those
/// of the rows that fix these, and so on; and what is worked out from them.
fn doubtful(
    pattern: &[Vec<u32>],
    given: usize,
    blocks: &[Block],
    parts: &[Part],
    unmet: &[usize],
) -> Vec<bool> {
    let mut row_of = FxHashMap::default();
    for block in blocks {
        row_of.extend(
            block
                .unknowns
                .iter()
                .copied()
                .zip(block.rows.iter().copied()),
        );
    }
    let unknowns = blocks
        .iter()
        .map(|it| &it.unknowns)
        .chain(parts.iter().map(|it| &it.unknowns));
    let mut doubtful = vec![false; unknowns.map(Vec::len).sum()];
    let mut rows = unmet.to_vec();
    while let Some(row) = rows.pop() {
        for unknown in pattern[row].iter().map(|&it| it as usize) {
            let fixed_by = row_of.get(&unknown).copied();
            if !doubtful[unknown] && fixed_by.is_none_or(|row| row >= given) {
                doubtful[unknown] = true;
                rows.extend(fixed_by);
            }
        }
    }
    let rows_and_unknowns = blocks
        .iter()
        .map(|it| (&it.rows, &it.unknowns))
        .chain(parts.iter().map(|it| (&it.rows, &it.unknowns)));
    for (rows, unknowns) in rows_and_unknowns {
        if rows
            .iter()
            .any(|&row| pattern[row].iter().any(|&it| doubtful[it as usize]))
        {
            unknowns.iter().for_each(|&it| doubtful[it] = true);
        }
    }
    doubtful
}
