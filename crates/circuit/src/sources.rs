//! Second pass over sources: where each one stands, and what it holds or pushes; what `start` sets.

use syntax::{Dimension, ExprKind, StatementId, StatementKind, quantity};
use syntax::{DriveKind, Expr, Form, Name, Number, Operator, SourceForm, WaveShape};

use crate::FaultKind;
use crate::formula::{Reads, less, linear};
use crate::model::*;
use crate::scope::{Builder, What};

impl<'t> Builder<'t> {
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

    pub(crate) fn source(&mut self, index: usize) -> Option<Source> {
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
    pub(crate) fn volts_from_into(&mut self, frame: usize, said: &syntax::Source) {
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
    pub(crate) fn wired_node(&mut self, frame: usize, name: Name) -> Option<NodeId> {
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
    pub(crate) fn drive(
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
                let of = |it: &Expr| {
                    let read = quantity::read(self.text(frame), it.span);
                    read.map(|it| it.dimension)
                };
                // `sine 1 kHz at 1 V`
                let exchanged = of(size) == Ok(Dimension::HERTZ) && of(frequency) == Ok(needed);
                let exchanged = exchanged.then_some((size.span, frequency.span));
                let Some(size) = self.wave_size(frame, *shape, size, needed) else {
                    if let (Some((a, b)), Some(fault)) =
                        (exchanged, self.faults.len().checked_sub(1))
                    {
                        let text = |span: syntax::Span| span.of(self.text(frame)).to_owned();
                        let text = format!("{} at {}", text(b), text(a));
                        self.faults[fault].fixes = vec![crate::scope::replace(a.to(b), text, true)];
                    }
                    return None;
                };
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

    pub(crate) fn wave_is_later(&mut self, frame: usize, drive: &syntax::Drive) {
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

    pub(crate) fn optional(
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
    pub(crate) fn wave_size(
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
        // `start C1 = 0 V`: of what lies between two nodes
        let key = self.key(frame, first);
        if let (Some(What::Element(index)), None) = (self.find(frame, &key), second)
            && let Some(Some(id)) = self.element_ids.get(index).copied()
            && self.circuit.elements[id.index()].kind == ElementKind::Capacitor
        {
            let [a, b] = self.circuit.elements[id.index()].ends;
            let [a, b] = [a, b].map(|it| self.circuit.node_name(it).to_owned());
            let between = match (a.as_str(), b.as_str()) {
                (a, "ground") => a.to_owned(),
                ("ground", b) => b.to_owned(),
                (a, b) => format!("{a} - {b}"),
            };
            let (what, example) = ("the voltage between two nodes", "start a - b = 2 V");
            self.fault(frame, first, FaultKind::Expected { what, example })
                .fixes
                .push(crate::scope::replace(first, between, false));
            return;
        }
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
