//! Sound circuits are read without a fault.

use std::fs;
use std::path::Path;

use ampersum_syntax::{BodyKind, Fault, Span, StatementKind, parse, tokens};
use expect_test::expect;
use proptest::prelude::*;

fn samples() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples");
    let mut samples = Vec::new();
    for entry in fs::read_dir(folder).expect("the samples' folder") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("a text");
        samples.push((
            path.file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned(),
            text,
        ));
    }
    samples.sort();
    samples
}

#[test]
fn every_sample_reads_without_a_fault() {
    let samples = samples();
    assert!(samples.len() >= 18);
    for (name, text) in &samples {
        let tree = parse(text);
        let faults: Vec<_> = tree
            .faults
            .iter()
            .map(|it| (it.span.of(text), &it.kind))
            .collect();
        assert!(faults.is_empty(), "{name}: {faults:?}");
        assert!(
            !tree
                .statements
                .iter()
                .any(|it| matches!(it.kind, StatementKind::Broken(_))),
            "{name}"
        );
    }
}

#[test]
fn words_of_the_language_are_names_by_their_place() {
    let text = include_str!("samples/names_like_words.amp");
    let tree = parse(text);
    let mut shown = String::new();
    for statement in &tree.statements {
        let kind = format!("{:?}", statement.kind);
        let kind = kind
            .split([' ', '('])
            .next()
            .unwrap_or_default()
            .to_string();
        let names: Vec<_> = statement
            .names()
            .iter()
            .map(|(name, _)| name.of(text))
            .collect();
        shown += format!("{kind}: {}", names.join(" ")).trim_end();
        shown.push('\n');
    }
    expect![[r#"
        Circuit: in
        Supply: from at
        Source: from_ from
        Source: at_ at
        Source: S1 in
        Source: S2 in out
        Source: S3 step through
        Source: S4 from at through
        Source: S5 step out
        Source: S6 points
        Path: in R1 out
        Path: from R2 to R3 at
        Path: points R4 supply R5 source
        Device: opamp A1 plus in minus out drives out
        Path: out R6 ground
        Path: through R7 ground
        Expect: at
        Expect: in
        Response: out in S1
        Find: points out
        Vary: R1 E24
        Record: in at from
        Work:
        Let: let in
        Equation: source supply supply points
        End:
    "#]]
    .assert_eq(&shown);
}

#[test]
fn bodies_hold_their_statements() {
    let text = "use \"a\"\npart p\n gain 5\nend\nlet x = 1\ncircuit c\nin -- R1 1k -- out\nwork \"w\"\n in = 1\nend\nfind out\n";
    let tree = parse(text);
    let mut shown = String::new();
    for body in &tree.bodies {
        let first_word = |id| {
            tree.statement(id)
                .span
                .of(text)
                .split(' ')
                .next()
                .unwrap_or_default()
        };
        let inside: Vec<_> = body.inside.iter().map(|id| first_word(*id)).collect();
        shown += &format!(
            "{:?} {}: {} {:?}\n",
            body.kind,
            first_word(body.head),
            inside.join(" "),
            body.end.map(first_word)
        );
    }
    expect![[r#"
        Part part: gain Some("end")
        Circuit circuit: in work find None
        Work work: in Some("end")
    "#]]
    .assert_eq(&shown);
    let at = text.find("in = 1").expect("it stands there") as u32;
    let sheet = tree
        .body_of(tree.statement_at(at).expect("a statement"))
        .map(|it| it.kind);
    assert_eq!(sheet, Some(BodyKind::Work));
}

/// What must hold of every tree, whatever the text.
fn assert_sound(text: &str) {
    let tree = parse(text);
    let fits = |span: Span| span.start <= span.end && text.get(span.range()).is_some();
    let mut end = 0;
    for statement in &tree.statements {
        assert!(
            fits(statement.span) && statement.span.start >= end,
            "statements overlap: {text:?}"
        );
        end = statement.span.end;
        for (name, _) in statement.names() {
            assert!(
                fits(name) && statement.span.start <= name.start && name.end <= statement.span.end,
                "{text:?}"
            );
        }
        let here = |fault: &&Fault| {
            statement.span.start <= fault.span.start && fault.span.end <= statement.span.end
        };
        let faults = tree.faults.iter().filter(here).count();
        let broken = matches!(statement.kind, StatementKind::Broken(_));
        assert!(
            faults <= 1 && (faults == 1 || !broken),
            "{faults} faults of a statement: {text:?}"
        );
    }
    for fault in &tree.faults {
        assert!(fits(fault.span), "{text:?}");
        for fix in &fault.fixes {
            let mut edits: Vec<_> = fix.edits.iter().map(|it| it.span).collect();
            edits.sort_unstable();
            assert!(edits.iter().all(|it| fits(*it)), "{text:?}");
            assert!(
                edits.windows(2).all(|pair| pair[0].end <= pair[1].start),
                "edits overlap: {text:?}"
            );
            assert!(!edits.is_empty() && !fix.title.is_empty(), "{text:?}");
        }
    }
    let inside: Vec<_> = tree.bodies.iter().flat_map(|it| it.inside.iter()).collect();
    assert!(
        inside
            .iter()
            .all(|id| (id.0 as usize) < tree.statements.len()),
        "{text:?}"
    );
    let classed = tokens(text);
    assert!(classed.iter().all(|it| fits(it.span)), "{text:?}");
    assert!(
        classed
            .windows(2)
            .all(|pair| pair[0].span.end <= pair[1].span.start),
        "tokens overlap: {text:?}"
    );
}

/// Pieces of the language, sound and not, from which lines are made.
const PIECES: [&str; 64] = [
    "in",
    "R1",
    "10k",
    "--",
    "-",
    "+",
    "*",
    "/",
    "^",
    "(",
    ")",
    "=",
    ",",
    ":",
    "%",
    "\"a\"",
    "\"",
    "#",
    "##x",
    "\n",
    "\r\n",
    " ",
    "source",
    "supply",
    "opamp A1:",
    "plus",
    "minus",
    "drives",
    "expect",
    "at",
    "within",
    "always",
    "circuit",
    "part",
    "block",
    "work",
    "end",
    "let",
    "use",
    "sine",
    "through",
    "from",
    "into",
    "to",
    "ground",
    "F1.mid",
    "4,7",
    "—",
    "10 000",
    "V/us",
    "-3 dB",
    "4k7",
    "find",
    "points",
    "vary",
    "in E24",
    "require",
    "<=",
    "record",
    "for",
    "response",
    "allow",
    "\u{feff}",
    "ampersum 1",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn any_text_gives_a_sound_tree(text in any::<String>()) {
        assert_sound(&text);
    }

    #[test]
    fn any_pieces_give_a_sound_tree(
        pieces in prop::collection::vec((prop::sample::select(&PIECES[..]), any::<bool>()), 0..60),
    ) {
        let text: String = pieces.iter().flat_map(|(piece, space)| [*piece, if *space { " " } else { "" }]).collect();
        assert_sound(&text);
    }

    #[test]
    fn damaged_samples_give_a_sound_tree(
        sample in any::<prop::sample::Index>(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), 0usize..12, prop::sample::select(&PIECES[..])), 1..8),
    ) {
        let samples = samples();
        let mut letters: Vec<char> = sample.get(&samples).1.chars().collect();
        for (at, length, piece) in damage {
            let at = at.index(letters.len() + 1);
            let end = (at + length).min(letters.len());
            letters.splice(at..end, piece.chars());
        }
        assert_sound(&letters.iter().collect::<String>());
    }
}
