//! Small texts and their trees, as drawn in `test/corpus` of the grammar.

use std::fs;

use crate::texts::root;
use crate::trees::Parser;

/// `UPDATE_EXPECT=1` rewrites the trees, whose difference is then read.
#[test]
fn the_corpus_has_these_trees() {
    let folder = root().join("editors/grammars/tree-sitter-ampersum/test/corpus");
    let mut parser = Parser::new();
    let mut cases = 0;
    for entry in fs::read_dir(folder).expect("the corpus") {
        let path = entry.expect("an entry").path();
        let file = fs::read_to_string(&path).expect("a text");
        let mut redrawn = String::new();
        for case in file.split("===\n").collect::<Vec<_>>()[1..].chunks(2) {
            let [title, body] = case else {
                panic!("{}: a title without a case", path.display())
            };
            let (text, _) = body.split_once("\n---\n").expect("a text, a line, a tree");
            let tree = parser.parse(text);
            redrawn += &format!(
                "===\n{title}===\n{text}\n---\n\n{}\n\n",
                drawn(&tree.root_node().to_sexp())
            );
            cases += 1;
        }
        let redrawn = redrawn.trim_end().to_owned() + "\n";
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            fs::write(&path, &redrawn).expect("the corpus can be written");
        } else {
            similar(&file, &redrawn);
        }
    }
    assert!(cases >= 10, "only {cases} cases");
}

#[track_caller]
fn similar(file: &str, redrawn: &str) {
    for (line, (is, should)) in redrawn.lines().zip(file.lines()).enumerate() {
        assert_eq!(is, should, "line {}", line + 1);
    }
    assert_eq!(redrawn.lines().count(), file.lines().count());
}

/// A tree over several lines: one node a line, a field before its node.
fn drawn(tree: &str) -> String {
    let mut drawn = String::new();
    let mut depth = 0;
    let mut at_field = false;
    for piece in tree.split(' ') {
        if piece.ends_with(':') {
            drawn += &format!("\n{}{piece} ", "  ".repeat(depth));
            at_field = true;
            continue;
        }
        if !at_field && piece.starts_with('(') && !drawn.is_empty() {
            drawn += &format!("\n{}", "  ".repeat(depth));
        } else if !at_field && !drawn.is_empty() {
            drawn.push(' ');
        }
        at_field = false;
        drawn += piece;
        depth += piece.matches('(').count();
        depth = depth.saturating_sub(piece.matches(')').count());
    }
    drawn
}
