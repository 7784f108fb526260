//! Words of the language, and numbers.

use analysis::Answer;
use syntax::quantity::{self, Form, Quantity};
use syntax::{
    Dimension, DriveKind, NameRole, Number, PathItem, Ratio, Span, Statement, StatementKind,
    WaveShape,
};
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
        (NameRole::Rule, _) => return rule(word),
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

/// The first words of a rule's page.
pub(super) fn rule(name: &str) -> Option<Vec<Block>> {
    let page = checks::registry::doc(name)?;
    let words: Vec<_> = page
        .lines()
        .take_while(|it| !it.starts_with('#'))
        .map(str::trim)
        .collect();
    let more = format!("`ampersum rule {name}` shows a wrong and a right example.");
    Some(vec![
        Block::Headline(name.to_string()),
        Block::Words(words.join(" ").trim().to_string()),
        Block::Words(more),
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
    let answer = Answer::from(&it.value);
    let written: Vec<_> = span.of(text).split_whitespace().collect();
    let written = written.join(" ");
    let mut lines = Vec::new();
    match (it.form, shape_of_wave(view, span)) {
        (Form::Unit | Form::PeakToPeak | Form::RootMeanSquare, Some(shape)) => {
            lines.extend(sizes(&it, shape))
        }
        (Form::PeakToPeak, None) => {
            lines.push(format!("amplitude {}", notation::full(&answer, unit)))
        }
        (Form::RootMeanSquare, None) => {}
        (Form::Decibel, _) => lines.push(format!("{} times", notation::full(&answer, unit))),
        (Form::Percent, _) => lines.push(notation::full(&answer, unit)),
        (Form::Unit | Form::Plain, _) => {
            lines.push(notation::full(&answer, unit));
            lines.extend(it.value.exact().and_then(|it| base_unit(it, unit)));
            if it.form == Form::Unit {
                lines.push(format!(
                    "`{}` in the text",
                    notation::language(&answer, unit)
                ));
            }
        }
    }
    lines.retain(|it| it.trim_end_matches(" in the text").trim_matches('`') != written);
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

/// A wave's size in the three ways in which it is given, all but the one written.
fn sizes(it: &Quantity, shape: WaveShape) -> Vec<String> {
    // Effective value over amplitude: what the mean square of one turn comes to.
    let effective = Answer::from(&match shape {
        WaveShape::Sine => Number::rounded(std::f64::consts::FRAC_1_SQRT_2),
        WaveShape::Square => Number::ONE,
        WaveShape::Triangle => Number::rounded(1.0 / 3f64.sqrt()),
    });
    let given = Answer::from(&it.value);
    let amplitude = match it.form {
        Form::RootMeanSquare => given.over(&effective),
        _ => Some(given),
    };
    let Some(amplitude) = amplitude else {
        return Vec::new();
    };
    let peak_to_peak = &amplitude + &amplitude;
    let rms = &amplitude * &effective;
    let mut lines = Vec::new();
    for (form, value, words) in [
        (Form::Unit, amplitude, "amplitude"),
        (Form::PeakToPeak, peak_to_peak, "from peak to peak"),
        (Form::RootMeanSquare, rms, "effective"),
    ] {
        if it.form != form {
            lines.push(format!("{} {words}", notation::full(&value, it.dimension)));
        }
    }
    lines
}

/// The shape of the wave whose size this number is.
fn shape_of_wave(view: &View, span: Span) -> Option<WaveShape> {
    let tree = view.tree();
    match &tree.statements[tree.statement_at(span.start)?.0 as usize].kind {
        StatementKind::Source(source) => match &source.drive.kind {
            DriveKind::Periodic { shape, size, .. } if size.span == span => Some(*shape),
            _ => None,
        },
        _ => None,
    }
}

/// A whole number of base units, written out.
fn base_unit(value: &Ratio, unit: Dimension) -> Option<String> {
    let digits = value
        .is_int()
        .then(|| value.to_string())
        .filter(|it| it.trim_start_matches('-').len() > 3)?;
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
