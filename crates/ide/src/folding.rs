//! What can be folded away: circuits, parts, blocks, work sheets, runs of comments and of `use`.

use syntax::{BodyKind, Span, StatementId, StatementKind, TokenClass};

use crate::View;

/// A stretch that can be folded.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fold {
    /// From the head's last word to the end.
    pub span: Span,
    /// What it holds.
    pub kind: FoldKind,
}

/// What a fold holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FoldKind {
    /// Statements.
    Body,
    /// Comments.
    Comment,
    /// Lines that bring in other files.
    Uses,
}

/// Every fold of more than one line, in the order of the text.
pub fn folds(view: &View) -> Vec<Fold> {
    let (tree, lines) = (view.tree(), view.lines());
    let mut folds = Vec::new();
    for body in &tree.bodies {
        let head = tree.statement(body.head);
        let last = body.end.or(body.inside.last().copied());
        let Some(last) = last.map(|it| inner_end(view, body.kind, it)) else {
            continue;
        };
        folds.push(Fold {
            span: Span {
                start: head.span.end,
                end: last,
            },
            kind: FoldKind::Body,
        });
    }
    let of_comments = view
        .tokens()
        .iter()
        .filter(|it| matches!(it.class, TokenClass::Comment | TokenClass::Description))
        .map(|it| it.span)
        .filter(|it| stands_alone(view, *it));
    runs(view, of_comments, FoldKind::Comment, &mut folds);
    let of_uses = tree
        .statements
        .iter()
        .filter(|it| matches!(it.kind, StatementKind::Use(_)))
        .map(|it| it.span);
    runs(view, of_uses, FoldKind::Uses, &mut folds);
    folds.retain(|it| lines.line_at(it.span.start) < lines.line_at(it.span.end));
    folds.sort_by_key(|it| (it.span.start, std::cmp::Reverse(it.span.end)));
    folds
}

/// A sheet's lines are not among those of the circuit that holds it.
fn inner_end(view: &View, kind: BodyKind, last: StatementId) -> u32 {
    let tree = view.tree();
    let inner = tree
        .bodies
        .iter()
        .find(|it| kind == BodyKind::Circuit && it.head == last);
    let last = inner
        .and_then(|it| it.end.or(it.inside.last().copied()))
        .unwrap_or(last);
    tree.statement(last).span.end
}

fn stands_alone(view: &View, comment: Span) -> bool {
    let line = view.lines().span(view.lines().line_at(comment.start));
    line.is_some_and(|it| {
        let before = Span {
            start: it.start,
            end: comment.start,
        };
        before.of(view.text()).trim().is_empty()
    })
}

/// Joins what stands on lines right below each other.
fn runs(view: &View, spans: impl Iterator<Item = Span>, kind: FoldKind, folds: &mut Vec<Fold>) {
    let lines = view.lines();
    let mut run: Option<Span> = None;
    for span in spans {
        run = match run {
            Some(above) if lines.line_at(above.end) + 1 == lines.line_at(span.start) => {
                Some(above.to(span))
            }
            done => {
                folds.extend(done.map(|span| Fold { span, kind }));
                Some(span)
            }
        };
    }
    folds.extend(run.map(|span| Fold { span, kind }));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    #[test]
    fn bodies_and_runs_fold_and_single_lines_do_not() {
        let (view, _) = open(
            "# a\n# b\nuse \"x.amp\"\nuse \"y.amp\"\npart slow\n  gain 5\nend\ncircuit c \"t\"\nsource s: a = 1 V # z\n# alone\n\
             work \"w\"\n  a = 1\nend\n\ncircuit d\n",
        );
        let drawn = folds(&view).into_iter().map(|it| {
            let lines = [it.span.start, it.span.end].map(|at| view.lines().line_at(at));
            (lines, it.kind)
        });
        assert_eq!(
            drawn.collect::<Vec<_>>(),
            [
                ([0, 1], FoldKind::Comment),
                ([2, 3], FoldKind::Uses),
                ([4, 6], FoldKind::Body),
                ([7, 12], FoldKind::Body),
                ([10, 12], FoldKind::Body),
            ]
        );
    }
}
