//! Both ends of an element or a source are one node.

use analysis::faults::{Fault, FaultKind};
use circuit::{Carrier, Circuit, SourceKind};
use teaching::{equation, names};

use super::resistor_power;
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "shorted_element",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
With both ends on one node there is no voltage across an element, so it carries no current and does nothing. A voltage
source there would have to hold a node above itself, which is an error.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- out -- R2 10k -- ground
    out -- R3 22k -- out
# Right
    source probe: in = 1 V
    in -- R1 10k -- out -- R2 10k -- ground
    out -- R3 22k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| matches!(it, FaultKind::Shorted { .. })) {
        findings.extend(shorted(checked, fault));
    }
}

fn shorted(checked: &Checked, fault: &Fault) -> Option<Finding> {
    let circuit = checked.circuit;
    let carrier = *fault.carriers.first()?;
    if is_rheostat(circuit, carrier) {
        return None;
    }
    let node = fault
        .nodes
        .first()
        .copied()
        .unwrap_or(names::carrier_ends(circuit, carrier)[0]);
    let (name, at) = (names::carrier(circuit, carrier), names::node(circuit, node));
    let message = match carrier {
        Carrier::Opamp(_) => format!("the output of `{name}` is {at}"),
        _ => format!("both ends of `{name}` are {at}"),
    };
    let source = match carrier {
        Carrier::Source(id) => Some(&circuit.sources[id.index()]),
        _ => None,
    };
    let help = match (source.map(|it| it.kind), fault.kind) {
        (Some(SourceKind::Voltage { .. }), FaultKind::Shorted { sourced: true }) => {
            let drive = source
                .map(|it| equation::drive(circuit, it))
                .unwrap_or_default();
            format!(
                "It would have to hold {at} {drive} above {at} itself, and no circuit can. One of its ends is another node."
            )
        }
        (Some(SourceKind::Current { .. }), _) => {
            format!(
                "Its current leaves {at} and enters it at once, so it does nothing. One of its ends is another node."
            )
        }
        _ => format!(
            "There is no voltage between {at} and itself, so `{name}` carries no current and does nothing. One of its ends is another \
             node."
        ),
    };
    let mut finding = checked
        .finding(
            &RULE,
            names::carrier_name_place(circuit, carrier),
            message,
            help,
        )
        .about(checked.subjects(&[], &[carrier]))
        .about(checked.subjects(&[node], &[]));
    if fault.kind == (FaultKind::Shorted { sourced: true }) {
        finding.severity = Severity::Error;
    }
    Some(finding)
}

/// Whether this is the half of a pot that its wiper, joined to an end, leaves out: the pot is used as a variable resistor.
fn is_rheostat(circuit: &Circuit, carrier: Carrier) -> bool {
    let Carrier::Element(id) = carrier else {
        return false;
    };
    resistor_power::other_half(circuit, id).is_some_and(|it| it.ends[0] != it.ends[1])
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_resistor_with_both_ends_on_one_node() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- out -- R2 10k -- ground
out -- R3 22k -- out
"#,
            expect![[r#"
                warning: shorted_element at `R3`
                  both ends of `R3` are `out`
                  There is no voltage between `out` and itself, so `R3` carries no current and does nothing. One of its ends is another node.
            "#]],
        );
    }

    #[test]
    fn a_pot_whose_wiper_is_joined_to_an_end_is_a_variable_resistor() {
        let told = |clauses: &str| {
            let text = format!(
                "source s: a = 5 V\npot P1: total 10k, {clauses}, at 30 %\nb -- R1 10k -- ground\na -- R2 10k -- ground\n"
            );
            let found = crate::tests::findings(&text);
            found.iter().map(|it| it.rule).collect::<Vec<_>>()
        };
        assert_eq!(told("from a, to b, wiper a"), [""; 0]);
        assert_eq!(told("from a, to b, wiper b"), [""; 0]);
        assert_eq!(told("from b, to b, wiper b"), ["shorted_element"]);
    }

    #[test]
    fn a_source_above_itself_is_an_error() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- ground
source cell: in - in = 9 V
"#,
            expect![[r#"
                error: shorted_element at `cell`
                  both ends of `cell` are `in`
                  It would have to hold `in` 9 V above `in` itself, and no circuit can. One of its ends is another node.
            "#]],
        );
    }
}
