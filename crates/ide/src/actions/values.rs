//! Values written otherwise: in other units, or the nearest that can be bought.

use analysis::Answer;
use circuit::series;
use syntax::{Dimension, Expr, ExprKind, Form, PathItem, Span, StatementKind, TextEdit, quantity};
use teaching::notation;

use super::{Action, ActionKind, Change};
use crate::View;

/// The series that values are taken from, the one with most members last.
const SERIES: [&str; 3] = ["E12", "E24", "E96"];

/// What can be done with the number at the caret.
pub(super) fn actions<'v>(view: &'v View, within: Span, actions: &mut Vec<Action<'v>>) {
    let Some((span, in_path)) = number_at(view, within.end) else {
        return;
    };
    let Ok(it) = quantity::read(view.text(), span) else {
        return;
    };
    let plain_ohms = in_path && it.form == Form::Plain;
    if it.form != Form::Unit && !plain_ohms {
        return;
    }
    let unit = if plain_ohms {
        Dimension::OHM
    } else {
        it.dimension
    };
    let Some(value) = it.value.exact().cloned() else {
        return;
    };
    let answer = Answer::Exact(value.clone());
    let written = span.of(view.text());
    let same = |new: &str| {
        // Words that say exactly the same, and not the same words.
        let read = quantity::read(new, Span::new(0, new.len()));
        new != written && read.is_ok_and(|read| read.value == it.value && read.dimension == unit)
    };
    let base = unit.unit().filter(|_| value.is_int());
    let base = base.map(|it| format!("{value} {it}"));
    let forms = [Some(notation::language(&answer, unit)), base];
    for new in forms.into_iter().flatten().filter(|it| same(it)) {
        actions.push(change(format!("Write `{new}`"), span, new));
    }
    if in_path {
        nearest(&value, unit, span, actions);
    }
}

fn nearest(value: &syntax::Ratio, unit: Dimension, span: Span, actions: &mut Vec<Action>) {
    let mut offered = Vec::new();
    for name in SERIES {
        let Some(member) = series::nearest(name, value) else {
            return;
        };
        if member == *value {
            // The finer series hold it too, or hold one nearer to what is as good already.
            return;
        }
        if offered.contains(&member) {
            continue;
        }
        let new = notation::language(&Answer::Exact(member.clone()), unit);
        let off = (member.clone() - value.clone()) / value.clone() * syntax::Ratio::from(100);
        let percent = format!("{:+.1} %", off.to_f64().value()).replace('-', "−");
        actions.push(change(
            format!("Take the nearest of {name}: `{new}` ({percent})"),
            span,
            new,
        ));
        offered.push(member);
    }
}

fn change<'v>(title: String, span: Span, text: String) -> Action<'v> {
    Action {
        title,
        kind: ActionKind::Change {
            what: Change::Rewrite,
            edits: Ok(vec![TextEdit { span, text }]),
            finding: None,
        },
    }
}

/// The number at the caret, and whether it is the value of an element of a path.
fn number_at(view: &View, offset: u32) -> Option<(Span, bool)> {
    let tree = view.tree();
    let statement = tree.statement(tree.statement_at(offset)?);
    if let StatementKind::Path(items) = &statement.kind {
        let value = items.iter().find_map(|it| match it {
            PathItem::Element(it) if it.value.span.touches(offset) => Some(&it.value),
            _ => None,
        });
        if let Some(value) = value {
            let whole = matches!(value.kind, ExprKind::Quantity);
            return if whole {
                Some((value.span, true))
            } else {
                quantity_at(value, offset).map(|it| (it, false))
            };
        }
    }
    let all = statement.kind.exprs();
    all.into_iter()
        .find_map(|it| quantity_at(it, offset))
        .map(|it| (it, false))
}

fn quantity_at(expr: &Expr, offset: u32) -> Option<Span> {
    if !expr.span.touches(offset) {
        return None;
    }
    match expr.kind {
        ExprKind::Quantity => Some(expr.span),
        _ => expr
            .operands()
            .into_iter()
            .find_map(|it| quantity_at(it, offset)),
    }
}
