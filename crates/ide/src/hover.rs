//! What an editor shows when the pointer rests on a word: first the answer, then what it rests on.

mod circuit_parts;
mod definitions;
mod devices;
mod language;
mod real;
#[cfg(test)]
mod tests;

use syntax::{FileId, Span};

use crate::View;
use crate::at::{At, Thing, What, at};
use crate::explanation::wrapped;

/// Of a line of plain text, in characters; equations keep theirs.
const WIDTH: usize = 76;

/// What is shown.
#[derive(Clone, PartialEq, Debug)]
pub struct Hover {
    /// What it is about.
    pub span: Span,
    /// From top to bottom.
    pub blocks: Vec<Block>,
}

/// One block of a hover, with names in backticks.
#[derive(Clone, PartialEq, Debug)]
pub enum Block {
    /// The answer, in bold.
    Headline(String),
    /// A paragraph.
    Words(String),
    /// An equation, as it stands.
    Equation(String),
    /// Short lines that belong together.
    Lines(Vec<String>),
}

/// What is to be said about the word at `offset`.
pub fn hover(view: &View, offset: u32) -> Option<Hover> {
    if let Some(found) = device_before_a_point(view, offset) {
        return Some(found);
    }
    let Some(At { span, what }) = at(view, offset) else {
        let said = view.names().at(offset)?;
        let span = said.span;
        let blocks = devices::device(view, span).or_else(|| devices::other(view, said))?;
        return Some(Hover { span, blocks });
    };
    let blocks = match what {
        What::Things(things) => about(view, &things),
        What::Word(role) => language::word(view, span, role)?,
        What::Number => language::number(view, span)?,
        What::Used(file) => used(view, file)?,
    };
    Some(Hover { span, blocks })
}

/// Of `F1.mid` with the caret in `F1`: the device, as where it is made.
fn device_before_a_point(view: &View, offset: u32) -> Option<Hover> {
    let names = view.names();
    let said = names.at(offset)?;
    let key = &names.things[said.thing].key;
    if !view.text()[said.span.end as usize..].starts_with('.') {
        return None;
    }
    let (0, made) = names.first(key)? else {
        return None;
    };
    Some(Hover {
        span: said.span,
        blocks: devices::device(view, made)?,
    })
}

/// A rule of the checker.
pub(crate) fn rule(name: &str) -> Option<Vec<Block>> {
    language::rule(name)
}

/// The part of this name that the text sees.
pub(crate) fn named_part(view: &View, name: &str) -> Option<Vec<Block>> {
    let index = view.book().parts.iter().position(|it| it.name == name)?;
    Some(definitions::part(view, circuit::PartId(index as u32)))
}

/// The block of this name that the text sees.
pub(crate) fn named_block(view: &View, name: &str) -> Option<Vec<Block>> {
    let index = view.book().blocks.iter().position(|it| it.name == name)?;
    Some(definitions::block(view, index))
}

/// A name inside a block means another thing in each use of the block; so many are shown.
const MOST_USES: usize = 4;

fn about(view: &View, things: &[Thing]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for thing in things.iter().take(MOST_USES) {
        blocks.extend(match *thing {
            Thing::Node(circuit, node) => circuit_parts::node(view, circuit, node),
            Thing::Carrier(circuit, carrier) => circuit_parts::carrier(view, circuit, carrier),
            Thing::Let(circuit, id) => definitions::named_value(view, circuit, id),
            Thing::Part(part) => definitions::part(view, part),
            Thing::Block(block) => definitions::block(view, block),
            Thing::Circuit(circuit) => definitions::circuit(view, circuit),
        });
    }
    if let more @ 1.. = things.len().saturating_sub(MOST_USES) {
        blocks.push(Block::Words(format!("and {more} more")));
    }
    blocks
}

fn used(view: &View, file: FileId) -> Option<Vec<Block>> {
    let book = view.book();
    let (path, _) = view.file(file)?;
    let mut lines = Vec::new();
    lines.extend(
        book.parts
            .iter()
            .filter(|it| it.place.file == file)
            .map(|it| format!("part `{}`", it.name)),
    );
    lines.extend(
        book.blocks
            .iter()
            .filter(|it| it.place.file == file)
            .map(|it| format!("block `{}`", it.name)),
    );
    Some(vec![Block::Headline(path.to_string()), Block::Lines(lines)])
}

impl Hover {
    /// For clients that show Markdown: no tables, no formulas, since many show those as they stand.
    pub fn markdown(&self) -> String {
        let blocks = self.blocks.iter().map(|block| match block {
            Block::Headline(words) => format!("**{}**", words.replace('`', "")),
            Block::Words(words) => words.clone(),
            Block::Equation(text) => format!("```\n{text}\n```"),
            Block::Lines(lines) => lines
                .iter()
                .map(|it| format!("- {it}"))
                .collect::<Vec<_>>()
                .join("\n"),
        });
        join(blocks, "\n\n")
    }

    /// For clients that show text as it stands. They are terminals, break lines anywhere, and drop the first ones when there
    /// are more than they counted; so lines are broken here.
    pub fn plain(&self) -> String {
        let broken = |words: &String| wrapped(&words.replace('`', ""), WIDTH).join("\n");
        let blocks = self.blocks.iter().map(|block| match block {
            Block::Headline(words) | Block::Words(words) => broken(words),
            Block::Equation(text) => format!("  {text}"),
            Block::Lines(lines) => lines.iter().map(broken).collect::<Vec<_>>().join("\n"),
        });
        join(blocks, "\n")
    }
}

fn join(blocks: impl Iterator<Item = String>, between: &str) -> String {
    blocks
        .filter(|it| !it.is_empty())
        .collect::<Vec<_>>()
        .join(between)
}
