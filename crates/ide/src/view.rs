//! What is known of one open text, worked out once, when someone asks.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::SystemTime;

use analysis::Study;
use checks::{Finding, Settings};
use circuit::{Book, Circuit};
use syntax::{ClassedToken, FileId, Place, Span, Tree};
use teaching::explain::{Explanation, explain, explain_real};

use crate::Fence;
use crate::names::Names;
use crate::pieces::{self, Cuts, Near, Pieces, Used};
use crate::workspace::{Documents, EditorSettings};
use crate::{Document, Lines};

/// One version of an open text and the answers about it.
#[derive(Debug)]
pub struct View {
    document: Arc<Document>,
    /// The texts that were open at the same time: they count before the files on disk.
    open: Arc<Documents>,
    editor: Arc<EditorSettings>,
    /// What was found in the circuits of earlier versions.
    pieces: Arc<Pieces>,
    /// The text's circuits, if each stands for itself.
    cuts: OnceLock<Option<Cuts>>,
    /// What stands above them brings in these.
    used: OnceLock<(Used, Vec<Asked>)>,
    /// The circuit that was asked about last, as a text of its own.
    piece: Mutex<Option<(Span, Arc<View>)>>,
    tokens: OnceLock<Vec<ClassedToken>>,
    around: OnceLock<Around>,
    reading: OnceLock<Reading>,
    studies: OnceLock<Vec<Study>>,
    findings: OnceLock<Vec<Finding>>,
    names: OnceLock<Names>,
    /// Of each circuit, when someone asks.
    explanations: OnceLock<Vec<[OnceLock<Explanation>; 2]>>,
}

/// The workspace around a text, its settings, and the files that were looked for to find them.
#[derive(Debug)]
struct Around {
    fence: Fence,
    settings: Settings,
    asked: Vec<Asked>,
}

/// A book, and the files that were looked for to make it.
#[derive(Debug)]
struct Reading {
    book: Book,
    asked: Vec<Asked>,
}

/// A file that was looked for.
#[derive(Debug)]
struct Asked {
    name: String,
    /// What the disk said of it; `None`: no such file.
    stamp: Option<Stamp>,
}

/// Tells one state of a file on disk from another.
pub(crate) type Stamp = (Option<SystemTime>, u64);

/// The request was called off.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stopped;

impl View {
    /// A text among those open.
    pub(crate) fn new(
        document: Arc<Document>,
        open: Arc<Documents>,
        editor: Arc<EditorSettings>,
        pieces: Arc<Pieces>,
    ) -> View {
        View {
            document,
            open,
            editor,
            pieces,
            cuts: OnceLock::new(),
            used: OnceLock::new(),
            piece: Mutex::default(),
            tokens: OnceLock::new(),
            around: OnceLock::new(),
            reading: OnceLock::new(),
            studies: OnceLock::new(),
            findings: OnceLock::new(),
            names: OnceLock::new(),
            explanations: OnceLock::new(),
        }
    }

    /// The text.
    pub fn document(&self) -> &Document {
        &self.document
    }

    /// The text itself.
    pub fn text(&self) -> &str {
        &self.document.text
    }

    /// Its lines.
    pub fn lines(&self) -> &Lines {
        self.document.lines()
    }

    /// Its circuits, and the files it uses.
    pub fn book(&self) -> &Book {
        &self.reading().book
    }

    /// Its words, numbers and signs.
    pub(crate) fn tokens(&self) -> &[ClassedToken] {
        self.tokens.get_or_init(|| syntax::tokens(self.text()))
    }

    /// Its statements.
    pub fn tree(&self) -> &Tree {
        static NONE: OnceLock<Tree> = OnceLock::new();
        self.book()
            .files
            .first()
            .map_or_else(|| NONE.get_or_init(Tree::default), |file| &file.tree)
    }

    /// The facts about each circuit.
    pub fn studies(&self) -> &[Study] {
        let book = self.book();
        self.studies.get_or_init(|| {
            book.circuits
                .iter()
                .map(|it| Study::new(it, &book.parts))
                .collect()
        })
    }

    /// What is wrong.
    pub fn findings(&self) -> &[Finding] {
        self.findings.get_or_init(|| {
            let never = AtomicBool::new(false);
            match self.found_in_pieces(&never) {
                Some(Ok(findings)) => findings,
                _ => checks::check(self.book(), self.studies(), self.settings()),
            }
        })
    }

    /// Finds what is wrong, circuit by circuit where that will do, unless it is called off.
    pub fn check(&self, stop: &AtomicBool) -> Result<(), Stopped> {
        if self.findings.get().is_some() {
            return Ok(());
        }
        match self.found_in_pieces(stop) {
            // Whoever came first has found the same.
            Some(found) => _ = self.findings.set(found?),
            None => self.prepare(stop)?,
        }
        Ok(())
    }

    /// The findings of a text whose circuits stand for themselves.
    fn found_in_pieces(&self, stop: &AtomicBool) -> Option<Result<Vec<Finding>, Stopped>> {
        let cuts = self.cuts()?;
        let Document { name, text, .. } = &*self.document;
        let (used, settings) = (self.used(cuts.head), self.settings());
        let found = self.pieces.findings(name, text, cuts, used, settings, stop);
        found.transpose()
    }

    fn used(&self, head: u32) -> &Used {
        let used = self.used.get_or_init(|| {
            let mut files = Vec::new();
            let head = &self.text()[..head as usize];
            let mut asked = Vec::new();
            if head.contains("use") {
                let reading = self.read(head.into());
                let book = reading.book.files.into_iter().skip(1);
                files = book.map(|it| (it.path.to_string(), it.text)).collect();
                asked = reading.asked;
            }
            (files, asked)
        });
        &used.0
    }

    fn cuts(&self) -> Option<&Cuts> {
        let cuts = self.cuts.get_or_init(|| pieces::cut(self.text()));
        cuts.as_ref()
    }

    /// The circuits that a stretch touches, each as a text of its own: what is asked of one circuit alone need not wait for the whole. `None` where
    /// the whole is known, or is needed.
    pub(crate) fn pieces_in(&self, within: Span) -> Option<Vec<Near>> {
        let cuts = self.cuts().filter(|_| self.studies.get().is_none())?;
        if within.start < cuts.head {
            return None;
        }
        let last = self.text().len() as u32;
        let touched = cuts
            .circuits
            .iter()
            .filter(|it| it.start <= within.end && (within.start < it.end || it.end == last));
        Some(
            touched
                .map(|it| Near::new(self.piece(cuts.head, *it), cuts.head, *it))
                .collect(),
        )
    }

    /// The circuit that a place stands in.
    pub(crate) fn near(&self, offset: u32) -> Option<Near> {
        self.pieces_in(Span::at(offset))?.into_iter().next()
    }

    fn piece(&self, head: u32, cut: Span) -> Arc<View> {
        let mut last = self.piece.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((span, view)) = &*last
            && *span == cut
        {
            return view.clone();
        }
        let (name, version) = (&self.document.name, self.document.version);
        let text = [&self.text()[..head as usize], cut.of(self.text())].concat();
        let view = Arc::new(View::new(
            Arc::new(Document::new(name, version, &text)),
            self.open.clone(),
            self.editor.clone(),
            Arc::default(),
        ));
        *last = Some((cut, view.clone()));
        view
    }

    /// Every name, and what it belongs to.
    pub(crate) fn names(&self) -> &Names {
        self.names.get_or_init(|| Names::of(self.book()))
    }

    /// A circuit's equations, explained; with `real` op-amps by the laws of their parts, else ideal.
    pub fn explanation(&self, index: usize, real: bool) -> &Explanation {
        let (circuits, parts) = (&self.book().circuits, &self.book().parts);
        let all = || circuits.iter().map(|_| Default::default()).collect();
        self.explanations.get_or_init(all)[index][usize::from(real)].get_or_init(|| {
            let (circuit, study) = (&circuits[index], &self.studies()[index]);
            let writing = self.settings().writing();
            match real {
                // Which limit an output stands at is part of the answer.
                true if self.settings().hidden => explain_real(
                    circuit,
                    study.board(circuit, parts),
                    &study.feedback,
                    writing,
                ),
                true => explain_real(
                    circuit,
                    study.standing_board(circuit, parts),
                    &study.feedback,
                    writing,
                ),
                false if self.settings().hidden => {
                    explain(circuit, &study.equations, &study.feedback, writing)
                }
                false => {
                    let equations = study.standing(circuit, parts);
                    explain(circuit, equations, &study.feedback, writing)
                }
            }
        })
    }

    /// Whether a circuit has an op-amp that is not ideal at rest.
    pub fn is_real(&self, index: usize) -> bool {
        !self.studies()[index].is_ideal(&self.book().circuits[index], &self.book().parts)
    }

    /// What applies to it: the editor's settings, and over them those of the workspace's file.
    pub fn settings(&self) -> &Settings {
        &self.around().settings
    }

    /// Works everything out step by step, unless it is called off between two steps.
    pub fn prepare(&self, stop: &AtomicBool) -> Result<(), Stopped> {
        let steps: [&dyn Fn(&View); 3] = [&|it| _ = it.book(), &|it| _ = it.studies(), &|it| {
            _ = it.findings()
        }];
        for step in steps {
            if stop.load(Ordering::Relaxed) {
                return Err(Stopped);
            }
            step(self);
        }
        Ok(())
    }

    /// The circuit whose stretch of the text holds this offset, with its index.
    pub fn circuit_at(&self, offset: u32) -> Option<(usize, &Circuit)> {
        let index = self.book().circuit_at(offset)?;
        Some((index, &self.book().circuits[index]))
    }

    /// The name and text of a file of the book.
    pub fn file(&self, file: FileId) -> Option<(&str, &str)> {
        if file == FileId(0) {
            return Some((&self.document.name, &self.document.text));
        }
        let file = self.book().files.get(file.0 as usize)?;
        Some((&file.path, &file.text))
    }

    /// The words at a place.
    pub fn words(&self, place: Place) -> &str {
        self.file(place.file)
            .map_or("", |(_, text)| place.span.of(text))
    }

    /// Whether an answer may rest on another text: it was looked for, or nothing was read yet.
    pub(crate) fn rests_on(&self, name: &str) -> bool {
        self.asked()
            .is_none_or(|mut it| it.any(|asked| asked.name == name))
    }

    /// The files that were looked for; `None` where answers may still rest on others.
    fn asked(&self) -> Option<impl Iterator<Item = &Asked>> {
        let around = self.around.get()?;
        let of_book = match self.reading.get() {
            Some(it) => &it.asked[..],
            // Found in pieces, which rest on themselves and what all of them use.
            None if self.findings.get().is_some() => self.used.get().map_or(&[][..], |it| &it.1),
            None => return None,
        };
        Some(around.asked.iter().chain(of_book))
    }

    /// Whether the answers would be the same among these open texts and with these settings; unknown before it was read.
    pub(crate) fn holds_among(&self, open: &Documents, editor: &Arc<EditorSettings>) -> bool {
        let same = |name: &String| match (self.open.get(name), open.get(name)) {
            (Some(a), Some(b)) => Arc::ptr_eq(a, b),
            (None, None) => true,
            _ => false,
        };
        Arc::ptr_eq(&self.editor, editor)
            && self
                .asked()
                .is_some_and(|mut it| it.all(|asked| same(&asked.name)))
    }

    /// Whether a file that was read from disk is another one now.
    pub(crate) fn disk_differs(&self) -> bool {
        self.asked()
            .is_none_or(|mut it| it.any(|asked| stamp(Path::new(&asked.name)) != asked.stamp))
    }

    fn around(&self) -> &Around {
        self.around.get_or_init(|| {
            let mut asked = Vec::new();
            let folder = Path::new(&self.document.name)
                .parent()
                .filter(|it| it.is_absolute());
            let fence = Fence::around(folder, |path| look(path, &mut asked));
            let mut settings = Settings::default();
            settings.read_toml(EDITOR, &self.editor.toml);
            if let Some((file, text)) = fence.settings() {
                settings.read_toml(&file, &text);
            }
            Around {
                fence,
                settings,
                asked,
            }
        })
    }

    fn reading(&self) -> &Reading {
        self.reading
            .get_or_init(|| self.read(self.document.text.clone()))
    }

    /// Reads a text that stands where this one does.
    fn read(&self, text: Arc<str>) -> Reading {
        let fence = &self.around().fence;
        let mut asked = Vec::new();
        let book = circuit::build(&self.document.name, text, &mut |name| {
            look(Path::new(name), &mut asked);
            match self.open.get(name) {
                Some(open) => Some(open.text.clone()),
                None => fence.read(Path::new(name)),
            }
        });
        Reading { book, asked }
    }
}

/// Looks for a file, and notes that it was looked for.
fn look(path: &Path, asked: &mut Vec<Asked>) -> bool {
    let (name, stamp) = (path.to_string_lossy().into_owned(), stamp(path));
    asked.push(Asked { name, stamp });
    stamp.is_some()
}

/// What the editor's own settings are called where something is wrong with them.
const EDITOR: &str = "Settings of the editor";

pub(crate) fn stamp(path: &Path) -> Option<Stamp> {
    let data = path.metadata().ok()?;
    Some((data.modified().ok(), data.len()))
}
