//! Every example of the book is run, every printed output is held to the facts, every name and link leads somewhere.

use std::collections::{BTreeSet, HashMap};

use ampersum_manual::fence::{Fence, fences};
use ampersum_manual::{Page, page, pages};
use checks::{Finding, RULES, Settings, reading};

mod facts;

use facts::Read;

/// The pages that stand as files.
fn chapters() -> Vec<&'static Page> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/book");
    let files = std::fs::read_dir(folder).expect("the folder of the book");
    let mut names: Vec<String> = files
        .map(|it| {
            it.expect("a file")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|it| it.ends_with(".md"))
        .collect();
    names.sort();
    names
        .iter()
        .map(|name| page(name).unwrap_or_else(|| panic!("{name} is no page")))
        .collect()
}

fn the_page(name: &str) -> &'static Page {
    page(name).unwrap_or_else(|| panic!("no page {name}"))
}

/// Every circuit of a page with its fence, and what it comes to.
fn circuits(page: &Page) -> Vec<(Fence<'_>, Read)> {
    let mut files: HashMap<&str, &str> = HashMap::new();
    let mut all = Vec::new();
    for fence in fences(&page.text) {
        if fence.language == "amp" && !fence.is("part") {
            all.push((fence.clone(), Read::of(fence.text, &files)));
            files.extend(fence.note("file").map(|name| (name, fence.text)));
        }
    }
    all
}

fn told(findings: &[Finding]) -> String {
    let one = |it: &Finding| format!("    {}: {}\n    {}\n", it.rule, it.message, it.help);
    findings.iter().map(one).collect()
}

#[test]
fn every_circuit_has_the_findings_that_its_fence_announces() {
    let mut wrong = String::new();
    for page in chapters() {
        for (fence, read) in circuits(page) {
            let (built, _): (Vec<Finding>, Vec<_>) = read
                .findings
                .iter()
                .cloned()
                .partition(|it| it.rule != "not_built");
            let rules: Vec<&str> = built.iter().map(|it| it.rule).collect();
            let announced: Vec<&str> = fence.note("finding").into_iter().collect();
            if rules != announced {
                wrong.push_str(&format!(
                    "{}.md, line {}: expected {announced:?}\n{}",
                    page.name,
                    fence.line,
                    told(&built)
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn every_claim_holds_or_waits_for_a_later_version() {
    let mut count = 0;
    for page in chapters() {
        let sound = circuits(page).into_iter();
        for (fence, read) in sound.filter(|(it, _)| it.note("finding").is_none()) {
            let place = format!("{}.md, line {}", page.name, fence.line);
            let later = read.findings.iter().any(|it| it.rule == "not_built");
            for (claim, judged) in read.claims() {
                let of_a_finding = matches!(claim.kind, Some(circuit::ClaimKind::Finding { .. }));
                assert_ne!(judged.holds, Some(false), "{place}: {}", claim.text);
                assert!(
                    of_a_finding || later || judged.holds == Some(true),
                    "{place}: {}",
                    claim.text
                );
                count += usize::from(judged.holds == Some(true));
            }
        }
    }
    assert!(count > 40, "only {count} claims were judged");
}

#[test]
fn every_circuit_is_in_canonical_form_unless_it_shows_another_spelling() {
    for page in chapters() {
        for (fence, _) in circuits(page) {
            let canonical = syntax::format(fence.text);
            let place = format!("{}.md, line {}", page.name, fence.line);
            match fence.is("spelling") {
                true => assert_ne!(canonical, fence.text, "{place} is canonical"),
                false => assert_eq!(canonical, fence.text, "{place}"),
            }
        }
    }
}

#[test]
fn every_printed_output_is_what_the_circuit_above_it_gives() {
    let mut count = 0;
    for page in chapters() {
        let mut above = circuits(page);
        above.reverse();
        for fence in fences(&page.text) {
            let Some(command) = fence.note("from") else {
                continue;
            };
            let place = format!("{}.md, line {}", page.name, fence.line);
            let (_, read) = above
                .iter()
                .find(|(it, _)| it.line < fence.line)
                .unwrap_or_else(|| panic!("{place}: no circuit above"));
            let printed = facts::printed(read, command);
            if let Err(rest) = facts::made_of(&printed, fence.text) {
                let may = printed.join("\n");
                panic!("{place}: `{command}` does not print this:\n{rest}\n\nIt may print:\n{may}");
            }
            count += 1;
        }
    }
    assert!(count > 5, "only {count} outputs");
}

#[test]
fn every_setting_is_one_and_the_defaults_are_the_defaults() {
    for page in chapters() {
        for fence in fences(&page.text).iter().filter(|it| it.language == "toml") {
            let read = Settings::from_toml("ampersum.toml", fence.text);
            assert_eq!(read.troubles, [], "{}.md, line {}", page.name, fence.line);
            if page.name == "output" {
                assert_eq!(read, Settings::default(), "line {}", fence.line);
            }
        }
    }
}

#[test]
fn every_page_has_a_name_of_its_own_a_title_and_is_found() {
    let mut names = BTreeSet::new();
    for it in pages() {
        assert!(names.insert(it.name), "{} stands twice", it.name);
        assert!(it.text.starts_with("# "), "{} has no heading", it.name);
        assert!(!it.title.is_empty(), "{} has no title", it.name);
        assert_eq!(page(it.name), Some(it));
    }
    let chapters: Vec<&str> = chapters().iter().map(|it| it.name).collect();
    assert_eq!(
        chapters,
        [
            "editor",
            "equations",
            "language",
            "limits",
            "output",
            "ratings",
            "safety",
            "start",
            "teach"
        ]
    );
    assert_eq!(page("nobody"), None);
}

#[test]
fn every_rule_and_every_error_has_its_page_and_its_row() {
    let rules = RULES.iter().map(|it| (it.name, it.doc));
    let all: Vec<_> = rules.chain(reading::DOCS.iter().copied()).collect();
    let list = &the_page("rules").text;
    for (name, doc) in all {
        let found = page(&format!("rule:{name}")).unwrap_or_else(|| panic!("{name} has no page"));
        assert_eq!(Some(found), page(name));
        for line in doc.lines().filter(|it| !it.starts_with('#')) {
            assert!(found.text.contains(line), "{name}: {line}");
        }
        assert!(list.contains(&format!("| `{name}` |")), "{name}");
    }
    for name in checks::registry::LATER {
        assert!(list.contains(&format!("`{name}`")), "{name}");
    }
}

#[test]
fn every_word_of_the_language_is_on_its_page_and_every_statement_has_an_example() {
    use teaching::words::*;
    let text = &the_page("language").text;
    let written: BTreeSet<&str> = text
        .split(|it: char| !(it.is_alphanumeric() || "_%".contains(it)))
        .collect();
    let clauses = DEVICES.iter().filter_map(|it| clauses(it.0)).flatten();
    let words = [
        STATEMENTS, DEVICES, PROPERTIES, UNITS, PREFIXES, FUNCTIONS, WAVES, CLAIMS,
    ];
    for (word, _) in words.into_iter().flatten().chain(clauses) {
        assert!(written.contains(word), "`{word}` is nowhere on the page");
    }
    let examples: BTreeSet<&str> = fences(text)
        .iter()
        .filter(|it| it.language == "amp")
        .flat_map(|it| it.text.lines())
        .filter_map(|it| it.split_whitespace().next())
        .collect();
    for (word, _) in [STATEMENTS, DEVICES, PROPERTIES].into_iter().flatten() {
        assert!(
            examples.contains(word),
            "no line of an example begins with `{word}`"
        );
    }
}

#[test]
fn the_page_says_what_this_version_leaves_out_and_nothing_else() {
    let page = the_page("language");
    let listed = |bullet: &str| -> BTreeSet<String> {
        let lines = page.text.lines().skip_while(|it| !it.starts_with(bullet));
        let (first, rest): (Vec<_>, Vec<_>) = lines
            .enumerate()
            .take_while(|(index, it)| *index == 0 || it.starts_with("  "))
            .map(|it| it.1)
            .partition(|it| it.starts_with("- "));
        let text = [first, rest].concat().join(" ");
        let items = text
            .split_once(": ")
            .expect("a list")
            .1
            .trim_end_matches('.');
        items
            .split(',')
            .map(|it| {
                it.split_whitespace()
                    .collect::<Vec<_>>()
                    .join(" ")
                    .replace('`', "")
            })
            .collect()
    };
    let mut later = BTreeSet::new();
    let mut not_judged = BTreeSet::new();
    for (_, read) in circuits(page) {
        for circuit in &read.book.circuits {
            later.extend(circuit.later.iter().map(|it| it.what.clone()));
        }
        for finding in read.findings.iter().filter(|it| it.rule == "not_built") {
            let what = finding.message.strip_prefix("this version does not judge ");
            not_judged.extend(
                what.and_then(|it| it.strip_suffix(" yet"))
                    .map(str::to_owned),
            );
        }
    }
    assert_eq!(listed("- Read and not computed"), later);
    assert_eq!(listed("- Read and not judged"), not_judged);

    let safety = &the_page("safety").text;
    let compares = !safety.contains("does\nnot compare anything with them yet");
    assert_eq!(
        compares,
        !checks::registry::LATER.contains(&"touch_voltage"),
        "safety.md"
    );
}

#[test]
fn every_link_leads_to_a_page_and_a_heading_on_it() {
    for from in pages() {
        for link in from
            .text
            .split("](")
            .skip(1)
            .filter_map(|it| it.split_once(')'))
        {
            let (target, anchor) = link.0.split_once('#').unwrap_or((link.0, ""));
            let to = match target {
                "" => Some(from),
                _ => page(target),
            };
            let to = to.unwrap_or_else(|| panic!("{}: no page {}", from.name, link.0));
            let headings: Vec<String> = headings(&to.text);
            assert!(
                anchor.is_empty() || headings.iter().any(|it| it == anchor),
                "{}: no heading {} among {headings:?}",
                from.name,
                link.0
            );
        }
    }
}

/// The anchors of a page's headings: small letters, blanks as dashes, other signs left out.
fn headings(text: &str) -> Vec<String> {
    let lines = text.lines().filter(|it| it.starts_with('#'));
    let titles = lines.map(|it| it.trim_start_matches('#').trim().to_lowercase());
    titles
        .map(|it| {
            let kept = it
                .chars()
                .filter(|it| it.is_alphanumeric() || " -_".contains(*it));
            kept.map(|it| if it == ' ' { '-' } else { it }).collect()
        })
        .collect()
}

#[test]
fn every_command_in_the_book_is_in_the_table_and_every_page_it_asks_for_is_there() {
    let table = &the_page("output").text;
    for from in chapters() {
        // what stands between backticks, one or three
        let code = from.text.split('`').skip(1).step_by(2);
        let lines = code.flat_map(str::lines).map(str::trim_start);
        for line in lines.map(|it| it.strip_prefix("exec ").unwrap_or(it)) {
            let mut words = line.split_whitespace();
            if words.next() != Some("ampersum") {
                continue;
            }
            let is_name = |it: &&str| it.chars().all(|it| it.is_ascii_lowercase() || it == '_');
            let Some(command) = words.next().filter(is_name) else {
                continue;
            };
            let row = format!("\n| `{command}");
            assert!(table.contains(&row), "{}: no command `{line}`", from.name);
            if let ("rule" | "manual", Some(name)) = (command, words.next().filter(is_name)) {
                assert!(page(name).is_some(), "{}: no page `{line}`", from.name);
            }
        }
    }
}
