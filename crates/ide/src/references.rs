//! Every place that says a name: in one text, in all that use it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use syntax::Span;

use crate::names::{Access, Home, Key};
use crate::{Snapshot, View};

/// A place that says a name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Mention {
    /// The name.
    pub span: Span,
    /// What is done with it there.
    pub access: Access,
    /// It stands in a line that cannot be read.
    pub broken: bool,
}

/// The places of the name at `offset` in the text itself; none where no name stands there.
pub fn highlights(view: &View, offset: u32) -> Vec<Mention> {
    let names = view.names();
    let Some(at) = names.at(offset) else {
        return Vec::new();
    };
    mentions(view, &names.things[at.thing].key)
}

/// The places of the name at `offset` in all texts, text by text; those without any are left out.
pub fn references(
    snapshot: &Snapshot,
    view: &Arc<View>,
    offset: u32,
    stop: &AtomicBool,
) -> Vec<(Arc<View>, Vec<Mention>)> {
    let names = view.names();
    let Some(at) = names.at(offset) else {
        return Vec::new();
    };
    everywhere(snapshot, view, &names.things[at.thing].key, stop)
}

/// The places of a thing that `view` knows, its own text first.
pub(crate) fn everywhere(
    snapshot: &Snapshot,
    view: &Arc<View>,
    key: &Key,
    stop: &AtomicBool,
) -> Vec<(Arc<View>, Vec<Mention>)> {
    let mut found = vec![(view.clone(), mentions(view, key))];
    // A file's own `let`s are its own; all else may be read by a text that uses the file.
    if key.home != Home::File || *key.file != view.book().files[0].path {
        let mut others = snapshot.all(stop);
        // It may lie in none of the folders, and is used all the same.
        if others.iter().all(|it| it.document().name != *key.file) {
            others.extend(snapshot.text(&key.file));
        }
        for other in others {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            if other.document().name != view.document().name && may_say(&other, key) {
                let mentions = mentions(&other, key);
                found.push((other, mentions));
            }
        }
    }
    found.retain(|it| !it.1.is_empty());
    found
}

/// Whether a text is worth reading: it is the thing's own, or uses others, and has the name's letters.
fn may_say(view: &View, key: &Key) -> bool {
    let text = view.text();
    // Names with other letters may be spelled in several ways.
    let spelled = !key.name.is_ascii() || text.contains(key.name.as_str());
    spelled && (view.document().name == *key.file || text.contains("use"))
}

fn mentions(view: &View, key: &Key) -> Vec<Mention> {
    let said = view.names().places(key);
    said.map(|it| Mention {
        span: it.span,
        access: it.access,
        broken: it.broken,
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;
    use crate::marked::{open, open_in};

    /// The marked words are all the places of the name at the first mark.
    #[track_caller]
    fn found(marked: &str) {
        let (view, spans) = open(marked);
        let mentions = highlights(&view, spans[0].end);
        assert_eq!(
            mentions.iter().map(|it| it.span).collect::<Vec<_>>(),
            spans,
            "{marked}"
        );
    }

    #[test]
    fn a_name_is_found_wherever_it_is_said_and_nowhere_else() {
        found(
            "circuit a\nx -- R1 1k -- ground\ncircuit b\nsource s: «x» = 1 V\n«x» -- R1 1k -- ground\nexpect «x» = 1 V\n",
        );
        found(
            "circuit b\nx -- «R1» 1k -- y -- R2 («R1») -- ground\nexpect current(«R1») = power(«R1») / 1 V\nallow loose_end at «R1»: \"x\"\n",
        );
        found(
            "let «V0» = 1 V # V0\ncircuit b\nsource s: x = «V0»\ncircuit c\nsource s: x = 2 * «V0»\n",
        );
        found("source s: «in» = 1 V\n«in» - R1 10k -- ground\n«in» -- R2 1k -- ground\n");
        found(
            "block half: «in», out\n  «in» -- R1 1k -- out\nend\ncircuit c\nhalf H: «in» in, out b\nexpect H.«in» = 1 V\n",
        );
        found(
            "circuit c\nsource s: u = 1 V\nu -- R1 1k -- ground\nwork \"w\"\n  let «i» = 1\n  «i» = u / R1\nend\nwork \"v\"\n  i = 3\nend\n",
        );
        found("x -- R1 1k -- «ground»\ny -- R2 1k -- «ground»\n");
    }

    #[test]
    fn sources_and_outputs_write() {
        let (view, spans) = open("source s: «q» = 1 V\nopamp A1: plus p, minus q, drives q\n");
        let access: Vec<_> = highlights(&view, spans[0].start)
            .iter()
            .map(|it| it.access)
            .collect();
        assert_eq!(access, [Access::Writes, Access::Reads, Access::Writes]);
    }

    #[test]
    fn other_texts_are_looked_at_open_or_not() {
        let place =
            std::env::temp_dir().join(format!("ampersum-references-{}", std::process::id()));
        std::fs::create_dir_all(place.join("beds")).expect("a folder can be made");
        let path = |it: &str| place.join(it).to_string_lossy().into_owned();
        let user = "use \"../lab.amp\"\ncircuit c\nhalf H: in a, out b\nexpect H.mid = 1 V\n";
        std::fs::write(place.join("ampersum.toml"), "").expect("a file can be written");
        std::fs::write(place.join("beds/shut.amp"), user).expect("a file can be written");
        std::fs::write(place.join("beds/other.amp"), "half H: in a, out b\n# use\n")
            .expect("a file can be written");
        let mut workspace = Workspace::default();
        workspace.set_folders(vec![place.clone()]);
        let lab = "block half: in, out\n  in -- R1 1k -- «mid» -- R2 1k -- out\nend\n";
        let (_, spans) = open_in(&mut workspace, &path("lab.amp"), lab);
        open_in(&mut workspace, &path("beds/bed.amp"), user);
        let snapshot = workspace.snapshot();
        let view = snapshot.view(&path("lab.amp")).expect("it is open");
        let found = references(&snapshot, view, spans[0].start, &AtomicBool::new(false));
        let said: Vec<_> = found
            .iter()
            .map(|(view, at)| (view.document().name.as_str(), at[0].span.of(view.text())))
            .collect();
        let [bed, shut, lab] = [path("beds/bed.amp"), path("beds/shut.amp"), path("lab.amp")];
        assert_eq!(said, [(&*lab, "mid"), (&*bed, "mid"), (&*shut, "mid")]);
        std::fs::remove_dir_all(&place).expect("the folder can be removed");
    }
}
