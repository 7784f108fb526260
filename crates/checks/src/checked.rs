//! A circuit with its facts, as a rule looks at it.

use std::cell::{Cell, OnceCell};

use analysis::faults::{Fault, FaultKind};
use analysis::states::Mode;
use analysis::{Study, Trouble};
use circuit::{Book, Carrier, Circuit, NodeId, OpampId};
use syntax::{Dimension, Fix, Place, TextEdit};
use teaching::{names, notation};

use crate::rules::output_current::Carries;
use crate::standings::Standing;
use crate::{Finding, Rule, Settings, Severity};

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
    /// How often names were compared.
    pub guesses: &'a Guesses,
    /// Resistors that carry what is asked of outputs beyond their limit; found when someone asks.
    pub(crate) carriers: OnceCell<Vec<Carries>>,
    /// The ways in which it may rest; found when someone asks.
    pub(crate) standings: OnceCell<Vec<Standing<'a>>>,
}

/// How many names were compared with others that were perhaps meant: where a file has very many, they are no slips of the
/// pen.
#[derive(Default, Debug)]
pub struct Guesses(Cell<usize>);

impl Guesses {
    const MOST: usize = 1_000_000;

    /// Whether so many names, or bytes of a text that is tried with a change, may be looked at once more.
    pub(crate) fn may(&self, names: usize) -> bool {
        self.0.set(self.0.get().saturating_add(names));
        self.0.get() <= Guesses::MOST
    }
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
        let all = self.study.faults.iter().filter(move |it| of(it.kind));
        all.take(crate::MOST_OF_A_RULE)
    }

    /// Whether a structural fault other than a loose end names this op-amp.
    pub fn is_faulty(&self, opamp: OpampId) -> bool {
        self.study.is_faulty(opamp)
    }

    /// Whether the verdict on these op-amps can be told: no fault names one of them, and no line that could not be read may
    /// have wired something there.
    pub fn is_sure(&self, block: &[OpampId]) -> bool {
        !block.iter().any(|it| self.is_faulty(*it))
            && !self.study.regions.may_lack_feedback(self.circuit, block)
    }

    /// How grave it is that V+ = V− does not hold here: an error where the circuit has no single answer, a warning where it has one all the same, at
    /// a rail or by a finite gain.
    pub(crate) fn without_equal_inputs(&self) -> Severity {
        match self
            .study
            .outcome(self.circuit, &self.book.parts)
            .is_known()
        {
            true => Severity::Warning,
            false => Severity::Error,
        }
    }

    /// Where an op-amp's gain is finite and it is linear, what that makes of its output, as a sentence with a blank behind it.
    pub(crate) fn by_gain(&self, opamp: OpampId) -> String {
        let (circuit, parts) = (self.circuit, &self.book.parts);
        let gain = self.part_of(opamp).and_then(|it| it.gain.as_ref());
        let linear = self.study.mode(circuit, parts, opamp) == Some(Mode::Linear);
        let Some(gain) = gain.filter(|_| linear) else {
            return String::new();
        };
        let it = &circuit.opamps[opamp.index()];
        let v = self.settings.writing.voltage.text();
        let gain = notation::number(gain, Dimension::NONE);
        format!(
            "With its gain of {gain} `{}` makes {} {gain} times {v}+ − {v}−, an offset between its inputs too. ",
            it.name,
            names::node(circuit, it.drives)
        )
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
        self.study.troubles(self.circuit, &self.book.parts).to_vec()
    }

    /// The node whose name this one was perhaps meant for: misspelt, or only begun.
    pub fn meant(&self, node: NodeId) -> Option<NodeId> {
        let nodes = &self.circuit.nodes;
        if !self.guesses.may(nodes.len()) {
            return None;
        }
        let name = self.circuit.node_name(node);
        if syntax::means_ground(last_part(name)) {
            return Some(circuit::GROUND);
        }
        if let Some((node, _)) = self.meant_in_block(node) {
            return Some(node);
        }
        let others = || {
            // Inside a block the names of that block are meant, around it those around.
            let others = nodes.iter().filter(|it| it.named && it.name != name);
            let names = others.map(|it| it.name.as_str());
            names.filter(|it| around(it) == around(name))
        };
        let nearest = syntax::spelled(others(), name).or_else(|| {
            let mut begun = others().filter(|it| name.len() > 1 && it.starts_with(name));
            begun.next().filter(|_| begun.next().is_none())
        })?;
        let index = nodes.iter().position(|it| it.name == nearest)?;
        Some(NodeId(index as u32))
    }

    /// The same among the names of its block, whose ports have other names outside.
    fn meant_in_block(&self, node: NodeId) -> Option<(NodeId, String)> {
        let name = last_part(self.circuit.node_name(node));
        if name.len() == self.circuit.node_name(node).len() {
            return None;
        }
        let here = self.named_place(node, None)?;
        let inside = self.block_around(here)?;
        let mut near: Vec<(&str, NodeId)> = Vec::new();
        for (index, other) in self.circuit.nodes.iter().enumerate() {
            let places = other.places.iter().filter(|it| inside(**it));
            let id = NodeId(index as u32);
            near.extend(
                places
                    .map(|it| (self.text(*it), id))
                    .filter(|it| it.0 != name),
            );
        }
        let text = syntax::spelled(near.iter().map(|it| it.0), name)?;
        let found = near.iter().find(|it| it.0 == text)?;
        Some((found.1, text.to_owned()))
    }

    /// Whether places lie in the block that holds this one.
    fn block_around(&self, place: Place) -> Option<impl Fn(Place) -> bool> {
        let tree = &self.book.files.get(place.file.0 as usize)?.tree;
        let body = tree.body_of(tree.statement_at(place.span.start)?)?;
        if body.kind != syntax::BodyKind::Block {
            return None;
        }
        let last = body
            .end
            .or(body.inside.last().copied())
            .unwrap_or(body.head);
        let span = tree.statement(body.head).span.to(tree.statement(last).span);
        let file = place.file;
        Some(move |it: Place| {
            it.file == file && span.start <= it.span.start && it.span.end <= span.end
        })
    }

    /// How often the text says a node's name; inside a block its ports have other ones.
    pub fn mentions(&self, node: NodeId) -> usize {
        let name = last_part(self.circuit.node_name(node));
        let places = self.circuit.nodes[node.index()].places.iter();
        places.filter(|it| self.text(**it) == name).count()
    }

    /// The port of its block that a node was perhaps meant for.
    pub fn meant_port(&self, node: NodeId) -> Option<String> {
        let name = last_part(self.circuit.node_name(node));
        let place = self.named_place(node, None)?;
        let file = self.book.files.get(place.file.0 as usize)?;
        let body = file
            .tree
            .body_of(file.tree.statement_at(place.span.start)?)?;
        let syntax::StatementKind::Block { ports, .. } = &file.tree.statement(body.head).kind
        else {
            return None;
        };
        let ports = ports.iter().filter(|it| it.default.is_none());
        let names = ports.map(|it| it.name.of(&file.text));
        syntax::spelled(names, name).map(str::to_owned)
    }

    /// Of a node and the one that it was perhaps meant for: which name is misspelt. The one that stands only once, if the
    /// other stands more often.
    pub fn misspelt(&self, node: NodeId, meant: NodeId) -> (NodeId, NodeId) {
        let [own, other] = [node, meant].map(|it| self.circuit.node_name(it));
        // Where both stand once, the one with the capital.
        let capital = own != other && own == other.to_lowercase();
        let once = meant != circuit::GROUND
            && self.mentions(meant) == 1
            && (self.mentions(node) > 1 || capital);
        if once { (meant, node) } else { (node, meant) }
    }

    /// Where the text has a node by its name: first where it is asked for, then anywhere.
    pub fn named_place(&self, node: NodeId, first: Option<Place>) -> Option<Place> {
        let name = last_part(self.circuit.node_name(node));
        let places = &self.circuit.nodes[node.index()].places;
        let mut all = first.into_iter().chain(places.iter().copied());
        all.find(|it| self.text(*it) == name)
    }

    /// Another node's name at this place, where both have their names from the same block.
    pub fn rename(&self, at: Place, node: NodeId, meant: NodeId) -> Option<Fix> {
        let (from, to) = (self.circuit.node_name(node), self.circuit.node_name(meant));
        let block = |name: &str| name.rsplit_once('.').map(|it| it.0.to_owned());
        let text = match self.meant_in_block(node).filter(|it| it.0 == meant) {
            Some((_, text)) => text,
            None if meant == circuit::GROUND || block(from) == block(to) => {
                last_part(to).to_owned()
            }
            None => return None,
        };
        if self.text(at) != last_part(from) {
            return None;
        }
        let title = format!("write `{text}`");
        let span = at.span;
        Some(Fix::likely(title, vec![TextEdit { span, text }]))
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

/// The block around a name.
fn around(name: &str) -> Option<&str> {
    name.rsplit_once('.').map(|it| it.0)
}

/// The name itself, without the blocks around it.
pub(crate) fn last_part(name: &str) -> &str {
    name.rsplit('.').next().unwrap_or(name)
}
