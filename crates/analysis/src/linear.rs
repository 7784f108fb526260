//! Linear equations over the rationals: split into blocks, solved exactly, floating point with a bound beyond the budget.

use syntax::Ratio;

use crate::Answer;

/// A coefficient: its value, and how far the true one may be from it (0 where the text is exact).
#[derive(Clone, PartialEq, Debug)]
pub struct Coefficient {
    /// The value used.
    pub value: Ratio,
    /// |true − value| ≤ error.
    pub error: f64,
}

/// Σ factor · unknown = right.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Row {
    /// Unknown and factor; an unknown stands at most once.
    pub terms: Vec<(usize, Coefficient)>,
    /// The right side, one entry for each right side asked for.
    pub right: Vec<Coefficient>,
}

/// Equations for `unknowns` unknowns; every row has the same number of right sides.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct System {
    /// How many unknowns.
    pub unknowns: usize,
    /// The equations.
    pub rows: Vec<Row>,
}

/// What solving found.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Solved {
    /// For each right side, for each unknown: its one value; `None` where the equations do not fix it.
    pub values: Vec<Vec<Option<Answer>>>,
    /// The unknowns of each block of the block triangular form, in the order of solving.
    pub blocks: Vec<Vec<usize>>,
}
