//! Files that move, and the `use` lines that have to follow them.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use syntax::{Span, StatementKind, TextEdit};

use crate::{Fence, Snapshot, View};

/// The edits that keep every `use` true once files or folders have moved from one path to another: text by text, as they
/// lie before the move.
pub fn moved(
    snapshot: &Snapshot,
    moves: &[(PathBuf, PathBuf)],
    stop: &AtomicBool,
) -> Vec<(Arc<View>, Vec<TextEdit>)> {
    let mut changed = Vec::new();
    for view in snapshot.all(stop) {
        if stop.load(Ordering::Relaxed) {
            break;
        }
        let edits = of_text(&view, moves);
        if !edits.is_empty() {
            changed.push((view, edits));
        }
    }
    changed
}

fn of_text(view: &View, moves: &[(PathBuf, PathBuf)]) -> Vec<TextEdit> {
    let name = &view.document().name;
    let own = after(Path::new(name), moves);
    let fence = Fence::around(own.parent(), Path::is_file);
    let mut edits = Vec::new();
    for statement in &view.tree().statements {
        let StatementKind::Use(text) = statement.kind else {
            continue;
        };
        let inner = Span::new(text.start as usize + 1, text.end as usize - 1);
        let target = PathBuf::from(circuit::beside(name, inner.of(view.text())));
        let new_target = after(&target, moves);
        let stays = own == Path::new(name) && new_target == target;
        // What would leave the workspace could not be used there: the line stays, and tells so.
        if let Some(text) =
            relative(&own, &new_target).filter(|_| !stays && fence.may_hold(&new_target))
            && text != inner.of(view.text())
        {
            edits.push(TextEdit { span: inner, text });
        }
    }
    edits
}

/// Where a path is after the moves.
fn after(path: &Path, moves: &[(PathBuf, PathBuf)]) -> PathBuf {
    let found = moves.iter().find_map(|(old, new)| {
        let rest = path.strip_prefix(old).ok()?;
        Some(match rest.as_os_str().is_empty() {
            true => new.clone(),
            false => new.join(rest),
        })
    });
    found.unwrap_or_else(|| path.to_owned())
}

/// A path as a file at `from` writes it.
fn relative(from: &Path, to: &Path) -> Option<String> {
    let folder: Vec<Component> = from.parent()?.components().collect();
    let target: Vec<Component> = to.components().collect();
    let shared = folder
        .iter()
        .zip(&target)
        .take_while(|(a, b)| a == b)
        .count();
    let mut words: Vec<String> = folder[shared..].iter().map(|_| "..".to_owned()).collect();
    for it in &target[shared..] {
        words.push(it.as_os_str().to_str()?.to_owned());
    }
    let path = words.join("/");
    (!path.contains('"')).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;

    #[test]
    fn nothing_follows_out_of_the_workspace() {
        let root = std::env::temp_dir().join(format!("ampersum-moves-{}", std::process::id()));
        let lab = root.join("lab");
        std::fs::create_dir_all(lab.join("parts")).expect("a folder");
        std::fs::write(lab.join("ampersum.toml"), "").expect("a file");
        let mut workspace = Workspace::default();
        let bed = lab.join("bed.amp");
        workspace.open(&bed.to_string_lossy(), 1, "use \"ops.amp\"\n");
        let after = |new: &str| {
            let moves = [(lab.join("ops.amp"), lab.join(new))];
            let changed = moved(&workspace.snapshot(), &moves, &AtomicBool::new(false));
            let edits = changed.into_iter().flat_map(|it| it.1);
            edits.map(|it| it.text).collect::<Vec<_>>()
        };
        let found = [
            "../ops.amp",
            "parts/../../ops.amp",
            "parts/ops.amp",
            "new/ops.amp",
        ]
        .map(after);
        std::fs::remove_dir_all(&root).expect("what was made");
        let none = Vec::<String>::new();
        assert_eq!(
            found,
            [
                none.clone(),
                none,
                vec!["parts/ops.amp".into()],
                vec!["new/ops.amp".into()]
            ]
        );
    }

    #[test]
    fn uses_follow_files_and_folders() {
        let mut workspace = Workspace::default();
        workspace.open("/lab/parts/ops.amp", 1, "part slow\nend\n");
        workspace.open(
            "/lab/beds/bed.amp",
            1,
            "use \"../parts/ops.amp\"\nuse \"near.amp\"\n",
        );
        workspace.open("/lab/beds/near.amp", 1, "");
        let after = |old: &str, new: &str| {
            let moves = [(PathBuf::from(old), PathBuf::from(new))];
            let changed = moved(&workspace.snapshot(), &moves, &AtomicBool::new(false));
            let mut texts = Vec::new();
            for (_, edits) in changed {
                texts.extend(edits.into_iter().map(|it| it.text));
            }
            texts.join(" ")
        };
        assert_eq!(
            after("/lab/parts/ops.amp", "/lab/parts/opamps.amp"),
            "../parts/opamps.amp"
        );
        assert_eq!(after("/lab/parts", "/lab/beds/parts"), "parts/ops.amp");
        assert_eq!(
            after("/lab/beds/bed.amp", "/lab/bed.amp"),
            "parts/ops.amp beds/near.amp"
        );
        assert_eq!(after("/lab/beds", "/lab/plots"), "");
        assert_eq!(
            after("/lab/beds/near.amp", "/lab/beds/next.amp"),
            "next.amp"
        );
        assert_eq!(after("/lab/other", "/lab/else"), "");
    }
}
