//! Resistors around op-amps that are so small or so large that the ideal rules begin to fail.
//!
//! Where a part has figures, their effect decides; else the range of the settings does.

use std::collections::{HashMap, HashSet};

use analysis::{Answer, inputs};
use circuit::{Element, ElementId, ElementKind, NodeId, OpampId, Part};
use syntax::{Dimension, Number, Ratio};
use teaching::{names, notation};

use super::{capacitive_load, output_current, resistor_power};
use crate::limits::{Side, exceeds, named};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "resistor_range",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
On paper any resistor does. A real op-amp delivers some 20 mA at most, so resistors below about 100 ohm ask too much of its
output; and its inputs draw a small bias current, which makes a voltage across resistors above about 10 Mohm that is no
longer small. 1k to 100k is a good choice for most stages. The limits are set in `ampersum.toml`: `[limits] resistor`.
Where the op-amp has a part with figures, the effect itself decides: its bias current may make 10 mV between its inputs (what
100 nA make in 100k; our own round number), and the resistors at its inputs may be 1/19 of its input resistance together, which
takes 5 % of its loop gain where its gain is finite (a rule of thumb read in a discussion of resistor choice); what its output delivers is
`output_current`.
# Wrong
    source probe: in = 10 mV
    in -- R1 10 -- sum -- R2 1k -- out
    opamp A1: plus ground, minus sum, drives out
# Right
    source probe: in = 10 mV
    in -- R1 1k -- sum -- R2 100k -- out
    opamp A1: plus ground, minus sum, drives out
";

/// The voltage between its inputs that the bias current of an op-amp may make, in volts.
fn most_drop() -> Number {
    Number::decimal(1u8.into(), -2)
}

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    if checked.circuit.opamps.is_empty() {
        return;
    }
    effects(checked, findings);
    by_value(checked, findings);
}

/// Of larger circuits the effects are not worked out: they take a solution for each input.
const MOST_OPAMPS: usize = 64;

/// What bias current and input resistance do with the resistors at the inputs.
fn effects(checked: &Checked, findings: &mut Vec<Finding>) {
    let circuit = checked.circuit;
    let counts = |it: &OpampId| checked.part_of(*it).is_some_and(has_input_figures);
    let opamps: Vec<OpampId> = (0..circuit.opamps.len() as u32)
        .map(OpampId)
        .filter(counts)
        .collect();
    if opamps.is_empty() || opamps.len() > MOST_OPAMPS || checked.answer().is_none() {
        return;
    }
    let seen = inputs::resistances(circuit, &opamps);
    for (opamp, seen) in opamps.into_iter().zip(seen) {
        if let (Some(part), [Some(plus), Some(minus)]) = (checked.part_of(opamp), seen) {
            let seen = [plus, minus];
            let found =
                bias(checked, opamp, part, &seen).or_else(|| loading(checked, opamp, part, &seen));
            findings.extend(found);
        }
    }
}

fn has_input_figures(part: &Part) -> bool {
    part.bias_current.is_some() || part.bias_offset.is_some() || part.input_resistance.is_some()
}

/// The bias currents through what the inputs look into.
fn bias(checked: &Checked, id: OpampId, part: &Part, seen: &[Answer; 2]) -> Option<Finding> {
    let zero = Number::ZERO;
    let common = part.bias_current.as_ref().unwrap_or(&zero);
    let offset = part.bias_offset.as_ref().unwrap_or(&zero);
    let half = offset.mul(&Number::decimal(5u8.into(), -1));
    let currents = [common.add(&half), common.sub(&half)];
    let drops = [0, 1].map(|it| &Answer::from(&currents[it]) * &seen[it]);
    let between = (&drops[0] - &drops[1]).abs();
    let most = Answer::from(&most_drop());
    if !exceeds(&between, &most) {
        return None;
    }
    let opamp = &checked.circuit.opamps[id.index()];
    let larger = usize::from(exceeds(&drops[1].abs(), &drops[0].abs()));
    let ohms = |it: usize| notation::short(&seen[it], Dimension::OHM);
    let amperes = notation::number(&currents[larger].abs(), Dimension::AMPERE);
    let message = format!(
        "the bias current of `{}` makes {} between its inputs, more than {}",
        opamp.name,
        notation::short(&between, Dimension::VOLT),
        notation::short(&most, Dimension::VOLT)
    );
    let pin = |it: usize| ["plus", "minus"][it];
    let current = Answer::from(&currents[larger]);
    let bounds = [&drops[1 - larger] - &most, &drops[1 - larger] + &most];
    let mut bounds: Vec<Answer> = bounds.iter().filter_map(|it| it.over(&current)).collect();
    bounds.sort_by(|a, b| a.to_f64().total_cmp(&b.to_f64()));
    let ohms_of = |it: &Answer, side| notation::short(&named(it, side), Dimension::OHM);
    let some = |least, most| exceeds(&named(most, Side::Below), &named(least, Side::Above));
    // What keeps to it lies between these two, by the drop at the other input.
    let cure = match &bounds[..] {
        [least, most] if exceeds(least, &Answer::zero()) && some(least, most) => format!(
            "Only with {} to {} there it would keep to it, as the other input stands; a part with less bias current (the class \
             `fet_input`) does with less.",
            ohms_of(least, Side::Above),
            ohms_of(most, Side::Below)
        ),
        [least, most] if exceeds(most, &Answer::zero()) && !exceeds(least, &Answer::zero()) => format!(
            "With {} or less there it would keep to it; the same resistance at both inputs cancels most, and a part with less bias \
             current (the class `fet_input`) needs neither.",
            ohms_of(most, Side::Below)
        ),
        _ => "No other resistance there alone would keep to it, as the other input stands; a part with less bias current (the class \
             `fet_input`) would."
            .to_owned(),
    };
    let help = format!(
        "{} draws {amperes} into its {} input, which looks into {} ({} at the {} input). For the circuit that is an \
         offset. {cure}",
        names::sentence(&checked.part_words(part)),
        pin(larger),
        ohms(larger),
        ohms(1 - larger),
        pin(1 - larger)
    );
    let finding = at_input(checked, id, larger, message, help);
    Some(
        match checked.property(part, &["bias_current", "bias_offset"]) {
            Some(place) => finding.also(place, "its bias current"),
            None => finding,
        },
    )
}

/// The resistors at both inputs against the resistance between them.
fn loading(checked: &Checked, id: OpampId, part: &Part, seen: &[Answer; 2]) -> Option<Finding> {
    // Without limit of gain V+ = V− holds whatever the inputs take.
    part.gain.as_ref()?;
    let inner = Answer::from(part.input_resistance.as_ref()?);
    let outer = &seen[0] + &seen[1];
    // R/(R + R_in) is above 1/20 where R is above R_in/19.
    let nineteen = Answer::Exact(Ratio::from(19u8));
    if !exceeds(&(&outer * &nineteen), &inner) {
        return None;
    }
    let opamp = &checked.circuit.opamps[id.index()];
    let hundred = Answer::Exact(Ratio::from(100u8));
    let lost = (&outer * &hundred).over(&(&outer + &inner))?;
    let message = format!(
        "the resistors at the inputs of `{}` take {} % of its loop gain, more than 5 %",
        opamp.name,
        (lost.to_f64() * 100.0).round() / 100.0
    );
    // A rounder number, a little less than a nineteenth.
    let most = inner.over(&Answer::Exact(Ratio::from(20u8)))?;
    let help = format!(
        "Its inputs look into {} together, and between them {} has {}: only the rest of what the feedback brings back reaches the op-amp. \
         With {} or less it would keep to it, or with a part of a higher input resistance (the class `fet_input`).",
        notation::short(&outer, Dimension::OHM),
        checked.part_words(part),
        notation::short(&inner, Dimension::OHM),
        notation::short(&named(&most, Side::Below), Dimension::OHM)
    );
    let larger = usize::from(exceeds(&seen[1], &seen[0]));
    let finding = at_input(checked, id, larger, message, help);
    Some(match checked.property(part, &["input_resistance"]) {
        Some(place) => finding.also(place, "its input resistance"),
        None => finding,
    })
}

/// A finding at the largest resistor of an input, or at the input where none touches it.
fn at_input(checked: &Checked, id: OpampId, pin: usize, message: String, help: String) -> Finding {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let node = [opamp.plus, opamp.minus][pin];
    let resistors = circuit
        .elements
        .iter()
        .filter(|it| is_resistor(it) && it.ends.contains(&node));
    let largest = resistors.reduce(|a, b| {
        if b.value
            .compare(&a.value)
            .is_some_and(std::cmp::Ordering::is_gt)
        {
            b
        } else {
            a
        }
    });
    let place = largest.map_or(opamp.pin_places[pin], |it| it.value_place);
    let finding = checked.finding(&RULE, place, message, help);
    let finding = finding.about(largest.map(|it| it.name.clone()));
    let finding = finding.about([opamp.name.clone()]);
    finding.about(checked.subjects(&[node], &[]))
}

fn is_resistor(it: &Element) -> bool {
    it.kind == ElementKind::Resistor
}

/// Resistors outside the range of the settings, where no part says what would come of it, and no effect is told already.
fn by_value(checked: &Checked, findings: &mut Vec<Finding>) {
    let circuit = checked.circuit;
    let [least, most] = &checked.settings.resistor;
    let outside = |it: &&(usize, &Element)| {
        let beyond = |limit: &Number| it.1.value.compare(limit);
        is_resistor(it.1)
            && (beyond(least).is_some_and(std::cmp::Ordering::is_lt)
                || beyond(most).is_some_and(std::cmp::Ordering::is_gt))
    };
    let all = circuit.elements.iter().enumerate().collect::<Vec<_>>();
    let outside: Vec<&(usize, &Element)> = all.iter().filter(outside).collect();
    if outside.is_empty() {
        return;
    }
    let figures = Figures::of(checked);
    let told = told_by_effect(checked);
    let silent = outside
        .iter()
        .filter(|it| !told.contains(&ElementId(it.0 as u32)));
    let found = silent.filter_map(|it| out_of_range(checked, it.1, &figures));
    findings.extend(found.take(crate::MOST_OF_A_RULE));
}

/// Resistors whose current or heat is told, and those that keep a capacitor off an output: how large they should be
/// `capacitive_load` says.
fn told_by_effect(checked: &Checked) -> HashSet<ElementId> {
    let mut told = HashSet::new();
    if checked.tells(output_current::RULE.name) {
        told.extend(checked.carriers().iter().map(|it| it.resistor));
    }
    if checked.tells(capacitive_load::RULE.name) {
        told.extend(capacitive_load::before_capacitors(checked));
    }
    if checked.tells(resistor_power::RULE.name) {
        for standing in checked.standings() {
            told.extend(resistor_power::hot(checked, standing.solution));
        }
    }
    told
}

/// Which of the op-amps at a node have figures for the one effect and the other.
struct Figures {
    /// Of a node that op-amps touch: whether the parts of all of them say their current, their inputs' needs.
    at: HashMap<NodeId, [bool; 2]>,
    /// The same of all op-amps.
    all: [bool; 2],
}

impl Figures {
    fn of(checked: &Checked) -> Figures {
        let mut figures = Figures {
            at: HashMap::new(),
            all: [true; 2],
        };
        for (index, opamp) in checked.circuit.opamps.iter().enumerate() {
            let part = checked.part_of(OpampId(index as u32));
            let has = [
                part.is_some_and(|it| it.current.is_some()),
                part.is_some_and(has_input_figures),
            ];
            let both = |known: &mut [bool; 2]| {
                known[0] &= has[0];
                known[1] &= has[1];
            };
            both(&mut figures.all);
            for pin in [opamp.plus, opamp.minus, opamp.drives] {
                both(figures.at.entry(pin).or_insert([true; 2]));
            }
        }
        figures
    }

    /// Whether figures decide about this resistor: of current, of inputs.
    fn decide(&self, resistor: &Element) -> [bool; 2] {
        let touched = |node: &&NodeId| **node != circuit::GROUND;
        let touching = resistor
            .ends
            .iter()
            .filter(touched)
            .filter_map(|it| self.at.get(it));
        touching
            .copied()
            .reduce(|a, b| [a[0] && b[0], a[1] && b[1]])
            .unwrap_or(self.all)
    }
}

fn out_of_range(checked: &Checked, resistor: &Element, figures: &Figures) -> Option<Finding> {
    let [least, most] = &checked.settings.resistor;
    let (name, value) = (
        &resistor.name,
        notation::number(&resistor.value, Dimension::OHM),
    );
    let [by_current, by_inputs] = figures.decide(resistor);
    let (message, help) = if resistor.value.compare(least)?.is_lt() {
        if by_current {
            return None;
        }
        let least = notation::number(least, Dimension::OHM);
        (
            format!("`{name}` is {value}, less than the {least} that suit an op-amp circuit"),
            format!(
                "Already 1 V across it drives {}, and most op-amps deliver no more than some 20 mA. Make all resistors of the stage \
                 larger by the same factor: the voltages stay.",
                amperes_at_one_volt(resistor)
            ),
        )
    } else {
        if by_inputs {
            return None;
        }
        let most = notation::number(most, Dimension::OHM);
        (
            format!("`{name}` is {value}, more than the {most} that suit an op-amp circuit"),
            format!(
                "The bias current of a real input makes a voltage across it: 10 nA across {value} are {}. Leakage and noise grow with \
                 it too. Make all resistors of the stage smaller by the same factor: the voltages stay.",
                volts_at_ten_nanoamperes(resistor)
            ),
        )
    };
    Some(
        checked
            .finding(&RULE, resistor.value_place, message, help)
            .about([name.clone()]),
    )
}

fn amperes_at_one_volt(resistor: &Element) -> String {
    let current = Number::ONE.div(&resistor.value);
    current.map_or_else(String::new, |it| notation::number(&it, Dimension::AMPERE))
}

fn volts_at_ten_nanoamperes(resistor: &Element) -> String {
    let ten_nano = Number::decimal(1u8.into(), -8);
    notation::number(&ten_nano.mul(&resistor.value), Dimension::VOLT)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn below_and_above_the_limits() {
        report(
            r#"
source probe: in = 10 uV
in -- R1 99 -- sum -- R2 22M -- out
opamp A1: plus ground, minus sum, drives out
"#,
            expect![[r#"
                warning: resistor_range at `99`
                  `R1` is 99 Ω, less than the 100 Ω that suit an op-amp circuit
                  Already 1 V across it drives 10.101 mA, and most op-amps deliver no more than some 20 mA. Make all resistors of the stage larger by the same factor: the voltages stay.
                warning: resistor_range at `22M`
                  `R2` is 22 MΩ, more than the 10 MΩ that suit an op-amp circuit
                  The bias current of a real input makes a voltage across it: 10 nA across 22 MΩ are 220 mV. Leakage and noise grow with it too. Make all resistors of the stage smaller by the same factor: the voltages stay.
            "#]],
        );
    }

    #[test]
    fn at_the_limits_is_fine() {
        report(
            r#"
source probe: in = 10 uV
in -- R1 100 -- sum -- R2 10M -- out
opamp A1: plus ground, minus sum, drives out
"#,
            expect![[""]],
        );
    }

    #[test]
    fn where_a_part_has_figures_their_effect_decides() {
        report(
            r#"
part hungry
  bias_current 100 nA
  current 20 mA
end
part quiet
  gain 100000
  bias_current 10 pA
  input_resistance 10M
  current 20 mA
end
circuit c
source probe: in = 10 mV
in -- R1 1M -- p
opamp A1: plus p, minus u, drives u, part hungry
u -- R2 22M -- q
opamp A2: plus q, minus w, drives w, part quiet
u -- R3 50 -- ground
w -- R4 10k -- m -- R5 10k -- out
opamp A3: plus ground, minus m, drives out, part hungry
"#,
            expect![[r#"
                warning: resistor_range at `1M`
                  the bias current of `A1` makes 100 mV between its inputs, more than 10 mV
                  Its part `hungry` draws 100 nA into its plus input, which looks into 1 MΩ (0 Ω at the minus input). For the circuit that is an offset. With 100 kΩ or less there it would keep to it; the same resistance at both inputs cancels most, and a part with less bias current (the class `fet_input`) needs neither.
                  `bias_current 100 nA`: its bias current
                warning: resistor_range at `22M`
                  the resistors at the inputs of `A2` take 68.75 % of its loop gain, more than 5 %
                  Its inputs look into 22 MΩ together, and between them its part `quiet` has 10 MΩ: only the rest of what the feedback brings back reaches the op-amp. With 500 kΩ or less it would keep to it, or with a part of a higher input resistance (the class `fet_input`).
                  `input_resistance 10M`: its input resistance
            "#]],
        );
    }

    #[test]
    fn the_drop_at_the_other_input_counts_in_the_cure() {
        // plus drops 100 nA · 300 kΩ = 30 mV, so minus may drop 20 to 40 mV
        let text = "part q\n  bias_current 100 nA\nend\ncircuit z\nopamps are q\nsource s: in = 10 mV\nin -- R1 840k -- m -- R2 840k -- out\nopamp A1: plus p, minus m, drives out\nout -- RL 10k -- ground\np -- R3 300k -- ground\n";
        let found = crate::tests::findings(text);
        let cure = "Only with 200 kΩ to 400 kΩ there";
        assert!(found.iter().any(|it| it.help.contains(cure)), "{found:#?}");
    }
}
