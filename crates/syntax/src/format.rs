//! The canonical form: one way to write a thing, so that a line of difference is a difference of circuits.
//!
//! Spelling changes (spaces, units, marking codes, the order of clauses and rails); digits, prefixes, the order of lines and
//! where a path is cut do not. A line that could not be read stays exactly as it is.

use std::cmp::Ordering;

use crate::lexer::{Lexed, Tok, Token, lex};
use crate::{
    Argument, BodyKind, Device, Expr, ExprKind, PathItem, Rail, SourceForm, Span, Statement,
    StatementKind, TextEdit, Tree, quantity, units,
};

/// Columns of a line, its comment left out.
const WIDTH: usize = 100;

/// A text in its canonical form. Idempotent; the tree stays the same but for spans.
pub fn format(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    each_stretch(text, &mut |_, new| out.push_str(new));
    out
}

/// The replacements that make a text canonical, one a statement, a comment or a run of blank lines; they do not overlap.
pub fn format_edits(text: &str) -> Vec<TextEdit> {
    let mut edits = Vec::new();
    each_stretch(text, &mut |span, new| {
        if new != span.of(text) {
            edits.push(TextEdit {
                span,
                text: new.to_owned(),
            });
        }
    });
    edits
}

/// Hears of each stretch of whole lines, in order, and of what becomes of it.
type Write<'w> = &'w mut dyn FnMut(Span, &str);

fn each_stretch(text: &str, write: Write) {
    let tree = crate::parse(text);
    if text.len() > crate::LARGEST_FILE {
        return write(Span::new(0, text.len()), text);
    }
    let lexed = lex(text);
    // Beyond the limits of the language nothing was read, so nothing is touched.
    if tree.statements.len() != lexed.cuts.len() {
        return write(Span::new(0, text.len()), text);
    }
    let newline = if text.contains("\r\n") { "\r\n" } else { "\n" };
    Formatter {
        text,
        lines: lines(text),
        depths: depths(&tree),
        inside: inside(&tree),
        tree: &tree,
        lexed: &lexed,
        newline,
    }
    .run(write);
}

/// Where each line begins.
fn lines(text: &str) -> Vec<u32> {
    let ends = text.bytes().zip(1..).filter(|it| it.0 == b'\n');
    let starts = std::iter::once(0).chain(ends.map(|it| it.1));
    // Behind the last line end no line begins.
    let is_line = |it: &u32| *it == 0 || (*it as usize) < text.len();
    starts.filter(is_line).collect()
}

/// How far each statement is indented: inside a part, a block or a sheet by one step.
fn depths(tree: &Tree) -> Vec<u8> {
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

/// From the head of each part, block and sheet to its `end`, or its last statement: in the order of the text.
fn inside(tree: &Tree) -> Vec<Span> {
    let bodies = tree.bodies.iter().filter(|it| it.kind != BodyKind::Circuit);
    let span = |body: &crate::Body| {
        let head = tree.statement(body.head).span;
        let last = body.end.or(body.inside.last().copied());
        Span {
            start: head.start,
            end: last.map_or(head.end, |id| tree.statement(id).span.start),
        }
    };
    bodies.map(span).collect()
}

struct Formatter<'t> {
    text: &'t str,
    lines: Vec<u32>,
    depths: Vec<u8>,
    inside: Vec<Span>,
    tree: &'t Tree,
    lexed: &'t Lexed,
    newline: &'static str,
}

impl Formatter<'_> {
    fn run(&self, write: Write) {
        let mut new = String::new();
        let mut line = 0;
        // Blank lines that wait for what follows them.
        let mut blank: Option<Span> = None;
        let mut written = false;
        let mut next = 0;
        while line < self.lines.len() {
            let statement = self.tree.statements.get(next);
            let owned = statement.filter(|it| self.line_of(it.span.start) == line);
            let last = owned.map_or(line, |it| self.line_of(it.span.end.max(1) - 1));
            let old = self.line(line).to(self.line(last));
            new.clear();
            let empty = if owned.is_some() {
                self.statement(next, line, last, &mut new);
                next += 1;
                false
            } else {
                let comment = old.of(self.text).trim_start_matches('\u{FEFF}').trim();
                let comment = comment.trim_matches(['\u{A0}', '\u{202F}']);
                if !comment.is_empty() {
                    indent(&mut new, 2 * self.depth_at(next, old.start));
                    new.push_str(comment);
                    new.push_str(self.newline);
                }
                comment.is_empty()
            };
            line = last + 1;
            if empty {
                blank = Some(blank.map_or(old, |it| it.to(old)));
                continue;
            }
            // Of blank lines one stays before what follows them; before the first line none, unless a stray U+FEFF would become the
            // text's byte-order mark there.
            let apart = written || old.of(self.text).starts_with('\u{FEFF}');
            if let Some(blank) = blank.take() {
                write(blank, if apart { self.newline } else { "" });
            }
            write(old, &new);
            written = true;
        }
        if let Some(blank) = blank {
            write(blank, "");
        }
    }

    /// A line with its end.
    fn line(&self, line: usize) -> Span {
        let end = self.lines.get(line + 1).copied();
        Span {
            start: self.lines[line],
            end: end.unwrap_or(self.text.len() as u32),
        }
    }

    fn line_of(&self, offset: u32) -> usize {
        self.lines
            .partition_point(|it| *it <= offset)
            .saturating_sub(1)
    }

    /// A comment is indented like the statement below it; before an `end` like what stands above that.
    fn depth_at(&self, next: usize, offset: u32) -> usize {
        let before = self.inside.partition_point(|it| it.start < offset);
        let inside = before
            .checked_sub(1)
            .is_some_and(|it| offset < self.inside[it].end);
        let below = self.depths.get(next).copied().unwrap_or(0);
        usize::from(below.max(u8::from(inside)))
    }

    /// A statement's lines, or exactly what stands there where it could not be read.
    fn statement(&self, index: usize, first: usize, last: usize, out: &mut String) {
        let statement = &self.tree.statements[index];
        let cut = &self.lexed.cuts[index];
        let tokens = &self.lexed.tokens[cut.first..cut.end];
        if matches!(statement.kind, StatementKind::Broken(_)) {
            out.push_str(self.line(first).to(self.line(last)).of(self.text));
            return;
        }
        let depth = 2 * usize::from(self.depths[index]);
        let comments = &self.lexed.comments;
        let inner = comments.partition_point(|it| it.start <= statement.span.start);
        let commented = comments
            .get(inner)
            .is_some_and(|it| it.start < statement.span.end);
        let mut write = |first: bool, code: &str, comment: Option<&str>| {
            indent(out, if first { depth } else { depth + 4 });
            out.push_str(code);
            if let Some(comment) = comment {
                out.push_str(if code.is_empty() { "" } else { "  " });
                out.push_str(comment);
            }
            out.push_str(self.newline);
        };
        if commented {
            // Where a comment stands inside, the lines stay as they are cut.
            let pieces = pieces(self.text, tokens, statement);
            for line in first..=last {
                let span = self.line(line);
                let from = pieces.partition_point(|it| it.at < span.start);
                let to = pieces.partition_point(|it| it.at < span.end);
                let code = join(&pieces[from..to]);
                let comment = self.comment_in(span);
                if !code.is_empty() || comment.is_some() {
                    write(line == first, &code, comment);
                }
            }
        } else {
            let pieces = ordered(self.text, tokens, statement);
            let lines = wrapped(&pieces, depth);
            for (number, code) in lines.iter().enumerate() {
                let comment = self.comment_in(self.line(last));
                write(
                    number == 0,
                    code,
                    comment.filter(|_| number + 1 == lines.len()),
                );
            }
        }
    }

    fn comment_in(&self, line: Span) -> Option<&str> {
        let after = self
            .lexed
            .comments
            .partition_point(|it| it.start < line.start);
        let comment = self.lexed.comments.get(after)?;
        (comment.start < line.end).then(|| comment.of(self.text).trim_end())
    }
}

fn indent(out: &mut String, columns: usize) {
    (0..columns).for_each(|_| out.push(' '));
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
    let marks = Marks::of(text, &statement.kind);
    let mut depth = 0usize;
    let valued = matches!(
        statement.kind,
        StatementKind::Path(_) | StatementKind::Device(_)
    );
    let mut pieces: Vec<Piece> = Vec::with_capacity(tokens.len());
    for (index, (tok, span)) in tokens.iter().enumerate() {
        if *tok == Tok::Close {
            depth = depth.saturating_sub(1);
        }
        let written = span.of(text);
        let spelled = match tok {
            Tok::Minus => "-".to_owned(),
            Tok::Wire => "--".to_owned(),
            _ if tok.is_quantity() => spelled(written, stands_in(&marks.bare_ohms, *span)),
            _ => written.to_owned(),
        };
        let sign = matches!(tok, Tok::Minus | Tok::Plus);
        let held = marks.held && index == 4;
        // The plus sign of a rail is written only beside a negative one.
        if *tok == Tok::Plus && !stands_in(&marks.binary, *span) && !marks.negative_rail {
            continue;
        }
        // `3 V +- 1 %` means a tolerance and is told so as long as it stands there.
        if *tok == Tok::Minus
            && let Some(last) = pieces.last_mut().filter(|it| it.text == "+")
            && last.at + 1 == span.start
            && tokens
                .get(index + 1)
                .is_some_and(|it| it.1.of(text).ends_with('%'))
        {
            last.text = "+-".to_owned();
            continue;
        }
        pieces.push(Piece {
            at: span.start,
            // The bracket of a value stands apart from what has it.
            tok: match tok {
                Tok::Call if valued && depth == 0 => Tok::Open,
                tok => *tok,
            },
            text: spelled,
            unary: sign && !held && !stands_in(&marks.binary, *span),
            depth,
        });
        if matches!(tok, Tok::Open | Tok::Call) {
            depth += 1;
        }
    }
    match marks.negative_rail {
        true => with_plus_signs(pieces, &marks),
        false => pieces,
    }
}

/// Whether one of these places, which rise, is where a token begins.
fn stands_in(places: &[u32], token: Span) -> bool {
    places.binary_search(&token.start).is_ok()
}

/// `supply 9 V and -9 V` → `supply +9 V and -9 V`
fn with_plus_signs(pieces: Vec<Piece>, marks: &Marks) -> Vec<Piece> {
    let mut signed: Vec<Piece> = Vec::with_capacity(pieces.len() + 2);
    for piece in pieces {
        let is_rail = marks.positive_rails.binary_search(&piece.at).is_ok();
        let has_sign =
            piece.tok == Tok::Plus || signed.last().is_some_and(|it| it.tok == Tok::Plus);
        if is_rail && !has_sign {
            signed.push(Piece {
                tok: Tok::Plus,
                text: "+".into(),
                unary: true,
                ..piece
            });
        }
        signed.push(piece);
    }
    signed
}

/// The pieces with clauses in the order of the table and the higher rail first.
fn ordered(text: &str, tokens: &[Token], statement: &Statement) -> Vec<Piece> {
    let mut pieces = pieces(text, tokens, statement);
    match &statement.kind {
        StatementKind::Supply(rails) => swap_rails(text, &mut pieces, rails),
        StatementKind::Device(device) => return ordered_clauses(text, pieces, device),
        _ => {}
    }
    pieces
}

fn ordered_clauses(text: &str, mut pieces: Vec<Piece>, device: &Device) -> Vec<Piece> {
    let table: &[&str] = match device.kind.of(text) {
        "opamp" | "comparator" => &["plus", "minus", "drives", "part", "supply"],
        "switch" => &["from", "to", "open", "closed"],
        "pot" => &["from", "to", "wiper", "total", "at"],
        "diode" => &["anode", "cathode", "part"],
        "electrolytic" => &["plus", "minus", "value", "rated"],
        _ => &[],
    };
    let place = |word: &str| {
        table
            .iter()
            .position(|it| *it == word)
            .unwrap_or(table.len())
    };
    // Where each clause's pieces begin and end, before any are moved.
    let at = |offset: u32| pieces.partition_point(|it| it.at < offset);
    let ranges: Vec<_> = device
        .clauses
        .iter()
        .map(|it| at(it.span.start)..at(it.span.end))
        .collect();
    let Some(head) = ranges.first().map(|it| it.start) else {
        return pieces;
    };
    for (clause, range) in device.clauses.iter().zip(&ranges) {
        if let Argument::Rails(rails) = &clause.argument {
            swap_rails(text, &mut pieces[range.clone()], rails);
        }
    }
    let mut order: Vec<usize> = (0..ranges.len()).collect();
    order.sort_by_key(|it| place(device.clauses[*it].word.of(text)));
    let mut sorted = pieces[..head].to_vec();
    for (index, clause) in order.into_iter().enumerate() {
        if index > 0 {
            sorted.push(Piece {
                at: device.clauses[clause].span.start,
                tok: Tok::Comma,
                text: ",".into(),
                unary: false,
                depth: 0,
            });
        }
        sorted.extend_from_slice(&pieces[ranges[clause].clone()]);
    }
    sorted
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
        let swapped = [
            &pieces[right.clone()],
            &pieces[left.end..right.start],
            &pieces[left.clone()],
        ]
        .concat();
        pieces[left.start..right.end].clone_from_slice(&swapped);
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
    // Two minus signs that touch are a wire.
    let two_signs = left.tok == Tok::Minus && right.tok == Tok::Minus;
    two_signs
        || !(left.unary
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

/// In which columns each piece begins and ends if all stand in one line.
fn columns(pieces: &[Piece]) -> Vec<[usize; 2]> {
    let mut end = 0;
    let mut last: Option<&Piece> = None;
    let column = |piece| {
        let start = end + usize::from(last.is_some_and(|last| spaced(last, piece)));
        end = start + piece.text.chars().count();
        last = Some(piece);
        [start, end]
    };
    pieces.iter().map(column).collect()
}

/// The lines of a statement: cut before the last ` -- ` or `, ` within the width; texts one a line if all do not fit.
fn wrapped(pieces: &[Piece], indent: usize) -> Vec<String> {
    let columns = columns(pieces);
    let Some([_, width]) = columns.last().copied() else {
        return Vec::new();
    };
    if indent + width <= WIDTH {
        return vec![join(pieces)];
    }
    let texts = pieces.iter().filter(|it| it.tok == Tok::Text).count();
    let mut lines = Vec::new();
    let mut start = 0;
    if texts > 1 {
        // Each text but the first begins a line; what follows the last text stays behind it.
        let texts = (0..pieces.len()).filter(|it| pieces[*it].tok == Tok::Text);
        for text in texts.skip(1) {
            lines.push(join(&pieces[start..text]));
            start = text;
        }
        lines.push(join(&pieces[start..]));
        return lines;
    }
    let may =
        |it: &usize| matches!(pieces[*it].tok, Tok::Wire | Tok::Comma) && pieces[*it].depth == 0;
    let cuts: Vec<usize> = (1..pieces.len()).filter(may).collect();
    let mut room = WIDTH.saturating_sub(indent);
    while width - columns[start][0] > room {
        let left = &cuts[cuts.partition_point(|it| *it <= start)..];
        let fit = left.partition_point(|it| columns[*it - 1][1] - columns[start][0] <= room);
        // Where not even the first cut is within the width, it is taken all the same.
        let Some(cut) = left.get(fit.saturating_sub(1)).copied() else {
            break;
        };
        lines.push(join(&pieces[start..cut]));
        start = cut;
        room = WIDTH.saturating_sub(indent + 4);
    }
    lines.push(join(&pieces[start..]));
    lines
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

/// Whether a value reads as more of the bare number before it: `10 ohm 2k` is no `10 2k`.
fn goes_on(text: &str, extra: &Expr) -> bool {
    match quantity::read(text, extra.span) {
        Ok(it) => it.unit.is_none() || it.dimension == crate::Dimension::OHM,
        Err(_) => true,
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

/// What the tree knows of a statement's signs and values; places rise.
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
    fn of(text: &str, kind: &StatementKind) -> Marks {
        let mut marks = Marks::default();
        kind.exprs().into_iter().for_each(|it| marks.expr(it));
        marks.statement(text, kind);
        marks.binary.sort_unstable();
        marks
    }

    fn statement(&mut self, text: &str, kind: &StatementKind) {
        match kind {
            StatementKind::Path(items) => {
                for item in items {
                    if let PathItem::Element(element) = item
                        && matches!(element.value.kind, ExprKind::Quantity)
                        && !element.extras.first().is_some_and(|it| goes_on(text, it))
                    {
                        self.bare_ohms.push(element.value.span.start);
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
            (
                "a -- R1(2 * parallel(r, s))--c",
                "a -- R1 (2 * parallel(r, s)) -- c\n",
            ),
            (
                "pot P1: from h, to l, wiper w, total(2 * r), at 25 %",
                "pot P1: from h, to l, wiper w, total (2 * r), at 25 %\n",
            ),
            ("expect out = -1.5 V +-1 %", "expect out = -1.5 V +- 1 %\n"),
            ("expect out = 3 V +-2 V", "expect out = 3 V + -2 V\n"),
            ("let r=2R2*( 1+3 )^2", "let r = 2.2 ohm * (1 + 3)^2\n"),
            ("let x = -2 ^ -2 - - 3 dB", "let x = -2^-2 - -3 dB\n"),
            ("let x =- - -a*- -2 V", "let x = - - -a * - -2 V\n"),
            ("a -- R1 10 ohm 2k -- b", "a -- R1 10 ohm 2k -- b\n"),
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
            ("\n\n\u{FEFF}", "\n\u{FEFF}"),
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
