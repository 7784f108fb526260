//! An electrolytic whose plus end is the lower one.

use std::cell::OnceCell;

use analysis::board::{Board, Cause, Causes};
use analysis::linear::Budget;
use analysis::solution::Solution;
use analysis::{Answer, Outcome};
use circuit::{Carrier, ElementId};
use syntax::{Dimension, Fix, Span, TextEdit};
use teaching::notation;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "reversed_polarity",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An electrolytic stands only a voltage in one direction: its plus end must never be the lower one. Reversed, it heats up and may
burst, perhaps already at one or two volts. Exchange its ends, or use a capacitor without polarity. Discharge it before you
touch it, and wear eye protection at the bench; local rules come first.
Where only the offset of an op-amp turns it round, the sign is not known (a data sheet gives none): then it is a warning, and below
0.1 V nothing is said (our own round number).
# Wrong
    source supply_rail: vcc = 9 V
    vcc -- R1 10k -- mid -- R2 10k -- ground
    electrolytic C1: plus ground, minus mid, value 10 uF
# Right
    source supply_rail: vcc = 9 V
    vcc -- R1 10k -- mid -- R2 10k -- ground
    electrolytic C1: plus mid, minus ground, value 10 uF
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let circuit = checked.circuit;
    if checked.incomplete() || !circuit.elements.iter().any(|it| it.polarised) {
        return;
    }
    // Where only one state is stable it is judged, also with an op-amp at a limit that no line accepts.
    let (study, parts) = (checked.study, &checked.book.parts);
    match study.outcome(circuit, parts) {
        it if it.is_known() => {
            let solution = study.answer(circuit, parts);
            let found = solution.map(|it| reversed(checked, it));
            findings.extend(found.into_iter().flatten().map(|it| it.0));
        }
        _ => checked.in_each_standing(findings, |it| reversed(checked, it)),
    }
}

/// What an offset of unknown sign may make without a word, in volts.
const SMALL: f64 = 0.1;

/// The answer without the offsets of the op-amps, where they count and no limit is met.
fn without_offsets(checked: &Checked) -> Option<Solution> {
    let (circuit, parts) = (checked.circuit, &checked.book.parts);
    let real = *checked.study.outcome(circuit, parts) == Outcome::Real;
    let causes = Causes::ALL.without(Cause::Offset);
    real.then(|| Board::of(circuit, parts, causes).solve(Budget::default()))
}

/// The electrolytics that are reversed, each with its voltage.
fn reversed(checked: &Checked, solution: &Solution) -> Vec<(Finding, f64)> {
    let circuit = checked.circuit;
    let plain = OnceCell::new();
    let mut findings = Vec::new();
    for (index, element) in circuit
        .elements
        .iter()
        .enumerate()
        .filter(|(_, it)| it.polarised)
    {
        let Some(Some(carried)) = solution.elements.get(index) else {
            continue;
        };
        if !surely_negative(&carried.voltage) {
            continue;
        }
        let plain = plain.get_or_init(|| without_offsets(checked)).as_ref();
        let without = plain.and_then(|it| it.elements.get(index)?.as_ref());
        let by_offset = without.is_some_and(|it| !surely_negative(&it.voltage));
        if by_offset && carried.voltage.to_f64() > -SMALL {
            continue;
        }
        let [plus, minus] = element.ends.map(|it| circuit.node_name(it));
        let across = notation::short(&carried.voltage, Dimension::VOLT);
        let is = if by_offset { "may be" } else { "is" };
        let message = format!(
            "the plus end of `{}` {is} the lower one: {across} from `{plus}` to `{minus}`",
            element.name
        );
        let help = match by_offset {
            true => "Only the offset of an op-amp makes it so, and a data sheet gives no sign: it may be the other way round. Use a \
                     capacitor without polarity, or an op-amp with less offset. Discharge it before you touch it."
                .to_owned(),
            false => format!(
            "An electrolytic that is charged the wrong way round heats up and may burst. Exchange its ends (plus `{minus}`, minus \
             `{plus}`), or use a capacitor without polarity. Discharge it before you touch it."
            ),
        };
        let subjects =
            checked.subjects(&element.ends, &[Carrier::Element(ElementId(index as u32))]);
        let mut finding = checked
            .finding(&RULE, element.name_place, message, help)
            .about(subjects);
        if by_offset {
            finding.severity = Severity::Warning;
            findings.push((finding, -carried.voltage.to_f64()));
            continue;
        }
        let [first, second] = element.end_places.map(|it| it.span);
        let edit = |span: Span, text: Span| TextEdit {
            span,
            text: checked
                .text(syntax::Place {
                    file: element.place.file,
                    span: text,
                })
                .to_owned(),
        };
        let mut edits = vec![edit(first, second), edit(second, first)];
        edits.sort_by_key(|it| it.span);
        let finding = finding.fix(Fix {
            title: format!("exchange the ends of `{}`", element.name),
            safe: false,
            edits,
        });
        findings.push((finding, -carried.voltage.to_f64()));
    }
    findings
}

fn surely_negative(answer: &Answer) -> bool {
    matches!(answer.sign(), Some(std::cmp::Ordering::Less))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_an_offset_alone_turns_round_may_be_either_way() {
        let told = |gain: &str, offset: &str, plus: &str, minus: &str| {
            let text = format!(
                "part drawer\n  offset {offset}\nend\ncircuit coupled\nopamps are drawer\nsource s: in = 0 V\nin -- R1 1k -- m -- R2 {gain}k -- o\n\
                 opamp A1: plus ground, minus m, drives o\no -- R3 10k -- ground\nelectrolytic C1: plus {plus}, minus {minus}, value 10 uF\n"
            );
            let found = crate::tests::findings(&text).into_iter();
            let found = found.filter(|it| it.rule == RULE.name);
            found.map(|it| it.severity).collect::<Vec<_>>()
        };
        // 1 mV times 11, and times 1,001.
        assert_eq!(told("10", "1 mV", "ground", "o"), []);
        assert_eq!(told("10", "-1 mV", "o", "ground"), []);
        assert_eq!(told("1000", "1 mV", "ground", "o"), [Severity::Warning]);
        assert_eq!(told("1000", "1 mV", "o", "ground"), []);
        let held = "part drawer\n  offset 1 mV\nend\ncircuit held\nopamps are drawer\nsource s: in = 2 mV\nopamp A1: plus in, minus o, drives o\n\
                    o -- R3 10k -- ground\nelectrolytic C1: plus ground, minus o, value 10 uF\n";
        let found = crate::tests::findings(held).into_iter();
        let found = found.filter(|it| it.rule == RULE.name);
        let found: Vec<_> = found.map(|it| it.severity).collect();
        assert_eq!(found, [Severity::Error]);
    }
}
