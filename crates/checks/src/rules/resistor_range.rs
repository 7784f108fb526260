//! Resistors around op-amps that are so small or so large that the ideal rules begin to fail.

use circuit::{Element, ElementKind};
use syntax::Dimension;
use teaching::notation;

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
# Wrong
    source probe: in = 10 mV
    in -- R1 10 -- sum -- R2 1k -- out
    opamp A1: plus ground, minus sum, drives out
# Right
    source probe: in = 10 mV
    in -- R1 1k -- sum -- R2 100k -- out
    opamp A1: plus ground, minus sum, drives out
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    if checked.circuit.opamps.is_empty() {
        return;
    }
    let resistors = checked
        .circuit
        .elements
        .iter()
        .filter(|it| it.kind == ElementKind::Resistor);
    let found = resistors.filter_map(|it| out_of_range(checked, it));
    findings.extend(found.take(crate::MOST_OF_A_RULE));
}

fn out_of_range(checked: &Checked, resistor: &Element) -> Option<Finding> {
    let [least, most] = &checked.settings.resistor;
    let (name, value) = (
        &resistor.name,
        notation::number(&resistor.value, Dimension::OHM),
    );
    let (message, help) = if resistor.value.compare(least)?.is_lt() {
        let least = notation::number(least, Dimension::OHM);
        (
            format!("`{name}` is {value}, less than the {least} that suit an op-amp circuit"),
            format!(
                "Already 1 V across it drives {}, and most op-amps deliver no more than some 20 mA. Make all resistors of the stage \
                 larger by the same factor: the voltages stay.",
                amperes_at_one_volt(resistor)
            ),
        )
    } else if resistor.value.compare(most)?.is_gt() {
        let most = notation::number(most, Dimension::OHM);
        (
            format!("`{name}` is {value}, more than the {most} that suit an op-amp circuit"),
            format!(
                "The bias current of a real input makes a voltage across it: 10 nA across {value} are {}. Leakage and noise grow with \
                 it too. Make all resistors of the stage smaller by the same factor: the voltages stay.",
                volts_at_ten_nanoamperes(resistor)
            ),
        )
    } else {
        return None;
    };
    Some(
        checked
            .finding(&RULE, resistor.value_place, message, help)
            .about([name.clone()]),
    )
}

fn amperes_at_one_volt(resistor: &Element) -> String {
    let current = syntax::Number::ONE.div(&resistor.value);
    current.map_or_else(String::new, |it| notation::number(&it, Dimension::AMPERE))
}

fn volts_at_ten_nanoamperes(resistor: &Element) -> String {
    let ten_nano = syntax::Number::decimal(1u8.into(), -8);
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
source probe: in = 10 mV
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
}
