//! What each home of a book holds, and which homes a line sees.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use circuit::Book;
use syntax::{
    Argument, BodyKind, Device, PathItem, SourceForm, Span, StatementId, StatementKind, Tree,
    normal,
};

use super::{Home, Key, Kind};

/// A home in one of the book's files.
pub(super) type Scope = (usize, Home);

/// What all files of a book declare.
#[derive(Debug, Default)]
pub(super) struct Tables {
    pub(super) files: Vec<Table>,
    /// The files that come with the tool.
    shipped: Vec<usize>,
}

/// What one file declares.
#[derive(Debug, Default)]
pub(super) struct Table {
    pub(super) path: Arc<str>,
    homes: HashMap<Home, HashMap<String, Declared>>,
    /// Of each statement.
    pub(super) home: Vec<Home>,
    /// Where each statement begins.
    starts: Vec<u32>,
    /// What the heads of bodies open, and the heads of the bodies that an `end` closes.
    opened: HashMap<StatementId, Home>,
    closed: HashMap<StatementId, StatementId>,
    /// What is seen beyond a home: of a work sheet its circuit, of a circuit or a block the file's `let`s.
    outer: HashMap<Home, Scope>,
    /// Blocks by their names: their bodies, ports and parameters.
    blocks: HashMap<String, (usize, Vec<(String, Kind)>)>,
    /// The files that it uses.
    uses: Vec<usize>,
}

/// A name's first place.
#[derive(Clone, Debug)]
pub(super) struct Declared {
    pub(super) kind: Kind,
    pub(super) first: Span,
    /// The block that a device is made of.
    pub(super) block: Option<String>,
}

/// Clauses of devices whose bare name is no node.
const NOT_NODES: [&str; 2] = ["part", "supply"];

impl Tables {
    pub(super) fn of(book: &Book) -> Tables {
        let mut tables = Tables::default();
        for (index, file) in book.files.iter().enumerate() {
            let mut table = Table::new(index, &file.path, &file.tree, &file.text);
            for statement in &file.tree.statements {
                if let StatementKind::Use(text) = statement.kind {
                    let path = circuit::beside(&file.path, text.of(&file.text).trim_matches('"'));
                    table
                        .uses
                        .extend(book.files.iter().position(|it| it.path == path));
                }
            }
            tables.files.push(table);
        }
        // What no text brings in comes with the tool, and every text sees it.
        let used: HashSet<usize> = tables.files.iter().flat_map(|it| it.uses.clone()).collect();
        tables.shipped = (1..tables.files.len())
            .filter(|it| !used.contains(it))
            .collect();
        for (index, file) in book.files.iter().enumerate() {
            let declared = tables.declarations(index, &file.tree, &file.text);
            for (home, name, it) in declared {
                tables.files[index].declare(home, name, it);
            }
        }
        for (index, file) in book.files.iter().enumerate() {
            let sheets = tables.sheets(index, &file.tree, &file.text);
            tables.files[index].outer.extend(sheets);
        }
        tables
    }

    /// What a name stands for: in its home, or in those beyond it.
    pub(super) fn find(&self, mut scope: Scope, name: &str) -> Option<(Scope, &Declared)> {
        // A sheet, its circuit, the file: never more.
        for _ in 0..3 {
            let table = self.files.get(scope.0)?;
            if let Some(it) = table.homes.get(&scope.1).and_then(|it| it.get(name)) {
                return Some((scope, it));
            }
            scope = *table.outer.get(&scope.1)?;
        }
        None
    }

    /// A part, a block or a circuit that a file sees: its own, or one of a file that it uses.
    pub(super) fn on_shelf(
        &self,
        file: usize,
        home: Home,
        name: &str,
    ) -> Option<(Scope, &Declared)> {
        self.shelf_files(file).find_map(|it| {
            let declared = self.files[it].homes.get(&home)?.get(name)?;
            Some(((it, home), declared))
        })
    }

    /// A file and those that it uses.
    fn own_files(&self, file: usize) -> impl Iterator<Item = usize> + '_ {
        let uses = self.files.get(file).map_or(&[][..], |it| &it.uses);
        [file].into_iter().chain(uses.iter().copied())
    }

    fn shelf_files(&self, file: usize) -> impl Iterator<Item = usize> + '_ {
        self.own_files(file).chain(self.shipped.iter().copied())
    }

    pub(super) fn taken(&self, new: &Key, old: &Key) -> Option<(usize, Span, Kind)> {
        let found = |scope: Scope, it: &Declared| (scope.0, it.first, it.kind);
        let file = self.files.iter().position(|it| it.path == new.file)?;
        if matches!(new.home, Home::Parts | Home::Blocks | Home::Circuits) {
            let seen = [0, file].into_iter();
            return seen
                .filter_map(|it| self.on_shelf(it, new.home, &new.name))
                .map(|(scope, it)| found(scope, it))
                .next();
        }
        if let Some((scope, it)) = self.find((file, new.home), &new.name) {
            return Some(found(scope, it));
        }
        // Where the old name is seen the new one may not hide behind another.
        for (index, table) in self.files.iter().enumerate() {
            for (home, names) in &table.homes {
                let sees = self.find((index, *home), &old.name);
                if sees.is_some_and(|it| it.0 == (file, old.home))
                    && let Some(it) = names.get(&new.name)
                    && !matches!(home, Home::Parts | Home::Blocks | Home::Circuits)
                {
                    return Some((index, it.first, it.kind));
                }
            }
        }
        None
    }

    /// The inside of a block that a file sees.
    pub(super) fn block(&self, file: usize, name: &str) -> Option<(Scope, &[(String, Kind)])> {
        self.shelf_files(file).find_map(|it| {
            let (body, ports) = self.files[it].blocks.get(name)?;
            Some(((it, Home::Body(*body)), &ports[..]))
        })
    }

    /// The file of a thing, by its index in the book, and the first place of its name there; `None` of what comes with the tool.
    pub(super) fn first(&self, key: &Key) -> Option<(usize, Span)> {
        let file = self.files.iter().position(|it| it.path == key.file)?;
        let declared = self.files[file].homes.get(&key.home)?.get(&key.name)?;
        (!self.shipped.contains(&file)).then_some((file, declared.first))
    }

    pub(super) fn key_at(&self, offset: u32, name: &str) -> Option<Key> {
        let ((file, home), _) = self.find((0, self.home_at(offset)), name)?;
        let file = self.files[file].path.clone();
        Some(Key {
            file,
            home,
            name: name.to_owned(),
        })
    }

    pub(super) fn known_at(&self, offset: u32, name: &str) -> Option<(Home, Kind)> {
        let (scope, declared) = self.find((0, self.home_at(offset)), name)?;
        Some((scope.1, declared.kind))
    }

    pub(super) fn visible_at(&self, offset: u32) -> Vec<(&str, Kind)> {
        let mut scope = Some((0, self.home_at(offset)));
        let mut names = Vec::new();
        for _ in 0..3 {
            let Some((file, home)) = scope else { break };
            let Some(table) = self.files.get(file) else {
                break;
            };
            let own = table.homes.get(&home).into_iter().flatten();
            names.extend(own.map(|(name, it)| (name.as_str(), it.kind)));
            scope = table.outer.get(&home).copied();
        }
        names.sort_unstable_by_key(|it| it.0);
        names.dedup_by_key(|it| it.0);
        names
    }

    pub(super) fn shelf_names(&self, home: Home) -> Vec<&str> {
        let all = self.own_files(0).filter(|it| *it < self.files.len());
        let mut names: Vec<_> = all
            .filter_map(|it| self.files[it].homes.get(&home))
            .flat_map(|it| it.keys().map(String::as_str))
            .collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    pub(super) fn ports(&self, block: &str) -> Option<&[(String, Kind)]> {
        self.block(0, block).map(|it| it.1)
    }

    pub(super) fn inside(&self, offset: u32, device: &str) -> Vec<(&str, Kind)> {
        let mut scope = (0, self.home_at(offset));
        for word in device.split('.') {
            let inner = self
                .find(scope, word)
                .and_then(|(at, it)| self.block(at.0, it.block.as_deref()?));
            let Some((inner, _)) = inner else {
                return Vec::new();
            };
            scope = inner;
        }
        let own = self.files[scope.0].homes.get(&scope.1);
        let mut names: Vec<_> = own
            .into_iter()
            .flatten()
            .map(|(name, it)| (name.as_str(), it.kind))
            .collect();
        names.sort_unstable_by_key(|it| it.0);
        names
    }

    /// The home of a line of the first file: that of the last statement that begins before it, if that holds it.
    fn home_at(&self, offset: u32) -> Home {
        let Some(table) = self.files.first() else {
            return Home::File;
        };
        let after = table.starts.partition_point(|it| *it <= offset);
        table.goes_on(after)
    }

    /// Every name that a file declares, in its order but `let`s last: a `let` yields to what stands in the circuit.
    fn declarations(&self, file: usize, tree: &Tree, text: &str) -> Vec<(Home, String, Declared)> {
        let mut declared = Vec::new();
        let mut lets = Vec::new();
        for (index, statement) in tree.statements.iter().enumerate() {
            let home = self.files[file].home[index];
            let mut put = |home: Home, kind: Kind, span: Span| {
                let name = normal(span.of(text)).into_owned();
                // The inside of a block is read, not wired.
                if !name.contains('.') && name != "ground" {
                    let it = Declared {
                        kind,
                        first: span,
                        block: None,
                    };
                    declared.push((home, name, it));
                }
            };
            match &statement.kind {
                StatementKind::Part(name) => put(Home::Parts, Kind::Part, *name),
                StatementKind::Circuit { name, .. } => put(Home::Circuits, Kind::Circuit, *name),
                StatementKind::Block { name, ports } => {
                    put(Home::Blocks, Kind::Block, *name);
                    let inside = self.files[file].opened_by(StatementId(index as u32));
                    for port in ports {
                        put(inside.unwrap_or(home), port_kind(port), port.name);
                    }
                }
                StatementKind::Path(items) => {
                    for item in items {
                        match item {
                            PathItem::Node(name) => put(home, Kind::Node, *name),
                            PathItem::Element(it) => put(home, Kind::Element, it.name),
                        }
                    }
                }
                StatementKind::Source(source) => {
                    put(home, Kind::Source, source.name);
                    if let SourceForm::Held { plus, minus } = source.form {
                        put(home, Kind::Node, plus);
                        minus.into_iter().for_each(|it| put(home, Kind::Node, it));
                    }
                }
                StatementKind::Device(device) => {
                    let (kind, block) = self.device_kind(file, device, text);
                    for name in self.pins(file, device, text) {
                        put(home, Kind::Node, name);
                    }
                    let name = normal(device.name.of(text)).into_owned();
                    declared.push((
                        home,
                        name,
                        Declared {
                            kind,
                            first: device.name,
                            block,
                        },
                    ));
                }
                StatementKind::Let { name, .. } => {
                    let it = Declared {
                        kind: Kind::Let,
                        first: *name,
                        block: None,
                    };
                    lets.push((home, normal(name.of(text)).into_owned(), it));
                }
                _ => {}
            }
        }
        declared.append(&mut lets);
        declared
    }

    fn device_kind(&self, file: usize, device: &Device, text: &str) -> (Kind, Option<String>) {
        let word = normal(device.kind.of(text));
        match &*word {
            "opamp" | "comparator" => (Kind::Opamp, None),
            it if syntax::DEVICES.contains(&it) => (Kind::Device, None),
            it if self.block(file, it).is_some() => (Kind::Instance, Some(it.to_owned())),
            _ => (Kind::Device, None),
        }
    }

    /// The nodes that a device's clauses name.
    fn pins(&self, file: usize, device: &Device, text: &str) -> Vec<Span> {
        let kind = normal(device.kind.of(text));
        let ports = self.block(file, &kind).map(|it| it.1);
        let clauses = device.clauses.iter().filter_map(|it| {
            let Argument::Name(name) = it.argument else {
                return None;
            };
            let word = normal(it.word.of(text));
            let parameter = ports.is_some_and(|ports| {
                ports
                    .iter()
                    .any(|(name, kind)| *name == word && *kind == Kind::Parameter)
            });
            (!parameter && !NOT_NODES.contains(&&*word)).then_some(name)
        });
        clauses.collect()
    }

    /// What each work sheet of a file sees beyond itself.
    fn sheets(&self, file: usize, tree: &Tree, text: &str) -> Vec<(Home, Scope)> {
        let sheets = tree.bodies.iter().enumerate().filter_map(|(index, body)| {
            let StatementKind::Work { circuit, .. } = &tree.statement(body.head).kind else {
                return None;
            };
            let around = (file, self.files[file].home[body.head.0 as usize]);
            let named = circuit.and_then(|it| self.circuit(file, &normal(it.of(text))));
            Some((Home::Body(index), named.unwrap_or(around)))
        });
        sheets.collect()
    }

    /// The inside of a circuit that a file sees.
    fn circuit(&self, file: usize, name: &str) -> Option<Scope> {
        let ((at, _), declared) = self.on_shelf(file, Home::Circuits, name)?;
        let table = &self.files[at];
        let head = table
            .starts
            .partition_point(|it| *it <= declared.first.start);
        Some((at, table.goes_on(head)))
    }
}

impl Table {
    fn new(file: usize, path: &str, tree: &Tree, text: &str) -> Table {
        let mut table = Table {
            path: path.into(),
            home: vec![Home::File; tree.statements.len()],
            starts: tree.statements.iter().map(|it| it.span.start).collect(),
            ..Table::default()
        };
        for (index, body) in tree.bodies.iter().enumerate() {
            let home = match body.kind {
                // A part's lines read the file's `let`s and name nothing.
                BodyKind::Part => Home::File,
                _ => Home::Body(index),
            };
            if home != Home::File {
                table.outer.insert(home, (file, Home::File));
            }
            for StatementId(id) in &body.inside {
                table.home[*id as usize] = home;
            }
            table.opened.insert(body.head, home);
            if let Some(end) = body.end {
                table.closed.insert(end, body.head);
            }
            if let StatementKind::Block { name, ports } = &tree.statement(body.head).kind {
                let ports = ports
                    .iter()
                    .map(|it| (normal(it.name.of(text)).into_owned(), port_kind(it)));
                table
                    .blocks
                    .entry(normal(name.of(text)).into_owned())
                    .or_insert((index, ports.collect()));
            }
        }
        table
    }

    /// The home that a statement opens.
    pub(super) fn opened_by(&self, head: StatementId) -> Option<Home> {
        self.opened.get(&head).copied()
    }

    /// The home of what would stand behind this many statements.
    fn goes_on(&self, after: usize) -> Home {
        let Some(last) = after.checked_sub(1).map(|it| StatementId(it as u32)) else {
            return Home::File;
        };
        if let Some(opened) = self.opened.get(&last) {
            return *opened;
        }
        let holder = self.closed.get(&last).unwrap_or(&last);
        self.home
            .get(holder.0 as usize)
            .copied()
            .unwrap_or(Home::File)
    }

    fn declare(&mut self, home: Home, name: String, it: Declared) {
        self.homes
            .entry(home)
            .or_default()
            .entry(name)
            .or_insert(it);
    }
}

fn port_kind(port: &syntax::Port) -> Kind {
    match port.default {
        Some(_) => Kind::Parameter,
        None => Kind::Node,
    }
}
