//! The sample circuits as a reader would have them: good ones are silent and keep their claims, each swapped pair of inputs is
//! caught, and one broken line is one diagnostic.

use std::fs;
use std::path::{Path, PathBuf};

use crate::command;
use crate::harness::{Report, here};

/// For the reader of texts only: every form once, and names that are also words.
const FOR_THE_READER: [&str; 2] = ["every_form.amp", "names_like_words.amp"];

/// What the parser tells of a line that it could not read.
const OF_READING: [&str; 18] = [
    "open_string",
    "decimal_comma",
    "stray_character",
    "not_a_statement",
    "bare_equation",
    "element_alone",
    "single_dash",
    "wire_in_equation",
    "path_ends",
    "element_value",
    "expected",
    "extra_words",
    "unknown_unit",
    "two_numbers",
    "source_form",
    "unknown_word",
    "clause_missing",
    "said_twice",
];

/// Words that stand in many lines without being anyone's name.
const OF_THE_LANGUAGE: [&str; 35] = [
    "supply", "and", "source", "opamp", "plus", "minus", "drives", "ground", "expect", "always",
    "current", "power", "linear", "within", "let", "V", "A", "uA", "mA", "mV", "F", "Hz", "kHz",
    "s", "ms", "deg", "k", "nF", "at", "from", "to", "find", "points", "vary", "for",
];

#[test]
fn good_samples_have_no_finding_but_of_what_is_not_built() {
    for sample in good() {
        let report = check(&sample.path, &sample.text);
        let findings = report.all_findings();
        let wrong: Vec<_> = findings
            .iter()
            .filter(|it| it.rule != "not_built")
            .collect();
        assert!(wrong.is_empty(), "{}: {wrong:#?}", sample.path.display());
    }
}

#[test]
fn every_form_can_be_read() {
    for name in FOR_THE_READER {
        let path = here("samples").join(name);
        let text = fs::read_to_string(&path).expect("a sample");
        let report = check(&path, &text);
        let findings = report.all_findings();
        let unread: Vec<_> = findings
            .iter()
            .filter(|it| OF_READING.contains(&it.rule.as_str()) || it.rule == "unknown_name")
            .collect();
        assert!(unread.is_empty(), "{name}: {unread:#?}");
    }
}

#[test]
fn claims_hold() {
    let mut wrong = Vec::new();
    let (mut held, mut waiting) = (0, 0);
    for sample in good() {
        let report = solve(&sample.path, &sample.text);
        for circuit in &report.circuits {
            for claim in circuit.0["expects"].as_array().into_iter().flatten() {
                let text = claim["text"].as_str().expect("a claim");
                match claim["holds"].as_bool() {
                    Some(true) => held += 1,
                    None if waits(circuit.name(), text) => waiting += 1,
                    _ => wrong.push(format!("{}: {claim}", sample.path.display())),
                }
            }
        }
    }
    println!("{held} claims hold, {waiting} wait");
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    assert!(held >= 45, "only {held} claims were judged");
}

/// Claims about a time, a frequency, a limit or a part with figures.
fn waits(circuit: &str, claim: &str) -> bool {
    let real = ["drip_microphone", "real_stage"].contains(&circuit);
    let moment = claim
        .rsplit_once(" at ")
        .is_some_and(|(_, at)| at.ends_with('s') || at.ends_with("Hz") || at.contains("Hz within"));
    real || moment || circuit == "drip_counter"
}

#[test]
fn inputs_swapped_are_caught_in_every_sample() {
    let mut swaps = 0;
    for sample in good() {
        let solved = solve(&sample.path, &sample.text);
        for circuit in &solved.circuits {
            for opamp in circuit.names("opamps") {
                if !circuit.feedback(opamp).starts_with("negative")
                    && circuit.feedback(opamp) != "none_at_dc"
                {
                    continue;
                }
                swaps += 1;
                let report = with_inputs_swapped(&sample, circuit.name(), opamp);
                let caught = report.circuits.iter().any(|it| {
                    it.name() == circuit.name()
                        && it
                            .errors()
                            .iter()
                            .any(|error| error.rule == "positive_feedback" && error.is_about(opamp))
                });
                let all = report.all_findings();
                assert!(caught, "{} {opamp}: {all:#?}", sample.path.display());
            }
        }
    }
    assert!(swaps >= 20, "only {swaps} op-amps have negative feedback");
}

#[test]
fn one_broken_line_is_one_diagnostic() {
    let mut wrong = Vec::new();
    let mut broken = 0;
    for sample in good() {
        let lines: Vec<&str> = sample.text.lines().collect();
        for (place, line) in lines.iter().enumerate() {
            for (mutant, lost) in wounded(line) {
                // A name that only this line brings is missed wherever it is read: that is no fault of the reader of lines.
                let missed = lines.iter().enumerate().any(|(other, line)| {
                    let word = |&(start, end): &(usize, usize)| &line[start..end];
                    other != place
                        && tokens(line).iter().map(word).any(|word| {
                            let mut names =
                                word.split('.').filter(|it| !OF_THE_LANGUAGE.contains(it));
                            names.any(|name| {
                                name.starts_with(|it: char| it.is_alphabetic())
                                    && lost.contains(&name)
                            })
                        })
                });
                if missed {
                    continue;
                }
                let mut changed = lines.clone();
                changed[place] = &mutant;
                let text = changed.join("\n");
                let findings = check(&sample.path, &text).all_findings();
                let unread = findings
                    .iter()
                    .any(|it| OF_READING.contains(&it.rule.as_str()));
                if !unread {
                    continue;
                }
                broken += 1;
                let told: Vec<_> = findings.iter().filter(|it| it.severity != "hint").collect();
                if told.len() != 1 || told[0].line != place + 1 {
                    wrong.push(format!(
                        "{}:{}: {mutant}\n{told:#?}",
                        sample.path.display(),
                        place + 1
                    ));
                }
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {broken}:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(5)].join("\n")
    );
    println!("{broken} broken lines");
    assert!(broken >= 400, "only {broken} lines were broken");
}

struct Sample {
    path: PathBuf,
    text: String,
}

fn good() -> Vec<Sample> {
    let mut samples: Vec<Sample> = fs::read_dir(here("samples"))
        .expect("the samples")
        .map(|entry| entry.expect("a file").path())
        .filter(|path| !FOR_THE_READER.iter().any(|name| path.ends_with(name)))
        .map(|path| Sample {
            text: fs::read_to_string(&path).expect("a sample"),
            path,
        })
        .collect();
    samples.sort_by(|a, b| a.path.cmp(&b.path));
    assert_eq!(samples.len(), 16, "all samples are here");
    samples
}

fn check(path: &Path, text: &str) -> Report {
    told("check", path, text)
}

fn solve(path: &Path, text: &str) -> Report {
    told("solve", path, text)
}

/// In process; by the command, from a copy of the folder, where the text uses another file.
fn told(command: &str, path: &Path, text: &str) -> Report {
    if !text.contains("use \"lab_parts.amp\"") {
        let path = path.to_string_lossy();
        return Report::new(match command {
            "check" => ampersum::check_json(&path, text),
            _ => ampersum::solve_json(&path, text),
        });
    }
    let parts = fs::read_to_string(here("samples/lab_parts.amp")).expect("the lab's parts");
    with_parts(command, "as_it_is", text, &parts)
}

/// The text in a folder of its own, beside these parts.
fn with_parts(command: &str, folder: &str, text: &str, parts: &str) -> Report {
    let test = std::thread::current()
        .name()
        .unwrap_or_default()
        .replace("::", "_");
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"))
        .join(test)
        .join(folder);
    fs::create_dir_all(&folder).expect("a folder for the copies");
    fs::write(folder.join("lab_parts.amp"), parts).expect("written");
    let copy = folder.join("sample.amp");
    fs::write(&copy, text).expect("written");
    command::report(command, &copy)
}

/// The findings after plus and minus of one op-amp are exchanged where it is written: in the circuit, or for `S1.A1` in the block,
/// whose file is then changed in a copy of the folder.
fn with_inputs_swapped(sample: &Sample, circuit: &str, opamp: &str) -> Report {
    let Some((_, inside)) = opamp.rsplit_once('.') else {
        let at = sample
            .text
            .find(&format!("circuit {circuit} "))
            .unwrap_or(0);
        let (before, after) = sample.text.split_at(at);
        return check(&sample.path, &format!("{before}{}", swap(after, opamp)));
    };
    let parts = fs::read_to_string(here("samples/lab_parts.amp")).expect("the lab's parts");
    let block = if opamp.starts_with("S1") {
        "block lift"
    } else {
        "block inverter"
    };
    let (before, after) = parts.split_at(parts.find(block).expect("the block"));
    let parts = format!("{before}{}", swap(after, inside));
    with_parts("check", opamp, &sample.text, &parts)
}

/// The first op-amp of that name, with `plus` and `minus` exchanged.
fn swap(text: &str, opamp: &str) -> String {
    let head = format!("opamp {opamp}: ");
    let start = text.find(&head).expect("the op-amp is here");
    let end = start + text[start..].find('\n').expect("a line");
    let line = text[start..end]
        .replace("plus ", "\u{1}")
        .replace("minus ", "plus ")
        .replace('\u{1}', "minus ");
    format!("{}{line}{}", &text[..start], &text[end..])
}

/// The line without its first, second … token, and as it stands while it is typed, each with the tokens it lost. Left out: what
/// would go on from the line above, heads and ends of bodies, which concern more than their line, and claims that accept a
/// finding, which shows once they are lost.
fn wounded(line: &str) -> Vec<(String, Vec<&str>)> {
    let code = match line.find('#') {
        Some(comment) => &line[..comment],
        None => line,
    };
    let heads = ["part ", "block ", "circuit ", "work ", "end", "use "];
    let accepting = ["finding", "latches", "goes"];
    if heads.iter().any(|head| code.starts_with(head))
        || (code.starts_with("expect ") && accepting.iter().any(|word| code.contains(word)))
    {
        return Vec::new();
    }
    let mut lines = Vec::new();
    let tokens = tokens(code);
    for (place, &(start, end)) in tokens.iter().enumerate() {
        let rest: Vec<&str> = tokens[place..]
            .iter()
            .map(|&(start, end)| &code[start..end])
            .collect();
        lines.push((format!("{}{}", &code[..start], &code[end..]), vec![rest[0]]));
        if place > 0 && rest.len() > 1 {
            lines.push((code[..start].to_owned(), rest));
        }
    }
    lines.retain(|(line, _)| {
        let line = line.trim_start();
        !(line.starts_with("--") || line.starts_with([',', '"']) || line.is_empty())
    });
    lines
}

/// Where each token of a line begins and ends.
fn tokens(code: &str) -> Vec<(usize, usize)> {
    let word = |c: char| c.is_alphanumeric() || c == '_' || c == '.';
    let mut tokens = Vec::new();
    let mut rest = code;
    while let Some(first) = rest.chars().next() {
        let start = code.len() - rest.len();
        let length = if word(first) {
            rest.find(|c| !word(c)).unwrap_or(rest.len())
        } else if first == '"' {
            rest[1..].find('"').map_or(rest.len(), |end| end + 2)
        } else if rest.starts_with("--") {
            2
        } else {
            first.len_utf8()
        };
        rest = &rest[length..];
        if !first.is_whitespace() {
            tokens.push((start, start + length));
        }
    }
    tokens
}
