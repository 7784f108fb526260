//! Open texts and settings. Only [`Workspace`] changes; a [`Snapshot`] never does, and answers from it are cached in the
//! [`View`]s that it shares with later snapshots as long as nothing they rest on has changed.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};
use std::time::Instant;

use crate::{Lines, View};

/// One version of an open text.
#[derive(Debug)]
pub struct Document {
    /// Its absolute path; something else where it has none (an unsaved text).
    pub name: String,
    /// The editor's number for this version.
    pub version: i32,
    /// What it says.
    pub text: Arc<str>,
    /// Where it was changed last, since it was opened.
    pub typing: Option<Typing>,
    lines: OnceLock<Lines>,
}

/// The last change: the editor's caret is taken to stand there.
#[derive(Clone, Copy, Debug)]
pub struct Typing {
    /// The line at the end of the inserted text, from 0.
    pub line: u32,
    /// When.
    pub at: Instant,
}

impl Document {
    /// A text as it was just opened.
    pub fn new(name: &str, version: i32, text: &str) -> Document {
        Document {
            name: name.to_string(),
            version,
            text: text.into(),
            typing: None,
            lines: OnceLock::new(),
        }
    }

    /// Its lines.
    pub fn lines(&self) -> &Lines {
        self.lines.get_or_init(|| Lines::of(&self.text))
    }
}

/// The open texts by their names.
pub(crate) type Documents = HashMap<String, Arc<Document>>;

/// Names of the texts whose answers may be others now.
pub type Touched = Vec<String>;

/// The open texts and the editor's settings.
#[derive(Debug, Default)]
pub struct Workspace {
    documents: Arc<Documents>,
    views: Arc<HashMap<String, Arc<View>>>,
    settings: Arc<EditorSettings>,
}

/// Settings as the editor sent them: the text of a settings file with the same keys. A file's own settings win.
#[derive(Debug, Default, PartialEq)]
pub struct EditorSettings {
    /// In the form of `ampersum.toml`.
    pub toml: String,
}

impl Workspace {
    /// Takes a text in; one that is already open under this name is replaced.
    pub fn open(&mut self, name: &str, version: i32, text: &str) -> Touched {
        self.put(Document::new(name, version, text))
    }

    /// Replaces an open text by its next version; `caret` is the end of what was inserted. Nothing happens where none is open.
    pub fn change(&mut self, name: &str, version: i32, text: &str, caret: u32) -> Touched {
        if !self.documents.contains_key(name) {
            return Vec::new();
        }
        let mut document = Document::new(name, version, text);
        let line = document.lines().line_at(caret);
        document.typing = Some(Typing {
            line,
            at: Instant::now(),
        });
        self.put(document)
    }

    /// Forgets an open text; the file on disk counts again.
    pub fn close(&mut self, name: &str) -> Touched {
        if Arc::make_mut(&mut self.documents).remove(name).is_none() {
            return Vec::new();
        }
        Arc::make_mut(&mut self.views).remove(name);
        let mut touched = self.renew(|view| view.rests_on(name));
        touched.push(name.to_string());
        touched
    }

    /// Files on disk may have changed: forgets what was concluded from those that really have.
    pub fn disk_changed(&mut self) -> Touched {
        self.renew(View::disk_differs)
    }

    /// New settings of the editor.
    pub fn set_settings(&mut self, settings: EditorSettings) -> Touched {
        if *self.settings == settings {
            return Vec::new();
        }
        self.settings = Arc::new(settings);
        self.renew(|_| true)
    }

    /// The newest version of an open text.
    pub fn document(&self, name: &str) -> Option<&Arc<Document>> {
        self.documents.get(name)
    }

    /// Everything as it stands now.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            views: self.views.clone(),
        }
    }

    fn put(&mut self, document: Document) -> Touched {
        let name = document.name.clone();
        Arc::make_mut(&mut self.documents).insert(name.clone(), Arc::new(document));
        Arc::make_mut(&mut self.views).remove(&name);
        self.renew(|view| view.rests_on(&name))
    }

    /// Makes the views that are missing, and makes those anew that are stale.
    fn renew(&mut self, stale: impl Fn(&View) -> bool) -> Touched {
        let mut touched = Vec::new();
        let views = Arc::make_mut(&mut self.views);
        for (name, document) in self.documents.iter() {
            if views.get(name).is_none_or(|view| stale(view)) {
                let view = View::new(
                    document.clone(),
                    self.documents.clone(),
                    self.settings.clone(),
                );
                views.insert(name.clone(), Arc::new(view));
                touched.push(name.clone());
            }
        }
        touched
    }
}

/// All open texts at one moment.
#[derive(Clone, Debug, Default)]
pub struct Snapshot {
    views: Arc<HashMap<String, Arc<View>>>,
}

impl Snapshot {
    /// What is known of one open text.
    pub fn view(&self, name: &str) -> Option<&Arc<View>> {
        self.views.get(name)
    }

    /// Every open text, in no order.
    pub fn views(&self) -> impl Iterator<Item = &Arc<View>> {
        self.views.values()
    }
}
