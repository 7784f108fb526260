//! The files that a text uses, to be opened from it.

use syntax::{Span, StatementKind};

use crate::View;

/// A file's name in the text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Link {
    /// Between the quotes.
    pub span: Span,
    /// The file's path.
    pub target: String,
}

/// The files of `use` that are there.
pub fn links(view: &View) -> Vec<Link> {
    let book = view.book();
    let uses = view.tree().statements.iter().filter_map(|it| {
        let StatementKind::Use(text) = it.kind else {
            return None;
        };
        let words = text.of(view.text());
        let target = circuit::beside(&view.document().name, words.trim_matches('"'));
        let known = book.files.iter().any(|it| it.path == target);
        let inner = Span::new(text.start as usize + 1, text.end as usize - 1);
        known.then_some(Link {
            span: inner,
            target,
        })
    });
    uses.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;
    use crate::marked::open_in;

    #[test]
    fn only_files_that_are_there_are_linked() {
        let mut workspace = Workspace::default();
        open_in(&mut workspace, "/bed/lab.amp", "part slow\nend\n");
        let text = "use \"«lab.amp»\"\nuse \"none.amp\"\n";
        let (view, spans) = open_in(&mut workspace, "/bed/bed.amp", text);
        let target = "/bed/lab.amp".to_owned();
        assert_eq!(
            links(&view),
            [Link {
                span: spans[0],
                target
            }]
        );
    }
}
