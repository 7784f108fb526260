//! Real op-amps in words: what keeps an answer from the ideal one.

use analysis::Answer;
use analysis::board::Cause;
use analysis::shares::{Giver, Resistance};
use circuit::{Circuit, SourceId, SourceKind};
use syntax::Dimension;

use crate::notation;

/// A cause as programs read it: `offset`, `input_resistance`.
pub fn id(cause: Cause) -> &'static str {
    match cause {
        Cause::Offset => "offset",
        Cause::Bias => "bias",
        Cause::Gain => "gain",
        Cause::Rejection => "rejection",
        Cause::InputResistance => "input_resistance",
        Cause::OutputResistance => "output_resistance",
    }
}

/// A cause as a student says it: "offset", "input resistance".
pub fn name(cause: Cause) -> &'static str {
    match cause {
        Cause::Offset => "offset",
        Cause::Bias => "bias current",
        Cause::Gain => "finite gain",
        Cause::Rejection => "rejection",
        Cause::InputResistance => "input resistance",
        Cause::OutputResistance => "output resistance",
    }
}

/// Whether a data sheet gives its size without its sign, so that what it does may as well count the other way.
pub fn is_unsigned(cause: Cause) -> bool {
    matches!(cause, Cause::Offset | Cause::Rejection)
}

/// What [`is_unsigned`] means, for a reader.
pub const UNSIGNED: &str = "± stands where a data sheet gives a size and no sign (offset, rejection): with the sign turned this part of the gap turns too (that of rejection nearly).";

/// What gives a share: `probe`, `A1.offset`, `A1.bias`.
pub fn giver(circuit: &Circuit, giver: Giver) -> String {
    match giver {
        Giver::Source(id) => circuit.sources[id.index()].name.clone(),
        Giver::Offset(id) => format!("{}.offset", circuit.opamps[id.index()].name),
        Giver::Bias(id) => format!("{}.bias", circuit.opamps[id.index()].name),
    }
}

/// The unit of a node's voltage per unit of a source: a plain ratio, or ohms.
pub fn gain_dimension(circuit: &Circuit, source: SourceId) -> Dimension {
    match circuit.sources[source.index()].kind {
        SourceKind::Voltage { .. } => Dimension::NONE,
        SourceKind::Current { .. } => Dimension::OHM,
    }
}

/// A resistance that is seen: `10 kΩ`, "infinite".
pub fn resistance(resistance: &Resistance) -> String {
    match resistance {
        Resistance::Ohms(ohms) => notation::short(ohms, Dimension::OHM),
        Resistance::Infinite => "infinite (no current flows)".into(),
    }
}

/// Stands below ideal equations whose circuit is answered with real op-amps.
pub const EQUATIONS_ARE_IDEAL: &str = "These are the equations of ideal op-amps, as they are taught. The answers below are with each op-amp as its part says; ampersum equations --real writes their equations.";

/// One part of a gap, in volts: `−4 mV`, `±3 mV`, `0`.
pub fn part(volts: &Answer, cause: Cause) -> String {
    let stands = !volts.is_zero() && volts.sign().is_some();
    match is_unsigned(cause) && stands {
        true => format!("±{}", notation::short(&volts.abs(), Dimension::VOLT)),
        false => notation::short(volts, Dimension::VOLT),
    }
}
