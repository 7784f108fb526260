//! Claims that fail behind a loose end: the slip at the loose end is one mistake, and what it does to the answers no second
//! one. Where its way out is known, the circuit is tried with it, and a claim that fails even then is told.

use std::collections::{HashMap, HashSet};

use analysis::Study;
use circuit::{Circuit, ClaimKind, NodeId};
use syntax::{FileId, Place, TextEdit};

use crate::{Checked, Finding};

/// Takes away the failed claims of one circuit that loose ends account for.
pub(crate) fn settle(checked: &Checked, findings: &mut Vec<Finding>) {
    let is_loose = |it: &&Finding| it.rule == "loose_end";
    let claimed = findings.iter().any(|it| it.rule == "expectation");
    if !claimed || !findings.iter().any(|it| is_loose(&it)) {
        return;
    }
    let loose: Vec<&Finding> = findings.iter().filter(is_loose).collect();
    let behind = behind(checked.circuit, &loose);
    let still_failing = still_failing(checked, &loose);
    findings.retain(|it| {
        let touched = it
            .subjects
            .iter()
            .any(|name| behind.contains(name.as_str()));
        it.rule != "expectation"
            || !touched
            || still_failing
                .as_ref()
                .is_some_and(|it_fails| it_fails.contains(&it.place))
    });
}

/// The names of everything that a loose end may move: through elements and sources, and through op-amps from input to output.
fn behind<'c>(circuit: &'c Circuit, loose: &[&Finding]) -> HashSet<&'c str> {
    let index: HashMap<&str, NodeId> = (0..circuit.nodes.len() as u32)
        .map(|it| (circuit.node_name(NodeId(it)), NodeId(it)))
        .collect();
    let subjects = loose.iter().flat_map(|it| &it.subjects);
    let mut open: Vec<NodeId> = subjects
        .filter_map(|it| index.get(it.as_str()).copied())
        .collect();
    let mut held = vec![false; circuit.nodes.len()];
    held[circuit::GROUND.index()] = true;
    let mut beside: Vec<Vec<NodeId>> = vec![Vec::new(); circuit.nodes.len()];
    let mut join = |a: NodeId, b: NodeId| {
        beside[a.index()].push(b);
        beside[b.index()].push(a);
    };
    circuit
        .elements
        .iter()
        .for_each(|it| join(it.ends[0], it.ends[1]));
    for source in &circuit.sources {
        match source.kind {
            circuit::SourceKind::Voltage {
                plus,
                minus: circuit::GROUND,
            } => held[plus.index()] = true,
            circuit::SourceKind::Voltage { plus, minus } => join(plus, minus),
            circuit::SourceKind::Current { .. } => {}
        }
    }
    for opamp in &circuit.opamps {
        beside[opamp.plus.index()].push(opamp.drives);
        beside[opamp.minus.index()].push(opamp.drives);
    }
    let mut reached = vec![false; circuit.nodes.len()];
    while let Some(node) = open.pop() {
        if !held[node.index()] && !std::mem::replace(&mut reached[node.index()], true) {
            open.extend(&beside[node.index()]);
        }
    }
    let nodes = (0..circuit.nodes.len() as u32).map(NodeId);
    let nodes = nodes
        .filter(|it| reached[it.index()])
        .map(|it| circuit.node_name(it));
    let elements = circuit
        .elements
        .iter()
        .filter(|it| it.ends.iter().any(|it| reached[it.index()]));
    let opamps = circuit
        .opamps
        .iter()
        .filter(|it| reached[it.drives.index()]);
    nodes
        .chain(elements.map(|it| it.name.as_str()))
        .chain(opamps.map(|it| it.name.as_str()))
        .collect()
}

/// Where the claims that fail even after the ways out of all loose ends stand; `None`: not every way out is known.
fn still_failing(checked: &Checked, loose: &[&Finding]) -> Option<HashSet<Place>> {
    let (book, circuit) = (checked.book, checked.circuit);
    if !checked.guesses.may(book.files.first()?.text.len()) {
        return None;
    }
    let mut edits: Vec<TextEdit> = Vec::new();
    for finding in loose {
        if finding.place.file != FileId(0) {
            return None;
        }
        edits.extend(finding.fixes.first()?.edits.iter().cloned());
    }
    let mended = crate::trial::mended(book, &edits)?;
    let tried = mended.circuits.get(checked.index)?;
    if tried.claims.len() != circuit.claims.len() {
        return None;
    }
    let study = Study::new(tried, &mended.parts);
    let judgements = study.judgements(tried, &mended.parts);
    let both = circuit.claims.iter().zip(judgements);
    let failing = both.filter(|(_, judgement)| judgement.holds == Some(false));
    let places = failing.map(|(claim, _)| match &claim.kind {
        Some(ClaimKind::Equal { value_place, .. }) => *value_place,
        _ => claim.place,
    });
    Some(places.collect())
}
