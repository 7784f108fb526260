//! Large texts piece by piece: where every circuit stands for itself, only those that have changed are looked at again. What all may use
//! (`let`s, parts and blocks) stands before the first and is read again with each.
//!
//! What is found is what is found in the whole, but for one thing: a line that cannot be read keeps the hint `unused` quiet
//! in its own circuit, and not in all.

use std::collections::{HashMap, HashSet};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use analysis::Study;
use checks::{Finding, Settings};
use syntax::{FileId, Span};

use crate::View;
use crate::view::Stopped;

/// Shorter texts are looked at as a whole.
const WORTH_CUTTING: usize = 2;

/// The language's limit on a file, which no piece would meet.
const LARGEST: usize = 16 << 20;

/// What all circuits share is read again with each: it may be this many times as long as the circuits, all told.
const LONGEST_HEAD: usize = 8;

/// A text as its circuits.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Cuts {
    /// How far that goes which all circuits may use.
    pub head: u32,
    /// The circuits with the comments above them, to the end of the text.
    pub circuits: Vec<Span>,
}

/// A circuit as a text of its own: what all may use, then the circuit.
#[derive(Debug)]
pub(crate) struct Near {
    pub view: Arc<View>,
    /// How long that is which all may use.
    head: u32,
    /// Where the circuit stands in the whole.
    start: u32,
}

impl Near {
    pub fn new(view: Arc<View>, head: u32, circuit: Span) -> Near {
        let start = circuit.start;
        Near { view, head, start }
    }

    /// A place of the whole in the circuit's own text.
    pub fn inside(&self, offset: u32) -> u32 {
        offset.saturating_sub(self.start) + self.head
    }

    /// A place of the circuit's own text in the whole.
    pub fn outside(&self, offset: u32) -> u32 {
        match offset.checked_sub(self.head) {
            Some(it) => it + self.start,
            None => offset,
        }
    }

    /// The same of a stretch, as far as it lies in the circuit.
    pub fn span_inside(&self, span: Span) -> Span {
        Span {
            start: self.inside(span.start),
            end: self.inside(span.end),
        }
    }

    /// Whether a stretch of the circuit's own text is its own, and not what all may use.
    pub fn holds(&self, span: Span) -> bool {
        span.start >= self.head
    }

    /// A stretch of the circuit's own text in the whole.
    pub fn span_outside(&self, span: Span) -> Span {
        shift(span, self.outside(span.start) - span.start)
    }
}

/// What was found in each circuit of a text, kept from one version to the next.
#[derive(Debug, Default)]
pub(crate) struct Pieces(Mutex<Kept>);

#[derive(Debug, Default)]
struct Kept {
    settings: Settings,
    head: Box<str>,
    used: Used,
    pieces: HashMap<Box<str>, Piece>,
}

/// What was found in one circuit.
#[derive(Clone, Debug)]
struct Piece {
    /// Lines above it, where its findings name lines.
    line: Option<usize>,
    /// Counted from the beginning of the circuit.
    findings: Arc<[Finding]>,
    /// What is left unused of that which all may use. `None`: something else is wrong there.
    unused: Option<Arc<[Finding]>>,
    circuits: usize,
}

/// The texts that `use` brings in, by name.
pub(crate) type Used = Vec<(String, Arc<str>)>;

/// The circuits of a text, if each stands for itself: nothing stands before the first but what all may use, no line behind can bring in or
/// name what is not its own circuit's.
pub(crate) fn cut(text: &str) -> Option<Cuts> {
    if text.len() > LARGEST || text.starts_with('\u{FEFF}') {
        return None;
    }
    let mut circuits: Vec<usize> = Vec::new();
    let mut names = HashSet::new();
    // Inside a part or a block.
    let mut open = false;
    let mut shared = false;
    // Where the comments begin that stand right above the line.
    let mut above = None;
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        // As the lexer has it: any other blank is no blank.
        let words = line
            .trim_start_matches([' ', '\t', '\u{A0}', '\u{202F}'])
            .trim_end();
        let is_word = |it: char| it.is_alphanumeric() || it == '_';
        let end = words.find(|it| !is_word(it)).unwrap_or(words.len());
        let rest = words[end..].trim_start();
        // Anything else could be a node of that name.
        let names_something = rest.starts_with(|it: char| it.is_alphabetic() || it == '_');
        match (&words[..end], circuits.is_empty()) {
            ("circuit", _) => {
                let name = rest.split(|it| !is_word(it)).next().unwrap_or_default();
                if open || !names_something || !names.insert(syntax::normal(name)) {
                    return None;
                }
                circuits.push(above.unwrap_or(at));
            }
            ("end", true) if open && rest.is_empty() => open = false,
            ("part" | "block" | "let", true) if !open && names_something => {
                open = &words[..end] != "let";
                shared = true;
            }
            ("ampersum" | "use", true) if !open => shared = true,
            ("use" | "part" | "block" | "work" | "end" | "ampersum", _) => return None,
            (_, true) if !open && !words.is_empty() && !words.starts_with('#') => return None,
            _ => {}
        }
        above = match words.starts_with('#') {
            true => above.or(Some(at)),
            false => None,
        };
        at += line.len();
    }
    if circuits.len() < WORTH_CUTTING {
        return None;
    }
    // Comments alone belong to the first circuit.
    let first = circuits[0];
    let head = if shared { first } else { 0 };
    if !shared {
        circuits[0] = 0;
    }
    if head * circuits.len() > LONGEST_HEAD * text.len() {
        return None;
    }
    let ends = circuits.iter().copied().skip(1).chain([text.len()]);
    let circuits = circuits.iter().zip(ends);
    Some(Cuts {
        head: head as u32,
        circuits: circuits.map(|it| Span::new(*it.0, it.1)).collect(),
    })
}

impl Pieces {
    /// All findings of a text that was cut; those of circuits that were seen before are taken from there. `None` where something is wrong in what
    /// all may use: that is told of the whole.
    pub(crate) fn findings(
        &self,
        name: &str,
        text: &str,
        cuts: &Cuts,
        used: &Used,
        settings: &Settings,
        stop: &AtomicBool,
    ) -> Result<Option<Vec<Finding>>, Stopped> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let head = &text[..cuts.head as usize];
        if kept.settings != *settings || *kept.head != *head || kept.used != *used {
            *kept = Kept {
                settings: settings.clone(),
                head: head.into(),
                used: used.clone(),
                pieces: HashMap::new(),
            };
        }
        let mut now = HashMap::with_capacity(cuts.circuits.len());
        let mut findings = Vec::new();
        let mut unused: Option<Vec<Finding>> = None;
        let (mut stands, mut unknown) = (true, false);
        let (mut line, mut circuits, mut counted) = (0, 0, 0);
        for cut in &cuts.circuits {
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
            let piece = known.unwrap_or_else(|| look(name, head, words, line, used, settings));
            findings.extend(
                piece
                    .findings
                    .iter()
                    .map(|it| shifted(it, cuts.head, cut.start, circuits)),
            );
            match (&piece.unused, &mut unused) {
                (None, _) => stands = false,
                // What some circuit uses is used.
                (Some(own), Some(all)) => all.retain(|it| own.contains(it)),
                (Some(own), none) => *none = Some(own.to_vec()),
            }
            unknown |= piece.findings.iter().any(|it| it.rule == "unknown_name");
            circuits += piece.circuits;
            now.insert(words.into(), piece);
        }
        kept.pieces = now;
        let unused = unused.unwrap_or_default();
        // Of what nothing uses and what nobody knows one may be the other misspelt.
        stands &= unused.is_empty() || !unknown;
        findings.splice(0..0, unused);
        Ok(stands.then_some(findings))
    }
}

fn look(
    name: &str,
    head: &str,
    words: &str,
    line: usize,
    used: &Used,
    settings: &Settings,
) -> Piece {
    // Where lines are named they are counted as in the whole.
    let found = |blank: usize| {
        let between = "\n".repeat(blank);
        let text: Arc<str> = [head, &between, words].concat().into();
        let book = circuit::build(name, text, &mut |name| {
            let mut used = used.iter();
            Some(used.find(|it| it.0 == name)?.1.clone())
        });
        let studies: Vec<_> = book
            .circuits
            .iter()
            .map(|it| Study::new(it, &book.parts))
            .collect();
        let mut findings = checks::check(&book, &studies, settings);
        // From here on the circuit begins where the head ends.
        for it in &mut findings {
            each_place(it, |it| {
                if *it >= (head.len() + blank) as u32 {
                    *it -= blank as u32;
                }
            });
        }
        (findings, book.circuits.len())
    };
    let (mut findings, circuits) = found(0);
    let name_lines = findings.iter().any(names_a_line);
    let blank = line - head.matches('\n').count();
    if name_lines && blank > 0 {
        findings = found(blank).0;
    }
    let is_shared =
        |it: &Finding| it.place.file != FileId(0) || it.place.span.start < head.len() as u32;
    let (shared, own): (Vec<_>, Vec<_>) = findings.into_iter().partition(is_shared);
    let unused = shared.iter().all(|it| it.rule == "unused");
    Piece {
        line: name_lines.then_some(line),
        findings: own.into(),
        unused: unused.then(|| shared.into()),
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
    words.any(|it| {
        let mut behind = it.split("line").skip(1);
        behind.any(|it| {
            let number = it.strip_prefix('s').unwrap_or(it).trim_start();
            number.starts_with(|it: char| it.is_ascii_digit())
        })
    })
}

/// A finding of a circuit's own text in the whole.
fn shifted(finding: &Finding, head: u32, start: u32, circuits: usize) -> Finding {
    let mut finding = finding.clone();
    each_place(&mut finding, |it| {
        if *it >= head {
            *it += start - head;
        }
    });
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

/// Moves what lies in the text itself by where it starts; what comes with the tool stays where it is.
fn each_place(finding: &mut Finding, change: impl Fn(&mut u32)) {
    let related = finding.related.iter_mut().map(|it| &mut it.place);
    let places = related.chain([&mut finding.place]);
    let places = places
        .filter(|it| it.file == FileId(0))
        .map(|it| &mut it.span);
    let edits = finding.fixes.iter_mut().flat_map(|it| &mut it.edits);
    for span in places.chain(edits.map(|it| &mut it.span)) {
        let length = span.end - span.start;
        change(&mut span.start);
        span.end = span.start + length;
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

    /// The same with things that all circuits may use.
    const CLASS: &str = "\
ampersum 1
# What the drawer holds (invented).
part drawer
  gain 100000
  current 2 mA
end
block half: top, mid, R = 10k
  top -- Ra (R) -- mid -- Rb (R) -- ground
end
let Rload = 1k
let spare = 3

# A class's file.
circuit one \"One\"
supply 9 V and -9 V
source s: a = 8 V
half H1: top a, mid b
opamp A1: plus b, minus c, drives c, part drawer
c -- R1 (Rload) -- ground
expect c = 4 V

circuit two
source s: a = 1 V
half H1: top a, mid b, R 4,7k
expect b = 0.6 V
# Above.
circuit three
opamp A1: plus ground, minus x, drives x
x -- R1 (Rload) -- ground
x -- R2 10k -- y
";

    #[test]
    fn piece_by_piece_is_found_what_is_found_in_the_whole() {
        let none: &[(&str, &str)] = &[];
        let stages = [
            ("a = 1 V", "a = 2 V"),
            ("\ncircuit two", "\n\n\ncircuit two"),
            ("4,7k", "4.7k"),
            ("circuit three\n", "circuit three\nb -- R9\n"),
            ("let k = 2\n", ""),
            ("# A class's file.\n", ""),
        ];
        let class = [
            // The head changes: all is looked at again.
            ("let spare = 3", "let spare = 3\nlet more = 4"),
            ("current 2 mA", "current 20 mA"),
            ("current 20 mA", "curent 20 mA"),
            ("curent 20 mA", "current 1 mA"),
            // A finding that names a line, which then moves.
            ("x -- R2 10k", "x -- R1 10k"),
            ("\ncircuit two", "\n\n\ncircuit two"),
            // Then a circuit, once with a use of what was left over.
            ("a = 1 V", "a = 2 V * spare"),
            ("4,7k", "4.7k"),
            ("x -- R1 10k", "half H2: top x\nx -- R2 10k"),
            ("half H2: top x\n", ""),
            (
                "expect c = 4 V",
                "expect c = 4 V\n\n\nexpect current(R1) = 4 mA",
            ),
        ];
        for (start, edits) in [(STAGES, &stages[..]), (CLASS, &class), (CLASS, none)] {
            assert_eq!(cut(start).map(|it| it.circuits.len()), Some(3));
            let mut workspace = Workspace::default();
            workspace.open("bed.amp", 1, start);
            let mut text = start.to_owned();
            for (version, (old, new)) in edits.iter().enumerate() {
                same(&workspace, &text);
                assert!(text.contains(old), "{old}");
                text = text.replacen(old, new, 1);
                workspace.change("bed.amp", version as i32 + 2, &text, 0);
            }
            let findings = same(&workspace, &text);
            assert!(!findings.is_empty());
        }
    }

    #[test]
    fn used_files_count_for_every_piece() {
        let (head, circuits) = CLASS.split_at(CLASS.find("let Rload").expect("a let"));
        let bed = format!("use \"lab.amp\"\n{circuits}");
        assert!(cut(&bed).is_some());
        let mut workspace = Workspace::default();
        let rules = |workspace: &Workspace| {
            let snapshot = workspace.snapshot();
            let view = snapshot.view("bed.amp").expect("open");
            let found = view.findings();
            let words = |it: &Finding| (it.rule, it.place.file, it.message.clone());
            found.iter().map(words).collect::<Vec<_>>()
        };
        workspace.open("bed.amp", 1, &bed);
        let missing = rules(&workspace);
        assert_eq!(missing[0].0, "use_file", "{missing:?}");
        for (version, (old, new)) in [
            ("", ""),
            ("2 mA", "20 mA"),
            ("gain", "gian"),
            ("half: top", "half: tip"),
        ]
        .into_iter()
        .enumerate()
        {
            let lab = head.replacen(old, new, 1);
            match version {
                0 => workspace.open("lab.amp", 0, &lab),
                _ => workspace.change("lab.amp", version as i32, &lab, 0),
            };
            let read = &mut |name: &str| (name == "lab.amp").then(|| lab.as_str().into());
            let book = circuit::build("bed.amp", bed.as_str().into(), read);
            let studies = book.circuits.iter().map(|it| Study::new(it, &book.parts));
            let studies: Vec<_> = studies.collect();
            let whole = checks::check(&book, &studies, &Settings::default());
            let words = |it: &Finding| (it.rule, it.place.file, it.message.clone());
            assert_eq!(
                rules(&workspace),
                whole.iter().map(words).collect::<Vec<_>>(),
                "{lab}"
            );
        }
    }

    #[test]
    fn a_slip_anywhere_is_found_as_in_the_whole() {
        let mut workspace = Workspace::default();
        workspace.open("bed.amp", 1, CLASS);
        let mut version = 1;
        for at in (0..CLASS.len())
            .step_by(5)
            .filter(|it| CLASS.is_char_boundary(*it))
        {
            let (before, after) = CLASS.split_at(at);
            for text in [
                format!("{before}{}", &after[1..]),
                format!("{before}x{after}"),
                format!("{before}\n{after}"),
            ] {
                version += 1;
                workspace.change("bed.amp", version, &text, at as u32);
                same(&workspace, &text);
            }
        }
    }

    #[test]
    fn of_a_piece_is_answered_what_is_answered_of_the_whole() {
        for text in [STAGES, CLASS] {
            let open = || {
                let mut workspace = Workspace::default();
                workspace.open("bed.amp", 1, text);
                workspace.snapshot().view("bed.amp").expect("open").clone()
            };
            let (piece, whole) = (open(), open());
            assert_eq!(whole.studies().len(), 3);
            let last = text.len();
            let end = last as u32;
            assert!(piece.near(end).is_some() && whole.near(end).is_none());
            for at in (0..=end).rev() {
                let answers = |view: &View| {
                    (
                        crate::hover(view, at),
                        crate::definition(view, at),
                        crate::highlights(view, at),
                        crate::renamable(view, at),
                        crate::signature(view, at),
                    )
                };
                // What all use is asked of the whole; then all is.
                let fresh = open();
                assert_eq!(answers(&fresh), answers(&whole), "at byte {at}");
            }
            for (start, end) in [(last, last), (last / 2, last - 20), (60, 200), (0, last)] {
                let within = Span::new(start, end);
                let answers =
                    |view: &View| (crate::inlay(view, within), crate::tokens(view, within));
                assert_eq!(answers(&open()), answers(&whole), "{within:?}");
            }
        }
    }

    #[test]
    fn texts_whose_circuits_know_each_other_stay_whole() {
        let two = "circuit a\ncircuit b\n";
        let cuts = |text: &str| cut(text).map(|it| (it.head, it.circuits.len()));
        assert_eq!(cuts(two), Some((0, 2)));
        assert_eq!(cuts(&format!("# Comments.\n\n{two}")), Some((0, 2)));
        for with in [
            "let k = 1\n",
            "part p\nend\n",
            "block b: x\nend\n",
            "ampersum 1\n",
        ] {
            assert_eq!(cuts(&format!("{with}{two}")), Some((with.len() as u32, 2)));
        }
        for with in [
            "part p\n",
            "block b: x\n",
            "end\n",
            "part -- R1 1k -- b\n",
            "\u{FEFF}",
            "a -- R1 1k -- b\n",
            "circuit b\n",
        ] {
            assert_eq!(cut(&format!("{with}{two}")), None, "{with}");
        }
        assert_eq!(cut(&format!("{two}work \"w\" for a\nend\n")), None);
        assert_eq!(cut(&format!("{two}part p\nend\n")), None);
        assert_eq!(cut("circuit a\ncircuit -- R1 1k -- b\ncircuit c\n"), None);
        assert_eq!(cut("circuit a\n"), None);
        let long = "let k = 1\n".repeat(100);
        assert_eq!(
            cut(&format!(
                "{long}{}",
                (0..20)
                    .map(|it| format!("circuit c{it}\n"))
                    .collect::<String>()
            )),
            None
        );
    }
}
