//! A disturbance that does not die away: no state in which the circuit rests.

use analysis::Outcome;
use analysis::feedback::{Feedback, Verdict};
use circuit::OpampId;
use teaching::feedback;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "oscillation",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A circuit rests where its equations say only if a small disturbance dies away there. If it grows, the outputs swing from limit to limit
and never come to rest; on the border it neither grows nor dies away, and nobody can rely on it. Lead more of the output back to
minus, quickly. If the swinging is meant, as in a generator, say so: `expect K1 oscillates`.
# Wrong
    supply +9 V and -9 V
    saw -- R1 10k -- p -- R2 20k -- square
    comparator K1: plus p, minus ground, drives square
    square -- R3 10k -- m -- C1 100 nF -- saw
    opamp A1: plus ground, minus m, drives saw
# Right
    supply +9 V and -9 V
    saw -- R1 10k -- p -- R2 20k -- square
    comparator K1: plus p, minus ground, drives square
    square -- R3 10k -- m -- C1 100 nF -- saw
    opamp A1: plus ground, minus m, drives saw
    expect K1 oscillates
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let (circuit, study, parts) = (checked.circuit, checked.study, &checked.book.parts);
    for it in &study.feedback {
        let growing = |it| {
            matches!(
                it,
                Verdict::Oscillates | Verdict::RunsAway | Verdict::Marginal
            )
        };
        let held = it.verdict == Verdict::HeldByGain && growing(it.ideally);
        if (held || growing(it.verdict)) && checked.is_sure(&it.block) {
            findings.extend(of_block(checked, it));
        }
    }
    let may = circuit.opamps.iter().any(|it| it.supply.is_some());
    if !checked.incomplete() && may && *study.outcome(circuit, parts) == Outcome::Restless {
        findings.extend(restless(checked));
    }
}

fn of_block(checked: &Checked, it: &Feedback) -> Option<Finding> {
    let circuit = checked.circuit;
    let first = *it.block.first()?;
    let all = feedback::opamps(circuit, &it.block);
    let message = match it.ideally {
        _ if it.verdict == Verdict::HeldByGain => {
            format!("finite gain alone lets a disturbance die away in the loop through {all}")
        }
        Verdict::Marginal => {
            format!("in the loop through {all} a disturbance neither grows nor dies away")
        }
        _ => format!("in the loop through {all} a small disturbance grows"),
    };
    let help = match it.verdict {
        Verdict::HeldByGain => format!(
            "The feedback is {}. Gain differs much from one part to the next, so nobody can rely on that. Lead more of an output back to its own minus input.",
            feedback::line(circuit, it, first)
        ),
        _ => format!(
            "The feedback is on no side that can be relied on: {}. Lead more of an output back to its own minus input, or claim `expect {} oscillates` if \
         that is meant.",
            feedback::line(circuit, it, first),
            circuit.opamps[first.index()].name
        ),
    };
    let names = it
        .block
        .iter()
        .map(|it| circuit.opamps[it.index()].name.clone());
    let place = circuit.opamps[first.index()].name_place;
    Some(checked.finding(&RULE, place, message, help).about(names))
}

/// No state is stable, and no verdict on feedback says so already.
fn restless(checked: &Checked) -> Option<Finding> {
    let (circuit, study) = (checked.circuit, checked.study);
    let told = |it: &Feedback| {
        matches!(
            it.verdict,
            Verdict::Positive | Verdict::Oscillates | Verdict::RunsAway | Verdict::Marginal
        ) && checked.is_sure(&it.block)
    };
    if study.feedback.iter().any(told) {
        return None;
    }
    let ids = || (0..circuit.opamps.len() as u32).map(OpampId);
    let restless = |it: &OpampId| {
        let verdict = study.feedback_of(*it).map(|it| it.verdict);
        circuit.opamps[it.index()].comparator || verdict != Some(Verdict::Negative)
    };
    let mut all: Vec<OpampId> = ids().filter(restless).collect();
    if all.is_empty() {
        all = ids().collect();
    }
    let first = &circuit.opamps[all.first()?.index()];
    let message = format!(
        "{} never come to rest: no state is stable",
        feedback::opamps(circuit, &all)
    );
    let message = if all.len() == 1 {
        message.replace("come", "comes")
    } else {
        message
    };
    let help = format!(
        "With each op-amp linear or at a limit, every combination contradicts itself or is left by the smallest disturbance. So the outputs swing for ever. \
         If that is meant, claim `expect {} oscillates`; if not, lead more of the output back to minus.",
        first.name
    );
    let names = all.iter().map(|it| circuit.opamps[it.index()].name.clone());
    Some(
        checked
            .finding(&RULE, first.name_place, message, help)
            .about(names),
    )
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    const GENERATOR: &str = r#"
supply +9 V and -9 V
saw -- R1 10k -- p -- R2 20k -- square
comparator K1: plus p, minus ground, drives square
square -- R3 10k -- m -- C1 100 nF -- saw
opamp A1: plus ground, minus m, drives saw
"#;

    #[test]
    fn a_generator_never_rests() {
        report(
            GENERATOR,
            expect![[r#"
            warning: oscillation at `K1`
              `K1` and `A1` never come to rest: no state is stable
              With each op-amp linear or at a limit, every combination contradicts itself or is left by the smallest disturbance. So the outputs swing for ever. If that is meant, claim `expect K1 oscillates`; if not, lead more of the output back to minus.
        "#]],
        );
    }

    #[test]
    fn a_claim_accepts_it_and_another_does_not() {
        report(
            &format!("{GENERATOR}expect K1 oscillates\nexpect A1 at high rail"),
            expect![[r#"
                error: expectation at `expect A1 at high rail`
                  `A1` is not at its high rail: no state of the circuit is stable
                  It swings for ever: claim `expect A1 oscillates` if that is meant.
            "#]],
        );
    }

    // Where A2 would have to be follows from a comparator that is now at one rail, now at the other; where A3 would, from a source.
    #[test]
    fn what_swings_asks_for_no_voltage() {
        let behind =
            "square -- R4 1k -- n -- R5 10k -- far\nopamp A2: plus ground, minus n, drives far\n";
        let aside = "source s: in = 2 V\nin -- R6 1k -- q -- R7 10k -- aside\nopamp A3: plus ground, minus q, drives aside\n";
        let claim = "expect K1 oscillates\n";
        report(&format!("{GENERATOR}{behind}{claim}"), expect![""]);
        report(
            &format!("{GENERATOR}{aside}{claim}"),
            expect![[r#"
                warning: swing at `A3`
                  `A3` cannot hold V+ = V−: `aside` would have to be −20 V, below its low limit of −9 V
                  The low rail is −9 V, and an output cannot go beyond it. Beyond it the output stands at its limit, V+ = V− no longer holds, and the voltages that follow from it are others. Less gain, a smaller input or a larger supply bring it back; if it is meant, write `allow swing at A3: "why"`.
                  `supply +9 V and -9 V`: its rails
            "#]],
        );
    }

    #[test]
    fn generators_of_other_kinds_may_be_claimed() {
        let relaxation = "supply 5 V\nsource rail: vcc = 5 V\nvcc -- R1 10k -- p -- R2 10k -- ground\np -- R3 10k -- out\nout -- R4 100k -- m -- C1 1 uF -- ground\n\
                          comparator K1: plus p, minus m, drives out\n";
        let bridge = "supply +9 V and -9 V\nout -- R1 10k -- x -- C1 100 nF -- p\np -- R2 10k -- ground\np -- C2 100 nF -- ground\n\
                      ground -- R3 10k -- m -- R4 21k -- out\nopamp K1: plus p, minus m, drives out\n";
        let exactly = bridge.replace("21k", "20k");
        for text in [relaxation, bridge, &exactly] {
            let found = crate::tests::findings(text);
            assert_eq!(found.len(), 1, "{found:#?}");
            assert_eq!(found[0].rule, "oscillation", "{found:#?}");
            report(&format!("{text}expect K1 oscillates\n"), expect![""]);
        }
        report(
            &format!("{}expect K1 oscillates\n", bridge.replace("21k", "15k")),
            expect![[r#"
                error: expectation at `expect K1 oscillates`
                  `K1` does not oscillate
                  The circuit has a stable state, in which it stays: it is linear.
            "#]],
        );
    }

    // (1 − 1/2)·u at rest, but at the first instant the capacitor holds minus: positive feedback tells it, and the claim accepts that.
    #[test]
    fn a_relaxation_oscillator_is_told_once() {
        let text = r#"
supply +9 V and -9 V
out -- R1 10k -- p -- R2 10k -- ground
out -- R3 10k -- m -- C1 100 nF -- ground
opamp A1: plus p, minus m, drives out
"#;
        report(
            text,
            expect![[r#"
                error: positive_feedback at `A1`
                  the feedback of `A1` is positive: it drives `out` away instead of holding it
                  Of a sudden rise of `out`, while capacitors keep their voltages, nothing comes back to minus (`m`) and 1/2 to plus (`p`). So when `out` rises, V+ − V− rises too and `out` runs to a rail; V+ = V− does not hold. No state of the circuit is stable: it swings between its limits. Lead more of the output back to the minus input, quickly, or claim `expect A1 oscillates` if that is meant.
            "#]],
        );
        report(&format!("{text}expect A1 oscillates"), expect![[""]]);
    }
}
