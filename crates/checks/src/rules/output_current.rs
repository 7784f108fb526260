//! More current than an output can deliver or take, and who asks for it.

use std::cmp::Ordering;
use std::collections::{HashMap, HashSet};

use analysis::Answer;
use circuit::{Carrier, ElementId, ElementKind, NodeId, OpampId, SourceId, SourceKind};
use syntax::{Dimension, Fix, Number, Ratio};
use teaching::{names, notation};

use crate::demand::gives_way;
use crate::limits::{Side, exceeds, firm, joined, named, stock, wires};
use crate::standings::Standing;
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
    /// What leaves it room before its limit of voltage as well.
    keeps: Answer,
    /// At a limit of voltage the resistance, in ohms, behind which the output rises when less is asked; else 0.
    behind: Answer,
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

    /// How many times as much as it can.
    fn times(&self) -> f64 {
        self.asked.abs().to_f64() / self.limit.to_f64()
    }
}

/// A resistor that carries what is asked of an output beyond its limit.
#[derive(Clone, Debug)]
pub(crate) struct Carries {
    /// The resistor.
    pub(crate) resistor: ElementId,
    /// What the output can deliver or take, in amperes.
    pub(crate) limit: Answer,
}

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    checked.in_each_state(findings, |standing| {
        let all = checked.overloads_in(standing).iter();
        let all = all.take(crate::MOST_OF_A_RULE);
        all.map(|it| (told(checked, it), it.times())).collect()
    });
}

impl Checked<'_> {
    /// The resistors that carry what is asked of outputs beyond their limits, near their outputs or far.
    pub(crate) fn carriers(&self) -> &[Carries] {
        let find = || {
            let all = self.standings().iter();
            all.flat_map(|it| carriers(self, it)).collect()
        };
        self.carriers.get_or_init(find)
    }
}

/// The same in one state: those that ask most, and any on the way, over other resistors and sources, through which goes all that is too much.
fn carriers<'a>(checked: &Checked<'a>, standing: &Standing<'a>) -> Vec<Carries> {
    let circuit = checked.circuit;
    let overloads = checked.overloads_in(standing);
    let Some(first) = overloads.first() else {
        return Vec::new();
    };
    let mut carriers: Vec<Carries> = Vec::new();
    for it in overloads {
        carriers.extend(it.asker().map(|resistor| Carries {
            resistor,
            limit: it.limit.clone(),
        }));
    }
    let excess = |it: &Overload| &it.asked.abs() - &it.limit;
    let less = |a: f64, b: f64| if b < a { b } else { a };
    let least = overloads
        .iter()
        .map(|it| excess(it).to_f64())
        .fold(f64::INFINITY, less);
    let firm = firm(circuit);
    let mut beside: Vec<Vec<NodeId>> = vec![Vec::new(); circuit.nodes.len()];
    let held = circuit.sources.iter().filter_map(|it| match it.kind {
        SourceKind::Voltage { plus, minus } => Some([plus, minus]),
        SourceKind::Current { .. } => None,
    });
    let conducting = circuit.elements.iter();
    let conducting = conducting.filter(|it| it.kind != ElementKind::Capacitor);
    for [a, b] in conducting.map(|it| it.ends).chain(held) {
        beside[a.index()].push(b);
        beside[b.index()].push(a);
    }
    let mut open: Vec<NodeId> = overloads
        .iter()
        .map(|it| circuit.opamps[it.opamp.index()].drives)
        .collect();
    let mut reached: HashSet<NodeId> = open.iter().copied().collect();
    while let Some(node) = open.pop() {
        for next in &beside[node.index()] {
            if !firm[next.index()] && reached.insert(*next) {
                open.push(*next);
            }
        }
    }
    let answer = checked.demanded(standing);
    for (index, element) in circuit.elements.iter().enumerate() {
        let resistor = ElementId(index as u32);
        let carried = answer.elements[index].as_ref();
        let current = carried.and_then(|it| it.current.as_ref());
        let carries = current.is_some_and(|it| it.to_f64().abs() >= least && least > 0.0);
        if element.kind == ElementKind::Resistor
            && carries
            && element.ends.iter().any(|it| reached.contains(it))
        {
            let limit = first.limit.clone();
            carriers.push(Carries { resistor, limit });
        }
    }
    carriers
}

/// Every output that is asked for too much in one state.
pub(crate) fn overloads<'a>(checked: &Checked<'a>, standing: &Standing<'a>) -> Vec<Overload> {
    let circuit = checked.circuit;
    let answer = checked.demanded(standing);
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
        let gives_way = standing.modes.get(index).is_some_and(|it| gives_way(*it));
        if gives_way || exceeds(&asked.abs(), &limit) {
            let resistance = checked
                .part_of(id)
                .and_then(|it| Some(Answer::from(it.output_resistance.as_ref()?)));
            let room = output
                .as_ref()
                .and_then(|it| checked.room(id, delivers, &it.voltage));
            let keeps = resistance.as_ref().zip(room).and_then(|it| it.1.over(it.0));
            // All the room that there is goes to its resistance.
            let at_limit = keeps
                .as_ref()
                .is_some_and(|it| (it.to_f64() / asked.to_f64().abs() - 1.0).abs() < 1e-9);
            found.push(Overload {
                opamp: id,
                asked: asked.clone(),
                keeps: keeps.map_or(limit.clone(), |it| it.min(&limit)),
                limit,
                behind: resistance.filter(|_| at_limit).unwrap_or_else(Answer::zero),
                branches: Vec::new(),
            });
        }
    }
    if found.is_empty() {
        return found;
    }
    // What hangs behind a closed switch hangs at the output.
    let spots = joined(circuit.nodes.len(), wires(circuit));
    let places = found.iter().enumerate();
    let at: HashMap<usize, usize> = places
        .map(|(place, it)| {
            let output = circuit.opamps[it.opamp.index()].drives;
            (spots[output.index()], place)
        })
        .collect();
    let mut add = |carrier: Carrier, ends: [NodeId; 2], current: Option<&Answer>| {
        let ends = ends.map(|it| spots[it.index()]);
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
    let left = &it.keeps - &rest;
    let known = exceeds(&it.asked.abs(), &it.limit) && it.keeps.sign() == Some(Ordering::Greater);
    let alone = known && left.sign() == Some(Ordering::Greater);
    let output = circuit.opamps[it.opamp.index()].drives;
    match carrier {
        Carrier::Element(id) if alone => {
            let element = &circuit.elements[id.index()];
            let spots = joined(circuit.nodes.len(), wires(circuit));
            let far = match element.ends {
                [a, b] if spots[a.index()] == spots[output.index()] => b,
                [a, _] => a,
            };
            let is_load = element.kind == ElementKind::Resistor && firm(circuit)[far.index()];
            let volts = &Answer::from(&element.value) * &taken.abs();
            let volts = &volts + &(&it.behind * &(&it.asked.abs() - &it.keeps));
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
                let most = notation::short(&named(&left, Side::Below), Dimension::AMPERE);
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
    let words = match it.asked.abs().over(&it.keeps) {
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

    /// Rule and message of each finding, and the help of the one that is about current.
    fn told(text: &str) -> (Vec<String>, String) {
        let found = crate::tests::findings(text);
        let current = found.iter().find(|it| it.rule == super::RULE.name);
        let help = current.map_or(String::new(), |it| it.help.clone());
        let told = found
            .iter()
            .map(|it| format!("{}: {}", it.rule, it.message));
        (told.collect(), help)
    }

    const LATCH: &str =
        "source s: in = 0.1 V\np -- R2 10k -- o\np -- R3 10k -- ground\nsupply +9 V and -9 V\n";

    #[test]
    fn an_output_at_its_limit_is_told_what_it_would_have_to_deliver() {
        let part = "part q\n  current 20 mA\nend\ncircuit z\n";
        // 9 V over 300 Ω are 30 mA; 9 V/20 mA are 450 Ω, of E24 470 Ω
        let text = format!(
            "{part}supply +9 V and -9 V\nsource s: in = 1 V\ncomparator A1: plus in, minus ground, drives o, part q\no -- RL 300 1 W -- ground\n"
        );
        let (told, help) = self::told(&text);
        assert_eq!(
            told,
            [
                "output_current: `A1` would have to deliver 30 mA, more than the 20 mA that its part `q` can deliver"
            ]
        );
        assert_eq!(
            help,
            "`RL` takes 30 mA. With `RL` at 470 Ω or more it would keep to it."
        );
        // The comparator stands at 9 V, the follower would have to hold 9 V/2 over 100 Ω.
        let text = format!(
            "{part}supply +9 V and -9 V\nsource s: in = 1 V\ncomparator A1: plus in, minus ground, drives o\no -- R1 10k -- h -- R2 10k -- ground\n\
             opamp A2: plus h, minus w, drives w, part q\nw -- RL 100 1 W -- ground\n"
        );
        let (told, help) = self::told(&text);
        assert_eq!(
            told,
            [
                "output_current: `A2` would have to deliver 45 mA, more than the 20 mA that its part `q` can deliver"
            ]
        );
        assert!(help.contains("With `RL` at 240 Ω or more"), "{help}");
    }

    #[test]
    fn what_the_output_resistance_takes_is_no_less_of_a_demand() {
        // −2 V over 40 Ω and 1 kΩ are 52 mA; −3 V lie behind 100 Ω, so 10 mA are left: 2 V/8 mA are 250 Ω, less the gain's error.
        let (told, help) = self::told(
            "opamps are general_bipolar\nsupply +5 V and -5 V\nsource s: in = 2 V\nin -- R1 1k -- m -- R2 1k -- o\n\
             opamp A1: plus ground, minus m, drives o\no -- RL 40 -- ground\n",
        );
        assert_eq!(told.len(), 1, "{told:#?}");
        assert!(told[0].contains("would have to take 51.8"), "{told:#?}");
        assert!(help.contains("With `RL` at 270 Ω or more"), "{help}");
    }

    #[test]
    fn what_hangs_behind_a_closed_switch_asks_and_would_do() {
        let (told, help) = self::told(
            "source s: in = 3 V\nopamp A1: plus in, minus o, drives o\nswitch S1: from o, to a, closed\na -- RL 100 -- ground\n",
        );
        assert_eq!(told.len(), 1, "{told:#?}");
        assert!(
            help.contains("`RL` takes 30 mA. With `RL` at 150 Ω or more"),
            "{help}"
        );
    }

    #[test]
    fn each_copy_of_a_block_shows_what_asks_it() {
        let found = crate::tests::findings(
            "block buf: in, out\n  opamp A1: plus in, minus out, drives out\nend\ncircuit c\nsource s: in = 5 V\nbuf B1: in in, out o\n\
             buf B2: in in, out q\no -- RL 150 -- ground\nq -- RM 160 -- ground\n",
        );
        assert_eq!(found.len(), 1, "{found:#?}");
        assert_eq!(found[0].related.len(), 2, "{found:#?}");
        for name in ["RL", "RM", "B1.A1", "B2.A1"] {
            assert!(found[0].subjects.iter().any(|it| it == name), "{name}");
        }
    }

    #[test]
    fn an_output_is_judged_in_every_stable_state() {
        // 30 mA and 450 µA of the divider in both states
        let text = format!(
            "{LATCH}comparator A1: plus p, minus in, drives o\no -- RL 300 1 W -- ground\nexpect A1 latches\n"
        );
        let (told, help) = self::told(&text);
        assert_eq!(told.len(), 1, "{told:#?}");
        assert!(
            told[0].contains("30.45 mA, more than the 20 mA"),
            "{told:#?}"
        );
        assert!(help.contains("With `RL` at 470 Ω or more"), "{help}");
        // Only the low state pulls on the load that hangs on 9 V: (9 + 9) V/600 Ω.
        let text = format!(
            "{LATCH}comparator A1: plus p, minus in, drives o\nsource b: top = 9 V\ntop -- RL 600 1 W -- o\nexpect A1 latches\n"
        );
        let (told, help) = self::told(&text);
        assert_eq!(told.len(), 1, "{told:#?}");
        assert!(told[0].contains("would have to take 30.45 mA"), "{told:#?}");
        assert!(told[0].ends_with(", when `A1` is low"), "{told:#?}");
        assert!(help.contains("With `RL` at 1 kΩ or more"), "{help}");
    }

    #[test]
    fn a_claimed_fault_leaves_the_other_limits_awake() {
        let text = "supply +9 V and -9 V\nsource s: in = 3 V\nin -- R1 10k -- m -- R2 33k -- o\nopamp A1: plus ground, minus m, drives o\no -- RL 300 1 W -- ground\n";
        for line in [
            "expect finding swing at A1",
            "expect finding swing at o",
            "allow swing at A1: \"meant\"",
            "expect A1 at low rail",
        ] {
            let (told, _) = self::told(&format!("{text}{line}\n"));
            assert_eq!(
                told,
                [
                    "output_current: `A1` would have to take 30.279 mA, more than the 20 mA of the setting `output_current`"
                ],
                "{line}"
            );
        }
    }

    #[test]
    fn a_small_resistor_is_told_once_wherever_it_stands() {
        for text in [
            "source s: in = 0.5 V\nin -- R1 10 -- m -- R2 100 -- o\nopamp A1: plus ground, minus m, drives o\n",
            "source s: in = 5 V\nopamp A1: plus in, minus o, drives o\nsource f: o - a = 2 V\na -- RL 50 -- ground\n",
        ] {
            let (told, _) = self::told(text);
            assert_eq!(told.len(), 1, "{told:#?}");
            assert!(told[0].starts_with("output_current"), "{told:#?}");
        }
        // What it does not carry stays its own mistake.
        let (told, _) = self::told(
            "source s: in = 5 V\nopamp A1: plus in, minus o, drives o\no -- RL 150 -- ground\nsource b: v = 100 mV\nv -- R2 50 -- ground\n",
        );
        assert_eq!(told.len(), 2, "{told:#?}");
    }
}
