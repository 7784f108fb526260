//! Numbers with units: exact rationals in base units, and what kind of number each one is.

use dashu_int::UBig;

use crate::units::{self, Unit};
use crate::{FaultKind, Limit, Span};

pub use dashu_ratio::RBig as Ratio;

/// A number: exact where the text is exact.
#[derive(Clone, PartialEq, Debug)]
pub enum Number {
    /// Exactly this.
    Exact(Ratio),
    /// From `sqrt`, `log10`, `Vrms`, most decibels: |true − value| ≤ error.
    Rounded {
        /// The nearest double known.
        value: f64,
        /// How far off it can be.
        error: f64,
    },
}

/// Exponents of the base units: a volt, an ampere, a second, and the angle.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Dimension {
    /// Volts.
    pub volt: i16,
    /// Amperes.
    pub ampere: i16,
    /// Seconds.
    pub second: i16,
    /// Degrees of angle.
    pub angle: i16,
}

/// How a quantity was written, where that matters later.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// A number with an ordinary unit, or a marking code.
    Unit,
    /// A bare number.
    Plain,
    /// `%`
    Percent,
    /// `dB`: the value is the ratio; it stands in no sum or product.
    Decibel,
    /// `Vpp`: the value is the amplitude (half of what is written); a wave's size only.
    PeakToPeak,
    /// `Vrms`: the value is as written, in volts; how large the wave is depends on its shape.
    RootMeanSquare,
}

/// A quantity that was read.
#[derive(Clone, PartialEq, Debug)]
pub struct Quantity {
    /// In base units.
    pub value: Number,
    /// Its dimension.
    pub dimension: Dimension,
    /// How it was written.
    pub form: Form,
    /// The number's digits in the text, for edits.
    pub number: Span,
    /// The unit in the text, with its prefix.
    pub unit: Option<Span>,
}

/// Reads a quantity of a tree ([`crate::ExprKind::Quantity`]), or any text of that form.
pub fn read(text: &str, span: Span) -> Result<Quantity, FaultKind> {
    let parts = Parts::split(text, span).ok_or(FaultKind::UnknownUnit(None))?;
    let mantissa = parts.number.of(text);
    let (mantissa, exponent) = match mantissa.split_once('e') {
        Some((mantissa, exponent)) => (
            mantissa,
            exponent
                .replace('−', "-")
                .parse::<i32>()
                .unwrap_or(i32::MAX),
        ),
        None => (mantissa, 0),
    };
    if exponent.unsigned_abs() > MOST_EXPONENT {
        return Err(FaultKind::TooBig(Limit::Exponent));
    }
    let (whole, places) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let unit_text = parts.unit.map_or("", |it| it.of(text));
    let (unit, marked) = unit_and_places(unit_text, !places.is_empty())?;
    if whole.len() + places.len() + marked.len() > MOST_DIGITS {
        return Err(FaultKind::TooBig(Limit::Digits));
    }
    let digits = [whole, places, marked].concat();
    let digits = digits
        .parse::<UBig>()
        .map_err(|_| FaultKind::UnknownUnit(None))?;
    let exponent = exponent - (places.len() + marked.len()) as i32;
    let signed = |value: Number| if parts.negative { value.neg() } else { value };
    let value = match unit.form {
        Form::Decibel => decibels(signed(Number::decimal(digits, exponent)))?,
        Form::PeakToPeak => signed(Number::decimal(digits * 5u8, exponent + unit.exponent - 1)),
        _ => signed(Number::decimal(digits, exponent + unit.exponent)),
    };
    Ok(Quantity {
        value,
        dimension: unit.dimension,
        form: unit.form,
        number: parts.number,
        unit: parts.unit,
    })
}

/// The limits of the language.
const MOST_DIGITS: usize = 40;
const MOST_EXPONENT: u32 = 30;
/// Nobody measures more decibels; doubles end soon after.
const MOST_DECIBELS: f64 = 6000.0;

/// A quantity's text in its parts.
struct Parts {
    negative: bool,
    number: Span,
    unit: Option<Span>,
}

impl Parts {
    fn split(text: &str, span: Span) -> Option<Parts> {
        let all = span.of(text);
        let unsigned = all
            .trim_start_matches(['-', '−'])
            .trim_start_matches(is_space);
        let start = all.len() - unsigned.len();
        let length = number_length(unsigned);
        let rest = &unsigned[length..];
        let unit = rest.trim_start_matches(is_space);
        let at = |offset: usize, length: usize| {
            let offset = span.start as usize + offset;
            Span::new(offset, offset + length)
        };
        (length > 0).then(|| Parts {
            negative: start > 0,
            number: at(start, length),
            unit: (!unit.is_empty()).then(|| at(all.len() - unit.len(), unit.len())),
        })
    }
}

fn is_space(character: char) -> bool {
    matches!(character, ' ' | '\t' | '\u{A0}' | '\u{202F}')
}

/// How many bytes of the text are `[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?`.
fn number_length(text: &str) -> usize {
    let digits = |from: usize| text[from..].bytes().take_while(u8::is_ascii_digit).count();
    let mut length = digits(0);
    if length > 0 && text[length..].starts_with('.') && digits(length + 1) > 0 {
        length += 1 + digits(length + 1);
    }
    if length > 0 && text[length..].starts_with('e') {
        let sign = ["+", "-", "−"]
            .into_iter()
            .find(|it| text[length + 1..].starts_with(it))
            .map_or(0, str::len);
        let exponent = digits(length + 1 + sign);
        if exponent > 0 {
            length += 1 + sign + exponent;
        }
    }
    length
}

/// The unit of a text, and the places that a marking code has behind its letter.
fn unit_and_places(text: &str, point: bool) -> Result<(Unit, &str), FaultKind> {
    let plain = Unit {
        exponent: 0,
        dimension: Dimension::NONE,
        form: Form::Plain,
    };
    if text.is_empty() {
        return Ok((plain, ""));
    }
    if text == "%" {
        return Ok((
            Unit {
                exponent: -2,
                form: Form::Percent,
                ..plain
            },
            "",
        ));
    }
    if let Some((over, under)) = text.split_once('/')
        && units::is_volts(over)
        && units::divides_volts(under)
        && let (Some(over), Some(under)) = (units::unit(over), units::unit(under))
    {
        let exponent = over.exponent - under.exponent;
        return Ok((
            Unit {
                exponent,
                dimension: over.dimension.over(under.dimension),
                form: Form::Unit,
            },
            "",
        ));
    }
    units::unit(text)
        .map(|it| (it, ""))
        .or_else(|| units::marking(text).filter(|_| !point))
        .ok_or(FaultKind::UnknownUnit(None))
}

/// 10^(x/20); exact for multiples of 20 dB.
fn decibels(x: Number) -> Result<Number, FaultKind> {
    if x.to_f64().abs() > MOST_DECIBELS {
        return Err(FaultKind::TooBig(Limit::Exponent));
    }
    let decades = x.mul(&Number::decimal(5u8.into(), -2));
    Ok(match decades.exact() {
        Some(exact) if exact.is_int() => Number::decimal(1u8.into(), decades.to_f64() as i32),
        _ => Number::rounded(10f64.powf(decades.to_f64())),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(text: &str) -> Result<(Number, Dimension, Form), FaultKind> {
        read(text, Span::new(0, text.len())).map(|it| (it.value, it.dimension, it.form))
    }

    /// `over / under`, exactly.
    fn exactly(over: i64, under: u64) -> Number {
        Number::Exact(Ratio::from_parts(over.into(), under.into()))
    }

    #[test]
    fn quantities_are_exact_in_base_units() {
        use Dimension as D;
        let cases = [
            ("10k", exactly(10_000, 1), D::OHM, Form::Unit),
            ("4k7", exactly(4_700, 1), D::OHM, Form::Unit),
            ("4K7", exactly(4_700, 1), D::OHM, Form::Unit),
            ("2R2", exactly(11, 5), D::OHM, Form::Unit),
            ("100R", exactly(100, 1), D::OHM, Form::Unit),
            ("1M5", exactly(1_500_000, 1), D::OHM, Form::Unit),
            ("4n7F", exactly(47, 10_000_000_000), D::FARAD, Form::Unit),
            ("4.7 nF", exactly(47, 10_000_000_000), D::FARAD, Form::Unit),
            ("10 kΩ", exactly(10_000, 1), D::OHM, Form::Unit),
            ("3 µA", exactly(3, 1_000_000), D::AMPERE, Form::Unit),
            ("3 μA", exactly(3, 1_000_000), D::AMPERE, Form::Unit),
            ("2.5e-3 V", exactly(1, 400), D::VOLT, Form::Unit),
            (
                "6 V/us",
                exactly(6_000_000, 1),
                D::VOLT_PER_SECOND,
                Form::Unit,
            ),
            ("150 V/mV", exactly(150_000, 1), D::NONE, Form::Unit),
            ("30 %", exactly(3, 10), D::NONE, Form::Percent),
            ("-40 dB", exactly(1, 100), D::NONE, Form::Decibel),
            ("100 dB", exactly(100_000, 1), D::NONE, Form::Decibel),
            ("2 Vpp", exactly(1, 1), D::VOLT, Form::PeakToPeak),
            ("300 mVrms", exactly(3, 10), D::VOLT, Form::RootMeanSquare),
            ("90 deg", exactly(90, 1), D::DEGREE, Form::Unit),
            ("2 mS", exactly(1, 500), D::SIEMENS, Form::Unit),
            ("470", exactly(470, 1), D::NONE, Form::Plain),
        ];
        for (text, number, dimension, form) in cases {
            assert_eq!(value(text), Ok((number, dimension, form)), "{text}");
        }
    }

    #[test]
    fn other_decibels_are_rounded() {
        let Ok((
            Number::Rounded {
                value: half_power, ..
            },
            ..,
        )) = value("-3 dB")
        else {
            panic!("not rounded")
        };
        // 10^(-0.15), to the last place but two.
        assert!((half_power - 0.707_945_784_384_137_9).abs() < 1e-15);
    }

    #[test]
    fn digits_and_exponents_have_limits() {
        let digits = "1".repeat(40);
        assert!(value(&digits).is_ok());
        assert_eq!(
            value(&format!("{digits}1")),
            Err(FaultKind::TooBig(Limit::Digits))
        );
        assert!(value("1e30").is_ok());
        assert_eq!(value("1e31"), Err(FaultKind::TooBig(Limit::Exponent)));
        assert_eq!(
            value("1e-99999999999"),
            Err(FaultKind::TooBig(Limit::Exponent))
        );
        assert_eq!(value("1e30 dB"), Err(FaultKind::TooBig(Limit::Exponent)));
    }

    #[test]
    fn what_is_no_unit_is_none() {
        for text in [
            "5 volts", "1m", "100n", "3V3", "1.5k5", "6 V/V/s", "1 mdB", "1 m%", "", "x",
        ] {
            assert_eq!(value(text), Err(FaultKind::UnknownUnit(None)), "{text}");
        }
    }
}
