//! The circuit at direct current: which edges fix voltages (a forest), which nodes they join into groups, what conducts.
//!
//! A *fixing edge* holds the difference of two nodes whatever current flows: a voltage source (also a controlled one), a
//! closed switch, an inductor, and every op-amp's output as an edge to ground (here an op-amp is ideal, whatever its part
//! says). Taken in that order of kinds, each kind in the order of the text, an edge that would close a loop is left out
//! and recorded in [`Network::loops`]; the rest is a forest. With E edges on N nodes beside ground the forest has N + 1 − E
//! trees (the [`Group`]s), one of them grounded: one equation for each edge and one current sum for each other group make N.

use std::collections::VecDeque;

use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceId, SourceKind,
};
use syntax::{Number, Ratio};

/// The circuit at direct current.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Network {
    /// The fixing edges that are kept: sources in the order of the text, then closed switches and inductors, then op-amps.
    pub edges: Vec<Edge>,
    /// The fixing edges that are left out, in the same order: each closes a loop with edges that are kept.
    pub loops: Vec<Loop>,
    /// The trees of the forest: ground's first, then by their first node. A node that nothing fixes is a group of its own.
    pub groups: Vec<Group>,
    /// For each node the index of its group; ground's is 0.
    pub group_of: Vec<usize>,
    /// For each node the edge towards its group's root; `None` at the root.
    pub parents: Vec<Option<Parent>>,
    /// Elements and sources with both ends on one node, in the order of the text, elements first: they do nothing and stand
    /// nowhere else here.
    pub shorted: Vec<Carrier>,
    /// Nodes that direct current can pass between (resistors, inductors, closed switches, voltage sources, outputs to
    /// ground; not capacitors, current sources, input pins): ground's island first, then by first node.
    pub islands: Vec<Vec<NodeId>>,
    /// For each node the index of its island; 0 has a conducting way to ground.
    pub island_of: Vec<usize>,
}

/// A fixing edge. Current counts from `from` to `to` inside an element, and out of `from` of a source or an output.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Edge {
    /// A source, an element (closed switch, inductor) or an op-amp.
    pub carrier: Carrier,
    /// The first end, the plus end, or the output.
    pub from: NodeId,
    /// The second end, the minus end, or ground.
    pub to: NodeId,
}

/// A fixing edge that closes a loop.
#[derive(Clone, PartialEq, Debug)]
pub struct Loop {
    /// The edge that is left out.
    pub edge: Edge,
    /// The edges that are kept and close the loop with it, walked from `edge.from` to `edge.to`; empty where an output is
    /// wired to ground itself.
    pub path: Vec<Carrier>,
    /// The nodes of that walk, from `edge.from` to `edge.to`: one more than `path`.
    pub nodes: Vec<NodeId>,
}

/// Nodes tied together by fixing edges.
#[derive(Clone, PartialEq, Debug)]
pub struct Group {
    /// Ground, or the node that appears first.
    pub root: NodeId,
    /// All its nodes in the order of the circuit, the root first.
    pub members: Vec<NodeId>,
    /// The edges that tie them, in the order of [`Network::edges`]: one fewer than members.
    pub ties: Vec<Carrier>,
    /// Every member but the root, each before its parent: peeling in this order finds the current of each tie from those
    /// found before.
    pub leaves_first: Vec<NodeId>,
}

/// The edge from a node towards the root of its group.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Parent {
    /// The edge, as an index into [`Network::edges`].
    pub edge: usize,
    /// The next node on the way to the root.
    pub node: NodeId,
}

impl Network {
    /// The circuit at direct current: inductors are wires, capacitors carry nothing.
    pub fn of(circuit: &Circuit) -> Network {
        Network::build(circuit, true)
    }

    /// The same with inductors that fix nothing and conduct nothing.
    pub(crate) fn without_inductors(circuit: &Circuit) -> Network {
        Network::build(circuit, false)
    }

    fn build(circuit: &Circuit, inductors: bool) -> Network {
        let nodes = circuit.nodes.len().max(1);
        let mut network = Network::default();
        let mut trees = Joined::new(nodes);
        let mut closing = Vec::new();
        for edge in fixing(circuit, inductors, &mut network.shorted) {
            match trees.join(edge.from, edge.to) {
                true => network.edges.push(edge),
                false => closing.push(edge),
            }
        }
        (network.group_of, network.groups) = number(nodes, &mut trees);
        network.hang(nodes);
        network.loops = closing
            .into_iter()
            .map(|edge| network.closed_by(edge))
            .collect();

        let mut conducting = trees;
        for element in &circuit.elements {
            if element.kind == ElementKind::Resistor {
                conducting.join(element.ends[0], element.ends[1]);
            }
        }
        let (island_of, islands) = number(nodes, &mut conducting);
        network.island_of = island_of;
        network.islands = islands.into_iter().map(|it| it.members).collect();
        network
    }

    /// Whether this fixing edge is kept: its rule is one of the equations.
    pub fn keeps(&self, carrier: Carrier) -> bool {
        self.edges.iter().any(|it| it.carrier == carrier)
    }

    /// Whether a node is ground or tied to it: no current sum stands there.
    pub fn is_held(&self, node: NodeId) -> bool {
        self.group_of[node.index()] == 0
    }

    /// The walk between two nodes of one group along kept edges.
    pub fn walk(&self, from: NodeId, to: NodeId) -> (Vec<usize>, Vec<NodeId>) {
        let (mut edges, mut nodes) = self.way_up(from);
        let (mut down, mut below) = self.way_up(to);
        while let (Some(left), Some(right)) = (edges.last(), down.last())
            && left == right
        {
            edges.pop();
            down.pop();
            nodes.pop();
            below.pop();
        }
        below.pop();
        edges.extend(down.into_iter().rev());
        nodes.extend(below.into_iter().rev());
        (edges, nodes)
    }

    fn way_up(&self, from: NodeId) -> (Vec<usize>, Vec<NodeId>) {
        let (mut edges, mut nodes) = (Vec::new(), vec![from]);
        let mut at = from;
        while let Some(parent) = self.parents[at.index()] {
            edges.push(parent.edge);
            nodes.push(parent.node);
            at = parent.node;
        }
        (edges, nodes)
    }

    fn closed_by(&self, edge: Edge) -> Loop {
        let (path, nodes) = self.walk(edge.from, edge.to);
        Loop {
            edge,
            path: path.into_iter().map(|it| self.edges[it].carrier).collect(),
            nodes,
        }
    }

    /// Finds each node's parent, and the ties and peeling order of each group.
    fn hang(&mut self, nodes: usize) {
        let mut touching = vec![Vec::new(); nodes];
        for (index, edge) in self.edges.iter().enumerate() {
            touching[edge.from.index()].push((index, edge.to));
            touching[edge.to.index()].push((index, edge.from));
            self.groups[self.group_of[edge.from.index()]]
                .ties
                .push(edge.carrier);
        }
        self.parents = vec![None; nodes];
        for group in &mut self.groups {
            let mut waiting = VecDeque::from([group.root]);
            while let Some(at) = waiting.pop_front() {
                for &(edge, next) in &touching[at.index()] {
                    if self.parents[at.index()].is_none_or(|it| it.edge != edge) {
                        self.parents[next.index()] = Some(Parent { edge, node: at });
                        group.leaves_first.push(next);
                        waiting.push_back(next);
                    }
                }
            }
            group.leaves_first.reverse();
        }
    }
}

/// All fixing edges in their order; what has both ends on one node goes to `shorted`.
fn fixing(circuit: &Circuit, inductors: bool, shorted: &mut Vec<Carrier>) -> Vec<Edge> {
    let mut wires = Vec::new();
    for (index, element) in circuit.elements.iter().enumerate() {
        let carrier = Carrier::Element(ElementId(index as u32));
        let [from, to] = element.ends;
        if from == to {
            shorted.push(carrier);
        } else if element.kind == ElementKind::Wire
            || element.kind == ElementKind::Inductor && inductors
        {
            wires.push(Edge { carrier, from, to });
        }
    }
    let mut edges = Vec::new();
    for (index, source) in circuit.sources.iter().enumerate() {
        let carrier = Carrier::Source(SourceId(index as u32));
        match source.kind {
            SourceKind::Voltage { plus: a, minus: b }
            | SourceKind::Current { from: a, into: b }
                if a == b =>
            {
                shorted.push(carrier);
            }
            SourceKind::Voltage { plus, minus } => edges.push(Edge {
                carrier,
                from: plus,
                to: minus,
            }),
            SourceKind::Current { .. } => {}
        }
    }
    edges.append(&mut wires);
    edges.extend(
        circuit
            .opamps
            .iter()
            .enumerate()
            .map(|(index, opamp)| Edge {
                carrier: Carrier::Opamp(OpampId(index as u32)),
                from: opamp.drives,
                to: GROUND,
            }),
    );
    edges
}

/// Numbers the trees by their first node, ground's first.
fn number(nodes: usize, trees: &mut Joined) -> (Vec<usize>, Vec<Group>) {
    let mut index_of_root = vec![usize::MAX; nodes];
    let mut groups: Vec<Group> = Vec::new();
    let mut group_of = Vec::with_capacity(nodes);
    for node in (0..nodes as u32).map(NodeId) {
        let root = trees.root(node).index();
        if index_of_root[root] == usize::MAX {
            index_of_root[root] = groups.len();
            groups.push(Group {
                root: node,
                members: Vec::new(),
                ties: Vec::new(),
                leaves_first: Vec::new(),
            });
        }
        groups[index_of_root[root]].members.push(node);
        group_of.push(index_of_root[root]);
    }
    (group_of, groups)
}

/// Sets of nodes that grow together.
#[derive(Clone, Debug)]
pub(crate) struct Joined {
    above: Vec<u32>,
}

impl Joined {
    pub(crate) fn new(nodes: usize) -> Joined {
        Joined {
            above: (0..nodes as u32).collect(),
        }
    }

    pub(crate) fn root(&mut self, node: NodeId) -> NodeId {
        let mut at = node.0;
        while self.above[at as usize] != at {
            self.above[at as usize] = self.above[self.above[at as usize] as usize];
            at = self.above[at as usize];
        }
        NodeId(at)
    }

    /// Joins two sets; false where they are one already. The lower root stays root.
    pub(crate) fn join(&mut self, a: NodeId, b: NodeId) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        self.above[a.max(b).index()] = a.min(b).0;
        a != b
    }
}

/// A number as a fraction: of a rounded one the fraction that its double is (0 for what is no number).
pub(crate) fn fraction(number: &Number) -> Ratio {
    match number {
        Number::Exact(ratio) => ratio.clone(),
        Number::Rounded { value, .. } => Ratio::try_from(*value).unwrap_or(Ratio::ZERO),
    }
}
