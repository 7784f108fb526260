//! Actions at the caret.

use super::*;
use crate::marked::open;

fn titles(marked: &str) -> Vec<String> {
    let (view, spans) = open(marked);
    actions(&view, spans[0])
        .into_iter()
        .map(|it| it.title)
        .collect()
}

const COMMENT: &str = "Write the explanation as a comment above";

#[test]
fn the_equation_of_the_word_at_the_caret_is_explained() {
    let stage = "source probe: in = 1.2 V\nin -- R1 10k -- sum -- R2 33k -- out\nopamp A1: plus ground, minus sum, drives out\n";
    let at = |mark: &str| titles(&stage.replacen(mark, &format!("«»{mark}"), 1));
    let explain = |node: &str| format!("Explain the equation at `{node}`");
    assert_eq!(at("sum --")[..2], [explain("sum"), COMMENT.into()]);
    assert_eq!(at("R1")[..2], [explain("sum"), COMMENT.into()]);
    assert_eq!(at("A1")[..2], [explain("out"), COMMENT.into()]);
    assert_eq!(at("out\n")[..2], [explain("out"), COMMENT.into()]);
    assert_eq!(at("probe")[..2], [explain("in"), COMMENT.into()]);
    // Beside the words everything that the statement has a part in.
    let beside = stage.replace("in --", " «»  in --");
    assert_eq!(
        titles(&beside)[..3],
        [explain("in"), explain("out"), explain("sum")]
    );
}

#[test]
fn beside_a_real_opamp_its_own_equation_is_explained() {
    let text = "part slow\n  gain 5000\n  output_resistance 50 ohm\nend\ncircuit c\nopamps are slow\nsource s: in = 1 V\n\
                in -- R1 1k -- sum -- R2 2k -- «»out\nopamp A1: plus ground, minus sum, drives out\n";
    let (view, spans) = open(text);
    let actions = actions(&view, spans[0]);
    let titles: Vec<&str> = actions.iter().map(|it| it.title.as_str()).collect();
    assert_eq!(
        titles[..3],
        [
            "Explain the equation at `out`",
            "Explain the equation at `out` with real op-amps",
            COMMENT
        ]
    );
    let lines = actions.iter().filter_map(|it| match &it.kind {
        ActionKind::Explain { target, .. } => Some(explanation::explanation(&view, target)?.line),
        _ => None,
    });
    assert_eq!(
        lines.collect::<Vec<_>>(),
        [
            "Equation at out: sum = 0",
            "Equation at out: (out − sum)/R2 + (out + 5000·sum)/A1.Rout = 0"
        ]
    );
}

#[test]
fn a_comment_above_keeps_indent_and_description() {
    let (view, spans) = open(
        "circuit c\n  source s: a = 1 V\n  ## The load.\n  «»a -- R1 1k -- b -- R2 1k -- ground\n",
    );
    let target = Target {
        circuit: "c".into(),
        node: "b".into(),
        real: false,
    };
    let edits =
        explanation::as_comment(&view, &target, spans[0].start).expect("there is such an equation");
    let [edit] = &edits[..] else {
        panic!("one edit")
    };
    let line = view.text().find("  ## The load").expect("it stands there") as u32;
    assert_eq!(edit.span, Span::at(line), "above the description");
    assert!(
        edit.text
            .starts_with("  # Equation at b: (b − a)/R1 + b/R2 = 0\n  #   "),
        "{}",
        edit.text
    );
    assert!(
        edit.text
            .lines()
            .all(|it| it.chars().count() <= 102 && it.starts_with("  #")),
        "{}",
        edit.text
    );
}

#[test]
fn only_the_first_sure_fix_of_a_finding_is_preferred() {
    let (view, spans) = open("in -- R1 «»4,7k -- ground\nin -- R2 1«»m -- ground\n");
    let preferred = |span: Span| {
        let fixes = actions(&view, span)
            .into_iter()
            .filter_map(|it| match it.kind {
                ActionKind::Fix {
                    preferred, finding, ..
                } => Some((finding.rule, preferred)),
                _ => None,
            });
        fixes.collect::<Vec<_>>()
    };
    assert_eq!(preferred(spans[0]), [("decimal_comma", true)]);
    assert_eq!(
        preferred(spans[1]),
        [("unknown_unit", false), ("unknown_unit", false)]
    );
}

/// The text after the action whose title begins so, at the first mark.
fn after(marked: &str, title: &str) -> String {
    let (view, spans) = open(marked);
    let all = actions(&view, spans[0]);
    let titles: Vec<_> = all.iter().map(|it| it.title.clone()).collect();
    let found = all.into_iter().find(|it| it.title.starts_with(title));
    let found = found.unwrap_or_else(|| panic!("{title} is none of {titles:?}"));
    let edits = match found.kind {
        ActionKind::Change { edits, .. } => edits,
        ActionKind::FixAll { edits } | ActionKind::Fix { edits, .. } => Ok(edits),
        _ => panic!("{title} changes nothing"),
    };
    let edits = match edits {
        Ok(edits) => edits,
        Err(why) => return why,
    };
    let mut text = view.text().to_owned();
    for it in edits.iter().rev() {
        text.replace_range(it.span.range(), &it.text);
    }
    text
}

fn offers(marked: &str, title: &str) -> bool {
    titles(marked).iter().any(|it| it.starts_with(title))
}

#[test]
fn a_value_is_written_otherwise_without_a_change() {
    let path = |value: &str| format!("in -- R1 {value} -- ground\n");
    let rewritten = |from: &str, to: &str| {
        assert_eq!(
            after(&path(&format!("«»{from}")), &format!("Write `{to}`")),
            path(to)
        );
    };
    rewritten("4.7k", "4700 ohm");
    rewritten("4700 ohm", "4.7k");
    rewritten("4k7", "4.7k");
    rewritten("470", "470 ohm");
    rewritten("0.0047 uF", "4.7 nF");
    assert!(
        !offers(&path("«»1.234567k"), "Write `1.2346k`"),
        "rounded is not the same"
    );
    assert_eq!(
        after("let a = 2 * «»1500 mV\n", "Write `1.5 V`"),
        "let a = 2 * 1.5 V\n"
    );
}

#[test]
fn the_nearest_preferred_value_is_offered_with_its_error() {
    let path = "in -- R1 «»4.2k -- ground\n";
    // Of E12 3.9 and 4.7 are next to 4.2: by ratio 3.9 is nearer (1.077 to 1.119); of E24 4.3; of E96 4.22.
    assert_eq!(
        after(path, "Take the nearest of E12: `3.9k` (−7.1 %)"),
        "in -- R1 3.9k -- ground\n"
    );
    assert_eq!(
        after(path, "Take the nearest of E24: `4.3k` (+2.4 %)"),
        "in -- R1 4.3k -- ground\n"
    );
    assert!(offers(path, "Take the nearest of E96: `4.22k`"));
    assert!(!offers("in -- R1 «»4.7k -- ground\n", "Take the nearest"));
    assert!(
        !offers("let a = «»4.2k\n", "Take the nearest"),
        "no element has it"
    );
}

#[test]
fn inputs_are_swapped() {
    assert_eq!(
        after(
            "opamp A1: drives o, «»minus ground, plus sum\n",
            "Swap plus and minus of `A1`"
        ),
        "opamp A1: drives o, minus sum, plus ground\n"
    );
}

#[test]
fn resistors_in_a_row_are_joined_unless_something_else_knows_them() {
    let title = "Join `R1` and `R2` to one resistor of";
    assert_eq!(
        after("a -- R1 «»10k -- R2 22k -- ground\n", title),
        "a -- R1 32k -- ground\n"
    );
    assert_eq!(
        after("a -- R1 «»10k 1 % -- m -- R2 470 1 % -- ground\n", title),
        "a -- R1 10.47k 1 % -- ground\n"
    );
    assert_eq!(
        after(
            "a -- R1 «»10k -- m -- R2 22k -- ground\nexpect m = 1 V\n",
            title
        ),
        "`m` stands in line 2 too."
    );
    assert_eq!(
        after("a -- R1 «»10k 1 % -- R2 22k -- ground\n", title),
        "Their tolerances or ratings differ."
    );
    assert!(!offers("a -- R1 «»10k -- C2 22 nF -- ground\n", "Join"));
}

#[test]
fn an_unnamed_node_is_named() {
    assert_eq!(
        after(
            "n1 -- R1 1k «»-- R2 1k -- ground\n",
            "Name the node between `R1` and `R2`"
        ),
        "n1 -- R1 1k -- n2 -- R2 1k -- ground\n"
    );
}

#[test]
fn the_present_answer_becomes_a_claim() {
    let title = "Claim that `b = 4 V`";
    let stage = "circuit c\nsource s: a = 8 V\na -- R1 1k -- «»b -- R2 1k -- ground\nwork \"w\"\n  a = 8\nend\ncircuit d\n";
    assert_eq!(
        after(stage, title),
        "circuit c\nsource s: a = 8 V\na -- R1 1k -- b -- R2 1k -- ground\nexpect b = 4 V\nwork \"w\"\n  a = 8\nend\ncircuit d\n"
    );
    let said = stage.replace("work", "expect b = 4 V\nwork");
    assert!(!offers(&said, title), "it is claimed already");
}

#[test]
fn a_warning_is_accepted_with_a_reason() {
    let text = "source s: a = 1 V\na -- R1 1k -- ground\na -- R2 1k -- «»loose\n";
    let expected = "source s: a = 1 V\na -- R1 1k -- ground\na -- R2 1k -- loose\nallow loose_end at loose: \"it is meant so\"\n";
    assert_eq!(after(text, "Accept `loose_end` at `loose`"), expected);
    let (view, _) = open(expected);
    assert!(
        view.findings().iter().all(|it| it.rule != "loose_end"),
        "now it is"
    );
    assert!(
        !offers("in -- R1 «»4,7k -- ground\n", "Accept"),
        "an error of reading stays one"
    );
}

#[test]
fn everything_safe_is_fixed_at_once() {
    assert_eq!(
        after(
            "in -- R1 4,7k -- out\nout -- R2 1«»m -- ground\nout -- R3 3,3k -- ground\n",
            "Fix all"
        ),
        "in -- R1 4.7k -- out\nout -- R2 1m -- ground\nout -- R3 3.3k -- ground\n"
    );
    assert!(!offers("in -- R1 1k«» -- ground\n", "Fix all"));
}

#[test]
fn lines_become_a_block_and_the_answers_stay() {
    let stage = "circuit c\nsource s: a = 8 V\n«a -- R1 1k -- m -- R2 1k -- b\nb -- R3 2k -- ground»\nb -- R4 2k -- ground\nexpect current(R3) = 4/3 * 1 mA\nexpect b = 8/3 * 1 V\n";
    let made = after(stage, "Make these lines a block");
    assert_eq!(
        made,
        "block stage: a, b\n  a -- R1 1k -- m -- R2 1k -- b\n  b -- R3 2k -- ground\nend\n\ncircuit c\nsource s: a = 8 V\nstage S1: a a, b b\n\
         b -- R4 2k -- ground\nexpect current(S1.R3) = 4/3 * 1 mA\nexpect b = 8/3 * 1 V\n"
    );
    let errors = |text: &str| {
        open(text)
            .0
            .findings()
            .iter()
            .filter(|it| it.severity == checks::Severity::Error)
            .map(|it| it.message.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(errors(&made), Vec::<String>::new(), "the claims hold");
    let reads = stage
        .replace("8 V\n«a", "8 V\nlet k = 1\n«a")
        .replace("R1 1k", "R1 (k * 1k)");
    assert_eq!(
        after(&reads, "Make these lines a block"),
        "They read `k`, which a block does not see."
    );
}
