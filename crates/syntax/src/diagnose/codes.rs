//! Marking codes that the language does not read, since there a value begins with a digit and ends with its unit.
//!
//! After IEC 60062: a letter stands where the decimal point would be, and a letter behind tells the tolerance (both from
//! memory; the values of some codes are tested against published ones).

/// Letters of resistance and what stands for them here; `L` is a thousandth of an ohm.
const OHMS: &[(char, &str)] = &[
    ('R', ""),
    ('L', " mohm"),
    ('k', "k"),
    ('K', "k"),
    ('M', "M"),
    ('G', "G"),
    ('T', " Tohm"),
];
/// Letters of capacitance.
const FARADS: &[(char, &str)] = &[
    ('p', " pF"),
    ('n', " nF"),
    ('u', " uF"),
    ('\u{B5}', " uF"),
    ('\u{3BC}', " uF"),
    ('m', " mF"),
];
/// Letters of tolerance, in percent.
const TOLERANCES: &[(char, &str)] = &[
    ('B', "0.1"),
    ('C', "0.25"),
    ('D', "0.5"),
    ('F', "1"),
    ('G', "2"),
    ('J', "5"),
    ('K', "10"),
    ('M', "20"),
    ('N', "30"),
];

/// What a code says, as the language writes it in a path: `R10` → `0.1`, `L20` → `0.2 mohm`, `330RG` → `330 2 %`. `unit` is
/// `ohm` or `F`.
pub(super) fn quantity(code: &str, unit: &str) -> Option<String> {
    let letters = if unit == "F" { FARADS } else { OHMS };
    let (whole, rest) = digits(code);
    let letter = rest.chars().next()?;
    let unit = spelled(letters, letter)?;
    let (places, rest) = digits(&rest[letter.len_utf8()..]);
    let mut behind = rest.chars();
    let tolerance = match behind.next() {
        Some(letter) => format!(" {} %", spelled(TOLERANCES, letter)?),
        None => String::new(),
    };
    if behind.next().is_some() || whole.is_empty() && places.is_empty() {
        return None;
    }
    let whole = if whole.is_empty() { "0" } else { whole };
    Some(match places.trim_end_matches('0') {
        "" => format!("{whole}{unit}{tolerance}"),
        places => format!("{whole}.{places}{unit}{tolerance}"),
    })
}

fn spelled(table: &[(char, &'static str)], letter: char) -> Option<&'static str> {
    table.iter().find(|it| it.0 == letter).map(|it| it.1)
}

/// The digits that a text begins with, and the rest.
fn digits(text: &str) -> (&str, &str) {
    let end = text.find(|it: char| !it.is_ascii_digit());
    text.split_at(end.unwrap_or(text.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_spelled_out() {
        for (code, unit, wanted) in [
            ("R10", "ohm", Some("0.1")),
            ("R0047", "ohm", Some("0.0047")),
            ("L20", "ohm", Some("0.2 mohm")),
            ("2L2", "ohm", Some("2.2 mohm")),
            ("330RG", "ohm", Some("330 2 %")),
            ("4k7J", "ohm", Some("4.7k 5 %")),
            ("10KF", "ohm", Some("10k 1 %")),
            ("n33", "F", Some("0.33 nF")),
            ("4n7K", "F", Some("4.7 nF 10 %")),
            ("R", "ohm", None),
            ("R10", "F", None),
            ("10RX", "ohm", None),
            ("10RGG", "ohm", None),
        ] {
            assert_eq!(quantity(code, unit).as_deref(), wanted, "{code}");
        }
    }
}
