//! The workspace around a file: the nearest folder above with `ampersum.toml`, else the file's own. Nothing outside is read.

use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The workspace's settings; they stand in its root.
const SETTINGS_FILE: &str = "ampersum.toml";
/// How far `use` may reach.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fence {
    /// The workspace's folder, links followed; `None`: nothing may be read.
    root: Option<PathBuf>,
    settings: Option<PathBuf>,
}

impl Fence {
    /// The workspace of a file in `folder`. `exists` is asked for each settings file that is looked for.
    pub fn around(folder: Option<&Path>, mut exists: impl FnMut(&Path) -> bool) -> Fence {
        let found = folder.and_then(|it| it.ancestors().find(|it| exists(&it.join(SETTINGS_FILE))));
        let root = found.or(folder).and_then(|it| it.canonicalize().ok());
        Fence {
            root,
            settings: found.map(|it| it.join(SETTINGS_FILE)),
        }
    }

    /// Whether a file could be used at this path, there or not yet; where nothing is known of the workspace, perhaps.
    pub(crate) fn may_hold(&self, path: &Path) -> bool {
        let there = path.ancestors().find_map(|it| it.canonicalize().ok());
        match (&self.root, there) {
            (Some(root), Some(there)) => there.starts_with(root),
            _ => true,
        }
    }

    /// The settings file and its text.
    pub fn settings(&self) -> Option<(String, String)> {
        let file = self.settings.as_ref()?;
        Some((
            file.to_string_lossy().into_owned(),
            std::fs::read_to_string(file).ok()?,
        ))
    }

    /// The text of a used file, if it lies inside once links are followed. Bytes that are no UTF-8 become U+FFFD, which
    /// the reader reports where it stands.
    pub fn read(&self, path: &Path) -> Option<Arc<str>> {
        let path = path.canonicalize().ok()?;
        let about = path.metadata().ok()?;
        // A pipe or a device has no end.
        let reads = about.is_file() && about.len() <= syntax::LARGEST_FILE as u64;
        if !path.starts_with(self.root.as_ref()?) || !reads {
            return None;
        }
        Some(String::from_utf8_lossy(&std::fs::read(path).ok()?).into())
    }
}
