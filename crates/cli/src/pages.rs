//! `rule` and `manual`: pages for people, and what shells and `man` want, from the same words as `--help`.

use std::io::Write;

use clap::CommandFactory;
use clap_complete::Shell;

use crate::arguments::Arguments;

/// The list of rules, or the page of one. `None`: there is no such rule, and what was perhaps meant.
pub fn rule(name: Option<&str>) -> Result<String, Option<&'static str>> {
    let Some(name) = name else { return Ok(rules()) };
    if let Some(doc) = checks::registry::doc(name) {
        return Ok(format!("{name}\n\n{doc}"));
    }
    let reading = checks::reading::DOCS.iter().map(|it| it.0);
    Err(checks::registry::nearest(name).or_else(|| syntax::spelled(reading, name)))
}

fn rules() -> String {
    let mut out = String::from("Rules\n");
    for rule in checks::RULES {
        out.push_str(&format!(
            "  {:<18} {:<8} {}\n",
            rule.name,
            rule.severity.word(),
            first_sentence(rule.doc)
        ));
    }
    out.push_str("\nErrors of reading and naming\n");
    for (name, doc) in checks::reading::DOCS {
        out.push_str(&format!(
            "  {name:<18} {:<8} {}\n",
            "error",
            first_sentence(doc)
        ));
    }
    out
}

/// The list of pages, or one of them.
pub fn manual(name: Option<&str>) -> Result<String, Option<&'static str>> {
    match name {
        None => {
            let mut out = String::new();
            for page in manual::pages() {
                out.push_str(&format!("  {:<18} {}\n", page.name, page.title));
            }
            Ok(out)
        }
        Some(name) => match manual::page(name) {
            Some(page) => Ok(page.text.to_string()),
            None => Err(syntax::spelled(
                manual::pages().iter().map(|it| it.name),
                name,
            )),
        },
    }
}

/// The man page, in roff.
pub fn man() -> std::io::Result<Vec<u8>> {
    let mut out = Vec::new();
    let command = Arguments::command();
    clap_mangen::Man::new(command.clone()).render(&mut out)?;
    // One page tells all commands.
    for sub in command.get_subcommands() {
        writeln!(out, ".SH {}", sub.get_name().to_uppercase())?;
        clap_mangen::Man::new(sub.clone()).render_description_section(&mut out)?;
        clap_mangen::Man::new(sub.clone()).render_options_section(&mut out)?;
    }
    Ok(out)
}

/// Completions for a shell.
pub fn completions(shell: Shell) -> Vec<u8> {
    let mut out = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "ampersum", &mut out);
    out
}

/// Up to the first full stop, on one line.
fn first_sentence(doc: &str) -> String {
    let line = doc.split_whitespace().collect::<Vec<_>>().join(" ");
    line.split_once(". ")
        .map_or(line.clone(), |(first, _)| first.to_owned())
}
