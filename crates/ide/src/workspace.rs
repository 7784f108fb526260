//! Open texts and settings. Only [`Workspace`] changes; a [`Snapshot`] never does, and answers from it are cached in the
//! [`View`]s that it shares with later snapshots as long as nothing they rest on has changed.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, OnceLock};
use std::time::Instant;

use crate::folders::Folders;
use crate::pieces::Pieces;
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
    folders: Arc<Folders>,
    /// What was found in the circuits of each text.
    pieces: HashMap<String, Arc<Pieces>>,
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
        self.pieces.remove(name);
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

    /// The folders that the editor has open: what lies in them counts even where it is not open.
    pub fn set_folders(&mut self, folders: Vec<PathBuf>) {
        self.folders = Arc::new(Folders::new(folders));
    }

    /// Those folders.
    pub fn folders(&self) -> &[PathBuf] {
        self.folders.roots()
    }

    /// The newest version of an open text.
    pub fn document(&self, name: &str) -> Option<&Arc<Document>> {
        self.documents.get(name)
    }

    /// Everything as it stands now.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            views: self.views.clone(),
            documents: self.documents.clone(),
            settings: self.settings.clone(),
            folders: self.folders.clone(),
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
                    self.pieces.entry(name.clone()).or_default().clone(),
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
    documents: Arc<Documents>,
    settings: Arc<EditorSettings>,
    folders: Arc<Folders>,
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

    /// Every text that lies in the folders (without any, beside an open text) and is not open, by its name. `stop` ends
    /// the walk.
    pub fn closed(&self, stop: &AtomicBool) -> Vec<Arc<View>> {
        self.folders.closed(&self.documents, &self.settings, stop)
    }

    /// One text, open or not.
    pub fn text(&self, name: &str) -> Option<Arc<View>> {
        let open = self.views.get(name).cloned();
        open.or_else(|| self.folders.one(name, &self.documents, &self.settings))
    }

    /// Every text, open or not.
    pub fn all(&self, stop: &AtomicBool) -> Vec<Arc<View>> {
        let mut all: Vec<_> = self.views.values().cloned().collect();
        all.extend(self.closed(stop));
        all.sort_by(|a, b| a.document().name.cmp(&b.document().name));
        all
    }

    /// This text instead of an open or closed one, all else as it stands: to try a change out.
    pub(crate) fn with(&self, changed: &[Document]) -> Vec<View> {
        let mut documents = (*self.documents).clone();
        let changed: Vec<_> = changed
            .iter()
            .map(|it| Arc::new(Document::new(&it.name, it.version, &it.text)))
            .collect();
        for it in &changed {
            documents.insert(it.name.clone(), it.clone());
        }
        let documents = Arc::new(documents);
        changed
            .into_iter()
            .map(|it| View::new(it, documents.clone(), self.settings.clone(), Arc::default()))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rules(workspace: &Workspace, name: &str) -> Vec<&'static str> {
        let snapshot = workspace.snapshot();
        let findings = snapshot.view(name).expect("it is open").findings();
        findings
            .iter()
            .filter(|it| it.severity == checks::Severity::Error)
            .map(|it| it.rule)
            .collect()
    }

    const USER: &str = "use \"lab.amp\"\ncircuit c\nsource s: a = 1 V\nopamp A1: plus a, minus b, drives b, part slow\n";

    #[test]
    fn a_snapshot_never_changes() {
        let mut workspace = Workspace::default();
        workspace.open("bed.amp", 1, "in -- R1 10k\n");
        let before = workspace.snapshot();
        workspace.change(
            "bed.amp",
            2,
            "source s: in = 1 V\nin -- R1 10k -- ground\n",
            0,
        );
        assert_eq!(rules(&workspace, "bed.amp"), Vec::<&str>::new());
        let view = before.view("bed.amp").expect("it was open");
        assert_eq!(
            (view.document().version, view.findings()[0].rule),
            (1, "path_ends")
        );
        workspace.close("bed.amp");
        assert!(before.view("bed.amp").is_some() && workspace.snapshot().view("bed.amp").is_none());
    }

    #[test]
    fn a_change_of_a_used_text_reaches_those_that_use_it_and_no_others() {
        let mut workspace = Workspace::default();
        workspace.open("/greenhouse/bed.amp", 1, USER);
        workspace.open("/greenhouse/other.amp", 1, "source s: a = 1 V\n");
        assert_eq!(rules(&workspace, "/greenhouse/bed.amp"), ["use_file"]);
        rules(&workspace, "/greenhouse/other.amp");
        let mut touched = workspace.open("/greenhouse/lab.amp", 1, "part slow\nend\n");
        touched.sort();
        assert_eq!(touched, ["/greenhouse/bed.amp", "/greenhouse/lab.amp"]);
        assert_eq!(rules(&workspace, "/greenhouse/bed.amp"), Vec::<&str>::new());
        workspace.change("/greenhouse/lab.amp", 2, "part quick\nend\n", 0);
        assert_eq!(rules(&workspace, "/greenhouse/bed.amp"), ["unknown_name"]);
        workspace.close("/greenhouse/lab.amp");
        assert_eq!(rules(&workspace, "/greenhouse/bed.amp"), ["use_file"]);
    }

    #[test]
    fn files_on_disk_are_read_inside_the_workspace_and_again_when_they_change() {
        let place = std::env::temp_dir().join(format!("ampersum-ide-{}", std::process::id()));
        let beds = place.join("lab/beds");
        std::fs::create_dir_all(&beds).expect("a folder can be made");
        let write = |path: &str, text: &str| {
            std::fs::write(place.join(path), text).expect("a file can be written")
        };
        write("outside.amp", "part slow\nend\n");
        write("lab/lab.amp", "part slow\nend\n");
        let name = beds.join("bed.amp").to_string_lossy().into_owned();
        let mut workspace = Workspace::default();
        let user = |path: &str| USER.replace("lab.amp", path);
        workspace.open(&name, 1, &user("../lab.amp"));
        assert_eq!(
            rules(&workspace, &name),
            ["use_file"],
            "without a settings file the file's own folder is all"
        );
        write("lab/ampersum.toml", "[rules]\nnot_built = \"error\"\n");
        assert_eq!(workspace.disk_changed(), std::slice::from_ref(&name));
        assert_eq!(
            rules(&workspace, &name),
            Vec::<&str>::new(),
            "now the folder above is the root"
        );
        assert_eq!(
            workspace.disk_changed(),
            Vec::<String>::new(),
            "nothing has changed"
        );
        workspace.open(&name, 2, &user("../../outside.amp"));
        assert_eq!(rules(&workspace, &name), ["use_file"]);
        workspace.open(&name, 3, &user("../lab.amp"));
        assert_eq!(rules(&workspace, &name), Vec::<&str>::new());
        write("lab/lab.amp", "part quicker\nend\n");
        assert_eq!(workspace.disk_changed(), std::slice::from_ref(&name));
        assert_eq!(rules(&workspace, &name), ["unknown_name"]);
        std::fs::remove_dir_all(&place).expect("the folder can be removed");
    }

    #[test]
    fn the_workspace_settings_win_over_the_editors() {
        let place = std::env::temp_dir().join(format!("ampersum-settings-{}", std::process::id()));
        std::fs::create_dir_all(&place).expect("a folder can be made");
        std::fs::write(place.join("ampersum.toml"), "[writing]\nvoltage = \"U\"\n")
            .expect("a file can be written");
        let mut workspace = Workspace::default();
        workspace.set_settings(EditorSettings {
            toml: "[writing]\nvoltage = \"V\"\nsums = \"entering\"\n".into(),
        });
        let name = place.join("bed.amp").to_string_lossy().into_owned();
        workspace.open(&name, 1, "");
        let writing = workspace
            .snapshot()
            .view(&name)
            .expect("it is open")
            .settings()
            .writing();
        assert_eq!(
            (writing.voltage, writing.sums),
            (teaching::Letter::U, teaching::Sums::Entering)
        );
        std::fs::remove_dir_all(&place).expect("the folder can be removed");
    }

    #[test]
    fn unfinished_findings_wait_in_the_line_that_is_written() {
        let mut workspace = Workspace::default();
        workspace.open("bed.amp", 1, "");
        let text = "in -- R1\nin -- R2 4,7k -- ground\n";
        workspace.change("bed.amp", 2, text, 8);
        let snapshot = workspace.snapshot();
        let view = snapshot.view("bed.amp").expect("it is open");
        let line = view.document().typing.map(|it| it.line);
        assert_eq!(line, Some(0));
        let shown = |typing| {
            let found = crate::diagnostics(view, typing);
            (
                found
                    .shown
                    .iter()
                    .map(|it| it.rule)
                    .filter(|it| *it != "loose_end")
                    .collect::<Vec<_>>(),
                found.waiting,
            )
        };
        assert_eq!(shown(line), (vec!["decimal_comma"], true));
        assert_eq!(
            shown(Some(1)),
            (vec!["element_value", "decimal_comma"], false)
        );
        assert_eq!(shown(None), (vec!["element_value", "decimal_comma"], false));
    }
}
