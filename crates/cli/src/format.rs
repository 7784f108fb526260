//! `format`: texts in their canonical form, in place.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::read;

/// What became of the texts.
pub struct Formatted {
    /// Path, and whether it was canonical already.
    pub texts: Vec<(String, bool)>,
    /// The text of standard input, formatted.
    pub output: Option<String>,
}

/// Formats files and folders; with `only_check` nothing is written.
pub fn run(paths: &[PathBuf], only_check: bool) -> Result<Formatted, String> {
    let mut done = Formatted {
        texts: Vec::new(),
        output: None,
    };
    for path in read::amp_files(paths)? {
        let shown = path.to_string_lossy().into_owned();
        let text = read::exact_text(&path)
            .map_err(|error| format!("`{shown}` cannot be read: {error}"))?;
        let new = syntax::format(&text);
        let canonical = new == text;
        if path == Path::new("-") {
            done.output = Some(new);
        } else if !canonical && !only_check {
            std::fs::write(&path, new)
                .map_err(|error| format!("`{shown}` cannot be written: {error}"))?;
        }
        done.texts.push((shown, canonical));
    }
    Ok(done)
}

/// The JSON shape.
pub fn json(done: &Formatted) -> Value {
    let texts: Vec<Value> = done
        .texts
        .iter()
        .map(|(path, canonical)| json!({ "path": path, "canonical": canonical }))
        .collect();
    json!({ "ampersum": env!("CARGO_PKG_VERSION"), "texts": texts })
}
