//! Fixes that can be made together.

use syntax::{FileId, TextEdit};

use crate::Finding;

/// The edits of the first safe fix of each finding of a file, in the order of the text; a fix that touches the words of
/// another waits for the next time.
pub fn safe_edits(findings: &[Finding]) -> Vec<TextEdit> {
    let mut taken: Vec<TextEdit> = Vec::new();
    for finding in findings.iter().filter(|it| it.place.file == FileId(0)) {
        let Some(fix) = finding.fixes.iter().find(|it| it.safe) else {
            continue;
        };
        let free = |edit: &TextEdit| {
            taken
                .iter()
                .all(|other| edit.span.end < other.span.start || other.span.end < edit.span.start)
        };
        if fix.edits.iter().all(free) {
            taken.extend(fix.edits.iter().cloned());
        }
    }
    taken.sort_by_key(|it| it.span);
    taken
}
