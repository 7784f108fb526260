//! Numbers that carry their own error, and elimination with them: every rounding and every uncertain coefficient is counted where it happens,
//! so each unknown gets a bound of its own, however many powers of ten lie between them.
//!
//! Such bounds can grow from pivot to pivot, in the worst case exponentially (from memory: Neumaier, Interval Methods for Systems of Equations,
//! ch. 4); in sparse systems, where each pivot touches few rows, they stay small. Whoever calls looks at them.

use syntax::Ratio;

use crate::answer::{UNIT, nearest, outward};
use crate::feedback::Field;

/// A number of which |true − value| ≤ bound.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Ball {
    pub value: f64,
    pub bound: f64,
}

impl Ball {
    /// A result, with what was already wrong and the last rounding.
    fn rounded(value: f64, carried: f64) -> Ball {
        Ball {
            value,
            bound: outward(carried + value.abs() * UNIT + f64::MIN_POSITIVE),
        }
    }
}

impl Field for Ball {
    fn of(value: &Ratio, _: u64) -> Ball {
        let (value, bound) = nearest(value);
        Ball { value, bound }
    }
    fn zero() -> Ball {
        Ball {
            value: 0.0,
            bound: 0.0,
        }
    }
    /// Certainly zero.
    fn is_zero(&self) -> bool {
        self.value == 0.0 && self.bound == 0.0
    }
    fn plus(&self, other: &Ball) -> Ball {
        match (self.is_zero(), other.is_zero()) {
            (true, _) => *other,
            (_, true) => *self,
            _ => Ball::rounded(self.value + other.value, self.bound + other.bound),
        }
    }
    fn minus(&self, other: &Ball) -> Ball {
        self.plus(&Ball {
            value: -other.value,
            bound: other.bound,
        })
    }
    fn times(&self, other: &Ball) -> Ball {
        if self.is_zero() || other.is_zero() {
            return Ball::zero();
        }
        let carried = self.value.abs() * other.bound
            + other.value.abs() * self.bound
            + self.bound * other.bound;
        Ball::rounded(self.value * other.value, carried)
    }
    /// Without bound where `other` may be zero.
    fn over(&self, other: &Ball) -> Ball {
        if self.is_zero() {
            return Ball::zero();
        }
        let least = other.value.abs() - other.bound;
        let value = self.value / other.value;
        match least > 0.0 {
            true => {
                let carried = (self.bound + value.abs() * other.bound) / least;
                Ball::rounded(value, outward(carried + value.abs() * UNIT))
            }
            false => Ball {
                value,
                bound: f64::INFINITY,
            },
        }
    }
    /// What is sure of it.
    fn weight(&self) -> f64 {
        (self.value.abs() - self.bound).max(0.0)
    }
}
