//! A capacitor at the bare output of an op-amp.

use std::collections::BTreeMap;

use analysis::Answer;
use circuit::{ElementKind, NodeId, OpampId};
use syntax::{Dimension, Fix, Number, Place, Span, TextEdit};
use teaching::{names, notation};

use crate::limits::{exceeds, firm};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "capacitive_load",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A capacitor from an output to ground, to a rail or to another output delays what the feedback brings back, and the op-amp rings
or oscillates. Above 100 pF that is a warning, above 50 pF a hint (levels of common practice, no source; a metre of cable has
some 100 pF). A resistor of 25 Ω to 100 Ω between the output and the capacitor cures most of it, with the feedback taken
before the resistor (two published notes on capacitive loads).
# Wrong
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- C1 10 nF -- ground
    out -- R1 10k -- ground
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R2 100 -- far -- C1 10 nF -- ground
    out -- R1 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let circuit = checked.circuit;
    let is_capacitor = |kind: ElementKind| kind == ElementKind::Capacitor;
    if circuit.opamps.is_empty() || !circuit.elements.iter().any(|it| is_capacitor(it.kind)) {
        return;
    }
    let firm = firm(circuit);
    let mut driver: Vec<Option<OpampId>> = vec![None; circuit.nodes.len()];
    let opamps = circuit.opamps.iter().enumerate();
    for (index, it) in opamps.filter(|it| !it.1.comparator) {
        driver[it.drives.index()].get_or_insert(OpampId(index as u32));
    }
    // What hangs at each bare output: the capacitors by their index.
    let mut loads: BTreeMap<OpampId, Vec<usize>> = BTreeMap::new();
    for (index, it) in circuit.elements.iter().enumerate() {
        let [a, b] = it.ends;
        let pairs = [(a, b), (b, a)];
        let loaded = pairs.iter().find_map(|(near, far)| {
            let opamp = driver[near.index()]?;
            (firm[far.index()] && near != far).then_some(opamp)
        });
        if let Some(opamp) = loaded.filter(|_| is_capacitor(it.kind)) {
            loads.entry(opamp).or_default().push(index);
        }
    }
    for (opamp, capacitors) in loads.into_iter().take(crate::MOST_OF_A_RULE) {
        if !checked.is_faulty(opamp) {
            findings.extend(loaded(checked, opamp, &capacitors));
        }
    }
}

fn loaded(checked: &Checked, id: OpampId, capacitors: &[usize]) -> Option<Finding> {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let all = capacitors.iter().map(|it| &circuit.elements[*it]);
    let sum = all
        .clone()
        .fold(Answer::zero(), |sum, it| &sum + &Answer::from(&it.value));
    let picofarads = |count: u8| Answer::from(&Number::decimal(count.into(), -12));
    if !exceeds(&sum, &picofarads(50)) {
        return None;
    }
    let largest = all.clone().max_by(|a, b| {
        let larger = a.value.compare(&b.value);
        // of equal ones the first
        larger
            .unwrap_or(std::cmp::Ordering::Equal)
            .then(std::cmp::Ordering::Greater)
    })?;
    let together = names::few(&all.clone().collect::<Vec<_>>(), |it| {
        format!("`{}`", it.name)
    });
    let hangs = if capacitors.len() == 1 {
        "hangs"
    } else {
        "hang"
    };
    let message = format!(
        "{together} {hangs} {} at the bare output of `{}`",
        notation::short(&sum, Dimension::FARAD),
        opamp.name
    );
    let help = format!(
        "A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand \
         (common practice, no source). Put 100 Ω between the output and `{}`, and take the feedback before it.",
        largest.name
    );
    let mut finding = checked
        .finding(&RULE, largest.name_place, message, help)
        .about(all.map(|it| it.name.clone()))
        .about([opamp.name.clone()])
        .about(checked.subjects(&[opamp.drives], &[]));
    finding = finding.also(opamp.pin_places[2], "the output");
    if !exceeds(&sum, &picofarads(100)) {
        finding.severity = Severity::Hint;
    }
    let edit = if capacitors.len() == 1 {
        series(checked, largest, opamp.drives)
    } else {
        None
    };
    Some(match edit {
        Some(edit) => {
            let title = format!("put 100 Ω before `{}`", largest.name);
            finding.fix(Fix::likely(title, vec![edit]))
        }
        None => finding,
    })
}

/// The edit that puts a resistor between an output and a capacitor of a path.
fn series(checked: &Checked, capacitor: &circuit::Element, output: NodeId) -> Option<TextEdit> {
    let circuit = checked.circuit;
    let left = capacitor.ends[0] == output;
    let end = capacitor.end_places[usize::from(!left)];
    let in_path = !capacitor.polarised && !capacitor.name.contains('.');
    if !in_path || checked.text(end) != circuit.node_name(output) {
        return None;
    }
    let taken = |name: &str| {
        let elements = circuit.elements.iter().map(|it| it.name.as_str());
        let sources = circuit.sources.iter().map(|it| it.name.as_str());
        let opamps = circuit.opamps.iter().map(|it| it.name.as_str());
        let nodes = circuit.nodes.iter().map(|it| it.name.as_str());
        let lets = circuit.lets.iter().map(|it| it.name.as_str());
        let mut all = elements
            .chain(sources)
            .chain(opamps)
            .chain(nodes)
            .chain(lets);
        all.any(|it| it == name) || circuit.perhaps.names.contains(name)
    };
    let stem = format!("R{}", &capacitor.name);
    let name = if taken(&stem) {
        (2..100)
            .map(|it| format!("{stem}_{it}"))
            .find(|it| !taken(it))?
    } else {
        stem
    };
    let Place { span, .. } = end;
    Some(match left {
        true => TextEdit {
            span: Span::at(span.end),
            text: format!(" -- {name} 100"),
        },
        false => TextEdit {
            span: Span::at(span.start),
            text: format!("{name} 100 -- "),
        },
    })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn one_and_several_at_an_output() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus u, drives u
u -- C1 10 nF -- ground
opamp A2: plus u, minus w, drives w
w -- C2 47 pF -- ground
ground -- C3 33 pF -- w -- R1 10k -- ground
"#,
            expect![[r#"
                warning: capacitive_load at `C1`
                  `C1` hangs 10 nF at the bare output of `A1`
                  A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand (common practice, no source). Put 100 Ω between the output and `C1`, and take the feedback before it.
                  `u`: the output
                  fix: put 100 Ω before `C1`: u -- RC1 100 -- C1 10 nF -- ground
                hint: capacitive_load at `C2`
                  `C2` and `C3` hang 80 pF at the bare output of `A2`
                  A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand (common practice, no source). Put 100 Ω between the output and `C2`, and take the feedback before it.
                  `w`: the output
            "#]],
        );
    }

    #[test]
    fn in_the_feedback_or_behind_a_resistor_it_is_none() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- m -- R2 10k -- out
m -- C1 1 nF -- out
opamp A1: plus ground, minus m, drives out
out -- R3 47k -- far -- C2 1 uF -- ground
out -- C3 40 pF -- ground
"#,
            expect![[""]],
        );
    }
}
