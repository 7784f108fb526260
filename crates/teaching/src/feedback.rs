//! A feedback verdict in words.

use analysis::feedback::{Feedback, Proof, Return, Verdict};
use circuit::{Circuit, OpampId};
use syntax::Ratio;

use crate::{Writing, names, notation};

/// The verdict's id in every output.
pub fn id(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Negative => "negative",
        Verdict::Positive => "positive",
        Verdict::NegativeIfAlike => "negative_if_alike",
        Verdict::DependsOnSpeeds => "depends_on_speeds",
        Verdict::Cancels => "cancels",
        Verdict::None => "none",
        Verdict::NoneAtDc => "none_at_dc",
        Verdict::Oscillates => "oscillates",
        Verdict::RunsAway => "runs_away",
        Verdict::Marginal => "marginal",
        Verdict::InputFloats => "input_floats",
        Verdict::TooMany => "too_many",
        Verdict::HeldByGain => "held_by_gain",
    }
}

/// One line about one op-amp, for a hover: "negative: of a small rise of `out`, 10/43 comes back to minus and nothing to plus".
pub fn line(circuit: &Circuit, feedback: &Feedback, opamp: OpampId) -> String {
    let verdict = match feedback.verdict {
        Verdict::Negative => "negative",
        Verdict::Positive => "positive",
        Verdict::NegativeIfAlike => "negative if the op-amps are alike",
        Verdict::DependsOnSpeeds => "depends on which op-amp is quicker",
        Verdict::Cancels => "cancels, as much comes back to plus as to minus",
        Verdict::None => return "none: the output cannot move its own inputs".into(),
        Verdict::NoneAtDc => {
            return "none at rest: only capacitors lead the output back to its inputs".into();
        }
        Verdict::Oscillates => "a small disturbance grows into an oscillation",
        Verdict::RunsAway => "a small disturbance grows until the output is at a rail",
        Verdict::Marginal => "on the border, a disturbance neither grows nor dies away",
        Verdict::HeldByGain => by_gain(feedback),
        Verdict::InputFloats => {
            return "unknown: with the output held, nothing fixes the voltage at an input".into();
        }
        Verdict::TooMany => {
            return "unknown: too many op-amps move each other to be judged together".into();
        }
    };
    let mut line = verdict.to_string();
    if let Some(shares) = shares(circuit, feedback, opamp) {
        line.push_str(&format!(": {shares}"));
    }
    if let [_, _, ..] = feedback.block.as_slice() {
        line.push_str(&format!(
            "; it is judged for the loop through {} together",
            opamps(circuit, &feedback.block)
        ));
    }
    if let Some(firmness) = firmness(feedback) {
        line.push_str(&format!("; {firmness}"));
    }
    line
}

/// What ideal op-amps would do where finite gains hold the real ones.
fn by_gain(feedback: &Feedback) -> &'static str {
    match (feedback.ideally, feedback.block.len()) {
        (Verdict::Positive, 1) => {
            "held by its finite gain alone, an ideal op-amp would run away to a rail"
        }
        (Verdict::Positive, _) => {
            "held by finite gains alone, ideal op-amps would run away to their rails"
        }
        (_, 1) => {
            "held by its finite gain alone, with an ideal op-amp a disturbance would not die away"
        }
        _ => "held by finite gains alone, with ideal op-amps a disturbance would not die away",
    }
}

/// "of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (`ref`)"; `None` where it is not determined.
pub fn shares(circuit: &Circuit, feedback: &Feedback, opamp: OpampId) -> Option<String> {
    let Return {
        to_plus: Some(plus),
        to_minus: Some(minus),
    } = returned(feedback, opamp)?
    else {
        return None;
    };
    let part = &circuit.opamps[opamp.index()];
    let out = names::node(circuit, part.drives);
    let rise = match feedback.sudden {
        true => format!("of a sudden rise of {out}, while capacitors keep their voltages,"),
        false => format!("of a small rise of {out},"),
    };
    Some(match (plus.is_zero(), minus.is_zero()) {
        (true, true) => format!(
            "{} nothing comes back to its own inputs directly",
            rise.trim_end_matches(',')
        ),
        _ => format!(
            "{rise} {} comes back to minus ({}) and {} to plus ({})",
            amount(minus),
            names::node(circuit, part.minus),
            amount(plus),
            names::node(circuit, part.plus)
        ),
    })
}

/// Why V+ = V− stands for this op-amp (or why it must not be trusted), in one or two sentences.
pub fn reason(
    circuit: &Circuit,
    feedback: Option<&Feedback>,
    opamp: OpampId,
    writing: Writing,
) -> String {
    let part = &circuit.opamps[opamp.index()];
    let (name, v, out) = (
        &part.name,
        writing.voltage.text(),
        names::node(circuit, part.drives),
    );
    let Some(feedback) = feedback else {
        return format!(
            "An ideal op-amp with negative feedback holds its two inputs at one voltage, and `{name}` is taken as one."
        );
    };
    let shares = shares(circuit, feedback, opamp)
        .map(|it| format!("{}. ", names::sentence(&it)))
        .unwrap_or_default();
    let alone = feedback.block.len() == 1;
    match feedback.verdict {
        Verdict::Negative | Verdict::NegativeIfAlike => {
            let what = match (feedback.verdict, alone) {
                (Verdict::Negative, true) => "negative feedback".to_string(),
                (_, true) => "negative feedback, as far as could be tried".to_string(),
                (Verdict::Negative, false) => {
                    format!(
                        "negative feedback in the loop through {}",
                        opamps(circuit, &feedback.block)
                    )
                }
                _ => format!(
                    "negative feedback in the loop through {}, if they are alike",
                    opamps(circuit, &feedback.block)
                ),
            };
            let falls = match pulls_back(feedback, opamp) {
                true => format!(
                    "If {out} rises a little, {v}+ − {v}− falls and pulls {out} back down. "
                ),
                false => String::new(),
            };
            format!("`{name}` has {what}. {shares}{falls}So {out} moves until {v}+ = {v}−.")
        }
        Verdict::Positive if alone => format!(
            "Careful: the feedback of `{name}` is positive. {shares}If {out} rises a little, {v}+ − {v}− rises too and drives \
             {out} further up, to a rail. {v}+ = {v}− is only what the ideal rules would say."
        ),
        Verdict::None | Verdict::NoneAtDc => format!(
            "Careful: at rest {out} cannot move the inputs of `{name}`, so nothing makes {v}+ equal {v}−. This equation is only \
             what the ideal rules would say."
        ),
        _ => format!(
            "Careful: the feedback of `{name}` does not hold its inputs equal ({}). {v}+ = {v}− is only what the ideal rules \
             would say.",
            line(circuit, feedback, opamp)
        ),
    }
}

/// The names of these op-amps, the first few of many.
pub fn opamps(circuit: &Circuit, opamps: &[OpampId]) -> String {
    names::few(opamps, |it| {
        format!("`{}`", circuit.opamps[it.index()].name)
    })
}

fn returned(feedback: &Feedback, opamp: OpampId) -> Option<&Return> {
    feedback
        .returns
        .get(feedback.block.iter().position(|it| *it == opamp)?)
}

/// Whether a rise of the output makes V+ − V− fall with the other outputs held.
fn pulls_back(feedback: &Feedback, opamp: OpampId) -> bool {
    matches!(returned(feedback, opamp), Some(Return { to_plus: Some(plus), to_minus: Some(minus) }) if minus > plus)
}

fn amount(share: &Ratio) -> String {
    if share.is_zero() {
        return "nothing".into();
    }
    if share.is_one() {
        return "all".into();
    }
    notation::share(share)
}

fn firmness(feedback: &Feedback) -> Option<&'static str> {
    match feedback.proof {
        Proof::AnySpeed | Proof::Alike if feedback.block.len() == 1 => None,
        Proof::BothEnds => Some(
            "judged at rest and at the first instant, so a slow growth between the two is not seen",
        ),
        Proof::Between => Some(
            "judged at rest, at the first instant, and between the two by the natural frequencies with quick op-amps",
        ),
        Proof::AnySpeed => Some("true at any speed of the op-amps"),
        Proof::Alike => Some("true if the op-amps are equally quick"),
        Proof::Given => Some("true for the bandwidths of their parts"),
        Proof::Sampled => Some("tried at many speeds of the op-amps, not proved"),
    }
}
