//! What may stand at the caret, by its place in the grammar: most used first, nodes nearest first.

mod grammar;
pub(crate) mod line;
mod stock;
#[cfg(test)]
mod tests;

use syntax::Span;

use crate::hover::{self, Block, Hover};
use crate::{Access, View};
use line::Line;

/// What may be written at the caret.
#[derive(Clone, PartialEq, Debug)]
pub struct Completion {
    /// Best first.
    pub items: Vec<Item>,
    /// There are more: another letter may bring up others.
    pub more: bool,
}

/// One thing that may be written.
#[derive(Clone, PartialEq, Debug)]
pub struct Item {
    /// As a menu shows it.
    pub label: String,
    /// What it is.
    pub kind: ItemKind,
    /// A few words beside it.
    pub detail: String,
    /// What is written.
    pub text: String,
    /// The same with places to fill in, `${1:node}`; only where that helps.
    pub snippet: Option<String>,
    /// What it takes the place of as far as the caret, and beyond.
    pub insert: Span,
    /// The same up to the end of the word at the caret.
    pub replace: Span,
    /// What is to be said about it.
    about: About,
}

/// What an item is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ItemKind {
    /// A word or a sign of the language.
    Word,
    /// A node.
    Node,
    /// An element.
    Element,
    /// A source.
    Source,
    /// An op-amp.
    Opamp,
    /// Another device.
    Device,
    /// A named value.
    Let,
    /// A part.
    Part,
    /// A block.
    Block,
    /// A circuit.
    Circuit,
    /// A unit.
    Unit,
    /// A value.
    Value,
    /// A function.
    Function,
    /// A rule.
    Rule,
    /// A file.
    File,
}

/// Where an item's description comes from.
#[derive(Clone, PartialEq, Debug)]
enum About {
    Nothing,
    /// A word of the language: its meaning.
    Meaning(&'static str),
    Rule(String),
    /// What has its name first at this place of the text.
    Place(u32),
    Part(String),
    Block(String),
}

/// A menu with more items helps nobody.
const MOST_ITEMS: usize = 500;

/// What may be written at `offset`; `None` where nothing can be said, as in a comment.
pub fn completion(view: &View, offset: u32) -> Option<Completion> {
    let line = Line::at(view, offset)?;
    let mut items = grammar::items(view, &line);
    let mut seen = std::collections::HashSet::new();
    items.retain(|it| seen.insert(it.label.clone()));
    // What begins as the word at the caret does comes first, or a long menu would be cut before it.
    let typed = Span {
        start: line.word.start,
        end: offset,
    }
    .of(view.text());
    // What stands there already comes last, if something can go on behind it.
    let goes_on = items.iter().any(|it| it.insert.start == offset);
    items.sort_by_key(|it| {
        let behind = it.insert.start == offset;
        match it.text.starts_with(typed) {
            true if goes_on && it.text.trim() == typed => 3,
            true => 0,
            false if behind => 1,
            false => 2,
        }
    });
    let more = items.len() > MOST_ITEMS;
    items.truncate(MOST_ITEMS);
    (!items.is_empty()).then_some(Completion { items, more })
}

/// What is to be said about the item with this label at `offset`.
pub fn describe(view: &View, offset: u32, label: &str) -> Option<Hover> {
    let item = completion(view, offset)?
        .items
        .into_iter()
        .find(|it| it.label == label)?;
    let blocks = match item.about {
        About::Nothing => return None,
        About::Meaning(words) => vec![Block::Words(words.to_owned())],
        About::Rule(name) => hover::rule(&name)?,
        About::Place(at) => hover::hover(view, at)?.blocks,
        About::Part(name) => hover::named_part(view, &name)?,
        About::Block(name) => hover::named_block(view, &name)?,
    };
    Some(Hover {
        span: item.replace,
        blocks,
    })
}

/// What is known of a name for sorting: how often it is said, and how near.
#[derive(Clone, Copy)]
struct Use {
    count: usize,
    /// Bytes to the nearest place above the statement; farther than all of those: to the nearest below.
    distance: u64,
    first: Option<u32>,
}

/// The uses of all things that the text says, by their ids; those in the statement itself tell nothing of what is near.
fn uses(view: &View, line: &Line) -> Vec<Use> {
    let names = view.names();
    let none = Use {
        count: 0,
        distance: u64::MAX,
        first: None,
    };
    let mut uses = vec![none; names.things.len()];
    for said in &names.said {
        let it = &mut uses[said.thing];
        it.count += 1;
        let place = u64::from(said.span.start);
        let distance = match said.span.start {
            at if at < line.start() => u64::from(line.start()) - place,
            at if at > line.caret => u64::from(u32::MAX) + place,
            _ => u64::MAX,
        };
        it.distance = it.distance.min(distance);
        if it.first.is_none() || said.access == Access::Declares {
            it.first = Some(said.span.start);
        }
    }
    uses
}
