//! What the text defines besides nodes and parts of circuits: values with names, parts, blocks, circuits.

use circuit::{LetId, PartId};
use syntax::{Dimension, Number};
use teaching::{explain, notation};

use super::Block;
use crate::View;

/// A `let`.
pub(super) fn named_value(view: &View, circuit: usize, id: LetId) -> Vec<Block> {
    let it = &view.book().circuits[circuit].lets[id.index()];
    let value = it
        .value
        .as_ref()
        .map(|it| notation::full(&analysis::Answer::from(&it.number), it.dimension));
    let mut blocks = vec![Block::Headline(match value {
        Some(value) => format!("{} = {value}", it.name),
        None => it.name.clone(),
    })];
    blocks.extend(it.description.clone().map(Block::Words));
    if it.value.is_none() {
        blocks.push(Block::Words("It could not be worked out.".into()));
    }
    blocks
}

/// A part: what is given of it.
pub(super) fn part(view: &View, id: PartId) -> Vec<Block> {
    let it = &view.book().parts[id.index()];
    let ships = view.book().ships(it.place.file);
    let kind = if ships { "class" } else { "part" };
    let mut blocks = vec![Block::Headline(format!("{kind} {}", it.name))];
    blocks.extend(it.description.clone().map(Block::Words));
    let mut lines = Vec::new();
    let mut one = |word: &str, value: &Option<Number>, unit| {
        lines.extend(
            value
                .as_ref()
                .map(|it| format!("`{word}` {}", notation::number(it, unit))),
        );
    };
    one("gain", &it.gain, Dimension::NONE);
    one("bandwidth", &it.bandwidth, Dimension::HERTZ);
    one("slew", &it.slew, Dimension::VOLT_PER_SECOND);
    one("input_resistance", &it.input_resistance, Dimension::OHM);
    one("output_resistance", &it.output_resistance, Dimension::OHM);
    one("rejection", &it.rejection, Dimension::NONE);
    one("offset", &it.offset, Dimension::VOLT);
    one("bias_current", &it.bias_current, Dimension::AMPERE);
    one("bias_offset", &it.bias_offset, Dimension::AMPERE);
    let mut pair = |word: &str, pair: &Option<[Number; 2]>, unit, between: [&str; 2]| {
        let Some([a, b]) = pair
            .as_ref()
            .map(|it| [&it[0], &it[1]].map(|it| notation::number(it, unit)))
        else {
            return;
        };
        lines.push(format!("`{word}` {}{a}{}{b}", between[0], between[1]));
    };
    pair(
        "headroom",
        &it.headroom,
        Dimension::VOLT,
        ["low ", ", high "],
    );
    pair("supply", &it.supply, Dimension::VOLT, ["", " to "]);
    pair(
        "current",
        &it.current,
        Dimension::AMPERE,
        ["source ", ", sink "],
    );
    pair("inputs", &it.inputs, Dimension::VOLT, ["low ", ", high "]);
    lines.extend(it.package.as_ref().map(|it| format!("`package` {it}")));
    blocks.push(Block::Lines(lines));
    blocks.push(Block::Words(match ships {
        true => "A generic class, no real part: `ampersum manual classes` has the source of each figure.".into(),
        false => "What is not given is ideal.".into(),
    }));
    blocks
}

/// A block: its head and its description.
pub(super) fn block(view: &View, index: usize) -> Vec<Block> {
    let it = &view.book().blocks[index];
    let mut blocks = vec![Block::Headline(format!("block {}", it.name))];
    let file = view.book().files.get(it.place.file.0 as usize);
    let head = file.and_then(|file| {
        file.tree
            .statements
            .iter()
            .find(|head| head.span.touches(it.place.span.start))
    });
    if let (Some(head), Some(file)) = (head, file) {
        blocks.extend(
            head.description
                .map(|it| Block::Words(described(it.of(&file.text)))),
        );
        blocks.push(Block::Equation(head.span.of(&file.text).to_string()));
    }
    blocks
}

/// A circuit: its title, and how many equations it has.
pub(super) fn circuit(view: &View, index: usize) -> Vec<Block> {
    let it = &view.book().circuits[index];
    let mut blocks = vec![Block::Headline(it.name.clone())];
    blocks.extend(it.title.clone().map(Block::Words));
    blocks.push(Block::Words(format!(
        "{}.",
        explain::count(&view.studies()[index].equations)
    )));
    blocks
}

/// The words of `##` lines.
pub(super) fn described(lines: &str) -> String {
    let words = lines
        .lines()
        .map(|it| it.trim().trim_start_matches('#').trim());
    words.collect::<Vec<_>>().join(" ")
}
