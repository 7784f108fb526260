//! The linear answer lies beyond a rail less its headroom: the op-amp is at its limit.

use analysis::{Answer, Trouble};
use circuit::{Claim, ClaimKind, OpampId, StateClaim};
use syntax::{Dimension, Number};
use teaching::{names, notation};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "swing",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An output cannot go beyond its rails, and most parts keep some headroom from them. Where V+ = V− would need more, the op-amp
stands at its limit, V+ = V− no longer holds, and every voltage behind it is another one. Less gain, a smaller input or a
larger supply bring it back; if the limit is meant, claim it: `expect A1 at low rail`.
# Wrong
    supply +9 V and -9 V
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 100k -- out
    opamp A1: plus ground, minus sum, drives out
# Right
    supply +9 V and -9 V
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let troubles = checked.troubles();
    let untrusted = troubles
        .iter()
        .any(|it| matches!(it, Trouble::NoSingleAnswer | Trouble::Feedback(_)));
    if untrusted || checked.incomplete() {
        return;
    }
    for trouble in &troubles {
        let Trouble::BeyondRail(opamp) = trouble else {
            continue;
        };
        // a claim that it is linear tells the same, as an error
        if !checked
            .circuit
            .claims
            .iter()
            .any(|it| claims_linear(it, *opamp))
        {
            findings.extend(beyond(checked, *opamp));
        }
    }
}

fn beyond(checked: &Checked, id: OpampId) -> Option<Finding> {
    let opamp = &checked.circuit.opamps[id.index()];
    let words = limit(checked, id)?;
    let message = format!("`{}` cannot hold V+ = V−: {}", opamp.name, words.short);
    let message = message.replace('V', "V");
    let help = format!(
        "{} Beyond it the output stands at its limit, V+ = V− no longer holds, and the voltages that follow from it are others. Less \
         gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect {} at {} rail`.",
        words.source,
        opamp.name,
        if words.high { "high" } else { "low" }
    );
    let finding = checked.finding(&RULE, opamp.name_place, message, help);
    let out = checked.circuit.node_name(opamp.drives).to_string();
    let finding = finding.about([opamp.name.clone(), out]);
    Some(match &opamp.supply {
        Some(supply) => finding.also(supply.place, "its rails"),
        None => finding,
    })
}

/// How far beyond which limit an output would have to be.
pub(crate) struct Beyond {
    /// "`out` would have to be −12 V, below its low limit of −9 V".
    pub(crate) short: String,
    /// Where the limit comes from, a sentence.
    pub(crate) source: String,
    /// Whether it is the high one.
    pub(crate) high: bool,
}

/// The words about an output beyond its limit; `None` where it is not.
pub(crate) fn limit(checked: &Checked, id: OpampId) -> Option<Beyond> {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let supply = opamp.supply.as_ref()?;
    let solution = checked.study.solution(circuit, &checked.book.parts);
    let output = solution.opamps.get(id.index())?.as_ref()?;
    let high = match (&output.margin_high, &output.margin_low) {
        (Some(margin), _) if is_negative(margin) => true,
        (_, Some(margin)) if is_negative(margin) => false,
        _ => return None,
    };
    let rail = if high { &supply.high } else { &supply.low };
    let part = opamp.part.map(|it| &checked.book.parts[it.index()]);
    let headroom = part.and_then(|part| Some((part, &part.headroom.as_ref()?[usize::from(high)])));
    let headroom = headroom.filter(|(_, room)| !room.is_zero());
    let volts = |number: &Number| notation::number(number, Dimension::VOLT);
    let (end, sense) = if high {
        ("high", "above")
    } else {
        ("low", "below")
    };
    let limit = match headroom {
        None => rail.volts.clone(),
        Some((_, room)) if high => rail.volts.sub(room),
        Some((_, room)) => rail.volts.add(room),
    };
    let node = names::node(circuit, opamp.drives);
    let short = match checked.settings.hidden {
        true => format!(
            "{node} would have to be {sense} its {end} limit of {}",
            volts(&limit)
        ),
        false => format!(
            "{node} would have to be {}, {sense} its {end} limit of {}",
            notation::short(&output.voltage, Dimension::VOLT),
            volts(&limit)
        ),
    };
    let at = match rail.node {
        Some(circuit::GROUND) => format!("The {end} rail is ground, 0 V"),
        Some(node) => format!(
            "The {end} rail is {}, {}",
            names::node(circuit, node),
            volts(&rail.volts)
        ),
        None => format!("The {end} rail is {}", volts(&rail.volts)),
    };
    let source = match headroom {
        None => format!("{at}, and an output cannot go beyond it."),
        Some((part, room)) => format!(
            "{at}, and the part `{}` keeps {} from it.",
            part.name,
            volts(room)
        ),
    };
    Some(Beyond {
        short,
        source,
        high,
    })
}

fn is_negative(answer: &Answer) -> bool {
    match answer {
        Answer::Exact(exact) => *exact < syntax::Ratio::ZERO,
        Answer::Float { value, bound } => value + bound < 0.0,
    }
}

fn claims_linear(claim: &Claim, opamp: OpampId) -> bool {
    matches!(&claim.kind, Some(ClaimKind::State { opamp: of, state: StateClaim::Linear }) if *of == opamp)
}
