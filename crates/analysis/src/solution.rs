//! Voltages, currents and powers from the solved equations of a circuit with ideal op-amps (a [`crate::board`] makes real ones such).
//!
//! Node voltages come from the equations. What flows through resistors follows from them; the currents of sources, wires and
//! outputs come from the sums that are no equations, peeled off each group's tree from its leaves.

use std::cmp::Ordering;
use std::collections::HashSet;

use circuit::{
    Carrier, Circuit, ElementId, ElementKind, NodeId, OpampId, Part, SourceId, SourceKind, Supply,
};
use syntax::{Number, Ratio};

use crate::Answer;
use crate::equations::{EquationKind, Equations, leaving, system_for};
use crate::linear::{self, Budget, Row, System};
use crate::network::Network;

/// An answer. Each vector is indexed like the circuit's; `None` where the equations do not fix it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Solution {
    /// Node voltages; ground is exactly 0.
    pub nodes: Vec<Option<Answer>>,
    /// Of each element.
    pub elements: Vec<Option<Carried>>,
    /// Of each source; the current includes op-amps fed by the node that it holds.
    pub sources: Vec<Option<Carried>>,
    /// Of each op-amp.
    pub opamps: Vec<Option<Output>>,
    /// Whether something contradicts the rest: sources in a loop that disagree, an output on a source, a current without way back.
    pub contradictory: bool,
    /// The unknown nodes of each block that was solved together, in the order of solving.
    pub blocks: Vec<Vec<NodeId>>,
}

impl Solution {
    /// All node voltages, where each is fixed and nothing contradicts the rest.
    pub fn single(&self) -> Option<Vec<Answer>> {
        match self.contradictory {
            true => None,
            false => self.nodes.iter().cloned().collect(),
        }
    }
}

impl Solution {
    /// What two answers have in common; the rest is not fixed.
    pub(crate) fn agreed(mut self, other: &Solution) -> Solution {
        fn keep<T: PartialEq>(all: &mut [Option<T>], others: &[Option<T>]) {
            for (it, other) in all.iter_mut().zip(others) {
                if it != other {
                    *it = None;
                }
            }
        }
        keep(&mut self.nodes, &other.nodes);
        keep(&mut self.elements, &other.elements);
        keep(&mut self.sources, &other.sources);
        keep(&mut self.opamps, &other.opamps);
        self.blocks.clear();
        self
    }
}

/// Voltage across (first end minus second) and current. Signs as the language says.
#[derive(Clone, PartialEq, Debug)]
pub struct Carried {
    /// In volts.
    pub voltage: Answer,
    /// In amperes; `None` where parallel wires share it in no certain way.
    pub current: Option<Answer>,
    /// A held source gives voltage times current; everything else takes it in.
    gives: bool,
}

impl Carried {
    /// Of what takes power in.
    pub(crate) fn taking(voltage: Answer, current: Option<Answer>) -> Carried {
        Carried {
            voltage,
            current,
            gives: false,
        }
    }

    /// The power that it takes in, in watts.
    pub fn power(&self) -> Option<Answer> {
        match &self.current {
            Some(current) if self.gives => Some(-&(&self.voltage * current)),
            Some(current) => Some(&self.voltage * current),
            None if self.voltage.is_zero() => Some(Answer::zero()),
            None => None,
        }
    }
}

/// An op-amp's output.
#[derive(Clone, PartialEq, Debug)]
pub struct Output {
    /// In volts.
    pub voltage: Answer,
    /// In amperes, positive out of the pin.
    pub current: Option<Answer>,
    /// The high rail and the low one, in volts; `None` without supply.
    rails: Option<[Answer; 2]>,
    /// High limit (rail less headroom) minus output, in volts; negative beyond it; `None` without supply. Of a part with an
    /// output resistance the voltage before that resistance counts: the rails limit it.
    pub margin_high: Option<Answer>,
    /// Output minus low limit.
    pub margin_low: Option<Answer>,
}

/// Where an op-amp's output is in the circuit that is solved, and what limits it.
#[derive(Clone, Debug)]
pub(crate) struct Outlet {
    /// What delivers its current.
    pub carrier: Carrier,
    /// The output pin.
    pub drives: NodeId,
    /// In series with the output, in ohms.
    pub resistance: Option<Number>,
    /// Its rails; where they are nodes they take part in the current.
    pub supply: Option<Supply>,
    /// What it keeps from the low and the high rail.
    pub headroom: Option<[Number; 2]>,
}

impl Outlet {
    /// The outputs of ideal op-amps.
    pub fn ideal(circuit: &Circuit, parts: &[Part]) -> Vec<Outlet> {
        let outlet = |(index, opamp): (usize, &circuit::Opamp)| Outlet {
            carrier: Carrier::Opamp(OpampId(index as u32)),
            drives: opamp.drives,
            resistance: None,
            supply: opamp.supply.clone(),
            headroom: opamp
                .part
                .and_then(|it| parts.get(it.index())?.headroom.clone()),
        };
        circuit.opamps.iter().enumerate().map(outlet).collect()
    }
}

impl Output {
    /// The voltage before the output resistance, in volts: Vout + Rout·i.
    pub(crate) fn before(&self, resistance: Option<&Number>) -> Option<Answer> {
        match resistance {
            None => Some(self.voltage.clone()),
            Some(ohms) => Some(&self.voltage + &(&Answer::from(ohms) * self.current.as_ref()?)),
        }
    }

    /// Heat (rail − output)·current in watts; `None` without supply, and where an ideal output lies beyond the rail that feeds it.
    pub fn power(&self) -> Option<Answer> {
        let ([high, low], current) = (self.rails.as_ref()?, self.current.as_ref()?);
        let zero = Answer::zero();
        let sourced = &(high - &self.voltage) * &current.max(&zero);
        let heat = &sourced + &(&(low - &self.voltage) * &current.min(&zero));
        (heat.sign() != Some(Ordering::Less)).then_some(heat)
    }
}

/// The ideal answer of the circuit as written.
pub fn solve(
    circuit: &Circuit,
    parts: &[Part],
    network: &Network,
    equations: &Equations,
    budget: Budget,
) -> Solution {
    let outlets = Outlet::ideal(circuit, parts);
    let written: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
    solve_for(circuit, &outlets, network, equations, &[written], budget)
        .pop()
        .unwrap_or_default()
}

/// The answer for each choice of all sources' constants.
pub(crate) fn solve_for(
    circuit: &Circuit,
    outlets: &[Outlet],
    network: &Network,
    equations: &Equations,
    drives: &[Vec<&Number>],
    budget: Budget,
) -> Vec<Solution> {
    let mut system = system_for(circuit, equations, drives);
    let count = system.unknowns;
    // Sources and wires hold what they hold, whatever the op-amps and the sums come to.
    let given = equations
        .list
        .iter()
        .take_while(|it| matches!(it.kind, EquationKind::Held { .. }))
        .count();
    let mut solved = linear::solve_with(&system, given, budget);
    let mut across = Vec::new();
    if solved.values.first().is_some_and(|it| it.contains(&None)) {
        across = ask_differences(circuit, &mut system);
        solved.values = linear::solve_with(&system, given, budget).values;
    }
    let blocks: Vec<Vec<NodeId>> = solved
        .blocks
        .iter()
        .map(|block| block.iter().map(|it| NodeId(*it as u32 + 1)).collect())
        .collect();
    let leaving = leaving(circuit);
    let sides = solved.values.into_iter().zip(drives);
    sides
        .map(|(mut values, drives)| {
            let differences = across
                .iter()
                .zip(values.split_off(count))
                .map(|(pair, it)| (*pair, it))
                .collect();
            let nodes = std::iter::once(Some(Answer::zero()))
                .chain(values)
                .collect();
            let view = View {
                circuit,
                outlets,
                network,
                nodes,
                differences,
                drives,
            };
            let currents = view.currents(&leaving);
            let mut solution = view.solution(currents);
            solution.contradictory |= !solved.unmet.is_empty();
            solution.blocks = blocks.clone();
            solution
        })
        .collect()
}

/// Adds to the equations one unknown for each element and source: the difference of its ends. Nodes that nothing ties to ground have no
/// voltage, but what hangs between them may.
fn ask_differences(circuit: &Circuit, system: &mut System) -> Vec<[NodeId; 2]> {
    let elements = circuit.elements.iter().map(|it| it.ends);
    let sources = circuit.sources.iter().map(|it| ends(it.kind));
    let pairs: Vec<[NodeId; 2]> = elements.chain(sources).collect();
    let sides = system.rows.first().map_or(0, |row| row.right.len());
    for &[from, to] in &pairs {
        let mut terms = vec![(system.unknowns, Ratio::ONE.into())];
        if from != to {
            let ends = [(from, -Ratio::ONE), (to, Ratio::ONE)];
            terms.extend(
                ends.into_iter()
                    .filter_map(|(node, it)| Some((node.index().checked_sub(1)?, it.into()))),
            );
        }
        system.rows.push(Row {
            terms,
            right: vec![Ratio::ZERO.into(); sides],
        });
        system.unknowns += 1;
    }
    pairs
}

/// The first end and the second: a source's voltage is that of its first end minus that of its second.
fn ends(kind: SourceKind) -> [NodeId; 2] {
    match kind {
        SourceKind::Voltage { plus, minus } => [plus, minus],
        SourceKind::Current { from, into } => [from, into],
    }
}

/// Node voltages, and what reads them.
struct View<'a> {
    circuit: &'a Circuit,
    outlets: &'a [Outlet],
    network: &'a Network,
    nodes: Vec<Option<Answer>>,
    /// Of each element, then of each source, where some node has no voltage; else empty.
    differences: Vec<([NodeId; 2], Option<Answer>)>,
    drives: &'a [&'a Number],
}

/// The currents of all carriers; of an output out of its pin, of a source out of its first node.
struct Currents {
    /// The voltages of the elements: most currents follow from them.
    across: Vec<Option<Answer>>,
    elements: Vec<Option<Answer>>,
    sources: Vec<Option<Answer>>,
    opamps: Vec<Option<Answer>>,
}

impl View<'_> {
    fn node(&self, node: NodeId) -> Option<&Answer> {
        self.nodes.get(node.index())?.as_ref()
    }

    /// The voltage between two ends; `number` counts elements, then sources.
    fn between(&self, number: usize, [from, to]: [NodeId; 2]) -> Option<Answer> {
        match (self.node(from), self.node(to)) {
            _ if from == to => Some(Answer::zero()),
            (Some(from), Some(to)) => Some(from - to),
            _ => self.differences.get(number)?.1.clone(),
        }
    }

    fn voltage(&self, carrier: Carrier) -> Option<Answer> {
        match carrier {
            Carrier::Element(id) => {
                self.between(id.index(), self.circuit.elements[id.index()].ends)
            }
            Carrier::Source(id) => self.between(
                self.circuit.elements.len() + id.index(),
                ends(self.circuit.sources[id.index()].kind),
            ),
            Carrier::Opamp(id) => self.node(self.circuit.opamps[id.index()].drives).cloned(),
        }
    }

    /// What a source holds or pushes.
    fn drive(&self, id: SourceId) -> Option<Answer> {
        let source = &self.circuit.sources[id.index()];
        source.controls.iter().try_fold(
            Answer::from(self.drives[id.index()]),
            |sum, (node, factor)| Some(&sum + &(&Answer::from(factor) * self.node(*node)?)),
        )
    }

    fn currents(&self, leaving: &[Vec<crate::equations::Term>]) -> Currents {
        let across: Vec<Option<Answer>> = (0..self.circuit.elements.len() as u32)
            .map(|it| self.voltage(Carrier::Element(ElementId(it))))
            .collect();
        let elements = self
            .circuit
            .elements
            .iter()
            .zip(&across)
            .map(|(it, voltage)| match it.kind {
                ElementKind::Resistor => voltage.as_ref()?.over(&Answer::from(&it.value)),
                ElementKind::Capacitor => Some(Answer::zero()),
                ElementKind::Inductor | ElementKind::Wire => None,
            });
        let sources = self
            .circuit
            .sources
            .iter()
            .enumerate()
            .map(|(index, it)| match it.kind {
                SourceKind::Voltage { .. } => None,
                SourceKind::Current { .. } => self.drive(SourceId(index as u32)),
            });
        let mut currents = Currents {
            elements: elements.collect(),
            across,
            sources: sources.collect(),
            opamps: vec![None; self.circuit.opamps.len()],
        };
        // What leaves each node through resistors and current sources; only along edges it is more than an equation.
        let nodes = leaving.iter().zip(&self.network.parents);
        let sums = nodes.map(|(terms, parent)| {
            parent.as_ref()?;
            terms.iter().try_fold(Answer::zero(), |sum, term| {
                let current = currents.through(term.branch)?;
                // An element's current counts from its first end, a current source's term says its sign.
                let backward = match term.branch {
                    Carrier::Element(id) => self.circuit.elements[id.index()].ends[0] != term.from,
                    _ => term.minus,
                };
                Some(if backward {
                    &sum - current
                } else {
                    &sum + current
                })
            })
        });
        let mut sums: Vec<Option<Answer>> = sums.collect();
        let outputs = self.peel(&sums);
        for (edge, current) in self.network.edges.iter().zip(outputs) {
            match edge.carrier {
                Carrier::Element(id) => currents.elements[id.index()] = current,
                Carrier::Source(id) => currents.sources[id.index()] = current,
                Carrier::Opamp(id) => currents.opamps[id.index()] = current,
            }
        }
        if self.feed(&currents, &mut sums) {
            for (edge, current) in self.network.edges.iter().zip(self.peel(&sums)) {
                if let Carrier::Source(id) = edge.carrier {
                    currents.sources[id.index()] = current;
                }
            }
        }
        currents
    }

    /// Adds to each node that is a rail what op-amps take there; whether there is any.
    fn feed(&self, currents: &Currents, sums: &mut [Option<Answer>]) -> bool {
        let mut any = false;
        for outlet in self.outlets {
            let Some(supply) = &outlet.supply else {
                continue;
            };
            let current = currents.through(outlet.carrier);
            let zero = Answer::zero();
            let shares = [
                (&supply.high, current.map(|it| it.max(&zero))),
                (&supply.low, current.map(|it| it.min(&zero))),
            ];
            for (rail, share) in shares {
                if let Some(node) = rail.node {
                    any = true;
                    let sum = &mut sums[node.index()];
                    *sum = sum.as_ref().zip(share).map(|(sum, share)| sum + &share);
                }
            }
        }
        any
    }

    /// The current of each kept edge from what leaves each node otherwise: all that leaves the nodes beyond an edge comes
    /// through it. An edge that a loop runs through shares its current in no certain way.
    fn peel(&self, sums: &[Option<Answer>]) -> Vec<Option<Answer>> {
        let mut totals = sums.to_vec();
        let mut currents = vec![None; self.network.edges.len()];
        for node in self.network.groups.iter().flat_map(|it| &it.leaves_first) {
            let Some(parent) = self.network.parents[node.index()] else {
                continue;
            };
            let total = totals[node.index()].take();
            let above = &mut totals[parent.node.index()];
            *above = above.as_ref().zip(total.as_ref()).map(|(a, b)| a + b);
            let edge = self.network.edges[parent.edge];
            // A source and an output push out of their first end; an element takes in there.
            let delivers = match edge.carrier {
                Carrier::Element(_) => edge.to == *node,
                Carrier::Source(_) | Carrier::Opamp(_) => edge.from == *node,
            };
            currents[parent.edge] = total.map(|it| if delivers { it } else { -&it });
        }
        if !self.network.loops.is_empty() {
            let on_loops: HashSet<Carrier> = self
                .network
                .loops
                .iter()
                .flat_map(|it| it.path.iter().copied())
                .collect();
            for (edge, current) in self.network.edges.iter().zip(&mut currents) {
                if on_loops.contains(&edge.carrier) {
                    *current = None;
                }
            }
        }
        currents
    }

    fn solution(self, currents: Currents) -> Solution {
        let element = |(voltage, current): (Option<Answer>, Option<Answer>)| {
            Some(Carried {
                voltage: voltage?,
                current,
                gives: false,
            })
        };
        let source = |(index, current): (usize, Option<Answer>)| {
            let gives = matches!(self.circuit.sources[index].kind, SourceKind::Voltage { .. });
            Some(Carried {
                voltage: self.voltage(Carrier::Source(SourceId(index as u32)))?,
                current,
                gives,
            })
        };
        let output = |it: &Outlet| self.output(it, currents.through(it.carrier).cloned());
        Solution {
            opamps: self.outlets.iter().map(output).collect(),
            elements: currents
                .across
                .into_iter()
                .zip(currents.elements)
                .map(element)
                .collect(),
            sources: currents
                .sources
                .into_iter()
                .enumerate()
                .map(source)
                .collect(),
            contradictory: self.contradicts_itself(),
            nodes: self.nodes,
            blocks: Vec::new(),
        }
    }

    fn output(&self, outlet: &Outlet, current: Option<Answer>) -> Option<Output> {
        let voltage = self.node(outlet.drives)?.clone();
        let mut output = Output {
            voltage,
            current,
            rails: None,
            margin_high: None,
            margin_low: None,
        };
        if let Some(supply) = &outlet.supply {
            let (high, low) = (
                Answer::from(&supply.high.volts),
                Answer::from(&supply.low.volts),
            );
            let [keeps_low, keeps_high] = outlet
                .headroom
                .as_ref()
                .map_or([Answer::zero(), Answer::zero()], |[low, high]| {
                    [Answer::from(low), Answer::from(high)]
                });
            if let Some(inner) = output.before(outlet.resistance.as_ref()) {
                output.margin_high = Some(&(&high - &keeps_high) - &inner);
                output.margin_low = Some(&inner - &(&low + &keeps_low));
            }
            output.rails = Some([high, low]);
        }
        Some(output)
    }

    /// Whether an edge that was left out says other than the rest, or an output stands against another or a source.
    fn contradicts_itself(&self) -> bool {
        let disagrees = |carrier: Carrier| {
            let says = match carrier {
                Carrier::Element(_) => Some(Answer::zero()),
                Carrier::Source(id) => self.drive(id),
                Carrier::Opamp(_) => return true,
            };
            let voltage = self.voltage(carrier);
            says.zip(voltage)
                .is_some_and(|(says, voltage)| says.compare(&voltage).is_some_and(Ordering::is_ne))
        };
        let left_out = self.network.loops.iter().map(|it| it.edge.carrier);
        let shorted = self.network.shorted.iter().copied().filter(|it| match it {
            Carrier::Source(id) => matches!(
                self.circuit.sources[id.index()].kind,
                SourceKind::Voltage { .. }
            ),
            _ => false,
        });
        left_out.chain(shorted).any(disagrees)
    }
}

impl Currents {
    fn through(&self, carrier: Carrier) -> Option<&Answer> {
        match carrier {
            Carrier::Element(id) => self.elements[id.index()].as_ref(),
            Carrier::Source(id) => self.sources[id.index()].as_ref(),
            Carrier::Opamp(id) => self.opamps[id.index()].as_ref(),
        }
    }
}
