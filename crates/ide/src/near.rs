//! Questions about one place: asked of its circuit alone, where that stands for itself in a long text.
//!
//! Each function here answers as the one of the same name in the feature's own file would of the whole text.

use syntax::{FileId, Span};

use crate::View;
use crate::definition::{self, Definition};
use crate::hover::{self, Hover};
use crate::inlay::{self, Hint};
use crate::names::Home;
use crate::pieces::Near;
use crate::references::{self, Mention};
use crate::rename::{self, Refusal, Renamable};
use crate::signature::{self, Signature};
use crate::tokens::{self, Token};

/// What is to be said about the word at `offset`.
pub fn hover(view: &View, offset: u32) -> Option<Hover> {
    let Some(near) = view.near(offset) else {
        return hover::hover(view, offset);
    };
    let found = hover::hover(&near.view, near.inside(offset))?;
    Some(Hover {
        span: near.span_outside(found.span),
        ..found
    })
}

/// Where the name at `offset` is first said; of a node the first place that names it; of `use` the file.
pub fn definition(view: &View, offset: u32) -> Option<Definition> {
    let Some(near) = view.near(offset) else {
        return definition::definition(view, offset);
    };
    let mut found = definition::definition(&near.view, near.inside(offset))?;
    found.from = near.span_outside(found.from);
    for to in found.to.iter_mut().filter(|it| it.file == FileId(0)) {
        to.span = near.span_outside(to.span);
    }
    Some(found)
}

/// The places of the name at `offset` in the text itself; none where no name stands there.
pub fn highlights(view: &View, offset: u32) -> Vec<Mention> {
    let near = view.near(offset);
    let Some(near) = near.filter(|it| is_own(it, offset)) else {
        return references::highlights(view, offset);
    };
    let mut found = references::highlights(&near.view, near.inside(offset));
    for it in &mut found {
        it.span = near.span_outside(it.span);
    }
    found
}

/// Whether the name at `offset`, if there is one, belongs to the circuit alone.
fn is_own(near: &Near, offset: u32) -> bool {
    let (view, names) = (&near.view, near.view.names());
    names.at(near.inside(offset)).is_none_or(|it| {
        let key = &names.things[it.thing].key;
        let own = |body: usize| {
            let head = view.tree().bodies.get(body).map(|it| it.head);
            head.is_some_and(|it| near.holds(view.tree().statement(it).span))
        };
        matches!(key.home, Home::Body(body) if *key.file == *view.document().name && own(body))
    })
}

/// The name at `offset`; `None` where no word stands there.
pub fn renamable(view: &View, offset: u32) -> Result<Option<Renamable>, Refusal> {
    let Some(near) = view.near(offset) else {
        return rename::renamable(view, offset);
    };
    let found = rename::renamable(&near.view, near.inside(offset))?;
    Ok(found.map(|it| Renamable {
        span: near.span_outside(it.span),
        ..it
    }))
}

/// What is asked for at `offset`; the parameter at the caret is told by its name, since their order is free.
pub fn signature(view: &View, offset: u32) -> Option<Signature> {
    match view.near(offset) {
        Some(near) => signature::signature(&near.view, near.inside(offset)),
        None => signature::signature(view, offset),
    }
}

/// The tokens of a stretch of the text, in its order, none overlapping another.
pub fn tokens(view: &View, within: Span) -> Vec<Token> {
    let Some(pieces) = view.pieces_in(within) else {
        return tokens::tokens(view, within);
    };
    let all = pieces.iter().flat_map(|near| {
        let own = tokens::tokens(&near.view, near.span_inside(within));
        let own = own.into_iter().filter(|it| near.holds(it.span));
        own.map(|it| Token {
            span: near.span_outside(it.span),
            ..it
        })
    });
    all.collect()
}

/// The hints of one stretch of the text. A line that could not be read has none.
pub fn inlay(view: &View, within: Span) -> Vec<Hint> {
    let Some(pieces) = view.pieces_in(within) else {
        return inlay::inlay(view, within);
    };
    let all = pieces.iter().flat_map(|near| {
        let own = inlay::inlay(&near.view, near.span_inside(within));
        own.into_iter().map(|mut it| {
            it.offset = near.outside(it.offset);
            let places = it.parts.iter_mut().map(|it| &mut it.place);
            for place in places.filter(|it| it.file == FileId(0)) {
                place.span = near.span_outside(place.span);
            }
            it
        })
    });
    all.collect()
}
