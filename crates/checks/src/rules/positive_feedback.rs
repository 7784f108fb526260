//! Feedback that drives an output away instead of holding it: most often the two inputs are exchanged.

use analysis::Outcome;
use analysis::feedback::{Feedback, Verdict};
use circuit::OpampId;
use syntax::{Dimension, Fix, TextEdit};
use teaching::{feedback, names, notation};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "positive_feedback",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
V+ = V− holds only where feedback is negative: if the output rises a little, V+ − V− must fall, so that the output comes back.
With positive feedback V+ − V− rises too, and the output runs to a rail. The node equations do not show it: with plus and
minus exchanged they have the same answer. Where several op-amps move each other's inputs, the whole loop is judged at once.
A stage that is meant to latch says so: `expect A1 latches`. Where positive feedback outweighs negative by less than the part's gain
makes up for, the op-amp rests all the same, and it is a warning: with more gain it would not.
# Wrong
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus sum, minus ground, drives out
# Right
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for it in &checked.study.feedback {
        if !checked.is_sure(&it.block) {
            continue;
        }
        match (it.verdict, it.ideally) {
            (Verdict::Positive, _) => findings.extend(positive(checked, it)),
            (Verdict::HeldByGain, Verdict::Positive) => findings.extend(held(checked, it)),
            _ => {}
        }
    }
}

/// The op-amp to point at.
fn blamed(it: &Feedback) -> Option<OpampId> {
    it.repairs.first().unwrap_or(&it.block).first().copied()
}

fn positive(checked: &Checked, it: &Feedback) -> Option<Finding> {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let first = blamed(it)?;
    let opamp = &circuit.opamps[first.index()];
    let out = names::node(circuit, opamp.drives);
    let alone = it.block.len() == 1;
    let message = match alone {
        true => format!(
            "the feedback of `{}` is positive: it drives {out} away instead of holding it",
            opamp.name
        ),
        false => format!(
            "the feedback in the loop through {} is positive: it drives the outputs away instead of holding them",
            feedback::opamps(circuit, &it.block)
        ),
    };
    let mut help = String::new();
    if alone {
        if let Some(shares) = feedback::shares(circuit, it, first) {
            help.push_str(&format!("{}. ", names::sentence(&shares)));
        }
        help.push_str(&by_rejection(checked, it, first));
        help.push_str(&format!("So when {out} rises, {v}+ − {v}− rises too and {out} runs to a rail; {v}+ = {v}− does not hold. "));
    } else {
        help.push_str(&format!("A small rise comes around the loop enlarged, so {v}+ = {v}− does not hold at these op-amps. "));
    }
    help.push_str(&cure(checked, it));
    Some(finding(checked, it, first, message, help))
}

/// Why feedback that more of the output brings back to minus is positive all the same, as a sentence with a blank behind it.
fn by_rejection(checked: &Checked, it: &Feedback, opamp: OpampId) -> String {
    let part = checked
        .part_of(opamp)
        .filter(|_| it.ideally != Verdict::Positive);
    let Some((part, rejection)) = part.and_then(|it| Some((it, it.rejection.as_ref()?))) else {
        return String::new();
    };
    let v = checked.settings.writing.voltage.text();
    format!(
        "But the part `{}` amplifies what both inputs share, too, {} times less than {v}+ − {v}−, and that is more than the two differ by. ",
        part.name,
        notation::number(rejection, Dimension::NONE)
    )
}

/// Positive feedback that a finite gain makes up for.
fn held(checked: &Checked, it: &Feedback) -> Option<Finding> {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let first = blamed(it)?;
    let opamp = &circuit.opamps[first.index()];
    let gain = checked.part_of(first).and_then(|it| it.gain.as_ref());
    let (message, mut help) = match (&it.block[..], gain) {
        ([_], Some(gain)) => (
            format!(
                "the feedback of `{}` is positive, and only its gain of no more than {} holds it",
                opamp.name,
                notation::number(gain, Dimension::NONE)
            ),
            feedback::shares(circuit, it, first)
                .map(|it| format!("{}. ", names::sentence(&it)))
                .unwrap_or_default(),
        ),
        _ => (
            format!(
                "the feedback in the loop through {} is positive, and only finite gains hold it",
                feedback::opamps(circuit, &it.block)
            ),
            String::new(),
        ),
    };
    help.push_str(&format!(
        "So {v}+ − {v}− moves with the output, and it rests where gain times {v}+ − {v}− is the output; that is the answer as written. With more gain it
         would run to a rail, and no part keeps its gain exactly. {}",
        match &it.repairs[..] {
            [] => "Lead more of the output back to the minus input.".into(),
            [repair, ..] => format!(
                "Exchange the inputs of {}, or lead more of the output back to the minus input.",
                feedback::opamps(circuit, repair)
            ),
        }
    ));
    let mut finding = finding(checked, it, first, message, help);
    finding.severity = Severity::Warning;
    Some(finding)
}

fn finding(
    checked: &Checked,
    it: &Feedback,
    first: OpampId,
    message: String,
    help: String,
) -> Finding {
    let circuit = checked.circuit;
    let mut finding = checked
        .finding(
            &RULE,
            circuit.opamps[first.index()].name_place,
            message,
            help,
        )
        .about(
            it.block
                .iter()
                .map(|it| circuit.opamps[it.index()].name.clone()),
        );
    for other in it.block.iter().filter(|it| **it != first).take(8) {
        let other = &circuit.opamps[other.index()];
        finding = finding.also(
            other.name_place,
            format!("`{}` belongs to the loop", other.name),
        );
    }
    for repair in &it.repairs {
        finding
            .fixes
            .extend(swap(checked, repair, finding.place.file));
    }
    finding
}

fn cure(checked: &Checked, it: &Feedback) -> String {
    let circuit = checked.circuit;
    match it.repairs.as_slice() {
        [] => {
            let rails = circuit.opamps.iter().any(|it| it.supply.is_some());
            let parts = &checked.book.parts;
            let restless = rails && *checked.study.outcome(circuit, parts) == Outcome::Restless;
            let first = it
                .block
                .first()
                .map_or("…", |it| circuit.opamps[it.index()].name.as_str());
            match restless {
                true => format!(
                    "No state of the circuit is stable: it swings between its limits. Lead more of the output back to the minus input, quickly, or claim `expect {first} oscillates` if that is meant."
                ),
                false => format!(
                    "Lead more of the output back to the minus input, or claim what is meant: `expect {first} latches`."
                ),
            }
        }
        [one] => match one.as_slice() {
            [opamp] => {
                let it = &circuit.opamps[opamp.index()];
                let [plus, minus] = [0, 1].map(|pin| checked.text(it.pin_places[pin]));
                format!(
                    "Exchange the inputs of `{}`, `plus {minus}, minus {plus}`, or claim `expect {} latches` if that is meant.",
                    it.name, it.name
                )
            }
            opamps => format!(
                "Exchange the inputs of {}.",
                feedback::opamps(circuit, opamps)
            ),
        },
        [one, other, ..] => format!(
            "Exchange the inputs of {}, or of {}.",
            feedback::opamps(circuit, one),
            feedback::opamps(circuit, other)
        ),
    }
}

/// Exchanges the node names after `plus` and `minus`; `None` where one of them stands in another file.
fn swap(checked: &Checked, repair: &[OpampId], file: syntax::FileId) -> Option<Fix> {
    let mut edits = Vec::new();
    for opamp in repair {
        let [plus, minus, _] = checked.circuit.opamps[opamp.index()].pin_places;
        if plus.file != file || minus.file != file {
            return None;
        }
        edits.push(TextEdit {
            span: plus.span,
            text: checked.text(minus).into(),
        });
        edits.push(TextEdit {
            span: minus.span,
            text: checked.text(plus).into(),
        });
    }
    edits.sort_by_key(|it| it.span.start);
    edits.dedup(); // a block that is used twice
    let title = format!(
        "exchange the inputs of {}",
        feedback::opamps(checked.circuit, repair)
    );
    (!edits.is_empty()).then(|| Fix::likely(title, edits))
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::Severity;
    use crate::tests::report;

    #[test]
    fn swapped_inputs_are_positive_feedback() {
        report(
            r#"
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus sum, minus ground, drives out
expect out = -3.96 V
expect A1 linear
"#,
            expect![[r#"
                error: positive_feedback at `A1`
                  the feedback of `A1` is positive: it drives `out` away instead of holding it
                  Of a small rise of `out`, nothing comes back to minus (ground) and 10/43 to plus (`sum`). So when `out` rises, V+ − V− rises too and `out` runs to a rail; V+ = V− does not hold. Exchange the inputs of `A1`, `plus ground, minus sum`, or claim `expect A1 latches` if that is meant.
                  fix: exchange the inputs of `A1`: opamp A1: plus ground, minus sum, drives out
            "#]],
        );
    }

    #[test]
    fn a_loop_of_two_names_the_one_to_swap() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- sum -- R2 10k -- back
opamp A1: plus ground, minus sum, drives mid
mid -- R3 10k -- turn -- R4 20k -- back
opamp A2: plus ground, minus turn, drives back
"#,
            expect![[r#"
                error: positive_feedback at `A1`
                  the feedback in the loop through `A1` and `A2` is positive: it drives the outputs away instead of holding them
                  A small rise comes around the loop enlarged, so V+ = V− does not hold at these op-amps. Exchange the inputs of `A1`, `plus sum, minus ground`, or claim `expect A1 latches` if that is meant.
                  `A2`: `A2` belongs to the loop
                  fix: exchange the inputs of `A1`: opamp A1: plus sum, minus ground, drives mid
            "#]],
        );
    }

    #[test]
    fn what_its_gain_holds_is_a_warning() {
        let text = "part weak\n  gain GAIN\nend\ncircuit g\nsource s: in = 10 mV\nin -- R1 10k -- p -- R2 10k -- o\nground -- R3 10k -- m -- R4 10.1k -- o\nopamp A1: plus p, minus m, drives o, part weak\n";
        report(
            &text.replace("GAIN", "100"),
            expect![[r#"
                warning: positive_feedback at `A1`
                  the feedback of `A1` is positive, and only its gain of no more than 100 holds it
                  Of a small rise of `o`, 100/201 comes back to minus (`m`) and 1/2 to plus (`p`). So V+ − V− moves with the output, and it rests where gain times V+ − V− is the output; that is the answer as written. With more gain it
                         would run to a rail, and no part keeps its gain exactly. Exchange the inputs of `A1`, or lead more of the output back to the minus input.
                  fix: exchange the inputs of `A1`: opamp A1: plus m, minus p, drives o, part weak
            "#]],
        );
        let found = crate::tests::findings(&text.replace("GAIN", "1000"));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].severity, Severity::Error);
    }

    #[test]
    fn a_stage_that_is_meant_to_latch_says_so() {
        report(
            r#"
source level: in = 2.5 V
source rail: vcc = 5 V
supply vcc
vcc -- R1 30k -- p -- R2 30k -- ground
p -- R3 60k -- pump
opamp A1: plus p, minus in, drives pump
expect A1 latches
"#,
            expect![""],
        );
    }
}
