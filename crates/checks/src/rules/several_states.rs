//! More than one stable state: which one it is depends on what happened before.

use analysis::Outcome;
use circuit::OpampId;
use syntax::Dimension;
use teaching::{feedback, names, states};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "several_states",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A circuit whose output comes back to a plus input may rest in more than one way. Which one it is depends on what happened before, so
that its voltages are not known from the text alone. Where that is meant, as in a switch with hysteresis, say so: `expect K1 latches`, or
where it switches, `expect K1 goes low at in = 3 V`.
# Wrong
    supply 5 V
    source rail: vcc = 5 V
    source level: in = 2.5 V
    vcc -- R1 30k -- p -- R2 30k -- ground
    p -- R3 60k -- pump
    comparator K1: plus p, minus in, drives pump
# Right
    supply 5 V
    source rail: vcc = 5 V
    source level: in = 2.5 V
    vcc -- R1 30k -- p -- R2 30k -- ground
    p -- R3 60k -- pump
    comparator K1: plus p, minus in, drives pump
    expect K1 latches
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let (circuit, study, parts) = (checked.circuit, checked.study, &checked.book.parts);
    let may = circuit
        .opamps
        .iter()
        .any(|it| it.supply.is_some() || it.part.is_some());
    if checked.incomplete() || !may || *study.outcome(circuit, parts) != Outcome::Several {
        return;
    }
    let ids = (0..circuit.opamps.len() as u32).map(OpampId);
    let open: Vec<OpampId> = ids
        .filter(|it| study.mode(circuit, parts, *it).is_none())
        .collect();
    // Feedback that does not hold V+ = V− is told by its own rule.
    let told = |it: &OpampId| {
        let lasting = study.feedback_of(*it).is_some_and(|it| it.verdict.holds());
        !lasting && !circuit.opamps[it.index()].comparator
    };
    if open.iter().any(told) {
        return;
    }
    let Some(first) = open.first().map(|it| &circuit.opamps[it.index()]) else {
        return;
    };
    let all = feedback::opamps(circuit, &open);
    let message = match &open[..] {
        [one] => format!(
            "{all} has more than one stable state: {}",
            states::choice(study, circuit, parts, *one)
        ),
        _ => format!("{all} have more than one stable state"),
    };
    let out = first.drives;
    let values = states::by_state(study, circuit, parts, Dimension::VOLT, |it| {
        it.solution(circuit, parts).nodes[out.index()].clone()
    });
    let values = match values.filter(|_| !checked.settings.hidden) {
        Some(values) => format!(": {} is {values}", names::node(circuit, out)),
        None => String::new(),
    };
    let help = format!(
        "Which one it is depends on what happened before{values}. If that is meant, claim `expect {} latches`; if not, lead less of the output back to plus.",
        first.name
    );
    let names = open
        .iter()
        .map(|it| circuit.opamps[it.index()].name.clone());
    let finding = checked.finding(&RULE, first.name_place, message, help);
    findings.push(finding.about(names));
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    const SWITCH: &str = r#"
source level: in = 2.5 V
source rail: vcc = 5 V
supply vcc
vcc -- R1 30k -- p -- R2 30k -- ground
p -- R3 60k -- pump
comparator K1: plus p, minus in, drives pump
"#;

    #[test]
    fn a_comparator_with_hysteresis() {
        report(
            SWITCH,
            expect![[r#"
            warning: several_states at `K1`
              `K1` has more than one stable state: high or low
              Which one it is depends on what happened before: `pump` is 5 V while `K1` is high, 0 V while `K1` is low. If that is meant, claim `expect K1 latches`; if not, lead less of the output back to plus.
        "#]],
        );
    }

    #[test]
    fn a_claim_that_it_switches_accepts_it() {
        report(
            &format!("{SWITCH}expect K1 goes low at in = 3 V\nexpect vcc = 5 V"),
            expect![[""]],
        );
    }

    #[test]
    fn a_value_is_claimed_of_every_state() {
        report(
            &format!(
                "{SWITCH}expect K1 latches\nexpect pump = 5 V\nexpect K1 goes high at in = 2.2 V\nexpect K1 at high rail"
            ),
            expect![[r#"
                error: expectation at `5 V`
                  `pump` is 5 V while `K1` is high, 0 V while `K1` is low; so `pump = 5 V` does not hold in every stable state
                  That is what the circuit as written gives. If the circuit is meant so, change the claim; if not, look at the values and connections that lead to `pump`.
                error: expectation at `expect K1 goes high at in = 2.2 V`
                  `K1` does not go high there but at 2 V
                  As the source `level` moves alone, that is where the state before it ends. It follows exactly from the limits of the output and from what leads it back to the inputs.
                error: expectation at `expect K1 at high rail`
                  `K1` is not at its high rail: it may be high or low
                  Which one it is depends on what happened before: claim `expect K1 latches` if that is meant.
            "#]],
        );
    }
}
