//! What is known of one open text, worked out once, when someone asks.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::SystemTime;

use analysis::Study;
use checks::Finding;
use circuit::{Book, Circuit};
use syntax::{FileId, Place, Tree};

use crate::workspace::{Documents, EditorSettings};
use crate::{Document, Lines};

/// One version of an open text and the answers about it.
#[derive(Debug)]
pub struct View {
    document: Arc<Document>,
    /// The texts that were open at the same time: they count before the files on disk.
    open: Arc<Documents>,
    settings: Arc<EditorSettings>,
    reading: OnceLock<Reading>,
    studies: OnceLock<Vec<Study>>,
    findings: OnceLock<Vec<Finding>>,
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
type Stamp = (Option<SystemTime>, u64);

/// The request was called off.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stopped;

impl View {
    /// A text among those open.
    pub(crate) fn new(
        document: Arc<Document>,
        open: Arc<Documents>,
        settings: Arc<EditorSettings>,
    ) -> View {
        View {
            document,
            open,
            settings,
            reading: OnceLock::new(),
            studies: OnceLock::new(),
            findings: OnceLock::new(),
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
        let (book, studies) = (self.book(), self.studies());
        self.findings.get_or_init(|| {
            let settings = checks::Settings::from_toml("ampersum.toml", &self.settings.toml);
            checks::check(book, studies, &settings)
        })
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

    /// The circuit at this offset, with its index: the last one that begins above it.
    pub fn circuit_at(&self, offset: u32) -> Option<(usize, &Circuit)> {
        let own = |circuit: &&Circuit| {
            circuit.place.file == FileId(0) && circuit.place.span.start <= offset
        };
        let circuits = &self.book().circuits;
        let index = circuits
            .iter()
            .rposition(|it| own(&it))
            .or_else(|| (!circuits.is_empty()).then_some(0))?;
        Some((index, &circuits[index]))
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
        self.reading
            .get()
            .is_none_or(|it| it.asked.iter().any(|asked| asked.name == name))
    }

    /// Whether a file that was read from disk is another one now.
    pub(crate) fn disk_differs(&self) -> bool {
        self.reading.get().is_none_or(|it| {
            it.asked
                .iter()
                .any(|asked| stamp(Path::new(&asked.name)) != asked.stamp)
        })
    }

    fn reading(&self) -> &Reading {
        self.reading.get_or_init(|| {
            let mut asked = Vec::new();
            let root = root_of(&self.document.name);
            let book = circuit::build(
                &self.document.name,
                self.document.text.clone(),
                &mut |name| {
                    asked.push(Asked {
                        name: name.to_string(),
                        stamp: stamp(Path::new(name)),
                    });
                    match self.open.get(name) {
                        Some(open) => Some(open.text.clone()),
                        None => read(root.as_deref()?, Path::new(name)),
                    }
                },
            );
            Reading { book, asked }
        })
    }
}

/// The folder that a file may use files of: the nearest one above with `ampersum.toml`, else its own.
fn root_of(name: &str) -> Option<PathBuf> {
    let folder = Path::new(name).parent().filter(|it| it.is_absolute())?;
    let root = folder
        .ancestors()
        .find(|it| it.join("ampersum.toml").is_file())
        .unwrap_or(folder);
    root.canonicalize().ok()
}

/// A text on disk, if it lies inside `root` once links are followed.
fn read(root: &Path, path: &Path) -> Option<Arc<str>> {
    let path = path.canonicalize().ok()?;
    if !path.starts_with(root) || path.metadata().ok()?.len() > LARGEST {
        return None;
    }
    Some(std::fs::read_to_string(path).ok()?.into())
}

/// The language's limit on a file.
const LARGEST: u64 = 16 << 20;

fn stamp(path: &Path) -> Option<Stamp> {
    let data = path.metadata().ok()?;
    Some((data.modified().ok(), data.len()))
}
