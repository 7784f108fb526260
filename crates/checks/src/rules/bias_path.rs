//! An input pin that nothing reaches, or only capacitors do: no path for direct current.

use analysis::faults::{Fault, FaultKind};
use circuit::OpampId;
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "bias_path",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
An input of an op-amp draws no current, but its voltage must be fixed by something. Where only a capacitor leads to it, the
voltage at rest could be anything; in a real circuit the small bias current of the input charges the capacitor until the
output stands at a rail. A resistor from the input to ground, or to the middle of a single supply, gives that current a way.
# Wrong
    source microphone: in = sine 20 mV at 1 kHz
    in -- C1 1 uF -- bias
    opamp A1: plus bias, minus out, drives out
    out -- RL 10k -- ground
# Right
    source microphone: in = sine 20 mV at 1 kHz
    in -- C1 1 uF -- bias -- R1 100k -- ground
    opamp A1: plus bias, minus out, drives out
    out -- RL 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| matches!(it, FaultKind::InputOpen | FaultKind::InputNoDcPath))
    {
        findings.extend(no_path(checked, fault));
    }
}

fn no_path(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let node = *fault.nodes.first()?;
    let pins: Vec<(OpampId, usize)> = fault
        .opamps()
        .flat_map(|id| pins_at(checked, id, fault))
        .collect();
    let (id, pin) = *pins.first()?;
    let opamp = &circuit.opamps[id.index()];
    let inputs = pins.iter().map(|(id, pin)| {
        format!(
            "the {} input of `{}`",
            ["plus", "minus"][*pin],
            circuit.opamps[id.index()].name
        )
    });
    let input = names::list(inputs);
    let name = names::node(circuit, node);
    let (message, help) = match fault.kind {
        FaultKind::InputOpen => (
            format!("nothing leads to {input}"),
            format!(
                "Nothing else is wired to {name}, so nothing fixes its voltage. Wire it to the node that is to be amplified, or to \
                 `ground`."
            ),
        ),
        _ => (
            format!("no direct current can flow to {input}"),
            format!(
                "Only capacitors lead to {name}, and at rest they carry no current, so nothing fixes its voltage. Lead a resistor \
                 from {name} to `ground`, or to the middle of a single supply, 100k for instance."
            ),
        ),
    };
    let place = opamp.pin_places[pin];
    Some(
        checked
            .finding(&RULE, place, message, help)
            .about(checked.subjects(&fault.nodes, &fault.carriers)),
    )
}

/// The input pins of an op-amp at the fault's nodes: 0 plus, 1 minus.
fn pins_at(checked: &Checked, id: OpampId, fault: &Fault) -> Vec<(OpampId, usize)> {
    let opamp = &checked.circuit.opamps[id.index()];
    let pins = [opamp.plus, opamp.minus].into_iter().enumerate();
    pins.filter(|(_, node)| fault.nodes.contains(node))
        .map(|(pin, _)| (id, pin))
        .collect()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn an_input_that_nothing_reaches() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- ground
opamp A1: plus inn, minus out, drives out
out -- R2 10k -- ground
"#,
            expect![[r#"
                error: bias_path at `inn`
                  nothing leads to the plus input of `A1`
                  Nothing else is wired to `inn`, so nothing fixes its voltage. Wire it to the node that is to be amplified, or to `ground`.
            "#]],
        );
    }

    #[test]
    fn an_input_behind_a_capacitor() {
        report(
            r#"
source microphone: in = 1 V
in -- C1 1 uF -- bias
opamp A1: plus bias, minus out, drives out
out -- R1 10k -- ground
"#,
            expect![[r#"
                error: bias_path at `bias`
                  no direct current can flow to the plus input of `A1`
                  Only capacitors lead to `bias`, and at rest they carry no current, so nothing fixes its voltage. Lead a resistor from `bias` to `ground`, or to the middle of a single supply, 100k for instance.
            "#]],
        );
    }
}
