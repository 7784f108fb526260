//! What stands at a place of the text.

use circuit::{Carrier, Circuit, ElementId, LetId, NodeId, OpampId, PartId, SourceId};
use syntax::{FileId, NameRole, Place, Span, StatementKind, TokenClass, normal};

use crate::View;

/// What stands at the caret.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct At {
    /// Its word, number or sign.
    pub(crate) span: Span,
    pub(crate) what: What,
}

/// The kinds of word that something can be said about.
#[derive(Clone, PartialEq, Debug)]
pub(crate) enum What {
    /// A name, and what it stands for: inside a block that is used several times one thing for each use.
    Things(Vec<Thing>),
    /// A word of the language, or a function.
    Word(NameRole),
    /// A number with its unit.
    Number,
    /// The text after `use`.
    Used(FileId),
}

/// What a name can stand for; circuits and blocks by their index in the book, all else in its circuit.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(crate) enum Thing {
    Node(usize, NodeId),
    Carrier(usize, Carrier),
    Let(usize, LetId),
    Part(PartId),
    Block(usize),
    Circuit(usize),
}

/// What the caret at `offset` touches.
pub(crate) fn at(view: &View, offset: u32) -> Option<At> {
    // At a border of two tokens the one that means something counts, and of two such the right one.
    let touched: Vec<_> = view
        .tokens()
        .iter()
        .filter(|it| it.span.touches(offset))
        .copied()
        .collect();
    touched.into_iter().rev().find_map(|it| {
        Some(At {
            span: it.span,
            what: what(view, it.span, it.class)?,
        })
    })
}

fn what(view: &View, span: Span, class: TokenClass) -> Option<What> {
    match class {
        TokenClass::Number => Some(What::Number),
        TokenClass::Text => used(view, span).map(What::Used),
        TokenClass::Comment | TokenClass::Description | TokenClass::Error => None,
        TokenClass::Function => Some(What::Word(NameRole::Function)),
        TokenClass::Word if &*normal(span.of(view.text())) != "ground" => {
            Some(What::Word(role(view, span).unwrap_or(NameRole::Thing)))
        }
        TokenClass::Name if role(view, span) == Some(NameRole::Rule) => {
            Some(What::Word(NameRole::Rule))
        }
        TokenClass::Word | TokenClass::Name | TokenClass::Sign => {
            let things = things(view, span, class);
            (!things.is_empty()).then_some(What::Things(things))
        }
    }
}

fn role(view: &View, span: Span) -> Option<NameRole> {
    let tree = view.tree();
    let statement = &tree.statements[tree.statement_at(span.start)?.0 as usize];
    statement
        .names()
        .into_iter()
        .find(|(name, _)| *name == span)
        .map(|(_, role)| role)
}

fn used(view: &View, span: Span) -> Option<FileId> {
    let tree = view.tree();
    let uses =
        |it: &&syntax::Statement| matches!(it.kind, StatementKind::Use(text) if text == span);
    tree.statements.iter().find(uses)?;
    let book = view.book();
    let path = circuit::beside(
        &view.document().name,
        span.of(view.text()).trim_matches('"'),
    );
    let index = book.files.iter().position(|it| it.path == path)?;
    Some(FileId(index as u32))
}

/// What a name stands for: whatever has its place there, else what has this name in the circuit around it.
fn things(view: &View, span: Span, class: TokenClass) -> Vec<Thing> {
    let here = Place {
        file: FileId(0),
        span,
    };
    let placed = placed_at(view, here);
    if !placed.is_empty() || class == TokenClass::Sign {
        return placed;
    }
    if !matches!(role(view, span), Some(NameRole::Thing)) {
        return Vec::new();
    }
    let name = normal(span.of(view.text()));
    let around = view
        .circuit_at(span.start)
        .and_then(|(index, circuit)| named(circuit, index, &name));
    let circuit = || {
        Some(Thing::Circuit(
            view.book().circuits.iter().position(|it| it.name == name)?,
        ))
    };
    around.or_else(circuit).into_iter().collect()
}

fn placed_at(view: &View, here: Place) -> Vec<Thing> {
    let book = view.book();
    let mut things = Vec::new();
    for (index, it) in book.circuits.iter().enumerate() {
        if it.place == here {
            things.push(Thing::Circuit(index));
        }
        let nodes = it
            .nodes
            .iter()
            .enumerate()
            .filter(|(_, node)| node.places.contains(&here));
        things.extend(nodes.map(|(id, _)| Thing::Node(index, NodeId(id as u32))));
        things.extend(
            carriers(it)
                .filter(|(_, _, place)| *place == here)
                .map(|(id, ..)| Thing::Carrier(index, id)),
        );
        // A file's own `let` stands in every circuit of the file: one of them will do.
        let lets = it
            .lets
            .iter()
            .enumerate()
            .filter(|(_, it)| it.place == here || it.uses.contains(&here));
        let known = things.iter().any(|it| matches!(it, Thing::Let(..)));
        things.extend(
            lets.filter(|_| !known)
                .map(|(id, _)| Thing::Let(index, LetId(id as u32))),
        );
    }
    let parts = book
        .parts
        .iter()
        .enumerate()
        .filter(|(_, it)| it.place == here || it.uses.contains(&here));
    things.extend(parts.map(|(id, _)| Thing::Part(PartId(id as u32))));
    let blocks = book
        .blocks
        .iter()
        .enumerate()
        .filter(|(_, it)| it.place == here || it.uses.contains(&here));
    things.extend(blocks.map(|(id, _)| Thing::Block(id)));
    things
}

fn named(circuit: &Circuit, index: usize, name: &str) -> Option<Thing> {
    let node = circuit.nodes.iter().position(|it| it.name == name);
    if let Some(id) = node {
        return Some(Thing::Node(index, NodeId(id as u32)));
    }
    if let Some((id, ..)) = carriers(circuit).find(|it| it.1 == name) {
        return Some(Thing::Carrier(index, id));
    }
    let id = circuit.lets.iter().position(|it| it.name == name)?;
    Some(Thing::Let(index, LetId(id as u32)))
}

/// Everything in a circuit that carries a current, with its name and the place of that.
pub(crate) fn carriers(circuit: &Circuit) -> impl Iterator<Item = (Carrier, &str, Place)> {
    let elements = circuit.elements.iter().zip(0..);
    let sources = circuit.sources.iter().zip(0..);
    let opamps = circuit.opamps.iter().zip(0..);
    elements
        .map(|(it, id)| {
            (
                Carrier::Element(ElementId(id)),
                it.name.as_str(),
                it.name_place,
            )
        })
        .chain(sources.map(|(it, id)| {
            (
                Carrier::Source(SourceId(id)),
                it.name.as_str(),
                it.name_place,
            )
        }))
        .chain(
            opamps.map(|(it, id)| (Carrier::Opamp(OpampId(id)), it.name.as_str(), it.name_place)),
        )
}
