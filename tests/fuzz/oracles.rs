//! What must hold of every text when it is cut, read and formatted. Each function panics where something does not.

use std::collections::BTreeSet;

use syntax::{
    Argument, Cuts, ExprKind, Form, PathItem, Rail, Span, Statement, StatementKind, TextEdit, Tree,
};

/// Tokens and comments tile the text in order, statements tile the tokens, and each line is cut alone.
pub fn lexer(text: &str) {
    let cuts = Cuts::of(text);
    let tokens: Vec<Span> = cuts.tokens().collect();
    let statements: Vec<_> = cuts.statements().collect();
    let mut covered: Vec<Span> = tokens.iter().chain(cuts.comments()).copied().collect();
    covered.extend(statements.iter().filter_map(|it| it.1));
    covered.sort_unstable();
    let mut end = 0;
    for span in &covered {
        assert!(fits(text, *span) && span.start < span.end, "{span:?}");
        assert!(end <= span.start, "{span:?} overlaps what stands before");
        assert_blank(
            text,
            Span {
                start: end,
                end: span.start,
            },
        );
        end = span.end;
    }
    let rest = Span::new(end as usize, text.len());
    assert_blank(text, rest);

    let mut next = 0;
    let mut end = 0;
    for (range, description) in &statements {
        assert!(range.start == next && range.start < range.end, "{range:?}");
        next = range.end;
        let (first, last) = (tokens[range.start], tokens[range.end - 1]);
        let above = description.map_or(first.start, |it| it.start);
        assert!(description.is_none_or(|it| it.end < first.start));
        assert!(end <= above, "a description belongs to the statement below");
        let line_begins = text[end as usize..first.start as usize].contains('\n');
        assert!(line_begins || range.start == 0, "statements begin lines");
        end = last.end;
        // Alone it is cut in the same way.
        let alone = first.to(last);
        if alone.of(text).starts_with('\u{FEFF}') {
            // At the start of a text it would be its byte-order mark.
            continue;
        }
        let again = Cuts::of(alone.of(text));
        let moved = again.tokens().map(|it| Span {
            start: it.start + alone.start,
            end: it.end + alone.start,
        });
        assert!(
            moved.eq(tokens[range.clone()].iter().copied()) && again.statements().len() == 1,
            "cut otherwise alone: {:?}",
            alone.of(text)
        );
    }
    assert_eq!(next, tokens.len(), "every token is in a statement");
}

/// The tree lies inside the text, has every statement, and tells one fault of each broken one.
pub fn parser(text: &str) {
    let tree = syntax::parse(text);
    let cuts = Cuts::of(text);
    let tokens: Vec<Span> = cuts.tokens().collect();
    assert_eq!(tree.statements.len(), cuts.statements().len());
    let mut faults = tree.faults.iter().peekable();
    for ((id, statement), (range, description)) in tree.ids().zip(cuts.statements()) {
        let all = tokens[range.start].to(tokens[range.end - 1]);
        assert_eq!((statement.span, statement.description), (all, description));
        for (name, _) in statement.names() {
            assert!(inside(name, all) && tokens[range.clone()].contains(&name));
        }
        let mut end = all.start;
        for expr in statement.kind.exprs() {
            // Of a wave, `offset`, `phase` and `duty` stand in any order.
            let reordered = matches!(statement.kind, StatementKind::Source(_));
            assert!(inside(expr.span, all) && (reordered || end <= expr.span.start));
            end = expr.span.end;
            assert_nested(text, expr);
        }
        let mut own = 0;
        while let Some(fault) = faults.next_if(|it| it.span.start <= all.end) {
            assert!(inside(fault.span, all), "{fault:?} is not in {all:?}");
            own += 1;
        }
        let broken = matches!(statement.kind, StatementKind::Broken(_));
        let opens = tree.bodies.iter().any(|it| it.head == id);
        assert!(
            own == usize::from(broken) || own == 1 && opens,
            "{own} faults of {:?}",
            all.of(text)
        );
    }
    assert!(faults.next().is_none(), "a fault outside of statements");
    for fault in &tree.faults {
        for fix in &fault.fixes {
            assert!(!fix.title.is_empty());
            assert_edits(text, &fix.edits);
        }
    }
    let mut held = BTreeSet::new();
    for body in &tree.bodies {
        assert!(body.inside.is_sorted() && body.inside.first().is_none_or(|it| body.head < *it));
        for id in &body.inside {
            assert!(held.insert(*id), "a statement in two bodies");
        }
    }
    assert!(tree.bodies.is_sorted_by_key(|it| it.head));
    let classed = syntax::tokens(text);
    assert!(classed.iter().all(|it| fits(text, it.span)));
    let ordered = |pair: &[syntax::ClassedToken]| pair[0].span.end <= pair[1].span.start;
    assert!(classed.windows(2).all(ordered), "classed tokens overlap");
}

/// The canonical form is one, says the same, and leaves broken lines and comments as they are.
pub fn formatter(text: &str) {
    let formatted = syntax::format(text);
    assert_eq!(syntax::format(&formatted), formatted, "not idempotent");
    let edits = syntax::format_edits(text);
    assert_edits(text, &edits);
    assert_eq!(applied(text, &edits), formatted, "edits are the whole form");
    let (before, after) = (Said::of(text), Said::of(&formatted));
    assert_eq!(before.statements(), after.statements(), "\n{formatted}");
    assert_eq!(before.around(), after.around(), "\n{formatted}");
}

pub fn fits(text: &str, span: Span) -> bool {
    span.start <= span.end && text.get(span.range()).is_some()
}

fn inside(span: Span, outer: Span) -> bool {
    outer.start <= span.start && span.start <= span.end && span.end <= outer.end
}

/// Nothing but what separates tokens: a `\r` only before a line's end or behind a remark.
fn assert_blank(text: &str, gap: Span) {
    let mark = if gap.start == 0 { "\u{FEFF}" } else { "" };
    let gap = gap.of(text);
    let gap = gap.strip_prefix(mark).unwrap_or(gap);
    let blank = |it: char| matches!(it, ' ' | '\t' | '\n' | '\r' | '\u{A0}' | '\u{202F}');
    assert!(gap.chars().all(blank), "skipped: {gap:?}");
}

fn assert_nested(text: &str, expr: &syntax::Expr) {
    assert!(fits(text, expr.span));
    let mut end = expr.span.start;
    for operand in expr.operands() {
        assert!(inside(operand.span, expr.span) && end <= operand.span.start);
        end = operand.span.end;
        assert_nested(text, operand);
    }
    if let ExprKind::Binary { sign, .. } = expr.kind {
        assert!(inside(sign, expr.span));
    }
}

/// Edits can be made one after the other from the last to the first.
pub fn assert_edits(text: &str, edits: &[TextEdit]) {
    let apart = |pair: &[TextEdit]| pair[0].span.end <= pair[1].span.start;
    assert!(edits.windows(2).all(apart), "edits overlap: {edits:?}");
    assert!(edits.iter().all(|it| fits(text, it.span)), "{edits:?}");
}

fn applied(text: &str, edits: &[TextEdit]) -> String {
    let mut out = text.to_owned();
    for edit in edits.iter().rev() {
        out.replace_range(edit.span.range(), &edit.text);
    }
    out
}

/// What a text says, in words that do not depend on its spelling.
struct Said<'t> {
    text: &'t str,
    tree: Tree,
    tokens: Vec<Span>,
}

impl<'t> Said<'t> {
    fn of(text: &'t str) -> Said<'t> {
        Said {
            text,
            tree: syntax::parse(text),
            tokens: Cuts::of(text).tokens().collect(),
        }
    }

    fn statements(&self) -> Vec<String> {
        let statements = self.tree.statements.iter();
        statements.map(|it| self.statement(it)).collect()
    }

    /// Bodies, faults and remarks.
    fn around(&self) -> Vec<String> {
        let bodies = self.tree.bodies.iter().map(|it| format!("{it:?}"));
        let faults = self.tree.faults.iter().map(|it| it.kind.id().to_owned());
        let remarks = self.tree.comments.iter();
        let remarks = remarks.map(|it| it.of(self.text).trim_end().to_owned());
        bodies.chain(faults).chain(remarks).collect()
    }

    fn statement(&self, it: &Statement) -> String {
        let said = match &it.kind {
            // A line that could not be read, exactly; so are the lines that it goes on in.
            StatementKind::Broken(_) => self.lines(it.span).to_owned(),
            StatementKind::Supply(rails) => self.rails(rails),
            StatementKind::Device(device) => {
                let clauses = device.clauses.iter();
                let mut clauses: Vec<String> = clauses
                    .map(|it| match &it.argument {
                        Argument::Rails(rails) => format!("supply {}", self.rails(rails)),
                        said => format!("{} {}", it.word.of(self.text), self.words(said, false)),
                    })
                    .collect();
                clauses.sort();
                let [kind, name] = [device.kind, device.name].map(|it| it.of(self.text));
                format!("{kind} {name} {clauses:?}")
            }
            StatementKind::Path(items) => {
                let items = items.iter().map(|it| match it {
                    PathItem::Node(name) => name.of(self.text).to_owned(),
                    PathItem::Element(it) => format!(
                        "{} {} {}",
                        it.name.of(self.text),
                        self.words(&it.value, matches!(it.value.kind, ExprKind::Quantity)),
                        self.words(&it.extras, false)
                    ),
                });
                items.collect::<Vec<_>>().join(" -- ")
            }
            kind => self.words(kind, false),
        };
        let description = it.description.map_or("", |it| it.of(self.text));
        let description: Vec<&str> = description.lines().map(str::trim).collect();
        format!("{} {said}", description.join("\n"))
    }

    /// The whole lines of a span.
    fn lines(&self, span: Span) -> &'t str {
        let (start, end) = (span.start as usize, span.end as usize);
        let start = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
        let end = self.text[end..]
            .find('\n')
            .map_or(self.text.len(), |at| end + at);
        self.text[start..end].trim_end_matches('\r')
    }

    /// Rails in any order; a plus sign says nothing.
    fn rails(&self, rails: &[Rail]) -> String {
        let mut rails: Vec<String> = rails
            .iter()
            .map(|rail| match rail {
                Rail::Node(name) => name.of(self.text).to_owned(),
                Rail::Value {
                    negative, value, ..
                } => {
                    format!(
                        "{} {}",
                        if *negative { "-" } else { "+" },
                        self.words(value, false)
                    )
                }
            })
            .collect();
        rails.sort();
        rails.join(" and ")
    }

    /// A piece of the tree with the words of each span instead of its place; with `ohms` a plain number is in ohms.
    fn words(&self, it: &impl std::fmt::Debug, ohms: bool) -> String {
        let shown = format!("{it:?}");
        let mut out = String::new();
        let mut rest = shown.as_str();
        while let Some((before, after)) = rest.split_once("Span { start: ") {
            let (start, after) = after.split_once(", end: ").expect("a span");
            let (end, after) = after.split_once(" }").expect("a span");
            let offset = |it: &str| it.parse::<usize>().expect("an offset");
            out.push_str(before);
            out.push_str(&self.spelled(Span::new(offset(start), offset(end)), ohms));
            rest = after;
        }
        out + rest
    }

    /// The tokens of a span, quantities by what they come to.
    fn spelled(&self, span: Span, ohms: bool) -> String {
        let first = self.tokens.partition_point(|it| it.start < span.start);
        let tokens = self.tokens[first..].iter();
        let tokens = tokens.take_while(|it| it.end <= span.end);
        let spelled = tokens.map(|token| {
            let text = token.of(self.text);
            if !text.starts_with(|it: char| it.is_ascii_digit()) {
                return text.replace('−', "-");
            }
            match syntax::quantity::read(self.text, *token) {
                Ok(it) if ohms && it.form == Form::Plain => {
                    format!("{:?} {:?}", it.value, syntax::Dimension::OHM)
                }
                Ok(it) if it.form == Form::Unit => format!("{:?} {:?}", it.value, it.dimension),
                Ok(it) => format!("{:?} {:?} {:?}", it.value, it.dimension, it.form),
                Err(_) => text.to_owned(),
            }
        });
        format!("`{}`", spelled.collect::<Vec<_>>().join(" "))
    }
}
