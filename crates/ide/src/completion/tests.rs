//! Menus at every kind of place.

use super::{Item, completion, describe};
use crate::marked::open;

fn items(marked: &str) -> (String, u32, Vec<Item>) {
    let (view, spans) = open(marked);
    let caret = spans[0].start;
    let items = completion(&view, caret).map_or(Vec::new(), |it| it.items);
    (view.text().to_owned(), caret, items)
}

/// The labels, in order.
fn labels(marked: &str) -> Vec<String> {
    items(marked).2.into_iter().map(|it| it.label).collect()
}

/// Around the line that is written.
const DESK: &str = "\
circuit desk
source feed: in = 1.2 V
in -- R1 10k -- sum -- R2 10k -- ground
opamp A1: plus sum, minus fb, drives out
out -- R9 33k -- fb -- R8 10k -- ground
…
expect sum = 0.6 V
";

#[track_caller]
fn first(line: &str, expected: &[&str]) {
    let found = labels(&DESK.replace('…', line));
    let shown: Vec<_> = found
        .iter()
        .take(expected.len())
        .map(String::as_str)
        .collect();
    assert_eq!(shown, expected, "{line}: {found:?}");
}

#[track_caller]
fn among(line: &str, with: &[&str], without: &[&str]) {
    let found = labels(&DESK.replace('…', line));
    for it in with {
        assert!(
            found.iter().any(|label| label == it),
            "{line} should offer {it}: {found:?}"
        );
    }
    for it in without {
        assert!(
            !found.iter().any(|label| label == it),
            "{line} should not offer {it}: {found:?}"
        );
    }
}

#[test]
fn half_typed_lines_are_offered_what_comes_next() {
    first("in -- «»", &["R3 10k --", "C1 100 nF --", "L1 10 mH --"]);
    among("in -- «»", &["sum", "out", "ground"], &["opamp", "feed"]);
    first("in -- R3«»", &["R3 10k --"]);
    first("in -- R3 10«»", &["k", "M", "ohm", "--", "1 %"]);
    first("in -- C1 10«»", &["nF", "uF"]);
    first("in -- R3 10k«»", &["--", "1 %", "0.25 W"]);
    first("in -- R3 10k -- «»", &["fb", "out", "sum", "in", "ground"]);
    first("in -- R3 10«» -- out", &["k", "M", "ohm", "1 %"]);
    first("in -- R3 10k -- su«»", &["sum"]);
    first("in -- R3 10k -- sum -- R4«»", &["R4 10k --"]);
    first(
        "opamp A2: plus in, «»",
        &["minus", "drives", "part", "supply"],
    );
    among("opamp A2: plus in, «»", &[], &["plus", "out"]);
    first(
        "opamp A2: plus in, minus «»",
        &["fb", "out", "sum", "in", "ground"],
    );
    first("opamp A2«»", &[": plus , minus , drives"]);
    first(
        "opamp A2: plus in, minus«»",
        &["fb", "out", "sum", "in", "ground"],
    );
    first("opamp A2: plus in, minus fb«»", &[", drives"]);
    among("opamp A2: plus in, minus fb«»", &[", drives"], &[", plus"]);
    first("source probe: in«»", &["= 1 V", "- node = 1 V"]);
    first("source probe: fresh«»", &["= 1 V", "- node = 1 V"]);
    first("source probe: su«»", &["sum"]);
    first("source probe: in «»", &["=", "-"]);
    first("source probe: in = 5«»", &["V", "mV"]);
    among(
        "source probe: in = «»",
        &["sine", "step", "out", "abs"],
        &["ground"],
    );
    first("source probe: in = sine 1 V «»", &["at"]);
    first(
        "source probe: in = sine 1 V at 1 «»",
        &["Hz", "kHz", "MHz", "offset", "phase"],
    );
    first("source probe: in = sine 1 V at«»", &["1 kHz"]);
    first("source probe: in = sine 1 V at «»", &["1 kHz"]);
    first("source probe: in = step 0 V to 1 V at«»", &["1 ms"]);
    first("source light: 2 mA from «»", &["fb", "out"]);
    first("source light: 2 mA from sum«»", &["into ground"]);
    first("source light: 2 mA from sum «»", &["into"]);
    first("supply +9 V «»", &["and"]);
    first(
        "expect A1 «»",
        &["linear", "latches", "oscillates", "at high rail"],
    );
    among("expect out «»", &["="], &["linear"]);
    first("expect finding «»", &["floating_node"]);
    among(
        "expect finding loose_end at «»",
        &["R1", "sum", "A1", "feed"],
        &["loose_end"],
    );
    among("allow «»", &["unused", "loose_end"], &["decimal_comma"]);
    first("vary R1 from 1k to 10k in «»", &["E24", "E12"]);
    first("let R = nearest(«»", &["E24"]);
    among("expect current(«»", &["R1", "feed", "A1"], &["sum", "in"]);
    among("let R = 2 * «»", &["R1", "parallel"], &["opamp"]);
    among(
        "«»",
        &["opamp", "expect", "in", "sum", "let"],
        &["part", "block", "gain"],
    );
    first("op«»", &["opamp", "opamps"]);
}

#[test]
fn nothing_is_offered_that_would_break_a_number() {
    for line in [
        "in -- R3 1«»0k -- out",
        "expect out = 3.«»",
        "expect out = 3.«»5 V",
        "let k = 1«»2",
        "in -- R3 4.«» -- out",
        "supply +1«»2 V and -12 V",
        "let k = 2e«»",
        "let k = 2.5e-«»",
    ] {
        assert_eq!(labels(&DESK.replace('…', line)), [""; 0], "{line}");
    }
}

#[test]
fn a_name_that_ends_like_a_number_is_a_name() {
    let (_, _, found) = items(&DESK.replace('…', "let R2e = 1\nlet k = R2e«»"));
    assert!(!found.is_empty());
}

#[test]
fn places_to_fill_are_left_out_where_nobody_fills_them() {
    let (_, _, found) = items(&DESK.replace('…', "opamp A2«»"));
    assert_eq!(found[0].text, ": plus , minus , drives ");
    let snippet = found[0].snippet.as_deref();
    assert_eq!(
        snippet,
        Some(": plus ${1:node}, minus ${2:node}, drives ${3:node}")
    );
    let block = labels("block half: top, mid\n  top -- R1 1k -- mid\nend\ncircuit c\nhalf H1«»\n");
    assert_eq!(block[0], ": top , mid");
}

#[test]
fn a_claim_is_offered_the_present_value() {
    // 1.2 V halved at the plus input, and 1 + 33k/10k = 4.3 times that at the output.
    first("expect out «»", &["= 2.58 V"]);
    first("expect sum = «»", &["600 mV"]);
}

#[test]
fn bodies_offer_their_own_words() {
    let part = labels("part slow\n  «»\nend\n");
    assert!(
        part.contains(&"bandwidth".into()) && part.contains(&"end".into()),
        "{part:?}"
    );
    assert!(!part.contains(&"opamp".into()), "{part:?}");
    assert_eq!(
        labels("part slow\n  package «»\nend\n"),
        ["single_8", "dual_8", "quad_14"]
    );
    assert_eq!(labels("part slow\n  slew 1 «»\nend\n"), ["V/us"]);
    let block =
        "block half: in, out, R = 1k\n  in -- R1 (R) -- mid -- R2 (R) -- out\nend\ncircuit c\n";
    let inside = labels(&format!("{block}half H1: in a, out b\nexpect H1.«»"));
    assert_eq!(inside, ["R", "R1", "R2", "in", "mid", "out"]);
    assert_eq!(
        labels(&format!("{block}half H1: in a, «»"))[..2],
        ["out", "R"]
    );
    assert!(labels(&format!("{block}«»")).contains(&"half".into()));
    assert_eq!(
        labels("part slow\nend\ncircuit c\nopamps are «»")[..3],
        ["slow", "ideal", "general_bipolar"]
    );
    let own = labels("part fet_input\nend\ncircuit c\nopamps are «»");
    assert_eq!(own.iter().filter(|it| *it == "fet_input").count(), 1);
}

#[test]
fn comments_and_texts_are_left_alone() {
    assert_eq!(labels("# in -- «»"), Vec::<String>::new());
    assert_eq!(labels("circuit c \"«»\""), Vec::<String>::new());
}

#[test]
fn what_is_written_takes_the_place_of_the_word_and_fits_what_stands_before() {
    let write = |marked: &str, label: &str| {
        let (text, caret, items) = items(marked);
        let item = items
            .iter()
            .find(|it| it.label == label)
            .unwrap_or_else(|| panic!("{label} is offered at {marked}"));
        assert!(
            item.insert.end == caret && item.insert.start == item.replace.start,
            "{item:?}"
        );
        let mut text = text;
        text.replace_range(item.replace.range(), &item.text);
        text
    };
    assert_eq!(
        write("source s: in = 1 V\nin -- R1 1k -- i«»n", "in"),
        "source s: in = 1 V\nin -- R1 1k -- in"
    );
    assert_eq!(write("in -- R1 10«» -- out", "k"), "in -- R1 10k -- out");
    assert_eq!(write("in -- C1 10«»", "nF"), "in -- C1 10 nF");
    assert_eq!(write("in -- C1 10 «»", "nF"), "in -- C1 10 nF");
    assert_eq!(write("in -- R1 10k«»", "--"), "in -- R1 10k -- ");
    assert_eq!(write("in -- R1 10k «»", "--"), "in -- R1 10k -- ");
}

#[test]
fn an_item_is_described_when_it_is_asked_for() {
    let (view, spans) =
        open("## The probe.\nsource s: in = 1.2 V\nin -- R1 1k -- ground\nexpect «»");
    let told = |label: &str| describe(&view, spans[0].start, label).map(|it| it.plain());
    assert!(told("in").is_some_and(|it| it.contains("1.2 V")));
    assert!(told("always").is_some_and(|it| it.contains("For all values")));
    assert_eq!(told("no such thing"), None);
}
