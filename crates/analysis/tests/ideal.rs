//! Ideal answers of random networks against an independent method: the full tableau (every node voltage and every current an
//! unknown, every law a row), solved by plain elimination in fractions; and laws that every network obeys.

use ampersum_analysis as analysis;

use std::collections::BTreeMap;

use analysis::equations::{Equations, equations, system};
use analysis::linear::Budget;
use analysis::network::Network;
use analysis::solution::{Solution, solve};
use circuit::{Carrier, Circuit, ElementId, ElementKind, NodeId, OpampId, SourceId, SourceKind};
use proptest::prelude::*;
use syntax::{Number, Ratio};

/// A network to be: nodes by number, 0 is ground.
#[derive(Clone, Default)]
struct Sketch {
    /// From, to, ohms.
    resistors: Vec<(usize, usize, u32)>,
    /// Plus, minus, tenths of a volt.
    held: Vec<(usize, usize, i32)>,
    /// From, into, microamperes.
    pushed: Vec<(usize, usize, i32)>,
    /// Plus, factor, the two nodes whose difference it follows.
    following: Vec<(usize, i32, usize, usize)>,
    /// Plus, minus, drives.
    opamps: Vec<(usize, usize, usize)>,
    /// `L`, `C` or `S` (a closed switch), with its ends.
    others: Vec<(char, usize, usize)>,
}

impl std::fmt::Debug for Sketch {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "\n{}", self.text())
    }
}

impl Sketch {
    fn text(&self) -> String {
        let node = |at: usize| {
            if at == 0 {
                "ground".to_string()
            } else {
                format!("n{at}")
            }
        };
        let mut text = String::new();
        let mut line = |it: String| {
            text.push_str(&it);
            text.push('\n');
        };
        for (k, (from, to, ohms)) in self.resistors.iter().enumerate() {
            line(format!("{} -- R{k} {ohms} -- {}", node(*from), node(*to)));
        }
        for (k, (plus, minus, tenths)) in self.held.iter().enumerate() {
            let (plus, minus, tenths) = if *plus == 0 {
                (*minus, 0, -tenths)
            } else {
                (*plus, *minus, *tenths)
            };
            let left = if minus == 0 {
                node(plus)
            } else {
                format!("{} - {}", node(plus), node(minus))
            };
            line(format!("source V{k}: {left} = {tenths}e-1 V"));
        }
        for (k, (from, into, micro)) in self.pushed.iter().enumerate() {
            line(format!(
                "source J{k}: {micro} uA from {} into {}",
                node(*from),
                node(*into)
            ));
        }
        for (k, (plus, factor, a, b)) in self.following.iter().enumerate() {
            line(format!(
                "source E{k}: {} = {factor} * ({} - {})",
                node(*plus),
                node(*a),
                node(*b)
            ));
        }
        for (k, (plus, minus, drives)) in self.opamps.iter().enumerate() {
            line(format!(
                "opamp A{k}: plus {}, minus {}, drives {}",
                node(*plus),
                node(*minus),
                node(*drives)
            ));
        }
        for (k, (kind, from, to)) in self.others.iter().enumerate() {
            let (from, to) = (node(*from), node(*to));
            line(match kind {
                'L' => format!("{from} -- L{k} 1 mH -- {to}"),
                'C' => format!("{from} -- C{k} 1 uF -- {to}"),
                _ => format!("switch S{k}: from {from}, to {to}, closed"),
            });
        }
        text
    }

    fn circuit(&self) -> Circuit {
        read(&self.text())
    }
}

fn read(text: &str) -> Circuit {
    let mut book = circuit::build("test", text.into(), &mut |_| None);
    let faults: Vec<_> = book.faults.iter().map(|it| &it.kind).collect();
    assert!(
        faults.is_empty() && book.circuits.len() == 1,
        "{faults:?} in\n{text}"
    );
    book.circuits.remove(0)
}

/// Everything about a circuit that these tests look at.
struct Answered {
    circuit: Circuit,
    network: Network,
    equations: Equations,
    solution: Solution,
}

fn answer(circuit: Circuit) -> Answered {
    let network = Network::of(&circuit);
    let equations = equations(&circuit, &network);
    let solution = solve(&circuit, &[], &network, &equations, Budget::default());
    Answered {
        circuit,
        network,
        equations,
        solution,
    }
}

impl Answered {
    fn node(&self, name: &str) -> Option<Ratio> {
        let at = self.circuit.nodes.iter().position(|it| it.name == name)?;
        self.solution.nodes[at].as_ref()?.exact().cloned()
    }

    fn voltages(&self) -> BTreeMap<&str, Option<Ratio>> {
        self.circuit
            .nodes
            .iter()
            .map(|it| (it.name.as_str(), self.node(&it.name)))
            .collect()
    }

    /// Current of each element, source and output by its name.
    fn currents(&self) -> BTreeMap<&str, Option<Ratio>> {
        let exact = |it: Option<&analysis::Answer>| it.and_then(|it| it.exact().cloned());
        let Answered {
            circuit, solution, ..
        } = self;
        let elements = circuit.elements.iter().zip(&solution.elements);
        let sources = circuit.sources.iter().zip(&solution.sources);
        let opamps = circuit.opamps.iter().zip(&solution.opamps);
        let elements = elements.map(|(it, found)| {
            (
                it.name.as_str(),
                exact(found.as_ref().and_then(|it| it.current.as_ref())),
            )
        });
        let sources = sources.map(|(it, found)| {
            (
                it.name.as_str(),
                exact(found.as_ref().and_then(|it| it.current.as_ref())),
            )
        });
        let opamps = opamps.map(|(it, found)| {
            (
                it.name.as_str(),
                exact(found.as_ref().and_then(|it| it.current.as_ref())),
            )
        });
        elements.chain(sources).chain(opamps).collect()
    }

    fn is_regular(&self) -> bool {
        !self.solution.contradictory && !self.solution.nodes.contains(&None)
    }
}

// The independent method.

fn exactly(number: &Number) -> Ratio {
    number.exact().unwrap().clone()
}

/// What the tableau fixes: of each unknown (nodes without ground, then elements, sources, op-amps) its value, or `None`.
/// `None` for all where it contradicts itself.
fn tableau(circuit: &Circuit) -> Option<Vec<Option<Ratio>>> {
    let nodes = circuit.nodes.len() - 1;
    let (elements, sources) = (circuit.elements.len(), circuit.sources.len());
    let width = nodes + elements + sources + circuit.opamps.len();
    let current = |carrier: Carrier| match carrier {
        Carrier::Element(id) => nodes + id.index(),
        Carrier::Source(id) => nodes + elements + id.index(),
        Carrier::Opamp(id) => nodes + elements + sources + id.index(),
    };
    let mut rows: Vec<Vec<Ratio>> = vec![vec![Ratio::ZERO; width + 1]; nodes];
    let add = |row: &mut Vec<Ratio>, node: NodeId, factor: Ratio| {
        if node.index() > 0 {
            row[node.index() - 1] += factor;
        }
    };
    // `out` is the node that the current leaves through the branch.
    let mut branch = |carrier: Carrier, out: NodeId, back: NodeId| {
        for (node, sign) in [(out, 1), (back, -1)] {
            if node.index() > 0 {
                rows[node.index() - 1][current(carrier)] += Ratio::from(sign);
            }
        }
    };
    let mut laws = Vec::new();
    for (index, it) in circuit.elements.iter().enumerate() {
        let carrier = Carrier::Element(ElementId(index as u32));
        branch(carrier, it.ends[0], it.ends[1]);
        let mut law = vec![Ratio::ZERO; width + 1];
        if it.kind == ElementKind::Capacitor {
            law[current(carrier)] = Ratio::ONE;
        } else {
            add(&mut law, it.ends[0], Ratio::ONE);
            add(&mut law, it.ends[1], -Ratio::ONE);
            if it.kind == ElementKind::Resistor {
                law[current(carrier)] = -exactly(&it.value);
            }
        }
        laws.push(law);
    }
    for (index, it) in circuit.sources.iter().enumerate() {
        let carrier = Carrier::Source(SourceId(index as u32));
        let mut law = vec![Ratio::ZERO; width + 1];
        match it.kind {
            SourceKind::Voltage { plus, minus } => {
                branch(carrier, minus, plus);
                add(&mut law, plus, Ratio::ONE);
                add(&mut law, minus, -Ratio::ONE);
            }
            SourceKind::Current { from, into } => {
                branch(carrier, from, into);
                law[current(carrier)] = Ratio::ONE;
            }
        }
        it.controls
            .iter()
            .for_each(|(node, factor)| add(&mut law, *node, -exactly(factor)));
        law[width] = exactly(&it.constant);
        laws.push(law);
    }
    for (index, it) in circuit.opamps.iter().enumerate() {
        let carrier = Carrier::Opamp(OpampId(index as u32));
        branch(carrier, NodeId(0), it.drives);
        let mut law = vec![Ratio::ZERO; width + 1];
        add(&mut law, it.plus, Ratio::ONE);
        add(&mut law, it.minus, -Ratio::ONE);
        laws.push(law);
    }
    rows.extend(laws);
    gauss(rows, width)
}

fn gauss(mut rows: Vec<Vec<Ratio>>, width: usize) -> Option<Vec<Option<Ratio>>> {
    let mut pivots = Vec::new();
    for column in 0..width {
        let at = pivots.len();
        let Some(pivot) = (at..rows.len()).find(|&row| !rows[row][column].is_zero()) else {
            continue;
        };
        rows.swap(at, pivot);
        let head = rows[at][column].clone();
        rows[at].iter_mut().for_each(|it| *it /= &head);
        for row in (0..rows.len()).filter(|&row| row != at) {
            let times = rows[row][column].clone();
            if !times.is_zero() {
                let pivot = rows[at].clone();
                rows[row]
                    .iter_mut()
                    .zip(&pivot)
                    .for_each(|(it, pivot)| *it -= &times * pivot);
            }
        }
        pivots.push(column);
    }
    if rows[pivots.len()..].iter().any(|row| !row[width].is_zero()) {
        return None;
    }
    let mut values = vec![None; width];
    for (row, &pivot) in pivots.iter().enumerate() {
        if (0..width).all(|column| column == pivot || rows[row][column].is_zero()) {
            values[pivot] = Some(rows[row][width].clone());
        }
    }
    Some(values)
}

// Random networks.

const OHMS: [u32; 6] = [100, 150, 330, 1000, 4700, 10_000];

/// Every node hangs on an earlier one by a resistor; sources hold or push; op-amps drive nodes that nothing else holds.
fn sketch() -> impl Strategy<Value = Sketch> {
    (3usize..8).prop_flat_map(|nodes| {
        let any_node = 0..=nodes;
        let ohms = prop::sample::select(OHMS.to_vec());
        let pair = (any_node.clone(), any_node.clone()).prop_filter("two nodes", |(a, b)| a != b);
        let any_pair = (any_node.clone(), any_node.clone());
        let tree: Vec<_> = (1..=nodes)
            .map(|at| (Just(at), 0..at, ohms.clone()))
            .collect();
        let more = prop::collection::vec((any_pair.clone(), ohms), 0..4);
        let held = prop::collection::vec((pair.clone(), -50i32..50), 1..3);
        let pushed = prop::collection::vec((pair.clone(), -500i32..500), 0..2);
        let following = prop::collection::vec((1..=nodes, 1i32..5, pair.clone()), 0..2);
        let opamps = prop::collection::vec((any_pair.clone(), 1..=nodes), 0..4);
        let others = prop::collection::vec((prop::sample::select(vec!['L', 'C', 'S']), pair), 0..2);
        (tree, more, held, pushed, following, opamps, others).prop_map(
            |(tree, more, held, pushed, following, opamps, others)| Sketch {
                resistors: tree
                    .into_iter()
                    .chain(more.into_iter().map(|((a, b), ohms)| (a, b, ohms)))
                    .collect(),
                held: held
                    .into_iter()
                    .map(|((a, b), tenths)| (a, b, tenths))
                    .collect(),
                pushed: pushed
                    .into_iter()
                    .map(|((a, b), micro)| (a, b, micro))
                    .collect(),
                following: following
                    .into_iter()
                    .filter(|(at, _, (a, b))| at != a && at != b)
                    .map(|(at, factor, (a, b))| (at, factor, a, b))
                    .collect(),
                opamps: opamps
                    .into_iter()
                    .map(|((plus, minus), drives)| (plus, minus, drives))
                    .collect(),
                others: others
                    .into_iter()
                    .map(|(kind, (a, b))| (kind, a, b))
                    .collect(),
            },
        )
    })
}

/// Amplifier stages, each fed by an earlier node: always one answer, often with op-amps in each other's loops.
fn amplifier() -> impl Strategy<Value = Sketch> {
    let stage = (
        0u8..4,
        any::<prop::sample::Index>(),
        any::<prop::sample::Index>(),
        prop::collection::vec(prop::sample::select(OHMS.to_vec()), 4),
    );
    (
        prop::collection::vec(stage, 1..6),
        prop::collection::vec(-50i32..50, 1..3),
        any::<bool>(),
    )
        .prop_map(|(stages, volts, load)| {
            let mut sketch = Sketch {
                held: volts
                    .iter()
                    .enumerate()
                    .map(|(k, tenths)| (k + 1, 0, *tenths))
                    .collect(),
                ..Sketch::default()
            };
            let mut last = volts.len();
            let mut sources: Vec<usize> = (1..=last).collect();
            for (kind, first, second, ohms) in stages {
                let mut new = || {
                    last += 1;
                    last
                };
                let (a, b) = (*first.get(&sources), *second.get(&sources));
                match kind {
                    // Follower, inverting, not inverting, difference.
                    0 => {
                        let out = new();
                        sketch.opamps.push((a, out, out));
                        sources.push(out);
                    }
                    1 => {
                        let (sum, out) = (new(), new());
                        sketch.resistors.extend([
                            (a, sum, ohms[0]),
                            (b, sum, ohms[1]),
                            (sum, out, ohms[2]),
                        ]);
                        sketch.opamps.push((0, sum, out));
                        sources.push(out);
                    }
                    2 => {
                        let (feedback, out) = (new(), new());
                        sketch
                            .resistors
                            .extend([(out, feedback, ohms[0]), (feedback, b, ohms[1])]);
                        sketch.opamps.push((a, feedback, out));
                        sources.push(out);
                    }
                    _ => {
                        let (plus, minus, out) = (new(), new(), new());
                        sketch.resistors.extend([
                            (a, minus, ohms[0]),
                            (minus, out, ohms[1]),
                            (b, plus, ohms[2]),
                            (plus, 0, ohms[3]),
                        ]);
                        sketch.opamps.push((plus, minus, out));
                        sources.push(out);
                    }
                }
            }
            if load {
                sketch.resistors.push((last, 0, 4700));
            }
            sketch
        })
}

fn network() -> impl Strategy<Value = Sketch> {
    prop_oneof![sketch(), amplifier()]
}

fn scaled(sketch: &Sketch, factor: i32) -> Sketch {
    let mut sketch = sketch.clone();
    sketch.held.iter_mut().for_each(|it| it.2 *= factor);
    sketch.pushed.iter_mut().for_each(|it| it.2 *= factor);
    sketch
}

fn sum(
    a: &BTreeMap<&str, Option<Ratio>>,
    b: &BTreeMap<&str, Option<Ratio>>,
) -> BTreeMap<String, Option<Ratio>> {
    a.iter()
        .map(|(name, value)| {
            (
                name.to_string(),
                value.as_ref().zip(b[name].as_ref()).map(|(a, b)| a + b),
            )
        })
        .collect()
}

fn owned(map: BTreeMap<&str, Option<Ratio>>) -> BTreeMap<String, Option<Ratio>> {
    map.into_iter()
        .map(|(name, value)| (name.to_string(), value))
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn as_many_equations_as_unknowns_and_each_node_once(sketch in network()) {
        let it = answer(sketch.circuit());
        prop_assert_eq!(it.equations.list.len(), it.equations.unknowns.len());
        let mut at: Vec<NodeId> = it.equations.list.iter().map(|it| it.at).collect();
        at.sort_unstable();
        prop_assert_eq!(at, it.equations.unknowns);
    }

    /// Whatever the tableau fixes is found, whatever is found the tableau fixes; regular or not.
    #[test]
    fn the_taught_equations_say_what_the_tableau_says(sketch in network()) {
        let it = answer(sketch.circuit());
        // The taught equations go on without what closes a loop; the tableau doesn't, and from an output or a controlled
        // source it learns something there.
        let tells_nothing_new = |carrier: Carrier| match carrier {
            Carrier::Element(_) => true,
            Carrier::Source(id) => it.circuit.sources[id.index()].controls.is_empty(),
            Carrier::Opamp(_) => false,
        };
        let left_out = it.network.loops.iter();
        prop_assume!(left_out.flat_map(|it| it.path.iter().copied().chain([it.edge.carrier])).all(tells_nothing_new));
        let Some(fixed) = tableau(&it.circuit) else {
            prop_assert!(it.solution.contradictory);
            return Ok(());
        };
        prop_assert!(!it.solution.contradictory);
        let names = it.circuit.nodes[1..].iter().map(|it| it.name.as_str());
        let names = names.chain(it.circuit.elements.iter().map(|it| it.name.as_str()));
        let names = names.chain(it.circuit.sources.iter().map(|it| it.name.as_str()));
        let names = names.chain(it.circuit.opamps.iter().map(|it| it.name.as_str()));
        let (voltages, currents) = (it.voltages(), it.currents());
        for (name, fixed) in names.zip(fixed) {
            match voltages.get(name) {
                Some(voltage) => prop_assert_eq!(voltage, &fixed, "{}", name),
                None if it.is_regular() => prop_assert_eq!(&currents[name], &fixed, "{}", name),
                None => prop_assert!(currents[name].is_none() || currents[name] == fixed, "{name}"),
            }
        }
    }

    #[test]
    fn every_row_is_met_exactly(sketch in network()) {
        let it = answer(sketch.circuit());
        prop_assume!(it.is_regular());
        for row in system(&it.circuit, &it.equations).rows {
            let sum = row.terms.iter().fold(-row.right[0].value.clone(), |sum, (unknown, factor)| {
                sum + &factor.value * it.solution.nodes[unknown + 1].as_ref().unwrap().exact().unwrap()
            });
            prop_assert!(sum.is_zero());
        }
    }

    #[test]
    fn power_adds_up_to_nothing(sketch in network()) {
        let it = answer(sketch.circuit());
        prop_assume!(it.is_regular());
        let powers = it.solution.elements.iter().chain(&it.solution.sources).map(|it| it.as_ref()?.power());
        let opamps = it.solution.opamps.iter().map(|it| it.as_ref().map(|it| Some(-&(&it.voltage * it.current.as_ref()?)))?);
        // Where parallel wires share a current, they take in nothing all the same.
        let total = powers.chain(opamps).try_fold(analysis::Answer::zero(), |sum, it| Some(&sum + &it?));
        prop_assert!(total.is_none_or(|it| it.is_zero()));
    }

    #[test]
    fn answers_superpose_and_scale_with_the_sources(sketch in network()) {
        let both = answer(sketch.circuit());
        prop_assume!(both.is_regular());
        let (mut voltages, mut currents) = (sketch.clone(), sketch.clone());
        voltages.pushed.iter_mut().for_each(|it| it.2 = 0);
        currents.held.iter_mut().for_each(|it| it.2 = 0);
        let (voltages, currents) = (answer(voltages.circuit()), answer(currents.circuit()));
        prop_assert_eq!(owned(both.voltages()), sum(&voltages.voltages(), &currents.voltages()));
        prop_assert_eq!(owned(both.currents()), sum(&voltages.currents(), &currents.currents()));
        let thrice = answer(scaled(&sketch, 3).circuit());
        let three = |map: BTreeMap<&str, Option<Ratio>>| owned(map).into_iter().map(|(name, it)| (name, it.map(|it| it * Ratio::from(3)))).collect();
        let (voltages, currents): (BTreeMap<_, _>, BTreeMap<_, _>) = (three(both.voltages()), three(both.currents()));
        prop_assert_eq!(owned(thrice.voltages()), voltages);
        prop_assert_eq!(owned(thrice.currents()), currents);
    }

    #[test]
    fn larger_resistors_and_smaller_currents_give_the_same_voltages(sketch in network()) {
        let mut larger = sketch.clone();
        larger.resistors.iter_mut().for_each(|it| it.2 *= 7);
        let mut sevenfold = sketch;
        sevenfold.pushed.iter_mut().for_each(|it| it.2 *= 7);
        let (larger, sevenfold) = (answer(larger.circuit()), answer(sevenfold.circuit()));
        prop_assert_eq!(larger.voltages(), sevenfold.voltages());
    }

    #[test]
    fn a_path_written_backwards_turns_its_current_alone(sketch in network(), which in any::<prop::sample::Index>()) {
        prop_assume!(!sketch.resistors.is_empty());
        let mut turned = sketch.clone();
        let it = &mut turned.resistors[which.index(sketch.resistors.len())];
        std::mem::swap(&mut it.0, &mut it.1);
        let name = format!("R{}", which.index(sketch.resistors.len()));
        let (forth, back) = (answer(sketch.circuit()), answer(turned.circuit()));
        prop_assert_eq!(forth.voltages(), back.voltages());
        let mut expected = owned(forth.currents());
        let current = expected.get_mut(&name).unwrap();
        *current = current.take().map(|it| -it);
        prop_assert_eq!(expected, owned(back.currents()));
    }

    #[test]
    fn resistors_in_series_are_one(sketch in network(), which in any::<prop::sample::Index>(), part in 1u32..99) {
        prop_assume!(!sketch.resistors.is_empty());
        let whole = answer(sketch.circuit());
        // Where equations contradict each other it rests on their order which nodes they fix.
        prop_assume!(whole.is_regular());
        let mut cut = sketch.clone();
        let it = &mut cut.resistors[which.index(sketch.resistors.len())];
        let (end, rest) = (it.1, it.2 * (100 - part));
        *it = (it.0, 99, it.2 * part);
        let mut scaled = cut.clone();
        // Hundredths of ohms: scale everything else up to them.
        for (k, it) in scaled.resistors.iter_mut().enumerate() {
            if k != which.index(sketch.resistors.len()) {
                it.2 *= 100;
            }
        }
        scaled.resistors.push((99, end, rest));
        let mut whole_scaled = sketch.clone();
        whole_scaled.resistors.iter_mut().for_each(|it| it.2 *= 100);
        let (cut, whole_scaled) = (answer(scaled.circuit()), answer(whole_scaled.circuit()));
        for node in whole.circuit.nodes.iter() {
            prop_assert_eq!(cut.node(&node.name), whole_scaled.node(&node.name));
        }
    }

    #[test]
    fn a_resistor_across_a_source_or_an_output_moves_no_voltage(sketch in network()) {
        let before = answer(sketch.circuit());
        prop_assume!(before.is_regular());
        let mut loaded = sketch.clone();
        loaded.resistors.extend(sketch.held.iter().map(|(a, b, _)| (*a, *b, 220)));
        loaded.resistors.extend(sketch.opamps.iter().map(|(_, _, drives)| (*drives, 0, 220)));
        let after = answer(loaded.circuit());
        for node in before.circuit.nodes.iter() {
            prop_assert_eq!(before.node(&node.name), after.node(&node.name));
        }
    }

    /// Open voltage over short current is the resistance that one ampere meets with all sources at zero.
    #[test]
    fn any_pair_of_nodes_is_a_source_behind_a_resistance(sketch in network(), which in any::<prop::sample::Index>()) {
        let open = answer(sketch.circuit());
        prop_assume!(open.is_regular());
        let at = 1 + which.index(open.circuit.nodes.len() - 1);
        let name = open.circuit.nodes[at].name.clone();
        let number: usize = name[1..].parse().unwrap();
        let mut shorted = sketch.clone();
        shorted.held.push((number, 0, 0));
        let mut off = scaled(&sketch, 0);
        off.pushed.push((0, number, 1_000_000));
        let (shorted, off) = (answer(shorted.circuit()), answer(off.circuit()));
        let short = shorted.circuit.sources.iter().position(|it| it.name == format!("V{}", sketch.held.len())).unwrap();
        let current = shorted.solution.sources[short].as_ref().and_then(|it| it.current.as_ref()).and_then(|it| it.exact().cloned());
        if !shorted.is_regular() {
            return Ok(()); // a node that something holds already
        }
        if let (Some(current), Some(open), Some(resistance)) = (current, open.node(&name), off.node(&name)) {
            // The source at 0 V gives −(what the short would take).
            prop_assert_eq!(open, -(current * resistance));
        }
    }
}
