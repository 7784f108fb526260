//! A number with its honesty: exact, or floating with a bound; and arithmetic that keeps it honest.
//!
//! What is exact stays exact; everything else carries a bound that is rounded outwards, so that it holds for the true value
//! and not only for the computed one.

use std::cmp::Ordering;
use std::ops::{Add, Mul, Neg, Sub};

use dashu_base::{Abs, SquareRootRem};
use dashu_int::{IBig, UBig};
use syntax::{Number, Ratio};

/// An answer in base units.
#[derive(Clone, PartialEq, Debug)]
pub enum Answer {
    /// Exactly this.
    Exact(Ratio),
    /// |true − value| ≤ bound.
    Float {
        /// The nearest value known.
        value: f64,
        /// How far off it can be.
        bound: f64,
    },
}

/// The unit roundoff of doubles, 2⁻⁵³.
pub(crate) const UNIT: f64 = f64::EPSILON / 2.0;

/// A sum or product of bounds, rounded outwards: enough for a few dozen operations between two calls.
pub(crate) fn outward(bound: f64) -> f64 {
    if bound == 0.0 {
        0.0
    } else {
        bound * (1.0 + 64.0 * f64::EPSILON) + f64::MIN_POSITIVE
    }
}

impl Answer {
    /// Exactly 0.
    pub fn zero() -> Answer {
        Answer::Exact(Ratio::ZERO)
    }

    /// A value and how far off it can be. What overflowed is no longer known at all: 0 with an infinite bound.
    pub fn float(value: f64, bound: f64) -> Answer {
        if value.is_finite() && !bound.is_nan() {
            Answer::Float { value, bound }
        } else {
            Answer::Float {
                value: 0.0,
                bound: f64::INFINITY,
            }
        }
    }

    /// A function's result `value` that is at most `ulps` units in the last place off, of an argument whose own error moves it
    /// by at most `moved`.
    fn rounded(value: f64, moved: f64, ulps: f64) -> Answer {
        Answer::float(
            value,
            outward(moved + value.abs() * ulps * f64::EPSILON + f64::MIN_POSITIVE),
        )
    }

    /// Whether it is exact.
    pub fn is_exact(&self) -> bool {
        matches!(self, Answer::Exact(_))
    }

    /// The fraction, where it is exact.
    pub fn exact(&self) -> Option<&Ratio> {
        match self {
            Answer::Exact(ratio) => Some(ratio),
            Answer::Float { .. } => None,
        }
    }

    /// The nearest double known.
    pub fn to_f64(&self) -> f64 {
        self.approximate().0
    }

    /// How far the true value can be from [`Answer::to_f64`].
    pub fn bound(&self) -> f64 {
        self.approximate().1
    }

    /// A double and how far the true value can be from it.
    pub(crate) fn approximate(&self) -> (f64, f64) {
        match self {
            Answer::Exact(ratio) => nearest(ratio),
            Answer::Float { value, bound } => (*value, *bound),
        }
    }

    /// As a floating answer, also where it is exact.
    pub fn to_float(&self) -> Answer {
        let (value, bound) = self.approximate();
        Answer::float(value, bound)
    }

    /// Whether it is certainly 0.
    pub fn is_zero(&self) -> bool {
        match self {
            Answer::Exact(ratio) => ratio.is_zero(),
            Answer::Float { value, bound } => *value == 0.0 && *bound == 0.0,
        }
    }

    /// How it compares with another; `None` where the bounds cannot tell.
    pub fn compare(&self, other: &Answer) -> Option<Ordering> {
        if let (Answer::Exact(a), Answer::Exact(b)) = (self, other) {
            return Some(a.cmp(b));
        }
        (self - other).sign()
    }

    /// How it compares with 0; `None` where the bound cannot tell.
    pub fn sign(&self) -> Option<Ordering> {
        match self {
            Answer::Exact(ratio) => Some(ratio.cmp(&Ratio::ZERO)),
            Answer::Float { value, bound } if *value > *bound => Some(Ordering::Greater),
            Answer::Float { value, bound } if *value < -*bound => Some(Ordering::Less),
            Answer::Float { .. } if self.is_zero() => Some(Ordering::Equal),
            Answer::Float { .. } => None,
        }
    }

    /// The quotient; `None` where the divisor is or may be 0.
    pub fn over(&self, divisor: &Answer) -> Option<Answer> {
        if divisor.sign()? == Ordering::Equal {
            return None;
        }
        if let (Answer::Exact(a), Answer::Exact(b)) = (self, divisor) {
            return Some(Answer::Exact(a / b));
        }
        let ((a, da), (b, db)) = (self.approximate(), divisor.approximate());
        let quotient = a / b;
        // |a'/b' − a/b| ≤ (da + |a/b| db) / (|b| − db), and |b| > db.
        let least = (b.abs() - db) * (1.0 - 4.0 * f64::EPSILON);
        if least <= 0.0 {
            return None;
        }
        Some(Answer::rounded(
            quotient,
            (da + quotient.abs() * (1.0 + f64::EPSILON) * db) / least,
            1.0,
        ))
    }

    /// Its size.
    pub fn abs(&self) -> Answer {
        match self {
            Answer::Exact(ratio) => Answer::Exact(ratio.clone().abs()),
            Answer::Float { value, bound } => Answer::Float {
                value: value.abs(),
                bound: *bound,
            },
        }
    }

    /// The square root, exact of a square; `None` where it is or may be of a negative number.
    pub fn sqrt(&self) -> Option<Answer> {
        if let Answer::Exact(ratio) = self
            && let Some(root) = exact_root(ratio)
        {
            return Some(Answer::Exact(root));
        }
        let (value, bound) = self.approximate();
        // √ is concave, so it moves most towards the lower end.
        let low = value - bound * (1.0 + 4.0 * f64::EPSILON);
        if low < 0.0 {
            return None;
        }
        let root = value.sqrt();
        Some(Answer::rounded(root, root - low.sqrt(), 2.0))
    }

    /// The decimal logarithm, exact of a power of ten; `None` where it is or may be of no positive number.
    pub fn log10(&self) -> Option<Answer> {
        if let Answer::Exact(ratio) = self
            && let Some(power) = power_of_ten(ratio)
        {
            return Some(Answer::Exact(Ratio::from(power)));
        }
        let (value, bound) = self.approximate();
        let low = value - bound * (1.0 + 4.0 * f64::EPSILON);
        if low <= 0.0 || !low.is_finite() {
            return None;
        }
        // The slope 1 / (x ln 10) is greatest at the lower end. Standard libraries keep log10 within a few units (common practice).
        Some(Answer::rounded(
            value.log10(),
            bound / (low * std::f64::consts::LN_10),
            4.0,
        ))
    }

    /// A whole power; `None` for a negative power of what is or may be 0.
    pub fn powi(&self, exponent: i32) -> Option<Answer> {
        if exponent < 0 {
            return Answer::Exact(Ratio::ONE).over(&self.powi(exponent.checked_neg()?)?);
        }
        if let Answer::Exact(ratio) = self {
            return Some(Answer::Exact(ratio.pow(exponent as isize)));
        }
        let (mut power, mut square, mut left) = (Answer::Exact(Ratio::ONE), self.clone(), exponent);
        while left > 0 {
            if left & 1 == 1 {
                power = &power * &square;
            }
            left >>= 1;
            if left > 0 {
                square = &square * &square;
            }
        }
        Some(power)
    }

    /// The lesser of two.
    pub fn min(&self, other: &Answer) -> Answer {
        match self.compare(other) {
            Some(Ordering::Greater) => other.clone(),
            Some(_) => self.clone(),
            None => {
                let ((a, da), (b, db)) = (self.approximate(), other.approximate());
                // The lesser moves no further than the one that moves most.
                Answer::float(a.min(b), da.max(db))
            }
        }
    }

    /// The greater of two.
    pub fn max(&self, other: &Answer) -> Answer {
        -&(-self).min(&-other)
    }
}

impl From<Ratio> for Answer {
    fn from(ratio: Ratio) -> Answer {
        Answer::Exact(ratio)
    }
}

impl From<&Number> for Answer {
    fn from(number: &Number) -> Answer {
        match number {
            Number::Exact(ratio) => Answer::Exact(ratio.clone()),
            Number::Rounded { value, error } => Answer::float(*value, *error),
        }
    }
}

impl Add for &Answer {
    type Output = Answer;
    fn add(self, other: &Answer) -> Answer {
        if let (Answer::Exact(a), Answer::Exact(b)) = (self, other) {
            return Answer::Exact(a + b);
        }
        let ((a, da), (b, db)) = (self.approximate(), other.approximate());
        Answer::float(a + b, outward(da + db + (a + b).abs() * UNIT))
    }
}

impl Neg for &Answer {
    type Output = Answer;
    fn neg(self) -> Answer {
        match self {
            Answer::Exact(ratio) => Answer::Exact(-ratio),
            Answer::Float { value, bound } => Answer::Float {
                value: -value,
                bound: *bound,
            },
        }
    }
}

impl Sub for &Answer {
    type Output = Answer;
    fn sub(self, other: &Answer) -> Answer {
        if let (Answer::Exact(a), Answer::Exact(b)) = (self, other) {
            return Answer::Exact(a - b);
        }
        self + &-other
    }
}

impl Mul for &Answer {
    type Output = Answer;
    fn mul(self, other: &Answer) -> Answer {
        if let (Answer::Exact(a), Answer::Exact(b)) = (self, other) {
            return Answer::Exact(a * b);
        }
        if self.is_zero() || other.is_zero() {
            return Answer::zero();
        }
        let ((a, da), (b, db)) = (self.approximate(), other.approximate());
        Answer::rounded(a * b, a.abs() * db + b.abs() * da + da * db, 1.0)
    }
}

/// The nearest double of a fraction, and how far it is from it at most.
pub(crate) fn nearest(ratio: &Ratio) -> (f64, f64) {
    match ratio.to_f64() {
        dashu_base::Approximation::Exact(value) => (value, 0.0),
        dashu_base::Approximation::Inexact(value, _) if value.is_finite() => {
            (value, value.abs() * UNIT + f64::MIN_POSITIVE)
        }
        dashu_base::Approximation::Inexact(..) => (0.0, f64::INFINITY),
    }
}

fn exact_root(ratio: &Ratio) -> Option<Ratio> {
    let root = |square: &UBig| {
        let (root, rest) = square.sqrt_rem();
        rest.is_zero().then_some(root)
    };
    let numerator = UBig::try_from(ratio.numerator().clone()).ok()?;
    Some(Ratio::from_parts(
        root(&numerator)?.into(),
        root(ratio.denominator())?,
    ))
}

fn power_of_ten(ratio: &Ratio) -> Option<IBig> {
    let count = |power: &UBig| {
        let digits = power.to_string();
        (digits.starts_with('1') && digits[1..].bytes().all(|it| it == b'0'))
            .then(|| IBig::from(digits.len() - 1))
    };
    let numerator = UBig::try_from(ratio.numerator().clone()).ok()?;
    match (ratio.denominator().is_one(), numerator.is_one()) {
        (true, _) => count(&numerator),
        (false, true) => Some(-count(ratio.denominator())?),
        (false, false) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(numerator: i64, denominator: u64) -> Answer {
        Answer::Exact(Ratio::from_parts(numerator.into(), denominator.into()))
    }

    #[test]
    fn exact_stays_exact_where_it_can() {
        let third = exact(1, 3);
        assert_eq!(&third + &exact(1, 6), exact(1, 2));
        assert_eq!(third.over(&exact(-2, 9)), Some(exact(-3, 2)));
        assert_eq!(third.over(&Answer::zero()), None);
        assert_eq!(exact(9, 4).sqrt(), Some(exact(3, 2)));
        assert_eq!(exact(-9, 4).sqrt(), None);
        assert_eq!(exact(1, 1000).log10(), Some(exact(-3, 1)));
        assert_eq!(exact(100, 1).log10(), Some(exact(2, 1)));
        assert_eq!(exact(0, 1).log10(), None);
        assert_eq!(exact(-2, 3).powi(-3), Some(exact(-27, 8)));
        assert_eq!(exact(0, 1).powi(-1), None);
        assert_eq!(exact(1, 3).max(&exact(1, 2)), exact(1, 2));
    }

    #[test]
    fn bounds_that_overlap_cannot_tell() {
        let near = Answer::float(1.0, 1e-9);
        assert_eq!(near.compare(&exact(1, 1)), None);
        assert_eq!(near.compare(&exact(2, 1)), Some(Ordering::Less));
        assert_eq!(exact(1, 1).over(&Answer::float(1e-12, 1e-9)), None);
        assert_eq!(
            Answer::float(f64::MAX, 0.0)
                .over(&Answer::float(0.5, 0.0))
                .unwrap()
                .bound(),
            f64::INFINITY
        );
    }

    // The true value, worked out in fractions at the ends of the intervals, never leaves the bound.
    proptest::proptest! {
        #[test]
        fn floating_results_hold_the_true_one(a in -1e6f64..1e6, b in 0.001f64..1e6, ra in 0.0f64..1e-3, rb in 0.0f64..1e-3, signs in 0..4u8) {
            let true_of = |value: f64, by: f64| Ratio::try_from(value).unwrap() + Ratio::try_from(by).unwrap();
            let (da, db) = (a.abs() * ra, b * rb);
            let (x, y) = (Answer::float(a, da), Answer::float(b, db));
            let tx = true_of(a, if signs & 1 == 0 { da } else { -da });
            let ty = true_of(b, if signs & 2 == 0 { db } else { -db });
            let holds = |answer: Answer, truth: Ratio| {
                let Answer::Float { value, bound } = answer else { return false };
                (Ratio::try_from(value).unwrap() - truth).abs() <= Ratio::try_from(bound).unwrap()
            };
            proptest::prop_assert!(holds(&x + &y, &tx + &ty));
            proptest::prop_assert!(holds(&x - &y, &tx - &ty));
            proptest::prop_assert!(holds(&x * &y, &tx * &ty));
            proptest::prop_assert!(holds(x.over(&y).unwrap(), &tx / &ty));
            proptest::prop_assert!(holds(x.powi(3).unwrap(), tx.cubic()));
            proptest::prop_assert!(holds(x.min(&y), tx.clone().min(ty.clone())));
            // (√y)² is y: the bound of the root covers it when squared.
            let root = y.sqrt().unwrap();
            proptest::prop_assert!((&(&root * &root) - &Answer::Exact(ty)).sign().is_none());
        }
    }
}
