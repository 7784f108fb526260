//! Real op-amps in words: what keeps an answer from the ideal one.

use analysis::Answer;
use analysis::board::Cause;
use analysis::gap::{Gap, Reason};
use analysis::shares::{Giver, Resistance};
use circuit::{Circuit, SourceId, SourceKind};
use syntax::Dimension;

use crate::notation;

/// What a part of a gap is put down to, as programs read it: `offset`, `input_resistance`, `limit`.
pub fn id(reason: Reason) -> &'static str {
    match reason {
        Reason::Figure(Cause::Offset) => "offset",
        Reason::Figure(Cause::Bias) => "bias",
        Reason::Figure(Cause::Gain) => "gain",
        Reason::Figure(Cause::Rejection) => "rejection",
        Reason::Figure(Cause::InputResistance) => "input_resistance",
        Reason::Figure(Cause::OutputResistance) => "output_resistance",
        Reason::Rest => "rest",
        Reason::Limit => "limit",
    }
}

/// The same as a student says it: "offset", "input resistance", "limits".
pub fn name(reason: Reason) -> &'static str {
    match reason {
        Reason::Figure(Cause::Offset) => "offset",
        Reason::Figure(Cause::Bias) => "bias current",
        Reason::Figure(Cause::Gain) => "finite gain",
        Reason::Figure(Cause::Rejection) => "rejection",
        Reason::Figure(Cause::InputResistance) => "input resistance",
        Reason::Figure(Cause::OutputResistance) => "output resistance",
        Reason::Rest => "the rest together",
        Reason::Limit => "limits",
    }
}

/// Whether a data sheet gives its size without its sign, so that what it does may as well count the other way.
pub fn is_unsigned(reason: Reason) -> bool {
    matches!(reason, Reason::Figure(Cause::Offset | Cause::Rejection))
}

/// Stands above the table of causes.
pub fn gap_title(gap: &Gap) -> &'static str {
    match gap.parts.iter().any(|it| it.reason == Reason::Limit) {
        true => {
            "As written and ideal: the gap is the sum of its causes from left to right, limits last"
        }
        false => {
            "Real and ideal op-amps: the gap is the sum of its causes, switched on from left to right"
        }
    }
}

/// What [`Reason::Rest`] means, for a reader.
pub const REST: &str = "The rest together: with the next cause alone switched on, the equations of linear op-amps have no single answer, so what comes behind is not told apart.";

/// What [`is_unsigned`] means, for a reader.
pub const UNSIGNED: &str = "± stands where a data sheet gives a size and no sign (offset, rejection): with the sign turned this part of the gap turns too (that of rejection nearly).";

/// What gives a share: `probe`, `A1.offset`, `A1.bias`, `A1.limit`.
pub fn giver(circuit: &Circuit, giver: Giver) -> String {
    match giver {
        Giver::Source(id) => circuit.sources[id.index()].name.clone(),
        Giver::Offset(id) => format!("{}.offset", circuit.opamps[id.index()].name),
        Giver::Bias(id) => format!("{}.bias", circuit.opamps[id.index()].name),
        Giver::Limit(id) => format!("{}.limit", circuit.opamps[id.index()].name),
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
pub fn part(volts: &Answer, reason: Reason) -> String {
    let stands = !volts.is_zero() && volts.sign().is_some();
    match is_unsigned(reason) && stands {
        true => format!("±{}", notation::short(&volts.abs(), Dimension::VOLT)),
        false => notation::short(volts, Dimension::VOLT),
    }
}
