//! Second pass over elements: what each one is, and its value.

use syntax::{Dimension, ExprKind, quantity};
use syntax::{Expr, Form, Number};

use crate::declare::leave_out;
use crate::formula::{Reads, less};
use crate::model::*;
use crate::scope::{Builder, Made, Maker, Step, What};
use crate::{FaultKind, Value};

/// What has a value that must be worked out.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Waiting {
    /// An index into [`Builder::lets`].
    Let(usize),
    /// An index into [`Builder::pending`].
    Element(usize),
}

/// Whether nothing was done yet; from now on it is busy.
fn begin<T>(step: &mut Step<T>) -> bool {
    let waits = matches!(step, Step::Waiting);
    if waits {
        *step = Step::Busy;
    }
    waits
}

/// What came out; where a ring was told meanwhile, nothing.
fn end<T>(step: &mut Step<T>, found: Option<T>) {
    if matches!(step, Step::Busy) {
        *step = Step::Done(found);
    }
}

impl<'t> Builder<'t> {
    /// Every `let` and every element, in the order of the text.
    pub(crate) fn work_out_values(&mut self) {
        for index in 0..self.lets.len() {
            self.work_out(Waiting::Let(index));
        }
        self.circuit.elements.reserve_exact(self.pending.len());
        for index in 0..self.pending.len() {
            self.work_out(Waiting::Element(index));
            let it = &mut self.pending[index];
            let (frame, ends) = (it.frame, it.ends);
            match (std::mem::replace(&mut it.value, Step::Done(None)), ends) {
                (Step::Done(Some(made)), [Some(a), Some(b)]) => {
                    self.circuit.elements.push(Element {
                        name: std::mem::take(&mut it.name),
                        kind: made.kind,
                        value: made.value,
                        ends: [a, b],
                        place: it.place,
                        name_place: it.name_place,
                        value_place: made.value_place,
                        end_places: it.end_places,
                        tolerance: made.tolerance.map(Box::new),
                        rating: made.rating.map(Box::new),
                        polarised: made.polarised,
                        description: it.description.take(),
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

    /// Works out a `let` or an element, and before it all that it waits for: those in turn wait on a list, so that a chain
    /// of any length needs no stack.
    pub(crate) fn work_out(&mut self, wanted: Waiting) {
        let mut list = vec![(wanted, false)];
        while let Some((it, waited)) = list.pop() {
            if waited {
                self.work_out_now(it);
            } else if self.begins(it) {
                list.push((it, true));
                let first = list.len();
                self.each_read(it, &mut |read| list.push((read, false)));
                // What stands first is worked out first.
                list[first..].reverse();
            }
        }
    }

    /// Whether nothing was done for it yet; from now on it is busy.
    fn begins(&mut self, it: Waiting) -> bool {
        match it {
            Waiting::Let(index) => begin(&mut self.lets[index].state),
            // What has become an element is done.
            Waiting::Element(index) if index < self.element_ids.len() => false,
            Waiting::Element(index) => begin(&mut self.pending[index].value),
        }
    }

    /// Hears of each `let` and element that the expressions of one name.
    fn each_read(&self, it: Waiting, hear: &mut dyn FnMut(Waiting)) {
        let (frame, exprs) = match it {
            Waiting::Let(index) => (self.lets[index].frame, [Some(self.lets[index].value), None]),
            Waiting::Element(index) => {
                let it = &self.pending[index];
                let exprs = match it.maker {
                    Maker::Path(element) => [Some(&element.value), None],
                    Maker::Wire => [None, None],
                    Maker::PotHalf(total, at, _) => [Some(total), Some(at)],
                    Maker::Electrolytic(value, rated) => [Some(value), rated],
                };
                (it.frame, exprs)
            }
        };
        let mut waiting: Vec<&Expr> = exprs.into_iter().flatten().collect();
        waiting.reverse();
        while let Some(expr) = waiting.pop() {
            if matches!(expr.kind, ExprKind::Ref) {
                match self.find(frame, &self.word(frame, expr.span)) {
                    Some(What::Let(index)) => hear(Waiting::Let(index)),
                    Some(What::Element(index)) => hear(Waiting::Element(index)),
                    Some(What::Pot(from, to)) => {
                        hear(Waiting::Element(from));
                        hear(Waiting::Element(to));
                    }
                    _ => {}
                }
            }
            waiting.extend(expr.operands().into_iter().rev());
        }
    }

    /// Works out one whose turn it is. What it reads is known, or waits for it: then it is a ring.
    fn work_out_now(&mut self, it: Waiting) {
        match it {
            Waiting::Let(index) => {
                let (frame, expr) = (self.lets[index].frame, self.lets[index].value);
                let typed = self.formula(frame, expr, Reads::Values);
                let like = self.lets[index].like;
                let typed =
                    typed.filter(|it| like.is_none_or(|like| self.is_like(frame, expr, it, like)));
                let value = typed.and_then(|it| {
                    let number = it.number()?.clone();
                    Some(Value {
                        number,
                        dimension: it.dimension,
                    })
                });
                end(&mut self.lets[index].state, value);
            }
            Waiting::Element(index) => {
                let made = self.made(index);
                end(&mut self.pending[index].value, made.map(Box::new));
            }
        }
    }

    fn made(&mut self, index: usize) -> Option<Made> {
        let (frame, maker) = (self.pending[index].frame, self.pending[index].maker);
        match maker {
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
        }
    }

    /// The value of a `let` or parameter, worked out once.
    pub(crate) fn let_value(&mut self, index: usize) -> Option<Value> {
        self.work_out(Waiting::Let(index));
        let it = &mut self.lets[index];
        if let Step::Done(value) = &it.state {
            return value.clone();
        }
        it.state = Step::Done(None);
        let (frame, place, name) = (it.frame, it.place, it.name.clone());
        let mut fault = crate::Fault::new(place, FaultKind::Ring(name.clone()));
        fault.circuit = self.frames[frame].in_circuit.then_some(self.index);
        fault.subjects.push(name);
        self.faults.push(fault);
        None
    }

    /// An element's value and its dimension, where an expression reads it.
    pub(crate) fn element_quantity(&mut self, index: usize) -> Option<(Number, Dimension)> {
        let (number, kind) = match self.element_ids.get(index) {
            Some(id) => {
                let it = &self.circuit.elements[(*id)?.index()];
                (it.value.clone(), it.kind)
            }
            None => {
                self.work_out(Waiting::Element(index));
                match &self.pending[index].value {
                    Step::Done(made) => {
                        let made = made.as_ref()?;
                        (made.value.clone(), made.kind)
                    }
                    _ => {
                        self.ring_of_elements(index);
                        return None;
                    }
                }
            }
        };
        let dimension = match kind {
            ElementKind::Resistor | ElementKind::Wire => Dimension::OHM,
            ElementKind::Capacitor => Dimension::FARAD,
            ElementKind::Inductor => Dimension::HENRY,
        };
        Some((number, dimension))
    }

    fn ring_of_elements(&mut self, index: usize) {
        let it = &mut self.pending[index];
        it.value = Step::Done(None);
        let (frame, span) = (it.frame, it.name_place.span);
        let name = self.key(frame, span);
        self.fault(frame, span, FaultKind::Ring(name.clone()))
            .subjects
            .push(name);
    }

    pub(crate) fn path_element(
        &mut self,
        frame: usize,
        element: &'t syntax::Element,
    ) -> Option<Made> {
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
                let fix = self.in_unit(frame, element.value.span, called);
                let fault = self.fault(frame, element.value.span, kind);
                fault.subjects.push(name);
                fault.fixes.extend(fix);
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
    pub(crate) fn is_tolerance_first(
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

    pub(crate) fn pot_half(
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

    pub(crate) fn electrolytic(
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

    /// Not from 0 to 1: a number without its sign of percent, or beyond.
    pub(crate) fn share(&mut self, frame: usize, at: &Expr, example: &'static str) {
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
}

/// Where the word before this offset ends.
fn text_end_before(text: &str, offset: u32) -> u32 {
    text[..offset as usize].trim_end().len() as u32
}
