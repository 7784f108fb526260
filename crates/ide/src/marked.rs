//! Texts with marks, for tests: `«»` is the caret, `«word»` a stretch.

use std::sync::Arc;

use syntax::Span;

use crate::{View, Workspace};

/// Opens a text without its marks and gives what they marked.
pub(crate) fn open(marked: &str) -> (Arc<View>, Vec<Span>) {
    let mut workspace = Workspace::default();
    open_in(&mut workspace, "bed.amp", marked)
}

/// The same under a name in a workspace.
pub(crate) fn open_in(
    workspace: &mut Workspace,
    name: &str,
    marked: &str,
) -> (Arc<View>, Vec<Span>) {
    let (text, spans) = unmark(marked);
    workspace.open(name, 1, &text);
    (
        workspace
            .snapshot()
            .view(name)
            .expect("it was opened")
            .clone(),
        spans,
    )
}

fn unmark(marked: &str) -> (String, Vec<Span>) {
    let (mut text, mut spans, mut open) = (String::new(), Vec::new(), None);
    for character in marked.chars() {
        match character {
            '«' => open = Some(text.len()),
            '»' => spans.push(Span::new(
                open.take().expect("a mark is opened first"),
                text.len(),
            )),
            other => text.push(other),
        }
    }
    (text, spans)
}
