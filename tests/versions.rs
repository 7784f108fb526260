//! Versions of a circuit: `compare`, `format`, and both in a real repository.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use ampersum_tests::binary;

use crate::command::ampersum;
use crate::generate::{amplifier, network};
use crate::harness::here;
use crate::invariants::renamed;
use crate::net::{Net, Part};
use crate::random::{Random, seed};

const CIRCUITS: usize = 50;

fn some(random: &mut Random) -> Net {
    if random.chance(70) {
        amplifier(random, "bed")
    } else {
        network(random, "bed")
    }
}

fn compared(old: &str, new: &str, any_names: bool) -> Value {
    ampersum::compare_json(old, new, any_names)
}

/// The same text as another hand would type it: no blanks around signs, other line ends, comments.
fn retyped(text: &str) -> String {
    let line = |line: &str| {
        let line = line
            .replace(" -- ", "--")
            .replace(", ", "  ,")
            .replace(" = ", "=")
            .replace(": ", " :\t");
        format!("  {line}   # as before\r\n\r\n")
    };
    text.lines().map(line).collect()
}

#[test]
fn shuffled_retyped_and_renamed_circuits_are_the_same() {
    let mut random = Random::new(seed(40));
    for _ in 0..CIRCUITS {
        let net = some(&mut random);
        let mut shuffled = net.clone();
        random.shuffle(&mut shuffled.parts);
        for other in [shuffled.text(), retyped(&shuffled.text())] {
            let found = compared(&net.text(), &other, false);
            assert_eq!(found["same"], true, "{}\n{other}\n{found:#}", net.text());
        }
        let (other, _) = renamed(&mut random, &net);
        let found = compared(&net.text(), &other.text(), true);
        assert_eq!(
            found["same"],
            true,
            "{}\n{}\n{found:#}",
            net.text(),
            other.text()
        );
    }
}

#[test]
fn one_change_is_named_and_is_one_line() {
    let mut random = Random::new(seed(41));
    for _ in 0..CIRCUITS {
        let net = some(&mut random);
        let mut other = net.clone();
        let place = random.below(other.parts.len());
        let double =
            |value: &mut crate::net::Decimal| *value = value.times(crate::net::Decimal::new(2, 0));
        let (name, kind) = match &mut other.parts[place] {
            Part::Element { name, value, .. } => {
                double(value);
                (name.clone(), "value")
            }
            Part::Voltage { name, drive, .. } | Part::Current { name, drive, .. } => {
                drive.constant = drive.constant.plus_one();
                (name.clone(), "value")
            }
            Part::Opamp {
                name, plus, minus, ..
            } => {
                std::mem::swap(plus, minus);
                (name.clone(), "connection")
            }
        };
        let [old, new] = [net.text(), other.text()].map(|it| ampersum::format_text(&it));
        let found = compared(&old, &new, false);
        let differences = found["differences"].as_array().expect("a list");
        assert_eq!(differences.len(), 1, "{old}\n{new}\n{found:#}");
        assert_eq!(differences[0]["subject"], name.as_str(), "{found:#}");
        assert_eq!(differences[0]["kind"], kind, "{found:#}");
        let line = differences[0]["line"].as_u64().expect("a line") as usize;
        assert!(
            new.lines()
                .nth(line - 1)
                .is_some_and(|it| it.contains(&name)),
            "{found:#}"
        );
        let changed = old.lines().zip(new.lines()).filter(|(a, b)| a != b).count();
        assert_eq!(
            (changed, old.lines().count()),
            (1, new.lines().count()),
            "{old}\n{new}"
        );
    }
}

#[test]
fn generated_circuits_have_one_canonical_form() {
    let mut random = Random::new(seed(42));
    for _ in 0..CIRCUITS {
        let text = some(&mut random).text();
        let formatted = ampersum::format_text(&text);
        assert_eq!(ampersum::format_text(&formatted), formatted);
        assert_eq!(
            ampersum::format_text(&retyped(&formatted).replace("   # as before", ""))
                .replace("\r\n", "\n")
                .replace("\n\n", "\n"),
            formatted.replace("\n\n", "\n"),
            "{text}"
        );
        let answers = |text: &str| {
            ampersum::solve_json("bed.amp", text)["files"][0]["circuits"][0]["nodes"].clone()
        };
        assert_eq!(answers(&text), answers(&formatted), "{text}");
    }
}

/// One value changed and every name as well: still one difference, and about that part.
#[test]
fn one_change_stays_one_where_names_are_left_out() {
    let mut random = Random::new(seed(43));
    for _ in 0..CIRCUITS {
        let net = amplifier(&mut random, "bed");
        let mut other = net.clone();
        let elements = other.parts.iter().enumerate();
        let elements: Vec<usize> = elements
            .filter(|(_, it)| matches!(it, Part::Element { .. }))
            .map(|it| it.0)
            .collect();
        let place = elements[random.below(elements.len())];
        // A value that no other part has.
        if let Part::Element { value, .. } = &mut other.parts[place] {
            *value = crate::net::Decimal::new(1_234_567, 0);
        }
        let (renamed, _) = renamed(&mut random, &other);
        let found = compared(&net.text(), &renamed.text(), true);
        let differences = found["differences"].as_array().expect("a list");
        let texts = format!("{}\n{}\n{found:#}", net.text(), renamed.text());
        assert_eq!(differences.len(), 1, "{texts}");
        assert_eq!(differences[0]["kind"], "value", "{texts}");
    }
}

#[test]
fn values_have_units_and_a_small_change_is_seen() {
    let old = "part slow\n  gain 100 dB\nend\ncircuit bed\nopamps are slow\nsource s: in = 1 V\nopamp A1: plus in, minus out, drives out\nout -- R1 4.7k 1 % -- ground\n";
    let new = old.replace("100 dB", "101 dB").replace("1 %", "2 %");
    let [old_read, new_read] = [old, &new].map(|it| ampersum::compare_json(old, it, false));
    assert_eq!(old_read["same"], true);
    let told = new_read["differences"].as_array().expect("a list");
    let told: Vec<String> = told
        .iter()
        .map(|it| format!("{} {} {}", it["subject"], it["old"], it["new"]).replace('"', ""))
        .collect();
    assert_eq!(
        told,
        [
            "slow gain 100000 gain 112200",
            "R1 tolerance 1 % tolerance 2 %"
        ]
    );
    let folder = here("../target").join(format!("small-{}", std::process::id()));
    fs::create_dir_all(&folder).expect("a folder");
    let files = [("old.amp", old), ("new.amp", &new)].map(|(name, text)| {
        let path = folder.join(name);
        fs::write(&path, text).expect("written");
        path.to_string_lossy().into_owned()
    });
    let output = ampersum(&["compare", &files[0], &files[1]], "");
    let words = String::from_utf8_lossy(&output.stdout).into_owned();
    // 1/(1 + 1/gain): from 0.999 990 000 to 0.999 991 087.
    assert!(
        words.contains("out: 999.99 mV → 999.99 mV (a change of 1.087"),
        "{words}"
    );
    let _ = fs::remove_dir_all(&folder);
}

const STAGE: &str = "\
circuit stage \"Scale a probe\"

supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
out -- RL 4.7k -- ground
";

fn repository(name: &str) -> PathBuf {
    let folder = here("../target")
        .join("repositories")
        .join(format!("{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    git(&folder, &["init", "--quiet"]);
    git(&folder, &["config", "user.name", "Nobody"]);
    git(&folder, &["config", "user.email", "nobody@example.org"]);
    fs::write(folder.join("stage.amp"), STAGE).expect("written");
    git(&folder, &["add", "."]);
    git(&folder, &["commit", "--quiet", "--message", "Begin"]);
    folder
}

fn git(folder: &Path, words: &[&str]) -> (bool, String) {
    let output = Command::new("git")
        .args(words)
        .current_dir(folder)
        .output()
        .expect("git is there");
    let text = [output.stdout, output.stderr].map(|it| String::from_utf8_lossy(&it).into_owned());
    (output.status.success(), text.concat())
}

#[test]
fn git_shows_differences_by_meaning() {
    let folder = repository("difference");
    fs::write(folder.join(".gitattributes"), "*.amp diff=ampersum\n").expect("written");
    let driver = format!("{} compare", binary().display());
    git(&folder, &["config", "diff.ampersum.command", &driver]);
    fs::write(
        folder.join("stage.amp"),
        STAGE.replace("33k", "36k").replace("4.7k", "4K7"),
    )
    .expect("written");
    let (good, shown) = git(&folder, &["diff", "--", "stage.amp"]);
    assert!(good, "{shown}");
    for expected in ["stage.amp", "R2: 33k → 36k", "out: −3.96 V → −4.32 V"] {
        assert!(shown.contains(expected), "{expected}: {shown}");
    }
    assert!(!shown.contains("RL"), "spelling is no difference: {shown}");
    git(&folder, &["rm", "--quiet", "--force", "stage.amp"]);
    let (good, shown) = git(&folder, &["diff", "HEAD", "--", "stage.amp"]);
    assert!(good && shown.contains("- stage"), "{shown}");
    let _ = fs::remove_dir_all(&folder);
}

#[test]
fn a_commit_hook_keeps_errors_out() {
    let folder = repository("hook");
    let hook = folder.join(".git/hooks/pre-commit");
    fs::write(
        &hook,
        format!("#!/bin/sh\nexec {} check --strict .\n", binary().display()),
    )
    .expect("written");
    let _ = Command::new("chmod").arg("+x").arg(&hook).status();
    let file = folder.join("stage.amp");
    let commit = || git(&folder, &["commit", "--all", "--message", "Change"]);
    fs::write(
        &file,
        STAGE.replace("plus ground, minus sum", "plus sum, minus ground"),
    )
    .expect("written");
    let (good, shown) = commit();
    assert!(!good && shown.contains("positive"), "{shown}");
    // What can only mean one thing is mended by itself; exchanged inputs are not.
    fs::write(
        &file,
        STAGE.replace("4.7k", "4,7k").replace("opamp", "opmap"),
    )
    .expect("written");
    assert!(!commit().0);
    let fixed = ampersum(&["check", "--fix", &file.to_string_lossy()], "");
    assert!(
        fixed.status.success(),
        "{}",
        String::from_utf8_lossy(&fixed.stdout)
    );
    assert_eq!(fs::read_to_string(&file).expect("read"), STAGE);
    let _ = fs::remove_dir_all(&folder);
}
