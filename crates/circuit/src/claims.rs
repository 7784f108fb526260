//! Third pass: claims, what is allowed, and the tasks that are read and not computed yet.

use syntax::{
    Dimension, Expr, Name, Number, Span, StateClaim as Said, Statement, StatementId, StatementKind,
};
use syntax::{Expect, ExprKind, Form, VaryRange, quantity};

use crate::FaultKind;
use crate::formula::{Reads, less};
use crate::model::*;
use crate::scope::{Builder, What};

impl<'t> Builder<'t> {
    pub(crate) fn claims(&mut self, frame: usize, statements: &[StatementId]) {
        for id in statements {
            let statement = self.statement(frame, *id);
            match &statement.kind {
                StatementKind::Expect(expect) => self.claim(frame, statement, expect),
                StatementKind::Allow { rule, at, .. } => {
                    self.subject(frame, *at);
                    let (rule, at) = (self.key(frame, *rule), self.key(frame, *at));
                    let place = self.place(frame, statement.span);
                    self.circuit.allows.push(Allow { rule, at, place });
                }
                StatementKind::Start { .. } => {
                    self.work_out_start(frame, *id);
                    self.word_is_later(frame, statement, "start");
                }
                StatementKind::Task { ask, .. } => {
                    self.word_is_later(frame, statement, if *ask { "ask" } else { "problem" });
                }
                StatementKind::Answer(_) => self.word_is_later(frame, statement, "answer"),
                StatementKind::Find { exprs, .. } => {
                    self.answers(frame, exprs);
                    self.word_is_later(frame, statement, "find");
                }
                StatementKind::Record { exprs, time } => {
                    self.answers(frame, exprs);
                    self.positive(frame, time, Dimension::SECOND);
                    self.word_is_later(frame, statement, "record");
                }
                StatementKind::Response {
                    of,
                    driven_by,
                    from,
                    to,
                } => {
                    let ratio = self.formula(frame, of, Reads::Answers);
                    if driven_by.is_none() {
                        self.one_source(frame, of, ratio);
                    }
                    if let Some(name) = driven_by
                        && let Some(what) = self.resolve(frame, *name, "source")
                        && !matches!(what, What::Source(_) | What::Broken)
                    {
                        self.unknown_name(frame, *name, "source");
                    }
                    let lower = self.positive(frame, from, Dimension::HERTZ);
                    let upper = self.positive(frame, to, Dimension::HERTZ);
                    if let (Some(lower), Some(upper)) = (lower, upper)
                        && !less(&lower, &upper)
                    {
                        let (what, example) =
                            ("a higher frequency than the first", "from 1 Hz to 1 kHz");
                        let text = |span: Span| span.of(self.text(frame)).to_owned();
                        let exchanged = format!("{} to {}", text(to.span), text(from.span));
                        let both = from.span.to(to.span);
                        self.fault(frame, to.span, FaultKind::Expected { what, example })
                            .fixes
                            .push(crate::scope::replace(both, exchanged, false));
                    }
                    self.word_is_later(frame, statement, "response");
                }
                StatementKind::Require { left, right, .. } => {
                    let left = self.formula(frame, left, Reads::Answers);
                    let right = self.formula(frame, right, Reads::Answers);
                    if let (Some(left), Some(right)) = (left, right) {
                        self.same(frame, &left, &right, "compared");
                    }
                    self.word_is_later(frame, statement, "require");
                }
                StatementKind::Vary { of, range } => {
                    self.vary(frame, *of, range);
                    self.word_is_later(frame, statement, "vary");
                }
                StatementKind::Work { .. } => self.word_is_later(frame, statement, "work"),
                _ => {}
            }
        }
    }

    fn answers(&mut self, frame: usize, exprs: &'t [Expr]) {
        for expr in exprs {
            self.formula(frame, expr, Reads::Answers);
        }
    }

    pub(crate) fn word_is_later(&mut self, frame: usize, statement: &Statement, word: &str) {
        let span = Span {
            start: statement.span.start,
            end: statement.span.start + word.len() as u32,
        };
        self.later(frame, word, span, false, &[]);
    }

    fn vary(&mut self, frame: usize, of: Name, range: &'t VaryRange) {
        let Some(what) = self.resolve(frame, of, "element or `let`") else {
            return;
        };
        let dimension = match what {
            What::Element(index) => self.element_quantity(index).map(|it| it.1),
            What::Let(index) => self.let_value(index).map(|it| it.dimension),
            What::Broken => return,
            other => {
                let key = self.key(frame, of);
                let kind = FaultKind::NoValue {
                    name: key,
                    is: other.noun(),
                };
                self.fault(frame, of, kind);
                return;
            }
        };
        let values: Vec<&Expr> = match range {
            VaryRange::Among(values) => values.iter().collect(),
            VaryRange::By(from, to, by) => vec![from, to, by],
            VaryRange::In(from, to, series) => {
                if crate::series::decade(&self.key(frame, *series)).is_none() {
                    self.unknown_word(frame, *series, "series", crate::series::NAMES);
                }
                vec![from, to]
            }
        };
        let mut worth = Vec::new();
        for value in values {
            let Some(typed) = self.formula(frame, value, Reads::Values) else {
                continue;
            };
            worth.extend(typed.number().cloned());
            // A bare number is in ohms, as in a path.
            let bare = typed.plain && dimension == Some(Dimension::OHM);
            if let Some(dimension) = dimension.filter(|_| !bare)
                && self.of_dimension(frame, &typed, dimension).is_none()
            {
                return;
            }
        }
        self.steps(frame, range, &worth);
    }

    /// A range that has no values in it: it falls where it is to rise, or goes on by nothing.
    fn steps(&mut self, frame: usize, range: &'t VaryRange, worth: &[Number]) {
        let (from, to, by) = match range {
            VaryRange::By(from, to, by) => (from, to, Some(by)),
            VaryRange::In(from, to, _) => (from, to, None),
            VaryRange::Among(_) => return,
        };
        let (Some(first), Some(last)) = (worth.first(), worth.get(1)) else {
            return;
        };
        let step = worth.get(2).map_or(1.0, Number::to_f64);
        if let Some(by) = by.filter(|_| step == 0.0) {
            let (what, example) = ("a step", "by 1k");
            self.fault(frame, by.span, FaultKind::Expected { what, example });
        } else if less(last, first) && step > 0.0 {
            let (what, example) = ("a larger value than the first", "from 1k to 10k");
            let text = |span: Span| span.of(self.text(frame)).to_owned();
            let exchanged = format!("{} to {}", text(to.span), text(from.span));
            let both = from.span.to(to.span);
            self.fault(frame, to.span, FaultKind::Expected { what, example })
                .fixes
                .push(crate::scope::replace(both, exchanged, false));
        }
    }

    /// The name after `at`: a subject that findings can be about.
    fn subject(&mut self, frame: usize, name: Name) {
        let key = self.key(frame, name);
        let shelf = self.library.shelf(self.frames[frame].file);
        let known = self.find(frame, &key).is_some()
            || self.perhaps(frame, &key)
            || shelf.parts.contains_key(&key)
            || shelf.blocks.contains_key(&key);
        if !known {
            self.unknown_name(frame, name, "name");
        }
    }

    fn claim(&mut self, frame: usize, statement: &'t Statement, expect: &'t Expect) {
        let text = statement.span.of(self.text(frame));
        let text = text
            .strip_prefix("expect")
            .unwrap_or(text)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        let kind = match expect {
            Expect::Finding { rule, at } => {
                self.subject(frame, *at);
                Some(ClaimKind::Finding {
                    rule: self.key(frame, *rule),
                    at: self.key(frame, *at),
                })
            }
            Expect::State { of, state } => self.state(frame, *of, state),
            Expect::Equal {
                always,
                left,
                right,
                at,
                within,
            } => self.equal(
                frame,
                always.is_some(),
                (left, right),
                at.as_ref(),
                within.as_ref(),
            ),
        };
        let place = self.place(frame, statement.span);
        self.circuit.claims.push(Claim { place, text, kind });
    }

    fn state(&mut self, frame: usize, of: Name, state: &'t Said) -> Option<ClaimKind> {
        let what = self.resolve(frame, of, "op-amp");
        let goes = match state {
            Said::Goes {
                node, at, within, ..
            } => self.goes(frame, *node, at, within.as_ref()),
            _ => None,
        };
        let opamp = match what? {
            What::Opamp(index) => self.opamps[index].id?,
            What::Other("an op-amp") | What::Broken => return None,
            _ => {
                self.unknown_name(frame, of, "op-amp");
                return None;
            }
        };
        let state = match state {
            Said::Linear => StateClaim::Linear,
            Said::Latches => StateClaim::Latches,
            Said::Oscillates => StateClaim::Oscillates,
            Said::AtRail { high } => StateClaim::AtRail { high: *high },
            Said::Goes { high, .. } => {
                let (source, at, within) = goes?;
                StateClaim::Goes {
                    high: *high,
                    source,
                    at,
                    within,
                }
            }
        };
        Some(ClaimKind::State { opamp, state })
    }

    fn goes(
        &mut self,
        frame: usize,
        node: Name,
        at: &'t Expr,
        within: Option<&'t Expr>,
    ) -> Option<(SourceId, Number, Within)> {
        let volts = self.constant(frame, at, Dimension::VOLT);
        let within = self.within(frame, within, Dimension::VOLT);
        let id = self.wired(frame, node)?;
        let source = self.circuit.sources.iter().position(|it| match it.kind {
            SourceKind::Voltage { plus, minus } => {
                it.controls.is_empty()
                    && (plus == id && minus == GROUND || minus == id && plus == GROUND)
            }
            SourceKind::Current { .. } => false,
        });
        let Some(source) = source else {
            if !self.perhaps_holds(frame, id) {
                let key = self.key(frame, node);
                self.fault(frame, node, FaultKind::RailNotHeld(key));
            }
            return None;
        };
        Some((SourceId(source as u32), volts?, within?))
    }

    fn wired(&mut self, frame: usize, name: Name) -> Option<NodeId> {
        match self.resolve(frame, name, "node")? {
            What::Node(id) => Some(id),
            What::Broken => None,
            _ => {
                self.unknown_name(frame, name, "node");
                None
            }
        }
    }

    fn equal(
        &mut self,
        frame: usize,
        always: bool,
        (left, right): (&'t Expr, &'t Expr),
        at: Option<&'t Expr>,
        within: Option<&'t Expr>,
    ) -> Option<ClaimKind> {
        let value_place = self.place(frame, right.span);
        if self.state_behind_equals(frame, left, right) {
            return None;
        }
        let left = self.formula(frame, left, Reads::Answers);
        let before = self.faults.len();
        let said = right;
        let right = self.formula(frame, said, Reads::Answers);
        if right.is_none() && self.faults.len() > before {
            self.plus_or_minus(frame, said);
        }
        let (left, right) = (left?, right?);
        let Some(dimension) = self.same(frame, &left, &right, "compared") else {
            self.fraction_of_a_unit(frame, said);
            return None;
        };
        let when = match at {
            Some(at) => Some(self.when(frame, at)?),
            None => None,
        };
        let within = self.within(frame, within, dimension)?;
        let free = if always {
            self.free(&[&left.formula, &right.formula])
        } else {
            Vec::new()
        };
        let (left, right) = (left.formula, right.formula);
        Some(ClaimKind::Equal {
            always,
            left,
            right,
            dimension,
            at: when,
            within,
            value_place,
            free,
        })
    }

    /// `3 V +- 1 %`, told as volts and a share that cannot be added, is a tolerance.
    fn plus_or_minus(&mut self, frame: usize, value: &Expr) {
        let ExprKind::Binary {
            operator: syntax::Operator::Plus,
            sign,
            left,
            right,
        } = &value.kind
        else {
            return;
        };
        let ExprKind::Negative(share) = &right.kind else {
            return;
        };
        let text = self.text(frame);
        let percent = share.span.of(text).to_owned();
        let minus = right.span.of(text).chars().next().map_or(0, char::len_utf8);
        let Some(fault) = self.faults.last_mut() else {
            return;
        };
        let told = matches!(fault.kind, FaultKind::UnitsDiffer { .. })
            && fault.place.span == right.span
            && percent.ends_with('%')
            && sign.end == right.span.start;
        if told {
            let (what, example) = ("`within`", "within 1 %");
            let minus = Span {
                start: right.span.start,
                end: right.span.start + minus as u32,
            };
            fault.kind = FaultKind::Expected { what, example };
            fault.place.span = sign.to(minus);
            fault.related.clear();
            let edit = syntax::TextEdit {
                span: Span {
                    start: left.span.end,
                    end: right.span.end,
                },
                text: format!(" within {percent}"),
            };
            let title = format!("write `within {percent}`");
            fault.fixes = vec![syntax::Fix::likely(title, vec![edit])];
        }
    }

    /// `1/2 V`, which is one divided by two volts.
    fn fraction_of_a_unit(&mut self, frame: usize, value: &Expr) {
        let ExprKind::Binary {
            operator: syntax::Operator::Over,
            left,
            right,
            ..
        } = &value.kind
        else {
            return;
        };
        let text = self.text(frame);
        let plain = |it: &Expr| matches!(it.kind, ExprKind::Quantity);
        let Ok(below) = quantity::read(text, right.span) else {
            return;
        };
        let Some(unit) = below.unit.filter(|_| plain(left) && plain(right)) else {
            return;
        };
        let Some(fault) = self.faults.last_mut() else {
            return;
        };
        let told = matches!(fault.kind, FaultKind::UnitsDiffer { left, .. } if left == below.dimension)
            && fault.place.span == value.span;
        if told && fault.fixes.is_empty() {
            let (above, below) = (left.span.of(text), below.number.of(text));
            let written = format!("{above} {} / {below}", unit.of(text));
            fault.fixes = vec![crate::scope::replace(value.span, written, false)];
        }
    }

    /// `expect A1 = linear`
    fn state_behind_equals(&mut self, frame: usize, left: &Expr, right: &Expr) -> bool {
        let names = matches!((&left.kind, &right.kind), (ExprKind::Ref, ExprKind::Ref));
        let (of, word) = (self.key(frame, left.span), self.key(frame, right.span));
        let states = syntax::states(&word);
        let of_opamp = matches!(
            self.find(frame, &of),
            Some(What::Opamp(_) | What::Other("an op-amp" | "a comparator"))
        );
        if !names || !of_opamp || states.is_empty() || self.find(frame, &word).is_some() {
            return false;
        }
        let gap = Span {
            start: left.span.end,
            end: right.span.start,
        };
        let blanks = gap.of(self.text(frame)).find('=').unwrap_or(0) as u32;
        let equals = Span {
            start: gap.start + blanks,
            end: gap.start + blanks + 1,
        };
        let (what, example) = ("a state", "expect A1 linear");
        let fixes = states.iter().map(|state| {
            let edit = syntax::TextEdit {
                span: Span {
                    end: right.span.end,
                    ..gap
                },
                text: format!(" {state}"),
            };
            syntax::Fix::likely(format!("write `{of} {state}`"), vec![edit])
        });
        let fixes: Vec<_> = fixes.collect();
        self.fault(frame, equals, FaultKind::Expected { what, example })
            .fixes = fixes;
        true
    }

    fn when(&mut self, frame: usize, at: &'t Expr) -> Option<When> {
        let typed = self.formula(frame, at, Reads::Values)?;
        let number = typed.number()?.clone();
        match typed.dimension {
            Dimension::HERTZ => Some(When::Frequency(number)),
            Dimension::SECOND => Some(When::Time(number)),
            _ if typed.zero => Some(When::Time(number)),
            found => {
                let kind = FaultKind::UnitNeeded {
                    needed: Dimension::SECOND,
                    found,
                };
                let seconds = format!("{} s", at.span.of(self.text(frame)));
                let fault = self.fault(frame, at.span, kind);
                if typed.plain {
                    fault
                        .fixes
                        .push(crate::scope::replace(at.span, seconds, false));
                }
                None
            }
        }
    }

    /// `within 1 %`, `within 1 mV`; 0.1 % where nothing is said.
    fn within(
        &mut self,
        frame: usize,
        expr: Option<&'t Expr>,
        dimension: Dimension,
    ) -> Option<Within> {
        let Some(expr) = expr else {
            return Some(Within::Usual);
        };
        let typed = self.formula(frame, expr, Reads::Values)?;
        let number = typed.number()?.clone();
        if number.to_f64() < 0.0 {
            self.fault(frame, expr.span, FaultKind::NotPositive);
            return None;
        }
        let percent = matches!(expr.kind, ExprKind::Quantity)
            && quantity::read(self.text(frame), expr.span).is_ok_and(|it| it.form == Form::Percent);
        // `within 1`, where 100 % would accept almost anything
        if typed.plain && dimension != Dimension::NONE && number.to_f64() >= 1.0 {
            let (what, example) = ("a share in % or an amount", "within 1 %");
            let percent = format!("{} %", expr.span.of(self.text(frame)));
            self.fault(frame, expr.span, FaultKind::Expected { what, example })
                .fixes
                .push(crate::scope::replace(expr.span, percent, false));
            return None;
        }
        if typed.dimension == Dimension::NONE && (percent || dimension != Dimension::NONE) {
            return Some(Within::Ratio(number));
        }
        self.of_dimension(frame, &typed, dimension)?;
        Some(Within::Amount(number))
    }

    /// The independent sources that hold a node of these formulas or stand in them.
    fn free(&self, formulas: &[&Formula]) -> Vec<SourceId> {
        let mut nodes = Vec::new();
        let mut named = Vec::new();
        for formula in formulas {
            collect(formula, &mut nodes, &mut named);
        }
        let all = self.circuit.sources.iter().enumerate();
        all.filter(|(index, it)| {
            let holds = match it.kind {
                SourceKind::Voltage { plus, minus } => {
                    nodes.contains(&plus) || nodes.contains(&minus)
                }
                SourceKind::Current { .. } => false,
            };
            it.controls.is_empty() && (holds || named.contains(&SourceId(*index as u32)))
        })
        .map(|(index, _)| SourceId(index as u32))
        .collect()
    }
}

fn collect(formula: &Formula, nodes: &mut Vec<NodeId>, sources: &mut Vec<SourceId>) {
    match formula {
        Formula::Number(_) => {}
        Formula::Node(node) if *node != GROUND => nodes.push(*node),
        Formula::Node(_) => {}
        Formula::Current(Carrier::Source(id)) | Formula::Power(Carrier::Source(id)) => {
            sources.push(*id)
        }
        Formula::Current(_) | Formula::Power(_) => {}
        Formula::Negative(inner) | Formula::Raised(inner, _) => collect(inner, nodes, sources),
        Formula::Binary(_, left, right) => {
            collect(left, nodes, sources);
            collect(right, nodes, sources);
        }
        Formula::Call(_, all) => all.iter().for_each(|it| collect(it, nodes, sources)),
    }
}
