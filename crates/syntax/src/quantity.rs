//! Numbers with units: exact rationals in base units, and what kind of number each one is.

use crate::Span;

pub use dashu_ratio::RBig as Ratio;

/// A number: exact where the text is exact.
#[derive(Clone, PartialEq, Debug)]
pub enum Number {
    /// Exactly this.
    Exact(Ratio),
    /// From `sqrt`, `log10`, `Vrms`, most decibels: within a few units in the last place of this.
    Rounded(f64),
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
