//! Nodes without a conducting way to ground: nothing fixes their voltages.

use analysis::faults::{Fault, FaultKind};
use circuit::{Carrier, NodeId};
use syntax::{Fix, TextEdit};
use teaching::names;

use crate::checked::last_part;
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "floating_node",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A voltage is always measured against another point. Where no resistor, grounded source or op-amp output leads from a group
of nodes to ground, the voltages inside the group may be fixed against each other, but not against ground: the node
equations have no single answer. A source between two nodes of the group is no way to ground, and neither is a capacitor,
which carries no current at rest.
# Wrong
    # The thermometer's battery floats beside the circuit.
    source battery: top - bottom = 9 V
    top -- R1 10k -- mid -- R2 10k -- bottom
# Right
    source battery: top = 9 V
    top -- R1 10k -- mid -- R2 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| matches!(it, FaultKind::FloatingPart { .. })) {
        findings.extend(floating(checked, fault));
    }
}

fn floating(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let (mut first, rest) = fault.nodes.split_first()?;
    // one that is called as the trade calls ground is told first
    let called = |it: &&NodeId| syntax::means_ground(last_part(circuit.node_name(**it)));
    let ground = fault.nodes.iter().find(called);
    first = ground.unwrap_or(first);
    let it = checked.few_nodes(&fault.nodes);
    let message = match rest {
        [] => format!("nothing fixes the voltage of {it} against ground"),
        _ => format!("nothing fixes the voltages of {it} against ground"),
    };
    let capacitors: Vec<Carrier> = fault
        .carriers
        .iter()
        .copied()
        .filter(|it| is_capacitor(checked, *it))
        .collect();
    let why = match fault.kind {
        FaultKind::FloatingPart {
            by_capacitors: true,
        } if !capacitors.is_empty() => {
            let (lead, carry) = if capacitors.len() == 1 {
                ("leads", "it carries")
            } else {
                ("lead", "they carry")
            };
            let capacitors = names::carriers(circuit, capacitors);
            format!("Only {capacitors} {lead} there, and at rest {carry} no current.")
        }
        _ => "No resistor, grounded source or op-amp output leads from there to ground.".into(),
    };
    let one = if rest.is_empty() {
        "it"
    } else {
        "one of these nodes"
    };
    // A node that one part alone touches is most often a slip of the pen.
    let alone =
        ground.is_some() || rest.is_empty() && circuit.nodes[first.index()].places.len() == 1;
    let meant = checked
        .meant(*first)
        .filter(|_| alone)
        .map(|it| circuit.node_name(it));
    let help = match meant {
        Some(meant) => format!("{why} Did you mean `{meant}`?"),
        None => {
            format!("{why} Join {one} to ground, by calling it `ground` or through a resistor.")
        }
    };
    let place = checked
        .named_place(*first, None)
        .unwrap_or_else(|| checked.node_place(*first));
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&fault.nodes, &fault.carriers));
    if let Some(meant) = meant
        && checked.text(place) == circuit.node_name(*first)
    {
        let places = circuit.nodes[first.index()].places.iter();
        let named =
            places.filter(|it| it.file == place.file && checked.text(**it) == checked.text(place));
        let edits = named.map(|it| TextEdit {
            span: it.span,
            text: meant.to_owned(),
        });
        finding = finding.fix(Fix::likely(format!("write `{meant}`"), edits.collect()));
    }
    for node in fault.nodes.iter().filter(|it| *it != first).take(3) {
        let message = format!("{} floats with it", names::node(circuit, *node));
        finding = finding.also(checked.node_place(*node), message);
    }
    Some(finding)
}

fn is_capacitor(checked: &Checked, carrier: Carrier) -> bool {
    match carrier {
        Carrier::Element(id) => {
            checked.circuit.elements[id.index()].kind == circuit::ElementKind::Capacitor
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_battery_beside_the_circuit_floats() {
        report(
            r#"
source battery: top - bottom = 9 V
top -- R1 10k -- mid -- R2 10k -- bottom
"#,
            expect![[r#"
                error: floating_node at `top`
                  nothing fixes the voltages of `top`, `bottom` and `mid` against ground
                  No resistor, grounded source or op-amp output leads from there to ground. Join one of these nodes to ground, by calling it `ground` or through a resistor.
                  `bottom`: `bottom` floats with it
                  `mid`: `mid` floats with it
            "#]],
        );
    }

    #[test]
    fn a_node_behind_capacitors_floats() {
        report(
            r#"
source probe: in = 1 V
in -- C1 1 uF -- mid -- C2 1 uF -- ground
"#,
            expect![[r#"
                error: floating_node at `mid`
                  nothing fixes the voltage of `mid` against ground
                  Only `C1` and `C2` lead there, and at rest they carry no current. Join it to ground, by calling it `ground` or through a resistor.
            "#]],
        );
    }
}
