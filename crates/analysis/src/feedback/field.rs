//! Numbers that can be added, multiplied and divided: exact ones for verdicts, residues for what holds whatever the values,
//! doubles where exact ones grow too long.

use dashu_base::BitTest;
use syntax::Ratio;

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

/// A residue modulo the prime 2^61 − 1.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Residue(u64);

const PRIME: u64 = (1 << 61) - 1;

impl Residue {
    fn power(self, mut exponent: u64) -> Residue {
        let (mut base, mut result) = (self, Residue(1));
        while exponent > 0 {
            if exponent & 1 == 1 {
                result = result.times(&base);
            }
            base = base.times(&base);
            exponent >>= 1;
        }
        result
    }
}

impl Field for Residue {
    fn of(value: &Ratio, salt: u64) -> Residue {
        if value.is_zero() {
            Residue(0)
        } else if salt == 0 {
            Residue(if *value == Ratio::NEG_ONE {
                PRIME - 1
            } else {
                1
            })
        } else {
            Residue(scrambled(salt) % (PRIME - 1) + 1)
        }
    }
    fn zero() -> Residue {
        Residue(0)
    }
    fn is_zero(&self) -> bool {
        self.0 == 0
    }
    fn plus(&self, other: &Residue) -> Residue {
        Residue((self.0 + other.0) % PRIME)
    }
    fn minus(&self, other: &Residue) -> Residue {
        Residue((self.0 + PRIME - other.0) % PRIME)
    }
    fn times(&self, other: &Residue) -> Residue {
        Residue((u128::from(self.0) * u128::from(other.0) % u128::from(PRIME)) as u64)
    }
    fn over(&self, other: &Residue) -> Residue {
        self.times(&other.power(PRIME - 2))
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
