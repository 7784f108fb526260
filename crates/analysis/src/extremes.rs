//! How far node voltages can go while sources change with time: the corners of what the waves can be at one instant.

use circuit::{Circuit, ElementKind, GROUND, NodeId, Part, Source, SourceKind, Wave};
use syntax::Number;

use crate::Answer;
use crate::solution::{Carried, Solution};
use crate::study::Study;

/// So many waves are taken together, each at its highest and at its lowest.
const MOST_WAVES: usize = 6;

/// Node voltages at the corners of all waves.
#[derive(Clone, PartialEq, Debug)]
pub struct Extremes {
    /// One set of node voltages a corner; `None` where a node's voltage is not known.
    pub corners: Vec<Vec<Option<Answer>>>,
    /// For each node whether a periodic wave moves it.
    pub moves: Vec<bool>,
}

/// The corners; `None` where no source is a periodic wave, or too many are.
///
/// Where the circuit stores no energy and stays linear, every node is known at every corner. Else only nodes are that
/// independent sources hold.
pub fn extremes(
    circuit: &Circuit,
    parts: &[Part],
    study: &Study,
    linear: bool,
) -> Option<Extremes> {
    let waves: Vec<(usize, [Number; 2])> = circuit
        .sources
        .iter()
        .enumerate()
        .filter_map(|(index, it)| Some((index, range(it)?)))
        .collect();
    if waves.is_empty() || waves.len() > MOST_WAVES {
        return None;
    }
    let corner = |corner: usize| {
        let mut drives: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
        for (place, (index, range)) in waves.iter().enumerate() {
            drives[*index] = &range[corner >> place & 1];
        }
        drives
    };
    let drives: Vec<Vec<&Number>> = (0..1 << waves.len()).map(corner).collect();
    let corners = linear
        .then(|| solved(circuit, parts, study, &drives))
        .flatten()
        .unwrap_or_else(|| drives.iter().map(|it| held(circuit, it)).collect());
    let moves = (0..circuit.nodes.len()).map(|node| {
        let mut all = corners.iter().map(|it| &it[node]);
        let first = all.next();
        all.any(|it| Some(it) != first)
    });
    let moves = moves.collect();
    Some(Extremes { corners, moves })
}

/// From the lowest to the highest level of a periodic wave.
fn range(source: &Source) -> Option<[Number; 2]> {
    match source.wave.as_ref()? {
        Wave::Periodic { size, offset, .. } if !size.is_zero() => {
            Some([offset.sub(size), offset.add(size)])
        }
        _ => None,
    }
}

/// All nodes at each corner, of a circuit that follows its sources at once.
fn solved(
    circuit: &Circuit,
    parts: &[Part],
    study: &Study,
    drives: &[Vec<&Number>],
) -> Option<Vec<Vec<Option<Answer>>>> {
    let stores = |kind: ElementKind| matches!(kind, ElementKind::Capacitor | ElementKind::Inductor);
    if circuit.elements.iter().any(|it| stores(it.kind)) {
        return None;
    }
    let solved = study.solve_for(circuit, parts, drives);
    let stays = |it: &Solution| {
        let outputs = it.opamps.iter().flatten();
        let mut margins = outputs.flat_map(|it| [&it.margin_high, &it.margin_low]);
        !margins.any(|it| {
            it.as_ref()
                .is_some_and(|it| it.sign().is_some_and(std::cmp::Ordering::is_lt))
        })
    };
    let nodes = |it: Solution| it.nodes;
    solved
        .iter()
        .all(stays)
        .then(|| solved.into_iter().map(nodes).collect())
}

/// The nodes that independent voltage sources hold against ground, alone or in a row; whatever else is wrong with a circuit,
/// these voltages are there.
pub fn held(circuit: &Circuit, drives: &[&Number]) -> Vec<Option<Answer>> {
    let mut beside: Vec<Vec<(NodeId, Answer)>> = vec![Vec::new(); circuit.nodes.len()];
    for (source, drive) in circuit.sources.iter().zip(drives) {
        if let SourceKind::Voltage { plus, minus } = source.kind
            && source.controls.is_empty()
        {
            let drive = Answer::from(*drive);
            beside[plus.index()].push((minus, -&drive));
            beside[minus.index()].push((plus, drive));
        }
    }
    let mut volts = vec![None; circuit.nodes.len()];
    volts[GROUND.index()] = Some(Answer::zero());
    let mut open = vec![(GROUND, Answer::zero())];
    while let Some((node, level)) = open.pop() {
        for (next, rise) in &beside[node.index()] {
            if volts[next.index()].is_none() {
                let level = &level + rise;
                volts[next.index()] = Some(level.clone());
                open.push((*next, level));
            }
        }
    }
    volts
}

/// What independent sources alone decide: the nodes that they hold, and the resistors and capacitors between these. `None` where
/// they contradict each other.
pub fn held_answer(circuit: &Circuit) -> Option<Solution> {
    let constants: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
    let nodes = held(circuit, &constants);
    let across = |[a, b]: [NodeId; 2]| {
        let [a, b] = [a, b].map(|it| nodes[it.index()].as_ref());
        Some(a? - b?)
    };
    let agrees = |it: &Source| match it.kind {
        SourceKind::Voltage { plus, minus } if it.controls.is_empty() => {
            across([plus, minus]).is_none_or(|volts| volts == Answer::from(&it.constant))
        }
        _ => true,
    };
    if !circuit.sources.iter().all(agrees) {
        return None;
    }
    let elements = circuit.elements.iter().map(|it| {
        let volts = across(it.ends)?;
        let current = match it.kind {
            ElementKind::Resistor => volts.over(&Answer::from(&it.value))?,
            ElementKind::Capacitor => Answer::zero(),
            ElementKind::Inductor | ElementKind::Wire => return None,
        };
        Some(Carried::taking(volts, Some(current)))
    });
    Some(Solution {
        elements: elements.collect(),
        nodes: nodes.clone(),
        ..Solution::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> (Vec<String>, Option<Extremes>) {
        let book = circuit::build("a.amp", text.into(), &mut |_| None);
        assert!(book.faults.is_empty(), "{:?}", book.faults);
        let circuit = &book.circuits[0];
        let study = Study::new(circuit, &book.parts);
        let names = circuit.nodes.iter().map(|it| it.name.clone()).collect();
        (names, extremes(circuit, &book.parts, &study, true))
    }

    fn highest(text: &str, node: &str) -> Option<f64> {
        let (names, found) = of(text);
        let at = names.iter().position(|it| it == node).expect("a node");
        let corners = found.expect("waves").corners;
        let levels = corners
            .iter()
            .filter_map(|it| Some(it[at].as_ref()?.to_f64()));
        levels.reduce(f64::max)
    }

    #[test]
    fn waves_add_up_at_their_corners() {
        let mixer = "source a: x = sine 2 V at 50 Hz offset 1 V\nsource b: y = triangle 3 V at 70 Hz\nx -- R1 10k -- m -- R2 10k -- out\ny -- R3 10k -- m\nopamp A1: plus ground, minus m, drives out\n";
        assert_eq!(highest(mixer, "out"), Some(4.0));
        assert_eq!(highest(mixer, "x"), Some(3.0));
        let (names, found) = of(mixer);
        let moves = found.expect("waves").moves;
        let fixed: Vec<&String> = names
            .iter()
            .zip(&moves)
            .filter(|it| !it.1)
            .map(|it| it.0)
            .collect();
        assert_eq!(fixed, ["ground", "m"]);
        assert_eq!(of("source a: x = 1 V\nx -- R1 1k -- ground\n").1, None);
    }

    #[test]
    fn with_storage_or_beyond_a_rail_only_what_sources_hold_is_known() {
        let filter = "source a: x = sine 2 V at 50 Hz\nsource b: y - x = 5 V\nx -- R1 10k -- m -- C1 1 uF -- ground\ny -- R2 1k -- ground\n";
        assert_eq!(highest(filter, "m"), None);
        assert_eq!(highest(filter, "y"), Some(7.0));
        let beyond = "supply +5 V and -5 V\nsource a: x = sine 2 V at 50 Hz\nx -- R1 10k -- m -- R2 40k -- out\nopamp A1: plus ground, minus m, drives out\n";
        assert_eq!(highest(beyond, "out"), None);
        assert_eq!(highest(beyond, "x"), Some(2.0));
    }
}
