//! Real editors, headless, with the files of `editors/`: what their users see.
//!
//! `install` beside this file installs them. Where one can't be had the test says so and is skipped, unless
//! `AMPERSUM_EDITORS` is `required`, as `tests/run` has it.

use std::path::{Path, PathBuf};
use std::process::Command;

use ampersum_tests::{binary, build_folder};

/// With a planted fault, `4,7k`, and characters of two to four bytes, one of them before the fault.
const CIRCUIT: &str = "\
circuit moisture_scaler \"Ω − 𝄞\"
supply +9 V and -9 V
source probe: in = 1.2 V # 𝄞
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
out -- RS 100 Ω -- load -- RL 4,7k -- ground # 𝄞
";

/// The line of the fault, mended.
const MENDED: &str = "out -- RS 100 Ω -- load -- RL 4.7k -- ground # 𝄞";

const EQUATION: &str = "(sum − in)/R1 + (sum − out)/R2 = 0";

/// What an editor printed, one line a thing.
struct Seen(String);

impl Seen {
    /// Everything that was said of one thing.
    fn all(&self, what: &str) -> Vec<&str> {
        self.0
            .lines()
            .filter_map(|line| line.strip_prefix(what)?.strip_prefix(": "))
            .collect()
    }

    #[track_caller]
    fn one(&self, what: &str) -> &str {
        let all = self.all(what);
        assert_eq!(all.len(), 1, "`{what}` in:\n{}", self.0);
        all[0]
    }
}

fn folder(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Where `install` puts what it installs.
fn installed() -> PathBuf {
    build_folder().join("editors")
}

/// Runs an editor on a file of its own; `None` where there is no such editor.
fn run(mut editor: Command, name: &str) -> Option<Seen> {
    let place = std::env::temp_dir().join(format!("ampersum-{name}-{}", std::process::id()));
    std::fs::create_dir_all(&place).expect("a folder can be made");
    let file = place.join("bed.amp");
    std::fs::write(&file, CIRCUIT).expect("a file can be written");
    editor
        .env("AMPERSUM_PROGRAM", binary())
        .env("AMPERSUM_EDITOR", folder("../editors").join(name))
        .env("AMPERSUM_FILE", &file)
        .env("AMPERSUM_FIX", FIX)
        .env("AMPERSUM_VSCODE", installed().join("vscode"))
        .env("HOME", &place)
        .env("XDG_CACHE_HOME", place.join("cache"))
        .env("LC_ALL", "C.UTF-8")
        .current_dir(&place);
    let output = editor.output();
    std::fs::remove_dir_all(&place).expect("the folder can be removed");
    match output {
        Ok(output) => {
            let seen = String::from_utf8_lossy(&output.stdout).into_owned();
            eprintln!("{seen}{}", String::from_utf8_lossy(&output.stderr));
            Some(Seen(seen))
        }
        Err(error) => {
            let required = std::env::var_os("AMPERSUM_EDITORS").is_some_and(|it| it == "required");
            assert!(!required, "{name} has to be there: {error}");
            eprintln!("skipped: {name} is not there ({error}); tests/editors/install installs it");
            None
        }
    }
}

/// The fix of the planted fault, as menus show it.
const FIX: &str = "Write `4.7`";

/// What every editor shows: the finding at its word, answers, the equation explained, and the fix applied.
#[track_caller]
fn shows_what_all_show(seen: &Seen) {
    for what in ["too long", "trouble", "no such action"] {
        assert_eq!(seen.all(what), Vec::<&str>::new(), "{what}");
    }
    let squiggle = seen.one("squiggle");
    assert!(squiggle.ends_with(" at 4,7"), "{squiggle}");
    let hover = seen.one("hover");
    assert!(
        hover.contains("out = −3.96 V") && hover.contains("sum = 0"),
        "{hover}"
    );
    let explanation = seen.one("explanation");
    assert!(
        explanation.contains(EQUATION) && explanation.contains("Ohm's law"),
        "{explanation}"
    );
    assert_eq!(seen.one("fixed line"), MENDED);
    assert_eq!(seen.one("findings left"), "0");
}

#[test]
fn neovim_shows_findings_answers_explanations_and_fixes() {
    let own = installed().join("neovim/bin/nvim");
    let mut editor = Command::new(if own.exists() { own } else { "nvim".into() });
    editor
        .args(["--headless", "-u", "NONE", "-i", "NONE", "-l"])
        .arg(folder("editors/neovim.lua"));
    let Some(seen) = run(editor, "neovim") else {
        return;
    };
    shows_what_all_show(&seen);
    assert_eq!(seen.one("file type"), "ampersum");
    assert_eq!(seen.one("comment"), "# %s");
    assert_eq!(seen.one("colour of drives"), "ampersumWord");
    assert!(
        seen.all("hint").contains(&"3 = −3.96 V"),
        "{:?}",
        seen.all("hint")
    );
    assert_eq!(seen.one("first symbol"), "moisture_scaler");
    assert_eq!(seen.one("unfinished"), "element_value");
    assert_eq!(seen.one("servers left"), "0");
}

#[test]
fn emacs_shows_findings_answers_explanations_and_fixes() {
    let mut editor = Command::new("emacs");
    editor
        .args(["--batch", "-q", "-l"])
        .arg(folder("editors/emacs.el"));
    let Some(seen) = run(editor, "emacs") else {
        return;
    };
    shows_what_all_show(&seen);
    assert_eq!(seen.one("mode"), "ampersum-mode");
    assert_eq!(seen.one("colour of drives"), "font-lock-builtin-face");
    assert_eq!(seen.one("definition"), "line 4");
    assert!(
        seen.one("explanation").starts_with("# Equation at sum: "),
        "a comment, since this client shows no page"
    );
    assert_eq!(seen.one("server"), "gone");
}

#[test]
fn vim_shows_findings_answers_explanations_and_fixes() {
    let mut editor = Command::new("vim");
    editor
        .args(["-E", "-s", "-N", "-u", "NONE", "-i", "NONE", "-S"])
        .arg(folder("editors/vim.vim"));
    let Some(seen) = run(editor, "vim") else {
        return;
    };
    shows_what_all_show(&seen);
    assert_eq!(seen.one("file type"), "ampersum");
    assert_eq!(seen.one("comment"), "# %s");
    assert_eq!(seen.one("colour of drives"), "ampersumWord");
    assert_eq!(seen.one("definition"), "line 4");
    assert!(
        seen.one("explanation").starts_with("# Equation at sum: "),
        "a comment, since this client shows no page"
    );
}

/// `cargo install kak-lsp` takes minutes, so Kakoune's client is no must: `--root target/editors/kakoune` puts it here.
#[test]
fn kakoune_shows_findings_answers_explanations_and_fixes() {
    let mut path = vec![installed().join("kakoune/bin")];
    path.extend(std::env::split_paths(
        &std::env::var_os("PATH").unwrap_or_default(),
    ));
    for program in ["kak", "kak-lsp"] {
        if !path.iter().any(|it| it.join(program).exists()) {
            eprintln!("skipped: {program} is not there");
            return;
        }
    }
    let mut editor = Command::new("sh");
    editor.arg(folder("editors/kakoune.sh")).env(
        "PATH",
        std::env::join_paths(path).expect("folders of a path"),
    );
    let Some(seen) = run(editor, "kakoune") else {
        return;
    };
    shows_what_all_show(&seen);
    assert_eq!(seen.one("file type"), "ampersum");
    assert_eq!(seen.one("comment"), "#");
    assert_eq!(seen.one("definition"), "line 4");
    assert!(
        seen.one("explanation").starts_with("# Equation at sum: "),
        "a comment, since this client shows no page"
    );
}

/// What VS Code has saved at last: the circuit mended, a line more, and the whole in its one form.
const FORMATTED: &str = "\
circuit moisture_scaler \"Ω − 𝄞\"
supply +9 V and -9 V
source probe: in = 1.2 V  # 𝄞
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
out -- RS 100 -- load -- RL 4.7k -- ground  # 𝄞
load -- RX 2k -- ground";

/// In the page of the real workbench, by pointer and keys. `vscode/install` is no must where it can't be done.
#[test]
fn vscode_shows_findings_answers_explanations_and_fixes() {
    if !installed().join("vscode/installed").exists() {
        eprintln!("skipped: VS Code is not there; tests/editors/vscode/install installs it");
        return;
    }
    let own = installed().join("vscode/bin/node");
    let mut editor = Command::new(if own.exists() { own } else { "node".into() });
    editor.arg(folder("editors/vscode/drive.js"));
    let Some(seen) = run(editor, "vscode") else {
        return;
    };
    shows_what_all_show(&seen);
    assert_eq!(seen.one("language"), "Ampersum");
    let problem = seen.one("problem");
    assert!(
        problem.contains("is written with a comma") && problem.contains("[Ln 6, Col 31]"),
        "{problem}"
    );
    assert_eq!(
        seen.one("path"),
        "in = 1.2 V  -- R1 10k -- sum = 0 V  -- R2 33k -- out = −3.96 V"
    );
    assert!(seen.one("lens").starts_with("3 unknown node voltages"));
    assert_eq!(seen.one("colours of a node, an element, an op-amp"), "3");
    assert!(seen.one("completion").starts_with("ground"));
    assert_eq!(seen.one("formatted"), FORMATTED.replace('\n', "⏎"));
}
