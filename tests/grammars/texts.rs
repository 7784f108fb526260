//! The texts that the grammars are tried on.

use std::fs;
use std::path::{Path, PathBuf};

use crate::random::Random;

/// A text, and what to call it when a test fails.
pub struct Text {
    pub name: String,
    pub text: String,
}

/// The workspace's root.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Where `install` puts what it installs.
pub fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or(root().join("target"), PathBuf::from)
}

/// Every circuit that lies in the repository.
pub fn samples() -> Vec<Text> {
    let mut samples = Vec::new();
    for folder in ["tests/samples", "crates/syntax/tests/samples", "examples"] {
        collect(&root().join(folder), &mut samples);
    }
    assert!(samples.len() >= 28, "samples were found");
    samples
}

fn collect(folder: &Path, texts: &mut Vec<Text>) {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let mut paths: Vec<PathBuf> = entries.map(|it| it.expect("an entry").path()).collect();
    paths.sort();
    for path in paths {
        if path.is_dir() {
            collect(&path, texts);
        } else if path.extension().is_some_and(|it| it == "amp") {
            texts.push(Text {
                name: path.display().to_string(),
                text: fs::read_to_string(&path).expect("a text"),
            });
        }
    }
}

/// The marked texts of the tables of what goes wrong, without their marks; what students wrote, from the tables of slips.
pub fn tables() -> Vec<Text> {
    let mut tables = Vec::new();
    for crate_name in ["syntax", "circuit", "checks", "ide"] {
        let folder = root().join("crates").join(crate_name).join("tests");
        for entry in fs::read_dir(folder).into_iter().flatten() {
            let path = entry.expect("an entry").path();
            if path.extension().is_some_and(|it| it == "rs") {
                let code = fs::read_to_string(&path).expect("a module");
                marked_texts(&path.display().to_string(), &code, &mut tables);
            } else if path.ends_with("slips") {
                slips(&path, &mut tables);
            }
        }
    }
    tables.sort_by(|a, b| a.name.cmp(&b.name));
    assert!(tables.len() >= 5, "tables were found");
    tables
}

fn marked_texts(file: &str, code: &str, tables: &mut Vec<Text>) {
    for (index, piece) in code.split("r#\"").skip(1).enumerate() {
        let Some((marked, _)) = piece.split_once("\"#") else {
            continue;
        };
        if marked.contains('«') {
            tables.push(Text {
                name: format!("{file}, text {index}"),
                text: fixture::unmark(marked).text,
            });
        }
    }
}

/// Lines that stand together in a table of slips, each behind its sign, are one text.
fn slips(folder: &Path, tables: &mut Vec<Text>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|it| it != "txt") {
            continue;
        }
        let table = fs::read_to_string(&path).expect("a table");
        let mut written = String::new();
        for line in table.lines().chain([""]) {
            if let Some(line) = line.strip_prefix("+ ").or(line.strip_prefix("! ")) {
                written += &format!("{line}\n");
            } else if !written.is_empty() {
                tables.push(Text {
                    name: path.display().to_string(),
                    text: fixture::unmark(&std::mem::take(&mut written)).text,
                });
            }
        }
    }
}

/// What a slip of the hand or of the mind puts into a line.
const PIECES: [&str; 40] = [
    "in", "R1", "10k", "--", "-", "+", "*", "/", "^", "(", ")", "=", ",", ":", "%", "\"a\"", "\"",
    "#", "source", "supply", "plus", "expect", "at", "within", "always", "end", "let", "sine",
    "from", "into", "to", "ground", "F1.mid", "4,7", "—", "10 000", "4k7", "find", "points", "5 V",
];

/// A text with one line damaged: cut off, or a word lost, added, replaced or swapped with another.
pub fn damaged(text: &str, random: &mut Random) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let at = random.below(lines.len());
    let mut words: Vec<&str> = lines[at].split(' ').collect();
    let place = random.below(words.len());
    let piece = random.pick(&PIECES);
    match random.below(5) {
        0 => {
            let letters = lines[at].chars().count();
            let kept = random.between(0, letters);
            lines[at] = lines[at].chars().take(kept).collect();
            return lines.join("\n");
        }
        1 => {
            words.remove(place);
        }
        2 => words.insert(place, piece),
        3 => words[place] = piece,
        _ => {
            let other = random.below(words.len());
            words.swap(place, other);
        }
    }
    lines[at] = words.join(" ");
    lines.join("\n")
}
