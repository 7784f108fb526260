//! Rails that are too close together or too far apart for a part.

use std::cmp::Ordering;

use analysis::Answer;
use circuit::{OpampId, Part};
use syntax::{Dimension, Number};
use teaching::notation;

use crate::limits::{Side, named};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "supply_range",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A part says in `supply` how far apart its rails may be. Closer together, it does not work as its figures say; further apart, it
may be destroyed. What counts is the distance of the two rails: +9 V and −9 V are 18 V.
# Wrong
    part thrifty
      supply 1.8 V to 5.5 V
    end
    circuit c
    supply +9 V and -9 V
    opamps are thrifty
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
# Right
    part thrifty
      supply 1.8 V to 5.5 V
    end
    circuit c
    supply +2.5 V and -2.5 V
    opamps are thrifty
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let all = (0..checked.circuit.opamps.len() as u32).map(OpampId);
    let found = all.filter_map(|it| out_of_range(checked, it));
    findings.extend(found.take(crate::MOST_OF_A_RULE));
}

/// The part of an op-amp, how far its rails are apart, and whether that is too much or too little.
fn apart<'a>(checked: &Checked<'a>, id: OpampId) -> Option<(&'a Part, Number, Ordering)> {
    let supply = checked.circuit.opamps[id.index()].supply.as_ref()?;
    let part = checked.part_of(id)?;
    let [least, most] = part.supply.as_ref()?;
    let apart = supply.high.volts.sub(&supply.low.volts);
    if apart.compare(least)?.is_lt() {
        Some((part, apart, Ordering::Less))
    } else if apart.compare(most)?.is_gt() {
        Some((part, apart, Ordering::Greater))
    } else {
        None
    }
}

/// Whether the rails of an op-amp are too close together for its part.
pub(crate) fn too_close(checked: &Checked, id: OpampId) -> bool {
    apart(checked, id).is_some_and(|it| it.2.is_lt())
}

fn out_of_range(checked: &Checked, id: OpampId) -> Option<Finding> {
    let (part, apart, way) = apart(checked, id)?;
    let opamp = &checked.circuit.opamps[id.index()];
    let supply = opamp.supply.as_ref()?;
    let [least, most] = part.supply.as_ref()?;
    let say = |number: &Number| notation::number(number, Dimension::VOLT);
    let who = checked.part_words(part);
    let (message, danger, limit, bound, side) = if way.is_lt() {
        (
            format!(
                "the rails of `{}` are {} apart, less than the {} that {who} needs",
                opamp.name,
                say(&apart),
                say(least)
            ),
            "With less it does not work as its figures say.",
            least,
            "or more",
            Side::Above,
        )
    } else {
        (
            format!(
                "the rails of `{}` are {} apart, more than the {} that {who} stands",
                opamp.name,
                say(&apart),
                say(most)
            ),
            "More may destroy it.",
            most,
            "or less",
            Side::Below,
        )
    };
    let half = limit.mul(&Number::decimal(5u8.into(), -1));
    let wanted = |it: &Number| notation::short(&named(&Answer::from(it), side), Dimension::VOLT);
    let rails = match supply.low.volts.is_zero() {
        true => format!("a supply of {} {bound}", wanted(limit)),
        false => format!("rails of ±{} {bound}", wanted(&half)),
    };
    let help = format!("{danger} It wants {rails}; or take a part that fits these rails.");
    let mut finding = checked
        .finding(&RULE, supply.place, message, help)
        .about([opamp.name.clone()]);
    if let Some(place) = checked.property(part, &["supply"]) {
        finding = finding.also(place, "its range");
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn too_far_apart_and_too_close() {
        report(
            r#"
part thrifty
  supply 2 V to 6 V
end
circuit c
supply +9 V and -9 V
source probe: in = 1 V
opamp A1: plus in, minus u, drives u, part thrifty
opamp A2: plus u, minus out, drives out, part fet_input, supply 5 V
out -- R1 10k -- ground
"#,
            expect![[r#"
                warning: supply_range at `supply +9 V and -9 V`
                  the rails of `A1` are 18 V apart, more than the 6 V that its part `thrifty` stands
                  More may destroy it. It wants rails of ±3 V or less; or take a part that fits these rails.
                  `supply 2 V to 6 V`: its range
                warning: swing at `A2`
                  `A2` cannot hold V+ = V−: `A2` would have to make 1.0121 V before its output resistance of 100 Ω, below its low limit of 2 V
                  The low rail is ground, 0 V, and the part `fet_input` keeps 2 V from it. So it stands at its low limit instead: `out` is 1.9802 V, and V+ − V− is −980.20 mV where it would have to be 0. Less gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect A2 at low rail`.
                  `supply 5 V`: its rails
                warning: supply_range at `supply 5 V`
                  the rails of `A2` are 5 V apart, less than the 7 V that the class `fet_input` needs
                  With less it does not work as its figures say. It wants a supply of 7 V or more; or take a part that fits these rails.
            "#]],
        );
    }

    #[test]
    fn two_op_amps_on_the_same_rails_are_one_mistake() {
        report(
            r#"
supply 3 V
opamps are fast_bipolar
source probe: in = 1.5 V
opamp A1: plus in, minus u, drives u
opamp A2: plus u, minus out, drives out
out -- R1 1k -- ground
"#,
            expect![[r#"
                warning: supply_range at `supply 3 V`
                  the rails of `A1` are 3 V apart, less than the 5 V that the class `fast_bipolar` needs
                  With less it does not work as its figures say. It wants a supply of 5 V or more; or take a part that fits these rails. It is the same with `A2`.
            "#]],
        );
    }
}
