//! A resistor that takes more power than it is rated for.

use std::cell::OnceCell;
use std::collections::HashSet;

use analysis::Answer;
use analysis::solution::{Carried, Solution};
use circuit::{Circuit, Element, ElementId, ElementKind};
use syntax::{Dimension, Fix, Number};
use teaching::notation;

use super::output_current;
use crate::limits::{exceeds, firm, next_size, stock};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "resistor_power",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A resistor turns V²/R into heat. Beyond its rating it burns, and skin with it; at its rating it is already too hot to touch.
Where no rating is written, 0.25 W is taken, the most common size; stay under half of a rating where a resistor must not get
hot (both common practice, no source). Write another rating behind the value, `RL 100 1 W`, and build it with such a one.
A pot is rated for its whole track: between one end and the wiper it may carry no more than end to end.
Switch off before you feel for heat.
# Wrong
    source battery: vcc = 9 V
    vcc -- R1 220 -- ground
# Right
    source battery: vcc = 9 V
    vcc -- R1 220 1 W -- ground
";

/// Sizes that shops have, in milliwatts (common practice, no source).
const SIZES: [u32; 11] = [
    125, 250, 500, 1_000, 2_000, 3_000, 5_000, 10_000, 25_000, 50_000, 100_000,
];

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let held = OnceCell::new();
    checked.in_each_standing(findings, |answer| {
        let hot = hot(checked, answer);
        let first_half = |id: &ElementId| id.index().checked_sub(1).map(|it| ElementId(it as u32));
        let told_already = |id: &ElementId| {
            let name = &checked.circuit.elements[id.index()].name;
            let halves = name.ends_with(".to") && track(checked.circuit, *id).is_some();
            halves && first_half(id).is_some_and(|it| hot.contains(&it))
        };
        let all = hot.iter().filter(|it| !told_already(it));
        let found = all.take(crate::MOST_OF_A_RULE).filter_map(|&id| {
            let carried = answer.elements[id.index()].as_ref()?;
            let firm = held.get_or_init(|| firm(checked.circuit));
            let finding = told(checked, id, carried, firm)?;
            Some((finding, carried.power()?.to_f64()))
        });
        found.collect()
    });
}

/// What a resistor may take, in watts; of a pot's half its share of what the whole track may.
fn rating(circuit: &Circuit, id: ElementId) -> Answer {
    let element = &circuit.elements[id.index()];
    let usual = Number::decimal(25u8.into(), -2);
    let whole = Answer::from(element.rating.as_deref().unwrap_or(&usual));
    let share = track(circuit, id).and_then(|it| Answer::from(&element.value).over(&it));
    share.map_or(whole.clone(), |it| &whole * &it)
}

/// The whole resistance of the pot whose half this is, in ohms.
fn track(circuit: &Circuit, id: ElementId) -> Option<Answer> {
    let half = &circuit.elements[id.index()];
    let other = other_half(circuit, id)?;
    Some(&Answer::from(&half.value) + &Answer::from(&other.value))
}

/// The other half of the pot whose half this is.
pub(crate) fn other_half(circuit: &Circuit, id: ElementId) -> Option<&Element> {
    let half = &circuit.elements[id.index()];
    let (pot, other, suffix) = match half.name.strip_suffix(".from") {
        Some(pot) => (pot, id.index() + 1, ".to"),
        None => {
            let pot = half.name.strip_suffix(".to")?;
            (pot, id.index().checked_sub(1)?, ".from")
        }
    };
    let other = circuit.elements.get(other)?;
    let own = other.name_place == half.name_place && other.name.strip_suffix(suffix) == Some(pot);
    own.then_some(other)
}

/// The resistors that take too much; not those whose heat rests on a current that no output delivers.
pub(crate) fn hot(checked: &Checked, answer: &Solution) -> Vec<ElementId> {
    let all = checked.circuit.elements.iter().zip(&answer.elements);
    let all = (0..).map(ElementId).zip(all);
    let hot = all.filter(|(id, (element, carried))| {
        element.kind == ElementKind::Resistor
            && carried
                .as_ref()
                .and_then(Carried::power)
                .is_some_and(|it| exceeds(&it, &rating(checked.circuit, *id)))
    });
    let mut hot: Vec<ElementId> = hot.map(|it| it.0).collect();
    if checked.tells(output_current::RULE.name) {
        // With no more current than the output delivers it would stay cool.
        let rests = checked.carriers().iter().filter_map(|it| {
            let carried = answer.elements[it.resistor.index()].as_ref()?;
            let left = &carried.voltage.abs() * &it.limit;
            (!exceeds(&left, &rating(checked.circuit, it.resistor))).then_some(it.resistor)
        });
        let rests: HashSet<ElementId> = rests.collect();
        hot.retain(|it| !rests.contains(it));
    }
    hot
}

fn told(checked: &Checked, id: ElementId, carried: &Carried, firm: &[bool]) -> Option<Finding> {
    let element = &checked.circuit.elements[id.index()];
    if let Some(track) = track(checked.circuit, id) {
        return told_of_track(checked, element, carried, &track);
    }
    let (power, limit) = (carried.power()?, rating(checked.circuit, id));
    let watts = |answer: &Answer| notation::short(answer, Dimension::WATT);
    let takes = match checked.shown(&power, Dimension::WATT) {
        Some(power) => format!("`{}` takes {power}, more than the", element.name),
        None => format!("`{}` takes more than the", element.name),
    };
    let (message, source) = match element.rating {
        Some(_) => (
            format!("{takes} {} that it is rated for", watts(&limit)),
            String::new(),
        ),
        None => (
            format!("{takes} {} of a common resistor", watts(&limit)),
            "No rating is written, so that of the most common size is taken. ".to_owned(),
        ),
    };
    let size = next_size(&SIZES, &power).filter(|_| !checked.settings.hidden);
    let larger = match &size {
        Some(size) => format!("Rate it for {} or more", watts(size)),
        None => "Rate it for more".to_owned(),
    };
    let held = element.ends.iter().all(|it| firm[it.index()]);
    let square = &carried.voltage * &carried.voltage;
    let least = square.over(&limit).and_then(|it| stock(&it));
    let least = least.filter(|_| held && !checked.settings.hidden);
    let value = match &least {
        Some(least) => format!(
            ", or make it {} or more",
            notation::short(least, Dimension::OHM)
        ),
        None => String::new(),
    };
    let help = format!(
        "{source}{larger}{value}; under half of its rating it stays touchable. Beyond it a resistor burns, and skin with it: switch off \
         before you feel for heat."
    );
    let mut finding = checked
        .finding(&RULE, element.name_place, message, help)
        .about([element.name.clone()]);
    if let Some((place, true)) = checked.rating(element) {
        finding = finding.also(place, "its rating");
    }
    let edit = size.and_then(|size| {
        let text = format!("{} W", plain(&size));
        let title = format!("rate `{}` for {}", element.name, watts(&size));
        Some(Fix::likely(title, vec![checked.rate(element, &text)?]))
    });
    Some(match edit {
        Some(fix) => finding.fix(fix),
        None => finding,
    })
}

/// A pot is rated for its whole track: where part of it carries the current, that part gets as hot as all of it would.
fn told_of_track(
    checked: &Checked,
    half: &Element,
    carried: &Carried,
    track: &Answer,
) -> Option<Finding> {
    let current = carried.current.as_ref()?.abs();
    let whole = &(&current * &current) * track;
    let pot = half.name.rsplit_once('.').map_or(&*half.name, |it| it.0);
    let limit = notation::number(&Number::decimal(25u8.into(), -2), Dimension::WATT);
    let (ohms, shown) = (notation::short(track, Dimension::OHM), |it, dimension| {
        checked.shown(it, dimension)
    });
    let message = match (
        shown(&current, Dimension::AMPERE),
        shown(&whole, Dimension::WATT),
    ) {
        (Some(current), Some(whole)) => format!(
            "the track of `{pot}` carries {current}: over its whole {ohms} that is {whole}, more than the {limit} of a common pot"
        ),
        _ => format!(
            "the track of `{pot}` carries more than its {ohms} may at the {limit} of a common pot"
        ),
    };
    let size = next_size(&SIZES, &whole).filter(|_| !checked.settings.hidden);
    let larger = match &size {
        Some(size) => format!(
            "Take one for {} or more",
            notation::short(size, Dimension::WATT)
        ),
        None => "Take a larger one".to_owned(),
    };
    let help = format!(
        "A pot is rated for its whole track, so a part of it may take only its share. {larger}, or one of more ohms, or let it feed less; what \
         a resistor in series with it takes, the pot need not. Beyond its rating the track burns, and skin with it: switch off before you feel for heat."
    );
    let finding = checked.finding(&RULE, half.name_place, message, help);
    Some(finding.about([format!("{pot}.from"), format!("{pot}.to")]))
}

/// A size as it is written, `0.5`.
fn plain(size: &Answer) -> String {
    size.to_f64().to_string()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn without_a_rating_a_quarter_of_a_watt() {
        report(
            r#"
source battery: vcc = 9 V
vcc -- R1 180 1 % -- ground
vcc -- R2 330 -- ground
"#,
            expect![[r#"
                warning: resistor_power at `R1`
                  `R1` takes 450 mW, more than the 250 mW of a common resistor
                  No rating is written, so that of the most common size is taken. Rate it for 500 mW or more, or make it 330 Ω or more; under half of its rating it stays touchable. Beyond it a resistor burns, and skin with it: switch off before you feel for heat.
                  fix: rate `R1` for 500 mW: vcc -- R1 180 1 % 0.5 W -- ground
            "#]],
        );
    }

    #[test]
    fn a_pot_is_rated_as_one_part() {
        let rules = |total: &str, at: &str| {
            let text = format!(
                "source s: a = 12 V\npot P1: total {total}, from a, to ground, wiper w, at {at}\nw -- R1 1M -- ground\n"
            );
            let found = crate::tests::findings(&text).into_iter();
            found
                .map(|it| (it.rule, it.subjects.join(" ")))
                .collect::<Vec<_>>()
        };
        // 12 V squared over 250 mW are 576 ohm, wherever the wiper stands.
        for at in ["50 %", "10 %", "99 %"] {
            assert_eq!(rules("580 ohm", at), [], "{at}");
            let both = ("resistor_power", "P1.from P1.to".to_owned());
            assert_eq!(rules("570 ohm", at), [both], "{at}");
        }
        report(
            r#"
source s: a = 12 V
pot P1: total 1k, from a, to ground, wiper w, at 90 %
w -- R1 220 1 W -- ground
"#,
            expect![[""]],
        );
        report(
            r#"
source s: a = 12 V
pot P1: total 1k, from a, to ground, wiper w, at 20 %
w -- R1 220 1 W -- ground
"#,
            expect![[r#"
                warning: resistor_power at `P1`
                  the track of `P1` carries 32.211 mA: over its whole 1 kΩ that is 1.0375 W, more than the 250 mW of a common pot
                  A pot is rated for its whole track, so a part of it may take only its share. Take one for 2 W or more, or one of more ohms, or let it feed less; what a resistor in series with it takes, the pot need not. Beyond its rating the track burns, and skin with it: switch off before you feel for heat.
            "#]],
        );
    }

    #[test]
    fn with_a_rating_that_one() {
        report(
            r#"
source battery: vcc = 24 V
vcc -- R1 100 2 W 5 % -- mid -- R2 10 -- ground
vcc -- R3 620 1 W -- ground
"#,
            expect![[r#"
                warning: resistor_power at `R1`
                  `R1` takes 4.7603 W, more than the 2 W that it is rated for
                  Rate it for 5 W or more; under half of its rating it stays touchable. Beyond it a resistor burns, and skin with it: switch off before you feel for heat.
                  `2 W`: its rating
                  fix: rate `R1` for 5 W: vcc -- R1 100 5 W 5 % -- mid -- R2 10 -- ground
                warning: resistor_power at `R2`
                  `R2` takes 476.03 mW, more than the 250 mW of a common resistor
                  No rating is written, so that of the most common size is taken. Rate it for 500 mW or more; under half of its rating it stays touchable. Beyond it a resistor burns, and skin with it: switch off before you feel for heat.
                  fix: rate `R2` for 500 mW: vcc -- R1 100 2 W 5 % -- mid -- R2 10 0.5 W -- ground
            "#]],
        );
    }
}
