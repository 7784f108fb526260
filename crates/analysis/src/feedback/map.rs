//! What each op-amp's output moves: with the outputs as independent sources and everything else passive, each node's
//! voltage is a sum of shares of the outputs.
//!
//! Nodes held by sources and outputs cut the circuit into small pieces (an output moves no further than to the next held
//! node), and each piece that an input pin or a controlled source stands in, or that no direct current reaches, is solved
//! alone; the others cannot be singular.

use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, Opamp, SourceId, SourceKind,
};
use syntax::Ratio;

use super::eliminate::{Sum, add, eliminate};
use super::field::Field;
use crate::network::{Joined, Network, fraction};

/// When the outputs are watched.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Moment {
    /// At direct current: capacitors carry nothing, inductors are wires.
    Rest,
    /// At the first instant of a sudden change, the limit of high frequency: where capacitors lead to held nodes they alone
    /// divide the voltage, other capacitors are wires; inductors carry nothing.
    Instant,
    /// At any frequency: capacitors and inductors conduct like resistors. For random values only.
    Ever,
}

/// What the outputs move.
#[derive(Clone)]
pub(crate) struct Map<F> {
    /// Each node's share of each column; column `a` is op-amp `a`'s output, further ones the edges asked for.
    nodes: Vec<Moved<F>>,
    /// Whether a capacitor or an inductor takes part in what moves the node.
    pub reactive: Vec<bool>,
    /// Nodes of pieces that the equations do not fix, whatever the outputs do.
    pub adrift: Vec<NodeId>,
}

#[derive(Clone)]
enum Moved<F> {
    By(Sum<F>),
    Adrift,
    NotAsked,
}

impl<F: Field> Map<F> {
    /// The shares of a node; `None` where it is adrift or lies in a piece that was not solved.
    pub fn node(&self, node: NodeId) -> Option<&Sum<F>> {
        match &self.nodes[node.index()] {
            Moved::By(sum) => Some(sum),
            Moved::Adrift | Moved::NotAsked => None,
        }
    }

    /// What moves V+ − V−.
    pub fn difference(&self, opamp: &Opamp) -> Option<Sum<F>> {
        let mut sum = self.node(opamp.plus)?.clone();
        for (column, share) in self.node(opamp.minus)? {
            add(&mut sum, *column, &F::zero().minus(share));
        }
        Some(sum)
    }
}

/// Works out what the outputs move. `network` has inductors as wires for [`Moment::Rest`], else without. `also` names kept
/// edges that move as well, as columns behind the op-amps. `None` where exact numbers grow too long.
pub(crate) fn moved<F: Field>(
    circuit: &Circuit,
    network: &Network,
    moment: Moment,
    also: &[usize],
    budget: u64,
) -> Option<Map<F>> {
    // Most large circuits have nothing to ask for.
    let controlled = circuit.sources.iter().any(|it| !it.controls.is_empty());
    if circuit.opamps.is_empty() && !controlled && network.islands.len() < 2 {
        return Some(Map {
            nodes: vec![Moved::NotAsked; circuit.nodes.len()],
            reactive: vec![false; circuit.nodes.len()],
            adrift: Vec::new(),
        });
    }
    let columns = circuit.opamps.len() + also.len();
    let (pinned, rules) = Rules::of::<F>(circuit, network, moment, also);
    let mut map = Map {
        nodes: pinned
            .iter()
            .map(|it| it.clone().map_or(Moved::NotAsked, Moved::By))
            .collect(),
        reactive: vec![false; circuit.nodes.len()],
        adrift: Vec::new(),
    };
    for piece in pieces(circuit, network, &pinned, &rules) {
        piece
            .nodes
            .iter()
            .for_each(|it| map.reactive[it.index()] = piece.reactive);
        if !piece.asked {
            continue;
        }
        let unknowns = piece.nodes.len();
        let rows = piece.rules.iter().map(|rule| {
            let mut row: Sum<F> = Vec::new();
            for (node, factor) in &rules[*rule].terms {
                match &pinned[node.index()] {
                    Some(sum) => sum.iter().for_each(|(column, share)| {
                        add(&mut row, unknowns + column, &factor.times(share))
                    }),
                    None => add(
                        &mut row,
                        piece.nodes.partition_point(|it| it < node),
                        factor,
                    ),
                }
            }
            for (column, factor) in &rules[*rule].columns {
                add(&mut row, unknowns + column, factor);
            }
            row
        });
        let found = eliminate(unknowns, columns, rows.collect(), budget)?;
        for (node, value) in piece.nodes.iter().zip(found.values) {
            map.nodes[node.index()] = match value {
                Some(sum) if !found.contradicts => Moved::By(sum),
                _ => {
                    map.adrift.push(*node);
                    Moved::Adrift
                }
            };
        }
    }
    Some(map)
}

/// A sum over node voltages and columns that is zero.
pub(crate) struct Rule<F> {
    pub terms: Vec<(NodeId, F)>,
    pub columns: Vec<(usize, F)>,
    reactive: bool,
    controlled: bool,
}

/// Writes down the rules of the passive circuit.
pub(crate) struct Rules;

impl Rules {
    /// The nodes that columns alone move, and a rule for each other fixing edge and each group's currents.
    pub fn of<F: Field>(
        circuit: &Circuit,
        network: &Network,
        moment: Moment,
        also: &[usize],
    ) -> (Vec<Option<Sum<F>>>, Vec<Rule<F>>) {
        let one = F::of(&Ratio::ONE, 0);
        let column_of = |edge: usize| match network.edges[edge].carrier {
            Carrier::Opamp(it) => Some(it.index()),
            _ => also
                .iter()
                .position(|it| *it == edge)
                .map(|it| circuit.opamps.len() + it),
        };
        let controls = |edge: usize| match network.edges[edge].carrier {
            Carrier::Source(it) => &circuit.sources[it.index()].controls[..],
            _ => &[],
        };

        let mut pinned: Vec<Option<Sum<F>>> = vec![None; circuit.nodes.len()];
        pinned[GROUND.index()] = Some(Vec::new());
        let held = network
            .groups
            .first()
            .map_or(&[][..], |it| &it.leaves_first);
        for node in held.iter().rev() {
            let Some(parent) = network.parents[node.index()] else {
                continue;
            };
            if let (Some(above), []) = (&pinned[parent.node.index()], controls(parent.edge)) {
                let mut sum = above.clone();
                if let Some(column) = column_of(parent.edge) {
                    let down = network.edges[parent.edge].from == *node;
                    add(
                        &mut sum,
                        column,
                        &if down {
                            one.clone()
                        } else {
                            F::zero().minus(&one)
                        },
                    );
                }
                pinned[node.index()] = Some(sum);
            }
        }

        let mut rules = Vec::new();
        for (index, edge) in network.edges.iter().enumerate() {
            if pinned[edge.from.index()].is_some() && pinned[edge.to.index()].is_some() {
                continue;
            }
            let mut terms = vec![(edge.from, one.clone()), (edge.to, F::zero().minus(&one))];
            if let Carrier::Source(source) = edge.carrier {
                terms.extend(measured(circuit, source, &F::zero().minus(&one)));
            }
            let columns = column_of(index)
                .map(|it| (it, F::zero().minus(&one)))
                .into_iter()
                .collect();
            rules.push(Rule {
                terms,
                columns,
                reactive: false,
                controlled: !controls(index).is_empty(),
            });
        }
        rules.extend(currents(circuit, network, moment, &one));
        (pinned, rules)
    }
}

/// The drive of a source without its constant, times `factor`.
fn measured<F: Field>(circuit: &Circuit, source: SourceId, factor: &F) -> Vec<(NodeId, F)> {
    let controls = circuit.sources[source.index()].controls.iter().enumerate();
    let salt = |nth: usize| 3 + ((u64::from(source.0) << 24 | nth as u64) << 2);
    controls
        .map(|(nth, (node, by))| (*node, factor.times(&F::of(&fraction(by), salt(nth)))))
        .collect()
}

/// One sum of currents for each group without ground (at the first instant: for each set of groups that capacitors join).
fn currents<F: Field>(
    circuit: &Circuit,
    network: &Network,
    moment: Moment,
    one: &F,
) -> Vec<Rule<F>> {
    let minus = |it: &F| F::zero().minus(it);
    let group = |node: NodeId| network.group_of[node.index()];
    let mut sums: Vec<Rule<F>> = network
        .groups
        .iter()
        .map(|_| Rule {
            terms: Vec::new(),
            columns: Vec::new(),
            reactive: false,
            controlled: false,
        })
        .collect();

    // At the first instant: which groups capacitors join, and where they lead to held nodes.
    let mut joined = Joined::new(network.groups.len());
    let mut wires = Vec::new();
    let capacitors = || {
        circuit
            .elements
            .iter()
            .filter(|it| it.kind == ElementKind::Capacitor)
    };
    if moment == Moment::Instant {
        for it in capacitors() {
            let [a, b] = it.ends.map(|end| NodeId(group(end) as u32));
            if joined.join(a, b) {
                wires.push(it.ends);
            }
        }
    }
    let mut home = |node: NodeId| joined.root(NodeId(group(node) as u32)).index();
    let divided = |node: NodeId, home: &mut dyn FnMut(NodeId) -> usize| {
        moment == Moment::Instant && home(node) == 0 && group(node) != 0
    };

    for (index, element) in circuit.elements.iter().enumerate() {
        let [a, b] = element.ends;
        if group(a) == group(b) {
            continue;
        }
        let id = ElementId(index as u32);
        let storing = matches!(element.kind, ElementKind::Capacitor | ElementKind::Inductor);
        let conducts = match (element.kind, moment) {
            (ElementKind::Resistor, _) => true,
            (ElementKind::Capacitor, Moment::Instant) => {
                divided(a, &mut home) || divided(b, &mut home)
            }
            (ElementKind::Capacitor | ElementKind::Inductor, moment) => moment == Moment::Ever,
            (ElementKind::Wire, _) => false,
        };
        if !conducts {
            continue;
        }
        let admittance = admittance::<F>(circuit, id);
        for (here, there) in [(a, b), (b, a)] {
            if group(here) == 0 || divided(here, &mut home) && !storing {
                continue;
            }
            let at = if divided(here, &mut home) {
                group(here)
            } else {
                home(here)
            };
            let sum = &mut sums[at];
            sum.terms
                .extend([(here, admittance.clone()), (there, minus(&admittance))]);
            sum.reactive |= storing;
        }
    }
    for (index, source) in circuit.sources.iter().enumerate() {
        let SourceKind::Current { from, into } = source.kind else {
            continue;
        };
        if source.controls.is_empty() || from == into {
            continue;
        }
        for (node, sign) in [(from, one.clone()), (into, minus(one))] {
            if group(node) != 0 && !divided(node, &mut home) {
                let at = home(node);
                sums[at]
                    .terms
                    .extend(measured(circuit, SourceId(index as u32), &sign));
                sums[at].controlled = true;
            }
        }
    }

    let mut rules = Vec::new();
    for (index, sum) in sums.into_iter().enumerate().skip(1) {
        let root = network.groups[index].root;
        let stands = divided(root, &mut home) || home(root) == index;
        if stands {
            rules.push(sum);
        }
    }
    for [a, b] in wires {
        if home(a) != 0 {
            let terms = vec![(a, one.clone()), (b, minus(one))];
            rules.push(Rule {
                terms,
                columns: Vec::new(),
                reactive: true,
                controlled: false,
            });
        }
    }
    rules
}

/// How well an element conducts (capacitors and inductors by their size, for comparison among themselves).
fn admittance<F: Field>(circuit: &Circuit, id: ElementId) -> F {
    let element = &circuit.elements[id.index()];
    let value = fraction(&element.value);
    let value = match element.kind {
        ElementKind::Capacitor => value,
        _ if value.is_zero() => Ratio::ONE,
        _ => Ratio::ONE / value,
    };
    F::of(&value, 2 + (u64::from(id.0) << 2))
}

/// Nodes whose voltages depend on one another, with their rules.
struct Piece {
    nodes: Vec<NodeId>,
    rules: Vec<usize>,
    asked: bool,
    reactive: bool,
}

fn pieces<F>(
    circuit: &Circuit,
    network: &Network,
    pinned: &[Option<Sum<F>>],
    rules: &[Rule<F>],
) -> Vec<Piece> {
    let mut joined = Joined::new(circuit.nodes.len());
    let free = |rule: &Rule<F>| {
        rule.terms
            .iter()
            .map(|it| it.0)
            .find(|it| pinned[it.index()].is_none())
    };
    for rule in rules {
        if let Some(first) = free(rule) {
            for (node, _) in &rule.terms {
                if pinned[node.index()].is_none() {
                    joined.join(first, *node);
                }
            }
        }
    }
    let mut index = vec![usize::MAX; circuit.nodes.len()];
    let mut pieces: Vec<Piece> = Vec::new();
    for node in (0..circuit.nodes.len() as u32)
        .map(NodeId)
        .filter(|it| pinned[it.index()].is_none())
    {
        let root = joined.root(node).index();
        if index[root] == usize::MAX {
            index[root] = pieces.len();
            pieces.push(Piece {
                nodes: Vec::new(),
                rules: Vec::new(),
                asked: false,
                reactive: false,
            });
        }
        let piece = &mut pieces[index[root]];
        piece.nodes.push(node);
        piece.asked |= network.island_of[node.index()] != 0;
    }
    for (number, rule) in rules.iter().enumerate() {
        if let Some(node) = free(rule) {
            let piece = &mut pieces[index[joined.root(node).index()]];
            piece.rules.push(number);
            piece.asked |= rule.controlled;
            piece.reactive |= rule.reactive;
        }
    }
    for pin in circuit.opamps.iter().flat_map(|it| [it.plus, it.minus]) {
        if pinned[pin.index()].is_none() {
            pieces[index[joined.root(pin).index()]].asked = true;
        }
    }
    pieces
}
