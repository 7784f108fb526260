//! The canonical form of a text or a part of it, as small edits.

use syntax::{Span, TextEdit};

use crate::View;

/// The edits that make the whole statements in `range` canonical (`None`: all of them). Lines that cannot be read stay.
/// What a statement's line shares with its canonical form is left out of its edit.
pub fn formatting(view: &View, range: Option<Span>) -> Vec<TextEdit> {
    let touched = |it: &TextEdit| {
        range.is_none_or(|range| it.span.start < range.end && range.start < it.span.end)
    };
    // Surplus blank lines are one edit: it goes no farther than what was asked for.
    let inside = |it: TextEdit| match range {
        Some(range) if it.span.of(view.text()).trim().is_empty() => within(view.text(), it, range),
        _ => Some(it),
    };
    syntax::format_edits(view.text())
        .into_iter()
        .filter(touched)
        .filter_map(inside)
        .filter_map(|it| {
            let is_comment = it.span.of(view.text()).trim_start().starts_with('#');
            let edit = smaller(view.text(), it);
            // A comment goes on behind a lone CR, where an editor's line ends: what was not asked for stays.
            (!is_comment || touched(&edit)).then_some(edit)
        })
        .collect()
}

/// Of an edit of blank lines that which lies in a range: lines there go, but for one where none is left beside it.
fn within(text: &str, edit: TextEdit, range: Span) -> Option<TextEdit> {
    let span = Span {
        start: edit.span.start.max(range.start),
        end: edit.span.end.min(range.end),
    };
    if span == edit.span {
        return Some(edit);
    }
    let lines = |it: Span| it.of(text).matches('\n').count();
    let beside = lines(edit.span) - lines(span);
    let wanted = edit.text.matches('\n').count().saturating_sub(beside);
    let kept = TextEdit {
        span,
        text: "\n".repeat(wanted.min(lines(span))),
    };
    (kept.text != span.of(text)).then_some(kept)
}

/// The edits after a line was ended at `caret`, which stands in the new line: the statement above becomes canonical, the new
/// line is indented as its body asks.
pub fn on_newline(view: &View, caret: u32) -> Vec<TextEdit> {
    let (text, lines) = (view.text(), view.lines());
    let here = lines.line_at(caret);
    let above = here.checked_sub(1).and_then(|it| lines.content(it, text));
    let (Some(above), Some(own)) = (above, lines.content(here, text)) else {
        return Vec::new();
    };
    let whole = view
        .tree()
        .statements
        .iter()
        .find(|it| above.start <= it.span.end && it.span.end <= above.end);
    let mut edits = whole.map_or(Vec::new(), |it| formatting(view, Some(it.span)));
    edits.retain(|it| it.span.end <= above.end);
    let words = own.of(text);
    let indent = &words[..words.len() - words.trim_start_matches([' ', '\t']).len()];
    // A line that goes on from the one above is indented once it is whole.
    let goes_on = ["--", ",", "\""]
        .iter()
        .any(|it| words.trim_start().starts_with(it));
    let wanted = if stands_in_body(view, own.start) && words.trim() != "end" {
        "  "
    } else {
        ""
    };
    if indent != wanted && !goes_on {
        edits.push(TextEdit {
            span: Span {
                start: own.start,
                end: own.start + indent.len() as u32,
            },
            text: wanted.to_owned(),
        });
    }
    edits
}

/// Whether a line stands in a part, a block or a work sheet.
fn stands_in_body(view: &View, line: u32) -> bool {
    let tree = view.tree();
    let before = |id: syntax::StatementId| tree.statement(id).span.start < line;
    let last = tree.bodies.iter().rfind(|it| before(it.head));
    last.is_some_and(|it| {
        it.kind != syntax::BodyKind::Circuit && it.end.is_none_or(|end| !before(end))
    })
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
    fn canonical_text_has_no_edits_and_blank_lines_are_one() {
        let canonical =
            "# Ω 𝄞\ncircuit m \"𝄞\"\n\nsource probe: in = 1.2 V\nin -- R1 10k -- ground\n";
        assert_eq!(syntax::format_edits(canonical), []);
        let apart = canonical.replace("\n\n", "\n \n\n");
        let edits = syntax::format_edits(&apart);
        assert_eq!(edits.len(), 1, "{edits:?}");
        assert_eq!(edits[0].text, "\n");
        assert_eq!(edits[0].span.of(&apart), " \n\n");
        // Enter behind a statement below a blank line leaves the blank line alone.
        let mut workspace = Workspace::default();
        let typed = "# Ω\n\nsource a: in = 1.2 V\n";
        workspace.open("stage.amp", 1, typed);
        let snapshot = workspace.snapshot();
        let view = snapshot.view("stage.amp").expect("open");
        assert_eq!(on_newline(view, typed.len() as u32), []);
    }

    #[test]
    fn a_comment_with_lone_line_ends_is_changed_only_where_it_was_asked() {
        let text = "# Ω 𝄞\r\rsource a: in=1.2 V\rin -- R1 10k -- ground\r";
        let mut workspace = Workspace::default();
        workspace.open("stage.amp", 1, text);
        let snapshot = workspace.snapshot();
        let view = snapshot.view("stage.amp").expect("open");
        for line in 0..view.lines().count() - 2 {
            let range = view.lines().span(line).expect("a line");
            assert_eq!(formatting(view, Some(range)), [], "line {line}");
        }
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
    fn blank_lines_beside_a_range_stay() {
        let text = "# Ω 𝄞\n\n\n\nsource a: in = 1 V\n";
        let after = |start: usize, end: usize| {
            let mut workspace = Workspace::default();
            workspace.open("stage.amp", 1, text);
            let snapshot = workspace.snapshot();
            let range = Span::new(start, end);
            let edits = formatting(snapshot.view("stage.amp").expect("open"), Some(range));
            let mut after = text.to_owned();
            for edit in edits.iter().rev() {
                assert!(
                    range.start <= edit.span.start && edit.span.end <= range.end,
                    "{edit:?}"
                );
                after.replace_range(edit.span.range(), &edit.text);
            }
            after.matches('\n').count() - 2
        };
        let first = text.find("\n\n").expect("a blank line") + 1;
        // How many blank lines are left: of the first, of two, of all three.
        assert_eq!(
            [0, 1, 2, 3].map(|it| after(first, first + it)),
            [3, 2, 1, 1]
        );
        assert_eq!([1, 2, 3].map(|it| after(0, first + it)), [2, 1, 1]);
    }

    #[test]
    fn an_ended_line_becomes_canonical_and_the_next_is_indented() {
        let after = |marked: &str| {
            let (view, spans) = crate::marked::open(marked);
            let mut text = view.text().to_owned();
            for edit in on_newline(&view, spans[0].start).iter().rev() {
                text.replace_range(edit.span.range(), &edit.text);
            }
            text
        };
        assert_eq!(
            after("in--R1 10kΩ--out\n«»\nx--R2 1k--ground\n"),
            "in -- R1 10k -- out\n\nx--R2 1k--ground\n"
        );
        assert_eq!(after("part slow\n«»\nend\n"), "part slow\n  \nend\n");
        assert_eq!(
            after("part slow\n  gain 5\nend\n  «»\n"),
            "part slow\n  gain 5\nend\n\n"
        );
        assert_eq!(after("circuit c\n«»"), "circuit c\n");
        // Cut in the middle, and half a line.
        assert_eq!(
            after("in--R1 1k\n«»--out--R2 1k--ground\n"),
            "in--R1 1k\n--out--R2 1k--ground\n"
        );
        assert_eq!(after("in--R1\n«»\n"), "in--R1\n\n");
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
