//! The explanation of one equation: as a page, as one line, as a comment in the text.

use syntax::{FileId, Span, TextEdit};
use teaching::explain::{Explained, equation_markdown};

use crate::View;
use crate::actions::{Target, statement_at};

/// An explanation in its forms.
#[derive(Clone, PartialEq, Debug)]
pub struct Explanation {
    /// Markdown: what holds for all equations, then this one, term by term.
    pub page: String,
    /// The equation on one line.
    pub line: String,
    /// All of it as text without marks.
    pub plain: String,
}

/// Explains an equation; `None` where there is no such equation any more.
pub fn explanation(view: &View, target: &Target) -> Option<Explanation> {
    let (explained, heading, notes) = find(view, target)?;
    let mut page = format!("# The equation at {}\n\n", target.node);
    let mut plain = String::new();
    for it in &explained {
        page.push_str(&format!("{}\n\n", equation_markdown(it)));
        plain.push_str(&format!("{}\n", plain_lines(it).join("\n")));
    }
    page.push_str(&format!(
        "---\n\nCircuit `{}`: {heading}. {}\n",
        target.circuit,
        notes.join(" ")
    ));
    let equations: Vec<_> = explained
        .iter()
        .map(|it| it.written.text.as_str())
        .collect();
    let line = format!("Equation at {}: {}", target.node, equations.join("; "));
    Some(Explanation {
        page,
        line,
        plain: plain.replace('`', "").trim_end().to_string(),
    })
}

/// Explains all equations of a circuit; `None` where there is no such circuit any more.
pub fn explained_circuit(view: &View, circuit: &str) -> Option<Explanation> {
    let index = view
        .book()
        .circuits
        .iter()
        .position(|it| it.name == circuit)?;
    let explanation = view.explanation(index, false);
    Some(Explanation {
        page: teaching::explain::markdown(explanation),
        line: format!("Circuit {circuit}: {}", explanation.heading),
        plain: teaching::explain::plain(explanation).replace('`', ""),
    })
}

/// Writes the explanation above the statement at `offset`, as a comment; one that was written there before is replaced.
pub fn as_comment(view: &View, target: &Target, offset: u32) -> Option<Vec<TextEdit>> {
    let (explained, ..) = find(view, target)?;
    let statement = statement_at(view, offset)?;
    let (text, lines) = (view.text(), view.lines());
    let above = statement.description.map_or(statement.span.start, |it| {
        it.start.min(statement.span.start)
    });
    let line = lines.line_at(above);
    let start = lines.span(line)?.start;
    let indent: String = text
        .get(start as usize..)?
        .chars()
        .take_while(|it| matches!(it, ' ' | '\t'))
        .collect();
    let end_of_line = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let head = format!("# Equation at {}: ", target.node);
    let mut comment = String::new();
    for it in &explained {
        comment.push_str(&format!("{indent}{head}{}{end_of_line}", it.written.text));
        for line in plain_lines(it)
            .iter()
            .skip(2)
            .flat_map(|it| wrapped(&it.replace('`', ""), WIDTH))
        {
            comment.push_str(&format!("{indent}{INSIDE}{line}{end_of_line}"));
        }
    }
    let old = written_before(view, line, &head).unwrap_or(Span::at(start));
    Some(vec![TextEdit {
        span: old,
        text: comment,
    }])
}

/// Where the text says an equation, if it stands in this text.
pub fn place_of(view: &View, target: &Target) -> Option<u32> {
    let place = find(view, target)?.0.first()?.place;
    (place.file == FileId(0)).then_some(place.span.start)
}

/// How a line of a comment begins that belongs to the explanation above it.
const INSIDE: &str = "#   ";
/// Characters in a line of a comment.
const WIDTH: usize = 96;

/// The explanation that stands in the comments above a line.
fn written_before(view: &View, line: u32, head: &str) -> Option<Span> {
    let content = |line: u32| {
        view.lines()
            .content(line, view.text())
            .map_or("", |it| it.of(view.text()).trim())
    };
    let comments = (0..line)
        .rev()
        .take_while(|it| content(*it).starts_with('#'));
    let first = comments
        .into_iter()
        .find(|it| content(*it).starts_with(head.trim_end()))?;
    let mut last = first;
    while last + 1 < line
        && (content(last + 1).starts_with(INSIDE) || content(last + 1).starts_with(head.trim_end()))
    {
        last += 1;
    }
    Some(Span {
        start: view.lines().span(first)?.start,
        end: view.lines().span(last)?.end,
    })
}

/// Title, equation, reason, terms.
fn plain_lines(it: &Explained) -> Vec<String> {
    let mut lines = vec![it.title.clone(), it.written.text.clone(), it.why.clone()];
    lines.extend(
        it.terms
            .iter()
            .map(|term| format!("{}: {}", term.text, term.sentence)),
    );
    lines
}

/// Breaks words into lines of at most so many characters, a longer word alone on its line.
pub(crate) fn wrapped(words: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        let full = lines
            .last()
            .is_some_and(|it| !it.is_empty() && it.chars().count() + word.chars().count() >= width);
        if full {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

fn find(view: &View, target: &Target) -> Option<(Vec<Explained>, String, Vec<String>)> {
    let index = view
        .book()
        .circuits
        .iter()
        .position(|it| it.name == target.circuit)?;
    let circuit = &view.book().circuits[index];
    let explanation = view.explanation(index, target.real && view.is_real(index));
    let mine = |it: &&Explained| match target.real {
        // Of real op-amps other nodes may be summed together.
        true => it.covers.iter().any(|it| {
            circuit
                .nodes
                .get(it.index())
                .is_some_and(|it| it.name == target.node)
        }),
        false => circuit.node_name(it.at) == target.node,
    };
    let equations: Vec<Explained> = explanation.equations.iter().filter(mine).cloned().collect();
    (!equations.is_empty()).then(|| {
        (
            equations,
            explanation.heading.clone(),
            explanation.notes.clone(),
        )
    })
}
