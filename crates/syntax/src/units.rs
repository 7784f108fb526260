//! The table of units, prefixes and marking codes.

use crate::quantity::{Dimension, Form};

/// A unit as the table has it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Unit {
    /// A number with it is this power of ten of base units.
    pub(crate) exponent: i32,
    /// What it measures.
    pub(crate) dimension: Dimension,
    /// How such a quantity counts.
    pub(crate) form: Form,
}

/// The unit of this name, with or without its prefix; a bare `k`, `M` or `G` is ohms.
pub(crate) fn unit(text: &str) -> Option<Unit> {
    if let Some(ohms) = bare_ohms(text) {
        return Some(ohms);
    }
    if let Some((dimension, form)) = base(text) {
        return Some(Unit {
            exponent: 0,
            dimension,
            form,
        });
    }
    let mut characters = text.chars();
    let exponent = prefix(characters.next()?)?;
    match base(characters.as_str())? {
        (_, Form::Decibel | Form::Percent) | (Dimension::DEGREE, _) => None,
        (dimension, form) => Some(Unit {
            exponent,
            dimension,
            form,
        }),
    }
}

/// What a marking code's letter and the digits behind it say: `k7` of `4k7`, `n7F` of `4n7F`. The digits stand for the
/// places after the point.
pub(crate) fn marking(text: &str) -> Option<(Unit, &str)> {
    let mut characters = text.chars();
    let letter = characters.next()?;
    let rest = characters.as_str();
    let (digits, dimension) = match rest.strip_suffix('F') {
        Some(digits) => (digits, Dimension::FARAD),
        None => (rest, Dimension::OHM),
    };
    if digits.len() > 40 || !digits.bytes().all(|it| it.is_ascii_digit()) {
        return None;
    }
    let exponent = match letter {
        'R' if dimension == Dimension::OHM => 0,
        'K' if dimension == Dimension::OHM => 3,
        'k' | 'M' | 'G' | 'T' if dimension == Dimension::OHM => prefix(letter)?,
        'm' | 'u' | 'µ' | 'μ' | 'n' | 'p'
            if dimension == Dimension::FARAD && !digits.is_empty() =>
        {
            prefix(letter)?
        }
        _ => return None,
    };
    Some((
        Unit {
            exponent,
            dimension,
            form: Form::Unit,
        },
        digits,
    ))
}

/// Whether a quantity's text ends with volts, so that `/us` may follow.
pub(crate) fn is_volts(text: &str) -> bool {
    text.ends_with('V') && !text.contains('/')
}

/// Whether volts may be given per this unit.
pub(crate) fn divides_volts(text: &str) -> bool {
    unit(text).is_some_and(|it| {
        it.form == Form::Unit
            && (it.dimension == Dimension::SECOND || it.dimension == Dimension::VOLT)
    })
}

fn bare_ohms(text: &str) -> Option<Unit> {
    let exponent = match text {
        "k" => 3,
        "M" => 6,
        "G" => 9,
        _ => return None,
    };
    Some(Unit {
        exponent,
        dimension: Dimension::OHM,
        form: Form::Unit,
    })
}

fn base(text: &str) -> Option<(Dimension, Form)> {
    Some(match text {
        "V" => (Dimension::VOLT, Form::Unit),
        "A" => (Dimension::AMPERE, Form::Unit),
        "s" => (Dimension::SECOND, Form::Unit),
        "Hz" => (Dimension::HERTZ, Form::Unit),
        "ohm" | "\u{3A9}" | "\u{2126}" => (Dimension::OHM, Form::Unit),
        "W" => (Dimension::WATT, Form::Unit),
        "S" => (Dimension::SIEMENS, Form::Unit),
        "F" => (Dimension::FARAD, Form::Unit),
        "H" => (Dimension::HENRY, Form::Unit),
        "deg" => (Dimension::DEGREE, Form::Unit),
        "%" => (Dimension::NONE, Form::Percent),
        "dB" => (Dimension::NONE, Form::Decibel),
        "Vpp" => (Dimension::VOLT, Form::PeakToPeak),
        "Vrms" => (Dimension::VOLT, Form::RootMeanSquare),
        _ => return None,
    })
}

fn prefix(letter: char) -> Option<i32> {
    Some(match letter {
        'T' => 12,
        'G' => 9,
        'M' => 6,
        'k' => 3,
        'm' => -3,
        'u' | '\u{B5}' | '\u{3BC}' => -6,
        'n' => -9,
        'p' => -12,
        'f' => -15,
        _ => return None,
    })
}
