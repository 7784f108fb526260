//! `check --fix`: the fixes whose meaning cannot be other, written into the file.

use std::path::Path;

use syntax::TextEdit;

use crate::read::{Examined, examine_file};

/// How often a file is looked at again: a fix may bring the next mistake of a line to light.
const ROUNDS: usize = 10;

/// Fixes what can be fixed safely and examines what is left. How many fixes were made.
pub fn fix(path: &Path) -> Result<(Examined, usize), String> {
    let mut made = 0;
    let mut it = examine_file(path)?;
    for _ in 0..ROUNDS {
        let edits = checks::safe_edits(&it.findings);
        if edits.is_empty() || path == Path::new("-") {
            break;
        }
        let text = applied(&it.book.files[0].text, &edits);
        std::fs::write(path, text)
            .map_err(|error| format!("`{}` cannot be written: {error}", path.display()))?;
        made += edits.len();
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
