//! Neovim colours and folds by the compiled parser, with the files of `editors/neovim`.
//!
//! `tests/editors/install` installs it. Where it is not there the test says so and is skipped, unless `AMPERSUM_EDITORS` is
//! `required`, as `tests/run` has it.

use std::fs;
use std::process::Command;

use crate::texts::{root, target};

const CIRCUIT: &str = "\
part p
  gain 5
end
circuit bed
in -- R1 10k -- at
expect at = 1 V at 2 s
";

#[test]
fn neovim_colours_a_word_by_its_place() {
    let place = std::env::temp_dir().join(format!("ampersum-parser-{}", std::process::id()));
    fs::create_dir_all(&place).expect("a folder can be made");
    let grammar = root().join("editors/grammars/tree-sitter-ampersum");
    let parser = place.join("ampersum.so");
    let compiled = Command::new("cc")
        .args([
            "-O1",
            "-shared",
            "-fPIC",
            "-I",
            "src",
            "src/parser.c",
            "src/scanner.c",
            "-o",
        ])
        .arg(&parser)
        .current_dir(&grammar)
        .status()
        .expect("a C compiler runs");
    assert!(compiled.success());
    let file = place.join("bed.amp");
    fs::write(&file, CIRCUIT).expect("a file can be written");
    let own = target().join("editors/neovim/bin/nvim");
    let output = Command::new(if own.exists() { own } else { "nvim".into() })
        .args(["--headless", "-u", "NONE", "-i", "NONE", "-l"])
        .arg(root().join("tests/grammars/neovim.lua"))
        .env("AMPERSUM_PARSER", &parser)
        .env(
            "AMPERSUM_EDITOR",
            root()
                .join("editors/neovim")
                .canonicalize()
                .expect("a folder"),
        )
        .env("AMPERSUM_FILE", &file)
        .env("HOME", &place)
        .output();
    fs::remove_dir_all(&place).expect("the folder can be removed");
    let output = match output {
        Ok(output) => output,
        Err(error) => {
            let required = std::env::var_os("AMPERSUM_EDITORS").is_some_and(|it| it == "required");
            assert!(!required, "Neovim has to be there: {error}");
            eprintln!("skipped: Neovim is not there ({error}); tests/editors/install installs it");
            return;
        }
    };
    let seen = String::from_utf8_lossy(&output.stdout);
    assert_eq!(
        seen,
        "expect: keyword\nnode: \nword: keyword\nnumber: number\nfold of gain: 1\n",
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}
