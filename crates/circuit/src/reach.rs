//! Which independent sources a node depends on: by what is joined to what, whatever the values.

use std::collections::BTreeSet;

use syntax::{Expr, ExprKind, Operator};

use crate::FaultKind;
use crate::formula::Typed;
use crate::model::*;
use crate::scope::Builder;

impl<'t> Builder<'t> {
    /// `response out / in` without `driven by`: only one source may reach `in`.
    pub(crate) fn one_source(&mut self, frame: usize, of: &'t Expr, ratio: Option<Typed>) {
        let ExprKind::Binary {
            operator: Operator::Over,
            right,
            ..
        } = &of.kind
        else {
            return;
        };
        let Some(Formula::Binary(_, _, below)) = ratio.map(|it| it.formula) else {
            return;
        };
        let mut nodes = Vec::new();
        read_by(&below, &mut nodes);
        if reaching(&self.circuit, &nodes).len() > 1 && !self.circuit.perhaps.incomplete {
            self.fault(frame, right.span, FaultKind::WhichSource);
        }
    }
}

fn read_by(formula: &Formula, nodes: &mut Vec<NodeId>) {
    match formula {
        Formula::Node(node) => nodes.push(*node),
        Formula::Negative(inner) | Formula::Raised(inner, _) => read_by(inner, nodes),
        Formula::Binary(_, left, right) => {
            read_by(left, nodes);
            read_by(right, nodes);
        }
        Formula::Call(_, all) => all.iter().for_each(|it| read_by(it, nodes)),
        Formula::Number(_) | Formula::Current(_) | Formula::Power(_) => {}
    }
}

/// The independent sources that may move any of these nodes. A node that a source or an output holds depends on that alone.
pub fn reaching(circuit: &Circuit, nodes: &[NodeId]) -> BTreeSet<SourceId> {
    let mut sources = BTreeSet::new();
    let mut seen: BTreeSet<NodeId> = BTreeSet::from([GROUND]);
    let mut open: Vec<NodeId> = nodes.to_vec();
    while let Some(node) = open.pop() {
        if !seen.insert(node) {
            continue;
        }
        let mut held = false;
        for (index, it) in circuit.sources.iter().enumerate() {
            let other = match it.kind {
                SourceKind::Voltage { plus, minus } if plus == node => minus,
                SourceKind::Voltage { plus, minus } if minus == node => plus,
                _ => continue,
            };
            held |= other == GROUND;
            open.push(other);
            open.extend(it.controls.iter().map(|(control, _)| *control));
            if it.controls.is_empty() {
                sources.insert(SourceId(index as u32));
            }
        }
        for it in circuit.opamps.iter().filter(|it| it.drives == node) {
            held = true;
            open.extend([it.plus, it.minus]);
        }
        if held {
            continue;
        }
        for it in &circuit.elements {
            let [a, b] = it.ends;
            if a == node {
                open.push(b);
            } else if b == node {
                open.push(a);
            }
        }
        for (index, it) in circuit.sources.iter().enumerate() {
            let SourceKind::Current { from, into } = it.kind else {
                continue;
            };
            if from == node || into == node {
                open.extend(it.controls.iter().map(|(control, _)| *control));
                if it.controls.is_empty() {
                    sources.insert(SourceId(index as u32));
                }
            }
        }
    }
    sources
}
