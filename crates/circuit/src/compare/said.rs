//! Statements about a circuit as compared: in canonical form, each quantity by what it comes to, each `let` by its value.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;

use syntax::{Expr, ExprKind, FileId, NameRole, Place, Statement, StatementKind};

use super::figures::exact;
use crate::{Book, Circuit, normal_name};

/// A statement about the circuit.
#[derive(Clone, PartialEq, Debug)]
pub struct Said {
    /// Its first word.
    pub word: String,
    /// Where it stands.
    pub place: Place,
    /// Its text in order.
    pieces: Vec<Piece>,
}

/// A stretch of a statement.
#[derive(Clone, PartialEq, Debug)]
enum Piece {
    /// The same in both or another statement.
    Text(String),
    /// What is written, and what must be equal.
    Quantity(String, String),
    /// A part or a node.
    Name(String),
    /// A `let`, and its value.
    Let(String, String),
}

impl Said {
    /// All of it in its canonical form.
    pub fn text(&self) -> String {
        let text = |it: &Piece| match it {
            Piece::Text(text)
            | Piece::Quantity(text, _)
            | Piece::Name(text)
            | Piece::Let(text, _) => text.clone(),
        };
        self.pieces.iter().map(text).collect()
    }

    /// What must be equal for two to say the same.
    pub fn key(&self) -> String {
        let key = |it: &Piece| match it {
            Piece::Text(it) | Piece::Quantity(_, it) | Piece::Name(it) | Piece::Let(_, it) => {
                it.clone()
            }
        };
        self.pieces.iter().map(key).collect()
    }

    /// The `let`s that it reads.
    pub fn lets(&self) -> impl Iterator<Item = &str> {
        self.pieces.iter().filter_map(|it| match it {
            Piece::Let(name, _) => Some(name.as_str()),
            _ => None,
        })
    }

    /// The same with other names (those not in the table stay).
    pub fn renamed(&self, names: &BTreeMap<String, String>) -> Said {
        let piece = |it: &Piece| match it {
            Piece::Name(name) => Piece::Name(names.get(name).unwrap_or(name).clone()),
            it => it.clone(),
        };
        Said {
            pieces: self.pieces.iter().map(piece).collect(),
            ..self.clone()
        }
    }
}

/// Whether a statement is told by what the circuit is.
fn wires(statement: &Statement, in_sheet: bool, text: &str) -> bool {
    match &statement.kind {
        StatementKind::Device(device) => device.kind.of(text) != "diode",
        StatementKind::Let { .. } => !in_sheet,
        StatementKind::Path(_) | StatementKind::Source(_) | StatementKind::End => true,
        StatementKind::Supply(_) | StatementKind::OpampsAre(_) => true,
        StatementKind::Version(_) | StatementKind::Use(_) | StatementKind::Part(_) => true,
        StatementKind::Block { .. }
        | StatementKind::Circuit { .. }
        | StatementKind::Property(_) => true,
        _ => false,
    }
}

/// Every statement that says something about the circuit and wires nothing.
pub fn statements(book: &Book, circuit: &Circuit) -> Vec<Said> {
    let Some(file) = book.files.first() else {
        return Vec::new();
    };
    let (text, tree) = (&file.text, &file.tree);
    // The insides of parts and blocks are told by what they give.
    let inside_of = |kinds: &[syntax::BodyKind]| -> BTreeSet<u32> {
        let bodies = tree.bodies.iter().filter(|it| kinds.contains(&it.kind));
        let ids = bodies.flat_map(|it| &it.inside);
        ids.map(|id| id.0).collect()
    };
    let hidden = inside_of(&[syntax::BodyKind::Part, syntax::BodyKind::Block]);
    let in_sheets = inside_of(&[syntax::BodyKind::Work]);
    let inside = |at: u32| circuit.extent.span.start <= at && at < circuit.extent.span.end;
    let values: HashMap<&str, String> = circuit
        .lets
        .iter()
        .filter_map(|it| {
            let value = it.value.as_ref()?;
            let unit = value.dimension.name();
            Some((it.name.as_str(), format!("{} {unit}", exact(&value.number))))
        })
        .collect();
    tree.ids()
        .filter(|(id, it)| inside(it.span.start) && !hidden.contains(&id.0))
        .filter(|(id, it)| !wires(it, in_sheets.contains(&id.0), text))
        .map(|(id, it)| {
            let place = Place {
                file: FileId(0),
                span: it.span,
            };
            said(it.span.of(text), in_sheets.contains(&id.0), &values, place)
        })
        .collect()
}

fn said(raw: &str, in_sheet: bool, values: &HashMap<&str, String>, place: Place) -> Said {
    // A line of a sheet is one only inside a sheet.
    let (head, end) = if in_sheet {
        ("work \"sheet\"\n", "end\n")
    } else {
        ("", "")
    };
    let canonical = syntax::format(&format!("{head}{raw}\n{end}"));
    let inside = canonical.strip_prefix(head);
    let inside = inside.and_then(|it| it.trim_end().strip_suffix(end.trim_end()));
    let flat = inside.unwrap_or(raw).split_whitespace();
    let flat = flat.collect::<Vec<_>>().join(" ");
    let word = flat.split(|it: char| !it.is_alphanumeric()).next();
    let word = word.unwrap_or("").to_owned();
    let whole = format!("{head}{flat}\n{end}");
    let tree = syntax::parse(&whole);
    let statement = tree.statements.get(usize::from(in_sheet));
    let mut found: Vec<(Range<usize>, Piece)> = Vec::new();
    if let Some(it) = statement.filter(|it| !matches!(it.kind, StatementKind::Broken(_))) {
        let varied = matches!(it.kind, StatementKind::Vary { .. });
        for (name, role) in it.names() {
            let written = name.of(&whole);
            if role != NameRole::Thing {
                continue;
            }
            let normal = normal_name(written);
            let piece = match values.get(normal.as_str()) {
                // Which one varies matters, not only where it begins.
                Some(value) if varied => Piece::Let(normal.clone(), format!("{normal} {value}")),
                Some(value) => Piece::Let(normal, value.clone()),
                None => Piece::Name(normal),
            };
            found.push((name.range(), piece));
        }
        let mut waiting: Vec<&Expr> = it.kind.exprs();
        while let Some(expr) = waiting.pop() {
            waiting.extend(expr.operands());
            if !matches!(expr.kind, ExprKind::Quantity) {
                continue;
            }
            if let Ok(it) = syntax::quantity::read(&whole, expr.span) {
                // `within 1 %` is a share, `within 0.01` may be an amount.
                let percent = if it.form == syntax::Form::Percent {
                    " %"
                } else {
                    ""
                };
                let key = format!("{} {}{percent}", exact(&it.value), it.dimension.name());
                let written = expr.span.of(&whole).to_owned();
                found.push((expr.span.range(), Piece::Quantity(written, key)));
            }
        }
    }
    found.sort_by_key(|it| it.0.start);
    let mut pieces = Vec::new();
    let mut at = head.len();
    for (range, piece) in found {
        if range.start >= at {
            pieces.push(Piece::Text(whole[at..range.start].to_owned()));
            pieces.push(piece);
            at = range.end;
        }
    }
    let stop = head.len() + flat.len();
    pieces.push(Piece::Text(whole[at.min(stop)..stop].to_owned()));
    Said {
        word,
        place,
        pieces,
    }
}
