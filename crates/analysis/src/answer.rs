//! A number with its honesty: exact, or floating with a bound.

use syntax::Ratio;

/// An answer in base units.
#[derive(Clone, PartialEq, Debug)]
pub enum Answer {
    /// Exactly this.
    Exact(Ratio),
    /// |true − value| ≤ bound.
    Float {
        /// The nearest value known.
        value: f64,
        /// How far off it can be.
        bound: f64,
    },
}
