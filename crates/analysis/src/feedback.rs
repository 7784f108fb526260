//! Which way feedback acts: a verdict for each block of op-amps that move each other's inputs.

use circuit::OpampId;
use syntax::Ratio;

/// The verdict on one block.
#[derive(Clone, PartialEq, Debug)]
pub struct Feedback {
    /// The op-amps of the block, in the order of the text.
    pub block: Vec<OpampId>,
    /// What was found.
    pub verdict: Verdict,
    /// How firmly.
    pub proof: Proof,
    /// For each op-amp of the block, what returns from its own output to its own inputs with the other outputs held.
    pub returns: Vec<Return>,
    /// The smallest sets of op-amps whose inputs, swapped, would make the block `Negative`.
    pub repairs: Vec<Vec<OpampId>>,
}

/// Shares of an output that return to the op-amp's own inputs, no unit; `None` where they are not determined.
#[derive(Clone, PartialEq, Debug)]
pub struct Return {
    /// dV+/dVout.
    pub to_plus: Option<Ratio>,
    /// dV−/dVout.
    pub to_minus: Option<Ratio>,
}

/// What feedback does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Verdict {
    /// Stable at every op-amp speed.
    Negative,
    /// Unstable at every op-amp speed.
    Positive,
    /// Stable if the op-amps are alike; other speeds may not be.
    NegativeIfAlike,
    /// Some speeds are stable, alike ones are not.
    DependsOnSpeeds,
    /// Both paths are equal at these values.
    Cancels,
    /// The output cannot move its own inputs.
    None,
    /// Only through capacitors.
    NoneAtDc,
    /// Grows as an oscillation.
    Oscillates,
    /// Grows without turning.
    RunsAway,
    /// On the border.
    Marginal,
    /// An input is adrift, so nothing can be said.
    InputFloats,
}

/// What a verdict rests on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Proof {
    /// Holds at any op-amp speed.
    AnySpeed,
    /// Holds for like op-amps.
    Alike,
    /// Holds for the bandwidths given.
    Given,
    /// No closed test is known: tried at many speeds.
    Sampled,
    /// With capacitors or inductors: judged at rest and at the first instant; what grows slowly between is not counted.
    BothEnds,
}
