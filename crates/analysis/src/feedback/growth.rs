//! What grows slowly, between rest and the first instant: the natural frequencies of a block with ideal op-amps.
//!
//! Op-amps that are much quicker than all capacitors and inductors hold V+ = V− at every moment. Those rules and the current sums around the
//! block's inputs are linear in the voltages, with s for every capacitor and 1/s for every inductor. Their determinant is a polynomial in s, and its
//! roots are the natural frequencies. It is found exactly, from its values at as many whole s as it has coefficients, and its roots are counted
//! exactly: what the even and the odd part share are roots in pairs ±s, of which Sturm's chain tells those on the axis; of the rest the Cauchy
//! index tells how many lie to the right. (Routh 1877; Hurwitz 1895; both ways after Gantmacher, The Theory of Matrices, vol. 2, ch. XV. From
//! memory.) A root to the right of these quick op-amps is one of all that are quick enough.

use circuit::{Circuit, ElementKind, NodeId};
use syntax::Ratio;

use super::Verdict;
use super::eliminate::Sum;
use super::exact::determinant;
use super::map::{Moment, Rules};
use super::polynomial::Polynomial;
use crate::network::{Network, fraction};

/// More capacitors and inductors around one block are not looked at, nor more unknowns.
const MOST_STORES: usize = 10;
const MOST_UNKNOWNS: usize = 24;

/// Natural frequencies that do not die away, by where they lie; each counted as often as it is a root.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub(crate) struct Growth {
    /// To the right of the imaginary axis.
    pub right: usize,
    /// Of these, on the real axis.
    pub real: usize,
    /// On the imaginary axis, without 0, in pairs.
    pub pairs: usize,
}

impl Growth {
    /// What this makes of a verdict that was found without it.
    pub fn refine(self, verdict: Verdict) -> Verdict {
        match verdict {
            Verdict::Positive => verdict,
            _ if self.right > self.real => Verdict::Oscillates,
            _ if self.right > 0 => Verdict::RunsAway,
            Verdict::Negative | Verdict::NegativeIfAlike | Verdict::NoneAtDc if self.pairs > 0 => {
                Verdict::Marginal
            }
            _ => verdict,
        }
    }

    fn of(polynomial: &Polynomial) -> Growth {
        let (right, pairs) = polynomial.right_and_on_axis();
        Growth {
            right,
            pairs,
            real: polynomial.positive_roots(),
        }
    }
}

/// The equations of a circuit as polynomials in s.
#[derive(Debug)]
pub(crate) struct Slow {
    /// The nodes that outputs and sources alone move.
    pinned: Vec<Option<Sum<Ratio>>>,
    rules: Vec<Vec<Term>>,
    /// What outputs add to each rule.
    columns: Vec<Sum<Ratio>>,
    /// For each node the rules that hold it.
    holding: Vec<Vec<usize>>,
    /// For each rule the capacitors and inductors in it.
    stores: Vec<Vec<usize>>,
}

/// factor · s^power · voltage
#[derive(Debug)]
struct Term {
    node: NodeId,
    factor: Ratio,
    power: i8,
}

impl Slow {
    /// `network` has inductors that fix nothing.
    pub fn of(circuit: &Circuit, network: &Network) -> Slow {
        let (pinned, rules) = Rules::of::<Ratio>(circuit, network, Moment::Rest, &[]);
        // The sums of the groups stand last, in their order.
        let groups = network.groups.len().saturating_sub(1);
        let first = rules.len() - groups;
        let plain = |(node, factor)| Term {
            node,
            factor,
            power: 0,
        };
        let mut slow = Slow {
            pinned,
            stores: vec![Vec::new(); rules.len()],
            columns: rules.iter().map(|it| it.columns.clone()).collect(),
            rules: rules
                .into_iter()
                .map(|it| it.terms.into_iter().map(plain).collect())
                .collect(),
            holding: vec![Vec::new(); circuit.nodes.len()],
        };
        for (index, element) in circuit.elements.iter().enumerate() {
            let value = fraction(&element.value);
            let (admittance, power) = match element.kind {
                ElementKind::Capacitor => (value, 1),
                ElementKind::Inductor if !value.is_zero() => (Ratio::ONE / value, -1),
                _ => continue,
            };
            let [a, b] = element.ends;
            let group = |node: NodeId| network.group_of[node.index()];
            if group(a) == group(b) {
                continue;
            }
            for (here, there) in [(a, b), (b, a)] {
                let Some(rule) = group(here).checked_sub(1) else {
                    continue;
                };
                let rule = first + rule;
                slow.stores[rule].push(index);
                for (node, factor) in [(here, admittance.clone()), (there, -admittance.clone())] {
                    slow.rules[rule].push(Term {
                        node,
                        factor,
                        power,
                    });
                }
            }
        }
        for (rule, terms) in slow.rules.iter().enumerate() {
            for term in terms {
                let held = &mut slow.holding[term.node.index()];
                if slow.pinned[term.node.index()].is_none() && held.last() != Some(&rule) {
                    held.push(rule);
                }
            }
        }
        slow
    }

    /// The natural frequencies of a block whose op-amps rise, all other outputs held. `slack` is 1/A of each op-amp of the block. `None` where that
    /// is too much to work out, or the equations are singular at every s.
    pub fn growth(&self, circuit: &Circuit, block: &[usize], slack: &[Ratio]) -> Option<Growth> {
        let (nodes, rules) = self.around(circuit, block)?;
        let mut stores: Vec<usize> = rules
            .iter()
            .flat_map(|it| &self.stores[*it])
            .copied()
            .collect();
        stores.sort_unstable();
        stores.dedup();
        // One store has one frequency, and rest and first instant tell its sign.
        if stores.len() < 2 {
            return Some(Growth::default());
        }
        if stores.len() > MOST_STORES || nodes.len() != rules.len() {
            return None;
        }
        let kind = |it: &&usize| circuit.elements[**it].kind == ElementKind::Inductor;
        let inductors = stores.iter().filter(kind).count();
        let unit = self.unit(circuit, &rules, &stores);
        let values = (1..=stores.len() + 1).map(|it| {
            let at = Ratio::from(it);
            let matrix = self.matrix(circuit, block, slack, &nodes, &rules, &(&at * &unit));
            (0..inductors).fold(determinant(&matrix), |value, _| value * &at)
        });
        let polynomial = Polynomial::through(&values.collect::<Vec<_>>());
        (!polynomial.is_zero()).then(|| Growth::of(&polynomial))
    }

    /// The nodes that the inputs of a block hang together with, and the rules that hold there.
    fn around(&self, circuit: &Circuit, block: &[usize]) -> Option<(Vec<NodeId>, Vec<usize>)> {
        let pins = block
            .iter()
            .flat_map(|it| [circuit.opamps[*it].plus, circuit.opamps[*it].minus]);
        let (mut nodes, mut rules): (Vec<NodeId>, Vec<usize>) = Default::default();
        let mut waiting: Vec<NodeId> = pins.collect();
        while let Some(node) = waiting.pop() {
            if self.pinned[node.index()].is_some() || nodes.contains(&node) {
                continue;
            }
            nodes.push(node);
            if nodes.len() + block.len() > MOST_UNKNOWNS {
                return None;
            }
            for rule in &self.holding[node.index()] {
                if !rules.contains(rule) {
                    rules.push(*rule);
                    waiting.extend(self.rules[*rule].iter().map(|it| it.node));
                }
            }
        }
        nodes.sort_unstable();
        rules.sort_unstable();
        Some((nodes, rules))
    }

    /// A power of ten near the natural frequencies, in 1/s: so that numbers stay short.
    fn unit(&self, circuit: &Circuit, rules: &[usize], stores: &[usize]) -> Ratio {
        let mean = |all: &mut dyn Iterator<Item = f64>| {
            let (sum, count) = all.fold((0.0, 0.0), |(sum, count), it| (sum + it, count + 1.0));
            if count > 0.0 { sum / count } else { 0.0 }
        };
        let size = |it: &Ratio| it.to_f64().value().abs().max(f64::MIN_POSITIVE).log10();
        let terms = rules.iter().flat_map(|it| &self.rules[*it]);
        // Conductances, and the ones of the differences that sources hold, which say nothing.
        let conducting = terms.filter(|it| it.power == 0 && !it.factor.is_zero());
        let conductance = mean(
            &mut conducting
                .map(|it| size(&it.factor))
                .filter(|it| *it != 0.0),
        );
        let frequency = mean(&mut stores.iter().map(|it| {
            let element = &circuit.elements[*it];
            let value = size(&fraction(&element.value));
            match element.kind {
                ElementKind::Inductor => -conductance - value,
                _ => conductance - value,
            }
        }));
        let exponent = frequency.round().clamp(-30.0, 30.0) as i32;
        let power = (0..exponent.abs()).fold(Ratio::ONE, |power, _| power * Ratio::from(10));
        if exponent < 0 {
            Ratio::ONE / power
        } else {
            power
        }
    }

    /// Rules, then V+ − V− − u/A of each op-amp; columns are the nodes, then the block's outputs u.
    fn matrix(
        &self,
        circuit: &Circuit,
        block: &[usize],
        slack: &[Ratio],
        nodes: &[NodeId],
        rules: &[usize],
        s: &Ratio,
    ) -> Vec<Vec<Ratio>> {
        let size = nodes.len() + block.len();
        let moves = |row: &mut Vec<Ratio>, outputs: &Sum<Ratio>, factor: &Ratio| {
            for (output, share) in outputs {
                if let Ok(place) = block.binary_search(output) {
                    row[nodes.len() + place] += factor * share;
                }
            }
        };
        let put = |row: &mut Vec<Ratio>, node: NodeId, factor: &Ratio| match (
            &self.pinned[node.index()],
            nodes.binary_search(&node),
        ) {
            (Some(outputs), _) => moves(row, outputs, factor),
            (None, Ok(place)) => row[place] += factor,
            (None, Err(_)) => {}
        };
        let of_rules = rules.iter().map(|rule| {
            let mut row = vec![Ratio::ZERO; size];
            for term in &self.rules[*rule] {
                let factor = match term.power {
                    0 => term.factor.clone(),
                    1 => &term.factor * s,
                    _ => &term.factor / s,
                };
                put(&mut row, term.node, &factor);
            }
            moves(&mut row, &self.columns[*rule], &Ratio::ONE);
            row
        });
        let of_opamps = block
            .iter()
            .zip(slack)
            .enumerate()
            .map(|(place, (it, slack))| {
                let mut row = vec![Ratio::ZERO; size];
                put(&mut row, circuit.opamps[*it].plus, &Ratio::ONE);
                put(&mut row, circuit.opamps[*it].minus, &Ratio::NEG_ONE);
                row[nodes.len() + place] -= slack;
                row
            });
        of_rules.chain(of_opamps).collect()
    }
}
