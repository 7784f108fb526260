//! A claim or a comparator that needs rails, and an op-amp without any.

use circuit::{Carrier, Claim, ClaimKind, Formula, OpampId, PartId, StateClaim};
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
a `supply` outputs have no limit and no heat can be told, a comparator has no output at all, and what a part says of `headroom`, `inputs` or `supply` is
about nothing. Say the rails of the circuit, `supply +9 V and -9 V`, or of the one
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
    figures(checked, findings);
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

/// Figures of a part that count from the rails, in a text that says none. The classes that come with the tool have such figures whatever they are
/// used for: of them it is no mistake.
fn figures(checked: &Checked, findings: &mut Vec<Finding>) {
    let opamps = checked.circuit.opamps.iter().zip(0..);
    let without = opamps.filter(|it| it.0.supply.is_none() && !it.0.comparator);
    let mut told: Vec<(PartId, Finding)> = Vec::new();
    for (opamp, index) in without {
        let (Some(id), Some(part)) = (opamp.part, checked.part_of(OpampId(index))) else {
            continue;
        };
        if let Some((_, finding)) = told.iter_mut().find(|it| it.0 == id) {
            finding.subjects.push(opamp.name.clone());
            continue;
        }
        let figures = [
            ("headroom", part.headroom.is_some()),
            ("inputs", part.inputs.is_some()),
            ("supply", part.supply.is_some()),
        ];
        let Some((word, _)) = figures.into_iter().find(|it| it.1) else {
            continue;
        };
        if checked.book.ships(part.place.file) {
            continue;
        }
        let message = format!(
            "the `{word}` of {} counts from the rails, and `{}` has none",
            checked.part_words(part),
            opamp.name
        );
        let help = "Without rails its output has no limit, and what the part says of it is not looked at. Say them: `supply +9 V and -9 V`, for instance.";
        let mut finding = checked.finding(&RULE, opamp.name_place, message, help);
        finding = finding.about([opamp.name.clone()]);
        if let Some(place) = checked.property(part, &[word]) {
            finding = finding.also(place, "counts from the rails");
        }
        told.push((id, finding));
    }
    findings.extend(told.into_iter().map(|it| it.1));
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

#[cfg(test)]
mod tests {
    use super::RULE;

    #[test]
    fn figures_that_count_from_rails_need_them() {
        let told = |figure: &str, more: &str| {
            let text = format!(
                "part drawer\n  gain 100000\n  {figure}\nend\ncircuit c\nopamps are drawer\n{more}source s: in = 1 V\n\
                 opamp A1: plus in, minus a, drives a\nopamp A2: plus a, minus b, drives b\nb -- R1 10k -- ground\n"
            );
            let found = crate::tests::findings(&text).into_iter();
            let found = found.filter(|it| it.rule == RULE.name);
            found.map(|it| it.subjects.join(" ")).collect::<Vec<_>>()
        };
        for figure in [
            "headroom 1 V",
            "inputs low 0 V, high 1.5 V",
            "supply 3 V to 36 V",
        ] {
            assert_eq!(told(figure, ""), ["A1 A2"], "{figure}");
            assert_eq!(told(figure, "supply +9 V and -9 V\n"), [""; 0], "{figure}");
        }
        assert_eq!(told("current 20 mA", ""), [""; 0]);
        let class = "source s: in = 1 V\nopamp A1: plus in, minus a, drives a, part fet_input\na -- R1 10k -- ground\n";
        let found = crate::tests::findings(class);
        assert!(found.iter().all(|it| it.rule != RULE.name), "{found:?}");
    }
}
