//! One block after the other, each with the unknowns of those before it put in.

use dashu_base::BitTest;
use syntax::Ratio;

use super::floating::Floating;
use super::integer::Whole;
use super::split::Block;
use super::{Budget, Coefficient, Row, System};
use crate::Answer;

/// The state while blocks are solved.
pub(super) struct Work<'a> {
    system: &'a System,
    /// For each right side, for each unknown.
    pub values: Vec<Vec<Option<Answer>>>,
    /// Bits left for exact answers.
    left: f64,
}

/// So many bits a block may take where floating point cannot bound its answer.
const MOST: f64 = 20_000_000.0;

/// Why a block has no exact answer.
enum Refusal {
    /// It would take more bits than are left.
    Beyond,
    /// It has none.
    Singular,
}

/// A block's rows: places in the block and coefficients.
type Rows<'a> = Vec<Vec<(usize, &'a Coefficient)>>;

impl<'a> Work<'a> {
    pub fn new(system: &'a System, sides: usize, budget: Budget) -> Work<'a> {
        Work {
            system,
            values: vec![vec![None; system.unknowns]; sides],
            left: budget.bits as f64,
        }
    }

    /// Solves one block; `None` where it is singular or needs what is not known.
    pub fn solve(&mut self, block: &Block) -> Option<()> {
        let sides = (0..self.values.len())
            .map(|side| self.right_side(block, side))
            .collect::<Option<Vec<_>>>()?;
        let found = match block.rows.len() {
            1 => self.divide(block, &sides)?,
            _ => self.solve_knot(block, &sides)?,
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
            for (unknown, factor) in row.terms.iter().filter(|it| it.1.stands()) {
                if block.unknowns.binary_search(unknown).is_err() {
                    rest = &rest - &(&factor.answer() * self.values[side][*unknown].as_ref()?);
                }
            }
            Some(rest)
        };
        block.rows.iter().map(right).collect()
    }

    /// One equation for one unknown.
    fn divide(&mut self, block: &Block, sides: &[Vec<Answer>]) -> Option<Vec<Vec<Answer>>> {
        let row = &self.system.rows[block.rows[0]];
        let factor = row
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
            self.left -= bits(ratio) as f64;
            if self.left < 0.0 {
                return answer.to_float();
            }
        }
        answer
    }

    /// Several equations that need each other. Right sides that are exact are solved exactly, where the rows are exact too and the
    /// budget allows it, or where floating point cannot bound the answer.
    fn solve_knot(&mut self, block: &Block, sides: &[Vec<Answer>]) -> Option<Vec<Vec<Answer>>> {
        let rows: Rows = block
            .rows
            .iter()
            .map(|&row| inside(&self.system.rows[row], block))
            .collect();
        let rows_are_exact = rows.iter().flatten().all(|(_, it)| it.is_exact());
        let is_exact = |side: &usize| rows_are_exact && sides[*side].iter().all(Answer::is_exact);
        let (exact, mut rounded): (Vec<usize>, Vec<usize>) = (0..sides.len()).partition(is_exact);
        let chosen = |which: &[usize]| {
            which
                .iter()
                .map(|&side| sides[side].as_slice())
                .collect::<Vec<_>>()
        };
        let mut found = vec![Vec::new(); sides.len()];
        let mut put = |which: Vec<usize>, answers: Vec<Vec<Answer>>| {
            which
                .into_iter()
                .zip(answers)
                .for_each(|(side, answers)| found[side] = answers);
        };
        match self.solve_exactly(&rows, &chosen(&exact), self.left) {
            Ok(answers) => put(exact, answers),
            Err(Refusal::Singular) => return None,
            Err(Refusal::Beyond) if rounded.is_empty() => {
                let sides = chosen(&exact);
                let answers = match solve_rounded(&rows, &sides) {
                    Some(answers) => answers,
                    None => self.solve_exactly(&rows, &sides, MOST).ok()?,
                };
                put(exact, answers);
            }
            Err(Refusal::Beyond) => rounded.extend(exact),
        }
        if !rounded.is_empty() {
            let answers = solve_rounded(&rows, &chosen(&rounded))?;
            put(rounded, answers);
        }
        Some(found)
    }

    fn solve_exactly(
        &mut self,
        rows: &Rows,
        sides: &[&[Answer]],
        limit: f64,
    ) -> Result<Vec<Vec<Answer>>, Refusal> {
        if sides.is_empty() {
            return Ok(Vec::new());
        }
        let size = rows.len() as f64;
        // A whole row of two entries is longer than 1: so many bits it takes at least, found out without making rows whole.
        if size * size > limit {
            return Err(Refusal::Beyond);
        }
        let whole = Whole::new(
            rows.iter()
                .map(|row| row.iter().map(|(column, it)| (*column, &it.value))),
        );
        let exact = |side: &[Answer]| {
            side.iter()
                .map(|it| it.exact().cloned().unwrap_or(Ratio::ZERO))
                .collect::<Vec<_>>()
        };
        let rights: Vec<_> = sides
            .iter()
            .map(|side| whole.right_side(&exact(side)))
            .collect();
        let most: f64 = rights
            .iter()
            .map(|(side, scale)| {
                side.iter().map(|it| it.bit_len()).max().unwrap_or(0) + scale.bit_len()
            })
            .map(|longest| size * (2.0 * whole.bits() + longest as f64))
            .sum();
        if most > limit {
            return Err(Refusal::Beyond);
        }
        let answers = whole.solve(&rights).ok_or(Refusal::Singular)?;
        self.left -= answers.iter().flatten().map(bits).sum::<usize>() as f64;
        Ok(answers
            .into_iter()
            .map(|it| it.into_iter().map(Answer::Exact).collect())
            .collect())
    }
}

fn bits(ratio: &Ratio) -> usize {
    ratio.numerator().bit_len() + ratio.denominator().bit_len()
}

fn solve_rounded(rows: &Rows, sides: &[&[Answer]]) -> Option<Vec<Vec<Answer>>> {
    let entry = |(column, it): &(usize, &Coefficient)| {
        let (value, error) = it.approximate();
        (*column, value, error)
    };
    let system = Floating {
        rows: rows
            .iter()
            .map(|row| row.iter().map(entry).collect())
            .collect(),
        sides: sides
            .iter()
            .map(|side| side.iter().map(Answer::approximate).collect())
            .collect(),
    };
    let answers = |it: Vec<(f64, f64)>| {
        it.into_iter()
            .map(|(value, bound)| Answer::float(value, bound))
            .collect()
    };
    Some(system.solve()?.into_iter().map(answers).collect())
}

/// The row's terms in the block, by their place there.
fn inside<'a>(row: &'a Row, block: &Block) -> Vec<(usize, &'a Coefficient)> {
    let place = |(unknown, factor): &'a (usize, Coefficient)| {
        Some((block.unknowns.binary_search(unknown).ok()?, factor))
    };
    row.terms
        .iter()
        .filter(|it| it.1.stands())
        .filter_map(place)
        .collect()
}
