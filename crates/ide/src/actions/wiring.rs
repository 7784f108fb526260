//! The circuit said otherwise: inputs swapped, resistors joined, a node named.

use syntax::{Argument, Device, Element, PathItem, Span, StatementKind, TextEdit, quantity};
use teaching::notation;

use super::{Action, ActionKind, Change};
use crate::View;
use crate::names::Kind;

/// What can be done with the statement at the caret.
pub(super) fn actions<'v>(view: &'v View, within: Span, actions: &mut Vec<Action<'v>>) {
    let tree = view.tree();
    let Some(id) = tree.statement_at(within.end) else {
        return;
    };
    match &tree.statement(id).kind {
        StatementKind::Device(device) => swap(view, device, actions),
        StatementKind::Path(items) => {
            for pair in items.windows(2) {
                if let [PathItem::Element(left), PathItem::Element(right)] = pair
                    && touches(left.span.to(right.span), within)
                {
                    name(view, left, right, within, actions);
                    join(view, left, None, right, actions);
                }
            }
            for three in items.windows(3) {
                if let [
                    PathItem::Element(left),
                    PathItem::Node(node),
                    PathItem::Element(right),
                ] = three
                    && touches(left.span.to(right.span), within)
                {
                    join(view, left, Some(*node), right, actions);
                }
            }
        }
        _ => {}
    }
}

fn touches(span: Span, within: Span) -> bool {
    span.start <= within.end && within.start <= span.end
}

fn rewrite<'v>(title: String, edits: Result<Vec<TextEdit>, String>) -> Action<'v> {
    Action {
        title,
        kind: ActionKind::Change {
            what: Change::Rewrite,
            edits,
            finding: None,
        },
    }
}

fn swap<'v>(view: &'v View, device: &Device, actions: &mut Vec<Action<'v>>) {
    let text = view.text();
    if !matches!(device.kind.of(text), "opamp" | "comparator") {
        return;
    }
    let input = |word: &str| {
        let clause = device.clauses.iter().find(|it| it.word.of(text) == word)?;
        match clause.argument {
            Argument::Name(name) => Some(name),
            _ => None,
        }
    };
    let (Some(plus), Some(minus)) = (input("plus"), input("minus")) else {
        return;
    };
    let put = |at: Span, what: Span| TextEdit {
        span: at,
        text: what.of(text).to_owned(),
    };
    let mut edits = vec![put(plus, minus), put(minus, plus)];
    edits.sort_by_key(|it| it.span);
    let title = format!("Swap plus and minus of `{}`", device.name.of(text));
    actions.push(rewrite(title, Ok(edits)));
}

/// The `--` between two elements.
fn wire(view: &View, left: &Element, right: &Element) -> Option<Span> {
    let end = left.extras.last().map_or(left.span.end, |it| it.span.end);
    let gap = Span {
        start: end.max(left.span.end),
        end: right.span.start,
    };
    let token = view
        .tokens()
        .iter()
        .find(|it| gap.start <= it.span.start && it.span.end <= gap.end)?;
    Some(token.span)
}

fn name<'v>(
    view: &'v View,
    left: &Element,
    right: &Element,
    within: Span,
    actions: &mut Vec<Action<'v>>,
) {
    let Some(wire) = wire(view, left, right).filter(|it| touches(*it, within)) else {
        return;
    };
    let names = view.names();
    let free = (1..)
        .map(|it| format!("n{it}"))
        .find(|it| names.known(left.span.start, it).is_none());
    let Some(name) = free else { return };
    let [a, b] = [left, right].map(|it| it.name.of(view.text()));
    let edit = TextEdit {
        span: wire,
        text: format!("-- {name} --"),
    };
    actions.push(rewrite(
        format!("Name the node between `{a}` and `{b}`"),
        Ok(vec![edit]),
    ));
}

/// Two resistors in a row become one, if nothing else knows of the second one or of the node between them.
fn join<'v>(
    view: &'v View,
    left: &Element,
    between: Option<Span>,
    right: &Element,
    actions: &mut Vec<Action<'v>>,
) {
    let text = view.text();
    let ohms = |it: &Element| {
        let read = quantity::read(text, it.value.span).ok()?;
        let resistor = read.dimension == syntax::Dimension::OHM
            || read.form == syntax::Form::Plain && read.dimension == syntax::Dimension::NONE;
        read.value.exact().filter(|_| resistor).cloned()
    };
    let (Some(a), Some(b)) = (ohms(left), ohms(right)) else {
        return;
    };
    let sum = a + b;
    let new = notation::language(
        &analysis::Answer::Exact(sum.clone()),
        syntax::Dimension::OHM,
    );
    let exact = quantity::read(&new, Span::new(0, new.len()))
        .is_ok_and(|it| it.value.exact() == Some(&sum));
    let new = if exact { new } else { format!("{sum} ohm") };
    if quantity::read(&new, Span::new(0, new.len())).is_err() {
        return;
    }
    let [first, second] = [left, right].map(|it| it.name.of(text));
    let edits = kept_apart(view, left, between, right).map_or_else(
        || {
            Ok(vec![TextEdit {
                span: left.value.span.to(right.value.span),
                text: new.clone(),
            }])
        },
        Err,
    );
    actions.push(rewrite(
        format!("Join `{first}` and `{second}` to one resistor of {new}"),
        edits,
    ));
}

/// Why two resistors cannot be one.
fn kept_apart(
    view: &View,
    left: &Element,
    between: Option<Span>,
    right: &Element,
) -> Option<String> {
    let gap = Span {
        start: left.span.end,
        end: right.span.start,
    };
    if gap.of(view.text()).contains('#') {
        return Some("A remark stands between them.".to_owned());
    }
    let text = view.text();
    let extras = |it: &Element| -> Vec<String> {
        it.extras
            .iter()
            .map(|it| it.span.of(text).to_owned())
            .collect()
    };
    if extras(left) != extras(right) {
        return Some("Their tolerances or ratings differ.".into());
    }
    for span in [Some(left.name), Some(right.name), between]
        .into_iter()
        .flatten()
    {
        let places = crate::highlights(view, span.start);
        if let Some(other) = places.iter().find(|it| it.span != span) {
            let line = view.lines().line_at(other.span.start) + 1;
            return Some(format!("`{}` stands in line {line} too.", span.of(text)));
        }
    }
    let ground = between.is_some_and(|it| {
        let names = view.names();
        names
            .at(it.start)
            .is_some_and(|it| names.things[it.thing].kind == Kind::Ground)
    });
    ground.then(|| "`ground` lies between them.".into())
}
