//! Lines that become a block, and a device that stands for them.

use std::collections::BTreeMap;

use syntax::{BodyKind, Span, Statement, StatementId, StatementKind, TextEdit};

use super::{Action, ActionKind, Change};
use crate::View;
use crate::names::{Access, Home, Kind};

/// A block of the statements that a selection holds.
pub(super) fn actions<'v>(view: &'v View, within: Span, actions: &mut Vec<Action<'v>>) {
    if within.start == within.end {
        return;
    }
    let tree = view.tree();
    let chosen: Vec<(StatementId, &Statement)> = tree
        .ids()
        .filter(|it| it.1.span.start < within.end && within.start < it.1.span.end)
        .collect();
    let (Some(first), Some(last)) = (chosen.first(), chosen.last()) else {
        return;
    };
    // Half a statement is no block.
    let whole = within.start <= first.1.span.start && last.1.span.end <= within.end;
    let wires = chosen.iter().all(|it| {
        matches!(
            it.1.kind,
            StatementKind::Path(_) | StatementKind::Source(_) | StatementKind::Device(_)
        )
    });
    let of_circuit = chosen.iter().all(|it| {
        tree.body_of(it.0)
            .is_none_or(|it| it.kind == BodyKind::Circuit)
    });
    if !whole || !wires || !of_circuit {
        return;
    }
    let span = first.1.span.to(last.1.span);
    actions.push(Action {
        title: "Make these lines a block".into(),
        kind: ActionKind::Change {
            what: Change::Extract,
            edits: extracted(view, span),
            finding: None,
        },
    });
}

fn extracted(view: &View, span: Span) -> Result<Vec<TextEdit>, String> {
    let (text, names) = (view.text(), view.names());
    let block = free(view, span.start, "stage", |it| {
        names.shelf(Home::Blocks).contains(&it)
    });
    let device = free(view, span.start, "S", |_| false);
    let inside = |it: Span| span.start <= it.start && it.end <= span.end;
    // In the order in which the lines name them.
    let mut ports: Vec<&str> = Vec::new();
    let mut outside: BTreeMap<u32, TextEdit> = BTreeMap::new();
    for said in names.said.iter().filter(|it| inside(it.span)) {
        let thing = &names.things[said.thing];
        let name = said.span.of(text);
        let elsewhere = || names.places(&thing.key).filter(|it| !inside(it.span));
        match thing.kind {
            Kind::Node if ports.contains(&name) => {}
            Kind::Node if elsewhere().next().is_some() => ports.push(name),
            // In a file with circuits a block sees the file's own values.
            Kind::Let if thing.key.home != Home::File => {
                return Err(format!("They read `{name}`, which a block does not see."));
            }
            Kind::Element | Kind::Source | Kind::Opamp | Kind::Device | Kind::Instance => {
                for other in elsewhere() {
                    if other.access != Access::Reads || other.broken {
                        return Err(format!("`{name}` stands elsewhere too."));
                    }
                    let edit = TextEdit {
                        span: Span::at(other.span.start),
                        text: format!("{device}."),
                    };
                    outside.insert(other.span.start, edit);
                }
            }
            _ => {}
        }
    }
    if ports.is_empty() {
        return Err("No node of theirs is joined to anything else.".into());
    }
    let end_of_line = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let mut head = format!("block {block}: {}", ports.join(", "));
    for line in span.of(text).lines() {
        head.push_str(end_of_line);
        if !line.trim().is_empty() {
            head.push_str("  ");
            head.push_str(line.trim());
        }
    }
    head.push_str(&format!("{end_of_line}end{end_of_line}{end_of_line}"));
    let joined: Vec<_> = ports.iter().map(|it| format!("{it} {it}")).collect();
    let mut edits = vec![
        TextEdit {
            span: Span::at(place_of_block(view, span)),
            text: head,
        },
        TextEdit {
            span,
            text: format!("{block} {device}: {}", joined.join(", ")),
        },
    ];
    edits.extend(outside.into_values());
    edits.sort_by_key(|it| it.span);
    Ok(edits)
}

fn free(view: &View, at: u32, stem: &str, taken: impl Fn(&str) -> bool) -> String {
    let names = view.names();
    let bare = (stem.len() > 1).then(|| stem.to_owned());
    bare.into_iter()
        .chain((1..).map(|it| format!("{stem}{it}")))
        .find(|it| names.known(at, it).is_none() && !taken(it))
        .unwrap_or_default()
}

/// Before the first circuit; in a file that is one circuit before its first line.
fn place_of_block(view: &View, chosen: Span) -> u32 {
    let tree = view.tree();
    let head = tree.bodies.iter().find(|it| it.kind == BodyKind::Circuit);
    let first = tree
        .statements
        .iter()
        .find(|it| !matches!(it.kind, StatementKind::Version(_) | StatementKind::Use(_)));
    let statement = head.map(|it| tree.statement(it.head)).or(first);
    let at = statement.map_or(chosen.start, |it| {
        it.description.map_or(it.span.start, |above| above.start)
    });
    view.lines()
        .span(view.lines().line_at(at))
        .map_or(at, |it| it.start)
}
