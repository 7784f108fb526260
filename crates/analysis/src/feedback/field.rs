//! Numbers that can be added, multiplied and divided: exact ones for verdicts, residues for what holds whatever the values,
//! doubles where exact ones grow too long.

use dashu_base::BitTest;
use syntax::Ratio;

use crate::linear::modular::{Modular, PRIME};

/// A field, with what elimination asks of it.
pub(crate) trait Field: Clone + PartialEq {
    /// A given value. Of residues a random one in its place, drawn by `salt`; but 0 stays, and with salt 0 also ±1.
    fn of(value: &Ratio, salt: u64) -> Self;
    fn zero() -> Self;
    fn is_zero(&self) -> bool;
    fn plus(&self, other: &Self) -> Self;
    fn minus(&self, other: &Self) -> Self;
    fn times(&self, other: &Self) -> Self;
    /// `other` is not zero.
    fn over(&self, other: &Self) -> Self;
    /// For the choice of a pivot: the larger the better, where that matters.
    fn weight(&self) -> f64 {
        1.0
    }
    /// What an operation with this number costs, roughly in nanoseconds.
    fn cost(&self) -> u64 {
        1
    }
}

impl Field for Ratio {
    fn of(value: &Ratio, _: u64) -> Ratio {
        value.clone()
    }
    fn zero() -> Ratio {
        Ratio::ZERO
    }
    fn is_zero(&self) -> bool {
        self.is_zero()
    }
    fn plus(&self, other: &Ratio) -> Ratio {
        self + other
    }
    fn minus(&self, other: &Ratio) -> Ratio {
        self - other
    }
    fn times(&self, other: &Ratio) -> Ratio {
        self * other
    }
    fn over(&self, other: &Ratio) -> Ratio {
        self / other
    }
    fn cost(&self) -> u64 {
        let bits = (self.numerator().bit_len() + self.denominator().bit_len()) as u64;
        300 + bits * bits / 700
    }
}

impl Field for Modular {
    fn of(value: &Ratio, salt: u64) -> Modular {
        if value.is_zero() {
            Modular::ZERO
        } else if salt == 0 {
            if *value == Ratio::NEG_ONE {
                -Modular::ONE
            } else {
                Modular::ONE
            }
        } else {
            Modular::new(scrambled(salt) % (PRIME - 1) + 1)
        }
    }
    fn zero() -> Modular {
        Modular::ZERO
    }
    fn is_zero(&self) -> bool {
        *self == Modular::ZERO
    }
    fn plus(&self, other: &Modular) -> Modular {
        *self + *other
    }
    fn minus(&self, other: &Modular) -> Modular {
        *self - *other
    }
    fn times(&self, other: &Modular) -> Modular {
        *self * *other
    }
    fn over(&self, other: &Modular) -> Modular {
        other.inverse().map_or(Modular::ZERO, |it| *self * it)
    }
}

impl Field for f64 {
    fn of(value: &Ratio, _: u64) -> f64 {
        value.to_f64().value()
    }
    fn zero() -> f64 {
        0.0
    }
    fn is_zero(&self) -> bool {
        *self == 0.0
    }
    fn plus(&self, other: &f64) -> f64 {
        snapped(self + other, *self)
    }
    fn minus(&self, other: &f64) -> f64 {
        snapped(self - other, *self)
    }
    fn times(&self, other: &f64) -> f64 {
        self * other
    }
    fn over(&self, other: &f64) -> f64 {
        self / other
    }
    fn weight(&self) -> f64 {
        self.abs()
    }
}

/// What cancels to the last digits is taken for zero.
fn snapped(sum: f64, of: f64) -> f64 {
    if sum.abs() <= 1e-14 * of.abs() {
        0.0
    } else {
        sum
    }
}

/// Spreads a number over all bits (the finaliser of the splitmix generator, from memory).
pub(crate) fn scrambled(salt: u64) -> u64 {
    let mut bits = salt.wrapping_add(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}
