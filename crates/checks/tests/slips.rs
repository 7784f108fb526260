//! Slips of students, each put into a sound file: is the right line told, at the right word, with a way out that helps, and
//! nothing else?
//!
//! The tables are `slips/*.txt`, the sound files `slips/*.amp`. A slip is a title and lines that begin with a sign:
//!
//! - `== inverting` the file into which the slips below are put
//! - `- line` a line of the file that is taken out; `@ line` the line below which something is added
//! - `+ line` what the student wrote: `«word»` is the word to be told, behind `#!` stands the rule
//! - `! line` the same in a line of the file that was not touched
//! - `= line` what the best way out makes of it; `=` alone: the sound file again; none: nobody could know what was meant

use std::fmt::Write as _;
use std::ops::Range;
use std::path::Path;

use ampersum_checks::{Finding, Settings, check};
use analysis::Study;

/// One slip in its file.
struct Slip {
    title: String,
    base: String,
    /// The file with the slip in it.
    text: String,
    /// The lines that it takes out, or the empty place where it adds some, and what stands there instead.
    lines: Range<usize>,
    written: Vec<String>,
    rule: String,
    word: Range<usize>,
    fix: Option<Way>,
}

/// What the best way out leaves.
enum Way {
    /// The sound file.
    Sound,
    /// These lines instead of those that it changes.
    Lines(Vec<String>),
}

#[test]
fn every_slip_is_told_once_where_it_is_with_a_way_out() {
    let slips = slips();
    let mut page = String::new();
    let mut missed = String::new();
    let mut count = [0usize; 5];
    let [line, word, fix, elsewhere, beside] = &mut count;
    let mut fixable = 0;
    for slip in &slips {
        let found = findings(&slip.text);
        let same_line = |it: &Finding| {
            line_at(&slip.text, it.place.span.range().start) == line_at(&slip.text, slip.word.start)
        };
        let own = found
            .iter()
            .position(|it| it.rule == slip.rule && same_line(it));
        let mut misses = Vec::new();
        match own.map(|at| &found[at]) {
            Some(it) => {
                *line += 1;
                if it.place.span.range() == slip.word {
                    *word += 1;
                } else {
                    misses.push(format!("at `{}`", it.place.span.of(&slip.text)));
                }
            }
            None => misses.push("not told".into()),
        }
        let way = own.and_then(|at| found[at].fixes.first());
        match (&slip.fix, way) {
            (Some(wanted), Some(way)) => {
                let mended = mended(&slip.text, way);
                let rid = own.is_some_and(|at| is_gone(&found[at], &slip.text, &mended));
                *fix += usize::from(rid);
                if !rid {
                    misses.push(format!(
                        "the way out does not help: {}",
                        changed(&slip.text, &mended).join(" / ")
                    ));
                } else if !leaves(wanted, slip, &mended) {
                    misses.push(format!(
                        "the way out is `{}`",
                        changed(&slip.text, &mended).join(" / ")
                    ));
                }
            }
            (Some(_), None) => misses.push("no way out".into()),
            (None, Some(way)) => misses.push(format!(
                "a way out that nobody can know: {}",
                changed(&slip.text, &mended(&slip.text, way)).join(" / ")
            )),
            (None, None) => {}
        }
        fixable += usize::from(slip.fix.is_some());
        for (at, it) in found.iter().enumerate().filter(|(at, _)| Some(*at) != own) {
            let _ = at;
            *(if same_line(it) {
                &mut *beside
            } else {
                &mut *elsewhere
            }) += 1;
            misses.push(format!(
                "also {} at `{}`: {}",
                it.rule,
                it.place.span.of(&slip.text),
                it.message
            ));
        }
        write_slip(&mut page, slip, &found);
        if !misses.is_empty() {
            write_slip(&mut missed, slip, &found);
            misses
                .iter()
                .for_each(|it| writeln!(missed, "    ! {it}").expect("a string"));
        }
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(folder.join("slips.txt"), &page).expect("the page of messages");
    let share = |part: usize, of: usize| 100.0 * part as f64 / of as f64;
    let all = slips.len();
    let rates = format!(
        "{all} slips: right line {line} ({:.1} %), right word {word} ({:.1} %), way out that helps {fix} of {fixable} ({:.1} %), \
         further findings {elsewhere} on other lines, {beside} on the same",
        share(*line, all),
        share(*word, all),
        share(*fix, fixable)
    );
    println!("{missed}\n{rates}");
    assert!(all >= 220, "{rates}");
    assert_eq!(*line, all, "every line is told: {rates}");
    assert!(share(*word, all) >= 95.0, "{rates}");
    assert!(share(*fix, fixable) >= 80.0, "{rates}");
    assert_eq!(
        (*elsewhere, *beside),
        (0, 0),
        "one slip, one finding: {rates}"
    );
}

/// Two slips in different lines of one file: each is told as if it were alone.
#[test]
fn no_slip_hides_another() {
    let slips = slips();
    let mut dice = Dice(20_260_731);
    let mut tried = 0;
    let mut missed = String::new();
    while tried < PAIRS {
        let (a, b) = (
            &slips[dice.below(slips.len())],
            &slips[dice.below(slips.len())],
        );
        let Some(text) = both(a, b) else { continue };
        tried += 1;
        let told = |slip: &Slip| (slip.rule.clone(), slip.text[slip.word.clone()].to_string());
        let mut wanted = [told(a), told(b)];
        let found = findings(&text);
        let found = found
            .iter()
            .map(|it| (it.rule.to_string(), it.place.span.of(&text).to_string()));
        let mut found: Vec<_> = found.collect();
        wanted.sort();
        found.sort();
        if found != wanted {
            writeln!(
                missed,
                "{} + {} ({})\n    wanted {wanted:?}\n    found  {found:?}",
                a.title, b.title, a.base
            )
            .expect("a string");
        }
    }
    assert!(missed.is_empty(), "{missed}");
}

/// How many pairs are tried.
const PAIRS: usize = 1500;

/// A file with two slips, if they stand in different lines of the same one. Of a circuit that has a line which cannot be
/// read, or a fault, nobody knows the rest: what is told of the circuit as a whole is no pair of what is wrong in its wiring.
/// Nor is what is said of a thing, and the line that makes it.
fn both(a: &Slip, b: &Slip) -> Option<String> {
    let apart = a.lines.end < b.lines.start || b.lines.end < a.lines.start;
    let hidden = |a: &Slip, b: &Slip| a.is_of_the_whole() && b.is_in_the_wiring() || a.rests_on(b);
    if a.base != b.base || !apart || hidden(a, b) || hidden(b, a) {
        return None;
    }
    let sound = read(&format!("{}.amp", a.base));
    let mut lines: Vec<&str> = sound.lines().collect();
    let (first, second) = if a.lines.start < b.lines.start {
        (a, b)
    } else {
        (b, a)
    };
    for slip in [second, first] {
        lines.splice(slip.lines.clone(), slip.written.iter().map(String::as_str));
    }
    let mut text = lines.join("\n");
    text.push('\n');
    Some(text)
}

impl Slip {
    /// Whether it is told from the circuit as a whole, not from its own line.
    fn is_of_the_whole(&self) -> bool {
        ampersum_checks::registry::rule(&self.rule).is_some()
    }

    /// Whether its lines name something that a line of the other slip makes.
    fn rests_on(&self, other: &Slip) -> bool {
        let sound = read(&format!("{}.amp", other.base));
        let taken = sound
            .lines()
            .skip(other.lines.start)
            .take(other.lines.len());
        let lines = taken.chain(other.written.iter().map(String::as_str));
        let words = |line: &str| -> Vec<String> {
            let words = line.split(|it: char| !it.is_alphanumeric() && it != '_');
            words
                .filter(|it| !it.is_empty())
                .map(str::to_owned)
                .collect()
        };
        let told = &self.text[self.word.clone()];
        let own = self.written.iter().map(String::as_str).chain([told]);
        let own: Vec<String> = own.flat_map(words).collect();
        let is_thing = |word: &&String| word.starts_with(|it: char| it.is_uppercase());
        let mut made: Vec<String> = words(&other.text[other.word.clone()]);
        let mut opens = false;
        for line in lines {
            let words = words(line);
            opens |= matches!(
                words.first().map(String::as_str),
                Some("part" | "block" | "use")
            );
            made.extend(words.iter().filter(is_thing).cloned());
            made.extend(words.get(1).cloned());
            // a property of a part
            made.extend(words.first().filter(|_| line.starts_with(' ')).cloned());
        }
        let near = |it: &String| syntax::spelled(own.iter().map(String::as_str), it).is_some();
        // how often a name stands tells which spelling is wrong
        let counts = self.rule == "loose_end" && {
            let taken: Vec<&str> = sound
                .lines()
                .skip(self.lines.start)
                .take(self.lines.len())
                .collect();
            let nodes: Vec<String> = taken.iter().flat_map(|it| words(it)).collect();
            let others = sound
                .lines()
                .skip(other.lines.start)
                .take(other.lines.len());
            others.flat_map(words).any(|it| nodes.contains(&it))
        };
        opens || counts || made.iter().any(near) || self.rule == "unknown_name" && other.is_open()
    }

    /// Whether its line could go on to anything.
    fn is_open(&self) -> bool {
        findings(&self.text)
            .iter()
            .any(|it| it.unfinished || it.fixes.is_empty())
    }

    /// Whether the lines that it touches wire something.
    fn is_in_the_wiring(&self) -> bool {
        let claims = [
            "expect", "find", "ask", "problem", "answer", "require", "vary", "record",
        ];
        let sound = read(&format!("{}.amp", self.base));
        let taken = sound.lines().skip(self.lines.start).take(self.lines.len());
        let mut lines = taken.chain(self.written.iter().map(String::as_str));
        !lines.all(|it| claims.iter().any(|word| it.trim().starts_with(word)))
    }
}

/// Numbers that look random and are the same each time (a linear congruence, constants after Knuth, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % most
    }
}

#[test]
fn sound_files_have_no_finding() {
    for base in [
        "inverting",
        "difference",
        "stages",
        "pair",
        "single",
        "half",
        "limits",
    ] {
        let found = findings(&read(&format!("{base}.amp")));
        let rules: Vec<_> = found.iter().map(|it| (it.rule, &it.message)).collect();
        assert_eq!(rules, [], "{base}");
    }
}

fn write_slip(page: &mut String, slip: &Slip, found: &[Finding]) {
    writeln!(page, "\n{} ({})", slip.title, slip.base).expect("a string");
    slip.written
        .iter()
        .for_each(|it| writeln!(page, "    {it}").expect("a string"));
    for it in found {
        writeln!(page, "  {} at `{}`", it.rule, it.place.span.of(&slip.text)).expect("a string");
        writeln!(page, "  {}\n  {}", it.message, it.help).expect("a string");
        for way in &it.fixes {
            let lines = changed(&slip.text, &mended(&slip.text, way)).join(" / ");
            writeln!(page, "  {} → {lines}", way.title).expect("a string");
        }
    }
}

/// Everything that is wrong in a text; what is read and not computed yet is told beside it.
fn findings(text: &str) -> Vec<Finding> {
    let book = circuit::build("slip.amp", text.into(), &mut |_| None);
    let studies: Vec<Study> = book
        .circuits
        .iter()
        .map(|it| Study::new(it, &book.parts))
        .collect();
    let mut found = check(&book, &studies, &Settings::default());
    found.retain(|it| it.rule != "not_built");
    found
}

fn mended(text: &str, way: &syntax::Fix) -> String {
    let mut edits = way.edits.clone();
    edits.sort_by_key(|it| std::cmp::Reverse(it.span));
    let mut mended = text.to_string();
    for edit in edits {
        mended.replace_range(edit.span.range(), &edit.text);
    }
    mended
}

/// Whether the finding is no more, however its line changed.
fn is_gone(finding: &Finding, before: &str, after: &str) -> bool {
    let what = |it: &Finding, text: &str| {
        (
            it.rule,
            it.message.clone(),
            it.place.span.of(text).to_string(),
        )
    };
    let told = what(finding, before);
    let count = |text: &str| {
        findings(text)
            .iter()
            .filter(|it| what(it, text) == told)
            .count()
    };
    count(after) < count(before)
}

fn leaves(wanted: &Way, slip: &Slip, mended: &str) -> bool {
    match wanted {
        Way::Sound => filled(mended) == filled(&read(&format!("{}.amp", slip.base))),
        Way::Lines(lines) => changed(&slip.text, mended) == *lines,
    }
}

fn filled(text: &str) -> Vec<&str> {
    text.lines()
        .map(str::trim)
        .filter(|it| !it.is_empty())
        .collect()
}

/// The lines of `after` that differ from `before`.
fn changed(before: &str, after: &str) -> Vec<String> {
    let (before, after) = (filled(before), filled(after));
    let same = |(a, b): &(&&str, &&str)| a == b;
    let head = before.iter().zip(&after).take_while(same).count();
    let rest = before.len().min(after.len()) - head;
    let tail = before
        .iter()
        .rev()
        .zip(after.iter().rev())
        .take_while(same)
        .count()
        .min(rest);
    after[head..after.len() - tail]
        .iter()
        .map(|it| it.to_string())
        .collect()
}

fn line_at(text: &str, offset: usize) -> usize {
    text[..offset].matches('\n').count()
}

fn read(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/slips")
        .join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|_| panic!("{}", path.display()))
}

/// Every slip of every table.
fn slips() -> Vec<Slip> {
    let tables = [
        "half_typed",
        "signs",
        "words",
        "values",
        "names",
        "wiring",
        "limits",
        "prose",
        "habits",
    ];
    tables
        .iter()
        .flat_map(|it| table(&read(&format!("{it}.txt"))))
        .collect()
}

fn table(text: &str) -> Vec<Slip> {
    let mut slips = Vec::new();
    let mut base = "";
    let mut entry: Vec<&str> = Vec::new();
    for line in text.lines().chain([""]) {
        if let Some(name) = line.strip_prefix("== ") {
            base = name;
        } else if !line.is_empty() {
            entry.push(line);
        } else if !entry.is_empty() {
            slips.push(slip(base, &entry));
            entry.clear();
        }
    }
    slips
}

fn slip(base: &str, entry: &[&str]) -> Slip {
    let title = entry[0];
    let of = |sign: char| -> Vec<&str> {
        let signed = entry[1..].iter().filter(|it| it.starts_with(sign));
        signed.map(|it| it[1..].trim_start()).collect()
    };
    let sound = read(&format!("{base}.amp"));
    let lines: Vec<&str> = sound.lines().collect();
    let (removed, after, added) = (of('-'), of('@'), of('+'));
    let first = removed
        .first()
        .or(after.first())
        .unwrap_or_else(|| panic!("{title}: where?"));
    let at = lines
        .iter()
        .position(|it| it.trim() == *first)
        .unwrap_or_else(|| panic!("{title}: no line `{first}`"));
    let place = if removed.is_empty() {
        at + 1..at + 1
    } else {
        at..at + removed.len()
    };
    let taken: Vec<&str> = lines[place.clone()].iter().map(|it| it.trim()).collect();
    assert_eq!(taken, removed, "{title}");
    let indent = &lines[at][..lines[at].len() - lines[at].trim_start().len()];
    let mut marked: Vec<String> = lines[..place.start]
        .iter()
        .map(|it| it.to_string())
        .collect();
    marked.extend(added.iter().map(|it| format!("{indent}{it}")));
    marked.extend(lines[place.end..].iter().map(|it| it.to_string()));
    if let [elsewhere] = of('!').as_slice() {
        let (told, _) = unmarked(elsewhere);
        let line = marked.iter_mut().find(|it| it.trim() == told.trim());
        let line = line.unwrap_or_else(|| panic!("{title}: no line `{told}`"));
        *line = format!(
            "{}{elsewhere}",
            &line[..line.len() - line.trim_start().len()]
        );
    }
    let mut text = String::new();
    let mut told = Vec::new();
    for line in &marked {
        let (plain, mark) = unmarked(line);
        told.extend(
            mark.map(|(word, rule)| (word.start + text.len()..word.end + text.len(), rule)),
        );
        text.push_str(&plain);
        text.push('\n');
    }
    let [(word, rule)] =
        <[_; 1]>::try_from(told).unwrap_or_else(|it| panic!("{title}: {} marks", it.len()));
    let fixes = of('=');
    let fix = match fixes.as_slice() {
        [] => None,
        [""] => Some(Way::Sound),
        lines => Some(Way::Lines(
            lines.iter().map(|it| it.trim_end().to_string()).collect(),
        )),
    };
    let written = added
        .iter()
        .map(|it| format!("{indent}{}", unmarked(it).0))
        .collect();
    Slip {
        title: title.to_string(),
        base: base.to_string(),
        text,
        lines: place,
        written,
        rule,
        word,
        fix,
    }
}

/// A line without its marks; where the word is and what rule tells it.
fn unmarked(line: &str) -> (String, Option<(Range<usize>, String)>) {
    let Some((line, rule)) = line.split_once("#!") else {
        return (line.to_string(), None);
    };
    let line = line.trim_end_matches(' ');
    let (before, rest) = line
        .split_once('«')
        .unwrap_or_else(|| panic!("no word is marked in `{line}`"));
    let (word, after) = rest
        .split_once('»')
        .unwrap_or_else(|| panic!("no word is marked in `{line}`"));
    let range = before.len()..before.len() + word.len();
    (
        format!("{before}{word}{after}"),
        Some((range, rule.trim().to_string())),
    )
}
