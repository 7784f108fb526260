//! Exact answers of large sparse systems by lifting: solve modulo a prime, then digit by digit in powers of it, until
//! fractions fit. From memory: Dixon 1982; the fractions by Wang's bounded Euclid.
//!
//! With x₀ + x₁p + … the answer's digits, each digit is A⁻¹r mod p and the residual goes on as r ← (r − A·digit)/p. An
//! answer is accepted only where A·numerators = denominator·b holds in whole numbers, which proves it.

use dashu_base::{BitTest, DivRem, UnsignedAbs};
use dashu_int::{IBig, UBig};

use super::integer::Fractions;
use super::modular::Modular;

/// For each right side numerators and a common denominator; `None` where the matrix is singular modulo `P`.
pub(super) fn solve<const P: u64>(
    rows: &[Vec<(usize, IBig)>],
    sides: &[&[IBig]],
) -> Option<Vec<Fractions>> {
    let factors = Factors::<P>::new(rows)?;
    let matrix = Matrix::new(rows);
    let mut denominator = UBig::ONE;
    sides
        .iter()
        .map(|side| {
            let found = lift(&factors, &matrix, side, &denominator)?;
            denominator = found.1.clone().unsigned_abs();
            Some(found)
        })
        .collect()
}

/// The rows, and again as machine words where all of them fit with room for the residual's sums.
struct Matrix<'a> {
    rows: &'a [Vec<(usize, IBig)>],
    words: Option<Vec<Vec<(usize, i64)>>>,
    /// More bits than numerator and denominator of an answer together can have, the right side's left out.
    bits: usize,
}

impl<'a> Matrix<'a> {
    fn new(rows: &'a [Vec<(usize, IBig)>]) -> Matrix<'a> {
        let small = |row: &Vec<(usize, IBig)>| {
            let words: Option<Vec<(usize, i64)>> = row
                .iter()
                .map(|(column, it)| Some((*column, i64::try_from(it).ok()?)))
                .collect();
            // Σ|a| < 2⁶² keeps the residual within 2⁶³ and every sum of products below 2¹²⁶.
            words.filter(|words| {
                words
                    .iter()
                    .map(|(_, it)| it.unsigned_abs() as u128)
                    .sum::<u128>()
                    < 1 << 62
            })
        };
        let bits = |row: &Vec<(usize, IBig)>| {
            row.iter().map(|(_, it)| it.bit_len()).max().unwrap_or(0)
                + row.len().ilog2() as usize / 2
                + 1
        };
        Matrix {
            rows,
            words: rows.iter().map(small).collect(),
            bits: 2 * rows.iter().map(bits).sum::<usize>(),
        }
    }

    /// Whether A·numerators = denominator·b, in whole numbers.
    fn proves(&self, numerators: &[IBig], denominator: &UBig, side: &[IBig]) -> bool {
        self.rows.iter().zip(side).all(|(row, right)| {
            let sum = row.iter().fold(IBig::ZERO, |sum, (column, entry)| {
                sum + entry * &numerators[*column]
            });
            sum == right * denominator
        })
    }
}

/// The residual, in machine words once it fits.
enum Residual {
    Words(Vec<i128>),
    Whole(Vec<IBig>),
}

fn lift<const P: u64>(
    factors: &Factors<P>,
    matrix: &Matrix,
    side: &[IBig],
    guess: &UBig,
) -> Option<Fractions> {
    let longest = side.iter().map(|it| it.bit_len()).max().unwrap_or(0);
    let most = (matrix.bits + 2 * longest + SPARE_BITS + 64) / 60 + 2;
    let mut digits: Vec<Vec<u64>> = Vec::new();
    let mut residual = Residual::Whole(side.to_vec());
    let mut next_try = 2;
    while digits.len() < most {
        let digit = match &residual {
            Residual::Words(words) => factors.solve(
                words
                    .iter()
                    .map(|&it| Modular::new(it.rem_euclid(P as i128) as u64))
                    .collect(),
            ),
            Residual::Whole(whole) => {
                factors.solve(whole.iter().map(Modular::of_integer).collect())
            }
        };
        residual = carry_on::<P>(matrix, residual, &digit);
        digits.push(digit);
        if digits.len() >= next_try || digits.len() == most {
            if let Some(found) = fractions::<P>(&digits, guess)
                && matrix.proves(&found.0, &found.1, side)
            {
                return Some((found.0, found.1.into()));
            }
            next_try = next_try * 8 / 5 + 1;
        }
    }
    None
}

/// r ← (r − A·digit)/p
fn carry_on<const P: u64>(matrix: &Matrix, residual: Residual, digit: &[u64]) -> Residual {
    if let (Residual::Words(words), Some(rows)) = (&residual, &matrix.words) {
        let next = words.iter().zip(rows).map(|(&right, row)| {
            let sum: i128 = row
                .iter()
                .map(|(column, entry)| *entry as i128 * digit[*column] as i128)
                .sum();
            (right - sum) / P as i128
        });
        return Residual::Words(next.collect());
    }
    let Residual::Whole(whole) = residual else {
        return residual;
    };
    let prime = IBig::from(P);
    let next: Vec<IBig> = whole
        .into_iter()
        .zip(matrix.rows)
        .map(|(right, row)| {
            row.iter()
                .fold(right, |rest, (column, entry)| rest - entry * digit[*column])
                / &prime
        })
        .collect();
    // Once below 2⁶³ it stays there: |r| / p + Σ|a| < 2⁶³.
    let words = next
        .iter()
        .map(|it| i64::try_from(it).ok().map(i128::from))
        .collect::<Option<Vec<i128>>>();
    match words {
        Some(words) if matrix.words.is_some() => Residual::Words(words),
        _ => Residual::Whole(next),
    }
}

/// A wrong fraction passes with a chance of about 2 to minus this many; the proof catches it.
const SPARE_BITS: usize = 40;

/// Fractions with these digits. `guess` is a denominator that is probably right, or divides the right one.
fn fractions<const P: u64>(digits: &[Vec<u64>], guess: &UBig) -> Option<(Vec<IBig>, UBig)> {
    let prime = UBig::from(P);
    let modulus = prime.pow(digits.len());
    let half = &modulus >> 1;
    let mut denominator = guess.clone();
    if denominator.bit_len() + SPARE_BITS >= modulus.bit_len() {
        return None;
    }
    let mut numerators: Vec<IBig> = Vec::new();
    for unknown in 0..digits[0].len() {
        let number = digits.iter().rev().fold(UBig::ZERO, |number, digit| {
            number * &prime + UBig::from(digit[unknown])
        });
        let times = number * &denominator % &modulus;
        let centred = |number: UBig| {
            if number > half {
                IBig::from(number) - IBig::from(modulus.clone())
            } else {
                number.into()
            }
        };
        // Most answers have the denominator of those before: then this is the numerator, and small.
        let numerator = centred(times.clone());
        if numerator.bit_len() + denominator.bit_len() + SPARE_BITS < modulus.bit_len() {
            numerators.push(numerator);
            continue;
        }
        let (numerator, further) = fraction(&times, &modulus)?;
        denominator *= &further;
        if numerator.bit_len() + denominator.bit_len() + SPARE_BITS >= modulus.bit_len() {
            return None;
        }
        numerators.iter_mut().for_each(|it| *it *= &further);
        numerators.push(numerator);
    }
    Some((numerators, denominator))
}

/// The fraction n/d ≡ `number` with n and d both of at most half the modulus' bits.
fn fraction(number: &UBig, modulus: &UBig) -> Option<(IBig, UBig)> {
    let half = modulus.bit_len() / 2;
    let (mut r, mut next_r) = (modulus.clone(), number.clone());
    let (mut t, mut next_t) = (IBig::ZERO, IBig::ONE);
    while next_r.bit_len() > half {
        let (quotient, rest) = (&r).div_rem(&next_r);
        let next = t - IBig::from(quotient) * &next_t;
        (t, next_t) = (next_t, next);
        (r, next_r) = (next_r, rest);
    }
    if next_t.is_zero() || next_t.bit_len() > half + 1 {
        return None;
    }
    let numerator = IBig::from(next_r);
    let negative = next_t < IBig::ZERO;
    Some((
        if negative { -numerator } else { numerator },
        next_t.unsigned_abs(),
    ))
}

/// A sparse matrix modulo `P`, taken apart by elimination.
struct Factors<const P: u64> {
    steps: Vec<Step<P>>,
}

/// One step: `row`'s entry at `column` is the pivot.
struct Step<const P: u64> {
    row: usize,
    column: usize,
    inverse: Modular<P>,
    /// How many times the pivot's row was taken from which rows.
    below: Vec<(usize, Modular<P>)>,
    /// What else stood in the pivot's row.
    beside: Vec<(usize, Modular<P>)>,
}

impl<const P: u64> Factors<P> {
    /// `None` where it is singular modulo `P`. The pivot is taken from the row with the fewest entries, there in the column
    /// with the fewest (after Markowitz), so that little fills in.
    fn new(rows: &[Vec<(usize, IBig)>]) -> Option<Factors<P>> {
        let size = rows.len();
        let mut rows: Vec<Vec<(usize, Modular<P>)>> = rows
            .iter()
            .map(|row| {
                let mut row: Vec<_> = row
                    .iter()
                    .map(|(column, it)| (*column, Modular::of_integer(it)))
                    .collect();
                row.retain(|(_, it)| *it != Modular::ZERO);
                row.sort_unstable_by_key(|(column, _)| *column);
                row
            })
            .collect();
        // The rows that hold each column; some no longer do.
        let mut holders = vec![Vec::new(); size];
        for (row, entries) in rows.iter().enumerate() {
            entries
                .iter()
                .for_each(|(column, _)| holders[*column].push(row));
        }
        let mut done = vec![false; size];
        let mut steps = Vec::with_capacity(size);
        // Rows by number of entries, so that the shortest is at hand; an entry whose number is out of date is passed over.
        let mut queue: std::collections::BTreeSet<(usize, usize)> = rows
            .iter()
            .enumerate()
            .map(|(row, it)| (it.len(), row))
            .collect();
        while let Some((_, row)) = queue.pop_first() {
            done[row] = true;
            let head = std::mem::take(&mut rows[row]);
            let &(column, pivot) = head
                .iter()
                .min_by_key(|(column, _)| holders[*column].len())?;
            let inverse = pivot.inverse()?;
            let beside: Vec<_> = head
                .iter()
                .copied()
                .filter(|(it, _)| *it != column)
                .collect();
            let mut below = Vec::new();
            let mut others = std::mem::take(&mut holders[column]);
            others.sort_unstable();
            others.dedup();
            for other in others {
                if done[other] {
                    continue;
                }
                let Ok(at) = rows[other].binary_search_by_key(&column, |(it, _)| *it) else {
                    continue;
                };
                let factor = rows[other][at].1 * inverse;
                queue.remove(&(rows[other].len(), other));
                rows[other].remove(at);
                rows[other] = less(&rows[other], factor, &beside, |filled| {
                    holders[filled].push(other)
                });
                queue.insert((rows[other].len(), other));
                below.push((other, factor));
            }
            steps.push(Step {
                row,
                column,
                inverse,
                below,
                beside,
            });
        }
        Some(Factors { steps })
    }

    /// A⁻¹·right, its representatives.
    fn solve(&self, mut right: Vec<Modular<P>>) -> Vec<u64> {
        for step in &self.steps {
            let head = right[step.row];
            if head != Modular::ZERO {
                step.below
                    .iter()
                    .for_each(|(row, factor)| right[*row] = right[*row] - *factor * head);
            }
        }
        let mut found = vec![Modular::ZERO; right.len()];
        for step in self.steps.iter().rev() {
            let known = step
                .beside
                .iter()
                .fold(Modular::ZERO, |sum, (column, entry)| {
                    sum + *entry * found[*column]
                });
            found[step.column] = (right[step.row] - known) * step.inverse;
        }
        found.into_iter().map(Modular::value).collect()
    }
}

/// `row − factor·head`, both by rising column; tells which columns it gained.
fn less<const P: u64>(
    row: &[(usize, Modular<P>)],
    factor: Modular<P>,
    head: &[(usize, Modular<P>)],
    mut gained: impl FnMut(usize),
) -> Vec<(usize, Modular<P>)> {
    let mut result = Vec::with_capacity(row.len() + head.len());
    let (mut row, mut head) = (
        row.iter().copied().peekable(),
        head.iter().copied().peekable(),
    );
    loop {
        match (row.peek().copied(), head.peek().copied()) {
            (Some((column, entry)), Some((other, _))) if column < other => {
                result.push((column, entry));
                row.next();
            }
            (Some((column, entry)), Some((other, taken))) if column == other => {
                let rest = entry - factor * taken;
                if rest != Modular::ZERO {
                    result.push((column, rest));
                }
                row.next();
                head.next();
            }
            (_, Some((other, taken))) => {
                gained(other);
                result.push((other, -(factor * taken)));
                head.next();
            }
            (Some(rest), None) => {
                result.push(rest);
                row.next();
            }
            (None, None) => return result,
        }
    }
}
