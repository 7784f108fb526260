//! How op-amps stand, in words.

use analysis::states::{Limits, Mode, State, Switch};
use analysis::{Answer, Outcome, Study};
use circuit::{Circuit, GROUND, OpampId, Part, SourceKind};
use syntax::Dimension;

use crate::{names, notation};

/// A mode as programs read it.
pub fn id(mode: Mode) -> &'static str {
    match mode {
        Mode::Linear => "linear",
        Mode::High => "high",
        Mode::Low => "low",
        Mode::Sourcing => "sourcing",
        Mode::Sinking => "sinking",
    }
}

/// "at its high limit of 7.5 V", "at its limit of sourcing 20 mA", "linear": what an op-amp is or stands.
pub fn stands(circuit: &Circuit, parts: &[Part], opamp: OpampId, mode: Mode) -> String {
    let limits = Limits::of(&circuit.opamps[opamp.index()], parts);
    let value = |dimension| {
        let value = limits
            .value(mode)
            .map(|it| notation::number(&it, dimension));
        let value = value.unwrap_or_default();
        value.trim_start_matches('−').to_owned()
    };
    let volts = || {
        let value = limits.value(mode);
        value.map_or(String::new(), |it| notation::number(&it, Dimension::VOLT))
    };
    match mode {
        Mode::Linear => "linear".into(),
        Mode::High => format!("at its high limit of {}", volts()),
        Mode::Low => format!("at its low limit of {}", volts()),
        Mode::Sourcing => format!("at its limit of sourcing {}", value(Dimension::AMPERE)),
        Mode::Sinking => format!("at its limit of sinking {}", value(Dimension::AMPERE)),
    }
}

/// The modes of one op-amp in all stable states, each once: "high or low".
pub fn choice(study: &Study, circuit: &Circuit, parts: &[Part], opamp: OpampId) -> String {
    let mut modes: Vec<Mode> = Vec::new();
    for state in study
        .states(circuit, parts)
        .iter()
        .flat_map(|it| it.stable())
    {
        let mode = state.modes[opamp.index()];
        if !modes.contains(&mode) {
            modes.push(mode);
        }
    }
    let words: Vec<&str> = modes.into_iter().map(id).collect();
    words.join(" or ")
}

/// The op-amps by which the stable states differ, with their modes in one of them: "`A1` is high".
pub fn told_apart(study: &Study, circuit: &Circuit, parts: &[Part], state: &State) -> String {
    let ids = (0..circuit.opamps.len() as u32).map(OpampId);
    let differs = ids.filter(|it| study.mode(circuit, parts, *it).is_none());
    let all: Vec<OpampId> = differs.collect();
    names::few(&all, |it| {
        let name = &circuit.opamps[it.index()].name;
        format!("`{name}` is {}", id(state.modes[it.index()]))
    })
}

/// What a value is in each stable state, where they differ: "5 V while `A1` is high, 0 V while `A1` is low". The first few of many.
pub fn by_state(
    study: &Study,
    circuit: &Circuit,
    parts: &[Part],
    dimension: Dimension,
    value: impl Fn(&State) -> Option<Answer>,
) -> Option<String> {
    if *study.outcome(circuit, parts) != Outcome::Several {
        return None;
    }
    const MOST: usize = 4;
    let states: Vec<&State> = study.states(circuit, parts)?.stable().collect();
    let mut words = Vec::new();
    for state in states.iter().take(MOST) {
        words.push(format!(
            "{} while {}",
            notation::short(&value(state)?, dimension),
            told_apart(study, circuit, parts, state)
        ));
    }
    if states.len() > MOST {
        words.push(format!("and so on in {} more states", states.len() - MOST));
    }
    Some(words.join(", "))
}

/// "`A1` leaves low as `in` falls past 2 V".
pub fn switch(circuit: &Circuit, switch: &Switch) -> Vec<String> {
    let source = &circuit.sources[switch.source.index()];
    // A source that holds a node against ground is told by its node.
    let (what, at, dimension, turned) = match source.kind {
        SourceKind::Voltage {
            plus,
            minus: GROUND,
        } => (
            names::node(circuit, plus),
            switch.at.clone(),
            Dimension::VOLT,
            false,
        ),
        SourceKind::Voltage {
            plus: GROUND,
            minus,
        } => (
            names::node(circuit, minus),
            -&switch.at,
            Dimension::VOLT,
            true,
        ),
        SourceKind::Voltage { .. } => (
            format!("`{}`", source.name),
            switch.at.clone(),
            Dimension::VOLT,
            false,
        ),
        SourceKind::Current { .. } => (
            format!("`{}`", source.name),
            switch.at.clone(),
            Dimension::AMPERE,
            false,
        ),
    };
    let moves = if switch.rises != turned {
        "rises"
    } else {
        "falls"
    };
    let leaving = switch.leaving.iter().map(|it| {
        let name = &circuit.opamps[it.index()].name;
        let from = id(switch.from[it.index()]);
        let mut to: Vec<&str> = switch.to.iter().map(|to| id(to[it.index()])).collect();
        to.dedup();
        let to = match to.is_empty() {
            true => "rests nowhere".to_owned(),
            false => format!("goes {}", to.join(" or ")),
        };
        format!(
            "`{name}` leaves {from} and {to} as {what} {moves} past {}",
            notation::full(&at, dimension)
        )
    });
    leaving.collect()
}
