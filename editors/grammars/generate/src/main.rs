//! Writes `src` of the tree-sitter grammar from its `grammar.js`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use tree_sitter_generate::{OptLevel, generate_parser_in_directory};

/// The version of parsers that editors in use can load, back to Emacs 29.
const ABI: usize = 14;

fn main() -> ExitCode {
    let grammar = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tree-sitter-ampersum");
    let mut notes = Vec::new();
    let done = generate_parser_in_directory(
        &grammar,
        None::<PathBuf>,
        Some(grammar.join("grammar.js")),
        ABI,
        None,
        Some("node"),
        true,
        OptLevel::default(),
        &mut notes,
    );
    for note in notes {
        eprintln!("{note:?}");
    }
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(trouble) => {
            eprintln!("{trouble}");
            ExitCode::FAILURE
        }
    }
}
