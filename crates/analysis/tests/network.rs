//! The circuit at direct current: groups, loops, islands.

extern crate ampersum_analysis as analysis;

mod wiring;

use analysis::network::Network;
use circuit::{Carrier, OpampId, SourceId};
use wiring::*;

/// `a b c` of each group, and the order in which its leaves are peeled.
fn groups(items: &[Item]) -> Vec<String> {
    let circuit = wired(items);
    let network = Network::of(&circuit);
    let names = |nodes: &[circuit::NodeId]| {
        nodes
            .iter()
            .map(|it| circuit.node_name(*it))
            .collect::<Vec<_>>()
            .join(" ")
    };
    network
        .groups
        .iter()
        .map(|it| format!("{}; {}", names(&it.members), names(&it.leaves_first)))
        .collect()
}

#[test]
fn sources_wires_inductors_and_outputs_join_nodes() {
    let items = [
        holds("cell", "a", "b", 9),
        resistor("R1", "a", "ground", 10),
        inductor("L1", "b", "c"),
        resistor("R2", "c", "sum", 10),
        resistor("R3", "sum", "out", 10),
        opamp("A1", "ground", "sum", "out"),
        holds("shift", "far", "out", 2),
        capacitor("C1", "far", "end"),
    ];
    assert_eq!(
        groups(&items),
        ["ground out far; far out", "a b c; c b", "sum; ", "end; "]
    );
}

#[test]
fn each_group_and_each_kept_edge_make_one_equation() {
    let circuit = wired(&[
        holds("v", "a", "ground", 1),
        wire("w", "a", "b"),
        opamp("A1", "a", "c", "c"),
        holds("x", "b", "c", 1),
    ]);
    let network = Network::of(&circuit);
    assert_eq!(
        network.edges.len() + network.groups.len(),
        circuit.nodes.len()
    );
    let [closing] = &network.loops[..] else {
        panic!("{:?}", network.loops)
    };
    assert_eq!(
        closing.edge.carrier,
        Carrier::Opamp(OpampId(0)),
        "sources come first, so that the output is the odd one"
    );
    assert_eq!(closing.path.first(), Some(&Carrier::Source(SourceId(1))));
    assert_eq!(closing.path.last(), Some(&Carrier::Source(SourceId(0))));
    assert_eq!(closing.nodes.len(), closing.path.len() + 1);
    assert_eq!(closing.nodes.last(), Some(&REFERENCE));
}

#[test]
fn capacitors_and_current_sources_do_not_conduct() {
    let circuit = wired(&[
        holds("v", "in", "ground", 1),
        capacitor("C1", "in", "p"),
        resistor("R1", "p", "q", 10),
        pushes("i", "ground", "q", 1),
        resistor("R2", "in", "s", 10),
        wire("short", "s", "s"),
    ]);
    let network = Network::of(&circuit);
    assert_eq!(network.island_of, [0, 0, 1, 1, 0]);
    assert_eq!(network.shorted.len(), 1);
}
