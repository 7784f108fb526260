//! The shapes of JSON: every command's output against the manual's schema, SARIF against the published one.
//!
//! SARIF 2.1.0 is an OASIS standard; its schema stands in `published/sarif-2.1.0-rtm.5.json` as distributed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::command::ampersum;
use crate::harness::{here, root};
use crate::reference::python;

/// Every circuit file of the samples and examples, and the wrong and right examples of the rules.
fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = [here("samples"), root().join("examples")]
        .iter()
        .flat_map(|folder| fs::read_dir(folder).expect("a folder"))
        .map(|it| it.expect("readable").path())
        .filter(|it| it.extension().is_some_and(|it| it == "amp"))
        .collect();
    let folder = root().join("target/schema");
    fs::create_dir_all(&folder).expect("a folder");
    for (number, text) in wrong_texts().iter().enumerate() {
        let path = folder.join(format!("wrong_{number}.amp"));
        fs::write(&path, text).expect("written");
        files.push(path);
    }
    files.sort();
    files
}

/// Texts with findings of many kinds, with related places and fixes among them.
fn wrong_texts() -> Vec<String> {
    let base = "supply +9 V and -9 V\nsource probe: in = 1.2 V\nin -- R1 10k -- sum -- R2 33k -- out\n\
                opamp A1: plus ground, minus sum, drives out\n";
    let lines = [
        "",
        "opmap A2: plus in, minus fb, drives x",
        "source s: in = 2 V",
        "in -- R1 1 -- ground",
        "let a = b\nlet b = a",
        "expect out = 5 ohm",
        "a -- R7 1k -- b",
        "expect out = -4 V\nexpect A1 latches",
        "in -- C1 1 uF -- q\nopamp A2: plus q, minus o, drives o",
        "ask \"Why",
    ];
    let mut texts: Vec<String> = lines.iter().map(|line| format!("{base}{line}\n")).collect();
    texts.push(base.replace("plus ground, minus sum", "plus sum, minus ground"));
    texts.push(base.replace("33k", "3300k"));
    texts.push(String::new());
    texts
}

fn invalid(schema: &Path, documents: &[(String, Value)]) -> Vec<String> {
    let mut child = Command::new(python())
        .arg(here("reference/schema.py"))
        .arg(schema)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut input = child.stdin.take().expect("piped");
    let lines: Vec<String> = documents.iter().map(|it| it.1.to_string()).collect();
    let writer =
        std::thread::spawn(move || lines.iter().try_for_each(|line| writeln!(input, "{line}")));
    let output = child.wait_with_output().expect("Python ends");
    writer
        .join()
        .expect("the writer ends")
        .expect("all was read");
    let verdicts = String::from_utf8_lossy(&output.stdout).into_owned();
    let verdicts: Vec<&str> = verdicts.lines().collect();
    assert_eq!(verdicts.len(), documents.len(), "one verdict a document");
    let told = documents
        .iter()
        .zip(verdicts)
        .filter(|(_, verdict)| *verdict != "valid");
    told.map(|((what, _), verdict)| format!("{what}: {verdict}"))
        .collect()
}

fn printed(arguments: &[&str]) -> (String, Value) {
    let output = ampersum(arguments, "");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let value = serde_json::from_str(&text)
        .unwrap_or_else(|error| panic!("{arguments:?}: {error}: {text}"));
    (arguments.join(" "), value)
}

#[test]
fn every_output_has_the_shape_of_the_manual() {
    let mut documents = Vec::new();
    let files = files();
    for file in &files {
        let file = file.to_string_lossy();
        for command in ["check", "solve", "equations", "explain", "suit"] {
            documents.push(printed(&[command, "--json", &file]));
        }
        documents.push(printed(&["solve", "--shares", "--json", &file]));
        documents.push(printed(&["equations", "--matrix", "--json", &file]));
        documents.push(printed(&[
            "equations",
            "--real",
            "--matrix",
            "--json",
            &file,
        ]));
        documents.push(printed(&["format", "--check", "--json", &file]));
        documents.push(printed(&[
            "compare",
            "--json",
            &file,
            &files[0].to_string_lossy(),
        ]));
    }
    let schema = root().join("crates/manual/book/output.schema.json");
    assert_eq!(invalid(&schema, &documents), Vec::<String>::new());
    // The check itself can fail.
    let spoilt = vec![(
        "spoilt".to_owned(),
        serde_json::json!({ "ampersum": 1, "files": 2 }),
    )];
    assert_eq!(invalid(&schema, &spoilt).len(), 1);
}

#[test]
fn sarif_has_the_published_shape() {
    let documents: Vec<_> = files()
        .iter()
        .map(|it| printed(&["check", "--sarif", &it.to_string_lossy()]))
        .collect();
    assert!(
        documents
            .iter()
            .any(|it| it.1["runs"][0]["results"][0]["fixes"].is_array())
    );
    assert!(
        documents
            .iter()
            .any(|it| it.1["runs"][0]["results"][0]["relatedLocations"].is_array())
    );
    let schema = here("published/sarif-2.1.0-rtm.5.json");
    assert_eq!(invalid(&schema, &documents), Vec::<String>::new());
}
