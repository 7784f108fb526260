//! Whole numbers modulo a prime: 2⁶¹ − 1 unless another is named.

use std::ops::{Add, Mul, Neg, Sub};

use dashu_int::{IBig, UBig};

/// 2⁶¹ − 1, a Mersenne prime.
pub const PRIME: u64 = (1 << 61) - 1;

/// The prime for a second opinion, 2⁶¹ − 31.
pub const SECOND_PRIME: u64 = (1 << 61) - 31;

/// A number modulo the prime `P`, which lies between 2⁶⁰ and 2⁶¹.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Modular<const P: u64 = PRIME>(u64);

impl<const P: u64> Modular<P> {
    /// 0.
    pub const ZERO: Self = Modular(0);
    /// 1.
    pub const ONE: Self = Modular(1);

    /// A number's remainder.
    pub fn new(number: u64) -> Self {
        Modular(number % P)
    }

    /// Its representative in `0..P`.
    pub fn value(self) -> u64 {
        self.0
    }

    /// The remainder of a whole number of any size.
    pub fn of_integer(number: &IBig) -> Self {
        let (sign, size) = number.clone().into_parts();
        let size = Modular(u64::try_from(&size % UBig::from(P)).unwrap_or(0));
        if sign == dashu_base::Sign::Negative {
            -size
        } else {
            size
        }
    }

    /// What times this is 1; `None` of 0.
    pub fn inverse(self) -> Option<Self> {
        if self.0 == 0 {
            return None;
        }
        // Euclid's algorithm, keeping of each remainder how many times `self` it is.
        let (mut r, mut next_r) = (P as i64, self.0 as i64);
        let (mut t, mut next_t) = (0i64, 1i64);
        while next_r != 0 {
            let quotient = r / next_r;
            (r, next_r) = (next_r, r - quotient * next_r);
            (t, next_t) = (next_t, t - quotient * next_t);
        }
        Some(Modular(t.rem_euclid(P as i64) as u64))
    }
}

impl<const P: u64> Add for Modular<P> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let sum = self.0 + other.0;
        Modular(if sum >= P { sum - P } else { sum })
    }
}

impl<const P: u64> Sub for Modular<P> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Modular(if self.0 >= other.0 {
            self.0 - other.0
        } else {
            self.0 + P - other.0
        })
    }
}

impl<const P: u64> Neg for Modular<P> {
    type Output = Self;
    fn neg(self) -> Self {
        Self::ZERO - self
    }
}

impl<const P: u64> Mul for Modular<P> {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let product = self.0 as u128 * other.0 as u128;
        if P == PRIME {
            // 2⁶¹ ≡ 1: fold the high bits onto the low ones.
            let folded = (product as u64 & PRIME) + (product >> 61) as u64;
            Modular(if folded >= PRIME {
                folded - PRIME
            } else {
                folded
            })
        } else {
            Modular((product % P as u128) as u64)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The laws that tell a field with the right remainders from everything else.
    fn follows_the_laws<const P: u64>(a: i128, b: i128) {
        let (x, y) = (
            Modular::<P>::of_integer(&a.into()),
            Modular::<P>::of_integer(&b.into()),
        );
        let of = |number: IBig| Modular::<P>::of_integer(&number);
        assert_eq!(x + y, of(IBig::from(a) + IBig::from(b)));
        assert_eq!(x - y, of(IBig::from(a) - IBig::from(b)));
        assert_eq!(x * y, of(IBig::from(a) * IBig::from(b)));
        assert_eq!(-x, of(-IBig::from(a)));
        match x.inverse() {
            Some(inverse) => assert_eq!(x * inverse, Modular::ONE),
            None => assert_eq!(a.rem_euclid(P as i128), 0),
        }
    }

    proptest! {
        #[test]
        fn remainders_follow_whole_numbers(a in any::<i128>(), b in any::<i128>()) {
            follows_the_laws::<PRIME>(a, b);
            follows_the_laws::<SECOND_PRIME>(a, b);
        }
    }

    #[test]
    fn borders_of_the_prime() {
        for a in [
            0,
            1,
            -1,
            PRIME as i128 - 1,
            PRIME as i128,
            PRIME as i128 + 1,
            SECOND_PRIME as i128,
        ] {
            follows_the_laws::<PRIME>(a, a);
            follows_the_laws::<SECOND_PRIME>(a, -1);
        }
    }
}
