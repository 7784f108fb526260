//! The manual: one small book, and a page for every rule.
//!
//! [`pages`] lists all of it in reading order: the chapters in `book/`, the op-amp classes, the table of rules, then each rule's page, made of
//! the text that stands in the rule's own file. Nothing is said twice: the book names rules and never explains them.
//!
//! [`fence`] finds the fenced blocks of a page. The tests run every circuit among them and hold every printed output to the
//! facts, so that a page cannot promise what the program does not do.

pub mod fence;

use std::sync::LazyLock;

use checks::{RULES, reading};

/// One page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Page {
    /// What it is asked for by: `start`, `floating_node`.
    pub name: &'static str,
    /// Its first heading.
    pub title: String,
    /// All of it, as Markdown; it begins with its heading.
    pub text: String,
}

/// The shape of every JSON output, as a JSON Schema (2020-12).
pub const OUTPUT_SCHEMA: &str = include_str!("../book/output.schema.json");

/// The chapters, in reading order.
const CHAPTERS: &[(&str, &str)] = &[
    ("start", include_str!("../book/start.md")),
    ("teach", include_str!("../book/teach.md")),
    ("language", include_str!("../book/language.md")),
    ("output", include_str!("../book/output.md")),
    ("editor", include_str!("../book/editor.md")),
    ("equations", include_str!("../book/equations.md")),
    ("limits", include_str!("../book/limits.md")),
    ("ratings", include_str!("../book/ratings.md")),
    ("safety", include_str!("../book/safety.md")),
];

/// Every page, in reading order.
pub fn pages() -> &'static [Page] {
    static PAGES: LazyLock<Vec<Page>> = LazyLock::new(|| {
        let chapters = CHAPTERS
            .iter()
            .map(|(name, text)| page_of(name, text.to_string()));
        let rules = RULES.iter().map(|it| {
            page_of(
                it.name,
                rule_text(
                    it.name,
                    &format!("usually {}", a(it.severity.word())),
                    it.doc,
                ),
            )
        });
        let reading = reading::DOCS
            .iter()
            .map(|(id, doc)| page_of(id, rule_text(id, "always an error", doc)));
        chapters
            .chain([
                page_of("classes", classes_text()),
                page_of("rules", rules_text()),
            ])
            .chain(rules)
            .chain(reading)
            .collect()
    });
    &PAGES
}

/// The page of this name. `rule:NAME` and the file of a link (`language.md`) name a page too.
pub fn page(name: &str) -> Option<&'static Page> {
    let name = name.strip_prefix("rule:").unwrap_or(name);
    let name = name.strip_suffix(".md").unwrap_or(name);
    pages().iter().find(|it| it.name == name)
}

fn page_of(name: &'static str, text: String) -> Page {
    let first = text.lines().next().unwrap_or_default();
    Page {
        name,
        title: first.trim_start_matches('#').trim().to_string(),
        text,
    }
}

/// A rule's page: its name, how bad its findings are, and its doc, whose headings come one level down.
fn rule_text(name: &str, is: &str, doc: &str) -> String {
    let mut text = format!("# {name}\n\nA finding of this rule is {is}.\n\n");
    let mut after_example = false;
    for line in doc.lines() {
        let heading = line.strip_prefix("# ");
        if heading.is_some() || after_example && !line.is_empty() && !line.starts_with("    ") {
            text.push('\n');
        }
        match heading {
            Some(heading) => text.push_str(&format!("## {heading}\n\n")),
            None => text.push_str(&format!("{line}\n")),
        }
        after_example = line.starts_with("    ");
    }
    text
}

/// The classes as they ship, with the source of every figure.
fn classes_text() -> String {
    let mut text = String::from(
        "# Classes\n\nGeneric op-amps that ship with the tool, to be named like parts: `opamps are fet_input`. A part of your own with the \
         same name comes first. `ampersum suit FILE` tries all of them in a circuit (see [Ratings](ratings.md#which-op-amp-would-do)).\n\n\
         | class | is for |\n|---|---|\n",
    );
    for it in circuit::classes::classes() {
        let about = it.part.description.as_deref().unwrap_or_default();
        text.push_str(&format!("| `{}` | {about} |\n", it.part.name));
    }
    text.push_str("\n## Figures\n\n```amp part\n");
    text.push_str(circuit::classes::TEXT);
    text.push_str("```\n");
    text
}

fn rules_text() -> String {
    let mut text = String::from(
        "# Rules\n\nEvery finding has the name of its rule; `ampersum rule NAME` shows the rule's page, with a wrong and a right \
         example. The severity is the usual one; the settings can change it (see [Output](output.md#settings)).\n\n\
         | rule | severity | about |\n|---|---|---|\n",
    );
    for rule in RULES {
        text.push_str(&row(rule.name, rule.severity.word(), rule.doc));
    }
    text.push_str(
        "\n## Errors of reading and naming\n\nA line that cannot be read, or a name that means nothing, is always an error: no \
         setting and no `allow` changes that.\n\n| error | about |\n|---|---|\n",
    );
    for (id, doc) in reading::DOCS {
        text.push_str(&format!("| `{id}` | {} |\n", first_sentence(doc)));
    }
    text.push_str(&format!(
        "\n## Later\n\nThe language already knows these names, after `allow`, in `expect finding` and in the settings; this \
         version does not look for them yet: {}.\n",
        checks::registry::LATER
            .iter()
            .map(|it| format!("`{it}`"))
            .collect::<Vec<_>>()
            .join(", ")
    ));
    text
}

fn row(name: &str, severity: &str, doc: &str) -> String {
    format!("| `{name}` | {severity} | {} |\n", first_sentence(doc))
}

/// Up to the first full stop, on one line, fit for a cell of a table.
fn first_sentence(doc: &str) -> String {
    let line = doc.split_whitespace().collect::<Vec<_>>().join(" ");
    let first = line.split_once(". ").map_or(line.as_str(), |it| it.0);
    format!("{}.", first.trim_end_matches('.').replace('|', "\\|"))
}

fn a(word: &str) -> String {
    let article = if word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    };
    format!("{article} {word}")
}
