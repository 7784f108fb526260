//! `check --fix`: the fixes whose meaning cannot be other, written into the file.

use std::path::Path;

use syntax::{LineIndex, TextEdit};

use crate::read::{Examined, examine_file};

/// How often a file is looked at again: a fix may bring the next mistake of a line to light.
const ROUNDS: usize = 10;

/// An edit that was made.
pub struct Made {
    /// Its line at that moment, from 1.
    pub line: u32,
    /// What stood there.
    pub old: String,
    /// What stands there now.
    pub new: String,
}

/// Fixes what can be fixed safely and examines what is left: that, and what was done.
pub fn fix(path: &Path) -> Result<(Examined, Vec<Made>), String> {
    let mut made = Vec::new();
    let mut it = examine_file(path)?;
    for _ in 0..ROUNDS {
        let edits = checks::safe_edits(&it.findings);
        if edits.is_empty() {
            break;
        }
        let text = applied(&it.book.files[0].text, &edits);
        std::fs::write(path, text)
            .map_err(|error| format!("`{}` cannot be written: {error}", path.display()))?;
        let before = &it.book.files[0].text;
        let lines = LineIndex::new(before);
        made.extend(edits.iter().map(|edit| Made {
            line: lines.line_col(edit.span.start).0 + 1,
            old: edit.span.of(before).to_owned(),
            new: edit.text.clone(),
        }));
        it = examine_file(path)?;
    }
    Ok((it, made))
}

/// A text with edits that do not overlap.
pub fn applied(text: &str, edits: &[TextEdit]) -> String {
    let mut out = text.to_owned();
    for edit in edits.iter().rev() {
        out.replace_range(edit.span.range(), &edit.text);
    }
    out
}
