//! Nodes, elements, sources and op-amps: the answer, and where it comes from.

use analysis::solution::{Carried, Output, Solution};
use analysis::{Answer, Study};
use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceId, SourceKind,
};
use syntax::Dimension;
use teaching::{equation, feedback, names, notation};

use super::{Block, real};
use crate::View;
use crate::answers::{Answers, answers};

/// A node: its voltage, its equation, where it is joined.
pub(super) fn node(view: &View, index: usize, node: NodeId) -> Vec<Block> {
    let answers = answers(view, index);
    let circuit = answers.circuit;
    let name = circuit.node_name(node);
    if node == GROUND {
        return vec![
            Block::Headline("ground = 0 V".into()),
            Block::Words("The reference: every node voltage is counted from here.".into()),
        ];
    }
    let mut blocks = Vec::new();
    headline(&mut blocks, &answers, name, node);
    description(&mut blocks, &circuit.nodes[node.index()].description);
    blocks.extend(equations(&answers, node));
    blocks.extend(real::node(&answers, node));
    blocks.extend(real::shares(&answers, node));
    blocks.push(Block::Words(format!(
        "Joined: {}.",
        names::list(joined(circuit, node))
    )));
    blocks
}

/// Whatever carries a current.
pub(super) fn carrier(view: &View, index: usize, carrier: Carrier) -> Vec<Block> {
    let answers = answers(view, index);
    match carrier {
        Carrier::Element(id) => element(&answers, id),
        Carrier::Source(id) => source(&answers, id),
        Carrier::Opamp(id) => opamp(&answers, id),
    }
}

fn element(answers: &Answers, id: ElementId) -> Vec<Block> {
    let circuit = answers.circuit;
    let it = &circuit.elements[id.index()];
    let unit = names::element_dimension(it.kind);
    let value = match it.kind {
        ElementKind::Wire => "closed".into(),
        _ => notation::full(&Answer::from(&it.value), unit),
    };
    let mut blocks = vec![Block::Headline(format!("{} = {value}", it.name))];
    description(&mut blocks, &it.description);
    let mut lines = Vec::new();
    match answers.element(id) {
        Some(carried) => {
            lines.extend(carried_lines(circuit, &it.name, it.ends, carried));
            lines.extend(power(&carried.power(), rating(it)));
        }
        None => lines.extend(answers.silence(Dimension::VOLT, |solution| {
            Some(solution.elements.get(id.index())?.as_ref()?.voltage.clone())
        })),
    }
    blocks.push(Block::Lines(lines));
    doubt(&mut blocks, answers);
    blocks
}

fn source(answers: &Answers, id: SourceId) -> Vec<Block> {
    let circuit = answers.circuit;
    let it = &circuit.sources[id.index()];
    let drive = equation::drive(circuit, it);
    let (headline, ends) = match it.kind {
        SourceKind::Voltage {
            plus,
            minus: GROUND,
        } => (
            format!("{} = {drive}", circuit.node_name(plus)),
            [plus, GROUND],
        ),
        SourceKind::Voltage { plus, minus } => (
            format!(
                "{} − {} = {drive}",
                circuit.node_name(plus),
                circuit.node_name(minus)
            ),
            [plus, minus],
        ),
        SourceKind::Current { from, into } => {
            let [a, b] = [from, into].map(|it| circuit.node_name(it));
            (format!("{drive} from {a} into {b}"), [from, into])
        }
    };
    let mut blocks = vec![Block::Headline(format!("{}: {headline}", it.name))];
    description(&mut blocks, &it.description);
    if it.wave.is_some() {
        blocks.push(Block::Words(
            "It changes with time; this is its level in the steady state.".into(),
        ));
    }
    let mut lines = Vec::new();
    match answers.source(id) {
        Some(carried) => {
            match it.kind {
                SourceKind::Voltage { .. } => {
                    lines.extend(delivered(circuit, &it.name, ends, carried))
                }
                SourceKind::Current { .. } => lines.push(across(circuit, ends, carried)),
            }
            lines.extend(power(&carried.power(), None));
            lines.extend(real::seen(answers, id));
        }
        None => lines.extend(answers.silence(Dimension::AMPERE, |solution| {
            solution.sources.get(id.index())?.as_ref()?.current.clone()
        })),
    }
    blocks.push(Block::Lines(lines));
    doubt(&mut blocks, answers);
    blocks
}

fn opamp(answers: &Answers, id: OpampId) -> Vec<Block> {
    let (circuit, study) = (answers.circuit, answers.study);
    let it = &circuit.opamps[id.index()];
    let out = names::node(circuit, it.drives);
    let mut blocks = Vec::new();
    match answers.opamp(id) {
        Some(output) => {
            let ideal = answers.mark();
            let volts = notation::short(&output.voltage, Dimension::VOLT);
            blocks.push(Block::Headline(format!(
                "{}: output {volts}{ideal}",
                it.name
            )));
            description(&mut blocks, &it.description);
            let mut lines = output_lines(&it.name, &out, output);
            lines.extend(real::seen_at(answers, id));
            blocks.push(Block::Lines(lines));
        }
        None => {
            blocks.push(Block::Headline(it.name.clone()));
            description(&mut blocks, &it.description);
            let value = |solution: &Solution| {
                let output = solution.opamps.get(id.index())?.as_ref()?;
                Some(output.voltage.clone())
            };
            let silence = answers.silence(Dimension::VOLT, value);
            blocks.push(Block::Lines(silence.into_iter().collect()));
        }
    }
    if let Some(part) = it.part.and_then(|it| answers.parts.get(it.index())) {
        blocks.push(Block::Words(format!("Its part is `{}`.", part.name)));
    }
    blocks.extend(answers.stands(id).map(Block::Words));
    let switches = answers.switches(id);
    if !switches.is_empty() {
        blocks.push(Block::Lines(switches));
    }
    blocks.extend(loop_words(circuit, study, id));
    blocks.extend(equations(answers, it.drives));
    blocks.extend(real::node(answers, it.drives));
    doubt(&mut blocks, answers);
    blocks
}

fn output_lines(name: &str, out: &str, output: &Output) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(current) = &output.current {
        let amperes = notation::short(current, Dimension::AMPERE);
        lines.push(match amperes.strip_prefix('−') {
            Some(size) => format!("takes {size} in at {out}: `current({name})` = {amperes}"),
            None => format!("delivers {amperes} into {out}"),
        });
    }
    for (margin, above, below) in [
        (
            &output.margin_high,
            "below its high limit",
            "beyond its high limit",
        ),
        (
            &output.margin_low,
            "above its low limit",
            "beyond its low limit",
        ),
    ] {
        let Some(margin) = margin else { continue };
        let volts = notation::short(margin, Dimension::VOLT);
        lines.push(match volts.strip_prefix('−') {
            Some(size) => format!("{size} {below}"),
            None => format!("{volts} {above}"),
        });
    }
    if output.margin_high.is_none() {
        lines.push("no `supply` is given, so its output has no limit".into());
    }
    lines.extend(
        output
            .power()
            .as_ref()
            .map(|it| format!("heat {}", notation::short(it, Dimension::WATT))),
    );
    lines
}

/// The verdict on feedback, with the op-amps that it is about.
fn loop_words(circuit: &Circuit, study: &Study, id: OpampId) -> Option<Block> {
    let verdict = study.feedback_of(id)?;
    Some(Block::Words(format!(
        "Feedback: {}.",
        feedback::line(circuit, verdict, id)
    )))
}

fn headline(blocks: &mut Vec<Block>, answers: &Answers, name: &str, node: NodeId) {
    match answers.node(node) {
        Some(value) => {
            let volts = notation::short(value, Dimension::VOLT);
            let ideal = answers.mark();
            blocks.push(Block::Headline(format!("{name} = {volts}{ideal}")));
            let fraction = notation::fraction(value, Dimension::VOLT);
            blocks.extend(fraction.map(|it| Block::Words(format!("exactly {it}"))));
            doubt(blocks, answers);
        }
        None => {
            blocks.push(Block::Headline(name.to_string()));
            let value = |it: &Solution| it.nodes.get(node.index())?.clone();
            blocks.extend(answers.silence(Dimension::VOLT, value).map(Block::Words));
        }
    }
}

fn description(blocks: &mut Vec<Block>, description: &Option<String>) {
    blocks.extend(description.clone().map(Block::Words));
}

fn doubt(blocks: &mut Vec<Block>, answers: &Answers) {
    blocks.extend(
        answers
            .doubt
            .as_ref()
            .map(|it| Block::Words(it.why.clone())),
    );
}

/// The equations that concern a node, and why each has its form.
fn equations(answers: &Answers, node: NodeId) -> Vec<Block> {
    let explanation = answers.explanation();
    let own = explanation.at(node);
    own.flat_map(|it| {
        [
            Block::Equation(it.written.text.clone()),
            Block::Words(it.why.clone()),
        ]
    })
    .collect()
}

fn carried_lines(
    circuit: &Circuit,
    name: &str,
    ends: [NodeId; 2],
    carried: &Carried,
) -> Vec<String> {
    let mut lines = vec![across(circuit, ends, carried)];
    lines.extend(
        carried
            .current
            .as_ref()
            .map(|it| flow(circuit, name, ends, it)),
    );
    lines
}

fn across(circuit: &Circuit, [a, b]: [NodeId; 2], carried: &Carried) -> String {
    let volts = notation::short(&carried.voltage, Dimension::VOLT);
    let [a, b] = [a, b].map(|it| names::node(circuit, it));
    format!("{volts} across it, from {a} to {b}")
}

/// Which way a current flows, and what `current(…)` says of it.
fn flow(circuit: &Circuit, name: &str, [a, b]: [NodeId; 2], current: &Answer) -> String {
    let amperes = notation::short(current, Dimension::AMPERE);
    let [a, b] = [a, b].map(|it| names::node(circuit, it));
    match amperes.strip_prefix('−') {
        Some(size) => format!("{size} from {b} to {a}: `current({name})` = {amperes}"),
        None => format!("{amperes} from {a} to {b}"),
    }
}

fn delivered(
    circuit: &Circuit,
    name: &str,
    [plus, _]: [NodeId; 2],
    carried: &Carried,
) -> Option<String> {
    let amperes = notation::short(carried.current.as_ref()?, Dimension::AMPERE);
    let plus = names::node(circuit, plus);
    Some(match amperes.strip_prefix('−') {
        Some(size) => format!("takes {size} in at {plus}: `current({name})` = {amperes}"),
        None => format!("delivers {amperes} into {plus}"),
    })
}

fn power(power: &Option<Answer>, rating: Option<String>) -> Option<String> {
    let watts = notation::short(power.as_ref()?, Dimension::WATT);
    Some(match (watts.strip_prefix('−'), rating) {
        (Some(size), _) => format!("gives {size} to the circuit"),
        (None, Some(rating)) => format!("takes {watts}, rated {rating}"),
        (None, None) => format!("takes {watts}"),
    })
}

fn rating(element: &circuit::Element) -> Option<String> {
    let rating = element.rating.as_ref()?;
    (element.kind == ElementKind::Resistor).then(|| notation::number(rating, Dimension::WATT))
}

/// What touches a node, in the order of the circuit.
fn joined(circuit: &Circuit, node: NodeId) -> Vec<String> {
    let mut joined = Vec::new();
    let elements = circuit.elements.iter().filter(|it| it.ends.contains(&node));
    joined.extend(elements.map(|it| format!("`{}`", it.name)));
    let sources = (0..circuit.sources.len()).filter(|it| {
        names::carrier_ends(circuit, Carrier::Source(SourceId(*it as u32))).contains(&node)
    });
    joined.extend(sources.map(|it| format!("source `{}`", circuit.sources[it].name)));
    for it in &circuit.opamps {
        let pins = [
            (it.plus, "plus"),
            (it.minus, "minus"),
            (it.drives, "output"),
        ];
        joined.extend(
            pins.iter()
                .filter(|pin| pin.0 == node)
                .map(|pin| format!("{} of `{}`", pin.1, it.name)),
        );
    }
    if joined.is_empty() {
        joined.push("nothing".into());
    }
    joined
}
