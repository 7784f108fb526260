//! Values as hints in the text: a node's voltage where a path first names it, currents at a path's end.

use checks::Inlay;
use circuit::{ElementId, GROUND, NodeId};
use syntax::{Dimension, FileId, PathItem, Place, Span, StatementKind};
use teaching::notation;

use crate::View;
use crate::answers::{Answers, answers};

/// One hint.
#[derive(Clone, PartialEq, Debug)]
pub struct Hint {
    /// Behind this byte.
    pub offset: u32,
    /// `= 1.2 V`; of several currents one each.
    pub parts: Vec<Part>,
    /// More of it.
    pub tooltip: String,
}

/// One value of a hint.
#[derive(Clone, PartialEq, Debug)]
pub struct Part {
    /// `= 1.2 V`
    pub text: String,
    /// Where that has its name which the value is of.
    pub place: Place,
}

/// The hints of one stretch of the text. A line that could not be read has none.
pub fn inlay(view: &View, within: Span) -> Vec<Hint> {
    let kind = view.settings().inlay;
    let mut hints = Vec::new();
    if kind == Inlay::Off || view.settings().hidden {
        return hints;
    }
    let mut current: Option<(usize, Answers)> = None;
    for statement in &view.tree().statements {
        let StatementKind::Path(items) = &statement.kind else {
            continue;
        };
        if statement.span.end < within.start || within.end < statement.span.start {
            continue;
        }
        let Some((index, _)) = view.circuit_at(statement.span.start) else {
            continue;
        };
        if current.as_ref().is_none_or(|it| it.0 != index) {
            current = Some((index, answers(view, index)));
        }
        let Some((_, answers)) = &current else {
            continue;
        };
        path(items, statement.span, answers, kind, &mut hints);
    }
    hints.retain(|it| within.touches(it.offset));
    hints
}

fn path(
    items: &[PathItem],
    statement: Span,
    answers: &Answers,
    kind: Inlay,
    hints: &mut Vec<Hint>,
) {
    let mut seen = Vec::new();
    let mut currents = Vec::new();
    for item in items {
        match item {
            PathItem::Node(name) => {
                let Some(node) = node_at(answers, *name).filter(|it| !seen.contains(it)) else {
                    continue;
                };
                seen.push(node);
                hints.extend(node_hint(answers, node, name.end));
            }
            PathItem::Element(element) => currents.extend(current(answers, element.name)),
        }
    }
    if kind == Inlay::All && !currents.is_empty() {
        let tooltip = words(answers, "Currents, from left to right.".into());
        hints.push(Hint {
            offset: statement.end,
            parts: currents,
            tooltip,
        });
    }
}

fn node_hint(answers: &Answers, node: NodeId, offset: u32) -> Option<Hint> {
    let value = answers.node(node).filter(|_| node != GROUND)?;
    let ideal = mark(answers);
    let label = format!("= {}{ideal}", notation::short(value, Dimension::VOLT));
    let name = answers.circuit.node_name(node);
    let tooltip = words(
        answers,
        format!("`{name}` = {}.", notation::full(value, Dimension::VOLT)),
    );
    let place = *answers.circuit.nodes[node.index()].places.first()?;
    Some(Hint {
        offset,
        parts: vec![Part { text: label, place }],
        tooltip,
    })
}

fn current(answers: &Answers, name: Span) -> Option<Part> {
    let here = Place {
        file: FileId(0),
        span: name,
    };
    let index = answers
        .circuit
        .elements
        .iter()
        .position(|it| it.name_place == here)?;
    let carried = answers.element(ElementId(index as u32))?;
    let amperes = notation::short(carried.current.as_ref()?, Dimension::AMPERE);
    let ideal = mark(answers);
    let name = &answers.circuit.elements[index].name;
    Some(Part {
        text: format!("{name} {amperes}{ideal}"),
        place: here,
    })
}

/// `(ideal)`: a line has no room for more, and the tooltip says the rest.
fn mark(answers: &Answers) -> String {
    answers.mark().replace(" answer)", ")")
}

fn words(answers: &Answers, first: String) -> String {
    match &answers.doubt {
        Some(doubt) => format!("{first} {}", doubt.why),
        None => first,
    }
}

fn node_at(answers: &Answers, name: Span) -> Option<NodeId> {
    let here = Place {
        file: FileId(0),
        span: name,
    };
    let nodes = answers
        .circuit
        .nodes
        .iter()
        .position(|it| it.places.contains(&here));
    nodes.map(|it| NodeId(it as u32))
}

#[cfg(test)]
mod tests {
    use syntax::Span;

    use super::inlay;
    use crate::Workspace;
    use crate::marked::open_in;
    use crate::workspace::EditorSettings;

    /// The text with its hints in angle brackets.
    fn drawn(kind: &str, text: &str) -> String {
        let mut workspace = Workspace::default();
        workspace.set_settings(EditorSettings {
            toml: format!("[writing]\ninlay = \"{kind}\"\n"),
        });
        let (view, _) = open_in(&mut workspace, "bed.amp", text);
        let mut drawn = text.to_string();
        for hint in inlay(&view, Span::new(0, text.len())).into_iter().rev() {
            let parts: Vec<&str> = hint.parts.iter().map(|it| &*it.text).collect();
            drawn.insert_str(hint.offset as usize, &format!(" <{}>", parts.join(", ")));
        }
        drawn
    }

    const TEXT: &str = "source s: a = 6 V\na -- R1 1k -- b -- R2 2k -- ground\nb -- R3 1k --\na -- R4 1k -- b -- R5 1k -- a\n";

    // R1, R4 and R5 side by side are 1/3 kΩ, so b = 6 V · 2/(2 + 1/3) = 36/7 V.
    #[test]
    fn each_path_tells_each_of_its_nodes_once() {
        assert_eq!(
            drawn("nodes", TEXT),
            "source s: a = 6 V\na <= 6 V> -- R1 1k -- b <= 5.1429 V> -- R2 2k -- ground\nb -- R3 1k --\n\
             a <= 6 V> -- R4 1k -- b <= 5.1429 V> -- R5 1k -- a\n"
        );
    }

    #[test]
    fn currents_stand_at_the_end_of_their_path_if_they_are_wanted() {
        let drawn = drawn("all", TEXT);
        assert!(
            drawn.contains("-- R2 2k -- ground <R1 857.14 µA, R2 2.5714 mA>\n"),
            "{drawn}"
        );
        assert!(
            drawn.contains("b -- R3 1k --\n"),
            "a broken line has none: {drawn}"
        );
    }

    #[test]
    fn each_value_leads_to_the_name_that_it_is_of() {
        let mut workspace = Workspace::default();
        let (view, marks) = open_in(
            &mut workspace,
            "bed.amp",
            "source s: «a» = 6 V\na -- R1 1k -- «b» -- R2 2k -- ground\nb -- R3 1k -- a\n",
        );
        let hints = inlay(&view, Span::new(0, view.text().len()));
        let places: Vec<Span> = hints.iter().map(|it| it.parts[0].place.span).collect();
        assert_eq!(places, [marks[0], marks[1], marks[1], marks[0]]);
    }

    #[test]
    fn nothing_stands_there_if_it_is_not_wanted() {
        assert_eq!(drawn("off", TEXT), TEXT);
    }
}
