//! An input pin that nothing reaches, or only capacitors do: no path for direct current.

use std::collections::HashSet;

use analysis::faults::{Fault, FaultKind};
use analysis::feedback::Verdict;
use circuit::{Carrier, NodeId, OpampId, SourceId, SourceKind};
use syntax::{Fix, TextEdit};
use teaching::names;

use super::loose_end;
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

Where nothing but controlled sources leads to an input, the equations may have an answer all the same; but it is not known
whether the feedback brings it about, and a warning says so.
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
    let pairs = misspelt(checked);
    for fault in checked.faults(|it| matches!(it, FaultKind::InputOpen | FaultKind::InputNoDcPath))
    {
        findings.extend(no_path(checked, fault, &pairs));
    }
    let told = |it: &&Fault| it.kind != FaultKind::LooseEnd;
    let faulty = checked.study.faults.iter().filter(told);
    let faulty: HashSet<NodeId> = faulty.flat_map(|it| it.nodes.iter().copied()).collect();
    for it in &checked.study.feedback {
        if it.verdict != Verdict::InputFloats || !checked.is_sure(&it.block) {
            continue;
        }
        for (id, returns) in it.block.iter().zip(&it.returns) {
            let opamp = &checked.circuit.opamps[id.index()];
            let pins = [
                (opamp.plus, &returns.to_plus),
                (opamp.minus, &returns.to_minus),
            ];
            let open = pins.iter().position(|(_, share)| share.is_none());
            if let Some(pin) = open.filter(|it| !faulty.contains(&pins[*it].0)) {
                findings.push(only_by_feedback(checked, *id, pin));
            }
        }
    }
}

/// With the output held, controlled sources leave the input open: only V+ = V− itself fixes it.
fn only_by_feedback(checked: &Checked, id: OpampId, pin: usize) -> Finding {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let node = [opamp.plus, opamp.minus][pin];
    let (name, out) = (
        names::node(circuit, node),
        names::node(circuit, opamp.drives),
    );
    let v = checked.settings.writing.voltage.text();
    let island = checked.study.network.island_of[node.index()];
    let leads_here = |it: &SourceId| {
        let source = &circuit.sources[it.index()];
        let (SourceKind::Voltage { plus: a, minus: b } | SourceKind::Current { from: a, into: b }) =
            source.kind;
        let here = |it: NodeId| checked.study.network.island_of[it.index()] == island;
        !source.controls.is_empty() && (here(a) || here(b))
    };
    let sources = (0..circuit.sources.len() as u32).map(SourceId);
    let sources: Vec<SourceId> = sources.filter(leads_here).take(4).collect();
    let carriers: Vec<Carrier> = sources.iter().map(|it| Carrier::Source(*it)).collect();
    let all = names::list(
        carriers
            .iter()
            .map(|it| format!("`{}`", names::carrier(circuit, *it))),
    );
    let input = ["plus", "minus"][pin];
    let message = format!(
        "nothing but {v}+ = {v}− fixes the {input} input of `{}`",
        opamp.name
    );
    let cure = match island {
        0 => format!("Another factor of {all} would decide it."),
        _ => format!("Lead a resistor from {name} to `ground`, 100k for instance."),
    };
    let help = format!(
        "With {out} held, {all} would leave {name} at any voltage or at none. The equations have an answer, but it cannot be told \
         whether the feedback brings it about. {cure}"
    );
    let finding = checked.finding(&RULE, opamp.pin_places[pin], message, help);
    Finding {
        severity: Severity::Warning,
        ..finding.about(checked.subjects(&[node], &[&carriers[..], &[Carrier::Opamp(id)]].concat()))
    }
}

/// Inputs that nothing reaches, each with the loose end that was perhaps to reach it under another spelling: one mistake.
pub(crate) fn misspelt(checked: &Checked) -> Vec<(NodeId, NodeId, Carrier)> {
    let circuit = checked.circuit;
    let open = checked
        .faults(|it| it == FaultKind::InputOpen)
        .filter_map(|it| it.nodes.first());
    let mut open: Vec<NodeId> = open.copied().collect();
    if open.is_empty() {
        return Vec::new();
    }
    let loose = checked.faults(|it| it == FaultKind::LooseEnd);
    let loose: Vec<(NodeId, Carrier)> = loose
        .filter_map(|it| Some((*it.nodes.first()?, *it.carriers.first()?)))
        .collect();
    let alone = open.len() == 1 && loose.len() == 1;
    open.truncate(MOST_COMPARED / loose.len().max(1));
    let mut pairs: Vec<(NodeId, NodeId, Carrier)> = Vec::new();
    for input in &open {
        let name = circuit.node_name(*input);
        let near = syntax::spelled(loose.iter().map(|it| circuit.node_name(it.0)), name);
        let found = loose.iter().find(|(node, _)| {
            let other = circuit.node_name(*node);
            near == Some(other) || name.starts_with(other) || other.starts_with(name) || alone
        });
        if let Some((node, by)) = found
            && !pairs.iter().any(|it| it.1 == *node)
        {
            pairs.push((*input, *node, *by));
        }
    }
    pairs
}

/// Where a file has more open inputs and loose ends, they are no slips of the pen.
const MOST_COMPARED: usize = 100_000;

fn no_path(
    checked: &Checked,
    fault: &Fault,
    pairs: &[(NodeId, NodeId, Carrier)],
) -> Option<Finding> {
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
    let place = opamp.pin_places[pin];
    let pair = pairs.iter().find(|it| it.0 == node);
    let near = pair.is_none().then(|| checked.meant(node)).flatten();
    if let Some(near) = near
        && checked.misspelt(node, near) == (near, node)
    {
        return other_spelling(checked, fault, near, node, &input);
    }
    let (message, help) = match fault.kind {
        FaultKind::InputOpen => (
            format!("nothing leads to {input}"),
            match (pair, near) {
                (Some((_, loose, by)), _) => format!(
                    "Nothing else is wired to {name}, so nothing fixes its voltage. {}, which only `{}` touches, is perhaps meant to be \
                     the same node.",
                    names::node(circuit, *loose),
                    names::carrier(circuit, *by)
                ),
                (None, Some(near)) => format!(
                    "Nothing else is wired to {name}, so nothing fixes its voltage. Did you mean {}?",
                    names::node(circuit, near)
                ),
                (None, None) => format!(
                    "Nothing else is wired to {name}, so nothing fixes its voltage. Wire it to the node that is to be amplified, or to \
                     `ground`."
                ),
            },
        ),
        _ => (
            format!("no direct current can flow to {input}"),
            format!(
                "Only capacitors lead to {name}, and at rest they carry no current, so nothing fixes its voltage. Lead a resistor \
                 from {name} to `ground`, or to the middle of a single supply, 100k for instance."
            ),
        ),
    };
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&fault.nodes, &fault.carriers));
    let edit = match (fault.kind, pair, near) {
        (FaultKind::InputOpen, Some((_, loose, by)), _) => {
            let at = loose_end::end_place(circuit, *by, *loose);
            finding = finding.also(
                at.unwrap_or_else(|| checked.node_place(*loose)),
                "the loose end",
            );
            at.map(|at| (at, checked.text(place).to_string()))
        }
        (FaultKind::InputOpen, None, Some(near)) => {
            finding.fixes.extend(checked.rename(place, node, near));
            None
        }
        _ => None,
    };
    if let Some((at, text)) = edit.filter(|it| it.0.file == place.file) {
        let title = format!("write `{text}` for `{}`", checked.text(at));
        finding = finding.fix(Fix::likely(
            title,
            vec![TextEdit {
                span: at.span,
                text,
            }],
        ));
    }
    Some(finding)
}

/// The name that stands once is the misspelt one: there the way to the input is cut.
fn other_spelling(
    checked: &Checked,
    fault: &Fault,
    wrong: NodeId,
    right: NodeId,
    input: &str,
) -> Option<Finding> {
    let circuit = checked.circuit;
    let (name, other) = (names::node(circuit, wrong), names::node(circuit, right));
    let place = checked.named_place(wrong, None)?;
    let message =
        format!("no direct current can flow to {input}, at {other}; node {name} stands only here");
    let help =
        format!("Perhaps {name} and {other} are meant to be one node: did you mean {other}?");
    let mut finding = checked
        .finding(&RULE, place, message, help)
        .about(checked.subjects(&fault.nodes, &fault.carriers))
        .about(checked.subjects(&[wrong], &[]));
    finding = finding.also(checked.node_place(right), format!("{other} stands here"));
    finding.fixes.extend(checked.rename(place, wrong, right));
    Some(finding)
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
                  Nothing else is wired to `inn`, so nothing fixes its voltage. Did you mean `in`?
                  fix: write `in`: opamp A1: plus in, minus out, drives out
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

    #[test]
    fn an_input_and_a_loose_end_of_nearly_one_name_are_one_mistake() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- turn1
out -- R2 10k -- ground
opamp A1: plus turn, minus out, drives out
"#,
            expect![[r#"
                error: bias_path at `turn`
                  nothing leads to the plus input of `A1`
                  Nothing else is wired to `turn`, so nothing fixes its voltage. `turn1`, which only `R1` touches, is perhaps meant to be the same node.
                  `turn1`: the loose end
                  fix: write `turn` for `turn1`: in -- R1 10k -- turn
            "#]],
        );
    }

    #[test]
    fn an_input_that_only_the_feedback_fixes_is_a_warning() {
        // With the output held the factor 1 of the source leaves `b` open; all equations together have one answer.
        report(
            r#"
source S: b - a = 1 V + c
b -- R1 1k -- c -- R2 1k -- b
opamp A1: plus b, minus ground, drives a
a -- R3 1k -- ground
"#,
            expect![[r#"
                warning: bias_path at `b`
                  nothing but V+ = V− fixes the plus input of `A1`
                  With `a` held, `S` would leave `b` at any voltage or at none. The equations have an answer, but it cannot be told whether the feedback brings it about. Another factor of `S` would decide it.
            "#]],
        );
        report(
            r#"
source s: in = 1 V
in -- R1 1k -- ground
source g: 1 mS * (out - in) from ground into p
opamp A1: plus p, minus ground, drives out
out -- R2 1k -- ground
"#,
            expect![[r#"
                warning: bias_path at `p`
                  nothing but V+ = V− fixes the plus input of `A1`
                  With `out` held, `g` would leave `p` at any voltage or at none. The equations have an answer, but it cannot be told whether the feedback brings it about. Lead a resistor from `p` to `ground`, 100k for instance.
            "#]],
        );
    }
}
