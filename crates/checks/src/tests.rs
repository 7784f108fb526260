//! What crosses rules: every example of the manual, what a text accepts, one mistake one finding.

use std::sync::Arc;

use analysis::Study;

use crate::{Finding, RULES, Settings, reading};

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
fn example<'d>(doc: &'d str, heading: &str) -> String {
    let lines = doc.lines().skip_while(|it| *it != heading).skip(1);
    let lines = lines.take_while(|it| it.is_empty() || it.starts_with("    "));
    lines
        .map(|it| it.strip_prefix("    ").unwrap_or(it))
        .collect::<Vec<_>>()
        .join("\n")
        + "\n"
}

#[test]
fn every_wrong_line_has_its_error_alone_and_every_right_one_none() {
    let mut faults = Vec::new();
    for (id, doc) in reading::DOCS {
        // which source drives a response is asked once responses are computed
        if *id != "which_source" {
            one_and_none(
                id,
                &example(doc, "# Wrong"),
                &example(doc, "# Right"),
                &mut faults,
            );
        }
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
