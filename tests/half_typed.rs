//! Lines as they stand under the caret: each gives exactly one diagnostic at the word named, and the rest keeps its answers.

use crate::harness::{check, solve};

/// What stands around the half-typed line, which takes the place of `…`.
const SOUND: &str = "\
circuit desk

source feed: in = 1.2 V
in -- R1 10k -- sum -- R2 10k -- ground
opamp A1: plus sum, minus fb, drives out
out -- Rf 22k -- fb -- Rg 10k -- ground
…
out -- RL 4.7k -- ground
";

/// The line, the word at fault (empty: where the line ends; a number picks among equal words, counted from 0), the rule.
const LINES: &[(&str, (&str, usize), &str)] = &[
    ("in -- ", ("--", 0), "path_ends"),
    ("in -- R3", ("R3", 0), "element_value"),
    ("in -- R3 10", ("", 0), "path_ends"),
    ("in -- R3 10k", ("", 0), "path_ends"),
    ("in -- R3 10k -- ", ("--", 1), "path_ends"),
    ("in -- R3 10k -- su", ("su", 0), "loose_end"),
    ("in -- R3 10k -- sum -- R4", ("R4", 0), "element_value"),
    ("in -- R3 -- sum", ("R3", 0), "element_value"),
    ("R3 10k -- sum", ("R3", 0), "path_ends"),
    ("in - R3 10k - sum", ("-", 0), "single_dash"),
    ("in — R3 10k — sum", ("—", 0), "stray_character"),
    ("in -- R3 4,7k -- sum", ("4,7", 0), "decimal_comma"),
    ("in -- R3 10 kOhm -- sum", ("kOhm", 0), "unknown_unit"),
    ("in -- C1 100n -- sum", ("n", 1), "unknown_unit"),
    ("in -- R3 1m -- sum", ("m", 0), "unknown_unit"),
    ("in -- R3 (2 * R1 -- sum", ("--", 1), "wire_in_equation"),
    ("opamp A2", ("", 0), "expected"),
    ("opamp A2: plus in, ", ("", 0), "expected"),
    ("opamp A2: plus in, minus", ("minus", 0), "expected"),
    ("opamp A2: plus in, minus fb", ("A2", 0), "clause_missing"),
    (
        "opamp A2: plus in minus fb, drives out",
        ("minus", 0),
        "expected",
    ),
    ("opamp A2: + in, - fb", ("+", 0), "expected"),
    (
        "opmap A2: plus in, minus fb, drives out",
        ("opmap", 0),
        "unknown_word",
    ),
    ("source probe: in", ("", 0), "source_form"),
    ("source probe: in = 5", ("5", 0), "unit_needed"),
    ("source probe: in = sine 1 V at", ("", 0), "expected"),
    ("source light: 2 mA from sum", ("", 0), "expected"),
    ("supply +9 V, -9 V", (",", 0), "expected"),
    ("expect out", ("", 0), "expected"),
    ("let gain = 2(R2 / R1)", ("(", 0), "extra_words"),
    (
        "in -- R3 10k --\nsum -- R4 33k -- out",
        ("--", 1),
        "path_ends",
    ),
    (
        "opamp A2: plus in,\nexpect out = 1.92 V",
        ("", 0),
        "expected",
    ),
    ("problem \"Find", ("\"Find", 0), "open_string"),
];

#[test]
fn one_diagnostic_at_the_word_named() {
    let mut wrong = Vec::new();
    for (line, (word, place), rule) in LINES {
        let text = SOUND.replace('…', line);
        let start = SOUND.find('…').expect("a gap");
        let first = line.lines().next().expect("a line");
        let findings = check(&text).all_findings();
        let [finding] = findings.as_slice() else {
            wrong.push(format!("{line}: not one diagnostic but {findings:#?}"));
            continue;
        };
        let place = if word.is_empty() {
            None
        } else {
            let (at, _) = first
                .match_indices(word)
                .nth(*place)
                .expect("the word stands there");
            Some((start + at, start + at + word.len()))
        };
        let there = match place {
            Some(place) => place == (finding.start, finding.end),
            None => {
                finding.end == start + first.trim_end().len()
                    || finding.start == start + first.len()
            }
        };
        if finding.rule != *rule || !there {
            let found = &text[finding.start..finding.end];
            wrong.push(format!(
                "{line}: `{rule}` at `{word}` expected, found at `{found}`: {finding:#?}"
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn every_other_line_keeps_its_answers() {
    let sound = solve(&SOUND.replace('…', ""));
    let sound = sound.only_circuit().nodes();
    assert_eq!(sound.len(), 4, "the lines around are sound");
    for (line, ..) in LINES {
        // The second line adds a load of its own.
        let adds = line.contains("R4 33k");
        let report = solve(&SOUND.replace('…', line));
        let mut nodes = report.only_circuit().nodes();
        nodes.remove("su");
        if adds {
            assert_eq!(nodes.len(), 4, "{line}");
        } else {
            assert_eq!(nodes, sound, "{line}");
        }
    }
}

#[test]
fn the_claim_below_a_half_typed_device_is_still_checked() {
    let findings =
        check(&SOUND.replace('…', "opamp A2: plus in,\nexpect out = 1 A")).all_findings();
    let rules: Vec<&str> = findings.iter().map(|it| it.rule.as_str()).collect();
    assert_eq!(rules, ["expected", "units_differ"]);
}

#[test]
fn a_sheet_without_its_end_leaves_the_next_circuit_sound() {
    let text = format!(
        "{}\n{}",
        SOUND.replace('…', ""),
        "work \"sheet\"\n  in = 1.2\ncircuit next\nsource s: a = 3 V\na -- R1 1k -- ground\n"
    );
    let report = solve(&text);
    let mut findings = report.all_findings();
    findings.retain(|it| it.rule != "not_built");
    assert_eq!(findings.len(), 1, "{findings:#?}");
    assert_eq!(findings[0].rule, "missing_end");
    assert_eq!(&text[findings[0].start..findings[0].end], "work");
    assert_eq!(report.circuits.len(), 2);
    assert_eq!(report.circuits[1].node("a"), 3.into());
}
