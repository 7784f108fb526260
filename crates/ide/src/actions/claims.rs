//! Claims from what was computed, and findings that are accepted.

use checks::{Finding, Severity};
use circuit::{GROUND, NodeId};
use syntax::{BodyKind, Dimension, FileId, Span, StatementKind, TextEdit};
use teaching::notation;

use super::{Action, ActionKind, Change};
use crate::View;
use crate::answers::answers;
use crate::at::{At, Thing, What, at};

/// A claim that the node at the caret has the voltage that it has now.
pub(super) fn expect<'v>(view: &'v View, within: Span, actions: &mut Vec<Action<'v>>) {
    let Some(At {
        what: What::Things(things),
        ..
    }) = at(view, within.end)
    else {
        return;
    };
    let [Thing::Node(index, node)] = things[..] else {
        return;
    };
    let Some(claim) = claim(view, index, node) else {
        return;
    };
    let Some((line, indent)) = end_of_circuit(view, index) else {
        return;
    };
    let edit = new_line(view, line, &format!("{indent}expect {claim}"));
    let shown = claim.replace('-', "−");
    actions.push(Action {
        title: format!("Claim that `{shown}`"),
        kind: ActionKind::Change {
            what: Change::Rewrite,
            edits: Ok(vec![edit]),
            finding: None,
        },
    });
}

fn claim(view: &View, index: usize, node: NodeId) -> Option<String> {
    let answers = answers(view, index);
    let name = answers.circuit.node_name(node);
    let known = answers.doubt.as_ref().is_none_or(|it| it.mark.is_empty());
    let named = answers.circuit.nodes[node.index()].named;
    let value = answers
        .node(node)
        .filter(|_| node != GROUND && known && named)?;
    let claim = format!("{name} = {}", notation::language(value, Dimension::VOLT));
    let said = answers.circuit.claims.iter().any(|it| it.text == claim);
    (!said).then_some(claim)
}

/// The last line of a circuit's own, behind which a claim belongs: the last claim, else the last statement.
fn end_of_circuit(view: &View, index: usize) -> Option<(u32, &'static str)> {
    let tree = view.tree();
    let extent = view.book().circuits[index].extent.span;
    let inside = tree.ids().filter(|(id, it)| {
        let own = tree
            .body_of(*id)
            .is_none_or(|it| it.kind == BodyKind::Circuit);
        extent.start <= it.span.start
            && it.span.end <= extent.end
            && own
            && !matches!(it.kind, StatementKind::Work { .. } | StatementKind::Use(_))
    });
    let own: Vec<_> = inside.map(|it| it.1).collect();
    let claim = own
        .iter()
        .rev()
        .find(|it| matches!(it.kind, StatementKind::Expect(_)));
    let last = claim.or(own.last())?;
    Some((last.span.end, ""))
}

/// A line below the one that holds this byte.
fn new_line(view: &View, at: u32, words: &str) -> TextEdit {
    let (text, lines) = (view.text(), view.lines());
    let end_of_line = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let end = lines
        .content(lines.line_at(at), text)
        .map_or(at, |it| it.end);
    TextEdit {
        span: Span::at(end),
        text: format!("{end_of_line}{words}"),
    }
}

/// `allow`, with a reason to be filled in, for the warnings at the caret.
pub(super) fn allow<'v>(view: &'v View, within: Span, actions: &mut Vec<Action<'v>>) {
    let here = |it: &&Finding| {
        let span = it.place.span;
        it.place.file == FileId(0) && span.start <= within.end && within.start <= span.end
    };
    for finding in view.findings().iter().filter(here) {
        let acceptable = finding.severity == Severity::Warning
            && finding.circuit.is_some()
            && checks::registry::rule(finding.rule).is_some();
        let subject = finding
            .subjects
            .iter()
            .find(|it| view.names().known(finding.place.span.start, it).is_some());
        let Some(subject) = subject.filter(|_| acceptable) else {
            continue;
        };
        let Some(statement) = super::statement_at(view, finding.place.span.start) else {
            continue;
        };
        let (text, lines) = (view.text(), view.lines());
        let first = lines
            .span(lines.line_at(statement.span.start))
            .unwrap_or_default();
        let words = first.of(text);
        let indent = &words[..words.len() - words.trim_start_matches([' ', '\t']).len()];
        let line = format!(
            "{indent}allow {} at {subject}: \"it is meant so\"",
            finding.rule
        );
        let edit = new_line(view, statement.span.end, &line);
        actions.push(Action {
            title: format!("Accept `{}` at `{subject}`, with a reason", finding.rule),
            kind: ActionKind::Change {
                what: Change::Accept,
                edits: Ok(vec![edit]),
                finding: Some(finding),
            },
        });
    }
}
