//! N equations for N unknown node voltages, in class order: known nodes, V+ = V−, sums.
//!
//! Each kept fixing edge of the [`Network`] gives one equation: a source, a wire or an inductor its difference, an op-amp
//! V+ = V− in place of the sum that would stand at its output. Each group without ground gives one sum of the currents that leave it.
//! A forest with E edges on N nodes beside ground has N + 1 − E trees, one of them grounded: E + (N − E) = N.

use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, Part, SourceId, SourceKind,
};
use syntax::Number;

use crate::Answer;
use crate::linear::{Coefficient, Row, System};
use crate::network::Network;
use crate::states::{Limits, Mode};

/// The equations of one circuit, ideal op-amps.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Equations {
    /// The unknown node voltages: every node but ground, by first appearance.
    pub unknowns: Vec<NodeId>,
    /// As many equations: sources in text order, op-amps in text order, sums by first appearance of their node.
    pub list: Vec<Equation>,
}

/// One equation.
#[derive(Clone, PartialEq, Debug)]
pub struct Equation {
    /// The node that it belongs to; each unknown node has exactly one equation where the circuit is sound. Of `Held` the
    /// node that the source fixes, of `Virtual` and `Limit` the op-amp's output, of a joined sum the group's first node.
    pub at: NodeId,
    /// Its form.
    pub kind: EquationKind,
    /// What is added: of a sum the currents that leave the node or group; of `Held` and `Virtual` one term; of `Limit` the output, or with
    /// a limit of current what leaves it.
    pub terms: Vec<Term>,
}

/// The forms of an equation.
#[derive(Clone, PartialEq, Debug)]
pub enum EquationKind {
    /// A source, a wire or an inductor at rest fixes a difference.
    Held {
        /// The source or element.
        by: Carrier,
    },
    /// V+ = V−, in place of the current sum at the output.
    Virtual {
        /// The op-amp.
        opamp: OpampId,
        /// The node whose sum it replaces.
        replaces: NodeId,
        /// The other nodes of the output's group and the sources that tie them to it: no sum stands there either.
        tied: Vec<(NodeId, Carrier)>,
    },
    /// An op-amp at a limit, in place of V+ = V−.
    Limit {
        /// The op-amp.
        opamp: OpampId,
        /// Which limit.
        mode: Mode,
        /// The output's voltage, or with a limit of current what it delivers, in volts or amperes.
        value: Number,
        /// The output.
        replaces: NodeId,
        /// As in [`EquationKind::Virtual`].
        tied: Vec<(NodeId, Carrier)>,
    },
    /// The currents that leave one node.
    Sum,
    /// The currents that leave nodes tied by sources or wires whose current is unknown.
    JoinedSum {
        /// The nodes, `at` first.
        nodes: Vec<NodeId>,
        /// What ties them.
        ties: Vec<Carrier>,
    },
}

/// One term of an equation: the current through `branch` from `from` to `to` (of `Held` and `Virtual`: the difference `from − to`).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Term {
    /// The element, source or op-amp.
    pub branch: Carrier,
    /// The end at this equation's node.
    pub from: NodeId,
    /// The other end.
    pub to: NodeId,
    /// Whether the term is subtracted: a current source that pushes into the node.
    pub minus: bool,
}

impl Equations {
    /// The same with op-amps at limits: in place of V+ = V− stands what the limit says.
    pub fn limited(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        modes: impl Fn(OpampId) -> Mode,
    ) -> Equations {
        let leaving = leaving(circuit);
        let at_limit = |equation: &Equation| -> Option<Equation> {
            let (EquationKind::Virtual {
                opamp,
                replaces,
                tied,
            }
            | EquationKind::Limit {
                opamp,
                replaces,
                tied,
                ..
            }) = &equation.kind
            else {
                return None;
            };
            let mode = modes(*opamp);
            let limits = Limits::of(circuit.opamps.get(opamp.index())?, parts);
            let value = limits.value(mode)?;
            let terms = match mode {
                Mode::Sourcing | Mode::Sinking => {
                    let nodes: Vec<NodeId> = [*replaces]
                        .into_iter()
                        .chain(tied.iter().map(|it| it.0))
                        .collect();
                    let outside = |it: &&Term| !nodes.contains(&it.to);
                    let leaves = nodes.iter().flat_map(|it| &leaving[it.index()]);
                    leaves.filter(outside).copied().collect()
                }
                _ => vec![Term {
                    branch: Carrier::Opamp(*opamp),
                    from: *replaces,
                    to: GROUND,
                    minus: false,
                }],
            };
            let kind = EquationKind::Limit {
                opamp: *opamp,
                mode,
                value,
                replaces: *replaces,
                tied: tied.clone(),
            };
            Some(Equation {
                at: equation.at,
                kind,
                terms,
            })
        };
        let list = self.list.iter();
        Equations {
            unknowns: self.unknowns.clone(),
            list: list
                .map(|it| at_limit(it).unwrap_or_else(|| it.clone()))
                .collect(),
        }
    }
}

/// The equations of a circuit with ideal op-amps.
pub fn equations(circuit: &Circuit, network: &Network) -> Equations {
    let mut list = Vec::with_capacity(circuit.nodes.len());
    let below = tied_below(network);
    for (index, edge) in network.edges.iter().enumerate() {
        list.push(match edge.carrier {
            Carrier::Opamp(opamp) => {
                let Some(it) = circuit.opamps.get(opamp.index()) else {
                    continue;
                };
                let term = Term {
                    branch: edge.carrier,
                    from: it.plus,
                    to: it.minus,
                    minus: false,
                };
                let tied = below[index].clone();
                Equation {
                    at: it.drives,
                    kind: EquationKind::Virtual {
                        opamp,
                        replaces: it.drives,
                        tied,
                    },
                    terms: vec![term],
                }
            }
            by => {
                // The end away from the root of the tree: each node but the root is fixed by exactly one edge.
                let hangs =
                    |node: NodeId| network.parents[node.index()].is_some_and(|it| it.edge == index);
                let at = if hangs(edge.from) { edge.from } else { edge.to };
                let term = Term {
                    branch: by,
                    from: edge.from,
                    to: edge.to,
                    minus: false,
                };
                Equation {
                    at,
                    kind: EquationKind::Held { by },
                    terms: vec![term],
                }
            }
        });
    }
    let leaving = leaving(circuit);
    for group in network.groups.iter().skip(1) {
        // What flows between two of its nodes leaves the group nowhere.
        let outside =
            |it: &&Term| network.group_of[it.to.index()] != network.group_of[it.from.index()];
        let leaves = |it: &NodeId| leaving[it.index()].iter().filter(outside).copied();
        let terms = group.members.iter().flat_map(leaves).collect();
        let kind = match group.ties.is_empty() {
            true => EquationKind::Sum,
            false => EquationKind::JoinedSum {
                nodes: group.members.clone(),
                ties: group.ties.clone(),
            },
        };
        list.push(Equation {
            at: group.root,
            kind,
            terms,
        });
    }
    Equations {
        unknowns: circuit.unknowns().collect(),
        list,
    }
}

/// For each edge the nodes that hang below its far end, with the edge that ties each to the next.
fn tied_below(network: &Network) -> Vec<Vec<(NodeId, Carrier)>> {
    let mut below = vec![Vec::new(); network.edges.len()];
    let Some(ground) = network.groups.first() else {
        return below;
    };
    // From the root outwards, so that each node's way up is known: the output that it hangs on, if any.
    let mut output_of = vec![None; network.parents.len()];
    for &node in ground.leaves_first.iter().rev() {
        let Some(parent) = network.parents[node.index()] else {
            continue;
        };
        let carrier = network.edges[parent.edge].carrier;
        output_of[node.index()] = match carrier {
            Carrier::Opamp(_) => Some(parent.edge),
            _ => output_of[parent.node.index()],
        };
        if let (Some(output), false) = (
            output_of[node.index()],
            matches!(carrier, Carrier::Opamp(_)),
        ) {
            below[output].push((node, carrier));
        }
    }
    below
        .iter_mut()
        .for_each(|it| it.sort_unstable_by_key(|(node, _)| *node));
    below
}

/// For each node the currents that leave it: through resistors, then current sources, in the order of the text.
pub(crate) fn leaving(circuit: &Circuit) -> Vec<Vec<Term>> {
    let mut leaving = vec![Vec::new(); circuit.nodes.len()];
    let mut add = |branch: Carrier, ends: [NodeId; 2], pushes: bool| {
        if ends[0] != ends[1] {
            leaving[ends[0].index()].push(Term {
                branch,
                from: ends[0],
                to: ends[1],
                minus: false,
            });
            leaving[ends[1].index()].push(Term {
                branch,
                from: ends[1],
                to: ends[0],
                minus: pushes,
            });
        }
    };
    for (index, element) in circuit.elements.iter().enumerate() {
        if element.kind == ElementKind::Resistor {
            add(
                Carrier::Element(ElementId(index as u32)),
                element.ends,
                false,
            );
        }
    }
    for (index, source) in circuit.sources.iter().enumerate() {
        if let SourceKind::Current { from, into } = source.kind {
            add(Carrier::Source(SourceId(index as u32)), [from, into], true);
        }
    }
    leaving
}

/// The equations as rows over the unknowns (node `k` is unknown `k − 1`), in the same order, with the sources as written.
pub fn system(circuit: &Circuit, equations: &Equations) -> System {
    let written: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
    system_for(circuit, equations, &[written])
}

/// The same with one right side for each choice of all sources' constants.
pub(crate) fn system_for(
    circuit: &Circuit,
    equations: &Equations,
    drives: &[Vec<&Number>],
) -> System {
    let rows = equations
        .list
        .iter()
        .map(|it| row(circuit, it, drives))
        .collect();
    System {
        unknowns: circuit.nodes.len().saturating_sub(1),
        rows,
    }
}

fn row(circuit: &Circuit, equation: &Equation, drives: &[Vec<&Number>]) -> Row {
    let mut builder = Builder {
        terms: Vec::new(),
        right: vec![Answer::zero(); drives.len()],
    };
    let one = Answer::from(&Number::ONE);
    for term in &equation.terms {
        let sign = if term.minus { -&one } else { one.clone() };
        match term.branch {
            Carrier::Element(id) if circuit.elements[id.index()].kind == ElementKind::Resistor => {
                // A value is above zero, so the quotient exists.
                let conductance = one
                    .over(&Answer::from(&circuit.elements[id.index()].value))
                    .unwrap_or(Answer::zero());
                builder.difference(term, &conductance);
            }
            Carrier::Element(_) | Carrier::Opamp(_) => builder.difference(term, &one),
            Carrier::Source(id) => {
                let source = &circuit.sources[id.index()];
                // A held difference less its drive is 0; a current source's drive is itself the current.
                let sign = match source.kind {
                    SourceKind::Voltage { .. } => {
                        builder.difference(term, &one);
                        -&sign
                    }
                    SourceKind::Current { .. } => sign,
                };
                for (node, factor) in &source.controls {
                    builder.add(*node, &(&sign * &Answer::from(factor)));
                }
                for (right, drive) in builder.right.iter_mut().zip(drives) {
                    *right = &*right - &(&sign * &Answer::from(drive[id.index()]));
                }
            }
        }
    }
    if let EquationKind::Limit { value, .. } = &equation.kind {
        let value = Answer::from(value);
        builder.right.iter_mut().for_each(|it| *it = &*it + &value);
    }
    builder.finish()
}

/// A row while it grows.
struct Builder {
    terms: Vec<(usize, Answer)>,
    right: Vec<Answer>,
}

impl Builder {
    /// `times · (from − to)`
    fn difference(&mut self, term: &Term, times: &Answer) {
        self.add(term.from, times);
        self.add(term.to, &-times);
    }

    fn add(&mut self, node: NodeId, factor: &Answer) {
        if let Some(unknown) = node.index().checked_sub(1) {
            self.terms.push((unknown, factor.clone()));
        }
    }

    /// Adds up what stands at the same unknown; the equation's own node stays first.
    fn finish(self) -> Row {
        let first = self.terms.first().map(|it| it.0);
        let mut terms = self.terms;
        terms.sort_by_key(|(unknown, _)| (Some(*unknown) != first, *unknown));
        let mut summed: Vec<(usize, Answer)> = Vec::with_capacity(terms.len());
        for (unknown, factor) in terms {
            match summed.last_mut() {
                Some((last, sum)) if *last == unknown => *sum = &*sum + &factor,
                _ => summed.push((unknown, factor)),
            }
        }
        summed.retain(|(_, factor)| !factor.is_zero());
        Row {
            terms: summed
                .iter()
                .map(|(unknown, factor)| (*unknown, Coefficient::from(factor)))
                .collect(),
            right: self.right.iter().map(Coefficient::from).collect(),
        }
    }
}
