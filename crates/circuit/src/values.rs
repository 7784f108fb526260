//! Second pass: what elements, sources, rails, op-amps and `start`s come to.

use syntax::{
    Argument, DriveKind, Expr, Form, Name, Number, Operator, Rail as SaidRail, SourceForm,
    WaveShape,
};
use syntax::{Dimension, ExprKind, StatementId, StatementKind, quantity};

use crate::FaultKind;
use crate::declare::{leave_out, rail_span};
use crate::formula::{Reads, less, linear};
use crate::model::*;
use crate::scope::{Builder, Made, Maker, Step, What};

impl<'t> Builder<'t> {
    /// Every `let` and every element, in the order of the text.
    pub(crate) fn work_out_values(&mut self) {
        for index in 0..self.lets.len() {
            self.let_value(index);
        }
        for index in 0..self.pending.len() {
            let made = self.element_value(index);
            let it = &self.pending[index];
            let (frame, ends) = (it.frame, it.ends);
            match (made, ends) {
                (Some(made), [Some(a), Some(b)]) => {
                    let it = &self.pending[index];
                    self.circuit.elements.push(Element {
                        name: it.name.clone(),
                        kind: made.kind,
                        value: made.value,
                        ends: [a, b],
                        place: it.place,
                        name_place: it.name_place,
                        value_place: made.value_place,
                        end_places: it.end_places,
                        tolerance: made.tolerance,
                        rating: made.rating,
                        polarised: made.polarised,
                        description: it.description.clone(),
                    });
                    self.element_ids
                        .push(Some(ElementId(self.circuit.elements.len() as u32 - 1)));
                }
                _ => {
                    let name = self.key(frame, self.pending[index].name_place.span);
                    self.perhaps_named(frame, name);
                    self.doubt_ends(ends.into_iter().flatten());
                    self.element_ids.push(None);
                }
            }
        }
    }

    /// What an element is and its value, worked out once.
    pub(crate) fn element_value(&mut self, index: usize) -> Option<Made> {
        match &self.pending[index].value {
            Step::Done(made) => return made.clone(),
            Step::Busy => {
                let it = &self.pending[index];
                let (frame, span) = (it.frame, it.name_place.span);
                let name = self.key(frame, span);
                self.fault(frame, span, FaultKind::Ring(name.clone()))
                    .subjects
                    .push(name);
                self.pending[index].value = Step::Done(None);
                return None;
            }
            Step::Waiting => {}
        }
        self.pending[index].value = Step::Busy;
        let (frame, maker) = (self.pending[index].frame, self.pending[index].maker);
        let made = match maker {
            Maker::Path(element) => self.path_element(frame, element),
            Maker::Wire => Some(Made {
                kind: ElementKind::Wire,
                value: Number::ZERO,
                tolerance: None,
                rating: None,
                polarised: false,
                value_place: self.pending[index].name_place,
            }),
            Maker::PotHalf(total, at, lower) => self.pot_half(frame, total, at, lower),
            Maker::Electrolytic(value, rated) => self.electrolytic(frame, value, rated),
        };
        if matches!(self.pending[index].value, Step::Busy) {
            self.pending[index].value = Step::Done(made.clone());
            return made;
        }
        None
    }

    fn path_element(&mut self, frame: usize, element: &'t syntax::Element) -> Option<Made> {
        let typed = self.formula(frame, &element.value, Reads::Values)?;
        let text = element.name.of(self.text(frame));
        let called = match (text.chars().next(), text.get(1..)) {
            (Some('C'), Some(rest)) if rest.bytes().all(|it| it.is_ascii_digit()) => {
                Dimension::FARAD
            }
            (Some('L'), Some(rest)) if rest.bytes().all(|it| it.is_ascii_digit()) => {
                Dimension::HENRY
            }
            _ => Dimension::OHM,
        };
        if self.is_tolerance_first(frame, element, &typed) {
            return None;
        }
        // A bare number as an element's value is in ohms.
        let bare = typed.plain && matches!(element.value.kind, ExprKind::Quantity);
        // But a bare number at `C1` has lost its unit: nobody names a resistor so.
        if bare && called != Dimension::OHM {
            let (needed, found) = (called, Dimension::NONE);
            let name = self.key(frame, element.name);
            self.fault(
                frame,
                element.value.span,
                FaultKind::UnitNeeded { needed, found },
            )
            .subjects
            .push(name);
            return None;
        }
        let dimension = if bare || typed.zero {
            Dimension::OHM
        } else {
            typed.dimension
        };
        let number = typed.number()?.clone();
        let kind = match dimension {
            Dimension::OHM | Dimension::SIEMENS => ElementKind::Resistor,
            Dimension::FARAD => ElementKind::Capacitor,
            Dimension::HENRY => ElementKind::Inductor,
            found => {
                let kind = FaultKind::UnitNeeded {
                    needed: called,
                    found,
                };
                let name = self.key(frame, element.name);
                self.fault(frame, element.value.span, kind)
                    .subjects
                    .push(name);
                return None;
            }
        };
        if number.to_f64() <= 0.0 {
            let name = self.key(frame, element.name);
            self.fault(frame, element.value.span, FaultKind::NotPositive)
                .subjects
                .push(name);
            return None;
        }
        let value = if dimension == Dimension::SIEMENS {
            Number::ONE.div(&number)?
        } else {
            number
        };
        let (mut tolerance, mut rating) = (None, None);
        for extra in &element.extras {
            let percent = matches!(extra.kind, ExprKind::Quantity)
                && quantity::read(self.text(frame), extra.span)
                    .is_ok_and(|it| it.form == Form::Percent);
            let rated = match kind {
                ElementKind::Resistor => Dimension::WATT,
                ElementKind::Capacitor => Dimension::VOLT,
                _ => Dimension::AMPERE,
            };
            let (slot, needed) = if percent {
                (&mut tolerance, Dimension::NONE)
            } else {
                (&mut rating, rated)
            };
            let text = extra.span.of(self.text(frame)).to_owned();
            if slot.is_some() {
                let gap = syntax::Span {
                    start: text_end_before(self.text(frame), extra.span.start),
                    end: extra.span.end,
                };
                self.fault(frame, extra.span, FaultKind::SaidTwice(text))
                    .fixes
                    .push(leave_out(gap));
                return None;
            }
            if text.bytes().all(|it| it.is_ascii_digit() || it == b'.') {
                let kind = FaultKind::Expected {
                    what: "a tolerance in % or a rating with its unit",
                    example: "R1 10k 1 %",
                };
                let percent = format!("{text} %");
                self.fault(frame, extra.span, kind)
                    .fixes
                    .push(crate::scope::replace(extra.span, percent, false));
                return None;
            }
            *slot = Some(self.positive(frame, extra, needed)?);
        }
        let value_place = self.place(frame, element.value.span);
        Some(Made {
            kind,
            value,
            tolerance,
            rating,
            polarised: false,
            value_place,
        })
    }

    /// `R1 1 % 10k`
    fn is_tolerance_first(
        &mut self,
        frame: usize,
        element: &'t syntax::Element,
        typed: &crate::formula::Typed,
    ) -> bool {
        let text = self.text(frame);
        let (Some(value), percent) = (element.extras.first(), element.value.span.of(text)) else {
            return false;
        };
        let first = typed.dimension == Dimension::NONE
            && percent.ends_with('%')
            && !value.span.of(text).ends_with('%');
        if first {
            let kind = FaultKind::Expected {
                what: "the value before its tolerance",
                example: "R1 10k 1 %",
            };
            let both = element.value.span.to(value.span);
            let text = format!("{} {percent}", value.span.of(text));
            self.fault(frame, element.value.span, kind)
                .fixes
                .push(crate::scope::replace(both, text, true));
        }
        first
    }

    fn pot_half(
        &mut self,
        frame: usize,
        total: &'t Expr,
        at: &'t Expr,
        lower: bool,
    ) -> Option<Made> {
        // Both halves read the same words: only the first tells what is wrong with them.
        let before = self.faults.len();
        let all = self.positive(frame, total, Dimension::OHM);
        let share = self.constant(frame, at, Dimension::NONE);
        let inside = |it: &Number| !less(it, &Number::ZERO) && !less(&Number::ONE, it);
        if let Some(share) = &share
            && !inside(share)
        {
            self.share(frame, at, "at 30 %");
        }
        let wrong = self.faults.len() > before;
        if !lower {
            self.faults.truncate(before);
        }
        let (all, share) = (all?, share?);
        if wrong {
            return None;
        }
        let share = if lower {
            share
        } else {
            Number::ONE.sub(&share)
        };
        let value = all.mul(&share);
        let kind = if value.is_zero() {
            ElementKind::Wire
        } else {
            ElementKind::Resistor
        };
        let value_place = self.place(frame, total.span);
        Some(Made {
            kind,
            value,
            tolerance: None,
            rating: None,
            polarised: false,
            value_place,
        })
    }

    fn electrolytic(
        &mut self,
        frame: usize,
        value: &'t Expr,
        rated: Option<&'t Expr>,
    ) -> Option<Made> {
        let farads = self.positive(frame, value, Dimension::FARAD)?;
        let rating = match rated {
            Some(rated) => Some(self.positive(frame, rated, Dimension::VOLT)?),
            None => None,
        };
        let value_place = self.place(frame, value.span);
        Some(Made {
            kind: ElementKind::Capacitor,
            value: farads,
            tolerance: None,
            rating,
            polarised: true,
            value_place,
        })
    }

    /// Every source, in the order of the text.
    pub(crate) fn work_out_sources(&mut self) {
        for index in 0..self.sources.len() {
            let source = self.source(index);
            match source {
                Some(source) => {
                    self.circuit.sources.push(source);
                    self.sources[index].id = Some(SourceId(self.circuit.sources.len() as u32 - 1));
                }
                None => {
                    let (frame, said) = (self.sources[index].frame, self.sources[index].said);
                    let name = self.key(frame, said.name);
                    self.perhaps_named(frame, name);
                    let names: Vec<Name> = match said.form {
                        SourceForm::Held { plus, minus } => {
                            [Some(plus), minus].into_iter().flatten().collect()
                        }
                        SourceForm::Current { from, into } => vec![from, into],
                    };
                    let nodes: Vec<NodeId> = names
                        .into_iter()
                        .filter_map(|it| match self.find(frame, &self.key(frame, it)) {
                            Some(What::Node(node)) => Some(node),
                            _ => None,
                        })
                        .collect();
                    self.doubt(nodes);
                }
            }
        }
    }

    fn source(&mut self, index: usize) -> Option<Source> {
        let it = &self.sources[index];
        let (frame, said, place, description) =
            (it.frame, it.said, it.place, it.description.clone());
        let (kind, needed, end_places) = match said.form {
            SourceForm::Held { plus, minus } => {
                let [plus_node, minus_node] = [Some(plus), minus].map(|it| match it {
                    None => Some(GROUND),
                    Some(name) => match self.find(frame, &self.key(frame, name)) {
                        Some(What::Node(node)) => Some(node),
                        _ => None,
                    },
                });
                let places = [
                    Some(self.place(frame, plus)),
                    minus.map(|it| self.place(frame, it)),
                ];
                (
                    SourceKind::Voltage {
                        plus: plus_node?,
                        minus: minus_node?,
                    },
                    Dimension::VOLT,
                    places,
                )
            }
            SourceForm::Current { from, into } => {
                let a = self.wired_node(frame, from);
                let b = self.wired_node(frame, into);
                let places = [Some(self.place(frame, from)), Some(self.place(frame, into))];
                (
                    SourceKind::Current { from: a?, into: b? },
                    Dimension::AMPERE,
                    places,
                )
            }
        };
        let own = match kind {
            SourceKind::Voltage { plus, minus } => [plus, minus],
            SourceKind::Current { .. } => [GROUND, GROUND],
        };
        let drive = self.drive(frame, &said.drive, needed, own);
        if drive.is_none() {
            self.volts_from_into(frame, said);
        }
        let (constant, controls, wave) = drive?;
        let prefix = &self.frames[frame].prefix;
        Some(Source {
            name: format!("{prefix}{}", self.key(frame, said.name)),
            kind,
            constant,
            controls,
            wave,
            place,
            name_place: self.place(frame, said.name),
            drive_place: self.place(frame, said.drive.span),
            end_places,
            description,
        })
    }

    /// `1.2 V from ground into in`: a voltage is held, not pushed.
    fn volts_from_into(&mut self, frame: usize, said: &syntax::Source) {
        let SourceForm::Current { from, into } = said.form else {
            return;
        };
        let text = |span: syntax::Span| span.of(self.text(frame));
        let (a, b, drive) = (text(from), text(into), text(said.drive.span));
        let held = match (a, b) {
            ("ground", b) => format!("{b} = {drive}"),
            (_, "ground") => return,
            (a, b) => format!("{b} - {a} = {drive}"),
        };
        let fix = crate::scope::replace(said.drive.span.to(into), held, false);
        let place = self.place(frame, said.drive.span);
        let told = |it: &&mut crate::Fault| {
            let volts = matches!(
                it.kind,
                FaultKind::UnitNeeded {
                    found: Dimension::VOLT,
                    ..
                }
            );
            it.place == place && volts
        };
        if let Some(fault) = self.faults.last_mut().filter(told) {
            fault.fixes = vec![fix];
        }
    }

    /// A node that must exist already: the ends of a current source only read.
    fn wired_node(&mut self, frame: usize, name: Name) -> Option<NodeId> {
        match self.resolve(frame, name, "node")? {
            What::Node(node) => {
                if self.key(frame, name).contains('.') {
                    let key = self.key(frame, name);
                    self.fault(frame, name, FaultKind::InsideName(key));
                    return None;
                }
                Some(node)
            }
            What::Broken => None,
            _ => {
                self.unknown_name(frame, name, "node");
                None
            }
        }
    }

    #[allow(clippy::type_complexity)]
    fn drive(
        &mut self,
        frame: usize,
        drive: &'t syntax::Drive,
        needed: Dimension,
        own: [NodeId; 2],
    ) -> Option<(Number, Vec<(NodeId, Number)>, Option<Wave>)> {
        match &drive.kind {
            DriveKind::Linear(expr) => {
                let typed = self.formula(frame, expr, Reads::Voltages(own))?;
                let Some(it) = linear(&typed.formula) else {
                    self.fault(frame, expr.span, FaultKind::DriveForm);
                    return None;
                };
                self.of_dimension(frame, &typed, needed)?;
                let controls = it
                    .nodes
                    .into_iter()
                    .filter(|(node, _)| *node != GROUND)
                    .collect();
                Some((it.constant, controls, None))
            }
            DriveKind::Periodic {
                shape,
                size,
                frequency,
                offset,
                phase,
                duty,
            } => {
                let size = self.wave_size(frame, *shape, size, needed)?;
                let frequency = self.positive(frame, frequency, Dimension::HERTZ)?;
                let offset = self.optional(frame, offset.as_ref(), needed, Number::ZERO)?;
                let phase =
                    self.optional(frame, phase.as_ref(), Dimension::DEGREE, Number::ZERO)?;
                let half = Number::ONE.div(&Number::ONE.add(&Number::ONE))?;
                let said_duty = duty;
                let duty = self.optional(frame, duty.as_ref(), Dimension::NONE, half)?;
                let share = !less(&duty, &Number::ZERO) && !less(&Number::ONE, &duty);
                if let (false, Some(said)) = (share, said_duty) {
                    self.share(frame, said, "duty 30 %");
                    return None;
                }
                self.wave_is_later(frame, drive);
                let wave = Wave::Periodic {
                    shape: *shape,
                    size,
                    frequency,
                    offset: offset.clone(),
                    phase,
                    duty,
                };
                Some((offset, Vec::new(), Some(wave)))
            }
            DriveKind::Step { from, to, at } => {
                let from = self.constant(frame, from, needed)?;
                let to = self.constant(frame, to, needed)?;
                let at = self.constant(frame, at, Dimension::SECOND)?;
                self.wave_is_later(frame, drive);
                Some((from.clone(), Vec::new(), Some(Wave::Step { from, to, at })))
            }
            DriveKind::Through(corners) => {
                let mut all: Vec<(Number, Number)> = Vec::new();
                for (level, time) in corners {
                    let level = self.constant(frame, level, needed)?;
                    let at = self.constant(frame, time, Dimension::SECOND)?;
                    if all.last().is_some_and(|(before, _)| less(&at, before)) {
                        let (what, example) = (
                            "a time after the one before",
                            "through 0 V at 0 s, 2 V at 1 ms",
                        );
                        self.fault(frame, time.span, FaultKind::Expected { what, example });
                        return None;
                    }
                    all.push((at, level));
                }
                self.wave_is_later(frame, drive);
                let first = all.first()?.1.clone();
                Some((first, Vec::new(), Some(Wave::Through(all))))
            }
        }
    }

    fn wave_is_later(&mut self, frame: usize, drive: &syntax::Drive) {
        let word: String = drive
            .span
            .of(self.text(frame))
            .chars()
            .take_while(|it| it.is_alphabetic())
            .collect();
        let at = syntax::Span {
            start: drive.span.start,
            end: drive.span.start + word.len() as u32,
        };
        self.later(frame, &word, at, false, &[]);
    }

    /// Not from 0 to 1: a number without its sign of percent, or beyond.
    fn share(&mut self, frame: usize, at: &Expr, example: &'static str) {
        let what = "a share from 0 % to 100 %";
        let text = at.span.of(self.text(frame)).to_owned();
        let fault = self.fault(frame, at.span, FaultKind::Expected { what, example });
        if text.parse::<f64>().is_ok_and(|it| it <= 100.0) {
            let percent = format!("{text} %");
            fault
                .fixes
                .push(crate::scope::replace(at.span, percent, false));
        }
    }

    fn optional(
        &mut self,
        frame: usize,
        expr: Option<&'t Expr>,
        dimension: Dimension,
        default: Number,
    ) -> Option<Number> {
        match expr {
            Some(expr) => self.constant(frame, expr, dimension),
            None => Some(default),
        }
    }

    /// The size of a wave: an amplitude; `Vpp` is twice, `Vrms` of a sine √½ of it.
    fn wave_size(
        &mut self,
        frame: usize,
        shape: WaveShape,
        size: &'t Expr,
        needed: Dimension,
    ) -> Option<Number> {
        if matches!(size.kind, ExprKind::Quantity)
            && let Ok(it) = quantity::read(self.text(frame), size.span)
            && matches!(it.form, Form::PeakToPeak | Form::RootMeanSquare)
        {
            if needed != Dimension::VOLT {
                let kind = FaultKind::UnitNeeded {
                    needed,
                    found: it.dimension,
                };
                self.fault(frame, size.span, kind);
                return None;
            }
            let factor = match (it.form, shape) {
                (Form::RootMeanSquare, WaveShape::Sine) => {
                    Number::rounded(std::f64::consts::SQRT_2)
                }
                (Form::RootMeanSquare, WaveShape::Triangle) => Number::rounded(3f64.sqrt()),
                _ => Number::ONE,
            };
            return Some(it.value.mul(&factor));
        }
        self.constant(frame, size, needed)
    }

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

    fn opamp(&mut self, index: usize, circuit_frame: usize) -> Option<Opamp> {
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
        let part = match self.clause(said, frame, "part").map(|it| &it.argument) {
            Some(Argument::Name(name)) => self.part(frame, *name)?,
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
        if let Some(id) = shelf.parts.get(&key) {
            let place = self.place(frame, name);
            let uses = &mut self.parts[id.index()].uses;
            if !uses.contains(&place) {
                uses.push(place);
            }
            return Some(Some(*id));
        }
        if !shelf.incomplete && !self.perhaps(frame, &key) {
            let mut known: Vec<&str> = shelf
                .parts
                .keys()
                .map(String::as_str)
                .chain(["ideal"])
                .collect();
            known.sort_unstable();
            let nearest = syntax::spelled(known, &key).map(str::to_owned);
            let kind = FaultKind::UnknownName {
                name: key.clone(),
                wanted: "part",
                nearest: nearest.clone(),
            };
            let fault = self.fault(frame, name, kind);
            fault.subjects.push(key);
            fault
                .fixes
                .extend(nearest.map(|it| crate::scope::replace(name, it, true)));
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

    fn supply(
        &mut self,
        frame: usize,
        rails: &'t [SaidRail],
        span: syntax::Span,
    ) -> Option<Supply> {
        let mut found = Vec::new();
        for rail in rails.iter().take(2) {
            found.push(self.rail(frame, rail)?);
        }
        if found.len() < 2 {
            found.push(Rail {
                volts: Number::ZERO,
                node: Some(GROUND),
            });
        }
        let second = found.pop()?;
        let first = found.pop()?;
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

    fn rail(&mut self, frame: usize, rail: &'t SaidRail) -> Option<Rail> {
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
    fn hangs_free(&self, node: NodeId) -> bool {
        let alone = |it: NodeId| it != GROUND && self.circuit.nodes[it.index()].places.len() == 1;
        self.circuit.sources.iter().any(|it| match it.kind {
            SourceKind::Voltage { plus, minus } => {
                plus == node && alone(minus) || minus == node && alone(plus)
            }
            SourceKind::Current { .. } => false,
        })
    }

    /// Where a source holds a node that stands nowhere else and is called nearly so.
    fn held_elsewhere(&self, frame: usize, node: NodeId) -> Option<(syntax::Place, syntax::Fix)> {
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
            let near = syntax::spelled([self.circuit.node_name(plus)], name).is_some();
            let fix = crate::scope::replace(place.span, name, true);
            (near && place.file == file).then_some((place, fix))
        })
    }

    /// Whether a source that could not be worked out may hold this node.
    pub(crate) fn perhaps_holds(&self, frame: usize, node: NodeId) -> bool {
        let name = self.circuit.node_name(node);
        self.perhaps_held.contains(&node) || self.frames[frame].perhaps.contains(name)
    }

    /// What `start` sets.
    pub(crate) fn work_out_start(&mut self, frame: usize, id: StatementId) {
        let statement = self.statement(frame, id);
        let StatementKind::Start { of, value } = &statement.kind else {
            return;
        };
        let place = self.place(frame, statement.span);
        if let ExprKind::Call(name, arguments) = &of.kind {
            let current = self.key(frame, *name) == "current";
            if let (true, [argument]) = (current, arguments.as_slice()) {
                let Some(what) = self.resolve(frame, argument.span, "inductor") else {
                    return;
                };
                let element = match what {
                    What::Element(index) => self.element_ids.get(index).copied().flatten(),
                    _ => None,
                };
                let Some(element) = element else { return };
                if self.circuit.elements[element.index()].kind != ElementKind::Inductor {
                    self.fault(frame, argument.span, FaultKind::StartNowhere);
                    return;
                }
                if let Some(amperes) = self.constant(frame, value, Dimension::AMPERE) {
                    self.circuit.starts.push(Start::Current {
                        element,
                        amperes,
                        place,
                    });
                }
                return;
            }
        }
        let ends = match &of.kind {
            ExprKind::Ref => Some((of.span, None)),
            ExprKind::Binary {
                operator: Operator::Minus,
                left,
                right,
                ..
            } if matches!((&left.kind, &right.kind), (ExprKind::Ref, ExprKind::Ref)) => {
                Some((left.span, Some(right.span)))
            }
            _ => None,
        };
        let Some((first, second)) = ends else {
            self.fault(frame, of.span, FaultKind::StartNowhere);
            return;
        };
        let plus = self.wired_node(frame, first);
        let minus = match second {
            Some(name) => self.wired_node(frame, name),
            None => Some(GROUND),
        };
        let volts = self.constant(frame, value, Dimension::VOLT);
        let (Some(plus), Some(minus), Some(volts)) = (plus, minus, volts) else {
            return;
        };
        let lies = self.circuit.elements.iter().any(|it| {
            it.kind == ElementKind::Capacitor
                && (it.ends == [plus, minus] || it.ends == [minus, plus])
        });
        let doubtful = [plus, minus]
            .iter()
            .any(|it| self.circuit.perhaps.nodes.contains(it))
            || self.tree(frame).faults.iter().any(|it| it.unfinished);
        let named = |it: NodeId| {
            it != GROUND
                && self.frames[frame]
                    .perhaps
                    .contains(self.circuit.node_name(it))
        };
        if !lies && !doubtful && !(named(plus) && (minus == GROUND || named(minus))) {
            self.fault(frame, of.span, FaultKind::StartNowhere);
            return;
        }
        self.circuit.starts.push(Start::Voltage {
            plus,
            minus,
            volts,
            place,
        });
    }
}

/// Where the word before this offset ends.
fn text_end_before(text: &str, offset: u32) -> u32 {
    text[..offset as usize].trim_end().len() as u32
}
