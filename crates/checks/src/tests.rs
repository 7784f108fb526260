//! What crosses rules: every example of the manual, what a text accepts, one mistake one finding.

use std::sync::Arc;

use analysis::Study;

use expect_test::{Expect, expect, expect_file};

use crate::{Check, Finding, RULES, Settings, reading};

/// The findings of a text, read alone.
pub(crate) fn findings(text: &str) -> Vec<Finding> {
    findings_with(text, &Settings::default())
}

/// The same under other settings.
pub(crate) fn findings_with(text: &str, settings: &Settings) -> Vec<Finding> {
    let text: Arc<str> = text.into();
    let book = circuit::build("test.amp", text, &mut |_| None);
    let studies: Vec<Study> = book
        .circuits
        .iter()
        .map(|it| Study::new(it, &book.parts))
        .collect();
    crate::check(&book, &studies, settings)
}

/// Compares what a reader sees of all findings: rule, word, message, help, other places, fixes.
#[track_caller]
pub(crate) fn report(text: &str, expected: Expect) {
    let text = text.trim_start();
    expected.assert_eq(&shown(text, &findings(text)));
}

fn shown(text: &str, findings: &[Finding]) -> String {
    let mut out = String::new();
    for it in findings {
        out.push_str(&format!(
            "{}: {} at `{}`\n",
            it.severity.word(),
            it.rule,
            it.place.span.of(text)
        ));
        out.push_str(&format!("  {}\n  {}\n", it.message, it.help));
        for related in &it.related {
            out.push_str(&format!(
                "  `{}`: {}\n",
                related.place.span.of(text),
                related.message
            ));
        }
        for fix in &it.fixes {
            let mut edited = text.to_string();
            for edit in fix.edits.iter().rev() {
                edited.replace_range(edit.span.range(), &edit.text);
            }
            let changed = edited
                .lines()
                .filter(|line| !text.lines().any(|it| it == *line));
            out.push_str(&format!(
                "  fix: {}: {}\n",
                fix.title,
                changed.collect::<Vec<_>>().join(" / ")
            ));
        }
    }
    out
}

/// The example below a heading, without its indent.
fn example(doc: &str, heading: &str) -> String {
    let lines = doc.lines().skip_while(|it| *it != heading).skip(1);
    let lines = lines.take_while(|it| it.is_empty() || it.starts_with("    "));
    lines
        .map(|it| it.strip_prefix("    ").unwrap_or(it))
        .collect::<Vec<_>>()
        .join("\n")
        + "\n"
}

#[test]
fn every_wrong_example_has_its_finding_alone_and_every_right_one_none() {
    let mut faults = Vec::new();
    for rule in RULES {
        let [wrong, right] = ["# Wrong", "# Right"].map(|it| example(rule.doc, it));
        if let Check::Settings = rule.check {
            assert_eq!(
                Settings::from_toml("ampersum.toml", &wrong).troubles.len(),
                1
            );
            assert_eq!(Settings::from_toml("ampersum.toml", &right).troubles, []);
            continue;
        }
        one_and_none(rule.name, &wrong, &right, &mut faults);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_wrong_line_has_its_error_alone_and_every_right_one_none() {
    let mut faults = Vec::new();
    for (id, doc) in reading::DOCS {
        let [wrong, right] = ["# Wrong", "# Right"].map(|it| example(doc, it));
        one_and_none(id, &wrong, &right, &mut faults);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// What is read and not computed is told beside it, and is no fault of an example.
fn one_and_none(name: &str, wrong: &str, right: &str, faults: &mut Vec<String>) {
    let told = |it: &Finding| it.rule != "not_built" || name == "not_built";
    let found: Vec<Finding> = findings(wrong).into_iter().filter(told).collect();
    if found.is_empty()
        || found.iter().any(|it| it.rule != name)
        || found.len() > 1 && name != "not_built"
    {
        faults.push(format!(
            "{name}: wrong example:\n{wrong}{}",
            shown(wrong, &found)
        ));
    }
    let found: Vec<Finding> = findings(right).into_iter().filter(told).collect();
    if !found.is_empty() {
        faults.push(format!(
            "{name}: right example:\n{right}{}",
            shown(right, &found)
        ));
    }
}

#[test]
fn every_rule_has_its_file_and_every_file_its_rule() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/rules");
    let files = std::fs::read_dir(folder)
        .expect("the folder of rules")
        .map(|it| it.expect("a file").path());
    let mut files: Vec<String> = files
        .filter_map(|it| it.file_stem().map(|it| it.to_string_lossy().into_owned()))
        .collect();
    let mut rules: Vec<String> = RULES.iter().map(|it| it.name.to_string()).collect();
    files.sort();
    rules.sort();
    assert_eq!(files, rules);
}

#[test]
fn every_error_of_the_language_has_its_page() {
    let ids = "open_string decimal_comma stray_character not_a_statement bare_equation element_alone single_dash \
               wire_in_equation path_ends element_value expected extra_words unknown_unit two_numbers source_form missing_end \
               wrong_place name_taken unknown_name unknown_word clause_missing said_twice inside_name ring no_value units_differ \
               unit_needed unit_misplaced not_positive division_by_zero drive_form rail_not_held start_nowhere which_source \
               use_file newer_version too_big";
    for id in ids.split_whitespace() {
        assert!(reading::doc(id).is_some(), "{id}");
    }
    assert_eq!(reading::DOCS.len(), ids.split_whitespace().count());
}

#[test]
fn what_the_text_accepts_is_taken_away() {
    let swapped = "supply +9 V and -9 V\nsource probe: in = 1 V\nin -- R1 10k -- sum -- R2 33k -- out\nopamp A1: plus sum, minus ground, drives out\n";
    let of = |line: &str| -> Vec<String> {
        let found = findings(&format!("{swapped}{line}\n"));
        found.iter().map(|it| it.rule.to_string()).collect()
    };
    assert_eq!(of(""), ["positive_feedback"]);
    assert_eq!(of("allow positive_feedback at A1: \"meant\""), [""; 0]);
    assert_eq!(of("expect finding positive_feedback at A1"), [""; 0]);
    assert_eq!(of("expect A1 latches"), [""; 0]);
    assert_eq!(of("expect A1 at high rail"), ["expectation"]);
    assert_eq!(
        of("expect finding positive_feedback at R1"),
        ["positive_feedback", "expectation"]
    );
    assert_eq!(
        of("allow positive_feedback at R1: \"no\""),
        ["positive_feedback"]
    );
    assert_eq!(
        of("expect finding slew at A1"),
        ["positive_feedback", "not_built"]
    );
    assert_eq!(
        of("let a = 2\nallow unused at a: \"later\""),
        ["positive_feedback"]
    );
    assert_eq!(of("expect A1 linear"), ["positive_feedback"]);
    assert_eq!(of("expect out = 5 V"), ["positive_feedback"]);
}

#[test]
fn a_rule_that_does_not_exist_is_told_at_its_name() {
    report(
        r#"
source probe: in = 1 V
in -- R1 10k -- ground
allow loose_ends at R1: "no"
expect finding nonsense_of_mine at R1
allow decimal_comma at R1: "no"
"#,
        expect![[r#"
            error: unknown_word at `loose_ends`
              there is no rule `loose_ends`
              Did you mean `loose_end`?
              fix: write `loose_end`: allow loose_end at R1: "no"
            error: unknown_word at `nonsense_of_mine`
              there is no rule `nonsense_of_mine`
              `ampersum rule` lists the rules.
            error: unknown_word at `decimal_comma`
              `decimal_comma` is an error of reading, not a rule that a line can accept
              A line that cannot be read, or a name that means nothing, is always an error.
        "#]],
    );
}

#[test]
fn one_mistake_is_one_finding() {
    for (text, rule) in [
        // a broken line: its node is not loose, claims behind it are not judged
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum\nsum -- R2 4,7k -- ground\nexpect sum = 0.32 V",
            "decimal_comma",
        ),
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum\nsum -- R2 -- out\nopamp A1: plus ground, minus sum, drives out",
            "element_value",
        ),
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum -- R2 10k -- out\nopmap A1: plus ground, minus sum, drives out\nexpect out = -1 V",
            "unknown_word",
        ),
        // a line that stops early may go on to any node and make any name
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum\nout -- R2 10k --\nopamp A1: plus ground, minus sum, drives out\nexpect current(R3) = 1 mA",
            "path_ends",
        ),
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum -- R2 10k -- out\nopamp A1: plus ground",
            "clause_missing",
        ),
        (
            "use \"lab\ncircuit c\nsource probe: in = 1 V\ninverter S1: in in, out out",
            "open_string",
        ),
        // a broken claim would have accepted the finding
        (
            "source probe: in = 1 V\nin -- R1 10k -- sum -- R2 10k -- out\nopamp A1: plus sum, minus ground, drives out\nexpect finding positive_feedback A1",
            "expected",
        ),
        // a structural fault: what cannot be computed is not called wrong
        (
            "source probe: in = 1 V\nopamp A1: plus in, minus out, drives out\nsource lamp: out = 5 V\nout -- R1 10k -- ground\nexpect out = 1 V\nexpect A1 linear",
            "output_conflict",
        ),
        (
            "source probe: in = 1 V\nin -- C1 1 uF -- p\nopamp A1: plus p, minus out, drives out\nout -- R1 10k -- ground\nexpect out = 1 V",
            "bias_path",
        ),
        // swapped inputs, with a supply that the ideal answer would leave
        (
            "supply +9 V and -9 V\nsource probe: in = 1.2 V\nin -- R1 10k -- sum -- R2 100k -- out\nopamp A1: plus sum, minus ground, drives out\nexpect out = -12 V",
            "positive_feedback",
        ),
    ] {
        let found = findings(&format!("{text}\n"));
        let rules: Vec<&str> = found.iter().map(|it| it.rule).collect();
        assert_eq!(rules, [rule], "{text}\n{}", shown(text, &found));
    }
}

#[test]
fn a_mistake_in_a_block_is_told_once_for_all_its_copies() {
    report(
        r#"
block turn: in, out
  in -- R1 10k -- sum -- R2 10k -- out
  opamp A1: plus sum, minus ground, drives out
end
circuit c
source probe: in = 1 V
turn S1: in in, out mid
turn S2: in mid, out out
"#,
        expect![[r#"
            error: positive_feedback at `A1`
              the feedback of `S1.A1` is positive: it drives `mid` away instead of holding it
              Of a small rise of `mid`, nothing comes back to minus (ground) and 1/2 to plus (`S1.sum`). So when `mid` rises, V+ − V− rises too and `mid` runs to a rail; V+ = V− does not hold. Exchange the inputs of `S1.A1`, `plus ground, minus sum`, or claim `expect S1.A1 latches` if that is meant. It is the same with `S2.A1`.
              fix: exchange the inputs of `S1.A1`:   opamp A1: plus ground, minus sum, drives out
        "#]],
    );
}

#[test]
fn settings_change_how_bad_a_finding_is_and_hide_answers() {
    let text = "source probe: in = 1 V\nin -- R1 10k -- out -- R2 10k -- ground\nin -- R3 10k -- tap\nexpect out = 0.7 V\n";
    let with = |toml: &str| findings_with(text, &Settings::from_toml("ampersum.toml", toml));
    let levels = |toml: &str| -> Vec<(&str, &str)> {
        with(toml)
            .iter()
            .map(|it| (it.rule, it.severity.word()))
            .collect()
    };
    assert_eq!(
        levels(""),
        [("loose_end", "warning"), ("expectation", "error")]
    );
    assert_eq!(
        levels("[rules]\nloose_end = \"off\"\nexpectation = \"hint\""),
        [("expectation", "hint")]
    );
    let hidden = with("[answers]\nhidden = true");
    assert_eq!(hidden[1].message, "`out = 0.7 V` does not hold");
    assert_eq!(hidden[1].fixes, []);
}

#[test]
fn a_word_that_a_part_does_not_know_is_told_with_those_it_knows() {
    for (line, known) in [
        ("headroom up 1 V", "`low`"),
        ("package round_9", "`dual_8`"),
    ] {
        let found = findings(&format!("part p\n{line}\nend\n"));
        assert_eq!(found.len(), 1, "{found:#?}");
        assert_eq!(found[0].rule, "unknown_word");
        assert!(found[0].help.contains(known), "{found:#?}");
    }
}

/// What a student reads of each error of reading and naming, to be read as one when it changes.
#[test]
fn every_error_reads_well() {
    let mut page = String::new();
    for (_, doc) in reading::DOCS {
        let wrong = example(doc, "# Wrong");
        let mut found = findings(&wrong);
        found.retain(|it| it.rule != "not_built");
        page.push_str(&shown(&wrong, &found));
    }
    expect_file!["reading/said.txt"].assert_eq(&page);
}

/// Beside a line that cannot be read, what it cannot have said is judged as ever.
#[test]
fn a_line_that_wires_nothing_keeps_no_answer_back() {
    let sound = "source s: in = 1 V\nin -- R1 1k -- ground\n";
    let reversed = "electrolytic C1: plus ground, minus in, value 1 uF\n";
    for (line, told) in [
        ("aks \"Why\"", "not_a_statement"),
        ("probelm \"x\"", "not_a_statement"),
        ("recrod in for 2 ms", "not_a_statement"),
        ("expct in = 1 V", "not_a_statement"),
        ("xyz", "not_a_statement"),
        ("problem \"x", "open_string"),
        ("require in <", "expected"),
    ] {
        let text = format!("{sound}{reversed}{line}\nexpect in = 3 V\n");
        let mut rules: Vec<&str> = findings(&text).iter().map(|it| it.rule).collect();
        rules.retain(|it| *it != "not_built");
        rules.sort_unstable();
        let mut expected = ["reversed_polarity", told, "expectation"];
        expected.sort_unstable();
        assert_eq!(rules, expected, "{text}");
    }
    // The beginning of a device, and of a name that other lines have, may still become anything.
    for line in ["opa", "i", "sup"] {
        let text = format!("{sound}{line}\nexpect in = 3 V\n");
        let rules: Vec<&str> = findings(&text).iter().map(|it| it.rule).collect();
        assert_eq!(rules, ["not_a_statement"], "{text}");
    }
}

#[test]
fn each_slip_is_told_by_its_own_line_alone() {
    let sound = "source s: in = 1 V\nin -- R1 1k -- ground\n";
    for (text, told) in [
        // A point after the last name hides no name of another line.
        (
            "source s: in = 1 V\nin -- R1 1k -- ground\nopamp A2: plus in, minus y, drives y.\nexpect zz = 3 V\n",
            &["expected", "unknown_name"][..],
        ),
        (
            "source s: in = 1 V\nin -- R1 1k -- ground\nexpect finding swing at nope\n",
            &["unknown_name"],
        ),
        (
            "circuit a\nsource s: in = 1 V\nin -- R1 1k -- ground\ncircuit a\nsource s: in = 1 V\nin -- R1 1k -- ground\n",
            &["name_taken"],
        ),
        (
            "circuit ground\nsource s: in = 1 V\nin -- R1 1k -- ground\n",
            &["name_taken"],
        ),
        (
            "circuit end\nsource s: in = 1 V\nin -- R1 1k -- ground\n",
            &["name_taken"],
        ),
        // A block under a device's name is that block.
        (
            "block opamp: x\n  x -- R1 1k -- ground\nend\nblock switch: x\n  x -- R1 1k -- ground\nend\ncircuit a\nsource s: in = 1 V\nopamp A: x in\nswitch B: x in\n",
            &[],
        ),
        // A head that is missing is one mistake, of the first line below it.
        (
            "  gain 100000\n  headroom 1 V\n  slew 1 V/us\nend\ncircuit a\nsupply 9 V\nopamps are slow\nsource s: in = 1 V\nopamp A: plus in, minus o, drives o\no -- R1 10k -- ground\n",
            &["wrong_place"],
        ),
        (
            "  x -- R1 1k -- y\n  y -- R2 1k -- ground\nend\ncircuit a\nsource s: in = 1 V\nladder L: x in, y o\no -- R1 10k -- ground\n",
            &["wrong_place"],
        ),
        (sound, &[]),
    ] {
        let rules: Vec<&str> = findings(text).iter().map(|it| it.rule).collect();
        assert_eq!(rules, told, "{text}");
    }
}
