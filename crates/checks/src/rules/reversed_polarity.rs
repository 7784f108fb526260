//! An electrolytic whose plus end is the lower one.

use analysis::Answer;
use analysis::solution::Solution;
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

/// The electrolytics that are reversed, each with its voltage.
fn reversed(checked: &Checked, solution: &Solution) -> Vec<(Finding, f64)> {
    let circuit = checked.circuit;
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
        let [plus, minus] = element.ends.map(|it| circuit.node_name(it));
        let across = notation::short(&carried.voltage, Dimension::VOLT);
        let message = format!(
            "the plus end of `{}` is the lower one: {across} from `{plus}` to `{minus}`",
            element.name
        );
        let help = format!(
            "An electrolytic that is charged the wrong way round heats up and may burst. Exchange its ends (plus `{minus}`, minus \
             `{plus}`), or use a capacitor without polarity. Discharge it before you touch it."
        );
        let subjects =
            checked.subjects(&element.ends, &[Carrier::Element(ElementId(index as u32))]);
        let finding = checked
            .finding(&RULE, element.name_place, message, help)
            .about(subjects);
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
