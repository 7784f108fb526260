//! First pass over a circuit or a block: every name gets its meaning, every node exists, blocks are expanded in place.

use syntax::{
    Argument, Clause, Device, Name, PathItem, Place, Rail as SaidRail, SourceForm, Span,
    StatementId, StatementKind,
};

use crate::FaultKind;
use crate::files::BlockRef;
use crate::model::*;
use crate::scope::{Builder, Frame, Maker, Pending, PendingDevice, PendingLet, Step, What};

/// How deep blocks may nest.
const BLOCK_DEPTH: usize = 16;
/// How many elements a circuit may have once its blocks are expanded.
const ELEMENTS: usize = 1_000_000;
/// How many faults there may be before lines are no longer compared with all others.
const MOST_COMPARED: usize = 50;
/// Words of the trade for those of clauses.
const SYNONYMS: [(&str, &str); 22] = [
    ("output", "drives"),
    ("out", "drives"),
    ("drive", "drives"),
    ("inverting", "minus"),
    ("negative", "minus"),
    ("neg", "minus"),
    ("noninverting", "plus"),
    ("non_inverting", "plus"),
    ("positive", "plus"),
    ("pos", "plus"),
    ("rails", "supply"),
    ("model", "part"),
    ("type", "part"),
    ("resistance", "total"),
    ("value", "total"),
    ("slider", "wiper"),
    ("tap", "wiper"),
    ("capacitance", "value"),
    ("on", "closed"),
    ("off", "open"),
    ("shut", "closed"),
    ("voltage", "rated"),
];

/// The devices of the language, without blocks.
pub(crate) const DEVICES: [&str; 6] = [
    "opamp",
    "comparator",
    "switch",
    "pot",
    "diode",
    "electrolytic",
];

impl<'t> Builder<'t> {
    pub(crate) fn statement(&self, frame: usize, id: StatementId) -> &'t syntax::Statement {
        &self.tree(frame).statements[id.0 as usize]
    }

    /// Names and nodes of all these statements.
    pub(crate) fn declare_all(&mut self, frame: usize, statements: &[StatementId]) {
        // Broken lines first: what they name is perhaps known everywhere.
        for id in statements {
            if let StatementKind::Broken(broken) = &self.statement(frame, *id).kind {
                for name in &broken.names {
                    let key = self.key(frame, *name);
                    if broken.wires {
                        self.perhaps_named(frame, key);
                    } else if self.frames[frame].perhaps.insert(key.clone()) {
                        self.frames[frame].perhaps_read.insert(key);
                    }
                }
                self.circuit.perhaps.incomplete |= broken.wires;
            }
        }
        for (index, id) in statements.iter().enumerate() {
            let statement = self.statement(frame, *id);
            let before = self.faults.len();
            match &statement.kind {
                StatementKind::Path(items) => self.declare_path(frame, *id, items),
                StatementKind::Source(source) => self.declare_source(frame, *id, source),
                StatementKind::Device(device) => self.declare_device(frame, *id, device),
                _ => continue,
            }
            self.pasted_twice(frame, statements, index, before);
        }
        // A `let` yields to what stands in the circuit under its name.
        for (index, id) in statements.iter().enumerate() {
            if let StatementKind::Let { name, value } = &self.statement(frame, *id).kind {
                let before = self.faults.len();
                self.declare_let(frame, *id, *name, value);
                self.pasted_twice(frame, statements, index, before);
            }
        }
    }

    /// A line that stands above word for word is one mistake: all its names are taken.
    fn pasted_twice(
        &mut self,
        frame: usize,
        statements: &[StatementId],
        index: usize,
        before: usize,
    ) {
        let taken = |it: &crate::Fault| matches!(it.kind, FaultKind::NameTaken { .. });
        if before > MOST_COMPARED || !self.faults[before..].iter().any(taken) {
            return;
        }
        let span = self.statement(frame, statements[index]).span;
        let words = |span: Span| span.of(self.text(frame)).split_whitespace();
        let same = |id: &StatementId| words(self.statement(frame, *id).span).eq(words(span));
        if !statements[..index].iter().any(same) {
            return;
        }
        let mut first = true;
        let mut at = 0;
        self.faults.retain_mut(|it| {
            at += 1;
            if at <= before || !taken(it) {
                return true;
            }
            it.fixes = vec![leave_out(span)];
            std::mem::replace(&mut first, false)
        });
    }

    fn declare_let(&mut self, frame: usize, id: StatementId, name: Name, value: &'t syntax::Expr) {
        let index = self.lets.len();
        if self.declare(frame, name, What::Let(index)) {
            let (key, place) = (self.key(frame, name), self.place(frame, name));
            self.lets.push(PendingLet {
                frame,
                value,
                name: key,
                place,
                uses: Vec::new(),
                description: self.description(frame, id),
                state: Step::Waiting,
                parameter: false,
            });
        }
    }

    fn declare_path(&mut self, frame: usize, id: StatementId, items: &'t [PathItem]) {
        let description = self.description(frame, id);
        // A joint before and after each element: a named node, or an unnamed one at the `--` between two elements.
        let mut joints: Vec<(Option<NodeId>, Span)> = Vec::new();
        let mut elements: Vec<&'t syntax::Element> = Vec::new();
        for item in items {
            match item {
                PathItem::Node(name) => {
                    joints.push((self.node(frame, *name, description.as_deref()), *name));
                }
                PathItem::Element(element) => {
                    if let (true, Some(before)) = (joints.len() == elements.len(), elements.last())
                    {
                        let wire = between(before, element, self.text(frame));
                        joints.push((Some(self.unnamed(frame, before, element, wire)), wire));
                    }
                    elements.push(element);
                }
            }
        }
        for (element, joints) in elements.into_iter().zip(joints.windows(2)) {
            let [(left, left_span), (right, right_span)] = *joints else {
                continue;
            };
            if self.declare(frame, element.name, What::Element(self.pending.len())) {
                let end_places = [self.place(frame, left_span), self.place(frame, right_span)];
                self.push(
                    frame,
                    element.name,
                    Maker::Path(element),
                    [left, right],
                    end_places,
                );
                let place = self.place(frame, element.span);
                if let Some(it) = self.pending.last_mut() {
                    it.place = place;
                    it.description.clone_from(&description);
                }
            } else {
                self.doubt([left, right].into_iter().flatten());
            }
        }
    }

    fn unnamed(
        &mut self,
        frame: usize,
        left: &syntax::Element,
        right: &syntax::Element,
        wire: Span,
    ) -> NodeId {
        let id = NodeId(self.circuit.nodes.len() as u32);
        let (a, b) = (self.key(frame, left.name), self.key(frame, right.name));
        let name = format!("{}{a}..{b}", self.frames[frame].prefix);
        let places = vec![self.place(frame, wire)];
        self.circuit.nodes.push(Node {
            name,
            named: false,
            places,
            description: None,
        });
        id
    }

    fn push(
        &mut self,
        frame: usize,
        name: Name,
        maker: Maker<'t>,
        ends: [Option<NodeId>; 2],
        end_places: [Place; 2],
    ) {
        self.expanded += 1;
        let name_place = self.place(frame, name);
        self.pending.push(Pending {
            frame,
            name: format!("{}{}", self.frames[frame].prefix, self.key(frame, name)),
            maker,
            ends,
            end_places,
            place: name_place,
            name_place,
            description: None,
            value: Step::Waiting,
        });
    }

    fn declare_source(&mut self, frame: usize, id: StatementId, source: &'t syntax::Source) {
        let description = self.description(frame, id);
        let named = self.declare(frame, source.name, What::Source(self.sources.len()));
        let mut nodes = Vec::new();
        if let SourceForm::Held { plus, minus } = source.form {
            nodes.push(self.node(frame, plus, description.as_deref()));
            nodes.extend(minus.map(|it| self.node(frame, it, description.as_deref())));
        }
        if named {
            let place = self.place(frame, source.name.to(source.drive.span));
            self.sources.push(PendingDevice {
                frame,
                said: source,
                place,
                description,
                id: None,
            });
        } else {
            self.doubt(nodes.into_iter().flatten());
        }
    }

    fn declare_device(&mut self, frame: usize, id: StatementId, device: &'t Device) {
        let kind = self.key(frame, device.kind);
        let description = self.description(frame, id);
        match kind.as_str() {
            "opamp" => {
                let good = self.clauses(
                    frame,
                    device,
                    &["plus", "minus", "drives"],
                    &["plus", "minus", "drives"],
                    &["part", "supply"],
                );
                if !good {
                    return self.declare_broken(frame, device);
                }
                if !self.declare(frame, device.name, What::Opamp(self.opamps.len())) {
                    return self.doubt_clauses(frame, device);
                }
                self.pin_nodes(frame, device, &["plus", "minus", "drives"]);
                let place = self.place(frame, device.kind.to(last_span(device)));
                self.opamps.push(PendingDevice {
                    frame,
                    said: device,
                    place,
                    description,
                    id: None,
                });
            }
            "comparator" => {
                let pins = ["plus", "minus", "drives"];
                let good = self.clauses(frame, device, &pins, &pins, &["part", "supply"]);
                self.declare_later(frame, device, good, &pins, "comparator", "a comparator");
            }
            "diode" => {
                let pins = ["anode", "cathode"];
                let good = self.clauses(frame, device, &pins, &pins, &["part"]);
                self.declare_later(frame, device, good, &pins, "diode", "a diode");
            }
            "electrolytic" => {
                let good = self.clauses(
                    frame,
                    device,
                    &["plus", "minus"],
                    &["plus", "minus", "value"],
                    &["rated"],
                );
                let value = self.value_clause(device, frame, "value");
                match (good, value) {
                    (true, Some(value)) => {
                        let rated = self.value_clause(device, frame, "rated");
                        let maker = Maker::Electrolytic(value, rated);
                        self.declare_two_ended(
                            frame,
                            device,
                            ["plus", "minus"],
                            maker,
                            description,
                        );
                    }
                    _ => self.declare_broken(frame, device),
                }
            }
            "switch" => {
                let good = self.clauses(
                    frame,
                    device,
                    &["from", "to"],
                    &["from", "to"],
                    &["open", "closed"],
                );
                let states = ["open", "closed"].map(|it| self.clause(device, frame, it));
                match (good, states) {
                    (true, [None, Some(_)]) => {
                        self.declare_two_ended(
                            frame,
                            device,
                            ["from", "to"],
                            Maker::Wire,
                            description,
                        );
                    }
                    (true, [Some(_), None]) => {
                        if self.declare(frame, device.name, What::Other("an open switch")) {
                            self.pin_nodes(frame, device, &["from", "to"]);
                        }
                    }
                    (true, [Some(_), Some(second)]) => {
                        let word = self.key(frame, second.word);
                        self.fault(frame, second.word, FaultKind::SaidTwice(word));
                        self.declare_broken(frame, device);
                    }
                    (true, [None, None]) => {
                        let kind = FaultKind::ClauseMissing {
                            name: self.key(frame, device.name),
                            missing: vec!["open` or `closed".to_owned()],
                        };
                        self.fault(frame, device.name, kind).unfinished = true;
                        self.declare_broken(frame, device);
                    }
                    (false, _) => self.declare_broken(frame, device),
                }
            }
            "pot" => {
                let words = ["from", "to", "wiper", "total", "at"];
                let good = self.clauses(frame, device, &["from", "to", "wiper"], &words, &[]);
                let total = self.value_clause(device, frame, "total");
                let at = self.value_clause(device, frame, "at");
                match (good, total, at) {
                    (true, Some(total), Some(at)) => {
                        self.declare_pot(frame, device, total, at, description)
                    }
                    _ => self.declare_broken(frame, device),
                }
            }
            _ => self.declare_block(frame, device, &kind),
        }
    }

    fn declare_two_ended(
        &mut self,
        frame: usize,
        device: &'t Device,
        pins: [&str; 2],
        maker: Maker<'t>,
        description: Option<String>,
    ) {
        if !self.declare(frame, device.name, What::Element(self.pending.len())) {
            return self.doubt_clauses(frame, device);
        }
        let [a, b] = pins.map(|pin| self.pin(frame, device, pin));
        let ends = [a.and_then(|it| it.0), b.and_then(|it| it.0)];
        let end_places = [a, b].map(|it| it.map_or(self.place(frame, device.name), |it| it.1));
        self.push(frame, device.name, maker, ends, end_places);
        if let Some(it) = self.pending.last_mut() {
            it.description = description;
        }
    }

    fn declare_pot(
        &mut self,
        frame: usize,
        device: &'t Device,
        total: &'t syntax::Expr,
        at: &'t syntax::Expr,
        description: Option<String>,
    ) {
        let first = self.pending.len();
        if !self.declare(frame, device.name, What::Pot(first, first + 1)) {
            return self.doubt_clauses(frame, device);
        }
        let pins = ["from", "wiper", "to"].map(|pin| self.pin(frame, device, pin));
        let node = |index: usize| pins.get(index).copied().flatten().and_then(|it| it.0);
        let spot = |index: usize| pins.get(index).copied().flatten().map(|it| it.1);
        let own = self.place(frame, device.name);
        for (half, suffix, lower) in [(0, ".from", true), (1, ".to", false)] {
            let ends = [node(half), node(half + 1)];
            let end_places = [spot(half).unwrap_or(own), spot(half + 1).unwrap_or(own)];
            self.push(
                frame,
                device.name,
                Maker::PotHalf(total, at, lower),
                ends,
                end_places,
            );
            if let Some(it) = self.pending.last_mut() {
                it.name.push_str(suffix);
                it.description.clone_from(&description);
            }
        }
    }

    /// A device that is read and connected, and whose working is not computed yet.
    fn declare_later(
        &mut self,
        frame: usize,
        device: &'t Device,
        good: bool,
        pins: &[&str],
        what: &'static str,
        noun: &'static str,
    ) {
        if !good {
            return self.declare_broken(frame, device);
        }
        if self.declare(frame, device.name, What::Other(noun)) {
            let nodes: Vec<NodeId> = pins
                .iter()
                .filter_map(|pin| self.pin(frame, device, pin))
                .filter_map(|it| it.0)
                .collect();
            let names: Vec<Name> = [device.name]
                .into_iter()
                .chain(
                    device
                        .clauses
                        .iter()
                        .filter_map(|it| name_of(it, &self.key(frame, it.word), pins)),
                )
                .collect();
            self.doubt(nodes);
            self.later(frame, what, device.kind, true, &names);
        } else {
            self.doubt_clauses(frame, device);
        }
    }

    /// The device is wrong, and a fault says so; its names exist all the same.
    fn declare_broken(&mut self, frame: usize, device: &'t Device) {
        let key = self.key(frame, device.name);
        if self.find(frame, &key).is_none() {
            let what = match self.key(frame, device.kind).as_str() {
                "opamp" => What::Other("an op-amp"),
                _ => What::Broken,
            };
            self.declare(frame, device.name, what);
        }
        self.doubt_clauses(frame, device);
    }

    /// The names in the clauses are perhaps nodes.
    pub(crate) fn doubt_clauses(&mut self, frame: usize, device: &'t Device) {
        self.circuit.perhaps.incomplete = true;
        for clause in &device.clauses {
            let word = self.key(frame, clause.word);
            self.perhaps_named(frame, word);
            if let Argument::Name(name) = clause.argument {
                let key = self.key(frame, name);
                self.perhaps_named(frame, key);
            }
        }
    }

    /// Checks the clauses of a device against what its kind knows: one fault at most.
    pub(crate) fn clauses(
        &mut self,
        frame: usize,
        device: &'t Device,
        nodes: &[&str],
        must: &[&str],
        may: &[&str],
    ) -> bool {
        let mut seen: Vec<String> = Vec::new();
        for (index, clause) in device.clauses.iter().enumerate() {
            let word = self.key(frame, clause.word);
            if !must.contains(&word.as_str()) && !may.contains(&word.as_str()) {
                let open = must
                    .iter()
                    .chain(may)
                    .filter(|it| !seen.iter().any(|seen| seen == *it));
                let open: Vec<&str> = open.copied().collect();
                self.unknown_clause(frame, device, clause, &open);
                return false;
            }
            if seen.contains(&word) {
                self.clause_twice(frame, device, index, must);
                return false;
            }
            if !self.argument_fits(frame, device, clause, &word, nodes) {
                return false;
            }
            seen.push(word);
        }
        let missing: Vec<String> = must
            .iter()
            .filter(|it| !seen.iter().any(|seen| seen == *it))
            .map(|it| (*it).to_owned())
            .collect();
        if missing.is_empty() {
            return true;
        }
        let name = self.key(frame, device.name);
        let fault = self.fault(
            frame,
            device.name,
            FaultKind::ClauseMissing {
                name: name.clone(),
                missing,
            },
        );
        fault.unfinished = true;
        fault.subjects.push(name);
        false
    }

    /// A word that begins no clause of such a device; those of the trade are put right in one go.
    fn unknown_clause(&mut self, frame: usize, device: &'t Device, clause: &Clause, open: &[&str]) {
        let meant = |word: &str| {
            let of_trade = SYNONYMS.iter().find(|it| it.0.eq_ignore_ascii_case(word));
            of_trade.map(|it| it.1).filter(|it| open.contains(it))
        };
        let word = self.key(frame, clause.word);
        let Some(nearest) = meant(&word) else {
            return self.unknown_word(frame, clause.word, "clause", open.iter().copied());
        };
        let edits = device.clauses.iter().filter_map(|it| {
            let text = meant(&self.key(frame, it.word))?.to_owned();
            Some(syntax::TextEdit {
                span: it.word,
                text,
            })
        });
        let title = format!("write `{nearest}`");
        let fix = syntax::Fix::likely(title, edits.collect());
        let kind = FaultKind::UnknownWord {
            word,
            wanted: "clause",
            nearest: Some(nearest.to_owned()),
        };
        self.fault(frame, clause.word, kind).fixes.push(fix);
    }

    /// A clause that was said before: perhaps in place of the one that is missing.
    fn clause_twice(&mut self, frame: usize, device: &'t Device, index: usize, must: &[&str]) {
        let clause = &device.clauses[index];
        let word = self.key(frame, clause.word);
        let said = |it: &&&str| self.clause(device, frame, it).is_some();
        let missing: Vec<&str> = must.iter().filter(|it| !said(it)).copied().collect();
        let fix = match (missing.as_slice(), index.checked_sub(1)) {
            ([missing], _) => crate::scope::replace(clause.word, *missing, false),
            (_, Some(before)) => syntax::Fix::likely(
                "leave it out",
                vec![syntax::TextEdit {
                    span: Span {
                        start: device.clauses[before].span.end,
                        end: clause.span.end,
                    },
                    text: String::new(),
                }],
            ),
            (_, None) => leave_out(clause.span),
        };
        self.fault(frame, clause.word, FaultKind::SaidTwice(word))
            .fixes
            .push(fix);
    }

    fn argument_fits(
        &mut self,
        frame: usize,
        device: &Device,
        clause: &Clause,
        word: &str,
        nodes: &[&str],
    ) -> bool {
        let expected = |what, example| FaultKind::Expected { what, example };
        let kind = match (&clause.argument, word) {
            (Argument::None, "open" | "closed") | (Argument::Rails(_), "supply") => return true,
            (_, "open" | "closed") => expected("nothing", "closed"),
            (_, "supply") => expected("a rail", "supply 5 V"),
            (Argument::Name(name), _) if nodes.contains(&word) => {
                let key = self.key(frame, *name);
                if !key.contains('.') {
                    return true;
                }
                self.fault(frame, *name, FaultKind::InsideName(key));
                return false;
            }
            (_, _) if nodes.contains(&word) => expected("a node", "plus in"),
            (Argument::Name(_), "part") => return true,
            (_, "part") => expected("a part", "part ideal"),
            (Argument::Value(_), _) => return true,
            (Argument::Name(_), _) => expected("a value in brackets", "R (Rstock)"),
            (_, _) => expected("a value", "total 10k"),
        };
        // A clause without its argument at the end of the line is only unfinished, and told at its word.
        let unfinished = matches!(clause.argument, Argument::None)
            && device
                .clauses
                .last()
                .is_some_and(|last| last.span == clause.span);
        let at = match &clause.argument {
            Argument::None => clause.word,
            Argument::Name(name) => *name,
            Argument::Value(value) => value.span,
            Argument::Rails(rails) => rails.first().map_or(clause.word, rail_span),
        };
        let text = at.of(self.text(frame));
        let written = match (&clause.argument, &kind) {
            (Argument::Value(_), FaultKind::Expected { what: "a node", .. })
                if text.starts_with('0') =>
            {
                Some("ground".to_owned())
            }
            (
                Argument::Name(_),
                FaultKind::Expected {
                    what: "a value in brackets",
                    ..
                },
            ) => Some(format!("({text})")),
            _ => None,
        };
        let fault = self.fault(frame, at, kind);
        fault.unfinished = unfinished;
        fault
            .fixes
            .extend(written.map(|it| crate::scope::replace(at, it, false)));
        false
    }

    pub(crate) fn clause(
        &self,
        device: &'t Device,
        frame: usize,
        word: &str,
    ) -> Option<&'t Clause> {
        device
            .clauses
            .iter()
            .find(|it| self.key(frame, it.word) == word)
    }

    pub(crate) fn value_clause(
        &self,
        device: &'t Device,
        frame: usize,
        word: &str,
    ) -> Option<&'t syntax::Expr> {
        match &self.clause(device, frame, word)?.argument {
            Argument::Value(value) => Some(value),
            _ => None,
        }
    }

    /// The node of a pin, made where it is new, and where it is said.
    fn pin(
        &mut self,
        frame: usize,
        device: &'t Device,
        word: &str,
    ) -> Option<(Option<NodeId>, Place)> {
        match self.clause(device, frame, word)?.argument {
            Argument::Name(name) => Some((self.node(frame, name, None), self.place(frame, name))),
            _ => None,
        }
    }

    /// Makes the nodes of the pins in the order in which the text says them.
    fn pin_nodes(&mut self, frame: usize, device: &'t Device, pins: &[&str]) {
        for clause in &device.clauses {
            if let Some(name) = name_of(clause, &self.key(frame, clause.word), pins) {
                self.node(frame, name, None);
            }
        }
    }

    fn declare_block(&mut self, frame: usize, device: &'t Device, kind: &str) {
        let shelf = self.library.shelf(self.frames[frame].file);
        let Some(block) = shelf.blocks.get(kind).copied() else {
            if !shelf.incomplete && !self.perhaps(frame, kind) {
                let mut known: Vec<&str> = DEVICES
                    .into_iter()
                    .chain(shelf.blocks.keys().map(String::as_str))
                    .collect();
                known.sort_unstable();
                self.unknown_word(frame, device.kind, "device", known);
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
        if self.expanded >= ELEMENTS {
            let known = self
                .faults
                .iter()
                .any(|it| matches!(it.kind, FaultKind::TooBig("1,000,000 elements")));
            if !known {
                self.fault(frame, device.kind, FaultKind::TooBig("1,000,000 elements"));
            }
            return self.declare_broken(frame, device);
        }
        self.expand(frame, device, block);
    }

    /// `resistor R1: from a, to b, value 10k` is a path.
    fn element_as_a_device(&mut self, frame: usize, device: &'t Device, kind: &str) {
        let ends = ["from", "to"].map(|it| self.clause(device, frame, it).map(|it| &it.argument));
        let value = ["value", "resistance", "total"]
            .iter()
            .find_map(|it| self.value_clause(device, frame, it));
        let element = matches!(
            kind.to_lowercase().as_str(),
            "resistor" | "capacitor" | "inductor" | "coil"
        );
        if let ([Some(Argument::Name(a)), Some(Argument::Name(b))], Some(value), true) =
            (ends, value, element)
        {
            let text = |span: Span| span.of(self.text(frame));
            let path = format!(
                "{} -- {} {} -- {}",
                text(*a),
                text(device.name),
                text(value.span),
                text(*b)
            );
            let fix = crate::scope::replace(device.kind.to(last_span(device)), path, false);
            if let Some(fault) = self.faults.last_mut() {
                fault.fixes = vec![fix];
            }
        }
    }

    /// The inside of a block, with its ports joined to the nodes of the device's clauses.
    fn expand(&mut self, frame: usize, device: &'t Device, block: BlockRef) {
        let place = self.place(frame, device.kind);
        self.block_uses.push((block, place));
        let ports = self.ports(block);
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
        if !self.clauses(frame, device, &nodes, &nodes, &may) {
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
            let word = self.key(frame, clause.word);
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
            let given = self.value_clause(device, frame, &port.name);
            // A default sees the block's file only; a given value sees what stands around the device.
            let (value, at) = given.map_or((default, outer), |it| (it, frame));
            self.parameter(inner, at, port, value);
        }
        self.blocks_to_supply(frame, inner, device);
        let library: &'t crate::files::Library = self.library;
        self.declare_all(inner, &library.tree(block.file).bodies[block.body].inside);
    }

    /// Expands a block once for its own faults: its ports hang free, its parameters have their defaults.
    pub(crate) fn check_block(&mut self, outer: usize, block: BlockRef) {
        let inner = self.frames.len();
        self.push_inner(outer, outer, block, String::new());
        for port in self.ports(block) {
            match &port.said.default {
                Some(default) => self.parameter(inner, outer, &port, default),
                None => {
                    if matches!(port.name.as_str(), "part" | "supply") {
                        let kind = FaultKind::NameTaken {
                            name: port.name,
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
        let library: &'t crate::files::Library = self.library;
        self.declare_all(inner, &library.tree(block.file).bodies[block.body].inside);
        self.work_out_values();
        self.work_out_sources();
        self.work_out_block_supplies();
        self.work_out_opamps(inner, &[]);
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

    fn parameter(&mut self, inner: usize, at: usize, port: &Port<'t>, value: &'t syntax::Expr) {
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
        });
        self.frames[inner]
            .names
            .insert(port.name.clone(), (What::Let(index), port.place));
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
        let has_circuit = library
            .tree(file)
            .bodies
            .iter()
            .any(|it| it.kind == syntax::BodyKind::Circuit);
        // In a file that is one circuit, its `let`s are the circuit's, seen from its blocks all the same.
        let lets: Vec<StatementId> = library
            .loose(file)
            .into_iter()
            .filter(|id| {
                let kind = &library.tree(file).statements[id.0 as usize].kind;
                matches!(kind, StatementKind::Let { .. })
                    || (has_circuit && matches!(kind, StatementKind::Broken(_)))
            })
            .collect();
        let incomplete = self.circuit.perhaps.incomplete;
        self.declare_all(frame, &lets);
        self.circuit.perhaps.incomplete = incomplete;
        frame
    }

    /// Records a statement that is read and not computed.
    pub(crate) fn later(
        &mut self,
        frame: usize,
        what: &str,
        at: Span,
        wires: bool,
        names: &[Name],
    ) {
        let place = self.place(frame, at);
        let names = names.iter().map(|it| self.key(frame, *it)).collect();
        self.circuit.later.push(Later {
            what: what.to_owned(),
            place,
            wires,
            names,
        });
    }
}

/// A port or parameter of a block.
struct Port<'t> {
    said: &'t syntax::Port,
    name: String,
    place: Place,
}

fn name_of(clause: &Clause, word: &str, pins: &[&str]) -> Option<Name> {
    match clause.argument {
        Argument::Name(name) if pins.contains(&word) => Some(name),
        _ => None,
    }
}

fn last_span(device: &Device) -> Span {
    device.clauses.last().map_or(device.name, |it| it.span)
}

/// A whole line less.
pub(crate) fn leave_out(span: Span) -> syntax::Fix {
    let text = String::new();
    syntax::Fix::likely("take it out", vec![syntax::TextEdit { span, text }])
}

/// A rail as written.
pub(crate) fn rail_span(rail: &SaidRail) -> Span {
    match rail {
        SaidRail::Node(name) => *name,
        SaidRail::Value { span, .. } => *span,
    }
}

/// The `--` between two elements.
fn between(left: &syntax::Element, right: &syntax::Element, text: &str) -> Span {
    let gap = Span {
        start: left.span.end,
        end: right.span.start,
    };
    match gap.of(text).rfind("--") {
        Some(at) => Span {
            start: gap.start + at as u32,
            end: gap.start + at as u32 + 2,
        },
        None => gap,
    }
}
