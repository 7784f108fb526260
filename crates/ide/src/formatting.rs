//! The canonical form of a text or a part of it, as small edits.

use syntax::{Span, TextEdit};

use crate::View;

/// The edits that make the whole statements in `range` canonical (`None`: all of them). Lines that cannot be read stay.
/// What a statement's line shares with its canonical form is left out of its edit.
pub fn formatting(view: &View, range: Option<Span>) -> Vec<TextEdit> {
    let inside = |it: &TextEdit| {
        range.is_none_or(|range| it.span.start < range.end && range.start < it.span.end)
    };
    syntax::format_edits(view.text())
        .into_iter()
        .filter(inside)
        .map(|it| smaller(view.text(), it))
        .collect()
}

/// An edit without the characters that it would not change.
fn smaller(text: &str, edit: TextEdit) -> TextEdit {
    let old = edit.span.of(text);
    let head: usize = old
        .chars()
        .zip(edit.text.chars())
        .take_while(|(a, b)| a == b)
        .map(|(it, _)| it.len_utf8())
        .sum();
    let (old, new) = (&old[head..], &edit.text[head..]);
    let tail: usize = old
        .chars()
        .rev()
        .zip(new.chars().rev())
        .take_while(|(a, b)| a == b)
        .map(|(it, _)| it.len_utf8())
        .sum();
    let start = edit.span.start + head as u32;
    let span = Span {
        start,
        end: edit.span.end - tail as u32,
    };
    TextEdit {
        span,
        text: new[..new.len() - tail].to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;

    const TEXT: &str =
        "in--R1 10kΩ -- out\n\n\n\nout -- R2 1k -- ground\nin - R3 -- out\nlet a=1 # 🌱\n";

    fn edits(range: Option<Span>) -> (Vec<TextEdit>, String) {
        let mut workspace = Workspace::default();
        workspace.open("stage.amp", 1, TEXT);
        let snapshot = workspace.snapshot();
        let edits = formatting(snapshot.view("stage.amp").expect("open"), range);
        let mut text = TEXT.to_owned();
        for edit in edits.iter().rev() {
            text.replace_range(edit.span.range(), &edit.text);
        }
        (edits, text)
    }

    #[test]
    fn all_edits_together_are_the_canonical_form() {
        let (edits, text) = edits(None);
        assert_eq!(text, syntax::format(TEXT));
        assert!(
            edits.iter().all(|it| it.span.end - it.span.start <= 12),
            "small: {edits:?}"
        );
    }

    #[test]
    fn a_range_touches_only_its_own_statements() {
        let (_, text) = edits(Some(Span::new(0, 3)));
        assert_eq!(
            text,
            TEXT.replace("in--R1 10kΩ -- out", "in -- R1 10k -- out")
        );
    }
}
