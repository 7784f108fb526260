//! A name changed everywhere at once: only where every line means afterwards what it meant before.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use circuit::classes::classes;
use syntax::{Span, TextEdit, TokenClass, normal};

use crate::names::{Access, Home, Key, Kind, Names};
use crate::references::everywhere;
use crate::{Document, Snapshot, View};

/// The name at the caret, which may be changed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Renamable {
    /// Where it stands.
    pub span: Span,
    /// As it is.
    pub name: String,
}

/// The changes of one text.
#[derive(Clone, Debug)]
pub struct Renamed {
    /// The text as it is.
    pub view: Arc<View>,
    /// In the order of the text.
    pub edits: Vec<Replaced>,
}

/// One changed name.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Replaced {
    /// The change.
    pub edit: TextEdit,
    /// It stands in a line that cannot be read, so that what it means there is a guess.
    pub broken: bool,
}

/// Why a name keeps as it is, in a sentence.
pub type Refusal = String;

/// The name at `offset`; `None` where no word stands there.
pub fn renamable(view: &View, offset: u32) -> Result<Option<Renamable>, Refusal> {
    let names = view.names();
    let words = |span: Span| span.of(view.text());
    if let Some(it) = names.at(offset) {
        let thing = &names.things[it.thing];
        let name = words(it.span);
        if thing.kind == Kind::Ground {
            return Err("`ground` is the reference, 0 V: it keeps its name.".into());
        }
        if !is_ours(view, &thing.key) {
            return Err(format!("`{name}` comes with the tool and keeps its name."));
        }
        return Ok(Some(Renamable {
            span: it.span,
            name: name.to_owned(),
        }));
    }
    let touched = view.tokens().iter().rfind(|it| {
        it.span.touches(offset)
            && matches!(
                it.class,
                TokenClass::Word | TokenClass::Function | TokenClass::Name
            )
    });
    let Some(token) = touched else {
        return Ok(None);
    };
    let word = words(token.span);
    Err(match token.class {
        TokenClass::Name if checks::registry::doc(word).is_some() => {
            format!("`{word}` is a rule of the checker and keeps its name.")
        }
        TokenClass::Name if classes().iter().any(|it| it.part.name == word) => {
            format!("`{word}` comes with the tool and keeps its name.")
        }
        TokenClass::Name => {
            format!("Nothing has the name `{word}` here, so there is nothing to rename.")
        }
        _ => format!("`{word}` is a word of the language and keeps its name."),
    })
}

/// The changes that give the name at `offset` another form in all texts.
pub fn rename(
    snapshot: &Snapshot,
    view: &Arc<View>,
    offset: u32,
    new: &str,
    stop: &AtomicBool,
) -> Result<Vec<Renamed>, Refusal> {
    let Some(old) = renamable(view, offset)? else {
        return Err("No name stands here.".into());
    };
    let new = new.trim();
    is_name(new)?;
    if old.name == new {
        return Ok(Vec::new());
    }
    let names = view.names();
    let Some(at) = names.at(offset) else {
        return Ok(Vec::new());
    };
    let key = &names.things[at.thing].key;
    let new_key = Key {
        name: normal(new).into_owned(),
        ..key.clone()
    };
    if *key != new_key {
        clash(view, names, &new_key, key)?;
    }
    let mut renamed = Vec::new();
    for (view, mentions) in everywhere(snapshot, view, key, stop) {
        let edits = mentions.into_iter().map(|it| Replaced {
            edit: TextEdit {
                span: it.span,
                text: new.to_owned(),
            },
            broken: it.broken,
        });
        let edits = edits.collect();
        renamed.push(Renamed { view, edits });
    }
    tried_out(snapshot, &renamed, key, &new_key)?;
    Ok(renamed)
}

/// Whether a thing's file is one that a reader could change.
fn is_ours(view: &View, key: &Key) -> bool {
    *key.file == view.book().files[0].path || std::path::Path::new(&*key.file).is_absolute()
}

fn is_name(new: &str) -> Result<(), Refusal> {
    if matches!(&*normal(new), "ground" | "end") {
        return Err(format!("`{new}` is reserved: choose another name."));
    }
    if new.chars().count() > 64 {
        return Err("A name has 64 characters at most.".into());
    }
    let tokens = syntax::tokens(new);
    let whole = |it: &syntax::ClassedToken| {
        it.span == Span::new(0, new.len())
            && matches!(
                it.class,
                TokenClass::Name | TokenClass::Word | TokenClass::Function
            )
    };
    match &tokens[..] {
        [one] if whole(one) && !new.contains('.') => Ok(()),
        _ => Err(format!(
            "`{new}` is no name: a name begins with a letter or `_` and goes on with letters, digits and `_`."
        )),
    }
}

fn clash(view: &View, names: &Names, new: &Key, old: &Key) -> Result<(), Refusal> {
    let taken = match new.home {
        Home::Blocks if syntax::DEVICES.contains(&new.name.as_str()) => {
            return Err(format!("`{}` is a device of the language.", new.name));
        }
        Home::Parts if new.name == "ideal" => {
            return Err("`ideal` is the op-amp without a part.".into());
        }
        _ => names.taken(new, old),
    };
    let Some((file, span, kind)) = taken else {
        return Ok(());
    };
    let place = view.book().files.get(file);
    let line = place.map_or(1, |it| crate::Lines::of(&it.text).line_at(span.start) + 1);
    let file = match file {
        0 => String::new(),
        _ => place.map_or(String::new(), |it| format!(" of {}", file_name(&it.path))),
    };
    Err(format!(
        "`{}` is already {}, in line {line}{file}.",
        new.name,
        kind.noun()
    ))
}

/// Reads the texts with their changes: each name has to mean what it meant, and nothing may have become wrong.
fn tried_out(
    snapshot: &Snapshot,
    renamed: &[Renamed],
    old: &Key,
    new: &Key,
) -> Result<(), Refusal> {
    let changed: Vec<_> = renamed
        .iter()
        .map(|it| {
            let mut text = it.view.text().to_owned();
            for replaced in it.edits.iter().rev() {
                text.replace_range(replaced.edit.span.range(), &replaced.edit.text);
            }
            Document::new(&it.view.document().name, it.view.document().version, &text)
        })
        .collect();
    for (before, after) in renamed.iter().zip(snapshot.with(&changed)) {
        let before = &before.view;
        let (was, is) = (meanings(before, Some((old, new))), meanings(&after, None));
        let same = was.iter().zip(&is).take_while(|(a, b)| a == b).count();
        let faults = |view: &View| view.tree().faults.len() + view.book().faults.len();
        if same == was.len() && same == is.len() && faults(before) == faults(&after) {
            continue;
        }
        let at = before.names().said.get(same).map(|it| it.span.start);
        let line = at.map(|it| format!("line {} of ", before.lines().line_at(it) + 1));
        return Err(format!(
            "Under the name `{}` {}{} would mean something else.",
            new.name,
            line.unwrap_or_default(),
            file_name(&before.document().name)
        ));
    }
    Ok(())
}

/// What each name of a text means, one key put in another's place.
fn meanings(view: &View, renamed: Option<(&Key, &Key)>) -> Vec<(Key, Access)> {
    let names = view.names();
    let key = |key: &Key| match renamed {
        Some((old, new)) if key == old => new.clone(),
        _ => key.clone(),
    };
    let said = names.said.iter();
    said.map(|it| (key(&names.things[it.thing].key), it.access))
        .collect()
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;
    use crate::marked::open_in;

    /// The text after a rename at the first mark, or why there is none.
    fn renamed(marked: &str, new: &str) -> String {
        let mut workspace = Workspace::default();
        let (view, spans) = open_in(&mut workspace, "bed.amp", marked);
        let snapshot = workspace.snapshot();
        match rename(&snapshot, &view, spans[0].end, new, &AtomicBool::new(false)) {
            Ok(changes) => {
                let mut text = view.text().to_owned();
                for it in changes[0].edits.iter().rev() {
                    text.replace_range(it.edit.span.range(), &it.edit.text);
                }
                text
            }
            Err(why) => why,
        }
    }

    #[test]
    fn a_name_changes_wherever_it_means_the_same() {
        assert_eq!(
            renamed(
                "block f: in, out\n  in -- R1 1k -- mid -- R2 1k -- out\nend\ncircuit c \"mid\"\nsource s: a = 1 V\n\
                 f F1: in a, out b\nexpect F1.«»mid = 1 V # mid\nmid -- R1 1k -- ground\nwork \"w\"\n  F1.mid = a\nend\n",
                "tap"
            ),
            "block f: in, out\n  in -- R1 1k -- tap -- R2 1k -- out\nend\ncircuit c \"mid\"\nsource s: a = 1 V\n\
             f F1: in a, out b\nexpect F1.tap = 1 V # mid\nmid -- R1 1k -- ground\nwork \"w\"\n  F1.tap = a\nend\n"
        );
        // Other spellings of the same name, and lines that cannot be read.
        assert_eq!(
            renamed("source s: «»µ1 = 1 V\nμ1 -- R1 1k\n", "u1"),
            "source s: u1 = 1 V\nu1 -- R1 1k\n"
        );
        // A word of the language is one only by its place.
        assert_eq!(
            renamed("source s: «»a = 1 V\na -- R1 1k -- ground\n", "at"),
            "source s: at = 1 V\nat -- R1 1k -- ground\n"
        );
    }

    #[test]
    fn what_cannot_be_renamed_is_said_in_a_sentence() {
        let text = "circuit c\nlet k = 1\nsource s: a = k * 1 V\na -- R1 1k -- b\nb -- R2 1k -- ground\nwork \"w\"\n  let x = a\nend\n";
        let at =
            |mark: &str, new: &str| renamed(&text.replacen(mark, &format!("«»{mark}"), 1), new);
        for (mark, new, why) in [
            (
                "ground",
                "earth",
                "`ground` is the reference, 0 V: it keeps its name.",
            ),
            (
                "source",
                "s",
                "`source` is a word of the language and keeps its name.",
            ),
            ("a = k", "b", "`b` is already a node, in line 4."),
            ("R1", "s", "`s` is already a source, in line 3."),
            ("k = 1", "R2", "`R2` is already an element, in line 5."),
            ("a = k", "x", "`x` is already a `let`, in line 7."),
            ("a = k", "end", "`end` is reserved: choose another name."),
            (
                "a = k",
                "4x",
                "`4x` is no name: a name begins with a letter or `_` and goes on with letters, digits and `_`.",
            ),
            (
                "a = k",
                "p.q",
                "`p.q` is no name: a name begins with a letter or `_` and goes on with letters, digits and `_`.",
            ),
        ] {
            assert_eq!(at(mark, new), why, "{mark} to {new}");
        }
    }

    #[test]
    fn a_name_that_would_change_how_a_line_reads_is_refused() {
        // Behind `find` a node may be called `points`, but not the last of the line before a number.
        let why = renamed(
            "source s: a = 1 V\na -- R1 1k -- «»b\nb -- R2 1k -- ground\nblock x: p\nend\n",
            "R1",
        );
        assert_eq!(why, "`R1` is already an element, in line 2.");
        let why = renamed(
            "block half: «»in, out\n  in -- R1 1k -- out\nend\ncircuit c\nsource s: a = 1 V\nhalf H: in a, out b\nb -- R1 1k -- ground\n",
            "part",
        );
        assert!(why.ends_with("would mean something else."), "{why}");
    }

    #[test]
    fn a_used_file_is_changed_wherever_it_lies() {
        let place = std::env::temp_dir().join(format!("ampersum-rename-{}", std::process::id()));
        std::fs::create_dir_all(place.join("beds")).expect("a folder can be made");
        std::fs::write(place.join("ampersum.toml"), "").expect("a file can be written");
        std::fs::write(place.join("lab.amp"), "part slow\n  gain 5\nend\n")
            .expect("a file can be written");
        let mut workspace = Workspace::default();
        let name = place.join("beds/bed.amp").to_string_lossy().into_owned();
        let text = "use \"../lab.amp\"\ncircuit c\nopamps are «slow»\n";
        let (view, spans) = open_in(&mut workspace, &name, text);
        let stop = AtomicBool::new(false);
        let snapshot = workspace.snapshot();
        let changes = rename(&snapshot, &view, spans[0].start, "brisk", &stop).expect("it can be");
        let changed: Vec<_> = changes
            .iter()
            .map(|it| (file_name(&it.view.document().name), it.edits.len()))
            .collect();
        assert_eq!(changed, [("bed.amp", 1), ("lab.amp", 1)]);
        std::fs::remove_dir_all(&place).expect("the folder can be removed");
    }

    #[test]
    fn texts_that_use_the_file_are_changed_too() {
        let mut workspace = Workspace::default();
        let (_, spans) = open_in(
            &mut workspace,
            "/bed/lab.amp",
            "part «slow»\n  gain 5\nend\n",
        );
        let user = "use \"lab.amp\"\ncircuit c\nopamps are slow\nsource s: slow = 1 V\n";
        open_in(&mut workspace, "/bed/bed.amp", user);
        let snapshot = workspace.snapshot();
        let view = snapshot.view("/bed/lab.amp").expect("it is open");
        let stop = AtomicBool::new(false);
        let changes = rename(&snapshot, view, spans[0].start, "brisk", &stop).expect("it can be");
        let counts: Vec<_> = changes
            .iter()
            .map(|it| (it.view.document().name.as_str(), it.edits.len()))
            .collect();
        assert_eq!(counts, [("/bed/lab.amp", 1), ("/bed/bed.amp", 1)]);
    }
}
