//! Whatever a file holds, it is read in bounded time, nothing panics, and the lines that are sound are still checked.

use std::fs;
use std::panic::catch_unwind;
use std::time::{Duration, Instant};

use crate::harness::{Report, check, here, solve};
use crate::random::{Random, seed};

/// A text of a few kilobytes; the machine may be busy and the build unoptimized.
const LONG: Duration = Duration::from_secs(10);

#[test]
fn noise_is_read() {
    let mut random = Random::new(seed(30));
    for _ in 0..400 {
        let bytes: Vec<u8> = (0..random.below(600))
            .map(|_| random.next() as u8)
            .collect();
        survives(&String::from_utf8_lossy(&bytes));
    }
}

#[test]
fn words_of_the_language_in_any_order_are_read() {
    let mut random = Random::new(seed(31));
    let words: Vec<String> = samples()
        .iter()
        .flat_map(|text| text.split(' ').map(str::to_owned).collect::<Vec<_>>())
        .collect();
    let signs = [
        "--", "-", "+", "*", "/", "^", "(", ")", "=", ",", ":", "%", "\"", "#", "\n", "\n", "end",
        "1e30", "µ", "Ω", "−", "\u{a0}",
    ];
    for _ in 0..300 {
        let mut text = String::new();
        for _ in 0..random.below(120) {
            if random.chance(40) {
                text.push_str(signs[random.below(signs.len())]);
            } else {
                text.push_str(&words[random.below(words.len())]);
            }
            text.push_str(if random.chance(15) { "\n" } else { " " });
        }
        survives(&text);
    }
}

#[test]
fn samples_with_holes_and_wounds_are_read() {
    let mut random = Random::new(seed(32));
    let samples = samples();
    for _ in 0..400 {
        let mut text: Vec<char> = random.pick(&samples).chars().collect();
        for _ in 0..random.between(1, 4) {
            let at = random.below(text.len());
            match random.below(5) {
                0 => {
                    text.remove(at);
                }
                1 => text.insert(
                    at,
                    *random.pick(&[
                        '"', '(', '#', '-', '\n', ',', '.', '9', 'k', '\u{0}', 'é', '😀',
                    ]),
                ),
                2 => text.truncate(at.max(1)),
                3 => {
                    let end = (at + random.between(1, 80)).min(text.len());
                    let copy: Vec<char> = text[at..end].to_vec();
                    text.splice(at..at, copy);
                }
                _ => {
                    let other = random.below(text.len());
                    text.swap(at, other);
                }
            }
        }
        survives(&text.into_iter().collect::<String>());
    }
}

#[test]
fn texts_made_to_hurt_are_read() {
    let many = |count: usize, line: &dyn Fn(usize) -> String| {
        (0..count)
            .map(|place| line(place) + "\n")
            .collect::<String>()
    };
    let hurts = [
        format!("let x = {}1{}", "(".repeat(9_000), ")".repeat(9_000)),
        format!("let x = {}1", "-".repeat(9_000)),
        format!("let x = 1{}", "^1".repeat(4_000)),
        format!("let x = {}1", "parallel(".repeat(1_000)),
        format!("let x = {}", "1 + ".repeat(2_400)),
        format!("a -- R1 {}", "10k -- b -- R1 ".repeat(600)),
        format!("let x = {}", "9".repeat(9_000)),
        "let x = 1e99999999999999999999".to_owned(),
        "source s: a = 1e30 V\na -- R1 1e-30 -- b -- R2 1e30 -- ground".to_owned(),
        in_circuit(&many(60, &|place| match place {
            0 => "let a0 = 10^32".to_owned(),
            _ => format!("let a{place} = a{}^32", place - 1),
        })),
        in_circuit(&many(60, &|place| match place {
            59 => "let a59 = 1e30".to_owned(),
            _ => format!("let a{place} = a{0} * a{0}", place + 1),
        })),
        in_circuit(&many(400, &|place| {
            format!("let a{place} = a{}", (place + 1) % 400)
        })),
        doubled(10),
        nested(24),
        "block b: in\n  b X: in in\nend\ncircuit c\nb X: in a\nsource s: a = 1 V".to_owned(),
        many(1_000, &|_| "work \"a".to_owned()),
        many(1_000, &|_| "block b: a".to_owned()),
        many(3_000, &|place| format!("-- R{place} 1k -- n{place}")),
        many(2_000, &|_| "expect a = b".to_owned()),
        "use \"bench.amp\"\nuse \"../../../../etc/passwd\"\nuse \"\"".to_owned(),
        format!("circuit {}", "x".repeat(9_000)),
        format!("#{}", "é".repeat(9_000)),
    ];
    for text in &hurts {
        survives(text);
    }
}

#[test]
fn one_broken_line_leaves_every_other_line_checked() {
    // Each sound line has a fault of its own that is told by name; a broken line in between hides none of them.
    let mut random = Random::new(seed(33));
    let noise = [
        "in -- R9",
        "opamp",
        "= = =",
        "problem \"",
        "source s: in = 5 volts",
        ")(",
        "expect",
        "let 3 = 4",
        "xyzzy 7",
        "a - b",
    ];
    for _ in 0..200 {
        let count = random.between(3, 12);
        let mut lines: Vec<String> = (0..count)
            .map(|place| format!("let wrong{place} = 3 V + {} ohm", place + 2))
            .collect();
        let at = random.below(count + 1);
        lines.insert(at, (*random.pick(&noise)).to_owned());
        let text = in_circuit(&lines.join("\n"));
        let mut findings = check(&text).all_findings();
        findings.retain(|it| it.severity == "error");
        let clashes: Vec<usize> = findings
            .iter()
            .filter(|it| it.rule == "units_differ")
            .map(|it| it.line - 2)
            .collect();
        let expected: Vec<usize> = (1..=count + 1).filter(|line| *line != at + 1).collect();
        assert_eq!(clashes, expected, "{text}\n{findings:#?}");
        let errors = findings.iter().filter(|it| it.severity == "error").count();
        assert_eq!(errors, count + 1, "{text}\n{findings:#?}");
    }
}

fn in_circuit(lines: &str) -> String {
    format!("source s: in = 1 V\nin -- R1 1k -- ground\n{lines}")
}

/// Blocks of one of the next; more than 16 deep is too many.
fn nested(depth: usize) -> String {
    let twice = doubled(depth);
    twice
        .lines()
        .filter(|line| !line.contains(" Y: "))
        .map(|line| line.replace("out m", "out out") + "\n")
        .collect()
}

/// Blocks of two of the next: 2^depth resistors in a row.
fn doubled(depth: usize) -> String {
    let mut text = String::new();
    for place in 0..depth {
        let next = place + 1;
        text += &format!(
            "block b{place}: in, out\n  b{next} X: in in, out m\n  b{next} Y: in m, out out\nend\n"
        );
    }
    text += &format!("block b{depth}: in, out\n  in -- R1 1k -- out\nend\n");
    text + "circuit c\nsource s: a = 1 V\nb0 X: in a, out ground\n"
}

fn survives(text: &str) {
    let shown: String = text.chars().take(2_000).collect();
    let begin = Instant::now();
    let report: Report = catch_unwind(|| {
        ampersum::format_text(text);
        solve(text);
        check(text)
    })
    .unwrap_or_else(|_| panic!("it panicked on:\n{shown}"));
    let took = begin.elapsed();
    assert!(took < LONG, "{took:?} for:\n{shown}");
    for finding in report.all_findings() {
        let place = text.get(finding.start..finding.end);
        assert!(place.is_some(), "{finding:?} points outside of:\n{shown}");
    }
}

fn samples() -> Vec<String> {
    let mut paths: Vec<_> = fs::read_dir(here("samples"))
        .expect("the samples")
        .map(|entry| entry.expect("a file").path())
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| fs::read_to_string(path).expect("a sample"))
        .collect()
}
