//! Findings for people: the line of the text with the word at fault marked, why, and what to do.

use std::ops::Range;

use ariadne::{CharSet, Config, IndexType, Label, Report, ReportKind};
use checks::{Finding, Severity};

use crate::read::Examined;

/// One finding as a report of several lines.
pub fn finding(it: &Examined, finding: &Finding, colour: bool) -> String {
    let kind = match finding.severity {
        Severity::Error => ReportKind::Error,
        Severity::Warning => ReportKind::Warning,
        Severity::Hint => ReportKind::Advice,
    };
    let span = |place: syntax::Place| -> (String, Range<usize>) {
        (it.path_of(place.file).to_owned(), place.span.range())
    };
    let config = Config::default()
        .with_index_type(IndexType::Byte)
        .with_color(colour)
        .with_char_set(CharSet::Unicode);
    let mut report = Report::build(kind, span(finding.place))
        .with_config(config)
        .with_message(&finding.message)
        .with_label(Label::new(span(finding.place)).with_message("here"));
    for related in &finding.related {
        report = report.with_label(Label::new(span(related.place)).with_message(&related.message));
    }
    if !finding.help.is_empty() {
        report = report.with_help(&finding.help);
    }
    for fix in &finding.fixes {
        report = report.with_note(format!("a way out: {}", fix.title));
    }
    report = report.with_note(format!("more: ampersum rule {}", finding.rule));
    let sources = it.book.files.iter().enumerate().map(|(index, file)| {
        (
            it.path_of(syntax::FileId(index as u32)).to_owned(),
            file.text.to_string(),
        )
    });
    let mut out = Vec::new();
    let written = report.finish().write(ariadne::sources(sources), &mut out);
    match written {
        Ok(()) => String::from_utf8_lossy(&out).into_owned(),
        // A report that cannot be drawn still says what it is about.
        Err(_) => format!("{}: {}\n", finding.rule, finding.message),
    }
}
