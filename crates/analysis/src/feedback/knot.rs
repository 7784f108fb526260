//! Whether v′ = −W·P·v settles: for every choice of the positive speeds W, for none, or for some.
//!
//! P is the block's matrix with its sign turned, so that a plain inverting amplifier has P > 0. All decisions are exact.
//! Where the tests come from (all from memory): a coefficient of the characteristic polynomial that is not positive rules
//! stability out (Routh, Hurwitz); M-matrices and what compares with them are stable at every speed (Fiedler and Pták;
//! Johnson 1974, Sufficient conditions for D-stability); orders 2 and 3 are settled by the coefficients (Cain 1976); nested
//! positive principal minors allow some stabilising speeds (Fisher and Fuller 1958).

use std::cmp::Ordering;

use dashu_base::Abs;
use syntax::Ratio;

use super::blocks::strongly_connected;
use super::eliminate::Sum;
use super::exact::{
    POLYNOMIAL, compare_root_sum, determinant, is_hurwitz, polynomial, settles_in_doubles, sign,
};
use super::field::scrambled;
use super::{Proof, Verdict};

/// Up to this order all 2ⁿ principal minors are worked out.
const ALL_MINORS: usize = 8;
/// The matrix P of one block, with what the tests need.
pub(crate) struct Knot {
    /// Strongly connected parts: their rows and what is known of each.
    parts: Vec<(Vec<usize>, Part)>,
}

struct Part {
    p: Vec<Vec<Ratio>>,
    /// By set of rows as bits; empty beyond [`ALL_MINORS`].
    minors: Vec<Ratio>,
    determinant: Ratio,
    /// Beyond [`POLYNOMIAL`] the entries are rounded to doubles, or they would grow too long: no proof rests on them.
    rounded: bool,
}

impl Knot {
    /// Prepares the rows of a square matrix.
    pub fn new(p: &[Sum<Ratio>]) -> Knot {
        let mut towards: Vec<Vec<usize>> = vec![Vec::new(); p.len()];
        for (row, line) in p.iter().enumerate() {
            line.iter().for_each(|it| towards[it.0].push(row));
        }
        let parts = strongly_connected(&towards).into_iter().map(|rows| {
            let line = |row: &usize| {
                let mut line = vec![Ratio::ZERO; rows.len()];
                for (column, entry) in &p[*row] {
                    if let Ok(place) = rows.binary_search(column) {
                        line[place] = entry.clone();
                    }
                }
                line
            };
            let part = Part::new(rows.iter().map(line).collect());
            (rows, part)
        });
        Knot {
            parts: parts.collect(),
        }
    }

    /// The strongly connected parts, and whether each has a determinant other than zero.
    pub fn parts(&self) -> impl Iterator<Item = (&[usize], bool)> {
        self.parts
            .iter()
            .map(|(rows, part)| (&rows[..], !part.determinant.is_zero()))
    }

    /// The sign of det P.
    pub fn sign(&self, swapped: &[bool]) -> i8 {
        self.parts
            .iter()
            .map(|(rows, part)| sign(&part.determinant) * turned(rows, swapped))
            .product()
    }

    /// The signs of the diagonal.
    pub fn local_signs(&self) -> Vec<i8> {
        let mut signs = vec![0; self.parts.iter().map(|it| it.0.len()).sum()];
        for (rows, part) in &self.parts {
            rows.iter()
                .enumerate()
                .for_each(|(at, row)| signs[*row] = sign(&part.p[at][at]));
        }
        signs
    }

    /// The verdict with the inputs of some op-amps swapped (their rows negated): the worst of the parts.
    /// [`Verdict::Cancels`] stands for a determinant of zero, whatever the reason.
    pub fn judged(&self, swapped: &[bool]) -> (Verdict, Proof) {
        let all = self.parts.iter().map(|(rows, part)| {
            let swapped: Vec<bool> = rows.iter().map(|it| swapped[*it]).collect();
            let (verdict, proof) = part.judged(&swapped);
            (verdict, if part.rounded { Proof::Sampled } else { proof })
        });
        all.max_by_key(|it| severity(it.0))
            .unwrap_or((Verdict::Negative, Proof::AnySpeed))
    }

    /// Whether the block settles at these speeds (below zero: with the inputs swapped); `None` beyond the order that is worked out exactly.
    pub fn settles(&self, speeds: &[Ratio]) -> Option<bool> {
        let mut all = true;
        for (rows, part) in &self.parts {
            let scaled = rows
                .iter()
                .zip(&part.p)
                .map(|(row, line)| line.iter().map(|it| it * &speeds[*row]).collect());
            all &= is_hurwitz(&polynomial(&scaled.collect::<Vec<_>>())?);
        }
        Some(all)
    }
}

/// Worse verdicts count more.
pub(crate) fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Negative => 0,
        Verdict::NegativeIfAlike => 1,
        Verdict::Marginal => 2,
        Verdict::DependsOnSpeeds => 3,
        Verdict::Positive => 5,
        _ => 4,
    }
}

impl Part {
    fn new(mut p: Vec<Vec<Ratio>>) -> Part {
        let rounded = p.len() > POLYNOMIAL;
        if rounded {
            let near = |it: &Ratio| Ratio::try_from(it.to_f64().value()).unwrap_or(Ratio::ZERO);
            p.iter_mut().flatten().for_each(|it| *it = near(it));
        }
        let minors: Vec<Ratio> = match p.len() {
            0..=ALL_MINORS => (0..1usize << p.len()).map(|set| minor(&p, set)).collect(),
            _ => Vec::new(),
        };
        let determinant = minors.last().cloned().unwrap_or_else(|| determinant(&p));
        Part {
            p,
            minors,
            determinant,
            rounded,
        }
    }

    fn judged(&self, swapped: &[bool]) -> (Verdict, Proof) {
        let size = self.p.len();
        let whole = sign(&self.determinant) * turned(&(0..size).collect::<Vec<_>>(), swapped);
        let diagonal: Vec<i8> = (0..size)
            .map(|i| sign(&self.p[i][i]) * if swapped[i] { -1 } else { 1 })
            .collect();
        match whole {
            0 => return (Verdict::Cancels, Proof::AnySpeed),
            1 if size == 1 => return (Verdict::Negative, Proof::AnySpeed),
            // The characteristic polynomial is negative at 0 and positive far out, whatever the speeds.
            -1 => return (Verdict::Positive, Proof::AnySpeed),
            _ => {}
        }
        if self.compares_with_m_matrix(&diagonal) {
            return (Verdict::Negative, Proof::AnySpeed);
        }
        match self.minors.is_empty() {
            false => self.judged_by_minors(swapped),
            true => self.judged_in_part(swapped, &diagonal),
        }
    }

    fn judged_by_minors(&self, swapped: &[bool]) -> (Verdict, Proof) {
        let size = self.p.len();
        let rows: Vec<usize> = (0..size).collect();
        let members = |set: usize| rows.iter().copied().filter(move |it| set >> it & 1 == 1);
        let signs: Vec<i8> = (0..self.minors.len())
            .map(|set| sign(&self.minors[set]) * turned(&members(set).collect::<Vec<_>>(), swapped))
            .collect();
        let of_order = |order: u32| (1..signs.len()).filter(move |set| set.count_ones() == order);

        let coefficients = |speeds: &[Ratio]| {
            let mut coefficients = vec![Ratio::ZERO; size + 1];
            for (set, minor) in self.minors.iter().enumerate() {
                let flipped = turned(&members(set).collect::<Vec<_>>(), swapped);
                let weight =
                    members(set).fold(Ratio::from(flipped), |product, it| product * &speeds[it]);
                coefficients[set.count_ones() as usize] += weight * minor;
            }
            coefficients
        };
        let settles = |speeds: &[Ratio]| is_hurwitz(&coefficients(speeds));
        let alike = vec![Ratio::ONE; size];

        // Each coefficient is a sum of the minors of its order times positive products of speeds. One that is not positive
        // means a growing root, but for even polynomials: their roots come in pairs ±, on the axis at best.
        let barren = |order: u32| of_order(order).all(|set| signs[set] <= 0);
        if (1..=size as u32).any(barren) {
            let is_even = (1..=size as u32)
                .step_by(2)
                .all(|odd| of_order(odd).all(|set| signs[set] == 0));
            if !is_even || (2..=size as u32).step_by(2).any(barren) {
                return (Verdict::Positive, Proof::AnySpeed);
            }
            let c = coefficients(&alike);
            return match size {
                2 => (Verdict::Marginal, Proof::AnySpeed),
                4 if &c[2] * &c[2] >= Ratio::from(4) * &c[4] => (Verdict::Marginal, Proof::Alike),
                4 => (Verdict::Positive, Proof::Alike),
                _ => (Verdict::Positive, Proof::Sampled),
            };
        }
        let no_negative = signs.iter().all(|it| *it >= 0);
        if no_negative && (size == 2 || size == 3 && self.third_order_settles()) {
            return (Verdict::Negative, Proof::AnySpeed);
        }

        match settles(&alike) {
            true if no_negative && size > 3 && samples(size).all(|speeds| settles(&speeds)) => {
                (Verdict::NegativeIfAlike, Proof::Sampled)
            }
            true => (Verdict::NegativeIfAlike, Proof::Alike),
            false if nested(&signs) || samples(size).any(|speeds| settles(&speeds)) => {
                (Verdict::DependsOnSpeeds, Proof::Alike)
            }
            // Not alike, nor at any of the speeds tried; but nothing rules out that some others would do.
            false => (Verdict::DependsOnSpeeds, Proof::Sampled),
        }
    }

    /// Beyond [`ALL_MINORS`]: minors of orders 1 and 2, and like op-amps.
    fn judged_in_part(&self, swapped: &[bool], diagonal: &[i8]) -> (Verdict, Proof) {
        let size = self.p.len();
        let two = |i: usize, j: usize| {
            let minor = &self.p[i][i] * &self.p[j][j] - &self.p[i][j] * &self.p[j][i];
            sign(&minor) * turned(&[i, j], swapped)
        };
        let no_pair = || (0..size).all(|i| (0..i).all(|j| two(i, j) <= 0));
        if diagonal.iter().all(|it| *it <= 0) && diagonal.iter().any(|it| *it < 0) || no_pair() {
            return (Verdict::Positive, Proof::AnySpeed);
        }
        let mut p = self.p.clone();
        for line in p.iter_mut().zip(swapped).filter(|it| *it.1).map(|it| it.0) {
            line.iter_mut()
                .for_each(|it| *it = -std::mem::replace(it, Ratio::ZERO));
        }
        let alike = match polynomial(&p) {
            Some(coefficients) => is_hurwitz(&coefficients),
            None => settles_in_doubles(&p),
        };
        match alike {
            true => (Verdict::NegativeIfAlike, Proof::Sampled),
            false => (Verdict::DependsOnSpeeds, Proof::Sampled),
        }
    }

    /// Diagonal positive, and the matrix with |P_ii| on the diagonal and −|P_ij| elsewhere is an M-matrix: elimination
    /// without exchanges meets positive pivots alone.
    fn compares_with_m_matrix(&self, diagonal: &[i8]) -> bool {
        if diagonal.iter().any(|it| *it <= 0) {
            return false;
        }
        let mut left: Vec<Vec<Ratio>> = self.p.clone();
        for (i, line) in left.iter_mut().enumerate() {
            for (j, it) in line.iter_mut().enumerate() {
                if (sign(it) < 0) == (i == j) {
                    *it = -std::mem::replace(it, Ratio::ZERO);
                }
            }
        }
        for k in 0..left.len() {
            if sign(&left[k][k]) <= 0 {
                return false;
            }
            let (above, below) = left.split_at_mut(k + 1);
            let pivots = &above[k];
            for line in below {
                let factor = &line[k] / &pivots[k];
                for (it, pivot) in line.iter_mut().zip(pivots).skip(k) {
                    *it -= &factor * pivot;
                }
            }
        }
        true
    }

    /// Order 3, no negative minor: (Σ √(P_ii·m_i))² against det, m_i the minor without i. The least value of
    /// E₁·E₂ / (w₁w₂w₃) over all speeds is that square (Cauchy, Schwarz); stable means that it stays above det. On equality
    /// it does where no speeds attain the least value: where exactly one of P_ii, m_i is zero.
    fn third_order_settles(&self) -> bool {
        let pairs: Vec<(&Ratio, &Ratio)> = (0..3)
            .map(|i| (&self.minors[1 << i], &self.minors[7 ^ 1 << i]))
            .collect();
        // Swaps change neither the products' sizes nor, where all minors are positive, their signs.
        let products: Vec<Ratio> = pairs.iter().map(|(a, b)| (*a * *b).abs()).collect();
        match compare_root_sum(&products, &self.determinant.clone().abs()) {
            Ordering::Greater => true,
            Ordering::Equal => pairs.iter().any(|(a, b)| a.is_zero() != b.is_zero()),
            Ordering::Less => false,
        }
    }
}

/// Whether a chain of sets, each one row more than the last, has positive minors all the way.
fn nested(signs: &[i8]) -> bool {
    let mut reached = vec![false; signs.len()];
    reached[0] = true;
    for set in 1..signs.len() {
        reached[set] = signs[set] > 0
            && (0..usize::BITS).any(|it| set >> it & 1 == 1 && reached[set ^ 1usize << it]);
    }
    reached[signs.len() - 1]
}

/// Sets of speeds from 1/1000 to 1000, always the same ones.
fn samples(size: usize) -> impl Iterator<Item = Vec<Ratio>> {
    let speed = |salt: u64| {
        let exponent = (scrambled(salt) % 13) as i32 - 6;
        let steps = |count: i32| (0..count).fold(Ratio::ONE, |product, _| product * Ratio::from(3));
        if exponent < 0 {
            Ratio::ONE / steps(-exponent)
        } else {
            steps(exponent)
        }
    };
    (1..=32u64).map(move |nth| (0..size as u64).map(|row| speed(nth << 32 | row)).collect())
}

/// The determinant of the rows and columns in `set`.
fn minor(p: &[Vec<Ratio>], set: usize) -> Ratio {
    let rows: Vec<usize> = (0..p.len()).filter(|it| set >> it & 1 == 1).collect();
    determinant(
        &rows
            .iter()
            .map(|i| rows.iter().map(|j| p[*i][*j].clone()).collect())
            .collect::<Vec<_>>(),
    )
}

/// −1 for an odd number of swaps among these rows.
fn turned(rows: &[usize], swapped: &[bool]) -> i8 {
    if rows.iter().filter(|it| swapped[**it]).count() % 2 == 1 {
        -1
    } else {
        1
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    fn knot(p: &[Vec<Ratio>]) -> Knot {
        let line = |line: &Vec<Ratio>| {
            line.iter()
                .cloned()
                .enumerate()
                .filter(|it| !it.1.is_zero())
                .collect()
        };
        Knot::new(&p.iter().map(line).collect::<Vec<_>>())
    }

    /// The largest real part of the poles of v′ = −W·P·v in doubles, against the size of the largest pole.
    fn growth(p: &[Vec<Ratio>], speeds: &[f64]) -> f64 {
        let size = p.len();
        let entry = |i: usize, j: usize| -speeds[i] * p[i][j].to_f64().value();
        let poles = nalgebra::DMatrix::from_fn(size, size, entry).complex_eigenvalues();
        let largest = poles
            .iter()
            .map(|it| it.norm())
            .fold(f64::MIN_POSITIVE, f64::max);
        poles.iter().map(|it| it.re).fold(f64::MIN, f64::max) / largest
    }

    #[test]
    fn verdicts_on_random_matrices_agree_with_their_poles_at_many_speeds() {
        let mut salt = 0;
        let mut next = |below: u64| {
            salt += 1;
            (scrambled(salt) % below) as i64
        };
        let mut seen = BTreeMap::new();
        for round in 0..6000 {
            let size = 1 + round % 4;
            let p: Vec<Vec<Ratio>> = (0..size)
                .map(|i| {
                    (0..size)
                        .map(|j| Ratio::from(next(9) - if i == j { 2 } else { 4 }))
                        .collect()
                })
                .collect();
            let speeds: Vec<Vec<f64>> = (0..12)
                .map(|nth| {
                    (0..size)
                        .map(|_| {
                            if nth == 0 {
                                1.0
                            } else {
                                10f64.powi(next(7) as i32 - 3)
                            }
                        })
                        .collect()
                })
                .collect();
            let (verdict, proof) = knot(&p).judged(&vec![false; size]);
            let rates: Vec<f64> = speeds.iter().map(|it| growth(&p, it)).collect();
            // Multiple poles in doubles: the error of an n-fold one is the n-th root of the rounding.
            const SLACK: f64 = 1e-3;
            let right = match verdict {
                Verdict::Negative => rates.iter().all(|it| *it < SLACK),
                Verdict::Positive => rates.iter().all(|it| *it > -SLACK),
                Verdict::NegativeIfAlike => rates[0] < SLACK,
                Verdict::DependsOnSpeeds => rates[0] > -SLACK,
                Verdict::Marginal => rates[0].abs() < SLACK,
                _ => determinant(&p).is_zero(),
            };
            assert!(right, "{verdict:?} {proof:?} {rates:?} {p:?}");
            *seen.entry((format!("{verdict:?}"), size)).or_insert(0) += 1;
        }
        for verdict in ["Negative", "Positive", "NegativeIfAlike", "DependsOnSpeeds"] {
            for size in 2..=4 {
                let count = seen.get(&(verdict.to_string(), size)).copied().unwrap_or(0);
                assert!(count > 5, "{verdict} of order {size}: {seen:?}");
            }
        }
    }

    #[test]
    fn large_blocks_agree_with_small_ones() {
        // A ring of op-amps with strong ways of their own compares with an M-matrix; one turned is positive.
        let size = 12;
        let ring = |first: i64| -> Vec<Vec<Ratio>> {
            let entry = |i: usize, j: usize| match (i, j) {
                (0, 0) => first,
                _ if i == j => 3,
                _ if j == (i + 1) % size => -2,
                _ => 0,
            };
            (0..size)
                .map(|i| (0..size).map(|j| Ratio::from(entry(i, j))).collect())
                .collect()
        };
        assert_eq!(
            knot(&ring(3)).judged(&vec![false; size]),
            (Verdict::Negative, Proof::AnySpeed)
        );
        let mut swapped = vec![false; size];
        swapped[4] = true;
        assert_eq!(
            knot(&ring(3)).judged(&swapped),
            (Verdict::Positive, Proof::AnySpeed)
        );
        assert_eq!(
            knot(&ring(0)).judged(&vec![false; size]).0,
            Verdict::Positive
        );
    }
}
