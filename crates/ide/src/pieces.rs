//! Large texts piece by piece: where every circuit stands for itself, only those that have changed are looked at again.
//!
//! What is found is what is found in the whole, but for one thing: a line that cannot be read keeps the hint `unused` quiet
//! in its own circuit, and not in all.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use analysis::Study;
use checks::{Finding, Settings};
use syntax::{FileId, Span};

use crate::view::Stopped;

/// Shorter texts are looked at as a whole.
const WORTH_CUTTING: usize = 2;

/// The language's limit on a file, which no piece would meet.
const LARGEST: usize = 16 << 20;

/// What was found in each circuit of a text, kept from one version to the next.
#[derive(Debug, Default)]
pub(crate) struct Pieces(Mutex<Kept>);

#[derive(Debug, Default)]
struct Kept {
    settings: Settings,
    pieces: HashMap<Box<str>, Piece>,
}

/// What was found in one circuit.
#[derive(Clone, Debug)]
struct Piece {
    /// Lines above it, where its findings name lines.
    line: Option<usize>,
    /// Counted from its own beginning.
    findings: Arc<[Finding]>,
    circuits: usize,
}

/// The circuits of a text with the comments above them, if each stands for itself: nothing stands before the first but
/// comments, no line can bring in or name what is not its own circuit's.
pub(crate) fn cut(text: &str) -> Option<Vec<Span>> {
    if text.len() > LARGEST {
        return None;
    }
    let mut cuts: Vec<usize> = Vec::new();
    // Where the comments begin that stand right above the line.
    let mut above = None;
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        // As the lexer has it: any other blank is no blank.
        let words = line
            .trim_start_matches([' ', '\t', '\u{A0}', '\u{202F}'])
            .trim_end();
        let first = words
            .split(|it: char| !it.is_alphanumeric() && it != '_')
            .next();
        match first.unwrap_or_default() {
            "circuit" => {
                let rest = words["circuit".len()..].trim_start();
                // Anything else could be a node of that name.
                if !rest.starts_with(|it: char| it.is_alphabetic() || it == '_') {
                    return None;
                }
                cuts.push(above.unwrap_or(at));
            }
            "use" | "part" | "block" | "work" | "end" | "ampersum" => return None,
            _ if cuts.is_empty() && !words.is_empty() && !words.starts_with('#') => return None,
            _ => {}
        }
        above = match words.starts_with('#') {
            true => above.or(Some(at)),
            false => None,
        };
        at += line.len();
    }
    if cuts.len() < WORTH_CUTTING || text.starts_with('\u{FEFF}') {
        return None;
    }
    let ends = cuts.iter().copied().skip(1).chain([text.len()]);
    Some(
        cuts.iter()
            .zip(ends)
            .map(|(start, end)| Span::new(*start, end))
            .collect(),
    )
}

impl Pieces {
    /// All findings of a text that was cut; those of circuits that were seen before are taken from there.
    pub(crate) fn findings(
        &self,
        name: &str,
        text: &str,
        cuts: &[Span],
        settings: &Settings,
        stop: &AtomicBool,
    ) -> Result<Vec<Finding>, Stopped> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.settings != *settings {
            *kept = Kept {
                settings: settings.clone(),
                pieces: HashMap::new(),
            };
        }
        let mut now = HashMap::with_capacity(cuts.len());
        let mut findings = Vec::new();
        let (mut line, mut circuits, mut counted) = (0, 0, 0);
        for cut in cuts {
            if stop.load(Ordering::Relaxed) {
                // What was found so far is as true as before.
                kept.pieces.extend(now);
                return Err(Stopped);
            }
            let words = cut.of(text);
            line += text[counted..cut.start as usize].matches('\n').count();
            counted = cut.start as usize;
            let known = kept
                .pieces
                .remove(words)
                .or_else(|| now.get(words).cloned());
            let known = known.filter(|it| it.line.is_none_or(|it| it == line));
            let piece = known.unwrap_or_else(|| look(name, words, line, settings));
            findings.extend(
                piece
                    .findings
                    .iter()
                    .map(|it| shifted(it, cut.start, circuits)),
            );
            circuits += piece.circuits;
            now.insert(words.into(), piece);
        }
        kept.pieces = now;
        Ok(findings)
    }
}

fn look(name: &str, words: &str, line: usize, settings: &Settings) -> Piece {
    let found = |text: Arc<str>| {
        let book = circuit::build(name, text, &mut |_| None);
        let studies: Vec<_> = book
            .circuits
            .iter()
            .map(|it| Study::new(it, &book.parts))
            .collect();
        (
            checks::check(&book, &studies, settings),
            book.circuits.len(),
        )
    };
    let (mut findings, circuits) = found(words.into());
    let name_lines = findings.iter().any(names_a_line);
    if name_lines && line > 0 {
        // Said again with the lines counted right.
        let above = "\n".repeat(line);
        findings = found(format!("{above}{words}").into()).0;
        for it in &mut findings {
            each_span(it, |span| {
                *span = Span {
                    start: span.start.saturating_sub(line as u32),
                    end: span.end.saturating_sub(line as u32),
                }
            });
        }
    }
    Piece {
        line: name_lines.then_some(line),
        findings: findings.into(),
        circuits,
    }
}

/// Whether the words of a finding may hold the number of a line.
fn names_a_line(finding: &Finding) -> bool {
    let others = finding.related.iter().map(|it| &it.message);
    let titles = finding.fixes.iter().map(|it| &it.title);
    let mut words = [&finding.message, &finding.help]
        .into_iter()
        .chain(others)
        .chain(titles);
    words.any(|it| it.contains("line"))
}

fn shifted(finding: &Finding, by: u32, circuits: usize) -> Finding {
    let mut finding = finding.clone();
    each_span(&mut finding, |span| *span = shift(*span, by));
    finding.circuit = finding.circuit.map(|it| it + circuits);
    finding
}

/// A span as many bytes farther on.
pub(crate) fn shift(span: Span, by: u32) -> Span {
    Span {
        start: span.start + by,
        end: span.end + by,
    }
}

/// Changes the spans that lie in the text itself; what comes with the tool stays where it is.
fn each_span(finding: &mut Finding, change: impl Fn(&mut Span)) {
    let related = finding.related.iter_mut().map(|it| &mut it.place);
    for place in related.chain([&mut finding.place]) {
        if place.file == FileId(0) {
            change(&mut place.span);
        }
    }
    for it in finding.fixes.iter_mut().flat_map(|it| &mut it.edits) {
        change(&mut it.span);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;

    const STAGES: &str = "\
# A class's file.
circuit one \"One\"
source s: a = 1 V
a -- R1 10k -- b -- R2 10k -- ground
expect b = 0.5 V

# Above.
## The second.
circuit two
source s: a = 1 V
a -- R1 4,7k -- b -- R1 10k -- ground
let k = 2
expect b = 0.6 V
circuit three
opamp A1: plus ground, minus x, drives x
a -- R1 10k -- x
a -- R1 10k -- y
";

    fn whole(text: &str) -> Vec<Finding> {
        let settings = Settings::default();
        let book = circuit::build("bed.amp", text.into(), &mut |_| None);
        let studies: Vec<_> = book
            .circuits
            .iter()
            .map(|it| Study::new(it, &book.parts))
            .collect();
        checks::check(&book, &studies, &settings)
    }

    /// The findings of the open text, which are those of the whole.
    fn same(workspace: &Workspace, text: &str) -> Vec<Finding> {
        let snapshot = workspace.snapshot();
        let mut findings = snapshot.view("bed.amp").expect("open").findings().to_vec();
        let mut expected = whole(text);
        for list in [&mut findings, &mut expected] {
            list.retain(|it| it.rule != "unused");
        }
        assert_eq!(findings, expected, "{text}");
        findings
    }

    #[test]
    fn piece_by_piece_is_found_what_is_found_in_the_whole() {
        assert_eq!(cut(STAGES).map(|it| it.len()), Some(3));
        let mut workspace = Workspace::default();
        workspace.open("bed.amp", 1, STAGES);
        let mut text = STAGES.to_owned();
        let edits = [
            ("a = 1 V", "a = 2 V"),
            ("\ncircuit two", "\n\n\ncircuit two"),
            ("4,7k", "4.7k"),
            ("circuit three\n", "circuit three\nb -- R9\n"),
            ("let k = 2\n", ""),
            ("# A class's file.\n", ""),
        ];
        for (version, (old, new)) in edits.into_iter().enumerate() {
            same(&workspace, &text);
            text = text.replacen(old, new, 1);
            workspace.change("bed.amp", version as i32 + 2, &text, 0);
        }
        let findings = same(&workspace, &text);
        assert!(!findings.is_empty());
    }

    #[test]
    fn hovers_and_hints_of_a_piece_are_those_of_the_whole() {
        let open = || {
            let mut workspace = Workspace::default();
            workspace.open("bed.amp", 1, STAGES);
            workspace.snapshot().view("bed.amp").expect("open").clone()
        };
        let (piece, whole) = (open(), open());
        assert_eq!(whole.studies().len(), 3);
        assert!(
            piece.pieces_in(Span::new(0, 99)).is_some() && whole.pieces_in(Span::at(0)).is_none()
        );
        for at in 0..=STAGES.len() as u32 {
            assert_eq!(
                crate::hover(&piece, at),
                crate::hover(&whole, at),
                "at byte {at}"
            );
        }
        for (start, end) in [(0, STAGES.len()), (60, 200), (STAGES.len(), STAGES.len())] {
            let within = Span::new(start, end);
            assert_eq!(
                crate::inlay(&piece, within),
                crate::inlay(&whole, within),
                "{within:?}"
            );
        }
    }

    #[test]
    fn texts_whose_circuits_know_each_other_stay_whole() {
        let two = "circuit a\ncircuit b\n";
        assert!(cut(two).is_some());
        for with in [
            "let k = 1\n",
            "use \"x.amp\"\n",
            "part p\nend\n",
            "\u{FEFF}",
            "a -- R1 1k -- b\n",
        ] {
            assert_eq!(cut(&format!("{with}{two}")), None, "{with}");
        }
        assert_eq!(cut(&format!("{two}work \"w\" for a\nend\n")), None);
        assert_eq!(cut("circuit a\ncircuit -- R1 1k -- b\ncircuit c\n"), None);
        assert_eq!(cut("circuit a\n"), None);
    }
}
