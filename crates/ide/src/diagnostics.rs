//! The findings of one text, as an editor shows them while it is being written.

use checks::Finding;
use syntax::FileId;

use crate::View;

/// What to show now.
pub struct Diagnostics<'v> {
    /// In the order of the text.
    pub shown: Vec<&'v Finding>,
    /// Whether some only say that a line is not finished, and wait because it is being written.
    pub waiting: bool,
}

/// The findings in the text itself. `typing` is the line that is being written: findings that only say that it is not
/// finished wait.
pub fn diagnostics(view: &View, typing: Option<u32>) -> Diagnostics<'_> {
    let lines = view.lines();
    let being_written = |finding: &Finding| {
        let span = finding.place.span;
        finding.unfinished
            && typing.is_some_and(|it| {
                (lines.line_at(span.start)..=lines.line_at(span.end)).contains(&it)
            })
    };
    let own = view
        .findings()
        .iter()
        .filter(|it| it.place.file == FileId(0));
    let (waiting, shown): (Vec<_>, Vec<_>) = own.partition(|it| being_written(it));
    Diagnostics {
        shown,
        waiting: !waiting.is_empty(),
    }
}
