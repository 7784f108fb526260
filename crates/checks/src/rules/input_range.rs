//! An input outside the range in which its op-amp works.

use analysis::Answer;
use analysis::solution::Solution;
use circuit::OpampId;
use syntax::{Dimension, Number};
use teaching::notation;

use super::supply_range;
use crate::limits::{Side, exceeds, named};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "input_range",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
The inputs of an op-amp work between its rails only, and of many parts not even near them: what the part says in `inputs` is
how far they must stay inside. Outside, the op-amp no longer compares its inputs; some parts turn their output over. Where no
part says it, an input may be at a rail, and 0.3 V beyond it the diodes at the input begin to conduct (a maker's support note):
a series resistor that limits the current to 10 mA, or 3 mA by some, saves the part.
# Wrong
    part old_kind
      inputs low 2 V, high 2 V
    end
    circuit c
    supply 12 V
    opamps are old_kind
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
# Right
    part old_kind
      inputs low 2 V, high 2 V
    end
    circuit c
    supply +12 V and -5 V
    opamps are old_kind
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let opamps = &checked.circuit.opamps;
    let limited = opamps.iter().any(|it| it.supply.is_some());
    if !limited {
        return;
    }
    checked.in_each_standing(findings, |answer| {
        let all = (0..opamps.len() as u32).map(OpampId);
        let found = all.filter_map(|it| outside(checked, answer, it));
        found.take(crate::MOST_OF_A_RULE).collect()
    });
}

/// With how far beyond its range the input is.
fn outside(checked: &Checked, answer: &Solution, id: OpampId) -> Option<(Finding, f64)> {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let supply = opamp.supply.as_ref()?;
    // Where the rails are too close for the part, nothing fits between them.
    if checked.tells(supply_range::RULE.name) && supply_range::too_close(checked, id) {
        return None;
    }
    let part = checked.part_of(id).filter(|it| it.inputs.is_some());
    let beyond = Number::decimal(3u8.into(), -1).neg();
    let [keeps_low, keeps_high] = match part.and_then(|it| it.inputs.as_ref()) {
        Some([low, high]) => [low, high],
        None => [&beyond, &beyond],
    };
    let lowest = supply.low.volts.add(keeps_low);
    let highest = supply.high.volts.sub(keeps_high);
    let pins = [opamp.plus, opamp.minus].into_iter().enumerate();
    let (pin, node, volts, high) = pins.into_iter().find_map(|(pin, node)| {
        let volts = answer.nodes.get(node.index())?.as_ref()?;
        let above = exceeds(volts, &Answer::from(&highest));
        let below = exceeds(&Answer::from(&lowest), volts);
        (above || below).then_some((pin, node, volts, above))
    })?;
    let say = |number: &Number| notation::number(number, Dimension::VOLT);
    let (end, sense, limit, keeps) = match high {
        true => ("high", "above", &highest, keeps_high),
        false => ("low", "below", &lowest, keeps_low),
    };
    let input = format!("the {} input of `{}`", ["plus", "minus"][pin], opamp.name);
    let at = match checked.shown(volts, Dimension::VOLT) {
        Some(volts) => format!("{input} is at {volts}, {sense}"),
        None => format!("{input} is {sense}"),
    };
    let message = match part {
        Some(part) => format!(
            "{at} the {} that {} allows at these rails",
            say(limit),
            checked.part_words(part)
        ),
        None => {
            let rail = if high { &supply.high } else { &supply.low };
            format!("{at} its {end} rail of {}", say(&rail.volts))
        }
    };
    let why = match part {
        Some(part) if checked.book.ships(part.place.file) && keeps.is_zero() => {
            "Inputs of this class reach its rail and no further.".to_owned()
        }
        Some(_) => format!(
            "Its inputs must stay {} inside the {end} rail; outside, the op-amp no longer compares them, and some parts turn their output over.",
            say(keeps)
        ),
        None => "Some 0.3 V beyond a rail the diodes at an input begin to conduct; more than 10 mA through them, 3 mA by some, destroys the \
                 part (a maker's support note)."
            .to_owned(),
    };
    let side = if high { Side::Above } else { Side::Below };
    let needed = named(&rail(volts, keeps, high), side);
    let moved = match checked.shown(&needed, Dimension::VOLT) {
        Some(needed) => format!(
            "A {end} rail of {needed} or {} would do",
            if high { "higher" } else { "lower" }
        ),
        None => format!("Another {end} rail would do"),
    };
    let help = format!(
        "{why} {moved}; so would a divider before the input, an inverting stage, or a part whose inputs reach there."
    );
    let mut finding = checked
        .finding(&RULE, opamp.pin_places[pin], message, help)
        .about([opamp.name.clone()])
        .about(checked.subjects(&[node], &[]));
    if let Some(place) = part.and_then(|it| checked.property(it, &["inputs"])) {
        finding = finding.also(place, "its range");
    }
    if supply.place != opamp.place {
        finding = finding.also(supply.place, "its rails");
    }
    let past = match high {
        true => volts - &Answer::from(&highest),
        false => &Answer::from(&lowest) - volts,
    };
    Some((finding, past.to_f64()))
}

/// The rail at which this input would be in range.
fn rail(volts: &Answer, keeps: &Number, high: bool) -> Answer {
    // Without a part the margin beyond the rail is no room to be used up.
    let keeps = if keeps.is_positive() {
        Answer::from(keeps)
    } else {
        Answer::zero()
    };
    if high { volts + &keeps } else { volts - &keeps }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_part_whose_inputs_do_not_reach_its_rails() {
        report(
            r#"
part old_kind
  inputs low 2 V, high 1.5 V
end
circuit c
opamps are old_kind
supply 12 V
source probe: in = 1 V
opamp A1: plus in, minus out, drives out
out -- R1 10k -- ground
source top: high = 11 V
high -- R2 10k -- m -- R3 10k -- w
opamp A2: plus high, minus m, drives w
"#,
            expect![[r#"
                warning: input_range at `in`
                  the plus input of `A1` is at 1 V, below the 2 V that its part `old_kind` allows at these rails
                  Its inputs must stay 2 V inside the low rail; outside, the op-amp no longer compares them, and some parts turn their output over. A low rail of −1 V or lower would do; so would a divider before the input, an inverting stage, or a part whose inputs reach there.
                  `inputs low 2 V, high 1.5 V`: its range
                  `supply 12 V`: its rails
                warning: input_range at `high`
                  the plus input of `A2` is at 11 V, above the 10.5 V that its part `old_kind` allows at these rails
                  Its inputs must stay 1.5 V inside the high rail; outside, the op-amp no longer compares them, and some parts turn their output over. A high rail of 12.5 V or higher would do; so would a divider before the input, an inverting stage, or a part whose inputs reach there.
                  `inputs low 2 V, high 1.5 V`: its range
                  `supply 12 V`: its rails
            "#]],
        );
    }

    #[test]
    fn without_a_part_beyond_a_rail() {
        report(
            r#"
supply 5 V
source probe: in = 10 V
in -- R1 10k -- m -- R2 10k -- out
in -- R3 10k -- p -- R4 15k -- ground
opamp A1: plus p, minus m, drives out
"#,
            expect![[r#"
                warning: input_range at `p`
                  the plus input of `A1` is at 6 V, above its high rail of 5 V
                  Some 0.3 V beyond a rail the diodes at an input begin to conduct; more than 10 mA through them, 3 mA by some, destroys the part (a maker's support note). A high rail of 6 V or higher would do; so would a divider before the input, an inverting stage, or a part whose inputs reach there.
                  `supply 5 V`: its rails
            "#]],
        );
    }
}
