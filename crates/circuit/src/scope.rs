//! Names: what each one is, in a circuit and inside its blocks, and how a mistake in one is told.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use syntax::{
    FileId, Fix, Name, Place, Span, StatementId, TextEdit, Tree, nearest, normal, same_digits,
    spelled,
};

use crate::files::Library;
use crate::model::*;
use crate::{Fault, FaultKind, Value};

/// What a name stands for in one frame.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) enum What {
    Node(NodeId),
    /// An index into [`Builder::pending`].
    Element(usize),
    /// An index into [`Builder::sources`].
    Source(usize),
    /// An index into [`Builder::opamps`].
    Opamp(usize),
    /// An index into [`Builder::lets`].
    Let(usize),
    /// The two halves of a pot in [`Builder::pending`].
    Pot(usize, usize),
    /// The frame of a block's inside.
    Block(usize),
    /// What a work sheet calls by a name of its own: an index into [`Builder::sheet_lets`].
    SheetLet(usize),
    /// Something that has neither value nor inside: what ("a diode").
    Other(&'static str),
    /// Its own line is wrong, and says so.
    Broken,
}

impl What {
    /// For a sentence: "`R1` is already an element".
    pub fn noun(self) -> &'static str {
        match self {
            What::Node(_) => "a node",
            What::Element(_) => "an element",
            What::Source(_) => "a source",
            What::Opamp(_) => "an op-amp",
            What::Let(_) | What::SheetLet(_) => "a `let`",
            What::Pot(..) => "a pot",
            What::Block(_) => "a block",
            What::Other(noun) => noun,
            What::Broken => "something",
        }
    }
}

/// One set of names: a circuit's, a file's `let`s, or the inside of one block.
#[derive(Debug)]
pub(crate) struct Frame<'t> {
    pub file: FileId,
    /// Before every name in the output: empty, or `F1.`.
    pub prefix: String,
    /// The file's `let`s, seen from a circuit or a block.
    pub outer: Option<usize>,
    pub names: HashMap<Cow<'t, str>, (What, Place)>,
    /// Names on broken lines of this frame.
    pub perhaps: HashSet<String>,
    /// Those of them that stand only on lines which wire nothing: claims, tasks, `let`s.
    pub perhaps_read: HashSet<String>,
    /// Faults here belong to the circuit (else to the file: blocks and file-wide `let`s).
    pub in_circuit: bool,
    /// What a block's op-amps use where they name none.
    pub part: Option<Option<PartId>>,
    pub supply: Option<Supply>,
    /// The frame that holds a block's device.
    pub around: Option<usize>,
    /// How many blocks stand around it.
    pub depth: usize,
    /// The blocks around it, to catch one inside itself.
    pub trail: Vec<crate::files::BlockRef>,
}

/// An element whose value is not worked out yet.
#[derive(Debug)]
pub(crate) struct Pending<'t> {
    pub frame: usize,
    pub name: String,
    pub maker: Maker<'t>,
    pub ends: [Option<NodeId>; 2],
    pub end_places: [Place; 2],
    pub place: Place,
    pub name_place: Place,
    pub description: Option<String>,
    /// Moves into its element once that is made.
    pub value: Step<Box<Made>>,
}

/// What an element's value is worked out from.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Maker<'t> {
    Path(&'t syntax::Element),
    Wire,
    /// `total`, `at`, and whether it is the half between `from` and the wiper.
    PotHalf(&'t syntax::Expr, &'t syntax::Expr, bool),
    Electrolytic(&'t syntax::Expr, Option<&'t syntax::Expr>),
}

/// A worked-out element.
#[derive(Clone, Debug)]
pub(crate) struct Made {
    pub kind: ElementKind,
    pub value: Number,
    pub tolerance: Option<Number>,
    pub rating: Option<Number>,
    pub polarised: bool,
    pub value_place: Place,
}

use syntax::Number;

/// How far something is worked out.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Step<T> {
    Waiting,
    Busy,
    /// `None`: wrong, and a fault says why (or its line is broken).
    Done(Option<T>),
}

/// A `let` or a block's parameter.
#[derive(Debug)]
pub(crate) struct PendingLet<'t> {
    /// Where its expression's names are looked up.
    pub frame: usize,
    pub value: &'t syntax::Expr,
    pub name: String,
    pub place: Place,
    pub uses: Vec<Place>,
    pub description: Option<String>,
    pub state: Step<Value>,
    /// A parameter is no `let` of the circuit.
    pub parameter: bool,
    /// The default whose dimension a given parameter has, and where its names are looked up.
    pub like: Option<(usize, &'t syntax::Expr)>,
}

/// A source or an op-amp whose statement is known and not worked out yet; its id once it is.
#[derive(Debug)]
pub(crate) struct PendingDevice<'t, T, Id> {
    pub frame: usize,
    pub said: &'t T,
    pub place: Place,
    pub description: Option<String>,
    pub id: Option<Id>,
}

/// The most faults of one circuit that are kept.
const MOST_FAULTS: usize = 5_000;

/// Builds one circuit.
pub(crate) struct Builder<'t> {
    pub library: &'t Library,
    pub parts: &'t mut Vec<Part>,
    pub circuit: Circuit,
    /// The circuit's index in the book.
    pub index: usize,
    pub frames: Vec<Frame<'t>>,
    pub file_frames: HashMap<FileId, usize>,
    pub pending: Vec<Pending<'t>>,
    pub element_ids: Vec<Option<ElementId>>,
    pub lets: Vec<PendingLet<'t>>,
    pub sources: Vec<PendingDevice<'t, syntax::Source, SourceId>>,
    pub opamps: Vec<PendingDevice<'t, syntax::Device, OpampId>>,
    /// Rails said at blocks, to be worked out after the sources: outer frame, inner frame, rails, their words.
    pub block_supplies: Vec<(usize, usize, &'t [syntax::Rail], Span)>,
    /// Each block that a device names, and where.
    pub block_uses: Vec<(crate::files::BlockRef, Place)>,
    /// The formulas behind the names of the work sheet that is read at the moment, and how many operands each has.
    pub sheet_lets: Vec<(crate::formula::Typed, usize)>,
    /// How many operands the names in the line of the sheet brought so far.
    pub sheet_operands: usize,
    /// In a work sheet a plain number fits any dimension.
    pub in_sheet: bool,
    pub faults: Vec<Fault>,
    /// The last fault of too many.
    pub lost: Option<Fault>,
    /// Nodes that something may hold whose line is wrong.
    pub perhaps_held: HashSet<NodeId>,
    /// How deep the working out of expressions is nested at the moment.
    pub depth: usize,
}

impl<'t> Builder<'t> {
    pub fn text(&self, frame: usize) -> &'t str {
        let library: &'t Library = self.library;
        library.text(self.frames[frame].file)
    }

    pub fn tree(&self, frame: usize) -> &'t Tree {
        let library: &'t Library = self.library;
        library.tree(self.frames[frame].file)
    }

    pub fn place(&self, frame: usize, span: Span) -> Place {
        Place {
            file: self.frames[frame].file,
            span,
        }
    }

    /// A name as it compares, taken from the text where that has it so.
    pub fn word(&self, frame: usize, name: Name) -> Cow<'t, str> {
        normal(name.of(self.text(frame)))
    }

    pub fn key(&self, frame: usize, name: Name) -> String {
        self.word(frame, name).into_owned()
    }

    /// Records a fault and returns it for more detail.
    pub fn fault(&mut self, frame: usize, span: Span, kind: FaultKind) -> &mut Fault {
        let mut fault = Fault::new(self.place(frame, span), kind);
        fault.circuit = self.frames[frame].in_circuit.then_some(self.index);
        // Of more nobody is told.
        if self.faults.len() > MOST_FAULTS {
            return self.lost.insert(fault);
        }
        self.faults.push(fault);
        self.faults.last_mut().expect("just pushed")
    }

    /// Gives `name` a meaning in a frame; a fault where it already has one.
    pub fn declare(&mut self, frame: usize, name: Name, what: What) -> bool {
        let key = self.word(frame, name);
        let place = self.place(frame, name);
        if matches!(&*key, "ground" | "end") {
            self.fault(
                frame,
                name,
                FaultKind::NameTaken {
                    name: key.into_owned(),
                    is: "reserved",
                    line: None,
                },
            );
            return false;
        }
        let outer = self.frames[frame]
            .outer
            .and_then(|outer| self.frames[outer].names.get(&key));
        // A block's inside may not hide its file's `let`s either.
        if let Some((first, at)) = self.frames[frame].names.get(&key).or(outer).copied() {
            let line = self.library.line(at);
            let key = key.into_owned();
            let fault = self.fault(
                frame,
                name,
                FaultKind::NameTaken {
                    name: key.clone(),
                    is: first.noun(),
                    line: Some(line),
                },
            );
            fault
                .related
                .push((at, format!("`{key}` is {} here", first.noun())));
            fault.subjects.push(key);
            return false;
        }
        self.frames[frame].names.insert(key, (what, place));
        true
    }

    /// The node of this name, made where it is new. `None`: the name is something else (a fault says so).
    pub fn node(&mut self, frame: usize, name: Name, description: Option<&str>) -> Option<NodeId> {
        let key = self.word(frame, name);
        let place = self.place(frame, name);
        if key == "ground" {
            self.circuit.nodes[0].places.push(place);
            return Some(GROUND);
        }
        if key.contains('.') {
            // A port is wired under the name of the node around it.
            let port = match self.find(frame, &key) {
                Some(What::Node(id)) => Some(self.circuit.node_name(id).to_owned()),
                _ => None,
            };
            let prefix = self.frames[frame].prefix.clone();
            let own = port.and_then(|it| it.strip_prefix(&prefix).map(str::to_owned));
            let fault = self.fault(frame, name, FaultKind::InsideName(key.into_owned()));
            let fixes = own.filter(|it| !it.contains('.'));
            fault.fixes.extend(fixes.map(|it| replace(name, it, false)));
            return None;
        }
        if let Some((What::Node(id), _)) = self.frames[frame].names.get(&key) {
            let id = *id;
            self.circuit.nodes[id.index()].places.push(place);
            return Some(id);
        }
        let id = NodeId(self.circuit.nodes.len() as u32);
        if !self.declare(frame, name, What::Node(id)) {
            // A source's name where its node is meant: the rest of the circuit is as if it stood there.
            return self.held_by(frame, &key);
        }
        let full = format!("{}{key}", self.frames[frame].prefix);
        self.circuit.nodes.push(Node {
            name: full,
            named: true,
            places: vec![place],
            description: description.map(str::to_owned),
        });
        Some(id)
    }

    /// The node that a source of this name holds against ground.
    fn held_by(&self, frame: usize, key: &str) -> Option<NodeId> {
        let Some(What::Source(index)) = self.find(frame, key) else {
            return None;
        };
        let it = self.sources.get(index).filter(|it| it.frame == frame)?;
        let syntax::SourceForm::Held { plus, minus: None } = it.said.form else {
            return None;
        };
        match self.find(frame, &self.key(frame, plus)) {
            Some(What::Node(node)) => Some(node),
            _ => None,
        }
    }

    /// What a REF stands for, points followed into blocks; no fault.
    pub fn find(&self, frame: usize, key: &str) -> Option<What> {
        if key == "ground" {
            return Some(What::Node(GROUND));
        }
        if let Some((what, _)) = self.own(frame, key) {
            return Some(what);
        }
        let (first, rest) = key.split_once('.')?;
        match self.own(frame, first)?.0 {
            What::Block(inner) => self.find(inner, rest),
            What::Pot(from, to) => match rest {
                "from" => Some(What::Element(from)),
                "to" => Some(What::Element(to)),
                _ => None,
            },
            What::Broken => Some(What::Broken),
            _ => None,
        }
    }

    fn own(&self, frame: usize, key: &str) -> Option<(What, Place)> {
        let it = &self.frames[frame];
        it.names
            .get(key)
            .or_else(|| self.frames[it.outer?].names.get(key))
            .copied()
    }

    /// What a REF stands for; an unknown name is a fault, unless a broken line names it.
    pub fn resolve(&mut self, frame: usize, name: Name, wanted: &'static str) -> Option<What> {
        let key = self.word(frame, name);
        if let Some(what) = self.find(frame, &key) {
            if let What::Node(id) = what {
                let place = self.place(frame, name);
                self.circuit.nodes[id.index()].places.push(place);
            }
            return Some(what);
        }
        if !self.perhaps(frame, &key) {
            self.unknown_name(frame, name, wanted);
        }
        None
    }

    /// Whether a broken line may have brought this name.
    pub fn perhaps(&self, frame: usize, key: &str) -> bool {
        let it = &self.frames[frame];
        let first = key.split('.').next().unwrap_or(key);
        let named =
            |frame: &Frame<'t>| frame.perhaps.contains(key) || frame.perhaps.contains(first);
        named(it) || it.outer.is_some_and(|outer| named(&self.frames[outer]))
    }

    /// "There is no node `uot`", with the nearest names as fixes.
    pub fn unknown_name(&mut self, frame: usize, name: Name, wanted: &'static str) {
        let key = self.key(frame, name);
        let it = &self.frames[frame];
        let outer = it.outer.map(|outer| &self.frames[outer].names);
        let count = it.names.len() + outer.map_or(0, HashMap::len);
        let may = self.library.may_compare(count);
        let near = may.then(|| {
            let all = it.names.iter().chain(outer.into_iter().flatten());
            let mut known: Vec<&str> = all
                .filter(|(_, (what, _))| fits(wanted, *what))
                .map(|(name, _)| &**name)
                .filter(|it| {
                    key.ends_with(*it) || key.starts_with(*it) || spelled([*it], &key).is_some()
                })
                .filter(|it| !are_other_things(it, &key))
                .collect();
            if matches!(wanted, "node" | "name") {
                known.push("ground");
            }
            // Of equally near ones, one that begins alike: `R3` is rather `R2` than `A3`.
            let first = key.chars().next();
            known.sort_unstable_by_key(|it| (it.chars().next() != first, *it));
            self.nearest_names(frame, &key, wanted, known)
        });
        let near = match near {
            Some(near) if near.is_empty() => self.inside_blocks(frame, &key, wanted),
            near => near.unwrap_or_default(),
        };
        // Of very many none is likelier than the others.
        let mut offered = near.into_iter().take(4).collect::<Vec<_>>();
        if offered.len() > 3 {
            offered.truncate(if key.contains('.') { 3 } else { 0 });
        }
        let fixes = respelled(name, &key, &offered);
        let mut offered = offered.into_iter();
        let kind = FaultKind::UnknownName {
            name: key.clone(),
            wanted,
            nearest: offered.next(),
            also: offered.collect(),
        };
        let fault = self.fault(frame, name, kind);
        fault.subjects.push(key);
        fault.fixes.extend(fixes);
    }

    /// What has this name inside the blocks of a frame.
    fn inside_blocks(&self, frame: usize, key: &str, wanted: &str) -> Vec<String> {
        let outer = self.frames[frame].outer.map(|it| &self.frames[it].names);
        let blocks = self.frames[frame]
            .names
            .iter()
            .chain(outer.into_iter().flatten());
        let found = blocks.filter_map(|(block, (what, _))| {
            let What::Block(inner) = what else {
                return None;
            };
            let (what, _) = self.frames[*inner].names.get(key)?;
            fits(wanted, *what).then(|| format!("{block}.{key}"))
        });
        let mut found: Vec<String> = found.collect();
        found.sort_unstable();
        found
    }

    /// The names that were perhaps meant: another spelling, of equally near ones all; else the only one there is.
    fn nearest_names(
        &self,
        frame: usize,
        key: &str,
        wanted: &str,
        known: Vec<&str>,
    ) -> Vec<String> {
        if let Some(name) = self.said_otherwise(frame, key, wanted, &known) {
            return name.into_iter().collect();
        }
        let near = nearest(known.iter().copied(), key);
        if !near.is_empty() {
            // `RI` looks like `R1`.
            let looks = |it: &str| it.replace(['I', 'l'], "1").replace('O', "0");
            if let Some(look) = near.iter().find(|it| looks(it) == looks(key)) {
                return vec![(*look).to_owned()];
            }
            let first = key.chars().next();
            let alike = near.iter().filter(|it| it.chars().next() == first);
            let alike: Vec<String> = alike.map(|it| (*it).to_owned()).collect();
            return match alike.as_slice() {
                [] => near.into_iter().map(str::to_owned).collect(),
                _ => alike,
            };
        }
        if wanted == "op-amp" {
            let names = self.frames[frame].names.iter();
            let mut all = names.filter(|(_, (what, _))| fits(wanted, *what));
            let only = all.next().filter(|_| all.next().is_none());
            return only.map(|it| it.0.to_string()).into_iter().collect();
        }
        // `output` for `out`
        let mut begun = known
            .iter()
            .filter(|it| it.len() > 1 && key.starts_with(**it));
        let begun = begun.next().filter(|_| begun.next().is_none());
        begun
            .filter(|_| wanted != "value")
            .map(|it| (*it).to_owned())
            .into_iter()
            .collect()
    }

    /// What has this name in other words: `V_out` for `out`, `gnd` for `ground`, a part of a block. `None`: it is no such
    /// name.
    fn said_otherwise(
        &self,
        frame: usize,
        key: &str,
        wanted: &str,
        known: &[&str],
    ) -> Option<Option<String>> {
        match (wanted, self.find(frame, key)) {
            ("op-amp", Some(What::Node(_))) => return Some(self.driver_of(frame, key)),
            ("node", Some(what @ (What::Opamp(_) | What::Source(_)))) => {
                return Some(self.node_of(frame, what));
            }
            ("source", Some(What::Node(_))) => return Some(self.holder_of(frame, key)),
            _ => {}
        }
        if matches!(wanted, "node" | "name") {
            if syntax::means_ground(key) {
                return Some(Some("ground".to_owned()));
            }
            let bare = key.strip_prefix(['V', 'v', 'U', 'u']);
            let bare = bare.map(|it| it.strip_prefix('_').unwrap_or(it));
            if let Some(node) = bare.filter(|it| known.contains(it)) {
                return Some(Some(node.to_owned()));
            }
        }
        if let Some((first, rest)) = key.split_once('.') {
            if let Some((What::Block(inner), _)) = self.own(frame, first) {
                let names = self.frames[inner].names.iter();
                let fitting = names.filter(|(_, (what, _))| fits(wanted, *what));
                let mut names: Vec<&str> = fitting.map(|it| &**it.0).collect();
                names.sort_unstable();
                let only = match names.as_slice() {
                    [only] if wanted == "op-amp" => Some(*only),
                    _ => None,
                };
                let meant = only.or_else(|| spelled(names, rest));
                return Some(meant.map(|it| format!("{first}.{it}")));
            }
            let mut blocks: Vec<&str> = self.frames[frame]
                .names
                .iter()
                .filter(|(_, (what, _))| matches!(what, What::Block(_)))
                .map(|(key, _)| &**key)
                .collect();
            blocks.sort_unstable();
            return Some(spelled(blocks, first).map(|it| format!("{it}.{rest}")));
        }
        None
    }

    /// The source of this frame that holds a node against ground, if there is one alone.
    fn holder_of(&self, frame: usize, node: &str) -> Option<String> {
        let holding = self.sources.iter().filter(|it| match it.said.form {
            syntax::SourceForm::Held { plus, minus: None } => {
                it.frame == frame && self.key(frame, plus) == node
            }
            _ => false,
        });
        let mut names = holding.map(|it| self.key(frame, it.said.name));
        names.next().filter(|_| names.next().is_none())
    }

    /// The op-amp of this frame whose output is a node, if there is one alone.
    fn driver_of(&self, frame: usize, node: &str) -> Option<String> {
        let driven = self.opamps.iter().filter(|it| {
            let drives = self
                .clause(it.said, it.frame, "drives")
                .map(|it| &it.argument);
            let name = match drives {
                Some(syntax::Argument::Name(name)) => self.key(it.frame, *name),
                _ => return false,
            };
            it.frame == frame && name == node
        });
        let mut names = driven.map(|it| self.key(frame, it.said.name));
        names.next().filter(|_| names.next().is_none())
    }

    /// "There is no device `opmap`", with the nearest word as a fix.
    pub fn unknown_word<'w>(
        &mut self,
        frame: usize,
        word: Name,
        wanted: &'static str,
        known: impl IntoIterator<Item = &'w str>,
    ) {
        let written = self.key(frame, word);
        let near = nearest(known, &written).into_iter().take(3);
        let near: Vec<String> = near.map(str::to_owned).collect();
        let fixes = respelled(word, &written, &near);
        let kind = FaultKind::UnknownWord {
            word: written,
            wanted,
            nearest: near.into_iter().next(),
        };
        self.fault(frame, word, kind).fixes.extend(fixes);
    }

    /// A line that wires something and is wrong has this name.
    pub fn perhaps_named(&mut self, frame: usize, key: String) {
        let it = &mut self.frames[frame];
        it.perhaps_read.remove(&key);
        it.perhaps.insert(key);
    }

    /// Nothing may be concluded from what these nodes lack; perhaps something holds them.
    pub fn doubt(&mut self, nodes: impl IntoIterator<Item = NodeId>) {
        let nodes: Vec<NodeId> = nodes.into_iter().collect();
        self.perhaps_held.extend(&nodes);
        self.doubt_ends(nodes);
    }

    /// Nothing may be concluded from what these ends of an element lack.
    pub fn doubt_ends(&mut self, nodes: impl IntoIterator<Item = NodeId>) {
        self.circuit.perhaps.incomplete = true;
        self.circuit
            .perhaps
            .nodes
            .extend(nodes.into_iter().filter(|it| *it != GROUND));
    }

    /// The `##` text of a statement, without its signs.
    pub fn description(&self, frame: usize, statement: StatementId) -> Option<String> {
        let span = self.tree(frame).statements[statement.0 as usize].description?;
        describe(span.of(self.text(frame)))
    }
}

/// Whether two names differ in the one letter before their number: `R1` is no `A1` misspelt.
fn are_other_things(a: &str, b: &str) -> bool {
    let split = |it: &str| {
        let first = it.chars().next()?;
        let rest = it[first.len_utf8()..].to_owned();
        let number = !rest.is_empty() && rest.bytes().all(|it| it.is_ascii_digit());
        number.then_some((first.to_ascii_lowercase(), rest))
    };
    matches!((split(a), split(b)), (Some(a), Some(b)) if a.0 != b.0)
}

/// Whether something is of the kind that was looked for.
fn fits(wanted: &str, what: What) -> bool {
    match wanted {
        "node" => matches!(what, What::Node(_)),
        "op-amp" => matches!(what, What::Opamp(_)),
        "source" => matches!(what, What::Source(_)),
        _ => true,
    }
}

/// `##` lines without their signs; comments between them left out.
pub(crate) fn describe(text: &str) -> Option<String> {
    let lines: Vec<&str> = text
        .lines()
        .filter_map(|line| line.trim_start().strip_prefix("##"))
        .map(str::trim)
        .collect();
    (!lines.is_empty()).then(|| lines.join("\n"))
}

/// "write `x`" for each name that may be meant: surely only where there is one alone, and it has the same digits.
pub(crate) fn respelled(span: Span, written: &str, near: &[String]) -> Vec<Fix> {
    let safe = |it: &str| near.len() == 1 && same_digits(it, written);
    let fixes = near.iter().map(|it| replace(span, it.as_str(), safe(it)));
    fixes.collect()
}

/// "write `x`", replacing a span.
pub(crate) fn replace(span: Span, text: impl Into<String>, safe: bool) -> Fix {
    let text = text.into();
    Fix {
        title: format!("write `{text}`"),
        safe,
        edits: vec![TextEdit { span, text }],
    }
}
