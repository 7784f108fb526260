//! The texts of the workspace's folders that no editor has open: found on disk, and kept as long as nothing they rest on
//! has changed.

use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use crate::view::{Stamp, stamp};
use crate::workspace::{Documents, EditorSettings};
use crate::{Document, Fence, View};

/// So many texts are looked at, so deep: a folder with more is no class folder.
const MOST_FILES: usize = 5_000;
const MOST_DEPTH: usize = 24;

/// The workspace's folders.
#[derive(Debug, Default)]
pub(crate) struct Folders {
    roots: Vec<PathBuf>,
    /// What was read of each file.
    known: Mutex<HashMap<PathBuf, (Stamp, Arc<View>)>>,
}

impl Folders {
    /// These, and nothing known of them.
    pub(crate) fn new(roots: Vec<PathBuf>) -> Folders {
        Folders {
            roots,
            known: Mutex::default(),
        }
    }

    pub(crate) fn roots(&self) -> &[PathBuf] {
        &self.roots
    }

    /// The texts that are not among those open.
    pub(crate) fn closed(
        &self,
        open: &Arc<Documents>,
        settings: &Arc<EditorSettings>,
        stop: &AtomicBool,
    ) -> Vec<Arc<View>> {
        let mut views = Vec::new();
        for path in self.files(open, stop) {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            if !open.contains_key(&*path.to_string_lossy()) {
                views.extend(self.view(&path, open, settings));
            }
        }
        views
    }

    /// One text that is not among those open.
    pub(crate) fn one(
        &self,
        name: &str,
        open: &Arc<Documents>,
        settings: &Arc<EditorSettings>,
    ) -> Option<Arc<View>> {
        let path = Path::new(name);
        path.is_absolute()
            .then(|| self.view(path, open, settings))?
    }

    fn view(
        &self,
        path: &Path,
        open: &Arc<Documents>,
        settings: &Arc<EditorSettings>,
    ) -> Option<Arc<View>> {
        let now = stamp(path)?;
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((then, view)) = known.get(path)
            && *then == now
            && view.holds_among(open, settings)
            && !view.disk_differs()
        {
            return Some(view.clone());
        }
        // A file that lies in one of the folders may be read; what it uses is fenced in as ever.
        let text = Fence::around(path.parent(), |_| false).read(path)?;
        let document = Document::new(&path.to_string_lossy(), 0, &text);
        let view = Arc::new(View::new(
            Arc::new(document),
            open.clone(),
            settings.clone(),
            Arc::default(),
        ));
        known.insert(path.to_owned(), (now, view.clone()));
        Some(view)
    }

    /// Every circuit file, in the order of names.
    fn files(&self, open: &Documents, stop: &AtomicBool) -> BTreeSet<PathBuf> {
        let mut files = BTreeSet::new();
        let mut folders: Vec<(PathBuf, usize)> = match self.roots.is_empty() {
            false => self.roots.iter().map(|it| (it.clone(), 0)).collect(),
            // Without folders what lies right beside an open text counts, as for `use`.
            true => {
                let beside: BTreeSet<_> = open
                    .keys()
                    .filter_map(|it| Path::new(it).parent())
                    .filter(|it| it.is_absolute())
                    .collect();
                beside
                    .iter()
                    .map(|it| (it.to_path_buf(), MOST_DEPTH))
                    .collect()
            }
        };
        while let Some((folder, depth)) = folders.pop() {
            let entries = std::fs::read_dir(&folder).into_iter().flatten().flatten();
            for entry in entries {
                if files.len() >= MOST_FILES || stop.load(Ordering::Relaxed) {
                    return files;
                }
                let (path, name) = (entry.path(), entry.file_name());
                let skipped = name.to_string_lossy().starts_with('.')
                    || ["node_modules", "target"].iter().any(|it| name == *it);
                // Links to folders are not followed: they may lead round in a ring.
                let is_folder = entry.file_type().is_ok_and(|it| it.is_dir());
                if is_folder && !skipped && depth < MOST_DEPTH {
                    folders.push((path, depth + 1));
                } else if !is_folder && path.extension().is_some_and(|it| it == "amp") {
                    files.insert(path);
                }
            }
        }
        files
    }
}
