//! The files of a book: the one asked for and those it uses, each read once; which parts and blocks each file sees.

use std::cell::{Cell, OnceCell};
use std::collections::HashMap;
use std::sync::Arc;

use syntax::{BodyKind, FileId, PathItem, Place, Span, StatementId, StatementKind, Tree, normal};

use crate::{Fault, FaultKind, File, PartId};

/// How many files may use each other in a row.
const USE_DEPTH: usize = 32;

/// A block's definition: its file, its body there.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(crate) struct BlockRef {
    pub file: FileId,
    pub body: usize,
}

/// What one file sees of parts and blocks: its own and those of the files it names in `use`.
#[derive(Default, Debug)]
pub(crate) struct Shelf {
    pub parts: HashMap<String, PartId>,
    pub blocks: HashMap<String, BlockRef>,
    /// Names on broken lines and in files that could not be read: perhaps parts or blocks.
    pub incomplete: bool,
}

/// A part's body, by its `PartId`'s index.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PartRef {
    pub file: FileId,
    pub body: usize,
}

/// All files with their shelves (same index) and all parts.
#[derive(Default, Debug)]
pub(crate) struct Library {
    pub files: Vec<File>,
    pub shelves: Vec<Shelf>,
    pub parts: Vec<PartRef>,
    pub blocks: Vec<BlockRef>,
    /// What is worked out of each file once (same index).
    known: Vec<Known>,
    sheets: OnceCell<Sheets>,
    /// How many names were compared with misspelt ones.
    compared: Cell<usize>,
    /// What each block holds with the blocks inside it.
    sizes: OnceCell<HashMap<BlockRef, Size>>,
    /// What was expanded of blocks, for circuits and for themselves.
    expanded: Cell<[Size; 2]>,
}

/// How many elements something holds, and how much else.
#[derive(Clone, Copy, Default, Debug)]
struct Size {
    elements: usize,
    others: usize,
}

impl Size {
    fn plus(self, other: Size) -> Size {
        Size {
            elements: self.elements.saturating_add(other.elements),
            others: self.others.saturating_add(other.others),
        }
    }

    fn is_too_big(self) -> bool {
        self.elements.max(self.others) > MOST_ELEMENTS
    }
}

/// What a block is expanded for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Expands {
    /// A circuit uses it.
    ForCircuit,
    /// Its own faults are looked for.
    ForItself,
}

/// How many elements all blocks of a book may have once they are expanded, and how much else.
const MOST_ELEMENTS: usize = 1_000_000;
/// The same in words.
pub(crate) const ELEMENTS: &str = "1,000,000 elements";

/// How many statements and elements a book may write down, `use`d files included: what is built of them stays within a few
/// hundred megabytes.
const MOST_WRITTEN: usize = 100_000;
/// The same in words.
pub(crate) const WRITTEN: &str = "100,000 statements and elements";

/// What is worked out of a file when someone asks.
#[derive(Default, Debug)]
struct Known {
    line_ends: OnceCell<Vec<u32>>,
    loose: OnceCell<Vec<StatementId>>,
    of_the_file: OnceCell<Vec<StatementId>>,
}

/// The work sheets of the first file, by their bodies.
#[derive(Default, Debug)]
struct Sheets {
    /// By the circuit that they name.
    named: HashMap<String, Vec<usize>>,
    /// Those that name none, by their head.
    lone: HashMap<StatementId, usize>,
}

/// A file with more names and mistakes than this many comparisons settle gets no further guesses at what was meant.
const COMPARISONS: usize = 2_000_000;

type Read<'r> = &'r mut dyn FnMut(&str) -> Option<Arc<str>>;

/// Reads `text` and everything it uses.
pub(crate) fn load(path: &str, text: Arc<str>, read: Read, faults: &mut Vec<Fault>) -> Library {
    let mut loader = Loader {
        read,
        library: Library::default(),
        trail: Vec::new(),
        by_path: HashMap::new(),
        faults,
    };
    loader.file(normalised(path), text);
    loader.library
}

struct Loader<'r> {
    read: Read<'r>,
    library: Library,
    /// The files that are being read, outermost first.
    trail: Vec<String>,
    by_path: HashMap<String, FileId>,
    faults: &'r mut Vec<Fault>,
}

impl Loader<'_> {
    fn file(&mut self, path: String, text: Arc<str>) -> FileId {
        let tree = Arc::new(syntax::parse(&text));
        let id = FileId(self.library.files.len() as u32);
        self.library.files.push(File {
            path: path.clone(),
            text: text.clone(),
            tree: tree.clone(),
        });
        self.library.shelves.push(Shelf::default());
        self.library.known.push(Known::default());
        self.by_path.insert(path.clone(), id);
        self.trail.push(path);
        self.own(id, &tree, &text);
        for statement in &tree.statements {
            if let StatementKind::Use(name) = statement.kind {
                self.used(id, name, &text);
            }
        }
        self.trail.pop();
        id
    }

    /// Puts a file's own parts and blocks on its shelf.
    fn own(&mut self, file: FileId, tree: &Tree, text: &str) {
        for (body, it) in tree.bodies.iter().enumerate() {
            let head = &tree.statements[it.head.0 as usize];
            match (&head.kind, it.kind) {
                (StatementKind::Part(name), _) => {
                    let id = PartId(self.library.parts.len() as u32);
                    self.library.parts.push(PartRef { file, body });
                    self.put(file, *name, text, "a part", |shelf, key| {
                        match shelf.parts.entry(key) {
                            std::collections::hash_map::Entry::Vacant(slot) => {
                                slot.insert(id);
                                true
                            }
                            _ => false,
                        }
                    });
                }
                (StatementKind::Block { name, .. }, _) => {
                    let block = BlockRef { file, body };
                    self.library.blocks.push(block);
                    self.put(file, *name, text, "a block", |shelf, key| {
                        match shelf.blocks.entry(key) {
                            std::collections::hash_map::Entry::Vacant(slot) => {
                                slot.insert(block);
                                true
                            }
                            _ => false,
                        }
                    });
                }
                (StatementKind::Broken(_), BodyKind::Part | BodyKind::Block) => {
                    self.library.shelves[file.0 as usize].incomplete = true;
                }
                _ => {}
            }
        }
    }

    fn put(
        &mut self,
        file: FileId,
        name: Span,
        text: &str,
        is: &'static str,
        insert: impl FnOnce(&mut Shelf, String) -> bool,
    ) {
        let key = normal(name.of(text)).into_owned();
        let reserved =
            matches!(key.as_str(), "ground" | "end") || (is == "a part" && key == "ideal");
        if reserved || !insert(&mut self.library.shelves[file.0 as usize], key.clone()) {
            let kind = FaultKind::NameTaken {
                name: key,
                is: if reserved { "reserved" } else { is },
                line: None,
            };
            self.faults
                .push(Fault::new(Place { file, span: name }, kind));
        }
    }

    fn used(&mut self, user: FileId, name: Span, text: &str) {
        let place = Place {
            file: user,
            span: name,
        };
        let written = name.of(text).trim_matches('"');
        let from = self.library.files[user.0 as usize].path.clone();
        let path = beside(&from, written);
        let mut fail = |library: &mut Library, kind| {
            library.shelves[user.0 as usize].incomplete = true;
            self.faults.push(Fault::new(place, kind));
        };
        if self.trail.contains(&path) {
            return fail(&mut self.library, FaultKind::UseFile { ring: true });
        }
        if self.trail.len() > USE_DEPTH {
            return fail(
                &mut self.library,
                FaultKind::TooBig("32 files that use each other"),
            );
        }
        let id = match self.by_path.get(&path) {
            Some(id) => *id,
            None => match (self.read)(&path) {
                Some(text) => self.file(path, text),
                None => return fail(&mut self.library, FaultKind::UseFile { ring: false }),
            },
        };
        // What the used file defines itself, not what it uses in turn.
        let given = &self.library.files[id.0 as usize];
        let own = |place: FileId| place == id;
        let parts: Vec<_> = self.library.shelves[id.0 as usize]
            .parts
            .iter()
            .filter(|(_, part)| own(self.library.parts[part.index()].file))
            .map(|(key, part)| (key.clone(), *part))
            .collect();
        let blocks: Vec<_> = self.library.shelves[id.0 as usize]
            .blocks
            .iter()
            .filter(|(_, block)| own(block.file))
            .map(|(key, block)| (key.clone(), *block))
            .collect();
        let broken = given.tree.faults.iter().any(|_| true);
        let shelf = &mut self.library.shelves[user.0 as usize];
        shelf.incomplete |= broken;
        let mut taken = Vec::new();
        for (key, part) in parts {
            if *shelf.parts.entry(key.clone()).or_insert(part) != part {
                taken.push((key, "a part"));
            }
        }
        for (key, block) in blocks {
            if *shelf.blocks.entry(key.clone()).or_insert(block) != block {
                taken.push((key, "a block"));
            }
        }
        taken.sort();
        for (name, is) in taken.into_iter().take(1) {
            self.faults.push(Fault::new(
                place,
                FaultKind::NameTaken {
                    name,
                    is,
                    line: None,
                },
            ));
        }
    }
}

impl Library {
    pub fn text(&self, file: FileId) -> &str {
        &self.files[file.0 as usize].text
    }

    pub fn tree(&self, file: FileId) -> &Tree {
        &self.files[file.0 as usize].tree
    }

    pub fn shelf(&self, file: FileId) -> &Shelf {
        &self.shelves[file.0 as usize]
    }

    /// The line of a place, from 1.
    pub fn line(&self, place: Place) -> u32 {
        let ends = self.known[place.file.0 as usize].line_ends.get_or_init(|| {
            let text = self.text(place.file).bytes().zip(0..);
            text.filter(|it| it.0 == b'\n').map(|it| it.1).collect()
        });
        1 + ends.partition_point(|it| *it < place.span.start) as u32
    }

    /// The statements of a file that stand in no body (`use` and the like among them), heads of bodies left out.
    pub fn loose(&self, file: FileId) -> &[StatementId] {
        self.known[file.0 as usize].loose.get_or_init(|| {
            let tree = self.tree(file);
            let mut inside = vec![false; tree.statements.len()];
            for body in &tree.bodies {
                let mut mark = |id: StatementId| inside[id.0 as usize] = true;
                if body.kind != BodyKind::Work {
                    mark(body.head);
                }
                body.inside.iter().copied().for_each(&mut mark);
                body.end.into_iter().for_each(&mut mark);
            }
            (0..tree.statements.len() as u32)
                .map(StatementId)
                .filter(|id| !inside[id.0 as usize])
                .collect()
        })
    }

    /// The `let`s of a file that all its circuits and blocks see. In a file that is one circuit they are the circuit's, seen
    /// from its blocks all the same.
    pub fn of_the_file(&self, file: FileId) -> &[StatementId] {
        self.known[file.0 as usize].of_the_file.get_or_init(|| {
            let tree = self.tree(file);
            let has_circuit = tree.bodies.iter().any(|it| it.kind == BodyKind::Circuit);
            let counts = |id: &StatementId| match tree.statement(*id).kind {
                StatementKind::Let { .. } => true,
                StatementKind::Broken(_) => has_circuit,
                _ => false,
            };
            let loose = self.loose(file).iter();
            loose.copied().filter(counts).collect()
        })
    }

    /// The bodies of the work sheets about a circuit: those that name it, and those among its statements that name none.
    pub fn sheets(&self, circuit: &str, inside: &[StatementId]) -> Vec<usize> {
        let sheets = self.sheets.get_or_init(|| self.all_sheets());
        let mut mine = sheets.named.get(circuit).cloned().unwrap_or_default();
        if !sheets.lone.is_empty() {
            mine.extend(inside.iter().filter_map(|it| sheets.lone.get(it)));
        }
        mine.sort_unstable();
        mine
    }

    fn all_sheets(&self) -> Sheets {
        let (tree, text) = (self.tree(FileId(0)), self.text(FileId(0)));
        let mut sheets = Sheets::default();
        for (index, body) in tree.bodies.iter().enumerate() {
            match &tree.statement(body.head).kind {
                StatementKind::Work {
                    circuit: Some(name),
                    ..
                } => {
                    let key = normal(name.of(text)).into_owned();
                    sheets.named.entry(key).or_default().push(index);
                }
                StatementKind::Work { circuit: None, .. } => {
                    sheets.lone.insert(body.head, index);
                }
                _ => {}
            }
        }
        sheets
    }

    /// The first statement with which the book is larger than what can be built.
    pub fn written_too_much(&self) -> Option<Place> {
        let mut written = 0;
        self.files.iter().zip(0..).find_map(|(file, id)| {
            let beyond = file.tree.statements.iter().find(|it| {
                written += 1 + elements(&it.kind);
                written > MOST_WRITTEN
            })?;
            Some(Place {
                file: FileId(id),
                span: beyond.span,
            })
        })
    }

    /// Whether a block alone is larger than all blocks of a book may be.
    pub fn is_too_big(&self, block: BlockRef) -> bool {
        self.size(block).is_too_big()
    }

    /// Whether one more block may be expanded.
    pub fn may_expand(&self, block: BlockRef, expands: Expands) -> bool {
        let mut all = self.expanded.get();
        let sum = &mut all[usize::from(expands == Expands::ForItself)];
        let next = sum.plus(self.size(block));
        let may = !next.is_too_big();
        if may {
            *sum = next;
            self.expanded.set(all);
        }
        may
    }

    fn size(&self, block: BlockRef) -> Size {
        let sizes = self.sizes.get_or_init(|| self.block_sizes());
        sizes.get(&block).copied().unwrap_or_default()
    }

    /// What blocks hold, found without expanding them. A block inside itself counts for nothing there; it is refused anyway.
    fn block_sizes(&self) -> HashMap<BlockRef, Size> {
        let mut sizes: HashMap<BlockRef, Size> = HashMap::new();
        for start in &self.blocks {
            if sizes.contains_key(start) {
                continue;
            }
            let mut walk = vec![self.contents(*start)];
            sizes.insert(*start, Size::default());
            while let Some((block, size, inside)) = walk.last_mut() {
                match inside.pop() {
                    Some(inner) => match sizes.get(&inner) {
                        // The innermost one that is too big says so; those around it are not to blame.
                        Some(of_inner) if of_inner.is_too_big() => {}
                        Some(of_inner) => *size = size.plus(*of_inner),
                        None => {
                            // Looked at again when it is known.
                            inside.push(inner);
                            sizes.insert(inner, Size::default());
                            walk.push(self.contents(inner));
                        }
                    },
                    None => {
                        sizes.insert(*block, *size);
                        walk.pop();
                    }
                }
            }
        }
        sizes
    }

    /// What stands in a block itself, and the blocks inside it.
    fn contents(&self, block: BlockRef) -> (BlockRef, Size, Vec<BlockRef>) {
        let (tree, text) = (self.tree(block.file), self.text(block.file));
        let mut size = Size {
            elements: 0,
            others: 1,
        };
        let mut inside = Vec::new();
        for id in &tree.bodies[block.body].inside {
            match &tree.statement(*id).kind {
                path @ StatementKind::Path(_) => size.elements += elements(path),
                StatementKind::Device(device) => {
                    let kind = normal(device.kind.of(text));
                    match self.shelf(block.file).blocks.get(kind.as_ref()) {
                        Some(inner) => inside.push(*inner),
                        None => size.others += 1,
                    }
                }
                _ => size.others += 1,
            }
        }
        (block, size, inside)
    }

    /// Whether a misspelt name may be compared with so many others.
    pub fn may_compare(&self, names: usize) -> bool {
        self.compared.set(self.compared.get().saturating_add(names));
        self.compared.get() <= COMPARISONS
    }
}

/// How many elements a statement writes down in its path.
fn elements(statement: &StatementKind) -> usize {
    match statement {
        StatementKind::Path(items) => {
            let element = |it: &&PathItem| matches!(it, PathItem::Element(_));
            items.iter().filter(element).count()
        }
        _ => 0,
    }
}

/// The path that `written` names in the file `from`: relative to its folder, without `.` and `..` where they can be taken out.
pub fn beside(from: &str, written: &str) -> String {
    match from.rfind(['/', '\\']) {
        _ if written.starts_with('/') => normalised(written),
        Some(cut) => normalised(&format!("{}/{}", &from[..cut], written)),
        None => normalised(written),
    }
}

fn normalised(path: &str) -> String {
    let mut parts: Vec<&str> = Vec::new();
    for part in path.split('/') {
        match part {
            "." => {}
            "" if !parts.is_empty() => {}
            ".." if parts.last().is_some_and(|it| !matches!(*it, "" | "..")) => {
                parts.pop();
            }
            _ => parts.push(part),
        }
    }
    parts.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_relative_to_the_file_that_uses() {
        for (from, written, expected) in [
            ("a.amp", "lab.amp", "lab.amp"),
            ("/x/y/a.amp", "lab.amp", "/x/y/lab.amp"),
            ("x/a.amp", "../lab.amp", "lab.amp"),
            ("a.amp", "../lab.amp", "../lab.amp"),
            ("x/a.amp", "/lab.amp", "/lab.amp"),
            ("./x/a.amp", "./b/./lab.amp", "x/b/lab.amp"),
        ] {
            assert_eq!(beside(from, written), expected, "{from} uses {written}");
        }
    }
}
