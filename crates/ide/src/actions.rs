//! What can be done at the caret: fixes of findings, and explanations of the equations there.

use checks::Finding;
use circuit::{Carrier, NodeId};
use syntax::{FileId, Span, Statement, TextEdit};
use teaching::explain::Explained;

use crate::answers::answers;
use crate::at::{At, Thing, What, at};
use crate::{View, explanation};

/// Something that can be done.
#[derive(Clone, Debug)]
pub struct Action<'v> {
    /// As a menu shows it.
    pub title: String,
    /// What it is.
    pub kind: ActionKind<'v>,
}

/// The kinds of action.
#[derive(Clone, Debug)]
pub enum ActionKind<'v> {
    /// A way out of a finding.
    Fix {
        /// The finding.
        finding: &'v Finding,
        /// The changes.
        edits: Vec<TextEdit>,
        /// The one to take where only one is taken: certain, and the first of its finding.
        preferred: bool,
    },
    /// Shows why an equation has its form.
    Explain {
        /// Which equation.
        target: Target,
        /// The caret.
        offset: u32,
    },
    /// Writes that into the text.
    Comment {
        /// Which equation.
        target: Target,
        /// The caret.
        offset: u32,
        /// The changes.
        edits: Vec<TextEdit>,
    },
}

/// One equation, by names that outlive a change of the text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Target {
    /// The circuit's name.
    pub circuit: String,
    /// The node that the equation belongs to.
    pub node: String,
}

/// Everything that can be done in this stretch of the text: fixes first.
pub fn actions(view: &View, within: Span) -> Vec<Action<'_>> {
    let mut actions = fixes(view, within);
    let targets = targets(view, within.end);
    actions.extend(targets.iter().map(|target| Action {
        title: format!("Explain the equation at `{}`", target.node),
        kind: ActionKind::Explain {
            target: target.clone(),
            offset: within.end,
        },
    }));
    let several = targets.len() > 1;
    for target in targets {
        let Some(edits) = explanation::as_comment(view, &target, within.end) else {
            continue;
        };
        let title = match several {
            true => format!(
                "Write the explanation as a comment above: `{}`",
                target.node
            ),
            false => "Write the explanation as a comment above".to_string(),
        };
        actions.push(Action {
            title,
            kind: ActionKind::Comment {
                target,
                offset: within.end,
                edits,
            },
        });
    }
    actions
}

fn fixes(view: &View, within: Span) -> Vec<Action<'_>> {
    let here = |it: &&Finding| {
        let span = it.place.span;
        it.place.file == FileId(0) && span.start <= within.end && within.start <= span.end
    };
    let mut actions = Vec::new();
    for finding in view.findings().iter().filter(here) {
        for (rank, fix) in finding.fixes.iter().enumerate() {
            actions.push(Action {
                title: sentence(&fix.title),
                kind: ActionKind::Fix {
                    finding,
                    edits: fix.edits.clone(),
                    preferred: rank == 0 && fix.safe,
                },
            });
        }
    }
    actions
}

fn sentence(title: &str) -> String {
    teaching::names::sentence(title)
}

/// The equations at the caret: those of the word there, else those that the statement has a part in.
fn targets(view: &View, offset: u32) -> Vec<Target> {
    let mut targets = Vec::new();
    if let Some(At {
        what: What::Things(things),
        ..
    }) = at(view, offset)
    {
        for thing in things {
            of_thing(view, thing, &mut targets);
        }
    }
    if targets.is_empty()
        && let Some(statement) = statement_at(view, offset)
    {
        of_statement(view, statement, &mut targets);
    }
    targets
}

fn of_thing(view: &View, thing: Thing, targets: &mut Vec<Target>) {
    match thing {
        Thing::Node(circuit, node) => {
            collect(view, circuit, targets, |it| it.covers.contains(&node));
        }
        Thing::Carrier(index, carrier) => {
            let circuit = &view.book().circuits[index];
            let own = |it: &Explained| match carrier {
                Carrier::Opamp(id) => it.at == circuit.opamps[id.index()].drives,
                _ => it
                    .written
                    .terms
                    .iter()
                    .any(|term| term.term.branch == carrier),
            };
            collect(view, index, targets, own);
        }
        _ => {}
    }
}

fn of_statement(view: &View, statement: &Statement, targets: &mut Vec<Target>) {
    let Some((index, circuit)) = view.circuit_at(statement.span.start) else {
        return;
    };
    let inside = |span: Span| statement.span.start <= span.start && span.end <= statement.span.end;
    let named: Vec<NodeId> = circuit
        .unknowns()
        .filter(|it| {
            let places = &circuit.nodes[it.index()].places;
            places
                .iter()
                .any(|place| place.file == FileId(0) && inside(place.span))
        })
        .collect();
    collect(view, index, targets, |it| {
        it.covers.iter().any(|node| named.contains(node))
    });
}

fn collect(
    view: &View,
    index: usize,
    targets: &mut Vec<Target>,
    wanted: impl Fn(&Explained) -> bool,
) {
    let answers = answers(view, index);
    for it in answers
        .explanation()
        .equations
        .iter()
        .filter(|it| wanted(it))
    {
        let circuit = answers.circuit.name.clone();
        let target = Target {
            circuit,
            node: answers.circuit.node_name(it.at).to_string(),
        };
        if !targets.contains(&target) {
            targets.push(target);
        }
    }
}

/// The statement at the caret, anywhere in its lines.
pub(crate) fn statement_at(view: &View, offset: u32) -> Option<&Statement> {
    let tree = view.tree();
    if let Some(id) = tree.statement_at(offset) {
        return Some(&tree.statements[id.0 as usize]);
    }
    let line = view
        .lines()
        .content(view.lines().line_at(offset), view.text())?;
    tree.statements
        .iter()
        .find(|it| line.touches(it.span.start) || line.touches(it.span.end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    fn titles(marked: &str) -> Vec<String> {
        let (view, spans) = open(marked);
        actions(&view, spans[0])
            .into_iter()
            .map(|it| it.title)
            .collect()
    }

    const COMMENT: &str = "Write the explanation as a comment above";

    #[test]
    fn the_equation_of_the_word_at_the_caret_is_explained() {
        let stage = "source probe: in = 1.2 V\nin -- R1 10k -- sum -- R2 33k -- out\nopamp A1: plus ground, minus sum, drives out\n";
        let at = |mark: &str| titles(&stage.replacen(mark, &format!("«»{mark}"), 1));
        let explain = |node: &str| format!("Explain the equation at `{node}`");
        assert_eq!(at("sum --"), [explain("sum"), COMMENT.into()]);
        assert_eq!(at("R1"), [explain("sum"), COMMENT.into()]);
        assert_eq!(at("A1"), [explain("out"), COMMENT.into()]);
        assert_eq!(at("out\n"), [explain("out"), COMMENT.into()]);
        assert_eq!(at("probe"), [explain("in"), COMMENT.into()]);
        // Beside the words everything that the statement has a part in.
        let beside = stage.replace("in --", " «»  in --");
        assert_eq!(
            titles(&beside)[..3],
            [explain("in"), explain("out"), explain("sum")]
        );
    }

    #[test]
    fn a_comment_above_keeps_indent_and_description() {
        let (view, spans) = open(
            "circuit c\n  source s: a = 1 V\n  ## The load.\n  «»a -- R1 1k -- b -- R2 1k -- ground\n",
        );
        let target = Target {
            circuit: "c".into(),
            node: "b".into(),
        };
        let edits = explanation::as_comment(&view, &target, spans[0].start)
            .expect("there is such an equation");
        let [edit] = &edits[..] else {
            panic!("one edit")
        };
        let line = view.text().find("  ## The load").expect("it stands there") as u32;
        assert_eq!(edit.span, Span::at(line), "above the description");
        assert!(
            edit.text
                .starts_with("  # Equation at b: (b − a)/R1 + b/R2 = 0\n  #   "),
            "{}",
            edit.text
        );
        assert!(
            edit.text
                .lines()
                .all(|it| it.chars().count() <= 102 && it.starts_with("  #")),
            "{}",
            edit.text
        );
    }

    #[test]
    fn only_the_first_sure_fix_of_a_finding_is_preferred() {
        let (view, spans) = open("in -- R1 «»4,7k -- ground\nin -- R2 1«»m -- ground\n");
        let preferred = |span: Span| {
            let fixes = actions(&view, span)
                .into_iter()
                .filter_map(|it| match it.kind {
                    ActionKind::Fix {
                        preferred, finding, ..
                    } => Some((finding.rule, preferred)),
                    _ => None,
                });
            fixes.collect::<Vec<_>>()
        };
        assert_eq!(preferred(spans[0]), [("decimal_comma", true)]);
        assert_eq!(
            preferred(spans[1]),
            [("unknown_unit", false), ("unknown_unit", false)]
        );
    }
}
