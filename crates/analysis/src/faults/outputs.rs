//! Steps 4 to 6: outputs that do not move their own inputs, rules that repeat each other, feedback that cancels.

use std::borrow::Cow;
use std::collections::{BTreeSet, HashMap, HashSet};

use circuit::{Carrier, ElementId, ElementKind, NodeId, OpampId, SourceId};
use syntax::Ratio;

use super::islands::loose;
use super::loops::ends;
use super::{FaultKind, Search};
use crate::feedback::{
    BUDGET, Field, Map, Moment, Rules, Sum, add, eliminate, moved, null_vector, reached,
    strongly_connected,
};
use crate::linear::modular::Modular;
use crate::network::{Joined, Network};

/// Steps 4, 5 and 6.
pub(super) fn without_feedback(search: &mut Search) {
    let circuit = search.circuit;
    let maps = search.maps;
    let rest = Graph::of(search, search.network, Moment::Rest, &maps.pattern);
    let quick = maps.quick.as_ref();
    let ever = quick.map(|it| Graph::of(search, &it.network, Moment::Ever, &it.ever));
    let idle_ever = ever.as_ref().unwrap_or(&rest).idle();
    let idle_at_rest = rest.idle();

    let tangled = tangled(search, &rest, ever.as_ref().unwrap_or(&rest));

    open(search, ever.as_ref().unwrap_or(&rest), &idle_ever, &tangled);
    if let Some(ever) = &ever {
        only_by_storage(search, ever, &idle_ever, &idle_at_rest, &tangled);
    }
    // What stays: op-amps that reach themselves at rest and no fault accounts for.
    let sound = |it: usize| !idle_at_rest[it] && !search.told_opamps[it] && !tangled[it];
    let sound: Vec<bool> = (0..circuit.opamps.len()).map(sound).collect();
    repeating_or_cancelling(search, &rest, &sound);
    let ruling: Vec<bool> = sound
        .iter()
        .zip(&tangled)
        .map(|(sound, tangled)| *sound || *tangled)
        .collect();
    singular(search, &ruling);
}

/// Op-amps whose inputs controlled sources leave adrift as long as V+ = V− does not hold them, and all that they move: what
/// outputs move tells nothing there, and the rank of all equations together decides.
fn tangled(search: &Search, rest: &Graph, widest: &Graph) -> Vec<bool> {
    let circuit = search.circuit;
    if circuit.sources.iter().all(|it| it.controls.is_empty()) {
        return vec![false; circuit.opamps.len()];
    }
    let exact = &search.maps.rest;
    let loose = |index: usize| {
        let opamp = &circuit.opamps[index];
        let pins = [opamp.plus, opamp.minus];
        let adrift = |graph: &Graph| graph.map.difference(opamp).is_none();
        let unknown =
            adrift(rest) || adrift(widest) || exact.inputs[index].iter().any(Option::is_none);
        unknown && !search.told_opamps[index] && !pins.iter().any(|it| search.adrift[it.index()])
    };
    let loose: Vec<usize> = (0..circuit.opamps.len()).filter(|it| loose(*it)).collect();
    reached(&widest.towards, loose)
}

/// Which inputs each output moves, whatever the values.
struct Graph<'a> {
    map: Cow<'a, Map<Modular>>,
    towards: Vec<Vec<usize>>,
}

impl<'a> Graph<'a> {
    /// An output that a loop at rest left out counts as moving what its loop's edges move; where there is none, `map` tells.
    fn of(
        search: &Search<'a>,
        network: &Network,
        moment: Moment,
        map: &'a Map<Modular>,
    ) -> Graph<'a> {
        let circuit = search.circuit;
        let count = circuit.opamps.len();
        let mut also = Vec::new();
        let mut stands_for: HashMap<Carrier, Vec<usize>> = HashMap::new();
        for closed in &search.network.loops {
            if let Carrier::Opamp(output) = closed.edge.carrier {
                for it in &closed.path {
                    stands_for.entry(*it).or_default().push(output.index());
                }
            }
        }
        for (index, edge) in network.edges.iter().enumerate() {
            let stands = stands_for.contains_key(&edge.carrier);
            if stands && !matches!(edge.carrier, Carrier::Opamp(_)) {
                also.push(index);
            }
        }
        let map = match also.is_empty() {
            true => Cow::Borrowed(map),
            false => {
                let map = moved::<Modular>(circuit, network, moment, &also, u64::MAX);
                Cow::Owned(map.expect("without a limit"))
            }
        };
        let mut towards = vec![Vec::new(); count];
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            for (column, _) in map.difference(opamp).into_iter().flatten() {
                let carrier = match column.checked_sub(count) {
                    None => Carrier::Opamp(OpampId(column as u32)),
                    Some(nth) => network.edges[also[nth]].carrier,
                };
                if column < count {
                    towards[column].push(index);
                }
                for output in stands_for.get(&carrier).into_iter().flatten() {
                    towards[*output].push(index);
                }
            }
        }
        Graph { map, towards }
    }

    /// Op-amps that do not reach themselves.
    fn idle(&self) -> Vec<bool> {
        let mut idle = vec![false; self.towards.len()];
        for block in strongly_connected(&self.towards) {
            if let [alone] = block[..] {
                idle[alone] = !self.towards[alone].contains(&alone);
            }
        }
        idle
    }
}

/// Step 4: no way back at any frequency. An op-amp behind one that is told already, or behind another of these, is passed
/// over: its way back may run through that one.
fn open(search: &mut Search, graph: &Graph, idle: &[bool], tangled: &[bool]) {
    let circuit = search.circuit;
    // A comparator is told to have no feedback, and hides none behind it.
    let told = |it: &usize| search.told_opamps[*it] && !circuit.opamps[*it].comparator;
    let told = (0..idle.len()).filter(told);
    let behind = (0..idle.len())
        .filter(|it| idle[*it] && !circuit.opamps[*it].comparator)
        .flat_map(|it| graph.towards[it].iter().copied());
    let passed_over = reached(&graph.towards, told.chain(behind).collect::<Vec<_>>());
    let mut loose_around: HashMap<NodeId, Vec<NodeId>> = HashMap::new();
    for (node, _) in loose(circuit) {
        if let Some(region) = search.regions.around(search.network, node) {
            loose_around.entry(region).or_default().push(node);
        }
    }
    let may_lack = |it: &usize| idle[*it] && !tangled[*it] && !circuit.opamps[*it].comparator;
    for index in (0..idle.len()).filter(may_lack) {
        if passed_over[index] {
            search.told_opamps[index] = true;
            continue;
        }
        search.told_opamps[index] = true;
        let opamp = &circuit.opamps[index];
        // Perhaps the way back is what hangs loose there: then one finding names both.
        let regions = [opamp.plus, opamp.minus].map(|it| search.regions.around(search.network, it));
        let once = if regions[0] == regions[1] { 1 } else { 2 };
        let mut nodes: Vec<NodeId> = Vec::new();
        for region in regions[..once].iter().flatten() {
            for node in loose_around.get(region).into_iter().flatten() {
                search.told_nodes[node.index()] = true;
                if nodes.len() < MOST_NAMED {
                    nodes.push(*node);
                }
            }
        }
        nodes.sort_unstable();
        nodes.push(opamp.drives);
        let moved = reached(&graph.towards, [index]);
        let outputs = circuit
            .opamps
            .iter()
            .zip(moved)
            .filter(|it| it.1)
            .map(|it| it.0.drives);
        let concerned: Vec<NodeId> = outputs.chain([opamp.plus, opamp.minus]).collect();
        if !search.regions.may_lack(&concerned) {
            let carrier = Carrier::Opamp(OpampId(index as u32));
            search.tell(FaultKind::NoFeedback, nodes, vec![carrier], None);
        }
    }
}

/// How many loose ends one finding names.
const MOST_NAMED: usize = 64;

/// Step 4: a way back through capacitors (or where inductors are no wires) alone; one fault for those that move each other.
fn only_by_storage(
    search: &mut Search,
    ever: &Graph,
    idle_ever: &[bool],
    idle_at_rest: &[bool],
    tangled: &[bool],
) {
    let circuit = search.circuit;
    let told = |it: &usize| search.told_opamps[*it] && !circuit.opamps[*it].comparator;
    let told = (0..idle_ever.len()).filter(told);
    let passed_over = reached(&ever.towards, told.collect::<Vec<_>>());
    let leading_back = leading_back(search, &ever.map);
    let nodes = (0..circuit.nodes.len() as u32).map(NodeId);
    let told_around: HashSet<NodeId> = nodes
        .filter(|it| search.told_nodes[it.index()])
        .filter_map(|it| search.regions.around(search.network, it))
        .collect();
    for block in strongly_connected(&ever.towards) {
        let here: Vec<usize> = block
            .into_iter()
            .filter(|it| idle_at_rest[*it] && !idle_ever[*it] && !tangled[*it])
            .filter(|it| !circuit.opamps[*it].comparator)
            .collect();
        let told = here.iter().any(|it| passed_over[*it]);
        here.iter().for_each(|it| search.told_opamps[*it] = true);
        let opamps: Vec<OpampId> = here.iter().map(|it| OpampId(*it as u32)).collect();
        if here.is_empty() || told || search.regions.may_lack_feedback(circuit, &opamps) {
            continue;
        }
        let pins: Vec<NodeId> = here
            .iter()
            .flat_map(|it| [circuit.opamps[*it].plus, circuit.opamps[*it].minus])
            .collect();
        let around = |node: NodeId| search.regions.around(search.network, node);
        let near: HashSet<NodeId> = pins.into_iter().filter_map(around).collect();
        if near.iter().any(|it| told_around.contains(it)) {
            continue;
        }
        let back = near.iter().filter_map(|it| leading_back.get(it));
        let capacitors: BTreeSet<ElementId> = back.flatten().copied().collect();
        if capacitors.iter().any(|it| search.starts(*it)) {
            continue;
        }
        let nodes = here.iter().map(|it| circuit.opamps[*it].drives).collect();
        let carriers = opamps
            .into_iter()
            .map(Carrier::Opamp)
            .chain(capacitors.into_iter().map(Carrier::Element));
        search.tell(FaultKind::NoneAtDc, nodes, carriers.collect(), None);
    }
}

/// For each region the capacitors there between nodes that direct current does not join, without those to nodes that stand
/// still.
fn leading_back(search: &Search, ever: &Map<Modular>) -> HashMap<NodeId, Vec<ElementId>> {
    let (circuit, network) = (search.circuit, search.network);
    let still =
        |node: NodeId| network.is_held(node) && ever.node(node).is_some_and(|it| it.is_empty());
    let mut leading: HashMap<NodeId, Vec<ElementId>> = HashMap::new();
    for (index, element) in circuit.elements.iter().enumerate() {
        if element.kind != ElementKind::Capacitor || element.ends.iter().any(|end| still(*end)) {
            continue;
        }
        let around = element.ends.map(|end| search.regions.around(network, end));
        if let [Some(region), _] | [None, Some(region)] = around {
            let all = leading.entry(region).or_default();
            all.push(ElementId(index as u32));
        }
    }
    leading
}

/// Steps 5 and 6 for each block of op-amps that move each other: whatever the values, then with the values as they are.
fn repeating_or_cancelling(search: &mut Search, graph: &Graph, sound: &[bool]) {
    let circuit = search.circuit;
    let keep = |from: usize| -> Vec<usize> {
        graph.towards[from]
            .iter()
            .copied()
            .filter(|it| sound[*it] && sound[from])
            .collect()
    };
    let towards: Vec<Vec<usize>> = (0..sound.len()).map(keep).collect();
    // For each op-amp the first of its block, and its place there.
    let mut place_in = vec![(usize::MAX, 0); sound.len()];
    for block in strongly_connected(&towards)
        .into_iter()
        .filter(|it| sound[it[0]])
    {
        let opamps: Vec<OpampId> = block.iter().map(|it| OpampId(*it as u32)).collect();
        block
            .iter()
            .enumerate()
            .for_each(|(at, it)| place_in[*it] = (block[0], at));
        let place = |column: usize| {
            // Columns behind the op-amps are edges.
            let (first, at) = *place_in.get(column)?;
            (first == block[0]).then_some(at)
        };
        let pattern: Vec<Sum<Modular>> = block
            .iter()
            .map(|it| {
                let sum = graph
                    .map
                    .difference(&circuit.opamps[*it])
                    .unwrap_or_default();
                sum.into_iter()
                    .filter_map(|(column, share)| Some((place(column)?, share)))
                    .collect()
            })
            .collect();
        let named = |support: Vec<bool>| {
            opamps
                .iter()
                .zip(support)
                .filter(|it| it.1)
                .map(|it| *it.0)
                .collect::<Vec<_>>()
        };
        let outputs = |of: &[OpampId]| {
            of.iter()
                .map(|it| circuit.opamps[it.index()].drives)
                .collect::<Vec<_>>()
        };
        let one: Modular = Modular::ONE;
        let support = |it: Vec<Modular>| it.iter().map(|it| !it.is_zero()).collect::<Vec<_>>();
        if let Some(loose) = null_vector(block.len(), pattern.clone(), one) {
            // Not only structure in this block: its own way back was cut where a fault before took an op-amp out.
            let cut = (0..sound.len()).any(|it| {
                search.told_opamps[it] && graph.towards[it].iter().any(|to| place(*to).is_some())
            });
            let repeated = null_vector(block.len(), transposed(&pattern), one)
                .map(support)
                .map(named);
            block.iter().for_each(|it| search.told_opamps[*it] = true);
            if !cut && !search.regions.may_lack_feedback(circuit, &opamps) {
                let carriers = repeated
                    .unwrap_or_default()
                    .into_iter()
                    .map(Carrier::Opamp)
                    .collect();
                let nodes = outputs(&named(support(loose)));
                search.tell(FaultKind::RulesRepeat, nodes, carriers, None);
            }
            continue;
        }
        if search.maps.rest.approximate {
            continue;
        }
        let rows = search.maps.rest.block(&block);
        if let Some(loose) = null_vector(block.len(), rows, Ratio::ONE) {
            block.iter().for_each(|it| search.told_opamps[*it] = true);
            if !search.regions.may_lack_feedback(circuit, &opamps) {
                let cancelling = named(loose.iter().map(|it| !it.is_zero()).collect());
                let nodes = outputs(&cancelling);
                let carriers = cancelling.into_iter().map(Carrier::Opamp).collect();
                search.tell(FaultKind::CancelsAtTheseValues, nodes, carriers, None);
            }
        }
    }
}

fn transposed(rows: &[Sum<Modular>]) -> Vec<Sum<Modular>> {
    let mut columns = vec![Vec::new(); rows.len()];
    for (index, row) in rows.iter().enumerate() {
        row.iter()
            .for_each(|(column, share)| columns[*column].push((index, *share)));
    }
    columns
}

/// Step 6: controlled sources that leave nodes adrift at these values. Only the rules of the `ruling` op-amps that no fault
/// accounts for hold; other outputs stand still.
fn singular(search: &mut Search, ruling: &[bool]) {
    let circuit = search.circuit;
    if circuit.sources.iter().all(|it| it.controls.is_empty()) {
        return;
    }
    let Some(map) = moved::<Ratio>(circuit, search.network, Moment::Rest, &[], BUDGET) else {
        return;
    };
    if map.adrift.iter().all(|it| search.adrift[it.index()]) {
        return;
    }
    // The passive circuit alone does not fix them; with the op-amps' rules it might.
    let count = circuit.nodes.len();
    let (pinned, rules) = Rules::of::<Ratio>(circuit, search.network, Moment::Rest, &[]);
    let mut rows: Vec<Sum<Ratio>> = Vec::new();
    let row = |terms: &[(NodeId, Ratio)], columns: &[(usize, Ratio)]| {
        let mut row: Sum<Ratio> = Vec::new();
        terms
            .iter()
            .for_each(|(node, factor)| add(&mut row, node.index(), factor));
        columns
            .iter()
            .for_each(|(column, factor)| add(&mut row, count + column, factor));
        row
    };
    for (index, sum) in pinned.iter().enumerate() {
        if let Some(sum) = sum {
            let columns: Vec<_> = sum
                .iter()
                .map(|(column, share)| (*column, -share.clone()))
                .collect();
            rows.push(row(&[(NodeId(index as u32), Ratio::ONE)], &columns));
        } else if search.adrift[index] {
            rows.push(row(&[(NodeId(index as u32), Ratio::ONE)], &[]));
        }
    }
    rows.extend(rules.iter().map(|it| row(&it.terms, &it.columns)));
    for (index, opamp) in circuit.opamps.iter().enumerate() {
        rows.push(match ruling[index] && !search.told_opamps[index] {
            true => row(
                &[(opamp.plus, Ratio::ONE), (opamp.minus, Ratio::NEG_ONE)],
                &[],
            ),
            false => row(&[], &[(index, Ratio::ONE)]),
        });
    }
    let unknowns = count + circuit.opamps.len();
    let Some(found) = eliminate(unknowns, 0, rows.clone(), BUDGET) else {
        return;
    };
    // What stays loose, taken apart into what hangs together.
    let loose = |it: usize| found.values[it].is_none();
    let mut joined = Joined::new(unknowns);
    for row in &rows {
        let mut loose = row.iter().map(|it| it.0).filter(|it| loose(*it));
        if let Some(first) = loose.next() {
            for it in loose {
                joined.join(NodeId(first as u32), NodeId(it as u32));
            }
        }
    }
    let mut parts: Vec<(NodeId, Vec<usize>)> = Vec::new();
    for it in (0..unknowns).filter(|it| loose(*it)) {
        let root = joined.root(NodeId(it as u32));
        match parts.iter_mut().find(|part| part.0 == root) {
            Some(part) => part.1.push(it),
            None => parts.push((root, vec![it])),
        }
    }
    for (_, part) in parts {
        let (nodes, outputs): (Vec<usize>, Vec<usize>) =
            part.into_iter().partition(|it| *it < count);
        let nodes: Vec<NodeId> = nodes.into_iter().map(|it| NodeId(it as u32)).collect();
        let opamps = outputs
            .into_iter()
            .map(|it| Carrier::Opamp(OpampId((it - count) as u32)));
        let opamps: Vec<Carrier> = opamps.collect();
        if search.regions.may_lack(&nodes) {
            continue;
        }
        let touches = |it: &SourceId| {
            let source = &circuit.sources[it.index()];
            !source.controls.is_empty() && ends(source).iter().any(|end| nodes.contains(end))
        };
        match opamps.is_empty() {
            true => {
                let sources = (0..circuit.sources.len() as u32).map(SourceId);
                let carriers = sources.filter(touches).map(Carrier::Source).collect();
                search.tell(FaultKind::Singular, nodes, carriers, None);
            }
            false => search.tell(FaultKind::CancelsAtTheseValues, nodes, opamps, None),
        }
    }
}
