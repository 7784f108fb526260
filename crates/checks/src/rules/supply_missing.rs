//! A claim or a comparator that needs rails, and an op-amp without any.

use circuit::{Carrier, Claim, ClaimKind, Formula, OpampId, StateClaim};
use syntax::{Place, Span};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "supply_missing",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
Heat in an op-amp, and its behaviour at a rail, depend on its rails: the heat is (rail − output) times the output current. Without
a `supply` outputs have no limit and no heat can be told, and a comparator has no output at all. Say the rails of the circuit, `supply +9 V and -9 V`, or of the one
op-amp, `opamp A1: …, supply 5 V`.
# Wrong
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 1k -- ground
    expect power(A1) = 8 mW
# Right
    supply +9 V and -9 V
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 1k -- ground
    expect power(A1) = 8 mW
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    if checked.incomplete() {
        return;
    }
    for it in checked.circuit.opamps.iter().filter(|it| it.comparator) {
        if it.supply.is_none() {
            let message = format!("`{}` is a comparator, and it has no rails", it.name);
            let help = "A comparator's output is always at one of its rails: without them it has no voltage. Say them: `supply 5 V`, for instance, for \
                        the circuit or behind a comma in its own line.";
            let finding = checked.finding(&RULE, it.name_place, message, help);
            findings.push(finding.about([it.name.clone()]));
        }
    }
    for claim in &checked.circuit.claims {
        let Some(opamp) = missing(checked, claim) else {
            continue;
        };
        let it = &checked.circuit.opamps[opamp.index()];
        let name = &it.name;
        let message = format!("this claim needs the rails of `{name}`, and it has none");
        let help = "Heat in an op-amp, and where its output stops, depend on its rails. Say them: `supply +9 V and -9 V`, for instance.";
        // The comparator's own finding says it.
        if it.comparator {
            continue;
        }
        let mut finding = checked
            .finding(&RULE, word(checked, claim, name), message, help)
            .about([name.clone()]);
        finding = finding.also(it.name_place, format!("`{name}` has no supply"));
        findings.push(finding);
    }
}

/// The op-amp whose rails a claim needs and does not have.
pub(crate) fn missing(checked: &Checked, claim: &Claim) -> Option<OpampId> {
    needs_rails(claim).filter(|id| checked.circuit.opamps[id.index()].supply.is_none())
}

fn needs_rails(claim: &Claim) -> Option<OpampId> {
    match claim.kind.as_ref()? {
        ClaimKind::Equal { left, right, .. } => heat(left).or_else(|| heat(right)),
        ClaimKind::State {
            opamp,
            state: StateClaim::AtRail { .. } | StateClaim::Latches | StateClaim::Goes { .. },
        } => Some(*opamp),
        _ => None,
    }
}

fn heat(formula: &Formula) -> Option<OpampId> {
    match formula {
        Formula::Power(Carrier::Opamp(id)) => Some(*id),
        Formula::Negative(inner) | Formula::Raised(inner, _) => heat(inner),
        Formula::Binary(_, left, right) => heat(left).or_else(|| heat(right)),
        Formula::Call(_, all) => all.iter().find_map(heat),
        _ => None,
    }
}

/// The op-amp's name in the claim.
fn word(checked: &Checked, claim: &Claim, name: &str) -> Place {
    let text = checked.text(claim.place);
    let part_of_word =
        |it: Option<char>| it.is_some_and(|it| it.is_alphanumeric() || matches!(it, '_' | '.'));
    let alone = |at: usize| {
        !part_of_word(text[..at].chars().next_back())
            && !part_of_word(text[at + name.len()..].chars().next())
    };
    match text
        .match_indices(name)
        .map(|it| it.0)
        .find(|at| alone(*at))
    {
        Some(at) => {
            let start = claim.place.span.start as usize + at;
            Place {
                span: Span::new(start, start + name.len()),
                ..claim.place
            }
        }
        None => claim.place,
    }
}
