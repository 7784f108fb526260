//! What the inputs of op-amps look into: the resistance from a pin to all that holds a voltage.
//!
//! Independent sources at rest, every output held where it is. A bias current I into a pin then moves it by I times this
//! resistance, and an input resistance divides what comes back against it.

use circuit::{Circuit, GROUND, NodeId, OpampId, Source, SourceKind};
use syntax::{Number, Place};

use crate::Answer;
use crate::equations;
use crate::linear::Budget;
use crate::network::Network;
use crate::solution;

/// The resistance that the plus and the minus input of each of these op-amps look into, in ohms; `None` where nothing holds
/// the pin.
pub fn resistances(circuit: &Circuit, opamps: &[OpampId]) -> Vec<[Option<Answer>; 2]> {
    let mut still = circuit.clone();
    for source in &mut still.sources {
        source.constant = Number::ZERO;
    }
    for opamp in std::mem::take(&mut still.opamps) {
        let output = SourceKind::Voltage {
            plus: opamp.drives,
            minus: GROUND,
        };
        still.sources.push(at_rest(output));
    }
    let first = still.sources.len();
    let pins = opamps.iter().flat_map(|it| {
        let opamp = &circuit.opamps[it.index()];
        [opamp.plus, opamp.minus]
    });
    let pins: Vec<NodeId> = pins.collect();
    still.sources.extend(pins.iter().map(|pin| {
        at_rest(SourceKind::Current {
            from: GROUND,
            into: *pin,
        })
    }));
    let network = Network::of(&still);
    let equations = equations::equations(&still, &network);
    let (zero, one) = (Number::ZERO, Number::ONE);
    let one_at = |index: usize| {
        let mut drives = vec![&zero; still.sources.len()];
        drives[first + index] = &one;
        drives
    };
    let drives: Vec<Vec<&Number>> = (0..pins.len()).map(one_at).collect();
    let budget = Budget::default();
    let solved = solution::solve_for(&still, &[], &network, &equations, &drives, budget);
    let seen = solved.iter().zip(&pins);
    let seen = seen.map(|(it, pin)| it.nodes.get(pin.index()).cloned().flatten());
    let seen: Vec<Option<Answer>> = seen.collect();
    seen.chunks_exact(2)
        .map(|it| [it[0].clone(), it[1].clone()])
        .collect()
}

/// A source that the text does not say.
fn at_rest(kind: SourceKind) -> Source {
    Source {
        name: String::new(),
        kind,
        constant: Number::ZERO,
        controls: Vec::new(),
        wave: None,
        place: Place::default(),
        name_place: Place::default(),
        drive_place: Place::default(),
        end_places: [None, None],
        description: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(text: &str) -> Vec<[Option<f64>; 2]> {
        let book = circuit::build("a.amp", text.into(), &mut |_| None);
        assert!(book.faults.is_empty(), "{:?}", book.faults);
        let circuit = &book.circuits[0];
        let all: Vec<OpampId> = (0..circuit.opamps.len() as u32).map(OpampId).collect();
        let seen = resistances(circuit, &all).into_iter();
        seen.map(|it| it.map(|it| it.map(|it| it.to_f64())))
            .collect()
    }

    // By hand: outputs held, sources at rest, so that resistors side by side combine.
    #[test]
    fn resistors_from_a_pin_to_what_is_held_combine() {
        let inverting = "source s: in = 1 V\nin -- R1 10k -- sum -- R2 40k -- out\nopamp A1: plus ground, minus sum, drives out\n";
        assert_eq!(seen(inverting), [[Some(0.0), Some(8e3)]]);
        let chain = "source s: in = 1 V\nin -- R1 1M -- a -- R2 2M -- p\na -- R3 1M -- ground\nopamp A1: plus p, minus out, drives out\n";
        assert_eq!(seen(chain), [[Some(2.5e6), Some(0.0)]]);
        let current = "source s: 1 uA from ground into p\np -- R1 5k -- ground\nopamp A1: plus p, minus m, drives out\nout -- R2 3k -- m -- R3 6k -- ground\nopamp A2: plus out, minus u, drives u\n";
        assert_eq!(
            seen(current),
            [[Some(5e3), Some(2e3)], [Some(0.0), Some(0.0)]]
        );
        let open =
            "source s: in = 1 V\nin -- C1 1 uF -- p\nopamp A1: plus p, minus out, drives out\n";
        assert_eq!(seen(open), [[None, Some(0.0)]]);
    }
}
