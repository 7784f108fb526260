//! What a device, a block or a function asks for, and which of it stands at the caret.

use syntax::Span;
use teaching::words;

use crate::View;
use crate::completion::line::{Line, Tok, Token};
use crate::names::Kind;

/// What is asked for.
#[derive(Clone, PartialEq, Debug)]
pub struct Signature {
    /// On one line: `opamp A1: plus node, minus node, drives node [, part part]`
    pub label: String,
    /// What it is.
    pub meaning: String,
    /// In the order of the label.
    pub parameters: Vec<Parameter>,
    /// Which of them stands at the caret.
    pub active: Option<usize>,
}

/// One thing that is asked for.
#[derive(Clone, PartialEq, Debug)]
pub struct Parameter {
    /// Its bytes in the label.
    pub span: Span,
    /// What it is.
    pub meaning: String,
}

/// What is asked for at `offset`; the parameter at the caret is told by its name, since their order is free.
pub fn signature(view: &View, offset: u32) -> Option<Signature> {
    let line = Line::at(view, offset)?;
    if line.in_text.is_some() {
        return None;
    }
    let tokens = &line.before[..];
    if let Some(open) = line.open_bracket()
        && let Some(name) = open.checked_sub(1).map(|it| &tokens[it])
        && name.kind == Tok::Name
        && let Some(found) = function(name.text, &tokens[open + 1..])
    {
        return Some(found);
    }
    match tokens {
        [kind, name, colon, clauses @ ..] if colon.text == ":" => {
            device(view, &line, kind.text, name.text, clauses)
        }
        _ => None,
    }
}

/// A label while it is put together.
#[derive(Default)]
struct Label {
    text: String,
    parameters: Vec<Parameter>,
}

impl Label {
    fn parameter(&mut self, words: &str, meaning: &str) {
        let start = self.text.len();
        self.text.push_str(words);
        self.parameters.push(Parameter {
            span: Span::new(start, self.text.len()),
            meaning: meaning.to_owned(),
        });
    }

    fn done(self, meaning: &str, active: Option<usize>) -> Signature {
        let active = active.filter(|it| *it < self.parameters.len());
        Signature {
            label: self.text,
            meaning: meaning.to_owned(),
            parameters: self.parameters,
            active,
        }
    }
}

/// What stands behind a clause's word.
fn argument(clause: &str) -> &'static str {
    match clause {
        "part" => " part",
        "supply" => " rail and rail",
        "total" | "value" | "rated" => " value",
        "at" => " share",
        "open" | "closed" => "",
        _ => " node",
    }
}

fn device(view: &View, line: &Line, kind: &str, name: &str, tokens: &[Token]) -> Option<Signature> {
    let ports = view.names().ports(kind);
    let clauses: Vec<(String, &'static str, bool)> = match (words::clauses(kind), ports) {
        (Some(table), _) => table
            .iter()
            .map(|(word, meaning)| ((*word).to_owned(), *meaning, may_be_left_out(word)))
            .collect(),
        (None, Some(ports)) => ports
            .iter()
            .map(|(port, kind)| {
                let meaning = match kind {
                    Kind::Parameter => "A parameter: its default holds where it is left out.",
                    _ => "A port: the node that it is joined to.",
                };
                (port.clone(), meaning, *kind == Kind::Parameter)
            })
            .collect(),
        (None, None) => return None,
    };
    let mut label = Label {
        text: format!("{kind} {name}: "),
        ..Label::default()
    };
    for (index, (word, meaning, free)) in clauses.iter().enumerate() {
        let argument = match (ports.is_some(), *free) {
            (true, true) => " = value",
            (true, false) => " node",
            (false, _) => argument(word),
        };
        let between = if index == 0 { "" } else { ", " };
        if *free {
            label.text.push_str(if index == 0 { "[" } else { "[, " });
            label.parameter(&format!("{word}{argument}"), meaning);
            label.text.push(']');
        } else {
            label.text.push_str(between);
            label.parameter(&format!("{word}{argument}"), meaning);
        }
    }
    let said: Vec<&[Token]> = tokens.split(|it| it.text == ",").collect();
    let (now, before) = said.split_last()?;
    let position = |word: &str| clauses.iter().position(|it| it.0 == word);
    let typed = line.word.of(view.text());
    let active = match now.first() {
        Some(word) => position(word.text),
        None => position(typed).or_else(|| {
            // The next one that is not said yet.
            clauses.iter().position(|it| {
                !before
                    .iter()
                    .any(|said| said.first().is_some_and(|word| word.text == it.0))
            })
        }),
    };
    let meaning = words::meaning(words::DEVICES, kind).unwrap_or("A device made of a block.");
    Some(label.done(meaning, active))
}

fn may_be_left_out(clause: &str) -> bool {
    matches!(clause, "part" | "supply" | "rated")
}

fn function(name: &str, inside: &[Token]) -> Option<Signature> {
    let meaning = words::meaning(words::FUNCTIONS, name)?;
    let parameters: &[(&str, &str)] = match name {
        "parallel" => &[("a", "A resistance."), ("b, …", "And those beside it.")],
        "min" | "max" => &[("a", "A value."), ("b, …", "And others of its kind.")],
        "nearest" => &[
            ("series", "E3, E6, E12, E24, E48, E96 or E192."),
            ("value", "What it should be near to."),
        ],
        "current" => &[("name", "An element, a source or an op-amp.")],
        "power" => &[("name", "An element, a source or an op-amp.")],
        "phase" => &[("ratio", "One wave over another.")],
        "sqrt" | "log10" => &[("a", "A value, not below zero.")],
        _ => &[("a", "A value.")],
    };
    let mut label = Label {
        text: format!("{name}("),
        ..Label::default()
    };
    for (index, (word, meaning)) in parameters.iter().enumerate() {
        if index > 0 {
            label.text.push_str(", ");
        }
        label.parameter(word, meaning);
    }
    label.text.push(')');
    let commas = inside.iter().filter(|it| it.text == ",").count();
    Some(label.done(meaning, Some(commas.min(parameters.len() - 1))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    /// The label with what stands at the caret in angle brackets.
    fn shown(marked: &str) -> String {
        let (view, spans) = open(marked);
        let Some(it) = signature(&view, spans[0].start) else {
            return "nothing".to_owned();
        };
        let mut label = it.label;
        if let Some(active) = it.active {
            let span = it.parameters[active].span;
            label.insert(span.end as usize, '>');
            label.insert(span.start as usize, '<');
        }
        label
    }

    #[test]
    fn the_clause_at_the_caret_is_told_by_its_name() {
        for (marked, label) in [
            (
                "opamp A1: «»",
                "opamp A1: <plus node>, minus node, drives node[, part part][, supply rail and rail]",
            ),
            (
                "opamp A1: minus «»fb, drives out",
                "opamp A1: plus node, <minus node>, drives node[, part part][, supply rail and rail]",
            ),
            (
                "opamp A1: minus fb, «»",
                "opamp A1: <plus node>, minus node, drives node[, part part][, supply rail and rail]",
            ),
            (
                "pot P1: from a, at «»",
                "pot P1: from node, to node, wiper node, total value, <at share>",
            ),
            (
                "block half: in, out, R = 1k\n  in -- R1 (R) -- out\nend\ncircuit c\nhalf H: R «»",
                "half H: in node, out node[, <R = value>]",
            ),
            ("let a = parallel(1k, «»", "parallel(a, <b, …>)"),
            ("let a = 2 * nearest(«»E24, 3k)", "nearest(<series>, value)"),
            ("let a = (1 + «»", "nothing"),
            ("in -- R1 «»", "nothing"),
            ("# opamp A1: «»", "nothing"),
        ] {
            assert_eq!(shown(marked), label, "{marked}");
        }
    }
}
