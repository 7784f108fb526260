//! Files: what is read, from where, and how far `use` may reach.

use std::borrow::Cow;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use analysis::Study;
use analysis::equations::{Equation, EquationKind, Equations};
use analysis::linear::System;
use checks::{Finding, Settings, Severity};
use circuit::{Book, Circuit, NodeId};
use ide::Fence;
use syntax::{FileId, Place};
use teaching::explain::{Explanation, explain, explain_real};

/// A file with everything that was found out about it.
pub struct Examined {
    /// As it was named.
    pub path: String,
    /// What it says.
    pub book: Book,
    /// The facts about each circuit.
    pub studies: Vec<Study>,
    /// What is wrong.
    pub findings: Vec<Finding>,
    /// What applies to it.
    pub settings: Settings,
}

/// Reads a text that stands in no file system: `use` finds nothing.
pub fn examine_text(path: &str, text: &str) -> Examined {
    examine(path, text.into(), Settings::default(), &mut |_| None)
}

/// Reads a file (`-`: standard input). The error is a sentence.
pub fn examine_file(path: &Path) -> Result<Examined, String> {
    let shown = path.to_string_lossy().into_owned();
    let text = if shown == "-" {
        standard_input()
    } else {
        text_of(path)
    };
    let text = text.map_err(|error| format!("`{shown}` cannot be read: {error}"))?;
    let fence = Fence::around(folder_of(path).as_deref(), Path::is_file);
    let mut settings = Settings::default();
    let toml = fence.settings();
    if let Some((file, text)) = &toml {
        settings.read_toml(file, text);
    }
    let mut it = examine(&shown, text, settings, &mut |used| {
        fence.read(Path::new(used))
    });
    if let Some((file, text)) = toml {
        it.tell_settings(&from_here(&file), &text);
    }
    Ok(it)
}

fn examine(
    path: &str,
    text: Arc<str>,
    settings: Settings,
    read: &mut dyn FnMut(&str) -> Option<Arc<str>>,
) -> Examined {
    let book = circuit::build(path, text, read);
    let studies: Vec<Study> = book
        .circuits
        .iter()
        .map(|it| Study::new(it, &book.parts))
        .collect();
    let findings = checks::check(&book, &studies, &settings);
    Examined {
        path: path.to_owned(),
        book,
        studies,
        findings,
        settings,
    }
}

/// The text of a file that is to be written again: not a byte may be lost, so it must be UTF-8.
pub fn exact_text(path: &Path) -> std::io::Result<String> {
    if path == Path::new("-") {
        exactly(std::io::stdin().lock())
    } else {
        exactly(std::fs::File::open(path)?)
    }
}

fn exactly(from: impl Read) -> std::io::Result<String> {
    let mut text = String::new();
    let limit = syntax::LARGEST_FILE as u64;
    from.take(limit + 1).read_to_string(&mut text)?;
    match text.len() as u64 > limit {
        true => Err(std::io::Error::other("it is larger than 16 MiB")),
        false => Ok(text),
    }
}

fn standard_input() -> std::io::Result<Arc<str>> {
    lossy(std::io::stdin().lock())
}

/// Bytes that are no UTF-8 become U+FFFD, which the reader reports where it stands.
fn text_of(path: &Path) -> std::io::Result<Arc<str>> {
    lossy(std::fs::File::open(path)?)
}

/// No more is read than shows that it is too large.
fn lossy(from: impl Read) -> std::io::Result<Arc<str>> {
    let mut bytes = Vec::new();
    from.take(syntax::LARGEST_FILE as u64 + 1)
        .read_to_end(&mut bytes)?;
    Ok(match String::from_utf8(bytes) {
        Ok(text) => text.into(),
        Err(wrong) => String::from_utf8_lossy(wrong.as_bytes()).into(),
    })
}

/// A path as it is named from the working folder, where it lies in that.
fn from_here(path: &str) -> String {
    let here = Path::new(".").canonicalize().ok();
    let below = here.and_then(|it| Path::new(path).strip_prefix(it).ok().map(Path::to_owned));
    below.map_or_else(|| path.to_owned(), |it| it.to_string_lossy().into_owned())
}

/// The folder of a file, links followed; that of standard input is the working folder.
fn folder_of(path: &Path) -> Option<PathBuf> {
    let folder = if path == Path::new("-") {
        None
    } else {
        path.parent()
    };
    let folder = folder
        .filter(|it| !it.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    folder.canonicalize().ok()
}

/// Every `.amp` file below these paths, in order; a path that does not exist is an error.
pub fn amp_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let here = [PathBuf::from(".")];
    let mut files = Vec::new();
    for path in if paths.is_empty() { &here } else { paths } {
        if path.is_dir() {
            walk(path, &mut files, 0)
                .map_err(|error| format!("`{}` cannot be read: {error}", path.display()))?;
        } else {
            files.push(path.clone());
        }
    }
    Ok(files)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>, depth: usize) -> std::io::Result<()> {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(|it| it.ok().map(|it| it.path()))
        .collect();
    entries.sort();
    for entry in entries {
        let hidden = entry
            .file_name()
            .is_some_and(|it| it.to_string_lossy().starts_with('.'));
        let link = entry.symlink_metadata().is_ok_and(|it| it.is_symlink());
        if hidden || link && entry.is_dir() || depth > 64 {
            continue;
        }
        if entry.is_dir() {
            walk(&entry, files, depth + 1)?;
        } else if entry.extension().is_some_and(|it| it == "amp") {
            // Without the leading `./` that reading this folder brings.
            files.push(
                entry
                    .strip_prefix("./")
                    .map(Path::to_owned)
                    .unwrap_or(entry),
            );
        }
    }
    Ok(())
}

/// A circuit's equations as they are written and explained.
pub struct OnPaper<'a> {
    /// What they are about: the circuit, or the plain circuit with its op-amps on the board.
    pub circuit: &'a Circuit,
    /// The equations.
    pub equations: Cow<'a, Equations>,
    /// As rows over the unknowns.
    pub system: System,
    /// In words.
    pub explanation: Explanation,
    /// Which op-amp's output an equation stands for that a source seems to hold: its node in the text.
    pub outputs: Vec<Option<NodeId>>,
}

impl Examined {
    /// The equations of a circuit: of ideal op-amps, or with `real` of each op-amp by the law of its part.
    pub fn on_paper(&self, index: usize, real: bool) -> OnPaper<'_> {
        let (circuit, study) = (&self.book.circuits[index], &self.studies[index]);
        let (parts, writing) = (&self.book.parts, self.settings.writing());
        if !real || study.is_ideal(circuit, parts) {
            let equations = study.standing(circuit, parts);
            return OnPaper {
                circuit,
                equations: Cow::Borrowed(equations),
                system: analysis::equations::system(circuit, equations),
                explanation: explain(circuit, equations, &study.feedback, writing),
                outputs: vec![None; equations.list.len()],
            };
        }
        let board = study.standing_board(circuit, parts);
        let equations = board.paper();
        let output = |it: &Equation| match it.kind {
            EquationKind::Held { by } => board
                .piece(by)
                .map(|(opamp, _)| circuit.opamps[opamp.index()].drives),
            _ => None,
        };
        OnPaper {
            circuit: &board.circuit,
            outputs: equations.list.iter().map(output).collect(),
            equations: Cow::Owned(equations),
            system: board.system(),
            explanation: explain_real(circuit, board, &study.feedback, writing),
        }
    }

    /// Mistakes in the settings are findings in their own file.
    fn tell_settings(&mut self, path: &str, text: &str) {
        if self.settings.troubles.is_empty() {
            return;
        }
        let file = FileId(self.book.files.len() as u32);
        self.book.files.push(circuit::File {
            path: path.to_owned(),
            text: text.into(),
            tree: Arc::default(),
        });
        for trouble in &self.settings.troubles {
            let place = Place {
                file,
                span: trouble.span,
            };
            let (message, help) = (trouble.message.clone(), trouble.help.clone());
            self.findings.push(Finding::new(
                "settings",
                Severity::Warning,
                place,
                message,
                help,
            ));
        }
    }

    /// The path of a file of the book.
    pub fn path_of(&self, file: FileId) -> &str {
        if file == FileId(0) {
            &self.path
        } else {
            self.book
                .files
                .get(file.0 as usize)
                .map_or("", |it| &it.path)
        }
    }
}
