//! The command itself: what it prints and how it ends, run as a reader would run it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use ampersum_tests::binary;
use serde_json::Value;

use crate::harness::{Report, here, root};

/// Runs `ampersum` in the workspace's root.
pub fn ampersum(arguments: &[&str], input: &str) -> Output {
    let mut child = Command::new(binary())
        .args(arguments)
        .current_dir(root())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    // It need not read all of it, or any.
    let _ = child
        .stdin
        .take()
        .expect("piped")
        .write_all(input.as_bytes());
    child.wait_with_output().expect("the command ends")
}

/// `ampersum COMMAND --json FILE`, which sees the files that the text uses.
pub fn report(command: &str, path: &Path) -> Report {
    let output = ampersum(&[command, "--json", &path.to_string_lossy()], "");
    let printed: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|_| panic!("no JSON: {}", String::from_utf8_lossy(&output.stderr)));
    Report::new(printed)
}

#[test]
fn the_exit_status_tells_good_from_wrong_from_unreadable() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("exit");
    fs::create_dir_all(&folder).expect("a folder");
    let wrong = folder.join("wrong.amp");
    fs::write(
        &wrong,
        "source s: a = 3 V\na -- R1 1k -- ground\nexpect a = 4 V\n",
    )
    .expect("written");
    // No class delivers that much.
    let burning = folder.join("burning.amp");
    let load = "source s: a = 4 V\nopamp A1: plus a, minus b, drives b\nb -- R1 1 -- ground\n";
    fs::write(&burning, load).expect("written");
    let good = here("samples/01_moisture_scaler.amp");
    let (good, wrong) = (good.to_string_lossy(), wrong.to_string_lossy());
    let burning = burning.to_string_lossy();
    let cases: &[(&[&str], i32)] = &[
        (&["check", &good], 0),
        (&["check", "--json", &good], 0),
        (&["solve", &good], 0),
        (&["equations", &good], 0),
        (&["explain", &good], 0),
        (&["suit", &good], 0),
        (&["suit", "--json", &good], 0),
        (&["rule"], 0),
        (&["rule", "positive_feedback"], 0),
        (&["--help"], 0),
        (&["--version"], 0),
        (&["check", &wrong], 1),
        (&["check", "--json", &wrong], 1),
        (&["solve", &wrong], 1),
        (&["solve", "--json", &wrong], 1),
        (&["suit", &burning], 1),
        (&["suit", "--json", &burning], 1),
        (&["rule", "no_such_rule"], 1),
        (&["solve", "no/such/file.amp"], 2),
        (&["check", "no/such/folder"], 2),
        (&["no_such_command"], 2),
        (&["solve"], 2),
    ];
    for (arguments, status) in cases {
        let output = ampersum(arguments, "");
        let errors = String::from_utf8_lossy(&output.stderr);
        assert_eq!(
            output.status.code(),
            Some(*status),
            "{arguments:?}: {errors}"
        );
        // What is asked for goes to the output, what went wrong to the errors.
        let told = match status {
            0 => output.stderr.is_empty(),
            2 => output.stdout.is_empty() && !output.stderr.is_empty(),
            _ => !output.stdout.is_empty() || !output.stderr.is_empty(),
        };
        assert!(told, "{arguments:?}: {errors}");
    }
}

/// One file that cannot be read does not keep back what was found in the others.
#[test]
fn every_file_that_can_be_read_is_told() {
    let good = "tests/samples/01_moisture_scaler.amp";
    let output = ampersum(&["check", good, "no/such.amp"], "");
    assert_eq!(output.status.code(), Some(2));
    let [told, wrong] =
        [output.stdout, output.stderr].map(|it| String::from_utf8_lossy(&it).into_owned());
    assert!(told.contains("1 file: 0 errors"), "{told}");
    assert!(wrong.contains("no/such.amp"), "{wrong}");
    // Nothing can be written into standard input.
    let output = ampersum(&["check", "--fix", "-"], "source s: a = 4,7 V\n");
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--fix"));
}

#[test]
fn what_is_fixed_is_told() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("fixed");
    fs::create_dir_all(&folder).expect("a folder");
    let file = folder.join("comma.amp");
    let run = |arguments: &[&str]| {
        fs::write(&file, "source s: a = 4,7 V\na -- R1 1k -- ground\n").expect("written");
        ampersum(&[arguments, &[&*file.to_string_lossy()]].concat(), "").stdout
    };
    let words = String::from_utf8(run(&["check", "--fix"])).expect("UTF-8");
    assert!(words.contains("comma.amp:1: `4,7` → `4.7`"), "{words}");
    let printed: Value = serde_json::from_slice(&run(&["check", "--fix", "--json"])).expect("JSON");
    let edited = &printed["files"][0]["edited"];
    assert_eq!(edited[0]["line"], 1, "{printed:#}");
    assert_eq!(edited.as_array().map(Vec::len), Some(1), "{printed:#}");
}

/// Changes are told as text, and a whole path is an address (SARIF 2.1.0 §3.57, RFC 8089).
#[test]
fn sarif_names_files_and_tells_changes_as_text() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("sarif");
    fs::create_dir_all(&folder).expect("a folder");
    let file = folder.join("comma.amp");
    let text = "source s: a = 4,7 V\na -- R1 1k -- ground\n";
    fs::write(&file, text).expect("written");
    let result = |arguments: &[&str], text: &str| -> Value {
        let printed = ampersum(arguments, text).stdout;
        let printed: Value = serde_json::from_slice(&printed).expect("JSON");
        printed["runs"][0]["results"][0].clone()
    };
    let told = result(&["check", "--sarif", &file.to_string_lossy()], "");
    let change = &told["fixes"][0]["artifactChanges"][0];
    assert_eq!(
        change["artifactLocation"]["uri"],
        format!("file://{}", file.to_string_lossy()),
        "{told:#}"
    );
    let place = &change["replacements"][0]["deletedRegion"];
    let columns = [
        "startLine",
        "startColumn",
        "endLine",
        "endColumn",
        "byteOffset",
    ];
    assert_eq!(
        columns.map(|it| place[it].as_u64()),
        [Some(1), Some(15), Some(1), Some(18), None],
        "{told:#}"
    );
    let told = result(&["check", "--sarif", "-"], text);
    let place = &told["locations"][0]["physicalLocation"]["artifactLocation"];
    assert_eq!(place["description"]["text"], "standard input", "{told:#}");
}

#[test]
fn standard_input_is_read_where_a_file_stands() {
    let text = "source s: a = 3 V\na -- R1 1k -- ground\nexpect a = 3 V\n";
    let output = ampersum(&["solve", "--json", "-"], text);
    assert_eq!(output.status.code(), Some(0));
    let printed = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(Report::new(printed).only_circuit().node("a"), 3.into());
}

#[test]
fn words_for_people_hold_the_answers_and_no_colour_in_a_pipe() {
    let good = here("samples/01_moisture_scaler.amp");
    let output = ampersum(&["solve", &good.to_string_lossy()], "");
    let words = String::from_utf8(output.stdout).expect("UTF-8");
    for expected in ["sum", "out", "(sum − in)/R1 + (sum − out)/R2 = 0"] {
        assert!(words.contains(expected), "no {expected} in\n{words}");
    }
    assert!(words.contains("3.96 V"), "no answer in\n{words}");
    assert!(!words.contains('\u{1b}'), "colour in a pipe");
}

#[test]
fn what_the_library_says_is_what_the_command_prints() {
    for name in [
        "05_leaf_minus_air.amp",
        "08_tank_level_switch.amp",
        "names_like_words.amp",
    ] {
        let path = format!("tests/samples/{name}");
        let text = fs::read_to_string(root().join(&path)).expect("a sample");
        for (command, said) in [
            ("solve", ampersum::solve_json(&path, &text)),
            ("check", ampersum::check_json(&path, &text)),
            ("equations", ampersum::equations_json(&path, &text)),
        ] {
            let output = ampersum(&[command, "--json", &path], "");
            let printed: Value = serde_json::from_slice(&output.stdout).expect("JSON");
            // Read back as well: reading a decimal may round its last bit.
            let said: Value = serde_json::from_str(&said.to_string()).expect("JSON");
            assert_eq!(printed, said, "{command} {name}");
        }
    }
}

#[test]
fn pages_the_man_page_and_completions_are_printed() {
    let printed = |arguments: &[&str]| {
        let output = ampersum(arguments, "");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        (output.status.code(), text)
    };
    for (arguments, expected) in [
        (&["manual"][..], "language"),
        (&["manual", "start"], "# The first circuit"),
        (&["manual", "classes"], "part fet_input"),
        (&["manual", "floating_node"], "floating_node"),
        (&["manual", "--man"], ".TH ampersum"),
        (&["manual", "--completions", "bash"], "_ampersum"),
        (&["manual", "--completions", "zsh"], "#compdef ampersum"),
        (&["manual", "--completions", "fish"], "complete -c ampersum"),
        (&["rule"], "positive_feedback"),
        (&["rule", "decimal_comma"], "# Wrong"),
    ] {
        let (code, text) = printed(arguments);
        assert_eq!(code, Some(0), "{arguments:?}");
        assert!(text.contains(expected), "{arguments:?}: {text}");
    }
    let man = printed(&["manual", "--man"]).1;
    for command in [
        "check",
        "solve",
        "equations",
        "explain",
        "format",
        "compare",
        "rule",
        "manual",
        "serve",
    ] {
        assert!(
            man.contains(&format!(".SH {}", command.to_uppercase())),
            "{command} has its section"
        );
    }
    for arguments in [&["manual", "strat"][..], &["rule", "floting_node"]] {
        let output = ampersum(arguments, "");
        assert_eq!(output.status.code(), Some(1), "{arguments:?}");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains("did you mean"), "{told}");
    }
    assert_eq!(
        ampersum(&["manual", "--completions", "abacus"], "")
            .status
            .code(),
        Some(2)
    );
}
