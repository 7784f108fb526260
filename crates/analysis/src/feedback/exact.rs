//! Exact decisions about numbers: determinants, characteristic polynomials, where roots lie, sums of square roots.

use std::cmp::Ordering;

use dashu_base::{BitTest, Sign, SquareRoot, UnsignedAbs};
use dashu_int::{IBig, UBig};
use syntax::Ratio;

/// Up to this order the characteristic polynomial is worked out exactly.
pub(crate) const POLYNOMIAL: usize = 12;

pub(crate) fn sign(value: &Ratio) -> i8 {
    match value.sign() {
        _ if value.is_zero() => 0,
        Sign::Positive => 1,
        Sign::Negative => -1,
    }
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

/// The coefficients E_k of det(s + P) = Σ E_k·s^(n−k), by the method of Faddeev and Le Verrier; `None` for large ones.
pub(crate) fn polynomial(p: &[Vec<Ratio>]) -> Option<Vec<Ratio>> {
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
pub(crate) fn is_hurwitz(coefficients: &[Ratio]) -> bool {
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

pub(crate) fn settles_in_doubles(p: &[Vec<Ratio>]) -> bool {
    let matrix = nalgebra::DMatrix::from_fn(p.len(), p.len(), |i, j| p[i][j].to_f64().value());
    let slack = 1e-9 * matrix.norm();
    match nalgebra::Schur::try_new(matrix, f64::EPSILON, 10_000) {
        Some(schur) => schur.complex_eigenvalues().iter().all(|it| it.re > slack),
        None => false,
    }
}

/// Compares (Σ √a)² with `square`, for a ≥ 0 and square > 0; exact.
pub(crate) fn compare_root_sum(terms: &[Ratio], square: &Ratio) -> Ordering {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_compared_exactly() {
        let ratios = |all: &[i64]| all.iter().map(|it| Ratio::from(*it)).collect::<Vec<_>>();
        // √2 + √8 = √18, to the last digit and past it.
        assert_eq!(
            compare_root_sum(&ratios(&[2, 8, 0]), &Ratio::from(18)),
            Ordering::Equal
        );
        let tiny = Ratio::ONE / Ratio::from(10u64.pow(18));
        assert_eq!(
            compare_root_sum(&ratios(&[2, 8, 0]), &(Ratio::from(18) + &tiny)),
            Ordering::Less
        );
        assert_eq!(
            compare_root_sum(&ratios(&[2, 8, 0]), &(Ratio::from(18) - &tiny)),
            Ordering::Greater
        );
    }

    #[test]
    fn polynomials_settle_where_all_roots_lie_left() {
        let settles =
            |all: &[i64]| is_hurwitz(&all.iter().map(|it| Ratio::from(*it)).collect::<Vec<_>>());
        assert!(settles(&[1]) && settles(&[1, 2]) && settles(&[1, 2, 3]) && settles(&[1, 2, 3, 5]));
        assert!(
            !settles(&[1, 2, 3, 6])
                && !settles(&[1, 2, 3, 7])
                && !settles(&[1, 0, 1])
                && !settles(&[1, -1])
        );
    }
}
