//! The linear answer lies beyond a rail less its headroom: the op-amp is at its limit.

use std::collections::HashSet;

use analysis::states::Mode;
use analysis::{Answer, Outcome, Trouble};
use circuit::{Circuit, ClaimKind, ElementKind, GROUND, NodeId, OpampId, SourceKind};
use syntax::{Dimension, Number};
use teaching::{feedback, names, notation, states};

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "swing",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An output cannot go beyond its rails, and most parts keep some headroom from them. Where V+ = V− would need more, the op-amp
stands at its limit, V+ = V− no longer holds, and every voltage behind it is another one. Less gain, a smaller input or a
larger supply bring it back; if the limit is meant, claim it: `expect A1 at low rail`.
# Wrong
    supply +9 V and -9 V
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 100k -- out
    opamp A1: plus ground, minus sum, drives out
# Right
    supply +9 V and -9 V
    source probe: in = 1.2 V
    in -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    if checked.incomplete() {
        return;
    }
    // What a line of the text accepts tells nothing of those behind it.
    let (named, open): (Vec<OpampId>, Vec<OpampId>) = beyond(checked)
        .into_iter()
        .partition(|it| is_named(checked, *it));
    let mut chains = first_of_chains(checked.circuit, &open);
    chains.extend(named.into_iter().map(|it| (it, Vec::new())));
    chains.sort_by_key(|it| it.0);
    for (opamp, behind) in chains {
        if !refused(checked, opamp) {
            findings.extend(beyond_rail(checked, opamp, &behind));
        }
    }
}

/// Whether a line of the text speaks of an op-amp's state or accepts a finding of this rule at it.
fn is_named(checked: &Checked, id: OpampId) -> bool {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let accepts = |rule: &str, at: &str| {
        rule == RULE.name && (at == opamp.name || at == circuit.node_name(opamp.drives))
    };
    let claimed = circuit.claims.iter().any(|it| match &it.kind {
        Some(ClaimKind::State { opamp, .. }) => *opamp == id,
        Some(ClaimKind::Finding { rule, at }) => accepts(rule, at),
        _ => false,
    });
    claimed || circuit.allows.iter().any(|it| accepts(&it.rule, &it.at))
}

/// The op-amps at a limit whose outputs move an op-amp's inputs.
fn clipped_before(checked: &Checked, id: OpampId) -> Vec<OpampId> {
    let (circuit, study, parts) = (checked.circuit, checked.study, &checked.book.parts);
    let ids = (0..circuit.opamps.len() as u32).map(OpampId);
    let clipped = |it: &OpampId| {
        let mode = study.mode(circuit, parts, *it);
        *it != id
            && !circuit.opamps[it.index()].comparator
            && mode.is_some_and(|it| it != Mode::Linear)
    };
    let clipped: Vec<OpampId> = ids.filter(clipped).collect();
    if clipped.is_empty() {
        return clipped;
    }
    let drives = Drives::of(circuit);
    let before = clipped.into_iter();
    before
        .filter(|it| drives.behind(circuit, *it).contains(&id))
        .collect()
}

/// The op-amps that feedback would hold linear and that stand at a rail.
fn beyond(checked: &Checked) -> Vec<OpampId> {
    let troubles = checked.troubles();
    let (circuit, study, parts) = (checked.circuit, checked.study, &checked.book.parts);
    if troubles.is_empty() && !circuit.opamps.iter().any(|it| it.comparator) {
        return Vec::new();
    }
    let ids = || (0..circuit.opamps.len() as u32).map(OpampId);
    let held = |it: &OpampId| study.feedback_of(*it).is_some_and(|it| it.verdict.holds());
    if study.outcome(circuit, parts).is_settled() {
        let clipped = |it: &OpampId| {
            matches!(
                study.mode(circuit, parts, *it),
                Some(Mode::High | Mode::Low)
            )
        };
        return ids().filter(|it| held(it) && clipped(it)).collect();
    }
    let untrusted = |it: &Trouble| matches!(it, Trouble::NoSingleAnswer | Trouble::Feedback(_));
    // Of a circuit that never rests each op-amp is looked at by itself, below.
    let swings = *study.outcome(circuit, parts) == Outcome::Restless;
    if !swings && troubles.iter().any(untrusted) {
        return Vec::new();
    }
    let beyond = troubles.iter().filter_map(|it| match it {
        Trouble::BeyondRail(opamp) => Some(*opamp),
        _ => None,
    });
    let beyond: Vec<OpampId> = beyond.filter(held).collect();
    if beyond.is_empty() {
        return beyond;
    }
    // Behind what swings or stands nobody knows where, nothing is known of what an output would have to be.
    let drives = Drives::of(circuit);
    let restless = ids().filter(|it| circuit.opamps[it.index()].comparator || !held(it));
    let moved: HashSet<OpampId> = restless.flat_map(|it| drives.behind(circuit, it)).collect();
    beyond
        .into_iter()
        .filter(|it| !moved.contains(it))
        .collect()
}

/// Of op-amps beyond their rails those that no other one drives there, each with those behind it: what they would have to do
/// rests on what it would have to do.
fn first_of_chains(circuit: &Circuit, beyond: &[OpampId]) -> Vec<(OpampId, Vec<OpampId>)> {
    const MOST: usize = 32;
    if beyond.len() < 2 || beyond.len() > MOST {
        return beyond.iter().map(|it| (*it, Vec::new())).collect();
    }
    let drives = Drives::of(circuit);
    let behind: Vec<HashSet<OpampId>> = beyond
        .iter()
        .map(|it| drives.behind(circuit, *it))
        .collect();
    let mut chains: Vec<(OpampId, Vec<OpampId>)> = Vec::new();
    for (index, opamp) in beyond.iter().enumerate() {
        // in a ring the first in the text
        let before = |other: usize| {
            behind[other].contains(opamp)
                && (other < index || !behind[index].contains(&beyond[other]))
        };
        if !(0..beyond.len()).any(|other| other != index && before(other)) {
            let rest = beyond
                .iter()
                .filter(|it| *it != opamp && behind[index].contains(it));
            chains.push((*opamp, rest.copied().collect()));
        }
    }
    chains
}

/// Which nodes hang together through parts that conduct, outputs and held nodes kept apart.
struct Drives {
    neighbours: Vec<Vec<NodeId>>,
    held: Vec<bool>,
}

impl Drives {
    fn of(circuit: &Circuit) -> Drives {
        let mut neighbours = vec![Vec::new(); circuit.nodes.len()];
        let mut held = vec![false; circuit.nodes.len()];
        held[GROUND.index()] = true;
        for element in circuit
            .elements
            .iter()
            .filter(|it| it.kind != ElementKind::Capacitor)
        {
            let [a, b] = element.ends;
            neighbours[a.index()].push(b);
            neighbours[b.index()].push(a);
        }
        for source in &circuit.sources {
            let SourceKind::Voltage { plus, minus } = source.kind else {
                continue;
            };
            if minus == GROUND && source.controls.is_empty() {
                held[plus.index()] = true;
            }
            neighbours[plus.index()].push(minus);
            neighbours[minus.index()].push(plus);
            for (control, _) in &source.controls {
                neighbours[control.index()].push(plus);
            }
        }
        for opamp in &circuit.opamps {
            held[opamp.drives.index()] = true;
        }
        Drives { neighbours, held }
    }

    /// The op-amps whose inputs an output moves, directly or through others.
    fn behind(&self, circuit: &Circuit, opamp: OpampId) -> HashSet<OpampId> {
        let mut reached = vec![false; self.neighbours.len()];
        let mut behind = HashSet::new();
        let mut open = vec![circuit.opamps[opamp.index()].drives];
        reached[open[0].index()] = true;
        loop {
            while let Some(node) = open.pop() {
                for next in &self.neighbours[node.index()] {
                    if !reached[next.index()] && !self.held[next.index()] {
                        reached[next.index()] = true;
                        open.push(*next);
                    }
                }
            }
            for (index, other) in circuit.opamps.iter().enumerate() {
                let moved = reached[other.plus.index()] || reached[other.minus.index()];
                if moved && behind.insert(OpampId(index as u32)) && !reached[other.drives.index()] {
                    reached[other.drives.index()] = true;
                    open.push(other.drives);
                }
            }
            if open.is_empty() {
                return behind;
            }
        }
    }
}

/// Whether a claim about its state does not hold: it tells the same, as an error.
fn refused(checked: &Checked, id: OpampId) -> bool {
    let judgements = checked
        .study
        .judgements(checked.circuit, &checked.book.parts);
    checked
        .circuit
        .claims
        .iter()
        .zip(judgements)
        .any(|(claim, judgement)| {
            judgement.holds == Some(false)
                && matches!(&claim.kind, Some(ClaimKind::State { opamp, .. }) if *opamp == id)
        })
}

fn beyond_rail(checked: &Checked, id: OpampId, behind: &[OpampId]) -> Option<Finding> {
    let opamp = &checked.circuit.opamps[id.index()];
    let v = checked.settings.writing.voltage.text();
    let stands = stands(checked, id);
    let (short, source, high) = match (limit(checked, id), &stands) {
        (Some(words), _) => (words.short, words.source, words.high),
        (None, Some((high, _))) => {
            let mode = if *high { Mode::High } else { Mode::Low };
            let at = states::stands(checked.circuit, &checked.book.parts, id, mode);
            let short = format!("it stands {at}");
            (
                short,
                "What other op-amps do at their limits drives it there.".into(),
                *high,
            )
        }
        (None, None) => return None,
    };
    let before = clipped_before(checked, id);
    let with = match &before[..] {
        [] => String::new(),
        [one] => match checked
            .study
            .mode(checked.circuit, &checked.book.parts, *one)
        {
            Some(mode) => format!(
                "with `{}` {}, ",
                checked.circuit.opamps[one.index()].name,
                states::stands(checked.circuit, &checked.book.parts, *one, mode)
            ),
            None => String::new(),
        },
        _ => format!(
            "with {} at their limits, ",
            feedback::opamps(checked.circuit, &before)
        ),
    };
    let message = format!("`{}` cannot hold {v}+ = {v}−: {with}{short}", opamp.name);
    let known = stands.is_some();
    let instead = match stands {
        Some((_, words)) => words,
        None => format!(
            "Beyond it the output stands at its limit, {v}+ = {v}− no longer holds, and the voltages that follow from it are others."
        ),
    };
    // Of a circuit that never rests no claim can say where an op-amp stands.
    let swings = *checked.study.outcome(checked.circuit, &checked.book.parts) == Outcome::Restless;
    let meant = match swings {
        true => format!("write `allow swing at {}: \"why\"`", opamp.name),
        false => format!(
            "claim `expect {} at {} rail`",
            opamp.name,
            if high { "high" } else { "low" }
        ),
    };
    let help = format!(
        "{source} {instead} Less gain, a smaller input or a larger supply bring it back; if it is meant, {meant}.",
    );
    let help = match behind {
        [] if !before.is_empty() && !asks_for_more(checked, id, high) => format!(
            "{help} It would not be asked for that if {} kept within {} limits.",
            feedback::opamps(checked.circuit, &before),
            if before.len() == 1 { "its" } else { "their" }
        ),
        [] => help,
        _ if known => format!(
            "{help} Behind it {} {} too.",
            feedback::opamps(checked.circuit, behind),
            if behind.len() == 1 {
                "stands at its limit"
            } else {
                "stand at their limits"
            }
        ),
        _ => format!(
            "{help} What {} would have to do rests on it.",
            feedback::opamps(checked.circuit, behind)
        ),
    };
    let finding = checked.finding(&RULE, opamp.name_place, message, help);
    let out = checked.circuit.node_name(opamp.drives).to_string();
    let finding = finding.about([opamp.name.clone(), out]);
    Some(match &opamp.supply {
        Some(supply) => finding.also(supply.place, "its rails"),
        None => finding,
    })
}

/// Whether an output would have to be beyond its limit with every op-amp linear, too.
fn asks_for_more(checked: &Checked, id: OpampId, high: bool) -> bool {
    let solution = checked.study.linear(checked.circuit, &checked.book.parts);
    let output = solution.opamps.get(id.index()).and_then(Option::as_ref);
    let margin = output.and_then(|it| match high {
        true => it.margin_high.as_ref(),
        false => it.margin_low.as_ref(),
    });
    margin.is_some_and(is_negative)
}

/// Whether an op-amp stands at its high rail, and where that leaves its output and its inputs; `None` where it stands at none or that is not
/// known.
fn stands(checked: &Checked, id: OpampId) -> Option<(bool, String)> {
    let (circuit, parts) = (checked.circuit, &checked.book.parts);
    let high = match checked.study.mode(circuit, parts, id)? {
        Mode::High => true,
        Mode::Low => false,
        _ => return None,
    };
    let opamp = &circuit.opamps[id.index()];
    let v = checked.settings.writing.voltage.text();
    let end = if high { "high" } else { "low" };
    let answer = checked.study.answer(circuit, parts)?;
    let node = |it: NodeId| answer.nodes.get(it.index())?.as_ref();
    let values = node(opamp.drives)
        .zip(node(opamp.plus))
        .zip(node(opamp.minus));
    let words = match values.filter(|_| !checked.settings.hidden) {
        Some(((out, plus), minus)) => format!(
            "So it stands at its {end} limit instead: {} is {}, and {v}+ − {v}− is {} where it would have to be 0.",
            names::node(circuit, opamp.drives),
            notation::short(out, Dimension::VOLT),
            notation::short(&(plus - minus), Dimension::VOLT)
        ),
        None => format!("So it stands at its {end} limit instead, and {v}+ = {v}− does not hold."),
    };
    Some((high, words))
}

/// How far beyond which limit an output would have to be.
pub(crate) struct Beyond {
    /// "`out` would have to be −12 V, below its low limit of −9 V".
    pub(crate) short: String,
    /// Where the limit comes from, a sentence.
    pub(crate) source: String,
    /// Whether it is the high one.
    pub(crate) high: bool,
}

/// The words about an output beyond its limit with all others as they stand; `None` where it is not.
pub(crate) fn limit(checked: &Checked, id: OpampId) -> Option<Beyond> {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let supply = opamp.supply.as_ref()?;
    let solution = checked.study.let_go(circuit, &checked.book.parts, id)?;
    let output = solution.opamps.get(id.index())?.as_ref()?;
    let high = match (&output.margin_high, &output.margin_low) {
        (Some(margin), _) if is_negative(margin) => true,
        (_, Some(margin)) if is_negative(margin) => false,
        _ => return None,
    };
    let rail = if high { &supply.high } else { &supply.low };
    let part = opamp.part.map(|it| &checked.book.parts[it.index()]);
    let headroom = part.and_then(|part| Some((part, &part.headroom.as_ref()?[usize::from(high)])));
    let headroom = headroom.filter(|(_, room)| !room.is_zero());
    let volts = |number: &Number| notation::number(number, Dimension::VOLT);
    let (end, sense) = if high {
        ("high", "above")
    } else {
        ("low", "below")
    };
    let limit = match headroom {
        None => rail.volts.clone(),
        Some((_, room)) if high => rail.volts.sub(room),
        Some((_, room)) => rail.volts.add(room),
    };
    let node = names::node(circuit, opamp.drives);
    // The limit holds before an output resistance, which drops the rest.
    let inside = part
        .and_then(|it| it.output_resistance.as_ref())
        .zip(output.current.as_ref())
        .filter(|it| !it.0.is_zero());
    let short = match checked.settings.hidden {
        true => format!(
            "{node} would have to be {sense} its {end} limit of {}",
            volts(&limit)
        ),
        false => format!(
            "{node} would have to be {}, {sense} its {end} limit of {}",
            notation::short(&output.voltage, Dimension::VOLT),
            volts(&limit)
        ),
    };
    let short = match inside {
        Some((resistance, current)) => {
            let needed = &output.voltage + &(&Answer::from(resistance) * current);
            let needed = checked.shown(&needed, Dimension::VOLT);
            format!(
                "`{}` would have to make {} before its output resistance of {}, {sense} its {end} limit of {}",
                opamp.name,
                needed.as_deref().unwrap_or("a voltage"),
                notation::number(resistance, Dimension::OHM),
                volts(&limit)
            )
        }
        None => short,
    };
    let at = match rail.node {
        Some(circuit::GROUND) => format!("The {end} rail is ground, 0 V"),
        Some(node) => format!(
            "The {end} rail is {}, {}",
            names::node(circuit, node),
            volts(&rail.volts)
        ),
        None => format!("The {end} rail is {}", volts(&rail.volts)),
    };
    let source = match headroom {
        None => format!("{at}, and an output cannot go beyond it."),
        Some((part, room)) => format!(
            "{at}, and the part `{}` keeps {} from it.",
            part.name,
            volts(room)
        ),
    };
    Some(Beyond {
        short,
        source,
        high,
    })
}

fn is_negative(answer: &Answer) -> bool {
    match answer {
        Answer::Exact(exact) => *exact < syntax::Ratio::ZERO,
        Answer::Float { value, bound } => value + bound < 0.0,
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_gain_too_large_for_the_supply() {
        report(
            r#"
part low_noise
  headroom 1.5 V
end
circuit c
supply +9 V and -9 V
opamps are low_noise
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 100k -- out
opamp A1: plus ground, minus sum, drives out
"#,
            expect![[r#"
                warning: swing at `A1`
                  `A1` cannot hold V+ = V−: `out` would have to be −12 V, below its low limit of −7.5 V
                  The low rail is −9 V, and the part `low_noise` keeps 1.5 V from it. So it stands at its low limit instead: `out` is −7.5 V, and V+ − V− is −409.09 mV where it would have to be 0. Less gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect A1 at low rail`.
                  `supply +9 V and -9 V`: its rails
            "#]],
        );
    }

    #[test]
    fn a_claim_of_the_right_rail_accepts_it() {
        report(
            r#"
source rail: vcc = 5 V
supply vcc
source probe: in = 1 V
opamp A1: plus in, minus fb, drives out
out -- R1 90k -- fb -- R2 10k -- ground
expect A1 at high rail
"#,
            expect![""],
        );
    }

    #[test]
    fn a_claim_of_the_wrong_rail_does_not() {
        report(
            r#"
source rail: vcc = 5 V
supply vcc
source probe: in = 1 V
opamp A1: plus in, minus fb, drives out
out -- R1 90k -- fb -- R2 10k -- ground
expect A1 at low rail
"#,
            expect![[r#"
                error: expectation at `expect A1 at low rail`
                  `A1` is not at its low rail but at its high one
                  `out` would have to be 10 V, above its high limit of 5 V. The high rail is `vcc`, 5 V, and an output cannot go beyond it.
            "#]],
        );
    }

    const CHAIN: &str = r#"
supply +9 V and -9 V
source s: in = 3 V
in -- R1 10k -- m -- R2 100k -- a
opamp A1: plus ground, minus m, drives a
a -- R3 10k -- n -- R4 30k -- b
opamp A2: plus ground, minus n, drives b
"#;

    #[test]
    fn what_no_claim_names_is_told_behind_what_one_names() {
        report(
            &format!("{CHAIN}expect A1 at low rail\n"),
            expect![[r#"
            warning: swing at `A2`
              `A2` cannot hold V+ = V−: with `A1` at its low limit of −9 V, `b` would have to be 27 V, above its high limit of 9 V
              The high rail is 9 V, and an output cannot go beyond it. So it stands at its high limit instead: `b` is 9 V, and V+ − V− is 4.5 V where it would have to be 0. Less gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect A2 at high rail`.
              `supply +9 V and -9 V`: its rails
        "#]],
        );
        report(
            &format!("{CHAIN}expect A1 at low rail\nexpect A2 at high rail\n"),
            expect![""],
        );
        let accepted = "allow swing at A1: \"meant\"";
        let found = crate::tests::findings(&format!("{CHAIN}{accepted}"));
        assert!(
            found.len() == 1 && found[0].subjects[0] == "A2",
            "{found:#?}"
        );
        let found = crate::tests::findings(CHAIN);
        assert_eq!(found.len(), 1, "{found:#?}");
        assert!(
            found[0]
                .help
                .ends_with("Behind it `A2` stands at its limit too.")
        );
    }

    // a = 20 V and b = −20 V would leave c at 0 V; with b at its limit of −9 V c would have to be −11 V.
    #[test]
    fn what_only_another_at_its_limit_asks_for_says_so() {
        report(
            r#"
source s: in = 2 V
opamp A1: plus in, minus f, drives a, supply +25 V and -25 V
ground -- R1 1k -- f -- R2 9k -- a
in -- R3 1k -- g -- R4 10k -- b
opamp A2: plus ground, minus g, drives b, supply +9 V and -9 V
a -- R5 10k -- h -- R6 10k -- c
b -- R7 10k -- h
opamp A3: plus ground, minus h, drives c, supply +9 V and -9 V
expect A2 at low rail
"#,
            expect![[r#"
                warning: swing at `A3`
                  `A3` cannot hold V+ = V−: with `A2` at its low limit of −9 V, `c` would have to be −11 V, below its low limit of −9 V
                  The low rail is −9 V, and an output cannot go beyond it. So it stands at its low limit instead: `c` is −9 V, and V+ − V− is −666.67 mV where it would have to be 0. Less gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect A3 at low rail`. It would not be asked for that if `A2` kept within its limits.
                  `supply +9 V and -9 V`: its rails
            "#]],
        );
    }

    #[test]
    fn of_a_chain_the_first_is_told() {
        report(
            r#"
supply +9 V and -9 V
source probe: in = 2 V
in -- R1 10k -- a -- R2 100k -- u
opamp A1: plus ground, minus a, drives u
u -- R3 10k -- b -- R4 10k -- w
opamp A2: plus ground, minus b, drives w
"#,
            expect![[r#"
                warning: swing at `A1`
                  `A1` cannot hold V+ = V−: `u` would have to be −20 V, below its low limit of −9 V
                  The low rail is −9 V, and an output cannot go beyond it. So it stands at its low limit instead: `u` is −9 V, and V+ − V− is −1 V where it would have to be 0. Less gain, a smaller input or a larger supply bring it back; if it is meant, claim `expect A1 at low rail`.
                  `supply +9 V and -9 V`: its rails
            "#]],
        );
    }
}
