//! The canonical form: one way to write a thing, so that a line of difference is a difference of circuits.
//!
//! Spelling changes (spaces, units, marking codes, the order of clauses and rails); digits, prefixes, the order of lines and
//! where a path is cut do not. A line that could not be read stays exactly as it is.

use std::cmp::Ordering;

use crate::lexer::{Lexed, Tok, Token, lex};
use crate::{
    Argument, BodyKind, Device, Element, Expr, ExprKind, PathItem, Rail, SourceForm, Span,
    Statement, StatementKind, TextEdit, Tree, quantity, units,
};

/// Columns of a line, its comment left out.
const WIDTH: usize = 100;

/// A text in its canonical form. Idempotent; the tree stays the same but for spans.
pub fn format(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for segment in segments(text) {
        match segment.new {
            Some(new) => out.push_str(&new),
            None => out.push_str(segment.old.of(text)),
        }
    }
    out
}

/// The replacements that make a text canonical, one a statement or a run of comments; they do not overlap.
pub fn format_edits(text: &str) -> Vec<TextEdit> {
    let changed = |it: Segment| {
        let new = it.new?;
        (new != it.old.of(text)).then_some(TextEdit {
            span: it.old,
            text: new,
        })
    };
    segments(text).into_iter().filter_map(changed).collect()
}

/// A stretch of whole lines and what becomes of it; `None`: it stays.
struct Segment {
    old: Span,
    new: Option<String>,
}

fn segments(text: &str) -> Vec<Segment> {
    let tree = crate::parse(text);
    let lexed = lex(text);
    // Beyond the limits of the language nothing was read, so nothing is touched.
    if tree.statements.len() != lexed.cuts.len() {
        return vec![Segment {
            old: Span::new(0, text.len()),
            new: None,
        }];
    }
    let newline = if text.contains("\r\n") { "\r\n" } else { "\n" };
    Formatter {
        text,
        lines: lines(text),
        depths: depths(&tree),
        insides: insides(&tree),
        tree: &tree,
        lexed: &lexed,
        newline,
    }
    .run()
}

/// Each line with its end.
fn lines(text: &str) -> Vec<Span> {
    let mut at = 0;
    let mut lines: Vec<Span> = text
        .split_inclusive('\n')
        .map(|line| {
            let span = Span::new(at, at + line.len());
            at += line.len();
            span
        })
        .collect();
    if lines.is_empty() {
        lines.push(Span::default());
    }
    lines
}

/// How far each statement is indented: inside a part, a block or a sheet by one step.
fn depths(tree: &Tree) -> Vec<usize> {
    let mut depths = vec![0; tree.statements.len()];
    for body in &tree.bodies {
        if body.kind != BodyKind::Circuit {
            for id in &body.inside {
                depths[id.0 as usize] = 1;
            }
        }
    }
    depths
}

/// From the head of each part, block and sheet to its `end`, or to the last line that it holds; none lies in another.
fn insides(tree: &Tree) -> Vec<Span> {
    let bodies = tree.bodies.iter();
    let indented = bodies.filter(|body| body.kind != BodyKind::Circuit);
    let inside = indented.map(|body| {
        let head = tree.statement(body.head).span;
        let last = body.end.or(body.inside.last().copied());
        Span {
            start: head.start,
            end: last.map_or(head.end, |id| tree.statement(id).span.start),
        }
    });
    inside.collect()
}

struct Formatter<'t> {
    text: &'t str,
    lines: Vec<Span>,
    depths: Vec<usize>,
    insides: Vec<Span>,
    tree: &'t Tree,
    lexed: &'t Lexed,
    newline: &'static str,
}

impl Formatter<'_> {
    fn run(&self) -> Vec<Segment> {
        let mut segments: Vec<Segment> = Vec::new();
        let mut line = 0;
        let mut blank = false;
        let mut written = false;
        let mut next = 0;
        while line < self.lines.len() {
            let statement = self.tree.statements.get(next);
            let (first, last) = match statement {
                Some(it) if self.line_of(it.span.start) == line => {
                    (line, self.line_of(it.span.end.max(1) - 1))
                }
                _ => (line, line),
            };
            let old = self.lines[first].to(self.lines[last.min(self.lines.len() - 1)]);
            let owned = statement.is_some_and(|it| self.line_of(it.span.start) == line);
            let content = if owned {
                let index = next;
                next += 1;
                self.statement(index, first, last)
            } else {
                let comment = old.of(self.text).trim_start_matches('\u{FEFF}').trim();
                let comment = comment.trim_matches(['\u{A0}', '\u{202F}']);
                (!comment.is_empty()).then(|| {
                    format!(
                        "{}{comment}{}",
                        " ".repeat(2 * self.depth_at(next, old.start)),
                        self.newline
                    )
                })
            };
            match content {
                Some(content) => {
                    let gap = if blank && written { self.newline } else { "" };
                    segments.push(Segment {
                        old,
                        new: Some(format!("{gap}{content}")),
                    });
                    (blank, written) = (false, true);
                }
                // Blank lines are put back before what follows them, one at most; behind the last line none.
                None => {
                    blank = true;
                    segments.push(Segment {
                        old,
                        new: Some(String::new()),
                    });
                }
            }
            line = last + 1;
        }
        segments
    }

    fn line_of(&self, offset: u32) -> usize {
        self.lines
            .partition_point(|it| it.start <= offset)
            .saturating_sub(1)
    }

    /// A comment is indented like the statement below it; before an `end` like what stands above that.
    fn depth_at(&self, next: usize, offset: u32) -> usize {
        let after = self.insides.partition_point(|it| it.start < offset);
        let inside = after > 0 && offset < self.insides[after - 1].end;
        let below = self.depths.get(next).copied().unwrap_or(0);
        below.max(usize::from(inside))
    }

    /// A statement's lines, or exactly what stands there where it could not be read.
    fn statement(&self, index: usize, first: usize, last: usize) -> Option<String> {
        let statement = &self.tree.statements[index];
        let cut = &self.lexed.cuts[index];
        let tokens = &self.lexed.tokens[cut.first..cut.end];
        let raw = self.lines[first].to(self.lines[last]).of(self.text);
        if matches!(statement.kind, StatementKind::Broken(_)) {
            return Some(raw.to_owned());
        }
        let indent = 2 * self.depths[index];
        let mut out = String::new();
        if self.has_comment_inside(statement.span) {
            // Where a comment stands inside, the lines stay as they are cut.
            let pieces = pieces(self.text, tokens, statement);
            let mut rest = pieces.as_slice();
            for line in first..=last {
                let span = self.lines[line];
                let here = rest.iter().take_while(|it| it.at < span.end).count();
                let (own, below) = rest.split_at(here);
                rest = below;
                let mut code = join(own);
                if let Some(comment) = self.comment_in(span) {
                    code.push_str(if code.is_empty() { "" } else { "  " });
                    code.push_str(comment);
                }
                if !code.is_empty() {
                    let indent = if line == first { indent } else { indent + 4 };
                    out.push_str(&format!("{}{code}{}", " ".repeat(indent), self.newline));
                }
            }
        } else {
            let pieces = ordered(self.text, tokens, statement);
            let lines = wrapped(&pieces, indent);
            for (number, line) in lines.iter().enumerate() {
                let indent = if number == 0 { indent } else { indent + 4 };
                out.push_str(&" ".repeat(indent));
                out.push_str(line);
                if let (true, Some(comment)) =
                    (number + 1 == lines.len(), self.comment_in(self.lines[last]))
                {
                    out.push_str(&format!("  {comment}"));
                }
                out.push_str(self.newline);
            }
        }
        Some(out)
    }

    fn has_comment_inside(&self, statement: Span) -> bool {
        self.comment_from(statement.start)
            .is_some_and(|it| it.start < statement.end)
    }

    fn comment_from(&self, offset: u32) -> Option<Span> {
        let comments = &self.lexed.comments;
        let before = comments.partition_point(|it| it.start < offset);
        comments.get(before).copied()
    }

    fn comment_in(&self, line: Span) -> Option<&str> {
        let comment = self.comment_from(line.start)?;
        (comment.start < line.end).then(|| comment.of(self.text).trim_end())
    }
}

/// A token as it is written, and how it stands to its neighbours.
#[derive(Clone, Debug)]
struct Piece {
    at: u32,
    tok: Tok,
    text: String,
    /// A sign that belongs to what follows.
    unary: bool,
    /// How many brackets are open before it.
    depth: usize,
}

/// The tokens of a statement in canonical spelling.
fn pieces(text: &str, tokens: &[Token], statement: &Statement) -> Vec<Piece> {
    let mut marks = Marks::default();
    marks.statement(&statement.kind);
    marks.binary.sort_unstable();
    let mut depth = 0usize;
    let mut pieces = Vec::with_capacity(tokens.len());
    for (index, (tok, span)) in tokens.iter().enumerate() {
        if *tok == Tok::Close {
            depth = depth.saturating_sub(1);
        }
        let written = span.of(text);
        let spelled = match tok {
            Tok::Minus => "-".to_owned(),
            Tok::Wire => "--".to_owned(),
            _ if tok.is_quantity() => {
                spelled(written, marks.bare_ohms.binary_search(&span.start).is_ok())
            }
            _ => written.to_owned(),
        };
        let sign = matches!(tok, Tok::Minus | Tok::Plus);
        let binary = sign && marks.binary.binary_search(&span.start).is_ok();
        let held = marks.held && index == 4;
        // The plus sign of a rail is written only beside a negative one.
        if *tok == Tok::Plus && !binary && !marks.negative_rail {
            continue;
        }
        pieces.push(Piece {
            at: span.start,
            tok: *tok,
            text: spelled,
            unary: sign && !held && !binary,
            depth,
        });
        if matches!(tok, Tok::Open | Tok::Call) {
            depth += 1;
        }
    }
    if marks.negative_rail {
        add_plus_signs(&mut pieces, &marks);
    }
    pieces
}

/// `supply 9 V and -9 V` → `supply +9 V and -9 V`
fn add_plus_signs(pieces: &mut Vec<Piece>, marks: &Marks) {
    for start in &marks.positive_rails {
        let Some(index) = pieces.iter().position(|it| it.at == *start) else {
            continue;
        };
        let signed = index
            .checked_sub(1)
            .is_some_and(|before| pieces[before].tok == Tok::Plus);
        if pieces[index].tok != Tok::Plus && !signed {
            let (at, depth) = (pieces[index].at, pieces[index].depth);
            pieces.insert(
                index,
                Piece {
                    at,
                    tok: Tok::Plus,
                    text: "+".into(),
                    unary: true,
                    depth,
                },
            );
        }
    }
}

/// The pieces with clauses in the order of the table and the higher rail first.
fn ordered(text: &str, tokens: &[Token], statement: &Statement) -> Vec<Piece> {
    let mut pieces = pieces(text, tokens, statement);
    match &statement.kind {
        StatementKind::Supply(rails) => swap_rails(text, &mut pieces, rails),
        StatementKind::Device(device) => {
            for clause in &device.clauses {
                if let Argument::Rails(rails) = &clause.argument {
                    swap_rails(text, &mut pieces, rails);
                }
            }
            order_clauses(text, &mut pieces, device);
        }
        _ => {}
    }
    pieces
}

fn order_clauses(text: &str, pieces: &mut Vec<Piece>, device: &Device) {
    let table: &[&str] = match device.kind.of(text) {
        "opamp" | "comparator" => &["plus", "minus", "drives", "part", "supply"],
        "switch" => &["from", "to", "open", "closed"],
        "pot" => &["from", "to", "wiper", "total", "at"],
        "diode" => &["anode", "cathode", "part"],
        "electrolytic" => &["plus", "minus", "value", "rated"],
        _ => return,
    };
    let place = |word: &str| {
        table
            .iter()
            .position(|it| *it == word)
            .unwrap_or(table.len())
    };
    let mut clauses: Vec<_> = device.clauses.iter().collect();
    clauses.sort_by_key(|it| place(it.word.of(text)));
    let Some(first) = device.clauses.first() else {
        return;
    };
    // Rails may have changed places inside their clause; clause by clause the pieces are still in order.
    let before = |offset: u32| pieces.partition_point(|it| it.at < offset);
    let mut sorted = pieces[..before(first.span.start)].to_vec();
    for (index, clause) in clauses.iter().enumerate() {
        if index > 0 {
            let at = clause.span.start;
            sorted.push(Piece {
                at,
                tok: Tok::Comma,
                text: ",".into(),
                unary: false,
                depth: 0,
            });
        }
        let inside = before(clause.span.start)..before(clause.span.end);
        sorted.extend_from_slice(&pieces[inside]);
    }
    *pieces = sorted;
}

fn swap_rails(text: &str, pieces: &mut [Piece], rails: &[Rail]) {
    let [a @ Rail::Value { .. }, b @ Rail::Value { .. }] = rails else {
        return;
    };
    let (Some(first), Some(second)) = (volts(text, a), volts(text, b)) else {
        return;
    };
    if first.compare(&second) != Some(Ordering::Less) {
        return;
    }
    let of = |rail: &Rail| match rail {
        Rail::Node(span) => *span,
        Rail::Value { span, .. } => *span,
    };
    let range = |span: Span| {
        let start = pieces.iter().position(|it| span.start <= it.at)?;
        let end = pieces.iter().rposition(|it| it.at < span.end)? + 1;
        Some(start..end)
    };
    if let (Some(left), Some(right)) = (range(of(a)), range(of(b))) {
        let between = pieces[left.end..right.start].to_vec();
        let swapped: Vec<Piece> = pieces[right.clone()]
            .iter()
            .cloned()
            .chain(between)
            .chain(pieces[left.clone()].iter().cloned())
            .collect();
        for (slot, piece) in pieces[left.start..right.end].iter_mut().zip(swapped) {
            *slot = piece;
        }
    }
}

/// A rail's value where it is a plain quantity.
fn volts(text: &str, rail: &Rail) -> Option<crate::Number> {
    let Rail::Value {
        negative, value, ..
    } = rail
    else {
        return None;
    };
    if !matches!(value.kind, ExprKind::Quantity) {
        return None;
    }
    let volts = quantity::read(text, value.span).ok()?.value;
    Some(if *negative { volts.neg() } else { volts })
}

/// Whether a space stands between two pieces.
fn spaced(left: &Piece, right: &Piece) -> bool {
    !(left.unary
        || matches!(left.tok, Tok::Open | Tok::Call | Tok::Caret)
        || matches!(
            right.tok,
            Tok::Close | Tok::Comma | Tok::Colon | Tok::Caret | Tok::Call
        ))
}

fn join(pieces: &[Piece]) -> String {
    let mut out = String::new();
    let mut last: Option<&Piece> = None;
    for piece in pieces {
        if last.is_some_and(|last| spaced(last, piece)) {
            out.push(' ');
        }
        out.push_str(&piece.text);
        last = Some(piece);
    }
    out
}

/// The lines of a statement: cut before the last ` -- ` or `, ` within the width; texts one a line if all do not fit.
fn wrapped(pieces: &[Piece], indent: usize) -> Vec<String> {
    let whole = join(pieces);
    if indent + whole.chars().count() <= WIDTH {
        return vec![whole];
    }
    let texts = pieces.iter().filter(|it| it.tok == Tok::Text).count();
    let mut lines = Vec::new();
    if texts > 1 {
        // Each text but the first begins a line; what follows the last text stays behind it.
        let mut seen = 0;
        let mut start = 0;
        for (index, piece) in pieces.iter().enumerate() {
            if piece.tok == Tok::Text {
                seen += 1;
                if seen > 1 {
                    lines.push(join(&pieces[start..index]));
                    start = index;
                }
            }
        }
        lines.push(join(&pieces[start..]));
        return lines;
    }
    let mut rest = pieces;
    let mut room = WIDTH.saturating_sub(indent);
    while let Some(cut) = cut(rest, room) {
        lines.push(join(&rest[..cut]));
        rest = &rest[cut..];
        room = WIDTH.saturating_sub(indent + 4);
    }
    lines.push(join(rest));
    lines
}

/// Where a line is cut: before the last ` -- ` or `, ` that lets it keep within the room, else before the first one. Nowhere
/// if all of it fits, or nothing can be cut.
fn cut(rest: &[Piece], room: usize) -> Option<usize> {
    let mut width = 0;
    let mut cut = None;
    for (index, piece) in rest.iter().enumerate() {
        let may = matches!(piece.tok, Tok::Wire | Tok::Comma) && piece.depth == 0;
        if index > 0 && may && (width <= room || cut.is_none()) {
            cut = Some(index);
        }
        let space = index > 0 && spaced(&rest[index - 1], piece);
        width += usize::from(space) + piece.text.chars().count();
        if width > room && cut.is_some() {
            return cut;
        }
    }
    None
}

/// A number with its unit: `4K7` → `4.7k`, `10kΩ` → `10k`, `1%` → `1 %`, `µ` → `u`; with `bare` ohms are left unsaid.
fn spelled(written: &str, bare: bool) -> String {
    let split = written
        .char_indices()
        .find(|(at, it)| {
            !(it.is_ascii_digit()
                || matches!(it, '.' | '+' | '-' | '−')
                || is_exponent(written, *at))
        })
        .map_or(written.len(), |(at, _)| at);
    let (number, unit) = written.split_at(split);
    let number = number.trim().replace('−', "-");
    let unit = unit.trim();
    if unit.is_empty() {
        return number;
    }
    if units::unit(unit.split('/').next().unwrap_or(unit)).is_none()
        && let Some((_, digits)) = units::marking(unit)
    {
        let letter: String = unit.chars().take(1).collect();
        let number = if digits.is_empty() {
            number
        } else {
            format!("{number}.{digits}")
        };
        let farads = unit.ends_with('F');
        return match letter.as_str() {
            "R" if bare => number,
            "R" => format!("{number} ohm"),
            "K" => format!("{number}k"),
            "T" => format!("{number} Tohm"),
            _ if farads => format!("{number} {}F", letter.replace(['µ', 'μ'], "u")),
            _ => format!("{number}{letter}"),
        };
    }
    let unit = unit
        .replace(['µ', 'μ'], "u")
        .replace(['\u{3A9}', '\u{2126}'], "ohm");
    match unit.as_str() {
        "k" | "M" | "G" => format!("{number}{unit}"),
        "kohm" | "Mohm" | "Gohm" => format!("{number}{}", &unit[..1]),
        "ohm" if bare => number,
        _ => format!("{number} {unit}"),
    }
}

/// Whether the letter at this place is the `e` of an exponent.
fn is_exponent(written: &str, at: usize) -> bool {
    let mut rest = written[at..].chars();
    let digits = |it: Option<char>| it.is_some_and(|it| it.is_ascii_digit());
    rest.next() == Some('e')
        && match rest.next() {
            Some('+' | '-' | '−') => digits(rest.next()),
            other => digits(other),
        }
}

/// What the tree knows of a statement's signs and values.
#[derive(Default)]
struct Marks {
    /// Where the signs between two operands stand.
    binary: Vec<u32>,
    /// Where an element's value stands, whose ohms are left unsaid.
    bare_ohms: Vec<u32>,
    /// A source of the form `a - b = …`: its first sign stands between nodes.
    held: bool,
    /// One of two rails is negative.
    negative_rail: bool,
    /// Where the rails above zero begin beside a negative one.
    positive_rails: Vec<u32>,
}

impl Marks {
    fn statement(&mut self, kind: &StatementKind) {
        kind.exprs().into_iter().for_each(|it| self.expr(it));
        match kind {
            StatementKind::Path(items) => {
                for item in items {
                    if let PathItem::Element(Element { value, .. }) = item
                        && matches!(value.kind, ExprKind::Quantity)
                    {
                        self.bare_ohms.push(value.span.start);
                    }
                }
            }
            StatementKind::Source(source) => {
                self.held = matches!(source.form, SourceForm::Held { minus: Some(_), .. });
            }
            StatementKind::Supply(rails) => self.rails(rails),
            StatementKind::Device(device) => device.clauses.iter().for_each(|clause| {
                if let Argument::Rails(rails) = &clause.argument {
                    self.rails(rails);
                }
            }),
            _ => {}
        }
    }

    fn rails(&mut self, rails: &[Rail]) {
        self.negative_rail = rails
            .iter()
            .any(|it| matches!(it, Rail::Value { negative: true, .. }));
        for rail in rails {
            if let Rail::Value {
                span,
                negative: false,
                value,
            } = rail
                && self.negative_rail
                && matches!(value.kind, ExprKind::Quantity)
            {
                self.positive_rails.push(span.start);
            }
        }
    }

    fn expr(&mut self, expr: &Expr) {
        if let ExprKind::Binary { sign, .. } = &expr.kind {
            self.binary.push(sign.start);
        }
        expr.operands().into_iter().for_each(|it| self.expr(it));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(cases: &[(&str, &str)]) {
        for (text, expected) in cases {
            let formatted = format(text);
            assert_eq!(formatted, *expected, "of {text:?}");
            assert_eq!(format(&formatted), formatted, "again of {text:?}");
        }
    }

    #[test]
    fn one_way_to_write_a_thing() {
        check(&[
            ("in--R1 10kΩ--out", "in -- R1 10k -- out\n"),
            (
                "in -- R1 4K7 1% -- a -- R2 2R2 -- b -- R3 100R -- c",
                "in -- R1 4.7k 1 % -- a -- R2 2.2 -- b -- R3 100 -- c\n",
            ),
            (
                "in -- C1 4n7F -- a -- C2 100µF 25V -- b",
                "in -- C1 4.7 nF -- a -- C2 100 uF 25 V -- b\n",
            ),
            ("let r=2R2*( 1+3 )^2", "let r = 2.2 ohm * (1 + 3)^2\n"),
            ("let x = -2 ^ -2 - - 3 dB", "let x = -2^-2 - -3 dB\n"),
            (
                "let x = parallel( 10k ,22k )",
                "let x = parallel(10k, 22k)\n",
            ),
            ("source s :a-b=−5V", "source s: a - b = -5 V\n"),
            (
                "source s: -5mA from a into b",
                "source s: -5 mA from a into b\n",
            ),
            (
                "source w: a = sine 2Vpp at 1kHz offset -1 V",
                "source w: a = sine 2 Vpp at 1 kHz offset -1 V\n",
            ),
            (
                "opamp A1 : drives out,minus fb , plus in",
                "opamp A1: plus in, minus fb, drives out\n",
            ),
            ("supply -9V and 9V", "supply +9 V and -9 V\n"),
            ("supply +5 V", "supply 5 V\n"),
            ("supply +12 V and +5 V", "supply 12 V and 5 V\n"),
            ("supply 5 V and 12 V", "supply 12 V and 5 V\n"),
            (
                "opamp A2: plus n, minus fb, drives q, supply -9 V and 9 V, part ideal",
                "opamp A2: plus n, minus fb, drives q, part ideal, supply +9 V and -9 V\n",
            ),
            (
                "pot P1: at 25%, total 10k, wiper w, to ground, from h",
                "pot P1: from h, to ground, wiper w, total 10k, at 25 %\n",
            ),
            (
                "expect current( R1 )=1mA within 1%# why",
                "expect current(R1) = 1 mA within 1 %  # why\n",
            ),
            (
                "part p\ngain 1e+5\nslew 6V/us\n# c\nend",
                "part p\n  gain 1e+5\n  slew 6 V/us\n  # c\nend\n",
            ),
            ("\n\n# a\n\n\n#b  \nlet a=1\n\n", "# a\n\n#b\nlet a = 1\n"),
            ("", ""),
            ("\n\n", ""),
        ]);
    }

    #[test]
    fn bad_lines_stay_as_they_are() {
        check(&[
            (
                "let a=1\n  in--R1--out # x\nlet b=2",
                "let a = 1\n  in--R1--out # x\nlet b = 2\n",
            ),
            ("in - R1   10k", "in - R1   10k"),
        ]);
    }

    #[test]
    fn long_statements_are_cut_before_wires_commas_and_texts() {
        let path = format!(
            "in{}",
            (1..12)
                .map(|n| format!(" -- R{n} 10k -- n{n}"))
                .collect::<String>()
        );
        let formatted = format(&path);
        assert_eq!(formatted.lines().count(), 2, "{formatted}");
        assert!(formatted.lines().all(|it| it.chars().count() <= WIDTH));
        assert!(
            formatted
                .lines()
                .nth(1)
                .is_some_and(|it| it.starts_with("    -- "))
        );
        assert_eq!(format(&formatted), formatted);
        let long = "x".repeat(60);
        check(&[
            (
                &format!("problem \"{long}\" \"{long}\" points 3"),
                &format!("problem \"{long}\"\n    \"{long}\" points 3\n"),
            ),
            ("ask \"a\"\n  \"b\"", "ask \"a\" \"b\"\n"),
            (
                "in -- R1 10k\n # here\n -- out",
                "in -- R1 10k\n    # here\n    -- out\n",
            ),
        ]);
    }
}
