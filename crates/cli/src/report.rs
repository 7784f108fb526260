//! Findings for people: the line of the text with the word at fault marked, why, and what to do.
//!
//! A report is drawn from the few lines that it shows, never from the whole text, and of a very long line from the part
//! around the word.

use std::cell::OnceCell;
use std::ops::Range;

use ariadne::{CharSet, Config, FnCache, IndexType, Label, Report, ReportKind, Source};
use checks::{Finding, Severity};
use syntax::{FileId, LineIndex, Place, Span};

use crate::read::Examined;

/// How many findings of a file are drawn; of more, the worst come first.
const MOST_DRAWN: usize = 100;
/// Of a longer line, in characters, only the part around the word is shown.
const LONGEST_LINE: usize = 300;
/// What is shown of it before and behind the word.
const AROUND: usize = 100;
/// Related places further away, in lines, are told in words.
const FARTHEST: u32 = 1_000;
/// Below this line, from 0, a report is not drawn.
const LAST_LINE: u32 = 200_000;

/// These findings as reports of several lines; of very many the worst, and how many more there are.
pub fn findings<'f>(
    it: &Examined,
    findings: impl Iterator<Item = &'f Finding>,
    colour: bool,
) -> String {
    let mut all: Vec<&Finding> = findings.collect();
    let more = all.len().saturating_sub(MOST_DRAWN);
    if more > 0 {
        let mut by_severity: Vec<usize> = (0..all.len()).collect();
        by_severity.sort_by_key(|at| std::cmp::Reverse(all[*at].severity));
        by_severity.truncate(MOST_DRAWN);
        by_severity.sort_unstable();
        all = by_severity.into_iter().map(|at| all[at]).collect();
    }
    let drawer = Drawer {
        it,
        colour,
        lines: it.book.files.iter().map(|_| OnceCell::new()).collect(),
    };
    let mut out: String = all.into_iter().map(|it| drawer.finding(it)).collect();
    if more > 0 {
        out.push_str(&format!(
            "{more} more in `{}` are not shown; `--json` lists them\n",
            it.path
        ));
    }
    out
}

struct Drawer<'a> {
    it: &'a Examined,
    colour: bool,
    /// Where the lines of each file lie.
    lines: Vec<OnceCell<LineIndex>>,
}

/// A mark of a report.
struct Mark<'a> {
    place: Place,
    message: &'a str,
}

impl Drawer<'_> {
    fn finding(&self, finding: &Finding) -> String {
        let (line, _) = self
            .lines(finding.place.file)
            .line_col(finding.place.span.start);
        if line > LAST_LINE {
            return self.in_words(finding);
        }
        let kind = match finding.severity {
            Severity::Error => ReportKind::Error,
            Severity::Warning => ReportKind::Warning,
            Severity::Hint => ReportKind::Advice,
        };
        let first = Mark {
            place: finding.place,
            message: "here",
        };
        let related = finding.related.iter().map(|it| Mark {
            place: it.place,
            message: &it.message,
        });
        let (near, far): (Vec<Mark>, Vec<Mark>) =
            related.partition(|it| it.place.file != first.place.file || self.is_near(&first, it));
        let marks: Vec<Mark> = std::iter::once(first).chain(near).collect();
        let excerpts = self.excerpts(&marks);

        let span = |place: Place| -> (String, Range<usize>) {
            let path = self.it.path_of(place.file).to_owned();
            let excerpt = excerpts.iter().find(|it| it.file == place.file);
            let range = excerpt.map_or(0..0, |it| it.range(place.span));
            (path, range)
        };
        let config = Config::default()
            .with_index_type(IndexType::Byte)
            .with_color(self.colour)
            .with_char_set(CharSet::Unicode);
        let mut report = Report::build(kind, span(finding.place))
            .with_config(config)
            .with_message(&finding.message);
        for mark in &marks {
            report = report.with_label(Label::new(span(mark.place)).with_message(mark.message));
        }
        if !finding.help.is_empty() {
            report = report.with_help(&finding.help);
        }
        for mark in &far {
            let line = self
                .lines(mark.place.file)
                .line_col(mark.place.span.start)
                .0
                + 1;
            report = report.with_note(format!("in line {line}: {}", mark.message));
        }
        for fix in &finding.fixes {
            report = report.with_note(format!("a way out: {}", fix.title));
        }
        report = report.with_note(format!("more: ampersum rule {}", finding.rule));

        let sources = excerpts.iter().map(|it| {
            let path = self.it.path_of(it.file).to_owned();
            (path, Source::from(it.text.as_str()))
        });
        let unknown = |path: &String| Err(format!("`{path}` was not read"));
        let mut out = Vec::new();
        let written = report.finish().write(
            FnCache::new(unknown).with_sources(sources.collect()),
            &mut out,
        );
        if written.is_err() {
            return self.in_words(finding);
        }
        let out = String::from_utf8_lossy(&out).into_owned();
        self.with_its_column(finding.place, &excerpts, out)
    }

    /// A report that cannot be drawn still says what it is about.
    fn in_words(&self, finding: &Finding) -> String {
        let Place { file, span } = finding.place;
        let (line, column) = self.lines(file).line_col(span.start);
        let (path, line, column) = (self.it.path_of(file), line + 1, column + 1);
        let Finding { message, help, .. } = finding;
        let severity = finding.severity.word();
        format!("{severity}: {message}\n  at {path}:{line}:{column}\n  {help}\n")
    }

    fn is_near(&self, first: &Mark, other: &Mark) -> bool {
        let lines = self.lines(first.place.file);
        let line = |it: &Mark| lines.line_col(it.place.span.start).0;
        line(first).abs_diff(line(other)) <= FARTHEST
    }

    fn lines(&self, file: FileId) -> &LineIndex {
        let text = self.it.book.files.get(file.0 as usize);
        self.lines[file.0 as usize].get_or_init(|| LineIndex::new(text.map_or("", |it| &it.text)))
    }

    /// For each file that is marked the lines from its first mark to its last.
    fn excerpts(&self, marks: &[Mark]) -> Vec<Excerpt> {
        let mut files: Vec<FileId> = marks.iter().map(|it| it.place.file).collect();
        files.sort_unstable();
        files.dedup();
        let of = |file: FileId| {
            let spans: Vec<Span> = marks
                .iter()
                .filter(|it| it.place.file == file)
                .map(|it| it.place.span)
                .collect();
            let text = self.it.book.files.get(file.0 as usize);
            Excerpt::new(
                file,
                text.map_or("", |it| &it.text),
                self.lines(file),
                &spans,
            )
        };
        files.into_iter().map(of).collect()
    }

    /// Where a line was cut at its beginning, the column above it counts from there.
    fn with_its_column(&self, place: Place, excerpts: &[Excerpt], out: String) -> String {
        let Some(excerpt) = excerpts.iter().find(|it| it.file == place.file) else {
            return out;
        };
        let path = self.it.path_of(place.file);
        let (line, column) = self.lines(place.file).line_col(place.span.start);
        let shown = excerpt.column(place.span.start);
        match shown == column {
            true => out,
            false => out.replacen(
                &format!("{path}:{}:{} ", line + 1, shown + 1),
                &format!("{path}:{}:{} ", line + 1, column + 1),
                1,
            ),
        }
    }
}

/// Some lines of a text.
struct Excerpt {
    file: FileId,
    /// With an empty line for each one above.
    text: String,
    /// What was taken over: from where in the whole text, and to where.
    pieces: Vec<(Span, u32)>,
}

impl Excerpt {
    fn new(file: FileId, text: &str, lines: &LineIndex, spans: &[Span]) -> Excerpt {
        let line_of = |offset: u32| lines.line_col(offset).0;
        let first_line = spans.iter().map(|it| line_of(it.start)).min().unwrap_or(0);
        // Of a stretch of many lines its first tells enough.
        let last = |it: &Span| line_of(it.end).min(line_of(it.start) + 50);
        let last_line = spans.iter().map(last).max().unwrap_or(0);
        let last_line = last_line.min(first_line + 2 * FARTHEST);
        let mut excerpt = Excerpt {
            file,
            text: "\n".repeat(first_line as usize),
            pieces: Vec::new(),
        };
        for line in first_line..=last_line {
            let whole = lines.line(line);
            let marked = spans
                .iter()
                .find(|it| it.start <= whole.end && whole.start <= it.end);
            let shown = shown(text, whole, marked.map_or(whole.start, |it| it.start));
            if whole.start < shown.start {
                excerpt.text.push('…');
            }
            excerpt.pieces.push((shown, excerpt.text.len() as u32));
            excerpt.text.push_str(shown.of(text));
            if shown.end < whole.end {
                excerpt.text.push('…');
            }
            excerpt.text.push('\n');
        }
        excerpt
    }

    /// Where a stretch of the whole text lies here; what is not shown counts as the nearest place that is.
    fn range(&self, span: Span) -> Range<usize> {
        let start = self.place(span.start);
        start..self.place(span.end).max(start)
    }

    fn place(&self, offset: u32) -> usize {
        let after = self.pieces.partition_point(|it| it.0.start <= offset);
        let Some((shown, at)) = self.pieces.get(after.saturating_sub(1)) else {
            return 0;
        };
        (at + offset.clamp(shown.start, shown.end) - shown.start) as usize
    }

    /// The column of a place as it is shown, in characters from 0.
    fn column(&self, offset: u32) -> u32 {
        let before = &self.text[..self.place(offset)];
        let line = before.rfind('\n').map_or(0, |it| it + 1);
        before[line..].chars().count() as u32
    }
}

/// The part of a line that is shown: all of it, or what lies around `mark`.
fn shown(text: &str, line: Span, mark: u32) -> Span {
    if (line.end - line.start) as usize <= LONGEST_LINE
        || line.of(text).chars().count() <= LONGEST_LINE
    {
        return line;
    }
    let mark = mark.clamp(line.start, line.end);
    let before = &text[line.start as usize..mark as usize];
    let behind = &text[mark as usize..line.end as usize];
    let cut = |it: Option<(usize, char)>| it.map(|it| it.0 as u32);
    Span {
        start: line.start + cut(before.char_indices().rev().nth(AROUND)).unwrap_or(0),
        end: cut(behind.char_indices().nth(2 * AROUND)).map_or(line.end, |it| mark + it),
    }
}
