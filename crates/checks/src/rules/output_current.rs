//! More current than an output can deliver or take, and who asks for it.

use std::cmp::Ordering;
use std::collections::HashMap;

use analysis::Answer;
use analysis::states::Mode;
use circuit::{Carrier, ElementId, ElementKind, NodeId, OpampId, SourceId, SourceKind};
use syntax::{Dimension, Fix, Number, Ratio};
use teaching::{names, notation};

use crate::limits::{exceeds, firm, stock};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "output_current",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An output delivers and takes only so much current: what its part says in `current`, and where no part says it the setting
`output_current`, 20 mA (usual for small op-amps, as a laboratory sheet of a circuits course has it). Asked for more, the
output gives way and gets hot. The finding names the branches that ask, and a load that would do; larger resistors all round
leave the voltages as they are.
# Wrong
    source probe: in = 5 V
    opamp A1: plus in, minus out, drives out
    out -- RL 150 -- ground
# Right
    source probe: in = 5 V
    opamp A1: plus in, minus out, drives out
    out -- RL 1k -- ground
";

/// An output that is asked for too much.
#[derive(Clone, Debug)]
pub(crate) struct Overload {
    opamp: OpampId,
    /// In amperes, positive out of the output.
    asked: Answer,
    /// What it can deliver or take.
    limit: Answer,
    /// The branches at its node and what each takes from it, those first that ask for most.
    branches: Vec<(Carrier, Answer)>,
}

impl Overload {
    /// The resistor that asks for most, where a resistor does.
    pub(crate) fn asker(&self) -> Option<ElementId> {
        match self.branches.first()?.0 {
            Carrier::Element(id) => Some(id),
            _ => None,
        }
    }

    /// What the output can deliver or take.
    pub(crate) fn limit(&self) -> &Answer {
        &self.limit
    }
}

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let all = checked.overloads().iter().take(crate::MOST_OF_A_RULE);
    findings.extend(all.map(|it| told(checked, it)));
}

/// Every output that is asked for too much.
pub(crate) fn overloads(checked: &Checked) -> Vec<Overload> {
    let circuit = checked.circuit;
    let Some(answer) = checked.wanted().or_else(|| checked.answer()) else {
        return Vec::new();
    };
    let mut found: Vec<Overload> = Vec::new();
    for (index, output) in answer.opamps.iter().enumerate() {
        let id = OpampId(index as u32);
        let Some(asked) = output.as_ref().and_then(|it| it.current.as_ref()) else {
            continue;
        };
        let delivers = asked.sign() == Some(Ordering::Greater);
        let part = checked
            .part_of(id)
            .and_then(|it| Some(&it.current.as_ref()?[usize::from(!delivers)]));
        let limit = Answer::from(part.unwrap_or(&checked.settings.output_current));
        let mode = checked.study.mode(circuit, &checked.book.parts, id);
        let gives_way = matches!(mode, Some(Mode::Sourcing | Mode::Sinking));
        if gives_way || exceeds(&asked.abs(), &limit) {
            found.push(Overload {
                opamp: id,
                asked: asked.clone(),
                limit,
                branches: Vec::new(),
            });
        }
    }
    let at: HashMap<NodeId, usize> = found
        .iter()
        .enumerate()
        .map(|(place, it)| (circuit.opamps[it.opamp.index()].drives, place))
        .collect();
    if at.is_empty() {
        return found;
    }
    let mut add = |carrier: Carrier, ends: [NodeId; 2], current: Option<&Answer>| {
        let Some(current) = current.filter(|_| ends[0] != ends[1]) else {
            return;
        };
        for (node, taken) in [(ends[0], current.clone()), (ends[1], -current)] {
            if let Some(place) = at.get(&node) {
                found[*place].branches.push((carrier, taken));
            }
        }
    };
    for (index, (it, carried)) in circuit.elements.iter().zip(&answer.elements).enumerate() {
        let current = carried.as_ref().and_then(|it| it.current.as_ref());
        add(Carrier::Element(ElementId(index as u32)), it.ends, current);
    }
    for (index, (it, carried)) in circuit.sources.iter().zip(&answer.sources).enumerate() {
        // A held source's current comes out at its first end.
        let ends = match it.kind {
            SourceKind::Voltage { plus, minus } => [minus, plus],
            SourceKind::Current { from, into } => [from, into],
        };
        let current = carried.as_ref().and_then(|it| it.current.as_ref());
        add(Carrier::Source(SourceId(index as u32)), ends, current);
    }
    for it in &mut found {
        let delivers = it.asked.sign() == Some(Ordering::Greater);
        let size = |taken: &Answer| {
            if delivers {
                taken.to_f64()
            } else {
                -taken.to_f64()
            }
        };
        it.branches
            .sort_by(|a, b| size(&b.1).total_cmp(&size(&a.1)));
    }
    found
}

fn told(checked: &Checked, it: &Overload) -> Finding {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[it.opamp.index()];
    let delivers = it.asked.sign() == Some(Ordering::Greater);
    let verb = if delivers { "deliver" } else { "take" };
    let part = checked.part_of(it.opamp).filter(|it| it.current.is_some());
    let limit = notation::short(&it.limit, Dimension::AMPERE);
    let (limit, source) = match part {
        Some(part) => {
            let limit = format!("the {limit} that {} can {verb}", checked.part_words(part));
            let typical =
                "A class is only typical of its kind: the data sheet of your part counts.";
            match checked.book.ships(part.place.file) {
                true => (limit, typical.to_owned()),
                false => (limit, String::new()),
            }
        }
        None => (
            format!("the {limit} of the setting `output_current`"),
            "No part says a limit, so that of the settings is taken (20 mA is usual).".to_owned(),
        ),
    };
    // Of an output that already gives way only that is known.
    let asked = Some(it.asked.abs()).filter(|asked| exceeds(asked, &it.limit));
    let asked = asked.and_then(|it| checked.shown(&it, Dimension::AMPERE));
    let message = match asked {
        Some(asked) => format!(
            "`{}` would have to {verb} {asked}, more than {limit}",
            opamp.name
        ),
        None => format!("`{}` would have to {verb} more than {limit}", opamp.name),
    };
    let asking = |taken: &Answer| taken.sign() == it.asked.sign();
    let askers: Vec<&(Carrier, Answer)> = it.branches.iter().filter(|it| asking(&it.1)).collect();
    let sends = if delivers { "takes" } else { "brings" };
    let askers = names::few(&askers, |(carrier, taken)| {
        let name = names::carrier(circuit, *carrier);
        match checked.shown(&taken.abs(), Dimension::AMPERE) {
            Some(taken) => format!("`{name}` {sends} {taken}"),
            None => format!("`{name}`"),
        }
    });
    let askers = match checked.settings.hidden {
        true => format!("It is asked for by {askers}."),
        false => format!("{}.", names::sentence(&askers)),
    };
    let (cure, fix) = cure(checked, it);
    let help = [source, askers, cure];
    let help: Vec<String> = help.into_iter().filter(|it| !it.is_empty()).collect();
    let mut finding = checked
        .finding(&RULE, opamp.name_place, message, help.join(" "))
        .about([opamp.name.clone()])
        .about(checked.subjects(&[opamp.drives], &[]))
        .about(
            it.asker()
                .map(|id| circuit.elements[id.index()].name.clone()),
        );
    if let Some(place) = part.and_then(|it| checked.property(it, &["current", "source"])) {
        finding = finding.also(place, "its limit");
    }
    if let Some(asker) = it.asker() {
        let place = circuit.elements[asker.index()].value_place;
        finding = finding.also(place, "asks for most of it");
    }
    match fix {
        Some(fix) => finding.fix(fix),
        None => finding,
    }
}

/// What would bring the current below its limit.
fn cure(checked: &Checked, it: &Overload) -> (String, Option<Fix>) {
    let circuit = checked.circuit;
    let less = "Ask it for less current, or take a part that delivers more.".to_owned();
    let Some((carrier, taken)) = it.branches.first() else {
        return (less, None);
    };
    // What is left for the largest branch once the others have theirs.
    let rest = &it.asked.abs() - &taken.abs();
    let left = &it.limit - &rest;
    let known = exceeds(&it.asked.abs(), &it.limit);
    let alone = known && left.sign() == Some(Ordering::Greater);
    let output = circuit.opamps[it.opamp.index()].drives;
    match carrier {
        Carrier::Element(id) if alone => {
            let element = &circuit.elements[id.index()];
            let far = match element.ends {
                [a, b] if a == output => b,
                [a, _] => a,
            };
            let is_load = element.kind == ElementKind::Resistor && firm(circuit)[far.index()];
            let volts = &Answer::from(&element.value) * &taken.abs();
            let value = volts.over(&left).and_then(|it| stock(&it));
            if let (true, Some(value)) = (is_load, value) {
                if checked.settings.hidden {
                    let words = format!("A larger `{}` would cure it.", element.name);
                    return (words, None);
                }
                let ohms = notation::short(&value, Dimension::OHM);
                let words = format!(
                    "With `{}` at {ohms} or more it would keep to it.",
                    element.name
                );
                let edit = checked.revalue(element, &value);
                let edit = edit.filter(|_| {
                    element.value_place.file == circuit.opamps[it.opamp.index()].place.file
                });
                let title = format!("make `{}` {ohms}", element.name);
                return (words, edit.map(|edit| Fix::likely(title, vec![edit])));
            }
        }
        Carrier::Source(id) if alone => {
            let source = &circuit.sources[id.index()];
            if matches!(source.kind, SourceKind::Current { .. }) && !checked.settings.hidden {
                let most = notation::short(&left, Dimension::AMPERE);
                let words = format!(
                    "With `{}` at {most} or less it would keep to it.",
                    source.name
                );
                return (words, None);
            }
        }
        _ => {}
    }
    let pushes = |it: &circuit::Source| matches!(it.kind, SourceKind::Current { .. });
    if !known || circuit.sources.iter().any(pushes) {
        return (less, None);
    }
    let words = match it.asked.abs().over(&it.limit) {
        Some(times) if !checked.settings.hidden => format!(
            "Make all resistors of the circuit {} times as large or more: the voltages stay, and all currents fall alike.",
            tenths_up(times.to_f64())
        ),
        _ => "Make all resistors of the circuit larger by the same factor: the voltages stay, and all currents fall alike.".to_owned(),
    };
    (words, None)
}

/// A factor with one digit behind the point, rounded up.
fn tenths_up(times: f64) -> String {
    let tenths = (times * 10.0 * (1.0 + 1e-9)).ceil();
    let exact = Ratio::try_from(tenths).unwrap_or(Ratio::ONE) / Ratio::from(10u8);
    notation::number(&Number::Exact(exact), Dimension::NONE)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_load_that_is_too_small_and_one_that_would_do() {
        report(
            r#"
part small
  current source 10 mA, sink 5 mA
end
circuit c
opamps are small
source probe: in = 2 V
opamp A1: plus in, minus fb, drives out
out -- R1 10k -- fb -- R2 10k -- ground
out -- RL 270 -- ground
"#,
            expect![[r#"
                warning: output_current at `A1`
                  `A1` would have to deliver 15.015 mA, more than the 10 mA that its part `small` can deliver
                  `RL` takes 14.815 mA and `R1` takes 200 µA. With `RL` at 430 Ω or more it would keep to it.
                  `current source 10 mA, sink 5 mA`: its limit
                  `270`: asks for most of it
                  fix: make `RL` 430 Ω: out -- RL 430 -- ground
            "#]],
        );
    }

    #[test]
    fn an_output_that_takes_current_and_a_load_that_hangs_on_no_firm_node() {
        report(
            r#"
source probe: in = -6 V
opamp A1: plus in, minus mid, drives out
out -- R1 100 -- mid -- R2 200 -- ground
"#,
            expect![[r#"
                warning: output_current at `A1`
                  `A1` would have to take 30 mA, more than the 20 mA of the setting `output_current`
                  No part says a limit, so that of the settings is taken (20 mA is usual). `R1` brings 30 mA. Make all resistors of the circuit 1.6 times as large or more: the voltages stay, and all currents fall alike.
                  `100`: asks for most of it
            "#]],
        );
    }

    #[test]
    fn a_load_that_is_a_source_of_current() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus out, drives out
source motor: 35 mA from out into ground
out -- R1 1k -- ground
"#,
            expect![[r#"
                warning: output_current at `A1`
                  `A1` would have to deliver 36 mA, more than the 20 mA of the setting `output_current`
                  No part says a limit, so that of the settings is taken (20 mA is usual). `motor` takes 35 mA and `R1` takes 1 mA. With `motor` at 19 mA or less it would keep to it.
            "#]],
        );
    }

    #[test]
    fn a_load_whose_heat_rests_on_the_current_is_one_finding() {
        report(
            r#"
source probe: in = 5 V
opamp A1: plus in, minus out, drives out
out -- RL 10 -- ground
"#,
            expect![[r#"
                warning: output_current at `A1`
                  `A1` would have to deliver 500 mA, more than the 20 mA of the setting `output_current`
                  No part says a limit, so that of the settings is taken (20 mA is usual). `RL` takes 500 mA. With `RL` at 270 Ω or more it would keep to it.
                  `10`: asks for most of it
                  fix: make `RL` 270 Ω: out -- RL 270 -- ground
            "#]],
        );
    }
}
