//! What the rules about limits share: the answer that they look at, where a limit comes from, and where a rating stands.

use std::cmp::Ordering;
use std::collections::HashSet;

use analysis::extremes::held;
use analysis::solution::Solution;
use analysis::states::Mode;
use analysis::{Answer, Outcome, Trouble};
use circuit::{Circuit, ClaimKind, Element, ElementKind, GROUND, NodeId, OpampId, Part, series};
use syntax::{Argument, Dimension, Number, PathItem, Place, Ratio, Span, StatementKind, TextEdit};
use syntax::{StatementId, quantity};
use teaching::notation;

use crate::{Checked, Level};

impl<'a> Checked<'a> {
    /// The answer by which limits are judged: the one as written. `None` where it is not known for want of a line or of a sound
    /// circuit, or where an op-amp stands at a rail and no line of the text says that it does: all voltages behind it are
    /// other ones than were meant.
    pub(crate) fn answer(&self) -> Option<&'a Solution> {
        let (circuit, parts) = (self.circuit, &self.book.parts);
        if self.incomplete() {
            return None;
        }
        match self.study.outcome(circuit, parts) {
            // What an output would have to deliver is told; the rest is judged as if it did.
            Outcome::AtLimits if self.gives_way() => self.wanted(),
            Outcome::AtLimits if self.clips() => None,
            it if it.is_known() => self.study.answer(circuit, parts),
            _ => self.wanted(),
        }
    }

    /// The answer with each op-amp linear, where nothing but limits of current stands against it: what outputs would have to
    /// deliver.
    pub(crate) fn wanted(&self) -> Option<&'a Solution> {
        let (circuit, parts) = (self.circuit, &self.book.parts);
        let troubles = self.study.troubles(circuit, parts);
        let keeps = |it: &Trouble| matches!(it, Trouble::BeyondCurrent(_));
        let linear = !circuit.opamps.iter().any(|it| it.comparator);
        let known = linear && !self.incomplete() && troubles.iter().all(keeps);
        known.then(|| self.study.linear(circuit, parts))
    }

    /// Whether an output is at its limit of current, nothing else stands against the answer, and no line of the text accepts it.
    fn gives_way(&self) -> bool {
        let stands = |mode| matches!(mode, Mode::Sourcing | Mode::Sinking);
        self.wanted().is_some()
            && self.any_stands(|id, mode| stands(mode) && !self.accepts("output_current", id))
    }

    /// Whether an op-amp stands at a rail and no line of the text says that it does.
    fn clips(&self) -> bool {
        let circuit = self.circuit;
        let meant: HashSet<OpampId> = circuit
            .claims
            .iter()
            .filter_map(|it| match &it.kind {
                Some(ClaimKind::State { opamp, .. }) => Some(*opamp),
                _ => None,
            })
            .collect();
        let stands = |mode| matches!(mode, Mode::High | Mode::Low);
        self.any_stands(|id, mode| {
            stands(mode)
                && !circuit.opamps[id.index()].comparator
                && !meant.contains(&id)
                && !self.accepts("swing", id)
        })
    }

    fn any_stands(&self, so: impl Fn(OpampId, Mode) -> bool) -> bool {
        let mut all = (0..self.circuit.opamps.len() as u32).map(OpampId);
        all.any(|id| {
            let mode = self.study.mode(self.circuit, &self.book.parts, id);
            mode.is_some_and(|it| so(id, it))
        })
    }

    /// Whether the text accepts a rule's finding about an op-amp or its output, or says that it is there.
    fn accepts(&self, rule: &str, opamp: OpampId) -> bool {
        let circuit = self.circuit;
        let opamp = &circuit.opamps[opamp.index()];
        let names = [opamp.name.as_str(), circuit.node_name(opamp.drives)];
        let named = |of: &str, at: &str| of == rule && names.contains(&at);
        let allowed = circuit.allows.iter().any(|it| named(&it.rule, &it.at));
        let claimed = |it: &circuit::Claim| matches!(&it.kind, Some(ClaimKind::Finding { rule, at }) if named(rule, at));
        allowed || circuit.claims.iter().any(claimed)
    }

    /// Whether findings of a rule are made: what rests on another finding is told where that one is not.
    pub(crate) fn tells(&self, rule: &str) -> bool {
        self.settings.level(rule) != Some(Level::Off)
    }

    /// The part of an op-amp.
    pub(crate) fn part_of(&self, opamp: OpampId) -> Option<&'a Part> {
        let part = self.circuit.opamps[opamp.index()].part?;
        self.book.parts.get(part.index())
    }

    /// "its part `x`", "the class `fet_input`".
    pub(crate) fn part_words(&self, part: &Part) -> String {
        match self.book.ships(part.place.file) {
            true => format!("the class `{}`", part.name),
            false => format!("its part `{}`", part.name),
        }
    }

    /// The line of a part that says a property, in a file that a reader can open.
    pub(crate) fn property(&self, part: &Part, words: &[&str]) -> Option<Place> {
        let file = self.book.files.get(part.place.file.0 as usize)?;
        if self.book.ships(part.place.file) {
            return None;
        }
        let head = |id: StatementId| file.tree.statement(id).span;
        let own = |it: &&syntax::Body| {
            let head = head(it.head);
            head.start <= part.place.span.start && part.place.span.end <= head.end
        };
        let body = file.tree.bodies.iter().find(own)?;
        body.inside.iter().find_map(|id| {
            let statement = file.tree.statement(*id);
            let StatementKind::Property(property) = &statement.kind else {
                return None;
            };
            let said = words.contains(&property.word.of(&file.text));
            said.then_some(Place {
                file: part.place.file,
                span: statement.span,
            })
        })
    }

    /// A number of the answer, unless the settings hide it.
    pub(crate) fn shown(&self, answer: &Answer, dimension: Dimension) -> Option<String> {
        (!self.settings.hidden).then(|| notation::short(answer, dimension))
    }

    /// Where an element's rating stands (`true`), or would.
    pub(crate) fn rating(&self, element: &Element) -> Option<(Place, bool)> {
        let Place { file, span: name } = element.name_place;
        let source = self.book.files.get(file.0 as usize)?;
        let statement = source.tree.statement_at(name.start)?;
        let (span, stands) = match &source.tree.statement(statement).kind {
            StatementKind::Path(items) => {
                let it = items.iter().find_map(|it| match it {
                    PathItem::Element(it) if it.name == name => Some(it),
                    _ => None,
                })?;
                let is_rating =
                    |it: &&syntax::Expr| !it.span.of(&source.text).trim_end().ends_with('%');
                let last = it.extras.last().unwrap_or(&it.value).span.end;
                match it.extras.iter().find(is_rating) {
                    Some(rating) => (rating.span, true),
                    None => (Span::at(last), false),
                }
            }
            StatementKind::Device(device) if element.polarised => {
                let said = device.clauses.iter().find_map(|it| match &it.argument {
                    Argument::Value(value) if it.word.of(&source.text) == "rated" => Some(value),
                    _ => None,
                });
                match said {
                    Some(value) => (value.span, true),
                    None => (Span::at(device.clauses.last()?.span.end), false),
                }
            }
            _ => return None,
        };
        Some((Place { file, span }, stands))
    }

    /// The edit that makes an element's rating this one.
    pub(crate) fn rate(&self, element: &Element, rating: &str) -> Option<TextEdit> {
        let (place, stands) = self.rating(element)?;
        let text = match (stands, element.polarised) {
            (true, _) => rating.to_owned(),
            (false, false) => format!(" {rating}"),
            (false, true) => format!(", rated {rating}"),
        };
        let span = place.span;
        Some(TextEdit { span, text })
    }

    /// The edit that makes an element's value this one, where it is written as a plain quantity of the element's own.
    pub(crate) fn revalue(&self, element: &Element, ohms: &Answer) -> Option<TextEdit> {
        let own = crate::checked::last_part(&element.name) == self.text(element.name_place);
        let place = element.value_place;
        let text = &self.book.files.get(place.file.0 as usize)?.text;
        if !own || quantity::read(text, place.span).is_err() {
            return None;
        }
        // Where an element's value stands, a plain number is in ohms.
        let text = notation::language(ohms, Dimension::OHM);
        Some(TextEdit {
            span: place.span,
            text: text.trim_end_matches(" ohm").to_owned(),
        })
    }
}

/// Whether an answer is certainly above a limit.
pub(crate) fn exceeds(answer: &Answer, limit: &Answer) -> bool {
    answer.compare(limit) == Some(Ordering::Greater)
}

/// The least stock value (E24) that is certainly not below this resistance.
pub(crate) fn stock(least: &Answer) -> Option<Answer> {
    let wish = match least {
        Answer::Exact(ratio) => ratio.clone(),
        Answer::Float { value, bound } => Ratio::try_from(value + bound).ok()?,
    };
    series::at_least("E24", &wish).map(Answer::Exact)
}

/// A bound as a number to name: so many digits as are shown, those that are cut off to the safe side of it.
pub(crate) fn named(bound: &Answer, side: Side) -> Answer {
    let up = side == Side::Above;
    let worst = match bound {
        Answer::Exact(exact) => Some(exact.clone()),
        Answer::Float { value, bound } if up => Ratio::try_from(value + bound).ok(),
        Answer::Float { value, bound } => Ratio::try_from(value - bound).ok(),
    };
    let size = bound.to_f64().abs();
    let Some(worst) = worst.filter(|_| size > 0.0 && size.is_finite()) else {
        return bound.clone();
    };
    let last = size.log10().floor() as i32 - 3;
    let Some(steps) = Answer::Exact(worst).over(&step(last)) else {
        return bound.clone();
    };
    let steps = steps
        .exact()
        .map(|it| if up { it.ceil() } else { it.floor() });
    steps.map_or(bound.clone(), |it| &Answer::Exact(it.into()) * &step(last))
}

/// The side of a bound on which all is well.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Side {
    Above,
    Below,
}

fn step(exponent: i32) -> Answer {
    Answer::from(&Number::decimal(1u8.into(), exponent))
}

/// For each node the one that stands for all that these pairs join with it.
pub(crate) fn joined(nodes: usize, pairs: impl Iterator<Item = [NodeId; 2]>) -> Vec<usize> {
    fn find(spots: &mut [usize], mut node: usize) -> usize {
        while spots[node] != node {
            spots[node] = spots[spots[node]];
            node = spots[node];
        }
        node
    }
    let mut spots: Vec<usize> = (0..nodes).collect();
    for ends in pairs {
        let [a, b] = ends.map(|it| find(&mut spots, it.index()));
        spots[a] = b;
    }
    for node in 0..nodes {
        spots[node] = find(&mut spots, node);
    }
    spots
}

/// The ends of each closed switch.
pub(crate) fn wires(circuit: &Circuit) -> impl Iterator<Item = [NodeId; 2]> {
    let all = circuit.elements.iter();
    all.filter(|it| it.kind == ElementKind::Wire)
        .map(|it| it.ends)
}

/// For each node whether its voltage stays where it is when a resistor at it changes: ground, what sources hold against it,
/// and outputs.
pub(crate) fn firm(circuit: &Circuit) -> Vec<bool> {
    let constants: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
    let mut firm: Vec<bool> = held(circuit, &constants)
        .iter()
        .map(Option::is_some)
        .collect();
    for opamp in &circuit.opamps {
        firm[opamp.drives.index()] = true;
    }
    firm[GROUND.index()] = true;
    firm
}

/// The first of these sizes, in thousandths, that is not below `wish`.
pub(crate) fn next_size(sizes: &[u32], wish: &Answer) -> Option<Answer> {
    let sizes = sizes.iter();
    let mut sizes = sizes.map(|it| Answer::Exact(Ratio::from_parts((*it).into(), 1000u32.into())));
    sizes.find(|it| wish.compare(it).is_some_and(Ordering::is_le))
}
