//! Words of the language, and numbers.

use syntax::quantity::{self, Form};
use syntax::{Dimension, NameRole, PathItem, Ratio, Span, Statement, StatementKind};
use teaching::{notation, words};

use super::Block;
use crate::View;

/// What a word of the language means at its place.
pub(super) fn word(view: &View, span: Span, role: NameRole) -> Option<Vec<Block>> {
    let word = span.of(view.text());
    let tree = view.tree();
    let statement = &tree.statements[tree.statement_at(span.start)?.0 as usize];
    let first = statement.span.start == span.start;
    let meaning = match (role, &statement.kind) {
        (NameRole::Function, _) => words::meaning(words::FUNCTIONS, word),
        (NameRole::DeviceKind, _) => words::meaning(words::DEVICES, word),
        (NameRole::Property, _) => words::meaning(words::PROPERTIES, word),
        (NameRole::Clause, StatementKind::Device(device)) => {
            words::clause(device.kind.of(view.text()), word)
        }
        _ if first => {
            words::meaning(words::STATEMENTS, word).or_else(|| words::meaning(words::DEVICES, word))
        }
        (_, StatementKind::Source(_)) => words::meaning(words::WAVES, word),
        (_, StatementKind::Expect(_)) => words::meaning(words::CLAIMS, word),
        _ => None,
    }?;
    Some(vec![
        Block::Headline(word.to_string()),
        Block::Words(meaning.to_string()),
    ])
}

/// A number in its other forms.
pub(super) fn number(view: &View, span: Span) -> Option<Vec<Block>> {
    let text = view.text();
    let it = quantity::read(text, span).ok()?;
    let plain_ohms = it.form == Form::Plain && is_value_of_element(view, span);
    let unit = if plain_ohms {
        Dimension::OHM
    } else {
        it.dimension
    };
    let answer = analysis::Answer::from(&it.value);
    let written = span
        .of(text)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let mut lines = Vec::new();
    match it.form {
        Form::PeakToPeak => {
            lines.push(format!("amplitude {}", notation::full(&answer, unit)));
        }
        Form::RootMeanSquare => {
            let amplitude = it
                .value
                .mul(&syntax::Number::Rounded(std::f64::consts::SQRT_2));
            lines.push(format!(
                "of a sine the amplitude {}",
                notation::number(&amplitude, unit)
            ));
        }
        Form::Decibel => lines.push(format!("{} times", notation::full(&answer, unit))),
        Form::Percent => lines.push(notation::full(&answer, unit)),
        Form::Unit | Form::Plain => {
            lines.push(notation::full(&answer, unit));
            lines.extend(it.value.exact().and_then(|it| base_unit(it, unit)));
            lines.push(format!(
                "`{}` in the text",
                notation::language(&answer, unit)
            ));
        }
    }
    lines.dedup();
    lines.retain(|it| {
        *it != written && it.trim_end_matches(" in the text").trim_matches('`') != written
    });
    let meaning = it
        .unit
        .map(|it| it.of(text))
        .and_then(|it| words::meaning(words::UNITS, it));
    if lines.is_empty() && meaning.is_none() {
        return None;
    }
    let mut blocks = vec![Block::Headline(written), Block::Lines(lines)];
    blocks.extend(meaning.map(|it| Block::Words(it.to_string())));
    Some(blocks)
}

/// A whole number of base units, written out.
fn base_unit(value: &Ratio, unit: Dimension) -> Option<String> {
    let digits = value.is_int().then(|| value.to_string())?;
    (digits.len() <= 12).then(|| {
        format!("{} {}", digits.replace('-', "−"), unit.name())
            .trim_end()
            .to_string()
    })
}

fn is_value_of_element(view: &View, span: Span) -> bool {
    let tree = view.tree();
    let Some(id) = tree.statement_at(span.start) else {
        return false;
    };
    let Statement {
        kind: StatementKind::Path(items),
        ..
    } = &tree.statements[id.0 as usize]
    else {
        return false;
    };
    items
        .iter()
        .any(|it| matches!(it, PathItem::Element(element) if element.value.span == span))
}
