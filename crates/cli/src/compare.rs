//! `compare`: two versions told apart by meaning, in words and in JSON; also as git calls it for a file's difference.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use analysis::Answer;
use circuit::compare::{Difference, Kind, Names, compare};
use serde_json::{Map, Value, json};
use syntax::{Dimension, LineIndex};

use crate::read::{Examined, examine_file, examine_text};

/// Two versions and what tells them apart.
pub struct Compared {
    /// The old version.
    pub old: Examined,
    /// The new version.
    pub new: Examined,
    /// What differs.
    pub differences: Vec<Difference>,
}

/// The two files among the arguments, and the name to show: two paths, or the seven words that git gives to a diff driver
/// (path, old file, its hash, its mode, new file, its hash, its mode).
pub fn files(words: &[PathBuf]) -> Option<(&Path, &Path, Option<&Path>)> {
    match words {
        [old, new] => Some((old, new, None)),
        [path, old, _, _, new, _, _] => Some((old, new, Some(path))),
        _ => None,
    }
}

/// Reads and compares. A version that does not exist (git's `/dev/null`) is empty.
pub fn run(old: &Path, new: &Path, names: Names) -> Result<Compared, String> {
    let read = |path: &Path| match path.to_str() {
        Some("/dev/null" | "nul") => Ok(examine_text("", "")),
        _ => examine_file(path),
    };
    Ok(of(read(old)?, read(new)?, names))
}

/// Compares what was read.
pub fn of(old: Examined, new: Examined, names: Names) -> Compared {
    let differences = compare(&old.book, &new.book, names, &teaching::notation::number);
    Compared {
        old,
        new,
        differences,
    }
}

/// A line for each difference, then how far the answers move.
pub fn words(it: &Compared, shown: Option<&Path>) -> String {
    let mut out = String::new();
    if let Some(path) = shown {
        let _ = writeln!(out, "{}", path.display());
    }
    if it.differences.is_empty() {
        out.push_str("the circuits are the same\n");
        return out;
    }
    let mut circuit = "";
    for difference in &it.differences {
        if difference.circuit != circuit {
            circuit = &difference.circuit;
            let _ = writeln!(out, "{circuit}");
        }
        let [old, new] = [&difference.old, &difference.new].map(|it| it.as_deref().unwrap_or(""));
        let subject = &difference.subject;
        let _ = match difference.kind {
            Kind::Added => writeln!(out, "  + {subject}  {new}"),
            Kind::Removed => writeln!(out, "  - {subject}  {old}"),
            Kind::Value => writeln!(out, "  {subject}: {old} → {new}"),
            Kind::Connection => writeln!(out, "  {subject} is joined otherwise: {old} → {new}"),
            Kind::Claim if old.is_empty() => writeln!(out, "  + {new}"),
            Kind::Claim if new.is_empty() => writeln!(out, "  - {old}"),
            Kind::Claim => writeln!(out, "  {old} → {new}"),
        };
    }
    let moved = moved(it);
    if !moved.is_empty() {
        out.push_str("node voltages that move\n");
    }
    for (node, old, new) in moved {
        let volts = |it: &Answer| teaching::notation::short(it, Dimension::VOLT);
        let (was, is) = (volts(&old), volts(&new));
        // A change in digits that are not shown is told by itself.
        let by = if was == is {
            format!(" (a change of {})", volts(&change(&old, &new)))
        } else {
            String::new()
        };
        let _ = writeln!(out, "  {node}: {was} → {is}{by}");
    }
    out
}

/// The JSON shape.
pub fn json(it: &Compared) -> Value {
    let lines = |it: &Examined| -> Vec<LineIndex> {
        let files = it.book.files.iter();
        files.map(|file| LineIndex::new(&file.text)).collect()
    };
    let (old_lines, new_lines) = (lines(&it.old), lines(&it.new));
    let differences: Vec<Value> = it
        .differences
        .iter()
        .map(|difference| {
            let kind = match difference.kind {
                Kind::Added => "added",
                Kind::Removed => "removed",
                Kind::Value => "value",
                Kind::Connection => "connection",
                Kind::Claim => "claim",
            };
            let mut out = Map::new();
            out.insert("kind".into(), json!(kind));
            out.insert("circuit".into(), json!(difference.circuit));
            out.insert("subject".into(), json!(difference.subject));
            out.insert("old".into(), json!(difference.old));
            out.insert("new".into(), json!(difference.new));
            let lines = if difference.new.is_some() {
                &new_lines
            } else {
                &old_lines
            };
            if let Some(lines) = lines.get(difference.place.file.0 as usize) {
                let span = difference.place.span;
                crate::json::span_into(&mut out, lines, span);
            }
            Value::Object(out)
        })
        .collect();
    let mut nodes = Map::new();
    for (node, old, new) in moved(it) {
        let [old, new] = [old, new].map(|it| crate::json::number(&it, Dimension::VOLT));
        nodes.insert(node, json!({ "old": old, "new": new }));
    }
    json!({
        "ampersum": env!("CARGO_PKG_VERSION"),
        "same": it.differences.is_empty(),
        "differences": differences,
        "nodes": nodes,
    })
}

/// How far an answer moves.
fn change(old: &Answer, new: &Answer) -> Answer {
    match (old, new) {
        (Answer::Exact(old), Answer::Exact(new)) => Answer::Exact(new.clone() - old.clone()),
        _ => {
            let ((old, wrong), (new, off)) = (rounded(old), rounded(new));
            let value = new - old;
            Answer::Float {
                value,
                bound: wrong + off + value.abs() * f64::EPSILON,
            }
        }
    }
}

/// A value and how far it can be off.
fn rounded(it: &Answer) -> (f64, f64) {
    match it {
        Answer::Exact(exact) => {
            let value = exact.to_f64().value();
            (value, value.abs() * f64::EPSILON)
        }
        Answer::Float { value, bound } => (*value, *bound),
    }
}

/// Nodes of both versions whose voltage differs; in a file of several circuits the circuit stands before the node.
fn moved(it: &Compared) -> Vec<(String, Answer, Answer)> {
    let mut moved = Vec::new();
    let several = it.new.book.circuits.len() > 1;
    for (index, new) in it.new.book.circuits.iter().enumerate() {
        let alone = it.old.book.circuits.len() == 1 && !several;
        let position = it
            .old
            .book
            .circuits
            .iter()
            .position(|old| old.name == new.name || alone);
        let Some(position) = position else { continue };
        let old = &it.old.book.circuits[position];
        let (was, is) = (&it.old.studies[position], &it.new.studies[index]);
        let known = was.outcome(old, &it.old.book.parts).is_known()
            && is.outcome(new, &it.new.book.parts).is_known();
        let answers = (
            was.answer(old, &it.old.book.parts),
            is.answer(new, &it.new.book.parts),
        );
        let (true, (Some(was), Some(is))) = (known, answers) else {
            continue;
        };
        for node in new.unknowns() {
            let name = new.node_name(node);
            let Some(before) = old.unknowns().find(|it| old.node_name(*it) == name) else {
                continue;
            };
            let answers = (was.nodes.get(before.index()), is.nodes.get(node.index()));
            if let (Some(Some(before)), Some(Some(after))) = answers
                && before != after
                && !matches!(change(before, after), Answer::Float { value, bound } if value.abs() <= bound)
            {
                let name = if several {
                    format!("{}.{name}", new.name)
                } else {
                    name.to_owned()
                };
                moved.push((name, before.clone(), after.clone()));
            }
        }
    }
    moved
}
