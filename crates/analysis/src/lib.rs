//! Node equations, exact answers, structural faults and feedback verdicts: typed facts about one circuit.
//!
//! It knows linear algebra and network theory, and no text, files, editors or sentences.
//!
//! Data walks through the modules in this order: [`network`] (the circuit at direct current: what fixes voltages, what
//! conducts), [`faults`] (what keeps the equations from having one answer), [`equations`] (N equations for N unknowns),
//! [`linear`] (solving them exactly), [`solution`] (voltages, currents, powers), [`board`] (real op-amps as a plain circuit for all of these),
//! [`gap`] (real less ideal, by cause), [`shares`] (what each source does, and what resistances are seen), [`feedback`] (which way each block of
//! op-amps acts), [`states`] (op-amps at their limits: all states, and where they end), [`claims`] (what `expect` claims, judged).
//! For judging limits: [`inputs`] (what inputs look into), [`extremes`] (how far waves go).

pub mod answer;
pub mod board;
pub mod claims;
pub mod equations;
pub mod extremes;
pub mod faults;
pub mod feedback;
pub mod gap;
pub mod inputs;
pub mod linear;
pub mod network;
pub mod shares;
pub mod solution;
pub mod states;
mod study;

pub use answer::Answer;
pub use study::{Outcome, Study, Trouble};
