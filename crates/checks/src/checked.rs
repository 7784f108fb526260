//! A circuit with its facts, as a rule looks at it.

use analysis::faults::{self, Fault, FaultKind};
use analysis::{Outcome, Study, Trouble};
use circuit::{Book, Carrier, Circuit, NodeId, OpampId};
use syntax::Place;
use teaching::names;

use crate::{Finding, Rule, Settings};

/// A circuit with its facts.
pub struct Checked<'a> {
    /// The whole book.
    pub book: &'a Book,
    /// The circuit's index in it.
    pub index: usize,
    /// The circuit.
    pub circuit: &'a Circuit,
    /// Its facts.
    pub study: &'a Study,
    /// What applies.
    pub settings: &'a Settings,
}

impl Checked<'_> {
    /// A finding of a rule, in this circuit.
    pub fn finding(
        &self,
        rule: &Rule,
        place: Place,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Finding {
        let finding = Finding::new(rule.name, rule.severity, place, message.into(), help.into());
        Finding {
            circuit: Some(self.index),
            ..finding
        }
    }

    /// The words at a place.
    pub fn text(&self, place: Place) -> &str {
        self.book
            .files
            .get(place.file.0 as usize)
            .map_or("", |file| place.span.of(&file.text))
    }

    /// Structural faults of the kinds that `of` picks.
    pub fn faults(&self, of: impl Fn(FaultKind) -> bool) -> impl Iterator<Item = &Fault> {
        self.study.faults.iter().filter(move |it| of(it.kind))
    }

    /// Whether a structural fault other than a loose end names this op-amp.
    pub fn is_faulty(&self, opamp: OpampId) -> bool {
        self.faults(|kind| kind != FaultKind::LooseEnd)
            .any(|it| it.opamps().any(|other| other == opamp))
    }

    /// Whether the verdict on these op-amps can be told: no fault names one of them, and no line that could not be read may
    /// have wired something there.
    pub fn is_sure(&self, block: &[OpampId]) -> bool {
        !block.iter().any(|it| self.is_faulty(*it))
            && !faults::may_lack_feedback(self.circuit, &self.study.network, block)
    }

    /// Whether broken lines, or lines that are not computed yet, may have wired something.
    pub fn incomplete(&self) -> bool {
        self.circuit.perhaps.incomplete || self.circuit.later.iter().any(|it| it.wires)
    }

    /// What stands between the ideal answer and the circuit's. Nothing but faults, which have findings of their own, can
    /// where no op-amp has a part or a supply: the circuit is then not solved for this.
    pub fn troubles(&self) -> Vec<Trouble> {
        let mut opamps = self.circuit.opamps.iter();
        if !opamps.any(|it| it.part.is_some() || it.supply.is_some()) {
            return Vec::new();
        }
        match self.study.outcome(self.circuit, &self.book.parts) {
            Outcome::AsIdeal => Vec::new(),
            Outcome::Unknown(troubles) => troubles,
        }
    }

    /// The node whose name this one was perhaps meant for: misspelt, or only begun.
    pub fn meant(&self, node: NodeId) -> Option<NodeId> {
        let nodes = &self.circuit.nodes;
        let name = self.circuit.node_name(node);
        let others = || {
            let others = nodes.iter().filter(|it| it.named && it.name != name);
            others.map(|it| it.name.as_str())
        };
        let nearest = syntax::spelled(others(), name).or_else(|| {
            let mut begun = others().filter(|it| name.len() > 1 && it.starts_with(name));
            begun.next().filter(|_| begun.next().is_none())
        })?;
        let index = nodes.iter().position(|it| it.name == nearest)?;
        Some(NodeId(index as u32))
    }

    /// Where a node's name first stands.
    pub fn node_place(&self, node: NodeId) -> Place {
        self.circuit.nodes[node.index()]
            .places
            .first()
            .copied()
            .unwrap_or(self.circuit.place)
    }

    /// The names of nodes and parts, as subjects of a finding; ground is none.
    pub fn subjects(&self, nodes: &[NodeId], carriers: &[Carrier]) -> Vec<String> {
        let nodes = nodes.iter().filter(|it| **it != circuit::GROUND);
        let nodes = nodes.map(|it| self.circuit.node_name(*it).to_string());
        nodes
            .chain(
                carriers
                    .iter()
                    .map(|it| names::carrier(self.circuit, *it).to_string()),
            )
            .collect()
    }

    /// These names as a list, the first few of many: "`a`, `b`, `c`, `d` and 7 more".
    pub fn few_nodes(&self, nodes: &[NodeId]) -> String {
        names::few(nodes, |it| names::node(self.circuit, *it))
    }
}
