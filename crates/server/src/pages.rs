//! Explanations as files that an editor can show: in a folder of this process alone, which goes away with it.

use std::collections::HashMap;
use std::fs::{self, DirBuilder, OpenOptions};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tower_lsp::lsp_types::Url;

use crate::parent;

/// The folder, made when the first page is written.
#[derive(Default)]
pub(crate) struct Pages {
    folder: Mutex<Option<PathBuf>>,
    /// The pages of rules that were written; `None`: could not be.
    rules: Mutex<HashMap<&'static str, Option<Url>>>,
}

impl Pages {
    /// Writes a page and gives its path; the same words have the same path.
    pub(crate) fn write(&self, stem: &str, words: &str) -> io::Result<PathBuf> {
        let mut folder = self.folder.lock().unwrap_or_else(PoisonError::into_inner);
        let folder = match &*folder {
            Some(folder) => folder,
            None => folder.insert(make_folder()?),
        };
        let mut hasher = DefaultHasher::new();
        words.hash(&mut hasher);
        let path = folder.join(format!("{stem}-{:016x}.md", hasher.finish()));
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(mut file) => file.write_all(words.as_bytes())?,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
        Ok(path)
    }

    /// The page of a rule, written when it is first asked for.
    pub(crate) fn rule(&self, name: &'static str) -> Option<Url> {
        let mut rules = self.rules.lock().unwrap_or_else(PoisonError::into_inner);
        let write = || {
            let page = format!(
                "# {name}\n\n{}\n",
                checks::registry::doc(name)?.trim().replace("\n# ", "\n## ")
            );
            Url::from_file_path(self.write(&format!("rule-{name}"), &page).ok()?).ok()
        };
        rules.entry(name).or_insert_with(write).clone()
    }

    /// Removes what was written.
    pub(crate) fn remove(&self) {
        if let Some(folder) = self
            .folder
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take()
        {
            // It lies in a cache: what can't be removed now may stay.
            let _ = fs::remove_dir_all(folder);
        }
    }
}

fn make_folder() -> io::Result<PathBuf> {
    let above = cache().join("ampersum");
    private().recursive(true).create(&above)?;
    sweep(&above);
    for number in 0..100 {
        let folder = above.join(format!("pages-{}-{number}", std::process::id()));
        // Only a folder that was made just now is certainly ours.
        match private().create(&folder) {
            Ok(()) => return Ok(folder),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

/// Removes what servers left behind that were ended from outside.
fn sweep(above: &Path) {
    for entry in fs::read_dir(above).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let process = name
            .to_str()
            .and_then(|it| it.strip_prefix("pages-")?.split('-').next()?.parse().ok());
        if process.is_some_and(|it| parent::lives(it) == Some(false)) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Where this system keeps what can be made anew.
fn cache() -> PathBuf {
    let folder = |name: &str| {
        std::env::var_os(name)
            .map(PathBuf::from)
            .filter(|it| it.is_absolute())
    };
    let home = || folder("HOME").or_else(|| folder("USERPROFILE"));
    folder("XDG_CACHE_HOME")
        .or_else(|| folder("LOCALAPPDATA"))
        .or_else(|| {
            home().map(|it| {
                it.join(if cfg!(target_os = "macos") {
                    "Library/Caches"
                } else {
                    ".cache"
                })
            })
        })
        .unwrap_or_else(std::env::temp_dir)
}

fn private() -> DirBuilder {
    #[allow(unused_mut)]
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
}
