//! Arithmetic of numbers and dimensions: exact where both sides are exact.

use std::borrow::Cow;

use dashu_base::BitTest;
use dashu_int::{IBig, UBig};

use crate::quantity::{Dimension, Number, Ratio};

/// An exact number of more bits than this goes on as a rounded one, so that nested powers cannot fill the memory.
const MOST_BITS: usize = 1 << 16;

impl Number {
    /// Exactly zero.
    pub const ZERO: Number = Number::Exact(Ratio::ZERO);
    /// Exactly one.
    pub const ONE: Number = Number::Exact(Ratio::ONE);

    /// Exactly `digits` · 10^`exponent`.
    pub fn decimal(digits: UBig, exponent: i32) -> Number {
        let power = UBig::from(10u8).pow(exponent.unsigned_abs() as usize);
        Number::Exact(match exponent {
            0.. => Ratio::from(digits * power),
            _ => Ratio::from_parts(IBig::from(digits), power),
        })
    }

    /// The exact value, where there is one.
    pub fn exact(&self) -> Option<&Ratio> {
        match self {
            Number::Exact(ratio) => Some(ratio),
            Number::Rounded { .. } => None,
        }
    }

    /// The nearest double.
    pub fn to_f64(&self) -> f64 {
        match self {
            Number::Exact(ratio) => ratio.to_f64().value(),
            Number::Rounded { value, .. } => *value,
        }
    }

    /// Whether it is zero; a rounded number only where its double is.
    pub fn is_zero(&self) -> bool {
        match self {
            Number::Exact(ratio) => ratio.is_zero(),
            Number::Rounded { value, .. } => *value == 0.0,
        }
    }

    /// Whether it is above zero.
    pub fn is_positive(&self) -> bool {
        match self {
            Number::Exact(ratio) => *ratio > Ratio::ZERO,
            Number::Rounded { value, .. } => *value > 0.0,
        }
    }

    /// `self + other`
    pub fn add(&self, other: &Number) -> Number {
        self.with(other, |a, b| a + b, |a, b| (a.0 + b.0, a.1 + b.1))
    }

    /// `self - other`
    pub fn sub(&self, other: &Number) -> Number {
        self.with(other, |a, b| a - b, |a, b| (a.0 - b.0, a.1 + b.1))
    }

    /// `self * other`
    pub fn mul(&self, other: &Number) -> Number {
        let product = |a: Near, b: Near| (a.0 * b.0, a.0.abs() * b.1 + b.0.abs() * a.1 + a.1 * b.1);
        self.with(other, |a, b| a * b, product)
    }

    /// `self / other`; nothing where `other` is zero.
    pub fn div(&self, other: &Number) -> Option<Number> {
        let quotient = |a: Near, b: Near| {
            let (value, least) = (a.0 / b.0, b.0.abs() - b.1);
            let error = if least > 0.0 {
                (a.1 + value.abs() * b.1) / least
            } else {
                f64::INFINITY
            };
            (value, error)
        };
        (!other.is_zero()).then(|| self.with(other, |a, b| a / b, quotient))
    }

    /// √self; nothing below zero.
    pub fn sqrt(&self) -> Option<Number> {
        let (value, error) = self.near();
        let root = value.sqrt();
        // The root falls fastest towards zero.
        let least = (value - error).max(0.0).sqrt();
        (value >= 0.0).then(|| rounded(root, root - least))
    }

    /// log10 of what is above zero.
    pub fn log10(&self) -> Option<Number> {
        let (value, error) = self.near();
        let least = value - error;
        let far = if least > 0.0 {
            value.log10() - least.log10()
        } else {
            f64::INFINITY
        };
        (value > 0.0).then(|| rounded(value.log10(), far))
    }

    /// A double from a function of the machine's library: within two units in its last place.
    pub fn rounded(value: f64) -> Number {
        Number::Rounded {
            value,
            error: 2.0 * f64::EPSILON * value.abs(),
        }
    }

    /// `self ^ power`; nothing for zero to a power below zero.
    pub fn powi(&self, power: i32) -> Option<Number> {
        if power < 0 && self.is_zero() {
            return None;
        }
        let count = power.unsigned_abs() as usize;
        Some(match self {
            Number::Exact(ratio) if bits(ratio).saturating_mul(count) <= MOST_BITS => {
                let raised = ratio.pow(count as isize);
                Number::Exact(if power < 0 {
                    Ratio::ONE / raised
                } else {
                    raised
                })
            }
            _ => self.raised(power),
        })
    }

    /// `-self`
    pub fn neg(&self) -> Number {
        match self {
            Number::Exact(ratio) => Number::Exact(-ratio),
            Number::Rounded { value, error } => Number::Rounded {
                value: -value,
                error: *error,
            },
        }
    }

    /// `|self|`
    pub fn abs(&self) -> Number {
        if self.is_positive() {
            self.clone()
        } else {
            self.neg()
        }
    }

    /// Which of two is larger; nothing where one of them is no number.
    pub fn compare(&self, other: &Number) -> Option<std::cmp::Ordering> {
        match (self, other) {
            (Number::Exact(a), Number::Exact(b)) => Some(a.cmp(b)),
            _ => self.to_f64().partial_cmp(&other.to_f64()),
        }
    }

    fn with(
        &self,
        other: &Number,
        exactly: impl Fn(&Ratio, &Ratio) -> Ratio,
        roughly: impl Fn(Near, Near) -> Near,
    ) -> Number {
        match (self, other) {
            (Number::Exact(a), Number::Exact(b)) if bits(a) + bits(b) <= MOST_BITS => {
                Number::Exact(exactly(a, b))
            }
            _ => {
                let (value, error) = roughly(self.near(), other.near());
                rounded(value, error)
            }
        }
    }

    /// A power by multiplying, so that the error is carried along.
    fn raised(&self, power: i32) -> Number {
        let (value, error) = self.near();
        let base = Number::Rounded { value, error };
        let product = (0..power.unsigned_abs()).fold(Number::rounded(1.0), |it, _| it.mul(&base));
        if power < 0 {
            Number::ONE.div(&product).unwrap_or(product)
        } else {
            product
        }
    }

    fn near(&self) -> Near {
        match self {
            Number::Exact(ratio) => {
                let value = ratio.to_f64().value();
                (value, value.abs() * f64::EPSILON)
            }
            Number::Rounded { value, error } => (*value, *error),
        }
    }
}

/// A double, and how far the true value can be from it.
type Near = (f64, f64);

/// The outcome of one operation: its own rounding is added to what was carried along, and the sum rounded outwards.
fn rounded(value: f64, carried: f64) -> Number {
    let error = (carried + 2.0 * f64::EPSILON * value.abs()) * (1.0 + 4.0 * f64::EPSILON);
    Number::Rounded { value, error }
}

fn bits(ratio: &Ratio) -> usize {
    ratio.numerator().bit_len() + ratio.denominator().bit_len()
}

impl Dimension {
    /// A plain number.
    pub const NONE: Dimension = Dimension::of(0, 0, 0);
    /// V
    pub const VOLT: Dimension = Dimension::of(1, 0, 0);
    /// A
    pub const AMPERE: Dimension = Dimension::of(0, 1, 0);
    /// s
    pub const SECOND: Dimension = Dimension::of(0, 0, 1);
    /// s⁻¹
    pub const HERTZ: Dimension = Dimension::of(0, 0, -1);
    /// V A⁻¹
    pub const OHM: Dimension = Dimension::of(1, -1, 0);
    /// A V⁻¹
    pub const SIEMENS: Dimension = Dimension::of(-1, 1, 0);
    /// V A
    pub const WATT: Dimension = Dimension::of(1, 1, 0);
    /// A s V⁻¹
    pub const FARAD: Dimension = Dimension::of(-1, 1, 1);
    /// V s A⁻¹
    pub const HENRY: Dimension = Dimension::of(1, -1, 1);
    /// V s⁻¹
    pub const VOLT_PER_SECOND: Dimension = Dimension::of(1, 0, -1);
    /// Degrees of angle.
    pub const DEGREE: Dimension = Dimension {
        angle: 1,
        ..Dimension::NONE
    };

    const fn of(volt: i16, ampere: i16, second: i16) -> Dimension {
        Dimension {
            volt,
            ampere,
            second,
            angle: 0,
        }
    }

    /// The dimension of a product.
    pub fn times(self, other: Dimension) -> Dimension {
        self.with(other, i16::saturating_add)
    }

    /// The dimension of a quotient.
    pub fn over(self, other: Dimension) -> Dimension {
        self.with(other, i16::saturating_sub)
    }

    /// The dimension of a power.
    pub fn powi(self, power: i32) -> Dimension {
        let raised = |it: i16| {
            (i32::from(it).saturating_mul(power)).clamp(i16::MIN.into(), i16::MAX.into()) as i16
        };
        self.each(raised)
    }

    /// The dimension of a square root, where it is one of whole exponents.
    pub fn root(self) -> Option<Dimension> {
        let Dimension {
            volt,
            ampere,
            second,
            angle,
        } = self;
        let even = [volt, ampere, second, angle].iter().all(|it| it % 2 == 0);
        even.then(|| self.each(|it| it / 2))
    }

    /// The unit of the language without prefix, where there is one.
    pub fn unit(self) -> Option<&'static str> {
        self.words().map(|(unit, _)| unit)
    }

    /// What a sentence calls it: "volts", "a plain number"; a product of units where the trade has no word.
    pub fn name(self) -> Cow<'static, str> {
        match self.words() {
            Some((_, name)) => Cow::Borrowed(name),
            None if self == Dimension::NONE => Cow::Borrowed("a plain number"),
            None => Cow::Owned(self.product()),
        }
    }

    fn words(self) -> Option<(&'static str, &'static str)> {
        Some(match self {
            Dimension::VOLT => ("V", "volts"),
            Dimension::AMPERE => ("A", "amperes"),
            Dimension::SECOND => ("s", "seconds"),
            Dimension::HERTZ => ("Hz", "hertz"),
            Dimension::OHM => ("ohm", "ohms"),
            Dimension::SIEMENS => ("S", "siemens"),
            Dimension::WATT => ("W", "watts"),
            Dimension::FARAD => ("F", "farads"),
            Dimension::HENRY => ("H", "henries"),
            Dimension::VOLT_PER_SECOND => ("V/s", "volts per second"),
            Dimension::DEGREE => ("deg", "degrees"),
            _ => return None,
        })
    }

    fn product(self) -> String {
        let Dimension {
            volt,
            ampere,
            second,
            angle,
        } = self;
        let factors = [("V", volt), ("A", ampere), ("s", second), ("deg", angle)];
        let side = |above: bool| {
            let own = factors.iter().filter(|it| it.1 != 0 && (it.1 > 0) == above);
            let written = own.map(|(unit, exponent)| match exponent.unsigned_abs() {
                1 => (*unit).to_string(),
                exponent => format!("{unit}^{exponent}"),
            });
            written.collect::<Vec<_>>()
        };
        let (above, below) = (side(true), side(false));
        let above = match above.as_slice() {
            [] => "1".to_owned(),
            above => above.join(" "),
        };
        match below.as_slice() {
            [] => above,
            [single] => format!("{above}/{single}"),
            below => format!("{above}/({})", below.join(" ")),
        }
    }

    fn with(self, other: Dimension, f: impl Fn(i16, i16) -> i16) -> Dimension {
        Dimension {
            volt: f(self.volt, other.volt),
            ampere: f(self.ampere, other.ampere),
            second: f(self.second, other.second),
            angle: f(self.angle, other.angle),
        }
    }

    fn each(self, f: impl Fn(i16) -> i16) -> Dimension {
        self.with(Dimension::NONE, |it, _| f(it))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_numbers_stay_exact() {
        let third = Number::ONE
            .div(&Number::decimal(3u8.into(), 0))
            .expect("three is not zero");
        let sum = third.add(&third).add(&third);
        assert_eq!(sum, Number::ONE);
        assert_eq!(third.powi(-2), Some(Number::decimal(9u8.into(), 0)));
        assert_eq!(Number::ONE.div(&Number::ZERO), None);
        assert_eq!(Number::ZERO.powi(-1), None);
        let three = Number::Rounded {
            value: 3.0,
            error: 0.0,
        };
        assert_eq!(third.mul(&three).to_f64(), 1.0);
    }

    #[test]
    fn errors_are_carried_along_where_digits_cancel() {
        let two = Number::decimal(2u8.into(), 0);
        let root = two.sqrt().expect("above zero");
        let small = root.sub(&Number::decimal(141421356u32.into(), -8));
        // √2 − 1.41421356 = 2.3730950488…e-9, after A002193 of the on-line encyclopedia of integer sequences (from memory).
        let Number::Rounded { value, error } = small else {
            panic!("a root is rounded")
        };
        assert!(
            (value - 2.373_095_048_8e-9).abs() <= error + 1e-19,
            "{value} ± {error}"
        );
        assert!(
            error > 1e-16 && error < 1e-14,
            "the digits that are left: {error}"
        );
        let square = root.mul(&root);
        let Number::Rounded { value, error } = square else {
            panic!("a root is rounded")
        };
        assert!((value - 2.0).abs() <= error && error < 1e-14);
        assert_eq!(Number::ZERO.sub(&Number::ONE).sqrt(), None);
        assert_eq!(Number::ZERO.log10(), None);
    }

    #[test]
    fn nested_powers_become_rounded_before_they_fill_the_memory() {
        let mut number = Number::decimal(7u8.into(), -1);
        for _ in 0..64 {
            number = number.powi(32).expect("no zero");
        }
        assert!(matches!(number, Number::Rounded { .. }));
    }

    #[test]
    fn dimensions_have_units_and_names() {
        assert_eq!(Dimension::VOLT.over(Dimension::AMPERE), Dimension::OHM);
        assert_eq!(Dimension::OHM.times(Dimension::FARAD), Dimension::SECOND);
        assert_eq!(
            Dimension::VOLT.powi(2).over(Dimension::OHM),
            Dimension::WATT
        );
        assert_eq!(Dimension::VOLT.powi(2).root(), Some(Dimension::VOLT));
        assert_eq!(Dimension::VOLT.root(), None);
        assert_eq!(Dimension::FARAD.unit(), Some("F"));
        assert_eq!(Dimension::NONE.name(), "a plain number");
        assert_eq!(Dimension::VOLT.powi(2).name(), "V^2");
    }
}
