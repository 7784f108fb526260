//! A node, not an output, that one connection alone touches: no current can flow there.

use analysis::faults::{Fault, FaultKind};
use circuit::{Carrier, Circuit, NodeId};
use syntax::{Fix, Place, Span, TextEdit};
use teaching::names;

use super::bias_path;
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "loose_end",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A current that enters a node has to leave it again. A node that one part alone touches lets none through, so the part does
nothing. Most often the node's name is misspelt. Where an end is left open on purpose, `allow` it and say why.
# Wrong
    source sun: light = 1.2 V
    light -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
    out -- RL 4.7k -- grund
# Right
    source sun: light = 1.2 V
    light -- R1 10k -- sum -- R2 33k -- out
    opamp A1: plus ground, minus sum, drives out
    out -- RL 4.7k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let told = bias_path::misspelt(checked);
    let mut pairs: Vec<(NodeId, NodeId)> = Vec::new();
    let loose_ends = checked.faults(|it| it == FaultKind::LooseEnd);
    for (index, fault) in loose_ends.enumerate() {
        let Some(node) = fault.nodes.first().copied() else {
            continue;
        };
        if told.iter().any(|it| it.1 == node) {
            continue;
        }
        // where a file has that many, they are no slips of the pen
        let meant = if index < MOST_GUESSES {
            checked.meant(node)
        } else {
            None
        };
        // two loose ends of nearly one name are one slip
        if let Some(meant) = meant {
            if pairs.contains(&(meant, node)) {
                continue;
            }
            pairs.push((node, meant));
        }
        findings.extend(loose(checked, fault, meant));
    }
}

/// How many loose ends are compared with all other nodes.
const MOST_GUESSES: usize = 20;

fn loose(checked: &Checked, fault: &Fault, meant: Option<NodeId>) -> Option<Finding> {
    let circuit = checked.circuit;
    let (node, by) = (*fault.nodes.first()?, *fault.carriers.first()?);
    let (name, part) = (names::node(circuit, node), names::carrier(circuit, by));
    if let Some(meant) = meant
        && checked.misspelt(node, meant) == (meant, node)
    {
        return other_spelling(checked, meant, node, by);
    }
    let end = end_place(circuit, by, node);
    let place = checked
        .named_place(node, end)
        .or(end)
        .unwrap_or_else(|| checked.node_place(node));
    let message = match by {
        Carrier::Element(_) => {
            format!("only `{part}` touches node {name}, so `{part}` carries no current")
        }
        Carrier::Source(_) => {
            format!("only the source `{part}` touches node {name}, so it feeds nothing")
        }
        Carrier::Opamp(_) => format!("only `{part}` touches node {name}"),
    };
    let why = match by {
        Carrier::Source(_) => "Nothing else is wired to this node.",
        _ => "A current that enters a node has to leave it through another part.",
    };
    let port = checked.meant_port(node).filter(|_| meant.is_none());
    let help = match (meant, &port) {
        (Some(meant), _) => format!("{why} Did you mean {}?", described(circuit, meant)),
        (None, Some(port)) => format!("{why} Did you mean the port `{port}`?"),
        (None, None) => format!(
            "{why} Wire the node on, or write `allow loose_end at {}` with the reason why it is left open.",
            circuit.node_name(node)
        ),
    };
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&[node], &[by]));
    if let Some(meant) = meant {
        let fix = against_ground(checked, by, meant).or_else(|| checked.rename(place, node, meant));
        finding.fixes.extend(fix);
    }
    if let Some(text) = port {
        let title = format!("write `{text}`");
        let span = place.span;
        finding = finding.fix(Fix::likely(title, vec![TextEdit { span, text }]));
    }
    Some(finding)
}

/// `source s: a - gnd = 5 V`: ground is left out there.
fn against_ground(checked: &Checked, by: Carrier, meant: NodeId) -> Option<Fix> {
    let Carrier::Source(id) = by else { return None };
    let [Some(plus), Some(minus)] = checked.circuit.sources[id.index()].end_places else {
        return None;
    };
    if meant != circuit::GROUND || plus.file != minus.file || plus.span.end > minus.span.start {
        return None;
    }
    let span = Span {
        start: plus.span.end,
        end: minus.span.end,
    };
    let title = format!("write `{} = …`", checked.text(plus));
    let text = String::new();
    Some(Fix::likely(title, vec![TextEdit { span, text }]))
}

/// The name that stands once is the misspelt one, though the other node is the loose one.
fn other_spelling(checked: &Checked, wrong: NodeId, right: NodeId, by: Carrier) -> Option<Finding> {
    let circuit = checked.circuit;
    let (name, other) = (names::node(circuit, wrong), names::node(circuit, right));
    let part = names::carrier(circuit, by);
    let place = checked.named_place(wrong, None)?;
    let message = format!("node {name} stands only here, and {other} is touched by `{part}` alone");
    let help = format!(
        "A current that enters a node has to leave it through another part. Did you mean {}?",
        described(circuit, right)
    );
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&[right, wrong], &[by]));
    let end = end_place(circuit, by, right).unwrap_or_else(|| checked.node_place(right));
    finding = finding.also(end, format!("{other} is touched by `{part}` alone"));
    finding.fixes.extend(checked.rename(place, wrong, right));
    Some(finding)
}

/// Where the text says the end of a part at this node.
pub(crate) fn end_place(circuit: &Circuit, by: Carrier, node: NodeId) -> Option<Place> {
    let index = names::carrier_ends(circuit, by)
        .iter()
        .position(|it| *it == node)?;
    match by {
        Carrier::Element(id) => Some(circuit.elements[id.index()].end_places[index]),
        Carrier::Source(id) => circuit.sources[id.index()].end_places[index],
        Carrier::Opamp(id) => Some(circuit.opamps[id.index()].pin_places[2]),
    }
}

/// "`sum`, the minus input of `A1`".
fn described(circuit: &Circuit, node: NodeId) -> String {
    let name = names::node(circuit, node);
    for opamp in &circuit.opamps {
        let pins = [
            (opamp.minus, "minus input"),
            (opamp.plus, "plus input"),
            (opamp.drives, "output"),
        ];
        if let Some((_, pin)) = pins
            .iter()
            .find(|it| it.0 == node && node != circuit::GROUND)
        {
            return format!("{name}, the {pin} of `{}`", opamp.name);
        }
    }
    match node {
        circuit::GROUND => "`ground`".into(),
        _ => name,
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn a_misspelt_node_is_told_with_the_one_that_was_meant() {
        report(
            r#"
source probe: in = 1.2 V
in -- R1 10k -- sun
in -- R2 22k -- sum -- R3 33k -- out
opamp A1: plus ground, minus sum, drives out
"#,
            expect![[r#"
                warning: loose_end at `sun`
                  only `R1` touches node `sun`, so `R1` carries no current
                  A current that enters a node has to leave it through another part. Did you mean `sum`, the minus input of `A1`?
                  fix: write `sum`: in -- R1 10k -- sum
            "#]],
        );
    }

    #[test]
    fn an_open_end_on_purpose_is_allowed() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- ground
in -- R2 10k -- tap
allow loose_end at tap: "a test point"
"#,
            expect![[""]],
        );
    }

    #[test]
    fn a_source_that_feeds_nothing_is_left_in_peace() {
        report(
            r#"
source probe: in = 1 V
source lamp: bulb = 5 V
in -- R1 10k -- ground
"#,
            expect![""],
        );
    }
}
