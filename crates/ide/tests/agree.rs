//! What is under the caret is one thing to every feature, in every example.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use ampersum_ide::{self as ide, Workspace};
use syntax::FileId;

/// All texts of a folder.
fn texts(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            texts(&path, found);
        } else if path.extension().is_some_and(|it| it == "amp") {
            found.push(path);
        }
    }
}

/// The first bytes of all words.
fn words(text: &str) -> Vec<u32> {
    let is_word = |it: char| it.is_alphanumeric() || it == '_';
    let starts = text
        .char_indices()
        .filter(|(at, it)| is_word(*it) && !text[..*at].chars().next_back().is_some_and(is_word));
    starts.map(|it| it.0 as u32).collect()
}

#[test]
fn what_can_be_renamed_has_a_definition_references_and_a_hover() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut found = Vec::new();
    for folder in ["examples", "tests/samples"] {
        texts(&root.join(folder), &mut found);
    }
    let (mut named, mut silent) = (0, Vec::new());
    let never = AtomicBool::new(false);
    for path in &found {
        let Ok(text) = std::fs::read_to_string(path) else {
            continue;
        };
        let mut workspace = Workspace::default();
        let name = path
            .canonicalize()
            .expect("it is there")
            .to_string_lossy()
            .into_owned();
        workspace.open(&name, 1, &text);
        let snapshot = workspace.snapshot();
        let view = snapshot.view(&name).expect("open").clone();
        for at in words(&text) {
            let Ok(Some(it)) = ide::renamable(&view, at) else {
                continue;
            };
            named += 1;
            let place = format!("{}: `{}` at {at}", path.display(), it.name);
            let to = ide::definition(&view, at)
                .unwrap_or_else(|| panic!("no definition: {place}"))
                .to;
            let all = ide::highlights(&view, at);
            let all: Vec<_> = all.into_iter().map(|it| it.span).collect();
            assert!(all.contains(&it.span), "{place}");
            let own = to.iter().filter(|it| it.file == FileId(0));
            own.for_each(|to| assert!(all.contains(&to.span), "{place}: {to:?}"));
            let everywhere = ide::references(&snapshot, &view, at, &never);
            let here = everywhere.iter().find(|it| it.0.document().name == name);
            let here = here.expect(&place).1.iter().map(|it| it.span);
            assert_eq!(here.collect::<Vec<_>>(), all, "{place}");
            if ide::hover(&view, at).is_none() {
                silent.push(place);
            }
        }
    }
    assert!(named > 500, "{named}");
    assert_eq!(silent, [""; 0], "without a hover");
}
