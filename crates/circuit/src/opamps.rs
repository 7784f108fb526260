//! Second pass over op-amps: their parts and their rails.

use syntax::{Argument, Name, Number, Rail as SaidRail};
use syntax::{Dimension, StatementId, StatementKind};

use crate::declare::{leave_out, rail_span};
use crate::formula::less;
use crate::model::*;
use crate::scope::{Builder, What};
use crate::{FaultKind, classes};

impl<'t> Builder<'t> {
    /// `supply` and `opamps are` of a circuit, then every op-amp.
    pub(crate) fn work_out_opamps(&mut self, circuit_frame: usize, statements: &[StatementId]) {
        let mut said = [false, false];
        for id in statements {
            let statement = self.statement(circuit_frame, *id);
            let word_end = |len: usize| syntax::Span {
                start: statement.span.start,
                end: statement.span.start + len as u32,
            };
            match &statement.kind {
                StatementKind::Supply(rails) => {
                    if std::mem::replace(&mut said[0], true) {
                        self.fault(
                            circuit_frame,
                            word_end(6),
                            FaultKind::SaidTwice("supply".into()),
                        )
                        .fixes
                        .push(leave_out(statement.span));
                        continue;
                    }
                    self.frames[circuit_frame].supply =
                        self.supply(circuit_frame, rails, statement.span);
                    if self.frames[circuit_frame].supply.is_none() {
                        self.circuit.perhaps.incomplete = true;
                    }
                }
                StatementKind::OpampsAre(name) => {
                    if std::mem::replace(&mut said[1], true) {
                        self.fault(
                            circuit_frame,
                            word_end(6),
                            FaultKind::SaidTwice("opamps are".into()),
                        )
                        .fixes
                        .push(leave_out(statement.span));
                        continue;
                    }
                    self.frames[circuit_frame].part = self.part(circuit_frame, *name);
                    if self.frames[circuit_frame].part.is_none() {
                        self.circuit.perhaps.incomplete = true;
                    }
                }
                _ => {}
            }
        }
        for index in 0..self.opamps.len() {
            match self.opamp(index, circuit_frame) {
                Some(opamp) => {
                    // The line that could not be read may have been a figure of this op-amp.
                    let part = opamp.part.and_then(|it| self.parts.get(it.index()));
                    self.circuit.perhaps.incomplete |= part.is_some_and(|it| it.incomplete);
                    self.circuit.opamps.push(opamp);
                    self.opamps[index].id = Some(OpampId(self.circuit.opamps.len() as u32 - 1));
                }
                None => {
                    let (frame, said) = (self.opamps[index].frame, self.opamps[index].said);
                    let name = self.key(frame, said.name);
                    self.perhaps_named(frame, name);
                    self.doubt_clauses(frame, said);
                }
            }
        }
    }

    pub(crate) fn opamp(&mut self, index: usize, circuit_frame: usize) -> Option<Opamp> {
        let it = &self.opamps[index];
        let (frame, said, place, description) =
            (it.frame, it.said, it.place, it.description.clone());
        let [plus, minus, drives] = ["plus", "minus", "drives"].map(|word| {
            let clause = self.clause(said, frame, word)?;
            let Argument::Name(name) = clause.argument else {
                return None;
            };
            match self.find(frame, &self.key(frame, name)) {
                Some(What::Node(node)) => Some((node, self.place(frame, name))),
                _ => None,
            }
        });
        let (plus, minus, drives) = (plus?, minus?, drives?);
        let comparator = self.key(frame, said.kind) == "comparator";
        let part = match self.clause(said, frame, "part").map(|it| &it.argument) {
            Some(Argument::Name(name)) => self.part(frame, *name)?,
            _ if comparator => None,
            _ => self.frames[frame]
                .part
                .or(self.frames[circuit_frame].part)
                .flatten(),
        };
        let supply = match self.clause(said, frame, "supply") {
            Some(clause) => match &clause.argument {
                Argument::Rails(rails) => Some(self.supply(frame, rails, clause.span)?),
                _ => None,
            },
            None => {
                let own = self.frames[frame].supply.clone();
                own.or_else(|| self.frames[circuit_frame].supply.clone())
            }
        };
        let prefix = &self.frames[frame].prefix;
        Some(Opamp {
            name: format!("{prefix}{}", self.key(frame, said.name)),
            plus: plus.0,
            minus: minus.0,
            drives: drives.0,
            comparator,
            part,
            supply,
            place,
            name_place: self.place(frame, said.name),
            pin_places: [plus.1, minus.1, drives.1],
            description,
        })
    }

    /// A part by name: `Some(None)` is `ideal`; `None`: unknown, and a fault says so.
    pub(crate) fn part(&mut self, frame: usize, name: Name) -> Option<Option<PartId>> {
        let key = self.key(frame, name);
        if key == "ideal" {
            return Some(None);
        }
        let shelf = self.library.shelf(self.frames[frame].file);
        let perhaps = self.perhaps(frame, &key);
        let own = shelf.parts.get(&key).copied();
        let class = || (!perhaps).then(|| classes::named(&key)).flatten();
        if let Some(id) = own.or_else(|| Some(self.class(class()?))) {
            let place = self.place(frame, name);
            let uses = &mut self.parts[id.index()].uses;
            if !uses.contains(&place) {
                uses.push(place);
            }
            return Some(Some(id));
        }
        if !shelf.incomplete && !perhaps {
            let classes = classes::classes().iter().map(|it| it.part.name.as_str());
            let mut known: Vec<&str> = shelf
                .parts
                .keys()
                .map(String::as_str)
                .chain(["ideal"])
                .chain(classes)
                .collect();
            known.sort_unstable();
            let near = syntax::nearest(known, &key).into_iter().take(3);
            let near: Vec<String> = near.map(str::to_owned).collect();
            let fixes = crate::scope::respelled(name, &key, &near);
            let mut near = near.into_iter();
            let kind = FaultKind::UnknownName {
                name: key.clone(),
                wanted: "part",
                nearest: near.next(),
                also: near.collect(),
            };
            let fault = self.fault(frame, name, kind);
            fault.subjects.push(key);
            fault.fixes.extend(fixes);
        }
        None
    }

    /// `part` and `supply` that a block's device says for the op-amps inside.
    pub(crate) fn blocks_to_supply(
        &mut self,
        frame: usize,
        inner: usize,
        device: &'t syntax::Device,
    ) {
        if let Some(Argument::Name(name)) =
            self.clause(device, frame, "part").map(|it| &it.argument)
        {
            let part = self.part(frame, *name);
            self.frames[inner].part = part;
        }
        if let Some(clause) = self.clause(device, frame, "supply")
            && let Argument::Rails(rails) = &clause.argument
        {
            self.block_supplies.push((frame, inner, rails, clause.span));
        }
    }

    /// Rails said at blocks: worked out once the sources are.
    pub(crate) fn work_out_block_supplies(&mut self) {
        for (frame, inner, rails, span) in std::mem::take(&mut self.block_supplies) {
            let supply = self.supply(frame, rails, span);
            self.frames[inner].supply = supply;
        }
        // A block inside a block takes what the one around it was told.
        for inner in 0..self.frames.len() {
            if let (None, Some(around)) = (&self.frames[inner].supply, self.frames[inner].around) {
                self.frames[inner].supply = self.frames[around].supply.clone();
            }
        }
    }

    pub(crate) fn supply(
        &mut self,
        frame: usize,
        rails: &'t [SaidRail],
        span: syntax::Span,
    ) -> Option<Supply> {
        let mut found = Vec::new();
        for (index, rail) in rails.iter().take(2).enumerate() {
            let Some(rail) = self.rail(frame, rail) else {
                self.other_rail(frame, &rails[index + 1..]);
                return None;
            };
            found.push(rail);
        }
        if found.len() < 2 {
            found.push(Rail {
                volts: Number::ZERO,
                node: Some(GROUND),
            });
        }
        let second = found.pop()?;
        let first = found.pop()?;
        if first.volts == second.volts {
            let (what, example) = ("another voltage than the first", "supply +9 V and -9 V");
            let at = rails.last().map_or(span, rail_span);
            let text = at.of(self.text(frame)).trim_start_matches('+').to_owned();
            let value = matches!(rails.last(), Some(SaidRail::Value { .. })) && rails.len() == 2;
            let fault = self.fault(frame, at, FaultKind::Expected { what, example });
            if value && !text.starts_with('-') {
                fault
                    .fixes
                    .push(crate::scope::replace(at, format!("-{text}"), false));
            }
            return None;
        }
        let (high, low) = if less(&first.volts, &second.volts) {
            (second, first)
        } else {
            (first, second)
        };
        Some(Supply {
            high,
            low,
            place: self.place(frame, span),
        })
    }

    fn other_rail(&mut self, frame: usize, others: &'t [SaidRail]) {
        let values = others.iter().filter_map(|it| match it {
            SaidRail::Value { value, .. } => Some(value.span),
            SaidRail::Node(_) => None,
        });
        self.volts_too(frame, values.collect());
    }

    /// Where a value lacks its unit, others beside it get it in one go.
    pub(crate) fn volts_too(&mut self, frame: usize, others: Vec<syntax::Span>) {
        let text = self.text(frame);
        let plain = others.into_iter().filter(|span| {
            let read = syntax::quantity::read(text, *span);
            read.is_ok_and(|it| it.form == syntax::Form::Plain && !it.value.is_zero())
        });
        let edits = plain.map(|span| syntax::TextEdit {
            span,
            text: format!("{} V", span.of(text)),
        });
        let edits: Vec<_> = edits.collect();
        if let Some(fault) = self.faults.last_mut()
            && matches!(
                fault.kind,
                FaultKind::UnitNeeded {
                    found: Dimension::NONE,
                    ..
                }
            )
            && let Some(fix) = fault.fixes.first_mut()
        {
            fix.extend(edits);
        }
    }

    pub(crate) fn rail(&mut self, frame: usize, rail: &'t SaidRail) -> Option<Rail> {
        match rail {
            SaidRail::Value {
                negative, value, ..
            } => {
                let volts = self.constant(frame, value, Dimension::VOLT)?;
                Some(Rail {
                    volts: if *negative { volts.neg() } else { volts },
                    node: None,
                })
            }
            SaidRail::Node(name) => {
                let key = self.key(frame, *name);
                if key == "ground" {
                    return Some(Rail {
                        volts: Number::ZERO,
                        node: Some(GROUND),
                    });
                }
                let node = match self.resolve(frame, *name, "node")? {
                    What::Node(node) => node,
                    What::Broken => return None,
                    _ => {
                        self.unknown_name(frame, *name, "node");
                        return None;
                    }
                };
                let held = self.circuit.sources.iter().find(|it| {
                    matches!(it.kind, SourceKind::Voltage { plus, minus: GROUND } if plus == node)
                });
                match held {
                    Some(it) if it.controls.is_empty() && it.wave.is_none() => Some(Rail {
                        volts: it.constant.clone(),
                        node: Some(node),
                    }),
                    None if self.circuit.perhaps.incomplete && self.perhaps_holds(frame, node) => {
                        None
                    }
                    // An end that hangs free is told where it does.
                    None if self.hangs_free(node) => None,
                    None if self.held_elsewhere(frame, node).is_some() => {
                        let (place, fix) = self.held_elsewhere(frame, node)?;
                        let mut fault =
                            crate::Fault::new(place, FaultKind::RailNotHeld(key.clone()));
                        fault.circuit = self.frames[frame].in_circuit.then_some(self.index);
                        fault.subjects.push(key);
                        fault.fixes.push(fix);
                        self.faults.push(fault);
                        None
                    }
                    _ => {
                        let span = rail_span(rail);
                        self.fault(frame, span, FaultKind::RailNotHeld(key.clone()))
                            .subjects
                            .push(key);
                        None
                    }
                }
            }
        }
    }

    /// Whether a source stands between this node and one that nothing else touches.
    pub(crate) fn hangs_free(&self, node: NodeId) -> bool {
        let alone = |it: NodeId| it != GROUND && self.circuit.nodes[it.index()].places.len() == 1;
        self.circuit.sources.iter().any(|it| match it.kind {
            SourceKind::Voltage { plus, minus } => {
                plus == node && alone(minus) || minus == node && alone(plus)
            }
            SourceKind::Current { .. } => false,
        })
    }

    /// Where a source holds a node that stands nowhere else and is called nearly so.
    pub(crate) fn held_elsewhere(
        &self,
        frame: usize,
        node: NodeId,
    ) -> Option<(syntax::Place, syntax::Fix)> {
        let name = self.circuit.node_name(node);
        let file = self.frames[frame].file;
        self.circuit.sources.iter().find_map(|it| {
            let SourceKind::Voltage {
                plus,
                minus: GROUND,
            } = it.kind
            else {
                return None;
            };
            let [place] = self.circuit.nodes[plus.index()].places[..] else {
                return None;
            };
            let held = self.circuit.node_name(plus);
            let near = syntax::spelled([held], name).is_some();
            let safe = syntax::same_digits(held, name);
            let fix = crate::scope::replace(place.span, name, safe);
            (near && place.file == file).then_some((place, fix))
        })
    }

    /// Whether a source that could not be worked out may hold this node.
    pub(crate) fn perhaps_holds(&self, frame: usize, node: NodeId) -> bool {
        let name = self.circuit.node_name(node);
        self.perhaps_held.contains(&node) || self.frames[frame].perhaps.contains(name)
    }
}
