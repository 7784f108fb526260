//! The house is in order: arrows between rooms point one way, each rule has its file, each module says what it is for.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::harness::root;

/// In the order in which data walks: a room knows only rooms before it. The command stands at the door and may know the server.
const ROOMS: [&str; 9] = [
    "syntax", "circuit", "analysis", "teaching", "checks", "manual", "ide", "server", "cli",
];

#[test]
fn arrows_between_rooms_point_one_way() {
    for (place, room) in ROOMS.iter().enumerate() {
        for known in rooms_known_by(room, "dependencies") {
            assert!(
                ROOMS[..place].contains(&known.as_str()),
                "{room} knows {known}"
            );
        }
    }
}

#[test]
fn the_test_notation_is_for_tests_alone() {
    assert_eq!(
        rooms_known_by("fixture", "dependencies"),
        BTreeSet::new(),
        "fixture knows no room"
    );
    for room in ROOMS {
        assert!(
            !rooms_known_by(room, "dependencies").contains("fixture"),
            "{room} ships test notation"
        );
        for known in rooms_known_by(room, "dev-dependencies") {
            let later =
                ROOMS.iter().position(|it| *it == known) > ROOMS.iter().position(|it| *it == room);
            assert!(
                !later || known == "fixture",
                "the tests of {room} know {known}"
            );
        }
    }
}

#[test]
fn every_folder_of_crates_is_a_room() {
    let folders: BTreeSet<String> = names(&root().join("crates"));
    let rooms: BTreeSet<String> = ROOMS
        .iter()
        .chain(&["fixture"])
        .map(|it| (*it).to_owned())
        .collect();
    assert_eq!(folders, rooms);
}

#[test]
fn the_registry_of_rules_is_the_folder_of_rules() {
    let folder = root().join("crates/checks/src/rules");
    let files: BTreeSet<String> = names(&folder)
        .iter()
        .filter_map(|name| name.strip_suffix(".rs"))
        .filter(|name| *name != "mod")
        .map(str::to_owned)
        .collect();
    assert!(!files.is_empty(), "rules have files");
    let registry: BTreeSet<String> = rust_files()
        .iter()
        .filter(|path| path.starts_with(root().join("crates/checks/src")))
        .flat_map(|path| {
            let text = fs::read_to_string(path).expect("a module");
            text.split("::RULE").map(last_word).collect::<Vec<_>>()
        })
        .filter(|name| !name.is_empty())
        .collect();
    let missing: Vec<_> = files.difference(&registry).collect();
    assert!(missing.is_empty(), "not in the registry: {missing:?}");
    for file in &files {
        let text = fs::read_to_string(folder.join(format!("{file}.rs"))).expect("a rule");
        assert!(
            text.contains(&format!("\"{file}\"")),
            "{file}.rs names its rule after itself"
        );
        for heading in ["# Wrong", "# Right"] {
            assert!(text.contains(heading), "{file}.rs has no `{heading}`");
        }
    }
}

#[test]
fn every_module_says_what_it_is_for() {
    for path in rust_files() {
        let text = fs::read_to_string(&path).expect("a module");
        assert!(text.starts_with("//! "), "{} has no doc", path.display());
        let lines = text.lines().count();
        assert!(lines <= 1_000, "{} has {lines} lines", path.display());
    }
}

#[test]
fn nothing_is_left_to_do_or_switched_off() {
    let never = ["dbg", "todo", "unimplemented"].map(|name| format!("{name}!"));
    let never = never
        .into_iter()
        .chain(["ignore", "should_panic"].map(|name| format!("#[{name}")));
    let never: Vec<String> = never.collect();
    for path in rust_files() {
        let text = fs::read_to_string(&path).expect("a module");
        for word in &never {
            assert!(!text.contains(word), "{} has {word}", path.display());
        }
    }
}

#[test]
fn the_root_holds_what_was_agreed() {
    let agreed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-MIT",
        "crates",
        "editors",
        "tests",
        "examples",
    ];
    for name in names(&root()) {
        let known = agreed.contains(&name.as_str()) || name == "target" || name.starts_with('.');
        assert!(known, "`{name}` lies at the root");
    }
}

fn rooms_known_by(room: &str, table: &str) -> BTreeSet<String> {
    let path = root().join("crates").join(room).join("Cargo.toml");
    let text = fs::read_to_string(path).expect("a manifest");
    let manifest: toml::Table = text.parse().expect("TOML");
    let Some(known) = manifest.get(table).and_then(toml::Value::as_table) else {
        return BTreeSet::new();
    };
    let renamed = |name: &String| {
        if name == "ampersum" {
            "cli".to_owned()
        } else {
            name.clone()
        }
    };
    known
        .keys()
        .map(renamed)
        .filter(|name| ROOMS.contains(&name.as_str()) || name == "fixture")
        .collect()
}

fn last_word(text: &str) -> String {
    let start = text
        .rfind(|c: char| !(c.is_alphanumeric() || c == '_'))
        .map_or(0, |at| at + 1);
    text[start..].to_owned()
}

/// Every Rust file of the crates and the tests.
fn rust_files() -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![root().join("crates"), root().join("tests")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            let skipped = path.ends_with("target") || path.ends_with("node_modules");
            if path.is_dir() && !skipped {
                folders.push(path);
            } else if path.extension().is_some_and(|it| it == "rs") {
                files.push(path);
            }
        }
    }
    files.sort();
    files
}

fn names(folder: &Path) -> BTreeSet<String> {
    fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect()
}
