//! Whether v′ = −W·P·v settles: for every choice of the positive speeds W, for none, or for some.
//!
//! P is the block's matrix with its sign turned, so that a plain inverting amplifier has P > 0. All decisions are exact.
//! Where the tests come from (all from memory): a coefficient of the characteristic polynomial that is not positive rules
//! stability out (Routh, Hurwitz); M-matrices and what compares with them are stable at every speed (Fiedler and Pták;
//! Johnson 1974, Sufficient conditions for D-stability); orders 2 and 3 are settled by the coefficients (Cain 1976); nested
//! positive principal minors allow some stabilising speeds (Fisher and Fuller 1958).

use std::cmp::Ordering;

use dashu_base::{BitTest, Sign, SquareRoot, UnsignedAbs};
use dashu_int::{IBig, UBig};
use syntax::Ratio;

use super::blocks::strongly_connected;
use super::field::scrambled;
use super::{Proof, Verdict};

/// Up to this order all 2ⁿ principal minors are worked out.
const ALL_MINORS: usize = 8;
/// Up to this order the characteristic polynomial is worked out exactly.
const POLYNOMIAL: usize = 24;

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
}

impl Knot {
    /// Prepares a square matrix.
    pub fn new(p: &[Vec<Ratio>]) -> Knot {
        let towards: Vec<Vec<usize>> = (0..p.len())
            .map(|j| (0..p.len()).filter(|i| !p[*i][j].is_zero()).collect())
            .collect();
        let parts = strongly_connected(&towards).into_iter().map(|rows| {
            let part = Part::new(
                rows.iter()
                    .map(|i| rows.iter().map(|j| p[*i][*j].clone()).collect())
                    .collect(),
            );
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
            part.judged(&swapped)
        });
        all.max_by_key(|it| severity(it.0))
            .unwrap_or((Verdict::Negative, Proof::AnySpeed))
    }

    /// Whether the block settles at these speeds; `None` beyond the order that is worked out exactly.
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
    fn new(p: Vec<Vec<Ratio>>) -> Part {
        let minors: Vec<Ratio> = match p.len() {
            0..=ALL_MINORS => (0..1usize << p.len()).map(|set| minor(&p, set)).collect(),
            _ => Vec::new(),
        };
        let determinant = minors.last().cloned().unwrap_or_else(|| determinant(&p));
        Part {
            p,
            minors,
            determinant,
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

        // Each coefficient is a sum of the minors of its order times positive products of speeds.
        if (1..=size as u32).any(|order| of_order(order).all(|set| signs[set] <= 0)) {
            let even = (1..=size as u32)
                .step_by(2)
                .all(|odd| of_order(odd).all(|set| signs[set] == 0));
            // An even polynomial has its roots in pairs ±: on the axis at best. Any other gap is a growing root.
            return match (even, size) {
                (true, 2) => (Verdict::Marginal, Proof::AnySpeed),
                (true, _) => (Verdict::Marginal, Proof::Sampled),
                (false, _) => (Verdict::Positive, Proof::AnySpeed),
            };
        }
        let no_negative = signs.iter().all(|it| *it >= 0);
        if no_negative && (size == 2 || size == 3 && self.third_order_settles()) {
            return (Verdict::Negative, Proof::AnySpeed);
        }

        let settles = |speeds: &[Ratio]| {
            let mut coefficients = vec![Ratio::ZERO; size + 1];
            for (set, minor) in self.minors.iter().enumerate() {
                let flipped = turned(&members(set).collect::<Vec<_>>(), swapped);
                let weight =
                    members(set).fold(Ratio::from(flipped), |product, it| product * &speeds[it]);
                coefficients[set.count_ones() as usize] += weight * minor;
            }
            is_hurwitz(&coefficients)
        };
        let alike = settles(&vec![Ratio::ONE; size]);
        match alike {
            true if no_negative && size > 3 && samples(size).all(|speeds| settles(&speeds)) => {
                (Verdict::NegativeIfAlike, Proof::Sampled)
            }
            true => (Verdict::NegativeIfAlike, Proof::Alike),
            false if nested(&signs) || samples(size).any(|speeds| settles(&speeds)) => {
                (Verdict::DependsOnSpeeds, Proof::Alike)
            }
            // Not alike, at none of the speeds tried, and nothing says that some others would do.
            false => (Verdict::Positive, Proof::Sampled),
        }
    }

    /// Beyond [`ALL_MINORS`]: minors of orders 1 and 2, like op-amps, a few sets of speeds.
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
        let scaled = |speeds: &[Ratio]| -> Vec<Vec<Ratio>> {
            let line = |i: usize| {
                let factor = if swapped[i] {
                    -speeds[i].clone()
                } else {
                    speeds[i].clone()
                };
                self.p[i].iter().map(|it| it * &factor).collect()
            };
            (0..size).map(line).collect()
        };
        let settles = |speeds: &[Ratio]| match polynomial(&scaled(speeds)) {
            Some(coefficients) => is_hurwitz(&coefficients),
            None => settles_in_doubles(&scaled(speeds)),
        };
        match settles(&vec![Ratio::ONE; size]) {
            true => (Verdict::NegativeIfAlike, Proof::Sampled),
            false if samples(size).take(8).any(|speeds| settles(&speeds)) => {
                (Verdict::DependsOnSpeeds, Proof::Sampled)
            }
            false => (Verdict::Positive, Proof::Sampled),
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
            for i in k + 1..left.len() {
                let factor = &left[i][k] / &left[k][k];
                for j in k..left.len() {
                    let less = &factor * &left[k][j];
                    left[i][j] -= less;
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
        let products: Vec<Ratio> = pairs.iter().map(|(a, b)| positive(&(*a * *b))).collect();
        match compare_root_sum(&products, &positive(&self.determinant)) {
            Ordering::Greater => true,
            Ordering::Equal => pairs.iter().any(|(a, b)| a.is_zero() != b.is_zero()),
            Ordering::Less => false,
        }
    }
}

/// Compares (Σ √a)² with `square`, for a ≥ 0 and square > 0; exact.
fn compare_root_sum(terms: &[Ratio], square: &Ratio) -> Ordering {
    // Times the common denominator squared, all roots are of whole numbers X and the difference is an algebraic integer
    // with at most 16 conjugates, each at most B in size: it is zero, or at least 1/B^15.
    let scale = terms
        .iter()
        .chain([square])
        .fold(UBig::ONE, |all, it| all * it.denominator());
    let whole = |it: &Ratio| -> UBig {
        (it.numerator().unsigned_abs() * scale.clone() * scale.clone()) / it.denominator().clone()
    };
    let bound: usize = terms
        .iter()
        .chain([square])
        .map(|it| whole(it).bit_len() / 2 + 1)
        .max()
        .unwrap_or(0)
        + 2;
    let digits = 15 * bound + 4;
    let root = |it: &Ratio| IBig::from((whole(it) << (2 * digits)).sqrt());
    let sum = terms.iter().fold(IBig::ZERO, |sum, it| sum + root(it));
    let difference = sum - root(square);
    // Each root is short by less than 1.
    let error = IBig::from(terms.len() + 1);
    if difference > error {
        Ordering::Greater
    } else if difference < -error {
        Ordering::Less
    } else {
        Ordering::Equal
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

/// The coefficients E_k of det(s + P) = Σ E_k·s^(n−k), by the method of Faddeev and Le Verrier; `None` for large ones.
fn polynomial(p: &[Vec<Ratio>]) -> Option<Vec<Ratio>> {
    let size = p.len();
    if size > POLYNOMIAL {
        return None;
    }
    let mut power: Vec<Vec<Ratio>> = vec![vec![Ratio::ZERO; size]; size];
    let mut coefficients = vec![Ratio::ONE];
    for order in 1..=size {
        // power ← P·(E − power), with E the coefficient before: the traces then alternate out of the signs.
        let last = coefficients[order - 1].clone();
        let inner: Vec<Vec<Ratio>> = (0..size)
            .map(|i| {
                (0..size)
                    .map(|j| {
                        if i == j {
                            &last - &power[i][j]
                        } else {
                            -power[i][j].clone()
                        }
                    })
                    .collect()
            })
            .collect();
        power = (0..size)
            .map(|i| {
                (0..size)
                    .map(|j| {
                        (0..size)
                            .map(|k| &p[i][k] * &inner[k][j])
                            .fold(Ratio::ZERO, |a, b| a + b)
                    })
                    .collect()
            })
            .collect();
        let trace = (0..size).fold(Ratio::ZERO, |sum, i| sum + &power[i][i]);
        coefficients.push(trace / Ratio::from(order));
    }
    Some(coefficients)
}

/// Whether all roots lie strictly to the left (Routh's array, exact); highest power first, the first coefficient positive.
fn is_hurwitz(coefficients: &[Ratio]) -> bool {
    let mut above: Vec<Ratio> = coefficients.iter().step_by(2).cloned().collect();
    let mut below: Vec<Ratio> = coefficients.iter().skip(1).step_by(2).cloned().collect();
    while let Some(pivot) = below.first().cloned() {
        if sign(&pivot) <= 0 {
            return false;
        }
        let factor = &above[0] / &pivot;
        let next = (1..above.len())
            .map(|k| &above[k] - &factor * below.get(k).unwrap_or(&Ratio::ZERO))
            .collect();
        above = std::mem::replace(&mut below, next);
    }
    true
}

fn settles_in_doubles(p: &[Vec<Ratio>]) -> bool {
    let matrix = nalgebra::DMatrix::from_fn(p.len(), p.len(), |i, j| p[i][j].to_f64().value());
    let slack = 1e-9 * matrix.norm();
    match nalgebra::Schur::try_new(matrix, f64::EPSILON, 10_000) {
        Some(schur) => schur.complex_eigenvalues().iter().all(|it| it.re > slack),
        None => false,
    }
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

/// Denominators cleared row by row, then elimination without fractions (Bareiss).
pub(crate) fn determinant(p: &[Vec<Ratio>]) -> Ratio {
    let size = p.len();
    let mut scale = UBig::ONE;
    let mut left: Vec<Vec<IBig>> = Vec::with_capacity(size);
    for line in p {
        let common = line.iter().fold(UBig::ONE, |all, it| {
            let gcd = dashu_base::Gcd::gcd(&all, it.denominator());
            all / gcd * it.denominator()
        });
        left.push(
            line.iter()
                .map(|it| it.numerator() * IBig::from(&common / it.denominator()))
                .collect(),
        );
        scale *= common;
    }
    let (mut before, mut negative) = (IBig::ONE, false);
    for k in 0..size {
        let Some(pivot) = (k..size).find(|i| !left[*i][k].is_zero()) else {
            return Ratio::ZERO;
        };
        if pivot != k {
            left.swap(pivot, k);
            negative = !negative;
        }
        for i in k + 1..size {
            for j in k + 1..size {
                left[i][j] = (&left[i][j] * &left[k][k] - &left[i][k] * &left[k][j]) / &before;
            }
        }
        before = left[k][k].clone();
    }
    let size_and_sign = Ratio::from_parts(before, scale);
    if negative {
        -size_and_sign
    } else {
        size_and_sign
    }
}

/// −1 for an odd number of swaps among these rows.
fn turned(rows: &[usize], swapped: &[bool]) -> i8 {
    if rows.iter().filter(|it| swapped[**it]).count() % 2 == 1 {
        -1
    } else {
        1
    }
}

pub(crate) fn sign(value: &Ratio) -> i8 {
    match value.sign() {
        _ if value.is_zero() => 0,
        Sign::Positive => 1,
        Sign::Negative => -1,
    }
}

fn positive(value: &Ratio) -> Ratio {
    if sign(value) < 0 {
        -value.clone()
    } else {
        value.clone()
    }
}
