//! Preferred numbers: the E series of IEC 60063:2015, and the nearest of them to a wish.

use dashu_base::Sign;
use dashu_int::{IBig, UBig};
use syntax::Ratio;

/// E24 of IEC 60063, in tenths; E12 is every second, E6 every fourth, E3 every eighth of them.
const E24: [u32; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

/// The names of the series, the most used first (where several are as near to a misspelt one, that is offered).
pub const NAMES: [&str; 7] = ["E24", "E12", "E6", "E3", "E48", "E96", "E192"];

/// One decade of a series in hundredths (100 … 999), or `None` for another name.
pub fn decade(name: &str) -> Option<Vec<u32>> {
    let every = |step| E24.iter().step_by(step).map(|it| it * 10).collect();
    match name {
        "E3" => Some(every(8)),
        "E6" => Some(every(4)),
        "E12" => Some(every(2)),
        "E24" => Some(every(1)),
        "E48" => Some(rounded(48)),
        "E96" => Some(rounded(96)),
        "E192" => Some(rounded(192)),
        _ => None,
    }
}

/// Three digits of 10^(k/n); the standard prints 9.20 where the rule gives 9.19.
fn rounded(n: u32) -> Vec<u32> {
    (0..n)
        .map(|k| (100.0 * 10f64.powf(f64::from(k) / f64::from(n))).round() as u32)
        .map(|it| if it == 919 { 920 } else { it })
        .collect()
}

/// The member of the series that is nearest to `wish` by ratio (the smaller one of two that are equally near); `wish` is above zero.
pub fn nearest(name: &str, wish: &Ratio) -> Option<Ratio> {
    let [below, above] = around(name, wish)?;
    // wish/below ≤ above/wish, without a root.
    let square = wish.clone() * wish.clone();
    Some(if square <= below.clone() * above.clone() {
        below
    } else {
        above
    })
}

/// The least member of the series that is not below `wish`, which is above zero.
pub fn at_least(name: &str, wish: &Ratio) -> Option<Ratio> {
    let [below, above] = around(name, wish)?;
    Some(if below == *wish { below } else { above })
}

/// The two members of the series next to `wish`: below ≤ wish < above.
fn around(name: &str, wish: &Ratio) -> Option<[Ratio; 2]> {
    let decade = decade(name)?;
    if wish.sign() == Sign::Negative || wish.is_zero() {
        return None;
    }
    // The power of ten below the wish: 100 · 10^e ≤ wish < 1000 · 10^e.
    let mut exponent = wish.to_f64().value().log10().floor() as i32 - 2;
    let member = |digits: u32, exponent: i32| -> Ratio {
        let scale = Ratio::from(IBig::from(
            UBig::from(10u8).pow(exponent.unsigned_abs() as usize),
        ));
        let digits = Ratio::from(IBig::from(digits));
        if exponent < 0 {
            digits / scale
        } else {
            digits * scale
        }
    };
    while member(100, exponent) > *wish {
        exponent -= 1;
    }
    while member(1000, exponent) <= *wish {
        exponent += 1;
    }
    let mut below = member(100, exponent);
    for digits in decade.into_iter().skip(1).chain([1000]) {
        let above = member(digits, exponent);
        if above > *wish {
            return Some([below, above]);
        }
        below = above;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(numerator: i64, denominator: u32) -> Ratio {
        Ratio::from_parts(numerator.into(), denominator.into())
    }

    #[test]
    fn nearest_goes_by_ratio_and_across_decades() {
        for (series, wish, expected) in [
            ("E24", ratio(42300, 1), ratio(43000, 1)),
            ("E24", ratio(42, 1), ratio(43, 1)),
            ("E12", ratio(97, 1), ratio(100, 1)),
            ("E12", ratio(90, 1), ratio(82, 1)),
            ("E6", ratio(1, 100), ratio(1, 100)),
            ("E96", ratio(5000, 1), ratio(4990, 1)),
            ("E192", ratio(92, 10), ratio(92, 10)),
        ] {
            assert_eq!(nearest(series, &wish), Some(expected), "{series} {wish}");
        }
        assert_eq!(nearest("E7", &ratio(1, 1)), None);
    }

    #[test]
    fn the_next_member_is_never_below_the_wish() {
        for (series, wish, expected) in [
            ("E24", ratio(451, 1), ratio(470, 1)),
            ("E24", ratio(470, 1), ratio(470, 1)),
            ("E12", ratio(97, 1), ratio(100, 1)),
            ("E6", ratio(99, 100), ratio(1, 1)),
        ] {
            assert_eq!(at_least(series, &wish), Some(expected), "{series} {wish}");
        }
    }
}
