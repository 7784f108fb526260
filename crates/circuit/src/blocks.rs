//! Blocks: a device that names one is replaced by its inside, ports joined to the nodes around.

use std::borrow::Cow;
use std::collections::HashSet;

use syntax::{Argument, Device, FileId, Place, StatementKind};

use crate::devices::DEVICES;
use crate::files::{BlockRef, ELEMENTS, Expands};
use crate::scope::{Builder, Frame, PendingLet, Step, What, replace};
use crate::{Fault, FaultKind};

/// How deep blocks may nest.
const BLOCK_DEPTH: usize = 16;
impl<'t> Builder<'t> {
    pub(crate) fn declare_block(&mut self, frame: usize, device: &'t Device, kind: &str) {
        let shelf = self.library.shelf(self.frames[frame].file);
        let Some(block) = shelf.blocks.get(kind).copied() else {
            if !shelf.incomplete && !self.perhaps(frame, kind) {
                let mut known = DEVICES.to_vec();
                if self.library.may_compare(shelf.blocks.len()) {
                    known.extend(shelf.blocks.keys().map(String::as_str));
                    known.sort_unstable();
                }
                let said = |word: &str| self.clause(device, frame, word).is_some();
                let by_clauses = syntax::device_of(said);
                self.unknown_word(frame, device.kind, "device", known);
                if let (Some(kind), Some(fault)) = (by_clauses, self.faults.last_mut())
                    && let FaultKind::UnknownWord { nearest, .. } = &mut fault.kind
                    && nearest.is_none()
                {
                    *nearest = Some(kind.to_owned());
                    fault.fixes = vec![crate::scope::replace(device.kind, kind, false)];
                }
                self.element_as_a_device(frame, device, kind);
            }
            return self.declare_broken(frame, device);
        };
        let frame_depth = self.frames[frame].depth;
        if self.frames[frame].trail.contains(&block) {
            self.fault(frame, device.kind, FaultKind::Ring(kind.to_owned()));
            return self.declare_broken(frame, device);
        }
        if frame_depth >= BLOCK_DEPTH {
            self.fault(
                frame,
                device.kind,
                FaultKind::TooBig("16 blocks inside each other"),
            );
            return self.declare_broken(frame, device);
        }
        // What stands inside was counted with the outermost block.
        let is_too_big = self.library.is_too_big(block);
        if is_too_big || frame_depth == 0 && !self.library.may_expand(block, Expands::ForCircuit) {
            // A block of this file that is too big alone says so at its own head.
            if !is_too_big || block.file != FileId(0) {
                self.fault(frame, device.kind, FaultKind::TooBig(ELEMENTS));
            }
            return self.declare_broken(frame, device);
        }
        self.expand(frame, device, block);
    }

    /// The inside of a block, with its ports joined to the nodes of the device's clauses.
    fn expand(&mut self, frame: usize, device: &'t Device, block: BlockRef) {
        let place = self.place(frame, device.kind);
        self.block_uses.push((block, place));
        let ports = self.ports(block);
        // Such a port is told where the block stands.
        if ports.iter().any(|it| it.is_reserved()) {
            return self.declare_broken(frame, device);
        }
        let all = |parameter: bool| -> Vec<&str> {
            let wanted = ports
                .iter()
                .filter(|it| it.said.default.is_some() == parameter);
            wanted.map(|it| it.name.as_str()).collect()
        };
        let (nodes, parameters) = (all(false), all(true));
        let may: Vec<&str> = parameters
            .iter()
            .copied()
            .chain(["part", "supply"])
            .collect();
        if self.port_misspelt(frame, device, block, &ports) {
            return self.declare_broken(frame, device);
        }
        if !self.clauses(frame, device, &nodes, &nodes, &may) {
            self.offer_port(device, block, &ports);
            return self.declare_broken(frame, device);
        }
        let outer = self.file_frame(block.file);
        let inner = self.frames.len();
        if !self.declare(frame, device.name, What::Block(inner)) {
            return self.doubt_clauses(frame, device);
        }
        let prefix = format!(
            "{}{}.",
            self.frames[frame].prefix,
            self.key(frame, device.name)
        );
        self.push_inner(frame, outer, block, prefix);
        // Ports in the order of the device's clauses, so that nodes count in the order of the text.
        for clause in &device.clauses {
            let word = self.word(frame, clause.word);
            let Some(port) = ports
                .iter()
                .find(|it| it.name == word && it.said.default.is_none())
            else {
                continue;
            };
            if let Argument::Name(name) = clause.argument {
                let what = self
                    .node(frame, name, None)
                    .map_or(What::Broken, What::Node);
                self.frames[inner].names.insert(word, (what, port.place));
            }
        }
        for port in &ports {
            let Some(default) = &port.said.default else {
                continue;
            };
            // A default sees the block's file only; a given value sees what stands around the device.
            match self.value_clause(device, frame, &port.name) {
                Some(given) => self.parameter(inner, frame, port, given, Some((outer, default))),
                None => self.parameter(inner, outer, port, default, None),
            }
        }
        self.blocks_to_supply(frame, inner, device);
        let library: &'t crate::files::Library = self.library;
        self.declare_all(inner, &library.tree(block.file).bodies[block.body].inside);
    }

    /// Expands a block once for its own faults: its ports hang free, its parameters have their defaults.
    pub(crate) fn check_block(&mut self, outer: usize, block: BlockRef) {
        let library: &'t crate::files::Library = self.library;
        if library.is_too_big(block) {
            let tree = library.tree(block.file);
            let head = tree.statement(tree.bodies[block.body].head);
            if let StatementKind::Block { name, .. } = head.kind {
                self.fault(outer, name, FaultKind::TooBig(ELEMENTS));
            }
            return;
        }
        if !library.may_expand(block, Expands::ForItself) {
            return;
        }
        let inner = self.frames.len();
        self.push_inner(outer, outer, block, String::new());
        let ports = self.ports(block);
        for (index, port) in ports.iter().enumerate() {
            let before = &ports[..index];
            if before.iter().any(|it| it.name == port.name) {
                self.port_twice(inner, port, &before[index - 1]);
                continue;
            }
            match &port.said.default {
                Some(default) => self.parameter(inner, outer, port, default, None),
                None => {
                    if port.is_reserved() {
                        let kind = FaultKind::NameTaken {
                            name: port.name.clone(),
                            is: "reserved",
                            line: None,
                        };
                        self.fault(inner, port.said.name, kind);
                    } else {
                        self.node(inner, port.said.name, None);
                    }
                }
            }
        }
        self.declare_all(inner, &library.tree(block.file).bodies[block.body].inside);
        self.work_out_values();
        self.work_out_sources();
        self.work_out_block_supplies();
        self.work_out_opamps(inner, &[]);
    }

    /// `block stage: in, uot` with a node `out` inside, joined by `out b`: the slip is in the head.
    fn port_misspelt(
        &mut self,
        frame: usize,
        device: &Device,
        block: BlockRef,
        ports: &[Port<'t>],
    ) -> bool {
        let inside = self.inner_nodes(block);
        let words: Vec<Cow<str>> = device
            .clauses
            .iter()
            .map(|it| self.word(frame, it.word))
            .collect();
        let idle = ports.iter().find_map(|port| {
            let idle = port.said.default.is_none()
                && !inside.contains(port.name.as_str())
                && !words.contains(&Cow::Borrowed(&port.name));
            let is_port = |word: &str| ports.iter().any(|it| it.name == word);
            let meant = words
                .iter()
                .filter(|it| inside.contains(it.as_ref()) && !is_port(it))
                .find(|it| syntax::spelled([it.as_ref()], &port.name).is_some());
            let meant = meant.filter(|_| idle)?;
            Some((port.place, port.name.clone(), meant.to_string()))
        });
        let Some((place, name, meant)) = idle else {
            return false;
        };
        let fault = Fault::new(
            place,
            FaultKind::UnknownName {
                name: name.clone(),
                wanted: "node",
                nearest: Some(meant.clone()),
                also: Vec::new(),
            },
        );
        self.faults.push(Fault {
            subjects: vec![name],
            fixes: vec![replace(place.span, meant, false)],
            ..fault
        });
        true
    }

    /// A clause that joins a node inside which is no port: making it one is a way out.
    fn offer_port(&mut self, device: &Device, block: BlockRef, ports: &[Port<'t>]) {
        let inside = self.inner_nodes(block);
        let Some((fault, last)) = self.faults.last_mut().zip(ports.last()) else {
            return;
        };
        let FaultKind::UnknownWord {
            word,
            wanted: "clause",
            nearest: None,
        } = &fault.kind
        else {
            return;
        };
        let here = device.clauses.iter().any(|it| it.word == fault.place.span);
        if !here || !inside.contains(word.as_str()) || block.file != fault.place.file {
            return;
        }
        let text = format!(", {word}");
        let end = last.end();
        let edit = syntax::TextEdit {
            span: syntax::Span { start: end, end },
            text,
        };
        let title = format!("make `{word}` a port of the block");
        fault.fixes.push(syntax::Fix::likely(title, vec![edit]));
        let head = self
            .library
            .tree(block.file)
            .statement(self.library.tree(block.file).bodies[block.body].head);
        if let StatementKind::Block { name, .. } = head.kind {
            let place = Place {
                file: block.file,
                span: name,
            };
            fault
                .related
                .push((place, "its ports are said here".into()));
        }
    }

    /// The nodes that the lines of a block name.
    fn inner_nodes(&self, block: BlockRef) -> HashSet<String> {
        let (tree, text) = (self.library.tree(block.file), self.library.text(block.file));
        let mut names = HashSet::new();
        let mut put = |name: syntax::Name| {
            names.insert(syntax::normal(name.of(text)).into_owned());
        };
        for id in &tree.bodies[block.body].inside {
            match &tree.statement(*id).kind {
                StatementKind::Path(items) => items.iter().for_each(|it| match it {
                    syntax::PathItem::Node(name) => put(*name),
                    syntax::PathItem::Element(_) => {}
                }),
                StatementKind::Device(device) => device.clauses.iter().for_each(|it| {
                    if let Argument::Name(name) = it.argument {
                        put(name);
                    }
                }),
                _ => {}
            }
        }
        names
    }

    /// A port that was said before, and the one in front of it.
    fn port_twice(&mut self, frame: usize, port: &Port<'t>, before: &Port<'t>) {
        let gap = syntax::Span {
            start: before.end(),
            end: port.end(),
        };
        let edit = syntax::TextEdit {
            span: gap,
            text: String::new(),
        };
        self.fault(
            frame,
            port.said.name,
            FaultKind::SaidTwice(port.name.clone()),
        )
        .fixes
        .push(syntax::Fix::likely("leave it out", vec![edit]));
    }

    fn push_inner(&mut self, frame: usize, outer: usize, block: BlockRef, prefix: String) {
        let mut trail = self.frames[frame].trail.clone();
        trail.push(block);
        self.frames.push(Frame {
            file: block.file,
            prefix,
            outer: Some(outer),
            names: Default::default(),
            perhaps: Default::default(),
            perhaps_read: Default::default(),
            in_circuit: false,
            // Op-amps inside use what the device says, else what the block around it was told.
            part: self.frames[frame].part,
            supply: None,
            around: Some(frame),
            depth: self.frames[frame].depth + 1,
            trail,
        });
    }

    /// `like`: the default in whose place the value stands, and where its names are looked up.
    fn parameter(
        &mut self,
        inner: usize,
        at: usize,
        port: &Port<'t>,
        value: &'t syntax::Expr,
        like: Option<(usize, &'t syntax::Expr)>,
    ) {
        let index = self.lets.len();
        self.lets.push(PendingLet {
            frame: at,
            value,
            name: port.name.clone(),
            place: port.place,
            uses: Vec::new(),
            description: None,
            state: Step::Waiting,
            parameter: true,
            like,
        });
        self.frames[inner]
            .names
            .insert(port.name.clone().into(), (What::Let(index), port.place));
    }

    fn ports(&self, block: BlockRef) -> Vec<Port<'t>> {
        let library: &'t crate::files::Library = self.library;
        let (tree, text) = (library.tree(block.file), library.text(block.file));
        let head = &tree.statements[tree.bodies[block.body].head.0 as usize];
        let StatementKind::Block { ports, .. } = &head.kind else {
            return Vec::new();
        };
        let port = |said: &'t syntax::Port| Port {
            said,
            name: syntax::normal(said.name.of(text)).into_owned(),
            place: Place {
                file: block.file,
                span: said.name,
            },
        };
        ports.iter().map(port).collect()
    }

    /// The frame of a file's own `let`s.
    pub(crate) fn file_frame(&mut self, file: syntax::FileId) -> usize {
        if let Some(frame) = self.file_frames.get(&file) {
            return *frame;
        }
        let frame = self.frames.len();
        self.frames.push(Frame {
            file,
            prefix: String::new(),
            outer: None,
            names: Default::default(),
            perhaps: Default::default(),
            perhaps_read: Default::default(),
            in_circuit: false,
            part: None,
            supply: None,
            around: None,
            depth: 0,
            trail: Vec::new(),
        });
        self.file_frames.insert(file, frame);
        let library: &'t crate::files::Library = self.library;
        let incomplete = self.circuit.perhaps.incomplete;
        self.declare_all(frame, library.of_the_file(file));
        self.circuit.perhaps.incomplete = incomplete;
        frame
    }
}

/// A port or parameter of a block.
struct Port<'t> {
    said: &'t syntax::Port,
    name: String,
    place: Place,
}

impl Port<'_> {
    /// Where its words end.
    fn end(&self) -> u32 {
        let default = self.said.default.as_ref();
        default.map_or(self.said.name.end, |it| it.span.end)
    }

    /// A device says its part and its supply under these words.
    fn is_reserved(&self) -> bool {
        self.said.default.is_none() && matches!(self.name.as_str(), "part" | "supply")
    }
}
