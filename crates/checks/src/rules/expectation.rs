//! An `expect` that does not hold: what was found.

use analysis::claims::Judgement;
use analysis::feedback::Verdict;
use analysis::states::{Mode, State};
use analysis::{Answer, Outcome};
use circuit::{Carrier, Claim, ClaimKind, Formula, StateClaim, Within};
use syntax::{Fix, Place, Span, TextEdit};
use teaching::{feedback, names, notation, states};

use super::swing;
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "expectation",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An `expect` is a claim about the circuit, checked each time. It may be off by 0.1 % unless it says `within`. If it does not
hold, either the circuit or the claim is not what was meant; the finding says what the circuit gives.
# Wrong
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
    expect out = -4 V
# Right
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
    expect out = -3.96 V
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    if checked.circuit.claims.is_empty() || checked.incomplete() {
        return;
    }
    // where a fault or bad feedback leaves the answer open, nothing is judged: the finding about it says why
    let judgements = checked
        .study
        .judgements(checked.circuit, &checked.book.parts);
    for (claim, judgement) in checked.circuit.claims.iter().zip(judgements) {
        match &claim.kind {
            _ if judgement.holds != Some(false) => {}
            Some(ClaimKind::Equal { .. }) => findings.push(differs(checked, claim, judgement)),
            Some(ClaimKind::State { .. }) => {
                findings.extend(other_state(checked, claim, judgement))
            }
            _ => {}
        }
    }
}

/// `expect finding` where nothing was found.
pub(crate) fn not_found(checked: &Checked, claim: &Claim, rule: &str, at: &str) -> Finding {
    let message = format!("no finding `{rule}` at `{at}`");
    let help = format!(
        "This line says that the circuit has a fault of this kind, and it has none. Perhaps the fault was mended, or another name is \
         meant: `ampersum rule {rule}` tells what the rule looks for."
    );
    checked
        .finding(&RULE, claim.place, message, help)
        .about([at.to_string()])
}

fn differs(checked: &Checked, claim: &Claim, judgement: &Judgement) -> Finding {
    let Some(ClaimKind::Equal {
        always,
        left,
        right,
        within,
        value_place,
        free,
        ..
    }) = &claim.kind
    else {
        unreachable!("only claims of equality come here")
    };
    let text = claim.text.strip_prefix("always ").unwrap_or(&claim.text);
    let said_left = text.split('=').next().unwrap_or(text).trim();
    let said_right = checked.text(*value_place);
    let found = judgement
        .found
        .as_ref()
        .filter(|_| !checked.settings.hidden);
    let shown = found.map(|it| notation::full(it, judgement.dimension));
    let message = match (&shown, always) {
        (_, true) => {
            let sources = free.iter().map(|it| Carrier::Source(*it));
            let sources = names::carriers(checked.circuit, sources);
            let any = if sources.is_empty() {
                "in every case".into()
            } else {
                format!("for every value of {sources}")
            };
            format!("`{said_left} = {said_right}` does not hold {any}")
        }
        (Some(shown), false) => format!("`{said_left}` is {shown}, not `{said_right}`"),
        (None, false) => match by_state(checked, left, judgement) {
            Some(values) => format!(
                "`{said_left}` is {values}; so `{said_left} = {said_right}` does not hold in every stable state"
            ),
            None => format!("`{said_left} = {said_right}` does not hold"),
        },
    };
    let allowed = match within {
        Within::Usual => String::new(),
        Within::Ratio(ratio) => {
            let percent = ratio.mul(&syntax::Number::decimal(1u8.into(), 2));
            format!(
                " The claim allows {} %.",
                notation::number(&percent, syntax::Dimension::NONE)
            )
        }
        Within::Amount(amount) => format!(
            " The claim allows {}.",
            notation::number(amount, judgement.dimension)
        ),
    };
    let help = match (always, &shown) {
        (true, Some(shown)) => format!(
            "At the values written, `{said_left}` is {shown}; with other values of the source the two sides part.{allowed} A missing \
             factor or a sign shows best when one source is set to zero."
        ),
        (true, None) => format!("With other values of the source the two sides part.{allowed}"),
        _ => format!(
            "{}{allowed} If the circuit is meant so, change the claim; if not, look at the values \
             and connections that lead to {}.",
            match checked.settings.hidden {
                // No value is said that "that" could be.
                true => "The circuit as written gives something else.",
                false => "That is what the circuit as written gives.",
            },
            subject_words(checked, left)
        ),
    };
    let mut subjects = Vec::new();
    collect(checked, left, &mut subjects);
    collect(checked, right, &mut subjects);
    let finding = checked
        .finding(&RULE, *value_place, message, help)
        .about(subjects);
    match (found, is_literal(said_right), always) {
        (Some(found), true, false) => finding.fix(correction(*value_place, found, judgement)),
        _ => finding,
    }
}

fn correction(place: Place, found: &Answer, judgement: &Judgement) -> Fix {
    let text = notation::language(found, judgement.dimension);
    Fix::likely(
        format!("claim `{text}`"),
        vec![TextEdit {
            span: place.span,
            text,
        }],
    )
}

/// What a formula is in each stable state.
fn by_state(checked: &Checked, formula: &Formula, judgement: &Judgement) -> Option<String> {
    let (circuit, parts) = (checked.circuit, &checked.book.parts);
    if checked.settings.hidden {
        return None;
    }
    let value =
        |it: &State| analysis::claims::evaluate(formula, circuit, it.solution(circuit, parts));
    states::by_state(checked.study, circuit, parts, judgement.dimension, value)
}

fn other_state(checked: &Checked, claim: &Claim, judgement: &Judgement) -> Option<Finding> {
    let Some(ClaimKind::State { opamp: id, state }) = &claim.kind else {
        return None;
    };
    let (circuit, study, parts) = (checked.circuit, checked.study, &checked.book.parts);
    let opamp = &circuit.opamps[id.index()];
    let name = &opamp.name;
    let verdict = study.feedback_of(*id);
    let beyond = swing::limit(checked, *id);
    let mode = study.mode(circuit, parts, *id);
    let end = |high: bool| if high { "high" } else { "low" };
    let is = match (mode, study.outcome(circuit, parts)) {
        (Some(Mode::Linear), _) => "it is linear".to_owned(),
        (Some(mode), _) => format!("it stands {}", states::stands(circuit, parts, *id, mode)),
        (None, Outcome::Several) => {
            format!("it may be {}", states::choice(study, circuit, parts, *id))
        }
        (None, _) => "no state of the circuit is stable".to_owned(),
    };
    let in_words = || {
        let line =
            verdict.map(|it| format!("Its feedback is {}.", feedback::line(circuit, it, *id)));
        line.unwrap_or_default()
    };
    let (message, help) = match (state, &beyond) {
        (StateClaim::Linear, Some(beyond)) if mode != Some(Mode::Linear) && mode.is_some() => (
            format!("`{name}` is not linear: {}", beyond.short),
            format!(
                "{} So {is}. Less gain, a smaller input or a larger supply would make it linear.",
                beyond.source
            ),
        ),
        (StateClaim::Linear, _) if opamp.comparator => (
            format!("`{name}` is not linear: it is a comparator"),
            format!("A comparator is always at a rail; here {is}."),
        ),
        (StateClaim::Linear, _) => (format!("`{name}` is not linear: {is}"), in_words()),
        (StateClaim::AtRail { high }, _) => {
            let message = match mode {
                Some(Mode::High | Mode::Low) => format!(
                    "`{name}` is not at its {} rail but at its {} one",
                    end(*high),
                    end(!*high)
                ),
                _ => format!("`{name}` is not at its {} rail: {is}", end(*high)),
            };
            let help = match (&beyond, mode) {
                (Some(beyond), Some(Mode::High | Mode::Low)) if beyond.high != *high => {
                    format!("{}. {}", names::sentence(&beyond.short), beyond.source)
                }
                (_, Some(Mode::Linear)) => {
                    "V+ = V− holds with its output between the rails.".into()
                }
                (_, None) if *study.outcome(circuit, parts) == Outcome::Several => format!(
                    "Which one it is depends on what happened before: claim `expect {name} latches` if that is meant."
                ),
                (_, None) => format!(
                    "It swings for ever: claim `expect {name} oscillates` if that is meant."
                ),
                _ => format!("{}.", names::sentence(&is)),
            };
            (message, help)
        }
        (StateClaim::Latches, _) => (
            format!("`{name}` does not latch"),
            match verdict {
                Some(it) if matches!(it.verdict, Verdict::Negative | Verdict::NegativeIfAlike) => {
                    format!(
                        "Its feedback is {}. To latch, more of the output must come back to plus.",
                        feedback::line(circuit, it, *id)
                    )
                }
                _ if mode.is_some() => format!(
                    "Both sides, high and low, would have to be stable with the sources as they are, and {is} in every stable state."
                ),
                _ => format!("Both sides, high and low, would have to be stable, but {is}."),
            },
        ),
        (StateClaim::Oscillates, _) => (
            format!("`{name}` does not oscillate"),
            format!("The circuit has a stable state, in which it stays: {is}."),
        ),
        (StateClaim::Goes { high, source, .. }, _) => {
            let high = end(*high);
            let source = &circuit.sources[source.index()].name;
            match judgement
                .found
                .as_ref()
                .filter(|_| !checked.settings.hidden)
            {
                Some(found) => (
                    format!(
                        "`{name}` does not go {high} there but at {}",
                        notation::full(found, judgement.dimension)
                    ),
                    format!(
                        "As the source `{source}` moves alone, that is where the state before it ends. It follows exactly from the limits of the \
                         output and from what leads it back to the inputs."
                    ),
                ),
                None if judgement.found.is_some() => (
                    format!("`{name}` does not go {high} there"),
                    "The state ends at another voltage of the source.".into(),
                ),
                None => (
                    format!("`{name}` does not go {high} at any value of `{source}`"),
                    format!(
                        "Its output would have to jump from one limit to the other as `{source}` moves alone. An output that goes there bit by bit is linear \
                         in between, and nothing switches."
                    ),
                ),
            }
        }
    };
    Some(
        checked
            .finding(&RULE, claim.place, message, help)
            .about([name.clone()]),
    )
}

/// The nodes and parts that a claim is about.
fn collect(checked: &Checked, formula: &Formula, subjects: &mut Vec<String>) {
    match formula {
        Formula::Number(_) => {}
        Formula::Node(node) => subjects.extend(checked.subjects(&[*node], &[])),
        Formula::Current(carrier) | Formula::Power(carrier) => {
            subjects.extend(checked.subjects(&[], &[*carrier]))
        }
        Formula::Negative(of) | Formula::Raised(of, _) => collect(checked, of, subjects),
        Formula::Binary(_, left, right) => {
            collect(checked, left, subjects);
            collect(checked, right, subjects);
        }
        Formula::Call(_, of) => of.iter().for_each(|it| collect(checked, it, subjects)),
    }
}

fn subject_words(checked: &Checked, left: &Formula) -> String {
    let mut subjects = Vec::new();
    collect(checked, left, &mut subjects);
    subjects.dedup();
    match subjects.as_slice() {
        [] => "it".into(),
        subjects => names::list(subjects.iter().map(|it| format!("`{it}`"))),
    }
}

/// Whether the right side is a quantity and nothing else, so that another may be put in its place.
fn is_literal(text: &str) -> bool {
    syntax::quantity::read(text, Span::new(0, text.len())).is_ok()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn the_value_found_is_told_and_offered() {
        report(
            r#"
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
expect out = -4 V
expect out = -3 * in within 1 %
"#,
            expect![[r#"
                error: expectation at `-4 V`
                  `out` is −3.96 V, not `-4 V`
                  That is what the circuit as written gives. If the circuit is meant so, change the claim; if not, look at the values and connections that lead to `out`.
                  fix: claim `-3.96 V`: expect out = -3.96 V
                error: expectation at `-3 * in`
                  `out` is −3.96 V, not `-3 * in`
                  That is what the circuit as written gives. The claim allows 1 %. If the circuit is meant so, change the claim; if not, look at the values and connections that lead to `out`.
            "#]],
        );
    }

    #[test]
    fn always_means_other_values_too() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- out -- R2 10k -- ground
expect always out = in - 0.5 V
"#,
            expect![[r#"
                error: expectation at `in - 0.5 V`
                  `out = in - 0.5 V` does not hold for every value of `probe`
                  At the values written, `out` is 500 mV; with other values of the source the two sides part. A missing factor or a sign shows best when one source is set to zero.
            "#]],
        );
    }

    #[test]
    fn not_linear_tells_the_limit() {
        report(
            r#"
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 100k -- out
opamp A1: plus ground, minus sum, drives out
expect A1 linear
"#,
            expect![[r#"
                error: expectation at `expect A1 linear`
                  `A1` is not linear: `out` would have to be −12 V, below its low limit of −9 V
                  The low rail is −9 V, and an output cannot go beyond it. So it stands at its low limit of −9 V. Less gain, a smaller input or a larger supply would make it linear.
            "#]],
        );
    }

    #[test]
    fn a_planted_fault_that_is_not_there() {
        report(
            r#"
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
expect finding positive_feedback at A1
"#,
            expect![[r#"
                error: expectation at `expect finding positive_feedback at A1`
                  no finding `positive_feedback` at `A1`
                  This line says that the circuit has a fault of this kind, and it has none. Perhaps the fault was mended, or another name is meant: `ampersum rule positive_feedback` tells what the rule looks for.
            "#]],
        );
    }

    #[test]
    fn a_stage_with_negative_feedback_does_not_latch() {
        report(
            r#"
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
expect A1 latches
"#,
            expect![[r#"
                error: expectation at `expect A1 latches`
                  `A1` does not latch
                  Its feedback is negative: of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (ground). To latch, more of the output must come back to plus.
            "#]],
        );
    }
}
