//! Linear equations over the rationals: split into blocks, solved exactly, floating point with a bound beyond the budget.
//!
//! The blocks ([`split`]) are solved one after the other: exactly ([`integer`], [`lifting`]) while their answers are exact and
//! fit the budget, else in floating point with a bound ([`floating`]). What no block fixes is eliminated row by row
//! ([`rest`]), so that nothing is lost that the equations do fix. [`dense`] and [`modular`] are for small matrices elsewhere.

pub mod dense;
mod floating;
mod integer;
mod lifting;
pub mod modular;
mod rest;
mod split;

use dashu_base::BitTest;
use syntax::{Number, Ratio};

use self::floating::Floating;
use self::integer::Whole;
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

/// Equations for `unknowns` unknowns; every row has the same number of right sides. Where there are too many rows, or some
/// contradict each other, the earlier ones count.
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
    /// Rows that the others contradict, for some right side: they are not met. In rising order.
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
            Number::Rounded(value) => Coefficient {
                value: Ratio::try_from(*value).unwrap_or(Ratio::ZERO),
                error: crate::answer::literal_error(*value),
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

    fn answer(&self) -> Answer {
        if self.is_exact() {
            Answer::Exact(self.value.clone())
        } else {
            let (value, bound) = self.approximate();
            Answer::float(value, bound)
        }
    }
}

/// Solves the equations for every right side.
pub fn solve(system: &System, budget: Budget) -> Solved {
    let stands = |it: &&(usize, Coefficient)| !it.1.value.is_zero() || !it.1.is_exact();
    let pattern: Vec<Vec<u32>> = system
        .rows
        .iter()
        .map(|row| {
            row.terms
                .iter()
                .filter(stands)
                .map(|(unknown, _)| *unknown as u32)
                .collect()
        })
        .collect();
    let sides = system.rows.first().map_or(0, |row| row.right.len());
    let mut work = Work {
        system,
        values: vec![vec![None; system.unknowns]; sides],
        left: budget.bits as f64,
    };
    let mut solved = Solved::default();
    let mut used = vec![false; system.rows.len()];
    for block in split::split(&pattern, system.unknowns) {
        if work.solve(&block).is_some() {
            block.rows.iter().for_each(|&row| used[row] = true);
            solved.blocks.push(block.unknowns);
        }
    }
    let mut known = vec![false; system.unknowns];
    solved
        .blocks
        .iter()
        .flatten()
        .for_each(|&unknown| known[unknown] = true);
    let over: Vec<usize> = (0..system.rows.len()).filter(|&row| !used[row]).collect();
    if !over.is_empty() || known.contains(&false) {
        for part in rest::parts(&pattern, &over, &known) {
            solved
                .unmet
                .extend(rest::eliminate(system, &part, &mut work.values));
            if !part.unknowns.is_empty() {
                solved.blocks.push(part.unknowns);
            }
        }
        solved.unmet.sort_unstable();
    }
    solved.values = work.values;
    solved
}

/// The state while blocks are solved.
struct Work<'a> {
    system: &'a System,
    values: Vec<Vec<Option<Answer>>>,
    /// Bits left for exact answers.
    left: f64,
}

impl Work<'_> {
    /// Solves one block; `None` where it is singular or needs what is not known.
    fn solve(&mut self, block: &Block) -> Option<()> {
        let sides = (0..self.values.len())
            .map(|side| self.right_side(block, side))
            .collect::<Option<Vec<_>>>()?;
        let found = if block.rows.len() == 1 {
            self.divide(block, sides)?
        } else {
            self.solve_knot(block, sides)?
        };
        for (values, found) in self.values.iter_mut().zip(found) {
            for (&unknown, answer) in block.unknowns.iter().zip(found) {
                values[unknown] = Some(answer);
            }
        }
        Some(())
    }

    /// The block's right side less what the known unknowns take.
    fn right_side(&self, block: &Block, side: usize) -> Option<Vec<Answer>> {
        let right = |&row: &usize| {
            let row = &self.system.rows[row];
            let mut rest = row.right[side].answer();
            for (unknown, factor) in &row.terms {
                if block.unknowns.binary_search(unknown).is_err()
                    && !(factor.value.is_zero() && factor.is_exact())
                {
                    rest = &rest - &(&factor.answer() * self.values[side][*unknown].as_ref()?);
                }
            }
            Some(rest)
        };
        block.rows.iter().map(right).collect()
    }

    /// One equation for one unknown.
    fn divide(&mut self, block: &Block, sides: Vec<Vec<Answer>>) -> Option<Vec<Vec<Answer>>> {
        let factor = self.system.rows[block.rows[0]]
            .terms
            .iter()
            .find(|it| it.0 == block.unknowns[0])?
            .1
            .answer();
        sides
            .iter()
            .map(|side| Some(vec![self.within_budget(side[0].over(&factor)?)]))
            .collect()
    }

    /// Rounds what no longer fits the budget.
    fn within_budget(&mut self, answer: Answer) -> Answer {
        if let Answer::Exact(ratio) = &answer {
            self.left -= (ratio.numerator().bit_len() + ratio.denominator().bit_len()) as f64;
            if self.left < 0.0 {
                return answer.to_float();
            }
        }
        answer
    }

    /// Several equations that need each other.
    fn solve_knot(&mut self, block: &Block, sides: Vec<Vec<Answer>>) -> Option<Vec<Vec<Answer>>> {
        let rows: Vec<Vec<(usize, &Coefficient)>> = block
            .rows
            .iter()
            .map(|&row| inside(&self.system.rows[row], block))
            .collect();
        let (exact, floating): (Vec<usize>, Vec<usize>) =
            if rows.iter().flatten().all(|(_, it)| it.is_exact()) {
                (0..sides.len()).partition(|&side| sides[side].iter().all(Answer::is_exact))
            } else {
                (Vec::new(), (0..sides.len()).collect())
            };
        let mut found: Vec<Vec<Answer>> = vec![Vec::new(); sides.len()];
        let mut beyond = Vec::new();
        if !exact.is_empty() {
            let whole = Whole::new(
                &rows
                    .iter()
                    .map(|row| {
                        row.iter()
                            .map(|(column, it)| (*column, &it.value))
                            .collect()
                    })
                    .collect::<Vec<_>>(),
            );
            let rights: Vec<_> = exact
                .iter()
                .map(|&side| {
                    whole.right_side(
                        &sides[side]
                            .iter()
                            .map(|it| it.exact().cloned().unwrap_or(Ratio::ZERO))
                            .collect::<Vec<_>>(),
                    )
                })
                .collect();
            let longest = |side: &(Vec<dashu_int::IBig>, dashu_int::UBig)| {
                side.0.iter().map(|it| it.bit_len()).max().unwrap_or(0) + side.1.bit_len()
            };
            let bits: f64 = rights
                .iter()
                .map(|side| rows.len() as f64 * (2.0 * whole.bits() + longest(side) as f64))
                .sum();
            if bits <= self.left {
                for (side, answers) in exact.into_iter().zip(whole.solve(&rights)?) {
                    let bits: usize = answers
                        .iter()
                        .map(|it| it.numerator().bit_len() + it.denominator().bit_len())
                        .sum();
                    self.left -= bits as f64;
                    found[side] = answers.into_iter().map(Answer::Exact).collect();
                }
            } else {
                self.left = 0.0;
                beyond = exact;
            }
        }
        let rounded: Vec<usize> = floating.into_iter().chain(beyond).collect();
        if !rounded.is_empty() {
            let system = Floating {
                rows: rows
                    .iter()
                    .map(|row| {
                        row.iter()
                            .map(|(column, it)| (*column, it.approximate()))
                            .map(|(column, (value, error))| (column, value, error))
                            .collect()
                    })
                    .collect(),
                sides: rounded
                    .iter()
                    .map(|&side| sides[side].iter().map(Answer::approximate).collect())
                    .collect(),
            };
            for (side, answers) in rounded.iter().zip(system.solve()?) {
                found[*side] = answers
                    .into_iter()
                    .map(|(value, bound)| Answer::float(value, bound))
                    .collect();
            }
        }
        Some(found)
    }
}

/// The row's terms in the block, by their position there.
fn inside<'a>(row: &'a Row, block: &Block) -> Vec<(usize, &'a Coefficient)> {
    let place = |(unknown, factor): &'a (usize, Coefficient)| {
        Some((block.unknowns.binary_search(unknown).ok()?, factor))
    };
    row.terms
        .iter()
        .filter_map(place)
        .filter(|(_, it)| !it.value.is_zero() || !it.is_exact())
        .collect()
}
