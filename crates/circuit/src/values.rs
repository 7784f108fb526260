//! Second pass over elements: what each one is, and its value.

use syntax::{Dimension, ExprKind, quantity};
use syntax::{Expr, Form, Number};

use crate::FaultKind;
use crate::declare::leave_out;
use crate::formula::{Reads, less};
use crate::model::*;
use crate::scope::{Builder, Made, Maker, Step};

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
