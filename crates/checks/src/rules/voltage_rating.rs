//! A capacitor above its rated voltage.

use analysis::Answer;
use circuit::{Carrier, ElementId, ElementKind};
use syntax::{Dimension, Fix, Ratio};
use teaching::notation;

use crate::limits::{exceeds, next_size};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "voltage_rating",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A capacitor stands the voltage that is written behind its value, or after `rated`. Above it the insulation gives way; an
electrolytic may burst. Choose a rating of 1.5 times the voltage or more (common practice, no source). It stays charged after
the power is off: let it discharge through a resistor before you touch it.
# Wrong
    source lamp_rail: vcc = 24 V
    vcc -- R1 10k -- ground
    electrolytic C1: plus vcc, minus ground, value 47 uF, rated 16 V
# Right
    source lamp_rail: vcc = 24 V
    vcc -- R1 10k -- ground
    electrolytic C1: plus vcc, minus ground, value 47 uF, rated 50 V
";

/// Ratings that shops have, in millivolts (common practice, no source).
const SIZES: [u32; 12] = [
    6_300, 10_000, 16_000, 25_000, 35_000, 50_000, 63_000, 100_000, 160_000, 250_000, 400_000,
    630_000,
];

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let rated = |it: &circuit::Element| it.kind == ElementKind::Capacitor && it.rating.is_some();
    let elements = &checked.circuit.elements;
    if !elements.iter().any(rated) {
        return;
    }
    checked.in_each_standing(findings, |answer| {
        let all = answer.elements.iter().enumerate();
        let found = all.filter_map(|(index, carried)| {
            let volts = carried.as_ref()?.voltage.abs();
            let size = volts.to_f64();
            let found =
                rated(&elements[index]).then(|| above(checked, ElementId(index as u32), volts));
            Some((found??, size))
        });
        found.take(crate::MOST_OF_A_RULE).collect()
    });
}

fn above(checked: &Checked, id: ElementId, volts: Answer) -> Option<Finding> {
    let element = &checked.circuit.elements[id.index()];
    let rating = element.rating.as_deref()?;
    if !exceeds(&volts, &Answer::from(rating)) {
        return None;
    }
    let limit = notation::number(rating, Dimension::VOLT);
    let message = match checked.shown(&volts, Dimension::VOLT) {
        Some(volts) => format!(
            "`{}` stands at {volts}, above the {limit} that it is rated for",
            element.name
        ),
        None => format!(
            "`{}` stands above the {limit} that it is rated for",
            element.name
        ),
    };
    let half_more = Answer::Exact(Ratio::from_parts(3.into(), 2u8.into()));
    let size = next_size(&SIZES, &(&volts * &half_more)).filter(|_| !checked.settings.hidden);
    let cure = match &size {
        Some(size) => format!(
            "Take one for {}: 1.5 times the voltage or more",
            notation::short(size, Dimension::VOLT)
        ),
        None => "Take one for 1.5 times the voltage or more".to_owned(),
    };
    let danger = match element.polarised {
        true => "Above its rating an electrolytic heats up and may burst.",
        false => "Above its rating the insulation of a capacitor gives way.",
    };
    let help =
        format!("{danger} {cure} (common practice, no source). Discharge it before you touch it.");
    let subjects = checked.subjects(&element.ends, &[Carrier::Element(id)]);
    let mut finding = checked
        .finding(&RULE, element.name_place, message, help)
        .about(subjects);
    if let Some((place, true)) = checked.rating(element) {
        finding = finding.also(place, "its rating");
    }
    let fix = size.and_then(|size| {
        let text = format!("{} V", size.to_f64());
        let title = format!("rate `{}` for {text}", element.name);
        Some(Fix::likely(title, vec![checked.rate(element, &text)?]))
    });
    Some(match fix {
        Some(fix) => finding.fix(fix),
        None => finding,
    })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn in_a_path_and_of_an_electrolytic() {
        report(
            r#"
source battery: vcc = 12 V
vcc -- R1 10k -- mid -- R2 10k -- ground
mid -- C1 1 uF 10 % 5 V -- ground
mid -- C2 1 uF 6.3 V -- ground
electrolytic C3: plus vcc, minus mid, value 10 uF, rated (2 * 2.5 V)
"#,
            expect![[r#"
                warning: voltage_rating at `C1`
                  `C1` stands at 6 V, above the 5 V that it is rated for
                  Above its rating the insulation of a capacitor gives way. Take one for 10 V: 1.5 times the voltage or more (common practice, no source). Discharge it before you touch it.
                  `5 V`: its rating
                  fix: rate `C1` for 10 V: mid -- C1 1 uF 10 % 10 V -- ground
                warning: voltage_rating at `C3`
                  `C3` stands at 6 V, above the 5 V that it is rated for
                  Above its rating an electrolytic heats up and may burst. Take one for 10 V: 1.5 times the voltage or more (common practice, no source). Discharge it before you touch it.
                  `(2 * 2.5 V)`: its rating
                  fix: rate `C3` for 10 V: electrolytic C3: plus vcc, minus mid, value 10 uF, rated 10 V
            "#]],
        );
    }
}
