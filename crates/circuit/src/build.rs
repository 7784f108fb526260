//! The walk over a whole book: files, parts, blocks, then each circuit in four passes (names, values, sources and op-amps,
//! claims).

use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use syntax::{BodyKind, FileId, Place, Span, StatementId, StatementKind};

use crate::files::{BlockRef, Library, WRITTEN, load};
use crate::mend::{is_first, join_unknown, ports_left_out, ports_not_said, reserved};
use crate::model::*;
use crate::scope::{Builder, Frame};
use crate::{Block, Book, Fault, FaultKind, classes};

/// Builds every circuit of a text. `path` names the file (and a circuit without a name); `read` gives the text behind
/// another file's path, or `None` where there is none inside the workspace.
pub fn build(path: &str, text: Arc<str>, read: &mut dyn FnMut(&str) -> Option<Arc<str>>) -> Book {
    let mut faults = Vec::new();
    let library = load(path, text, read, &mut faults);
    if let Some(place) = library.written_too_much() {
        faults.push(Fault::new(place, FaultKind::TooBig(WRITTEN)));
        return Book {
            files: library.files,
            faults,
            ..Book::default()
        };
    }
    let said = said_circuits(&library, path);
    // In a file that is one circuit the `let`s are the circuit's; else they are the file's.
    let of_file = said.iter().all(|it| !it.lone);
    let mut parts = read_parts(&library, of_file, &mut faults);
    let mut block_uses = Vec::new();
    let mut circuits = Vec::new();
    for (index, said) in said.into_iter().enumerate() {
        let builder = circuit(&library, &mut parts, said, index);
        circuits.push(builder.circuit);
        faults.extend(builder.faults);
        block_uses.extend(builder.block_uses);
    }
    faults.extend(circuits_of_one_name(&circuits));
    faults.extend(unknown_sheets(&library, &circuits));
    let (found, uses) = checked_blocks(&library, &mut parts);
    faults.extend(found);
    block_uses.extend(uses);
    let mut uses_of: HashMap<BlockRef, Vec<Place>> = HashMap::new();
    for (block, place) in block_uses {
        uses_of.entry(block).or_default().push(place);
    }
    let blocks = library.blocks.iter().filter_map(|it| {
        let tree = library.tree(it.file);
        let StatementKind::Block { name, .. } =
            tree.statements[tree.bodies[it.body].head.0 as usize].kind
        else {
            return None;
        };
        Some(Block {
            name: syntax::normal(name.of(library.text(it.file))).into_owned(),
            place: Place {
                file: it.file,
                span: name,
            },
            uses: uses_of.get(it).cloned().unwrap_or_default(),
        })
    });
    let blocks: Vec<Block> = blocks.collect();
    let mut files = library.files;
    if parts
        .iter()
        .any(|it| it.place.file.0 as usize == files.len())
    {
        files.push(classes::file());
    }
    let mut seen = HashSet::new();
    faults.retain(|it| seen.insert((it.place, it.kind.id())));
    let faults = reserved(ports_left_out(ports_not_said(faults)));
    let mut faults = join_unknown(faults, || unused(&circuits, &parts, &blocks));
    faults.sort_by_key(|it| (it.place.file, it.place.span));
    Book {
        files,
        circuits,
        parts,
        blocks,
        faults,
    }
}

/// A circuit is asked for by its name: each has one of its own, and none that is reserved.
fn circuits_of_one_name(circuits: &[Circuit]) -> Vec<Fault> {
    let mut first: HashMap<&str, Place> = HashMap::new();
    let mut faults = Vec::new();
    let named = circuits.iter().enumerate();
    for (index, it) in named.filter(|(_, it)| it.place.span.start < it.place.span.end) {
        let reserved = matches!(it.name.as_str(), "ground" | "end");
        let taken = first.get(it.name.as_str()).copied();
        first.entry(&it.name).or_insert(it.place);
        if !reserved && taken.is_none() {
            continue;
        }
        let kind = FaultKind::NameTaken {
            name: it.name.clone(),
            is: if reserved { "reserved" } else { "a circuit" },
            line: None,
        };
        let mut fault = Fault::new(it.place, kind);
        fault.circuit = Some(index);
        let above = taken.map(|at| (at, format!("`{}` is a circuit here", it.name)));
        fault.related.extend(above);
        faults.push(fault);
    }
    faults
}

/// The `let`s, parts and blocks of the first file that nothing uses.
fn unused(circuits: &[Circuit], parts: &[Part], blocks: &[Block]) -> Vec<(String, Place)> {
    let mut lets: HashMap<Place, (&str, bool)> = HashMap::new();
    for it in circuits.iter().flat_map(|it| &it.lets) {
        lets.entry(it.place).or_insert((&it.name, false)).1 |= !it.uses.is_empty();
    }
    let lets = lets.into_iter().filter(|(_, (_, used))| !used);
    let lets = lets.map(|(place, (name, _))| (name.to_owned(), place));
    let parts = parts.iter().filter(|it| it.uses.is_empty());
    let blocks = blocks.iter().filter(|it| it.uses.is_empty());
    lets.chain(parts.map(|it| (it.name.clone(), it.place)))
        .chain(blocks.map(|it| (it.name.clone(), it.place)))
        .filter(|(name, place)| is_first(*place) && !name.is_empty())
        .collect()
}

/// A circuit as the text says it.
struct Said {
    name: String,
    title: Option<String>,
    place: Place,
    extent: Place,
    inside: Vec<StatementId>,
    /// Statements before the first circuit that are broken: what they name is perhaps known here.
    lone: bool,
}

fn said_circuits(library: &Library, path: &str) -> Vec<Said> {
    let root = FileId(0);
    let (tree, text) = (library.tree(root), library.text(root));
    let heads: Vec<_> = tree
        .bodies
        .iter()
        .filter(|it| it.kind == BodyKind::Circuit)
        .collect();
    let place = |span: Span| Place { file: root, span };
    if heads.is_empty() {
        let inside = library.loose(root).to_vec();
        let wired = inside
            .iter()
            .any(|id| match &tree.statements[id.0 as usize].kind {
                StatementKind::Version(_) | StatementKind::Use(_) | StatementKind::End => false,
                StatementKind::Let { .. } | StatementKind::Work { .. } => false,
                StatementKind::Broken(broken) => broken.wires,
                _ => true,
            });
        if !wired {
            return Vec::new();
        }
        let file = path.rsplit(['/', '\\']).next().unwrap_or(path);
        let name = file.strip_suffix(".amp").unwrap_or(file).to_owned();
        let whole = place(Span::new(0, text.len()));
        return vec![Said {
            name,
            title: None,
            place: place(Span::default()),
            extent: whole,
            inside,
            lone: true,
        }];
    }
    let starts: Vec<u32> = heads
        .iter()
        .map(|it| tree.statements[it.head.0 as usize].span.start)
        .collect();
    heads
        .iter()
        .enumerate()
        .map(|(index, body)| {
            let head = &tree.statements[body.head.0 as usize];
            let end = starts.get(index + 1).copied().unwrap_or(text.len() as u32);
            let extent = place(Span {
                start: head.span.start,
                end,
            });
            let (name, title, at) = match &head.kind {
                StatementKind::Circuit { name, title } => {
                    let title: Vec<&str> = title
                        .iter()
                        .map(|it| it.of(text).trim_matches('"'))
                        .collect();
                    let title = (!title.is_empty()).then(|| title.join(" "));
                    (syntax::normal(name.of(text)).into_owned(), title, *name)
                }
                _ => (format!("circuit_{}", index + 1), None, head.span),
            };
            Said {
                name,
                title,
                place: place(at),
                extent,
                inside: body.inside.clone(),
                lone: false,
            }
        })
        .collect()
}

fn builder<'t>(library: &'t Library, parts: &'t mut Vec<Part>, index: usize) -> Builder<'t> {
    let ground = Node {
        name: "ground".to_owned(),
        named: true,
        places: Vec::new(),
        description: None,
    };
    Builder {
        library,
        parts,
        circuit: Circuit {
            nodes: vec![ground],
            ..Circuit::default()
        },
        index,
        frames: Vec::new(),
        file_frames: HashMap::new(),
        pending: Vec::new(),
        element_ids: Vec::new(),
        lets: Vec::new(),
        sources: Vec::new(),
        opamps: Vec::new(),
        block_supplies: Vec::new(),
        block_uses: Vec::new(),
        sheet_lets: Vec::new(),
        sheet_operands: 0,
        in_sheet: false,
        faults: Vec::new(),
        lost: None,
        perhaps_held: HashSet::new(),
        depth: 0,
    }
}

fn frame<'t>(file: FileId, outer: Option<usize>, in_circuit: bool) -> Frame<'t> {
    Frame {
        file,
        prefix: String::new(),
        outer,
        names: HashMap::new(),
        perhaps: HashSet::new(),
        perhaps_read: HashSet::new(),
        in_circuit,
        part: None,
        supply: None,
        around: None,
        depth: 0,
        trail: Vec::new(),
    }
}

fn circuit<'t>(
    library: &'t Library,
    parts: &'t mut Vec<Part>,
    said: Said,
    index: usize,
) -> Builder<'t> {
    let root = FileId(0);
    let mut builder = builder(library, parts, index);
    builder.circuit.name = said.name;
    builder.circuit.title = said.title;
    builder.circuit.place = said.place;
    builder.circuit.extent = said.extent;
    // In a file that is one circuit its `let`s are the circuit's own.
    let outer = (!said.lone).then(|| builder.file_frame(root));
    let own = builder.frames.len();
    builder.frames.push(frame(root, outer, true));
    if said.lone {
        builder.file_frames.insert(root, own);
    }
    builder.declare_all(own, &said.inside);
    builder.work_out_values();
    builder.work_out_sources();
    builder.work_out_block_supplies();
    builder.work_out_opamps(own, &said.inside);
    builder.claims(own, &said.inside);
    builder.sheets(own, &said.inside);
    builder.exchange_names(own);
    builder.blame_lets();
    builder.rename_taken(own);
    builder.gather();
    builder
}

impl Builder<'_> {
    /// Last words: `let`s with their values, and the nodes that broken lines name.
    fn gather(&mut self) {
        for it in std::mem::take(&mut self.lets) {
            if it.parameter
                || self.frames[it.frame].file != FileId(0)
                || !self.frames[it.frame].prefix.is_empty()
            {
                continue;
            }
            let value = match it.state {
                crate::scope::Step::Done(value) => value,
                _ => None,
            };
            self.circuit.lets.push(Let {
                name: it.name,
                value,
                place: it.place,
                uses: it.uses,
                description: it.description,
            });
        }
        self.circuit.lets.sort_by_key(|it| it.place.span);
        for frame in 0..self.frames.len() {
            let names: Vec<String> = self.frames[frame].perhaps.iter().cloned().collect();
            for name in names {
                if let Some(crate::scope::What::Node(node)) = self.find(frame, &name)
                    && node != GROUND
                    && !self.frames[frame].perhaps_read.contains(&name)
                {
                    self.circuit.perhaps.nodes.insert(node);
                }
                self.circuit.perhaps.names.insert(name);
            }
        }
        self.circuit.later.sort_by_key(|it| it.place);
        for node in &mut self.circuit.nodes {
            node.places.sort();
            node.places.dedup();
        }
    }
}

/// Parts are read once, in the scope of their own file's `let`s.
fn read_parts(library: &Library, of_file: bool, faults: &mut Vec<Fault>) -> Vec<Part> {
    let mut none = Vec::new();
    let mut builder = builder(library, &mut none, 0);
    let parts = library
        .parts
        .iter()
        .map(|it| builder.read_part(*it))
        .collect();
    // `let`s that nothing else reads are checked here too.
    if of_file {
        builder.file_frame(FileId(0));
        for index in 0..builder.lets.len() {
            builder.let_value(index);
        }
    }
    faults.extend(builder.faults);
    parts
}

/// Blocks are checked even where no circuit uses them: each is expanded once, its ports hanging free.
fn checked_blocks(
    library: &Library,
    parts: &mut Vec<Part>,
) -> (Vec<Fault>, Vec<(BlockRef, Place)>) {
    let (mut faults, mut uses) = (Vec::new(), Vec::new());
    for block in library.blocks.iter().filter(|it| it.file == FileId(0)) {
        let mut builder = builder(library, parts, 0);
        let outer = builder.file_frame(block.file);
        builder.check_block(outer, *block);
        builder.blame_lets();
        faults.extend(builder.faults.into_iter().map(|it| Fault {
            circuit: None,
            ..it
        }));
        uses.extend(builder.block_uses);
    }
    (faults, uses)
}

/// Sheets for a circuit that neither this file nor one that it uses has.
fn unknown_sheets(library: &Library, circuits: &[Circuit]) -> Vec<Fault> {
    let root = FileId(0);
    let (tree, text) = (library.tree(root), library.text(root));
    let mut names: BTreeSet<String> = circuits.iter().map(|it| it.name.clone()).collect();
    for (index, file) in library.files.iter().enumerate().skip(1) {
        for statement in &file.tree.statements {
            if let StatementKind::Circuit { name, .. } = statement.kind {
                names.insert(
                    syntax::normal(name.of(library.text(FileId(index as u32)))).into_owned(),
                );
            }
        }
    }
    let mut faults = Vec::new();
    for statement in &tree.statements {
        let StatementKind::Work {
            circuit: Some(name),
            ..
        } = &statement.kind
        else {
            continue;
        };
        let key = syntax::normal(name.of(text)).into_owned();
        if names.contains(&key) || library.shelf(root).incomplete {
            continue;
        }
        let compared = library.may_compare(names.len()).then_some(&names);
        let known = compared.into_iter().flatten().map(String::as_str);
        let near = syntax::nearest(known, &key).into_iter().take(3);
        let near: Vec<String> = near.map(str::to_owned).collect();
        let fixes = crate::scope::respelled(*name, &key, &near);
        let mut near = near.into_iter();
        let kind = FaultKind::UnknownName {
            name: key,
            wanted: "circuit",
            nearest: near.next(),
            also: near.collect(),
        };
        let mut fault = Fault::new(
            Place {
                file: root,
                span: *name,
            },
            kind,
        );
        fault.fixes.extend(fixes);
        faults.push(fault);
    }
    faults
}
