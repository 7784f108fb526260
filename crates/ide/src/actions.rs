//! What can be done at the caret: fixes of findings, the text said otherwise, explanations of the equations there.

mod claims;
mod extract;
#[cfg(test)]
mod tests;
mod values;
mod wiring;

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
    /// The first safe fix of every finding in the text; one that touches another waits for the next time.
    FixAll {
        /// The changes.
        edits: Vec<TextEdit>,
    },
    /// The text said otherwise.
    Change {
        /// In which way.
        what: Change,
        /// The changes, or why it cannot be done here, in a sentence.
        edits: Result<Vec<TextEdit>, String>,
        /// The finding that it is an answer to.
        finding: Option<&'v Finding>,
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

/// The ways in which a text is said otherwise.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Change {
    /// Something in its place.
    Rewrite,
    /// Part of it in a place of its own.
    Extract,
    /// A finding is accepted.
    Accept,
}

/// One equation, by names that outlive a change of the text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Target {
    /// The circuit's name.
    pub circuit: String,
    /// The node that the equation belongs to.
    pub node: String,
    /// With op-amps as their parts say; else ideal.
    pub real: bool,
}

/// Everything that can be done in this stretch of the text: what helps with a finding first, then explanations, then the text
/// said otherwise.
pub fn actions(view: &View, within: Span) -> Vec<Action<'_>> {
    let mut actions = fixes(view, within);
    claims::allow(view, within, &mut actions);
    let targets = targets(view, within.end);
    actions.extend(targets.iter().map(|target| Action {
        title: format!("Explain the equation at `{}`", target.node),
        kind: ActionKind::Explain {
            target: target.clone(),
            offset: within.end,
        },
    }));
    let is_real = |name: &str| {
        let mut circuits = view.book().circuits.iter();
        circuits
            .position(|it| it.name == name)
            .is_some_and(|it| view.is_real(it))
    };
    let real = targets.iter().filter(|it| is_real(&it.circuit));
    actions.extend(real.map(|target| Action {
        title: format!(
            "Explain the equation at `{}` with real op-amps",
            target.node
        ),
        kind: ActionKind::Explain {
            target: Target {
                real: true,
                ..target.clone()
            },
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
    claims::expect(view, within, &mut actions);
    values::actions(view, within, &mut actions);
    wiring::actions(view, within, &mut actions);
    extract::actions(view, within, &mut actions);
    actions.extend(fix_all(view));
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

/// All that can be fixed in one way only, where there is any such thing.
fn fix_all<'v>(view: &View) -> Option<Action<'v>> {
    let edits = checks::safe_edits(view.findings());
    (!edits.is_empty()).then(|| Action {
        title: "Fix all that can be fixed in one way only".into(),
        kind: ActionKind::FixAll { edits },
    })
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
            real: false,
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
