//! Facts in words, as a lecturer would say them: numbers, equations on paper, why each equation has its form, what a
//! feedback verdict means, what each word of the language means. It knows no files, editors or protocols.
//!
//! In reading order: [`notation`] (numbers), [`names`] (what things are called in a sentence), [`equation`] (an equation as
//! written on paper), [`feedback`] (a verdict in words), [`real`] (what keeps real op-amps from the ideal answer), [`states`] (how op-amps
//! stand), [`explain`] (each equation term by term), [`words`] (the words of the language).

pub mod equation;
pub mod explain;
pub mod feedback;
pub mod names;
pub mod notation;
pub mod real;
pub mod states;
#[cfg(test)]
mod tests;
pub mod words;

/// How a class writes: which letter stands for a voltage, and which way a current sum counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Writing {
    /// The letter in V+ = V−.
    pub voltage: Letter,
    /// The direction in which a current sum counts.
    pub sums: Sums,
}

/// The letter for a voltage.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Letter {
    /// V+ = V−
    #[default]
    V,
    /// U+ = U−
    U,
}

impl Letter {
    /// As printed.
    pub fn text(self) -> &'static str {
        match self {
            Letter::V => "V",
            Letter::U => "U",
        }
    }
}

/// Which currents a sum adds.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Sums {
    /// Those that leave the node.
    #[default]
    Leaving,
    /// Those that enter it.
    Entering,
}

impl Sums {
    /// "leave", "enter".
    pub fn verb(self) -> &'static str {
        match self {
            Sums::Leaving => "leave",
            Sums::Entering => "enter",
        }
    }
}
