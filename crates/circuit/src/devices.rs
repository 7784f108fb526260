//! First pass over devices: their clauses are checked, their pins are nodes, each kind becomes what it is.

use syntax::{Argument, Clause, Device, Name, Place, Span, StatementId};

use crate::FaultKind;
use crate::declare::{leave_out, rail_span};
use crate::model::*;
use crate::scope::{Builder, Maker, PendingDevice, What};

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
    pub(crate) fn declare_device(&mut self, frame: usize, id: StatementId, device: &'t Device) {
        let kind = self.key(frame, device.kind);
        let description = self.description(frame, id);
        let shelf = self.library.shelf(self.frames[frame].file);
        // A file's own block is that block, also where a device has come to be called the same.
        match kind.as_str() {
            _ if shelf.blocks.contains_key(&kind) => self.declare_block(frame, device, &kind),
            "opamp" | "comparator" => {
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
                            let [a, b] = ["from", "to"].map(|pin| self.pin(frame, device, pin)?.0);
                            let prefix = &self.frames[frame].prefix;
                            let name = format!("{prefix}{}", self.key(frame, device.name));
                            let place = self.place(frame, device.name);
                            self.circuit.open.extend(a.zip(b).map(|(a, b)| OpenSwitch {
                                name,
                                ends: [a, b],
                                place,
                            }));
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

    pub(crate) fn declare_two_ended(
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

    pub(crate) fn declare_pot(
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
    pub(crate) fn declare_later(
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

    /// `resistor R1: from a, to b, value 10k` is a path.
    pub(crate) fn element_as_a_device(&mut self, frame: usize, device: &'t Device, kind: &str) {
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

    /// The device is wrong, and a fault says so; its names exist all the same.
    pub(crate) fn declare_broken(&mut self, frame: usize, device: &'t Device) {
        let key = self.key(frame, device.name);
        if self.find(frame, &key).is_none() {
            let what = match self.key(frame, device.kind).as_str() {
                "opamp" | "comparator" => What::Other("an op-amp"),
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
    pub(crate) fn unknown_clause(
        &mut self,
        frame: usize,
        device: &'t Device,
        clause: &Clause,
        open: &[&str],
    ) {
        let word = self.key(frame, clause.word);
        // `light in, mid out`: the nodes stand before their words.
        let turned = |it: &Clause| match it.argument {
            Argument::Name(name) => {
                let (first, second) = (self.key(frame, it.word), self.key(frame, name));
                let turned = open.contains(&second.as_str()) && !open.contains(&first.as_str());
                turned.then(|| (it.word.to(name), format!("{second} {first}")))
            }
            _ => None,
        };
        let near = syntax::spelled(open.iter().copied(), &word);
        if near.is_none() && turned(clause).is_some() {
            let edits = device.clauses.iter().filter_map(turned);
            let edits = edits.map(|(span, text)| syntax::TextEdit { span, text });
            let edits: Vec<_> = edits.collect();
            let (what, example) = ("the word of a clause, then its node", "plus in");
            let title = format!("write `{}`", edits[0].text);
            let fix = syntax::Fix::likely(title, edits);
            let kind = FaultKind::Expected { what, example };
            self.fault(frame, clause.word, kind).fixes.push(fix);
            return;
        }
        let meant = |word: &str| {
            let of_trade = SYNONYMS.iter().find(|it| it.0.eq_ignore_ascii_case(word));
            let of_trade = of_trade.map(|it| it.1).filter(|it| open.contains(it));
            // `input` for a port `in`
            let mut begun = open
                .iter()
                .filter(|it| it.len() > 1 && word.starts_with(**it));
            let begun = begun.next().filter(|_| begun.next().is_none()).copied();
            of_trade.or(begun).filter(|it| *it != word)
        };
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
    pub(crate) fn clause_twice(
        &mut self,
        frame: usize,
        device: &'t Device,
        index: usize,
        must: &[&str],
    ) {
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

    pub(crate) fn argument_fits(
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
    pub(crate) fn pin(
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
    pub(crate) fn pin_nodes(&mut self, frame: usize, device: &'t Device, pins: &[&str]) {
        for clause in &device.clauses {
            if let Some(name) = name_of(clause, &self.key(frame, clause.word), pins) {
                self.node(frame, name, None);
            }
        }
    }
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
