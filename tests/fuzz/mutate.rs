//! Changes of a text as people and accidents make them: tokens, lines, numbers, units and signs, with pieces of other texts.

use std::fs;
use std::path::Path;

use syntax::{Cuts, Span};

use crate::random::Random;

/// Where texts to begin with lie, below the root.
const FOLDERS: [&str; 4] = [
    "tests/samples",
    "examples",
    "tests/fuzz/corpus",
    "crates/checks/tests/slips",
];

/// Signs, numbers and words that texts rarely have.
const ODD: [&str; 72] = [
    "--",
    "-",
    "−",
    "−−",
    "+",
    "*",
    "/",
    "^",
    "(",
    ")",
    "=",
    "<",
    ">=",
    ",",
    ":",
    "%",
    "\"",
    "#",
    "##",
    "\"a\"",
    ".",
    "'",
    ";",
    "\u{0}",
    "\u{301}",
    "\u{200d}",
    "é",
    "名",
    "😀",
    "\u{2028}",
    "\u{feff}",
    "—",
    "×",
    "·",
    "Ω",
    "\u{2126}",
    "µ",
    "μ",
    "ﬁ",
    "0",
    "1",
    "00",
    "1e30",
    "1e-30",
    "1e31",
    "1e+5",
    "0.1",
    "4,7",
    "10 000",
    "4k7",
    "2R2",
    "4n7F",
    "1%",
    "-3 dB",
    "20 dB",
    "6 V/us",
    "2 Vpp",
    "1 Vrms",
    "k",
    "ohm",
    "V",
    "mA",
    "deg",
    "end",
    "ground",
    "abs(",
    "parallel(",
    "current(",
    "E24",
    "F1.mid",
    "ideal",
    "9999999999999999999999999999999999999999",
];
const GAPS: [&str; 14] = [
    "", "", " ", "  ", "\t", "\n", "\r\n", "\r", "\u{a0}", "\u{202f}", " # x\n", "\n\n",
    "\n## d\n", "\n    ",
];
const UNITS: [&str; 20] = [
    "", "k", "M", "G", "V", "mV", "uA", "A", "ohm", "Ω", "S", "F", "nF", "s", "Hz", "%", "dB",
    "deg", "Vpp", "W",
];
const AROUND: [(&str, &str); 5] = [
    ("block b: in, out\n", "end\n"),
    ("part p\n", "end\n"),
    ("work \"w\"\n", "end\n"),
    ("circuit c\n", ""),
    ("b X: in a, out c\n", ""),
];

/// Pieces of many texts.
pub struct Pool {
    /// The texts themselves.
    pub texts: Vec<String>,
    lines: Vec<String>,
    words: Vec<String>,
}

impl Pool {
    /// The pieces of every text in the repository that is meant to be read.
    pub fn of(root: &Path) -> Pool {
        let mut texts = Vec::new();
        let mut lines = Vec::new();
        for folder in FOLDERS {
            let entries = fs::read_dir(root.join(folder)).expect("a folder of texts");
            let mut paths: Vec<_> = entries.map(|it| it.expect("a file").path()).collect();
            paths.sort();
            for path in paths {
                let text = fs::read_to_string(&path).expect("a text");
                if path.extension().is_some_and(|it| it == "amp") {
                    texts.push(text);
                } else {
                    lines.extend(text.lines().filter_map(slip));
                }
            }
        }
        lines.extend(texts.iter().flat_map(|it| it.lines().map(str::to_owned)));
        lines.retain(|it| !it.trim().is_empty());
        lines.sort();
        lines.dedup();
        let mut words: Vec<String> = Vec::new();
        for line in &lines {
            words.extend(Cuts::of(line).tokens().map(|it| it.of(line).to_owned()));
        }
        words.sort();
        words.dedup();
        Pool {
            texts,
            lines,
            words,
        }
    }
}

/// The line of a student's slip: `+ in -- «R3»  #! rule`.
fn slip(line: &str) -> Option<String> {
    let line = line.strip_prefix("+ ")?;
    let line = line.split("#!").next()?.trim_end();
    Some(line.replace(['«', '»'], ""))
}

/// The text after one to four changes, no longer than `most` bytes.
pub fn mutated(text: &str, random: &mut Random, pool: &Pool, most: usize) -> String {
    let mut text = text.to_owned();
    for _ in 0..random.between(1, 4) {
        text = changed(text, random, pool);
    }
    cut(&mut text, most);
    text
}

fn changed(text: String, random: &mut Random, pool: &Pool) -> String {
    match random.below(24) {
        0..9 => tokens(text, random, pool),
        9..14 => lines(&text, random, pool),
        14..17 => number(text, random),
        17..19 => characters(text, random),
        19..21 => gap(text, random),
        21 => rename(text, random),
        22 => around(&text, random),
        _ => splice(&text, random, pool),
    }
}

fn tokens(mut text: String, random: &mut Random, pool: &Pool) -> String {
    let tokens: Vec<Span> = Cuts::of(&text).tokens().collect();
    if tokens.is_empty() {
        return random.pick(&pool.lines).clone();
    }
    let [one, other] = [0; 2].map(|_| *random.pick(&tokens));
    let foreign = |random: &mut Random| match random.chance(35) {
        true => (*random.pick(&ODD)).to_owned(),
        false => random.pick(&pool.words).clone(),
    };
    match random.below(7) {
        0 => text.replace_range(one.range(), ""),
        1 => text.insert_str(one.end as usize, &format!(" {}", one.of(&text))),
        2 if one.end <= other.start => {
            let [left, right] = [one, other].map(|it| it.of(&text).to_owned());
            text.replace_range(other.range(), &left);
            text.replace_range(one.range(), &right);
        }
        3 => text.replace_range(one.range(), &foreign(random)),
        4 => text.insert_str(one.start as usize, &format!("{} ", foreign(random))),
        5 => text.insert_str(one.end as usize, &foreign(random)),
        _ => {
            let new = other.of(&text).to_owned();
            text.replace_range(one.range(), &new);
        }
    }
    text
}

fn lines(text: &str, random: &mut Random, pool: &Pool) -> String {
    let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
    let at = random.below(lines.len() + 1);
    let foreign = format!("{}\n", random.pick(&pool.lines));
    if at == lines.len() {
        return format!("{text}\n{foreign}");
    }
    let other = random.below(lines.len());
    match random.below(7) {
        0 => {
            lines.remove(at);
        }
        1 => lines.insert(other, lines[at]),
        2 => lines.swap(at, other),
        3 => lines[at] = &foreign,
        4 => lines.insert(at, &foreign),
        5 => lines[at] = lines[at].trim_end_matches('\n'),
        _ => {
            let (start, end) = (at.min(other), at.max(other));
            lines.drain(start..end);
        }
    }
    lines.concat()
}

/// Other digits or another unit.
fn number(mut text: String, random: &mut Random) -> String {
    let cuts = Cuts::of(&text);
    let is_number = |it: &Span| it.of(&text).starts_with(|it: char| it.is_ascii_digit());
    let numbers: Vec<Span> = cuts.tokens().filter(is_number).collect();
    if numbers.is_empty() {
        return text;
    }
    let span = *random.pick(&numbers);
    let written = span.of(&text);
    let digits = written.trim_end_matches(|it: char| !it.is_ascii_digit());
    let unit = &written[digits.len()..];
    let new = match random.below(6) {
        0 => format!("{digits}{}", random.pick(&UNITS)),
        1 => format!("{digits} {}", random.pick(&UNITS)),
        2 => format!("{}{unit}", random.below(1000)),
        3 => format!("{digits}{}{unit}", random.below(10)),
        4 => format!("{digits}e{}{unit}", random.below(64) as i32 - 32),
        _ => format!("0{unit}"),
    };
    text.replace_range(span.range(), &new);
    text
}

fn characters(text: String, random: &mut Random) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    let at = random.below(letters.len() + 1);
    let end = (at + random.between(1, 6)).min(letters.len());
    match random.below(4) {
        0 => drop(letters.drain(at..end)),
        1 => letters.extend_from_within(at..end),
        2 => drop(letters.splice(at..end, random.pick(&ODD).chars())),
        _ => drop(letters.splice(at..at, random.pick(&ODD).chars())),
    }
    letters.into_iter().collect()
}

/// Other white space between two tokens.
fn gap(mut text: String, random: &mut Random) -> String {
    let tokens: Vec<Span> = Cuts::of(&text).tokens().collect();
    if tokens.len() > 1 {
        let at = random.between(1, tokens.len() - 1);
        let gap = tokens[at - 1].end as usize..tokens[at].start as usize;
        let new = *random.pick(&GAPS);
        text.replace_range(gap, new);
    }
    text
}

/// One name becomes another, everywhere.
fn rename(text: String, random: &mut Random) -> String {
    let cuts = Cuts::of(&text);
    let is_name = |it: &Span| it.of(&text).starts_with(|it: char| it.is_alphabetic());
    let names: Vec<Span> = cuts.tokens().filter(is_name).collect();
    if names.is_empty() {
        return text;
    }
    let [from, to] = [0; 2].map(|_| random.pick(&names).of(&text).to_owned());
    let mut text = text.clone();
    for span in names.iter().rev() {
        if span.of(&text) == from {
            text.replace_range(span.range(), &to);
        }
    }
    text
}

/// A body around some lines.
fn around(text: &str, random: &mut Random) -> String {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let [a, b] = [0; 2].map(|_| random.below(lines.len() + 1));
    let (start, end) = (a.min(b), a.max(b));
    let (head, foot) = *random.pick(&AROUND);
    let [before, inside, after] =
        [&lines[..start], &lines[start..end], &lines[end..]].map(|it| it.concat());
    format!("{before}{head}{inside}{foot}{after}")
}

/// The head of this text and the tail of another.
fn splice(text: &str, random: &mut Random, pool: &Pool) -> String {
    let other = random.pick(&pool.texts).as_str();
    let [head, tail] = [text, other].map(|it| {
        let lines = it.split_inclusive('\n').count();
        let keep = random.below(lines + 1);
        let length: usize = it.split_inclusive('\n').take(keep).map(str::len).sum();
        length
    });
    format!("{}{}", &text[..head], &other[tail..])
}

fn cut(text: &mut String, most: usize) {
    while text.len() > most {
        text.pop();
    }
}
