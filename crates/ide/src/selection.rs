//! Ever larger stretches around the caret: word, quantity, element, clause, path, statement, body, circuit, file.

use syntax::{Argument, Expr, PathItem, Rail, Span, Statement, StatementKind};

use crate::View;

/// The stretches around `offset`, smallest first; each lies in the next and is smaller.
pub fn selection(view: &View, offset: u32) -> Vec<Span> {
    let tree = view.tree();
    let whole = Span::new(0, view.text().len());
    let mut spans = Vec::new();
    let touched = view.tokens().iter().filter(|it| it.span.touches(offset));
    spans.extend(touched.map(|it| it.span));
    if let Some(id) = tree.statement_at(offset) {
        let statement = tree.statement(id);
        inside(statement, &mut spans);
        spans.push(statement.span);
        spans.extend(statement.description.map(|it| it.to(statement.span)));
    }
    for body in &tree.bodies {
        let head = tree.statement(body.head);
        let last = body
            .end
            .or(body.inside.last().copied())
            .unwrap_or(body.head);
        spans.push(head.span.to(tree.statement(last).span));
    }
    spans.push(whole);
    spans.retain(|it| it.touches(offset));
    // Smallest first; of two that overlap only in part the later one goes.
    spans.sort_by_key(|it| it.end - it.start);
    let mut chain: Vec<Span> = Vec::new();
    for span in spans {
        let grows = chain.last().is_none_or(|inner| {
            span.start <= inner.start && inner.end <= span.end && span != *inner
        });
        if grows {
            chain.push(span);
        }
    }
    chain
}

/// What a statement is made of.
fn inside(statement: &Statement, spans: &mut Vec<Span>) {
    for it in statement.kind.exprs() {
        expr(it, spans);
    }
    match &statement.kind {
        StatementKind::Path(items) => {
            for item in items {
                if let PathItem::Element(it) = item {
                    spans.push(it.name.to(it.value.span));
                    let last = it.extras.last().map_or(it.span, |last| last.span);
                    spans.push(it.span.to(last));
                }
            }
            // The element with its two ends.
            for three in items.windows(3) {
                if let [
                    PathItem::Node(left),
                    PathItem::Element(_),
                    PathItem::Node(right),
                ] = three
                {
                    spans.push(left.to(*right));
                }
            }
        }
        StatementKind::Device(device) => {
            spans.extend(device.clauses.iter().map(|it| it.span));
            for clause in &device.clauses {
                if let Argument::Rails(rails) = &clause.argument {
                    signed(rails, spans);
                }
            }
            if let (Some(first), Some(last)) = (device.clauses.first(), device.clauses.last()) {
                spans.push(first.span.to(last.span));
            }
        }
        StatementKind::Source(source) => spans.push(source.drive.span),
        StatementKind::Supply(rails) => signed(rails, spans),
        _ => {}
    }
}

/// Rails with their signs, which are no part of their expressions.
fn signed(rails: &[Rail], spans: &mut Vec<Span>) {
    spans.extend(rails.iter().filter_map(|it| match it {
        Rail::Value { span, .. } => Some(*span),
        Rail::Node(_) => None,
    }));
}

fn expr(it: &Expr, spans: &mut Vec<Span>) {
    spans.push(it.span);
    for operand in it.operands() {
        expr(operand, spans);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    fn steps(marked: &str) -> Vec<String> {
        let (view, spans) = open(marked);
        let chain = selection(&view, spans[0].start);
        chain
            .iter()
            .map(|it| it.of(view.text()).to_owned())
            .collect()
    }

    #[test]
    fn stretches_grow_from_the_word_to_the_file() {
        assert_eq!(
            steps("circuit c\n## d\nin -- R1 1«»0k 1 % -- out -- R2 1k -- ground\n"),
            [
                "10k",
                "R1 10k",
                "R1 10k 1 %",
                "in -- R1 10k 1 % -- out",
                "in -- R1 10k 1 % -- out -- R2 1k -- ground",
                "## d\nin -- R1 10k 1 % -- out -- R2 1k -- ground",
                "circuit c\n## d\nin -- R1 10k 1 % -- out -- R2 1k -- ground",
                "circuit c\n## d\nin -- R1 10k 1 % -- out -- R2 1k -- ground\n",
            ]
        );
        let clause = steps("opamp A1: plus a, minus «»fb, drives o\n");
        assert_eq!(
            clause[..3],
            ["fb", "minus fb", "plus a, minus fb, drives o"]
        );
        assert_eq!(
            steps("let a = 2 * (b + «»c)")[..3],
            ["c", "b + c", "(b + c)"]
        );
        assert_eq!(steps("«»")[..], [""]);
        assert_eq!(
            steps("supply +9 V and «»-9 V\n")[..3],
            ["-", "-9 V", "supply +9 V and -9 V"]
        );
        assert_eq!(steps("a -- R1 1k -- b\n«»\n").len(), 1, "a blank line");
    }
}
