//! Voltages, currents and powers from the solved equations; ideal op-amps.

use crate::Answer;

/// The ideal answer. Each vector is indexed like the circuit's; `None` where the equations do not fix it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Solution {
    /// Node voltages; ground is exactly 0.
    pub nodes: Vec<Option<Answer>>,
    /// Of each element.
    pub elements: Vec<Option<Carried>>,
    /// Of each source; the current includes op-amps fed by the node that it holds.
    pub sources: Vec<Option<Carried>>,
    /// Of each op-amp.
    pub opamps: Vec<Option<Output>>,
}

/// Voltage across (first end minus second), current, power absorbed. Signs as the language says.
#[derive(Clone, PartialEq, Debug)]
pub struct Carried {
    /// In volts.
    pub voltage: Answer,
    /// In amperes; `None` where parallel wires share it in no certain way.
    pub current: Option<Answer>,
    /// In watts.
    pub power: Option<Answer>,
}

/// An op-amp's output.
#[derive(Clone, PartialEq, Debug)]
pub struct Output {
    /// In volts.
    pub voltage: Answer,
    /// In amperes, positive out of the pin.
    pub current: Option<Answer>,
    /// Heat (rail − output)·current in watts; `None` without supply.
    pub power: Option<Answer>,
    /// High limit (rail less headroom) minus output, in volts; negative beyond it; `None` without supply.
    pub margin_high: Option<Answer>,
    /// Output minus low limit.
    pub margin_low: Option<Answer>,
}
