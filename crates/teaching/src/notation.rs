//! Numbers for people and for the language: engineering notation, and never a digit that is not right.

use std::cmp::Ordering;

use analysis::Answer;
use dashu_base::{Abs, BitTest, Sign, Signed};
use dashu_int::{IBig, UBig};
use syntax::{Dimension, Number, Ratio};

/// Significant digits of a printed number, where it has that many.
const DIGITS: i32 = 5;

/// A fraction is shown beside the decimal as long as neither of its numbers has more digits than this.
const FRACTION_DIGITS: usize = 5;

/// `−3.96 V`, `120 µA`, `1.7045 mA`: at most five digits, and of a floating answer no more than its bound allows.
pub fn short(answer: &Answer, dimension: Dimension) -> String {
    let Some(rounded) = Rounded::of(answer) else {
        return "not known".into();
    };
    let unit = Unit::of(dimension);
    match rounded {
        Rounded::Digits(digits) => unit.put(&digits, Spelling::People),
        Rounded::Zero => unit.zero(Spelling::People),
        Rounded::Within(bound) => format!(
            "{} ± {}",
            unit.zero(Spelling::People),
            unit.put(&bound, Spelling::People)
        ),
    }
}

/// As [`short`], with the fraction beside it where the decimal does not end: `1.3636 V (15/11 V)`.
pub fn full(answer: &Answer, dimension: Dimension) -> String {
    match fraction(answer, dimension) {
        Some(fraction) => format!("{} ({fraction})", short(answer, dimension)),
        None => short(answer, dimension),
    }
}

/// The fraction of an exact answer whose decimal does not end, `15/11 V`; in the same unit and prefix as [`short`].
/// `None` where the decimal ends, or where the fraction's numbers are too long to help.
pub fn fraction(answer: &Answer, dimension: Dimension) -> Option<String> {
    let Answer::Exact(exact) = answer else {
        return None;
    };
    if decimal_ends(exact) {
        return None;
    }
    let Some(Rounded::Digits(digits)) = Rounded::of(answer) else {
        return None;
    };
    let (power, unit) = Unit::of(dimension).scale(&digits, Spelling::People);
    let scaled = exact / power_of_ten(power);
    let (top, bottom) = (
        scaled.numerator().clone().abs().to_string(),
        scaled.denominator().to_string(),
    );
    if power.abs() > 15 || top.len() > FRACTION_DIGITS || bottom.len() > FRACTION_DIGITS {
        return None;
    }
    let minus = if exact.is_negative() { "−" } else { "" };
    Some(format!("{minus}{top}/{bottom}{unit}"))
}

/// A plain share such as `10/43`: the fraction where it is short, else the decimal.
pub fn share(ratio: &Ratio) -> String {
    let short = ratio.to_string();
    match short.len() <= 2 * FRACTION_DIGITS {
        true => short.replace('-', "−"),
        false => self::short(&Answer::Exact(ratio.clone()), Dimension::NONE),
    }
}

/// As the language writes it, in plain ASCII, to be put into a file: `-3.96 V`, `120 uA`, `10k`.
pub fn language(answer: &Answer, dimension: Dimension) -> String {
    let unit = Unit::of(dimension);
    match Rounded::of(answer) {
        Some(Rounded::Digits(mut digits)) => {
            digits.digits = trimmed(digits.digits);
            unit.put(&digits, Spelling::Language)
        }
        _ => unit.zero(Spelling::Language),
    }
}

/// A number of the text, for people.
pub fn number(number: &Number, dimension: Dimension) -> String {
    short(&Answer::from(number), dimension)
}

/// What a dimension measures, as a student says it: "a voltage", "a plain number"; `None` for one without a name.
pub fn quantity_name(dimension: Dimension) -> Option<&'static str> {
    Some(match dimension {
        Dimension::VOLT => "a voltage",
        Dimension::AMPERE => "a current",
        Dimension::OHM => "a resistance",
        Dimension::SIEMENS => "a conductance",
        Dimension::FARAD => "a capacitance",
        Dimension::HENRY => "an inductance",
        Dimension::SECOND => "a time",
        Dimension::HERTZ => "a frequency",
        Dimension::WATT => "a power",
        Dimension::DEGREE => "an angle",
        Dimension::NONE => "a plain number",
        Dimension::VOLT_PER_SECOND => "a slew rate",
        _ => return None,
    })
}

/// Who reads the number.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Spelling {
    People,
    Language,
}

/// The unit of a dimension, and how numbers go with it.
struct Unit {
    people: String,
    language: String,
    prefixes: bool,
    dimension: Dimension,
}

impl Unit {
    fn of(dimension: Dimension) -> Unit {
        let (people, language, prefixes) = match dimension {
            Dimension::VOLT => ("V", "V", true),
            Dimension::AMPERE => ("A", "A", true),
            Dimension::OHM => ("Ω", "ohm", true),
            Dimension::SIEMENS => ("S", "S", true),
            Dimension::FARAD => ("F", "F", true),
            Dimension::HENRY => ("H", "H", true),
            Dimension::SECOND => ("s", "s", true),
            Dimension::HERTZ => ("Hz", "Hz", true),
            Dimension::WATT => ("W", "W", true),
            Dimension::VOLT_PER_SECOND => ("V/s", "V/s", false),
            Dimension::DEGREE => ("°", "deg", false),
            Dimension::NONE => ("", "", false),
            _ => {
                let people = compound(dimension);
                return Unit {
                    people,
                    language: product(dimension),
                    prefixes: false,
                    dimension,
                };
            }
        };
        Unit {
            people: people.into(),
            language: language.into(),
            prefixes,
            dimension,
        }
    }

    /// The power of ten that the printed number leaves out, and what is printed after it.
    fn scale(&self, digits: &Digits, spelling: Spelling) -> (i32, String) {
        if self.dimension == Dimension::VOLT_PER_SECOND && digits.exponent >= 3 {
            let unit = if spelling == Spelling::People {
                " V/µs"
            } else {
                " V/us"
            };
            return (6, unit.into());
        }
        let name = if spelling == Spelling::People {
            &self.people
        } else {
            &self.language
        };
        let gap = if name.is_empty() || name == "°" {
            ""
        } else {
            " "
        };
        if !self.prefixes {
            return (0, format!("{gap}{name}"));
        }
        let mut power = digits.exponent.div_euclid(3) * 3;
        if digits.exponent - power + 1 > digits.right {
            power += 3; // too few digits to stand left of the point: 0.12 mV, not 120 µV
        }
        let power = power.clamp(-15, 12);
        let prefix = match (power, spelling) {
            (-6, Spelling::People) => "µ",
            _ => ["f", "p", "n", "u", "m", "", "k", "M", "G", "T"][((power + 15) / 3) as usize],
        };
        // a bare k, M or G means ohms
        if spelling == Spelling::Language
            && self.dimension == Dimension::OHM
            && matches!(power, 3 | 6 | 9)
        {
            return (power, prefix.into());
        }
        (power, format!("{gap}{prefix}{name}"))
    }

    fn put(&self, digits: &Digits, spelling: Spelling) -> String {
        let (power, unit) = self.scale(digits, spelling);
        let minus = match (digits.negative, spelling) {
            (false, _) => "",
            (true, Spelling::People) => "−",
            (true, Spelling::Language) => "-",
        };
        let shift = digits.exponent - power;
        if (-5..=6).contains(&shift) {
            return format!("{minus}{}{unit}", digits.decimal(shift));
        }
        let mantissa = digits.decimal(0);
        match spelling {
            Spelling::People => format!("{minus}{mantissa}·10{}{unit}", superscript(shift)),
            Spelling::Language => format!("{minus}{mantissa}e{shift}{unit}"),
        }
    }

    fn zero(&self, spelling: Spelling) -> String {
        match spelling {
            Spelling::People if self.people == "°" => "0°".into(),
            Spelling::People => format!("0 {}", self.people).trim_end().into(),
            Spelling::Language => format!("0 {}", self.language).trim_end().into(),
        }
    }
}

/// `V²·A`, `V⁻¹`.
fn compound(dimension: Dimension) -> String {
    let factors = factors(dimension).map(|(unit, power)| match power {
        1 => unit.to_string(),
        _ => format!("{unit}{}", superscript(power.into())),
    });
    factors.collect::<Vec<_>>().join("·")
}

/// `* 1 V * 1 V / 1 s`: the language multiplies units only as quantities.
fn product(dimension: Dimension) -> String {
    let factors = factors(dimension).map(|(unit, power)| match power {
        1 => format!("* 1 {unit}"),
        -1 => format!("/ 1 {unit}"),
        2.. => format!("* (1 {unit})^{power}"),
        _ => format!("/ (1 {unit})^{}", -power),
    });
    factors.collect::<Vec<_>>().join(" ")
}

fn factors(dimension: Dimension) -> impl Iterator<Item = (&'static str, i16)> {
    [
        ("V", dimension.volt),
        ("A", dimension.ampere),
        ("s", dimension.second),
        ("deg", dimension.angle),
    ]
    .into_iter()
    .filter(|(_, power)| *power != 0)
}

fn superscript(power: i32) -> String {
    let digit = |it| match it {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        _ => char::from_u32('⁰' as u32 + it as u32 - '0' as u32).unwrap_or(it),
    };
    power.to_string().chars().map(digit).collect()
}

/// A number cut to the digits that are right.
enum Rounded {
    Zero,
    Digits(Digits),
    /// No digit is right: zero, plus or minus this.
    Within(Digits),
}

/// ±d.ddd · 10^exponent
struct Digits {
    negative: bool,
    digits: String,
    exponent: i32,
    /// How many digits are right, trailing zeros that are not printed included.
    right: i32,
}

impl Digits {
    /// With the point after `shift` more digits than one.
    fn decimal(&self, shift: i32) -> String {
        let digits = &self.digits;
        if shift < 0 {
            return format!("0.{}{digits}", "0".repeat((-shift - 1) as usize));
        }
        let whole = shift as usize + 1;
        if digits.len() <= whole {
            return format!("{digits}{}", "0".repeat(whole - digits.len()));
        }
        format!("{}.{}", &digits[..whole], &digits[whole..])
    }
}

impl Rounded {
    fn of(answer: &Answer) -> Option<Rounded> {
        let (value, bound) = match answer {
            Answer::Exact(exact) => (exact.clone(), Ratio::ZERO),
            Answer::Float { value, bound } => (
                Ratio::try_from(*value).ok()?,
                Ratio::try_from(bound.abs()).ok()?,
            ),
        };
        let size = value.clone().abs();
        if size <= bound {
            return Some(match leading(&bound, 2, true) {
                Some((digits, exponent)) => Rounded::Within(Digits {
                    negative: false,
                    digits: trimmed(digits),
                    exponent,
                    right: DIGITS,
                }),
                None => Rounded::Zero,
            });
        }
        let count = DIGITS.min(right_digits(&size, &bound));
        let (digits, exponent) = leading(&size, count.max(1), false)?;
        // ends here: what is cut off is nothing, or lies within the bound
        let shown = Ratio::from(IBig::from_str_radix(&digits, 10).ok()?)
            * power_of_ten(exponent - digits.len() as i32 + 1);
        let ends = (shown - &size).abs() <= bound;
        let digits = if ends { trimmed(digits) } else { digits };
        Some(Rounded::Digits(Digits {
            negative: value.is_negative(),
            digits,
            exponent,
            right: count.max(1),
        }))
    }
}

/// How many leading digits of `size` a bound leaves right: the bound is at most half a unit of the last of them.
fn right_digits(size: &Ratio, bound: &Ratio) -> i32 {
    if bound.is_zero() {
        return i32::MAX;
    }
    let exponent = decimal_exponent(size);
    let twice = bound * Ratio::from(2u8);
    let mut unit = decimal_exponent(&twice);
    if twice > power_of_ten(unit) {
        unit += 1;
    }
    exponent - unit + 1
}

/// The first `count` digits of a positive number, rounded to nearest (or up), and its decimal exponent; `None` for zero.
fn leading(size: &Ratio, count: i32, up: bool) -> Option<(String, i32)> {
    if size.is_zero() {
        return None;
    }
    let exponent = decimal_exponent(size);
    let scaled = size / power_of_ten(exponent - count + 1);
    let digits = if up { scaled.ceil() } else { scaled.round() }.to_string();
    match digits.len() as i32 > count {
        true => Some((digits[..count as usize].into(), exponent + 1)), // 99999.6 became 100000
        false => Some((digits, exponent)),
    }
}

fn trimmed(digits: String) -> String {
    match digits.trim_end_matches('0') {
        "" => "0".into(),
        short => short.into(),
    }
}

/// ⌊log₁₀ x⌋ of a positive x, exactly.
fn decimal_exponent(size: &Ratio) -> i32 {
    let bits = size.numerator().bit_len() as f64 - size.denominator().bit_len() as f64;
    let mut exponent = (bits * std::f64::consts::LOG10_2).floor() as i32;
    while size.cmp(&power_of_ten(exponent)) == Ordering::Less {
        exponent -= 1;
    }
    while size.cmp(&power_of_ten(exponent + 1)) != Ordering::Less {
        exponent += 1;
    }
    exponent
}

fn power_of_ten(power: i32) -> Ratio {
    let tens = UBig::from(10u8).pow(power.unsigned_abs() as usize);
    match power {
        0.. => Ratio::from_parts(IBig::from_parts(Sign::Positive, tens), UBig::ONE),
        _ => Ratio::from_parts(IBig::ONE, tens),
    }
}

/// Whether the denominator has no prime factor but 2 and 5.
fn decimal_ends(ratio: &Ratio) -> bool {
    let mut rest = ratio.denominator().clone();
    // a long denominator is of no use as a fraction anyway
    if rest.bit_len() > 256 {
        return true;
    }
    for factor in [2u8, 5] {
        while (&rest % factor) == 0 {
            rest /= factor;
        }
    }
    rest == UBig::ONE
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(top: i64, bottom: u64) -> Answer {
        Answer::Exact(Ratio::from_parts(top.into(), bottom.into()))
    }

    #[test]
    fn exact_answers_in_engineering_notation() {
        for (answer, dimension, people, file) in [
            (exact(-99, 25), Dimension::VOLT, "−3.96 V", "-3.96 V"),
            (exact(3, 25000), Dimension::AMPERE, "120 µA", "120 uA"),
            (
                exact(3, 1760),
                Dimension::AMPERE,
                "1.7045 mA (75/44 mA)",
                "1.7045 mA",
            ),
            (
                exact(15, 11),
                Dimension::VOLT,
                "1.3636 V (15/11 V)",
                "1.3636 V",
            ),
            (
                exact(-1, 3),
                Dimension::VOLT,
                "−333.33 mV (−1000/3 mV)",
                "-333.33 mV",
            ),
            (exact(0, 1), Dimension::VOLT, "0 V", "0 V"),
            (exact(10_000, 1), Dimension::OHM, "10 kΩ", "10k"),
            (exact(470, 1), Dimension::OHM, "470 Ω", "470 ohm"),
            (exact(1, 2), Dimension::OHM, "500 mΩ", "500 mohm"),
            (exact(2_200_000, 1), Dimension::OHM, "2.2 MΩ", "2.2M"),
            (
                exact(120_001, 100_000),
                Dimension::VOLT,
                "1.2000 V",
                "1.2 V",
            ),
            (
                exact(9_999_999, 10_000),
                Dimension::VOLT,
                "1.0000 kV",
                "1 kV",
            ),
            (exact(1, 1_000_000), Dimension::NONE, "1·10⁻⁶", "1e-6"),
            (exact(2, 5), Dimension::NONE, "0.4", "0.4"),
            (exact(-90, 1), Dimension::DEGREE, "−90°", "-90 deg"),
            (
                exact(6_000_000, 1),
                Dimension::VOLT_PER_SECOND,
                "6 V/µs",
                "6 V/us",
            ),
            (
                exact(5, 2),
                Dimension {
                    volt: 2,
                    ..Dimension::NONE
                },
                "2.5 V²",
                "2.5 * (1 V)^2",
            ),
            (
                exact(123_456_789, 1),
                Dimension::VOLT,
                "123.46 MV",
                "123.46 MV",
            ),
        ] {
            assert_eq!(full(&answer, dimension), people);
            assert_eq!(language(&answer, dimension), file);
        }
    }

    #[test]
    fn floating_answers_show_no_digit_that_the_bound_leaves_open() {
        for (value, bound, people) in [
            (std::f64::consts::SQRT_2, 1e-12, "1.4142 V"),
            (2.0, 1e-12, "2 V"),
            (1.234567, 0.00049, "1.235 V"),
            (1.234567, 0.00051, "1.23 V"),
            (0.000123, 0.000004, "0.12 mV"),
            (0.000123, 0.000195, "0 V ± 200 µV"),
            (1.0, 0.9, "1 V"),
            (0.0, 0.0, "0 V"),
            (f64::NAN, 0.0, "not known"),
            (1.0, f64::INFINITY, "not known"),
        ] {
            assert_eq!(
                short(&Answer::Float { value, bound }, Dimension::VOLT),
                people
            );
        }
    }

    #[test]
    fn numbers_far_beyond_the_prefixes_are_still_right() {
        let huge = Answer::Exact(power_of_ten(2000) * Ratio::from(7u8));
        assert_eq!(short(&huge, Dimension::VOLT), "7·10¹⁹⁸⁸ TV");
        let tiny = Answer::Exact(power_of_ten(-40));
        assert_eq!(language(&tiny, Dimension::VOLT), "1e-25 fV");
    }
}
