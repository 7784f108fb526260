//! Square systems in whole numbers, solved exactly: small ones by elimination without fractions, larger ones by lifting.

use dashu_base::{BitTest, Gcd, UnsignedAbs};
use dashu_int::{IBig, UBig};
use syntax::Ratio;

use super::lifting;
use super::modular::{PRIME, SECOND_PRIME};

/// A square matrix in whole numbers, row by row; where rows of fractions were made whole, by what each was multiplied.
pub(super) struct Whole {
    /// Column and entry, zeros left out.
    pub rows: Vec<Vec<(usize, IBig)>>,
    /// What each row was multiplied by.
    scales: Vec<Ratio>,
}

/// The largest size that elimination without fractions solves: above it lifting is quicker (measured).
pub(super) const LARGEST_ELIMINATED: usize = 8;

impl Whole {
    /// Multiplies each row by what makes its entries whole and coprime.
    pub fn new<'a>(rows: impl Iterator<Item = impl Iterator<Item = (usize, &'a Ratio)>>) -> Whole {
        let mut whole = Whole {
            rows: Vec::new(),
            scales: Vec::new(),
        };
        for row in rows {
            let row: Vec<(usize, &Ratio)> = row.collect();
            let denominator = row.iter().fold(UBig::ONE, |all, (_, it)| {
                least_common_multiple(all, it.denominator())
            });
            let mut entries: Vec<(usize, IBig)> = row
                .iter()
                .map(|(column, it)| (*column, it.numerator() * (&denominator / it.denominator())))
                .collect();
            // An entry may be 0 up to its error, and two zeros have no common divisor.
            let divisor = entries
                .iter()
                .filter(|(_, it)| !it.is_zero())
                .fold(UBig::ZERO, |all, (_, it)| all.gcd(it.unsigned_abs()));
            if divisor > UBig::ONE {
                entries.iter_mut().for_each(|(_, it)| *it /= &divisor);
            }
            whole.scales.push(Ratio::from_parts(
                denominator.into(),
                if divisor.is_zero() {
                    UBig::ONE
                } else {
                    divisor
                },
            ));
            whole.rows.push(entries);
        }
        whole
    }

    fn size(&self) -> usize {
        self.rows.len()
    }

    /// At most this many bits has the determinant, and the numerator of every answer besides those of the right side:
    /// the logarithm of the product of the rows' lengths (Hadamard).
    pub fn bits(&self) -> f64 {
        let log2 = |row: &Vec<(usize, IBig)>| {
            let longest = row.iter().map(|(_, it)| it.bit_len()).max().unwrap_or(0);
            longest as f64 + (row.len() as f64).log2() / 2.0
        };
        self.rows.iter().map(log2).sum()
    }

    /// The right side in whole numbers: multiplied by the rows' factors and by the least common denominator, which is given too.
    pub fn right_side(&self, right: &[Ratio]) -> (Vec<IBig>, UBig) {
        let scaled: Vec<Ratio> = right
            .iter()
            .zip(&self.scales)
            .map(|(right, scale)| right * scale)
            .collect();
        let denominator = scaled.iter().fold(UBig::ONE, |all, it| {
            least_common_multiple(all, it.denominator())
        });
        (
            scaled
                .iter()
                .map(|it| it.numerator() * (&denominator / it.denominator()))
                .collect(),
            denominator,
        )
    }

    /// For each right side the exact answer. `None` where the matrix is singular (or, of a large one, seems so to two primes).
    pub fn solve(&self, rights: &[(Vec<IBig>, UBig)]) -> Option<Vec<Vec<Ratio>>> {
        let sides: Vec<&[IBig]> = rights.iter().map(|(side, _)| side.as_slice()).collect();
        let solved = if self.size() <= LARGEST_ELIMINATED {
            eliminate(self.square(&sides), self.size())?
        } else {
            lifting::solve::<PRIME>(&self.rows, &sides)
                .or_else(|| lifting::solve::<SECOND_PRIME>(&self.rows, &sides))?
        };
        let fraction = |numerator: IBig, denominator: &IBig, scale: &UBig| {
            Ratio::from_parts_signed(numerator, denominator * scale)
        };
        Some(
            solved
                .into_iter()
                .zip(rights)
                .map(|((numerators, denominator), (_, scale))| {
                    numerators
                        .into_iter()
                        .map(|it| fraction(it, &denominator, scale))
                        .collect()
                })
                .collect(),
        )
    }

    /// The matrix with the right sides as further columns.
    fn square(&self, sides: &[&[IBig]]) -> Vec<Vec<IBig>> {
        let size = self.size();
        let row = |at: usize, entries: &Vec<(usize, IBig)>| {
            let mut row = vec![IBig::ZERO; size + sides.len()];
            entries
                .iter()
                .for_each(|(column, entry)| row[*column] = entry.clone());
            sides
                .iter()
                .enumerate()
                .for_each(|(k, side)| row[size + k] = side[at].clone());
            row
        };
        self.rows
            .iter()
            .enumerate()
            .map(|(at, entries)| row(at, entries))
            .collect()
    }
}

pub(super) fn least_common_multiple(a: UBig, b: &UBig) -> UBig {
    if b.is_one() || a == *b {
        return a;
    }
    let divisor = (&a).gcd(b);
    a * (b / divisor)
}

/// Numerators and their common denominator.
pub(super) type Fractions = (Vec<IBig>, IBig);

/// Gauss–Jordan elimination without fractions: after each step every entry is a minor of the matrix, so that the division
/// leaves no rest. From memory: Bareiss 1968.
fn eliminate(mut rows: Vec<Vec<IBig>>, size: usize) -> Option<Vec<Fractions>> {
    let mut last = IBig::ONE;
    for step in 0..size {
        let pivot = (step..size)
            .filter(|&row| !rows[row][step].is_zero())
            .min_by_key(|&row| rows[row][step].bit_len())?;
        rows.swap(step, pivot);
        let head = rows[step].clone();
        for (at, row) in rows.iter_mut().enumerate() {
            if at != step {
                let factor = std::mem::take(&mut row[step]);
                for (entry, head_entry) in row[step + 1..].iter_mut().zip(&head[step + 1..]) {
                    *entry = (&head[step] * &*entry - &factor * head_entry) / &last;
                }
            }
        }
        last = head[step].clone();
    }
    let sides = rows.first().map_or(0, |row| row.len() - size);
    Some(
        (0..sides)
            .map(|side| {
                (
                    rows.iter().map(|row| row[size + side].clone()).collect(),
                    last.clone(),
                )
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Its determinant is the first prime, so only the second one sees that it is regular.
    #[test]
    fn a_matrix_singular_to_the_first_prime_alone_is_solved() {
        let (one, prime) = (Ratio::ONE, Ratio::from(PRIME));
        let size = LARGEST_ELIMINATED + 1;
        let row = |at: usize| {
            let diagonal = (at, if at == 0 { &prime } else { &one });
            [diagonal]
                .into_iter()
                .chain((at + 1 < size).then_some((at + 1, &one)))
        };
        let whole = Whole::new((0..size).map(row));
        assert!(lifting::solve::<PRIME>(&whole.rows, &[]).is_none());
        let right = vec![Ratio::ONE; size];
        let answers = whole.solve(&[whole.right_side(&right)]).unwrap();
        // From below every other unknown is 1, those between 0; the topmost is (1 − 0) / p.
        assert_eq!(answers[0][0], Ratio::ONE / prime);
        assert_eq!(answers[0][1..], [0, 1, 0, 1, 0, 1, 0, 1].map(Ratio::from));
    }

    #[test]
    fn a_singular_matrix_is_refused_at_any_size() {
        let one = Ratio::ONE;
        for size in [2, LARGEST_ELIMINATED, LARGEST_ELIMINATED + 1] {
            let whole = Whole::new((0..size).map(|_| (0..size).map(|at| (at, &one))));
            assert_eq!(
                whole.solve(&[whole.right_side(&vec![Ratio::ONE; size])]),
                None
            );
        }
    }
}
