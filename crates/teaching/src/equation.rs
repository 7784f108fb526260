//! An equation as written on paper: `(sum − in)/R1 + (sum − out)/R2 = 0`.
//!
//! The text is made of its terms, each with its sign and its byte range, so that the text, the explanation and the highlight are
//! three views of one [`Term`].

use std::ops::Range;

use analysis::board::{Board, Piece};
use analysis::equations::{Equation, EquationKind, Term};
use analysis::states::Mode;
use circuit::{Carrier, Circuit, ElementKind, GROUND, NodeId, Opamp, OpampId, Source, SourceKind};
use syntax::{Dimension, Number, Place};

use crate::{Sums, Writing, names, notation};

/// An equation in writing.
#[derive(Clone, PartialEq, Debug)]
pub struct Written {
    /// All of it.
    pub text: String,
    /// Its terms in order. Of a sum they are what is added; a `Held` or `Virtual` equation, and a limit of voltage, is one term, all of it.
    pub terms: Vec<WrittenTerm>,
}

/// A term in writing.
#[derive(Clone, PartialEq, Debug)]
pub struct WrittenTerm {
    /// What it is.
    pub term: Term,
    /// With its minus sign, where it has one; `text[range]` of the equation.
    pub text: String,
    /// Where it stands in the equation's text, in bytes.
    pub range: Range<usize>,
}

/// A circuit as it is put on paper: its op-amps ideal, or each by the law of its part.
#[derive(Clone, Copy)]
pub struct Paper<'a> {
    /// What the equations are about: the circuit itself, or the plain circuit of a board.
    pub circuit: &'a Circuit,
    /// The circuit of the text.
    pub text: &'a Circuit,
    /// Where its op-amps are real.
    pub board: Option<&'a Board>,
}

/// Writes an equation of ideal op-amps.
pub fn write(circuit: &Circuit, equation: &Equation, writing: Writing) -> Written {
    Paper::ideal(circuit).write(equation, writing)
}

/// Where the text says a term: from its part's name to its value.
pub fn term_place(circuit: &Circuit, term: &Term) -> Place {
    names::carrier_place(circuit, term.branch)
}

/// What a source holds or pushes at rest, as on paper: `1.2 V`, `100·(p − n)`, `2 mS·e + 1 mA`.
pub fn drive(circuit: &Circuit, source: &Source) -> String {
    joined(&drive_terms(circuit, source))
}

impl<'a> Paper<'a> {
    /// Every op-amp ideal.
    pub fn ideal(circuit: &'a Circuit) -> Paper<'a> {
        Paper {
            circuit,
            text: circuit,
            board: None,
        }
    }

    /// Every op-amp by the law of its part.
    pub fn real(circuit: &'a Circuit, board: &'a Board) -> Paper<'a> {
        Paper {
            circuit: &board.circuit,
            text: circuit,
            board: Some(board),
        }
    }

    /// Writes an equation.
    pub fn write(&self, equation: &Equation, writing: Writing) -> Written {
        match &equation.kind {
            EquationKind::Held { by } => whole(self.held(*by), equation),
            EquationKind::Virtual { opamp, .. } => {
                let opamp = &self.circuit.opamps[opamp.index()];
                let text = match self.board.is_some_and(|it| it.is_added(opamp.plus)) {
                    // what stands in series with a plus input at ground is better read on the right
                    true => format!("{} = {}", self.name(opamp.minus), self.name(opamp.plus)),
                    false => self.equal(opamp.plus, opamp.minus),
                };
                whole(text, equation)
            }
            EquationKind::Limit {
                mode: Mode::Sourcing | Mode::Sinking,
                value,
                ..
            } => {
                let value = match writing.sums {
                    Sums::Leaving => value.clone(),
                    Sums::Entering => value.neg(),
                };
                let amperes = notation::number(&value, Dimension::AMPERE);
                self.sum(&equation.terms, writing, &amperes)
            }
            EquationKind::Limit {
                replaces, value, ..
            } => {
                let volts = notation::number(value, Dimension::VOLT);
                whole(format!("{} = {volts}", self.name(*replaces)), equation)
            }
            EquationKind::Sum | EquationKind::JoinedSum { .. } => {
                self.sum(&equation.terms, writing, "0")
            }
        }
    }

    /// Where the text says an equation: the source or wire, the op-amp, the node's first place.
    pub fn place(&self, equation: &Equation) -> Place {
        match &equation.kind {
            EquationKind::Held { by } => names::carrier_place(self.circuit, *by),
            EquationKind::Virtual { opamp, .. } => self.circuit.opamps[opamp.index()].place,
            EquationKind::Limit { opamp, .. } => self.text.opamps[opamp.index()].place,
            EquationKind::Sum | EquationKind::JoinedSum { .. } => {
                let places = &self.circuit.nodes[equation.at.index()].places;
                places.first().copied().unwrap_or(self.circuit.place)
            }
        }
    }

    /// The op-amp of the text that a part of the board belongs to, and what of it.
    pub fn piece(&self, carrier: Carrier) -> Option<(OpampId, Piece)> {
        match (self.board, carrier) {
            (Some(board), _) => board.piece(carrier),
            (None, Carrier::Opamp(id)) => Some((id, Piece::Output)),
            (None, _) => None,
        }
    }

    /// The sign and the body of the current that a term stands for, in a sum of the currents that leave: `(sum − in)/R1`, `120 nA`.
    fn current(&self, term: &Term) -> (bool, String) {
        let circuit = self.circuit;
        match term.branch {
            Carrier::Element(id) if circuit.elements[id.index()].kind == ElementKind::Resistor => {
                let (negative, difference) = self.difference(term.from, term.to);
                (
                    negative != term.minus,
                    format!("{difference}/{}", circuit.elements[id.index()].name),
                )
            }
            Carrier::Source(id)
                if matches!(circuit.sources[id.index()].kind, SourceKind::Current { .. }) =>
            {
                let source = &circuit.sources[id.index()];
                let (negative, body) = factor(drive_terms(circuit, source));
                let nothing = source.controls.is_empty() && source.constant.is_zero();
                (!nothing && negative != term.minus, body)
            }
            // the current of a tie, left standing where the circuit is faulty
            other => (
                term.minus,
                format!("current({})", names::carrier(circuit, other)),
            ),
        }
    }

    fn sum(&self, terms: &[Term], writing: Writing, right: &str) -> Written {
        let mut written = Written {
            text: String::new(),
            terms: Vec::new(),
        };
        for term in terms {
            let counted = match (writing.sums, term.branch) {
                (Sums::Leaving, _) => *term,
                (Sums::Entering, Carrier::Element(_)) => Term {
                    from: term.to,
                    to: term.from,
                    ..*term
                },
                (Sums::Entering, _) => Term {
                    minus: !term.minus,
                    ..*term
                },
            };
            let (negative, body) = self.current(&counted);
            let range = append(&mut written.text, negative, &body);
            written.terms.push(WrittenTerm {
                term: *term,
                text: written.text[range.clone()].into(),
                range,
            });
        }
        if terms.is_empty() {
            written.text.push('0');
        }
        written.text.push_str(" = ");
        written.text.push_str(right);
        written
    }

    fn held(&self, by: Carrier) -> String {
        match by {
            Carrier::Source(id) => {
                let source = &self.circuit.sources[id.index()];
                let [plus, minus] = names::carrier_ends(self.circuit, by);
                let (negative, left) = match (plus, minus) {
                    (GROUND, GROUND) => (false, "0".into()),
                    (plus, GROUND) => (false, self.name(plus)),
                    (GROUND, minus) => (true, self.name(minus)),
                    (plus, minus) => (false, format!("{} − {}", self.name(plus), self.name(minus))),
                };
                let drive = match self.piece(by) {
                    Some((opamp, _)) => signed(self.law(opamp)),
                    None => drive(self.circuit, source),
                };
                format!("{}{left} = {drive}", if negative { "−" } else { "" })
            }
            _ => {
                let [a, b] = names::carrier_ends(self.circuit, by);
                self.equal(a, b)
            }
        }
    }

    fn equal(&self, a: NodeId, b: NodeId) -> String {
        match (a, b) {
            (GROUND, b) => format!("{} = 0", self.name(b)),
            (a, GROUND) => format!("{} = 0", self.name(a)),
            (a, b) => format!("{} = {}", self.name(a), self.name(b)),
        }
    }

    /// `(a − b)`, `a`, or with the sign turned `b`: ground is never written.
    fn difference(&self, a: NodeId, b: NodeId) -> (bool, String) {
        match (a, b) {
            (GROUND, GROUND) => (false, "0".into()),
            (GROUND, b) => (true, self.bracketed(b)),
            (a, GROUND) => (false, self.bracketed(a)),
            (a, b) => {
                let mut text = self.name(a);
                let (negative, body) = self.signed_name(b);
                append(&mut text, !negative, &body);
                (false, format!("({text})"))
            }
        }
    }

    /// A node's name; of one that a board adds what it stands for.
    pub fn name(&self, node: NodeId) -> String {
        signed(self.signed_name(node))
    }

    fn signed_name(&self, node: NodeId) -> (bool, String) {
        let held = self.board.filter(|it| it.is_added(node));
        let piece = held.and_then(|it| it.piece(Carrier::Source(it.holder(node)?)));
        match piece {
            Some((opamp, Piece::Plus)) => (false, self.raised(opamp)),
            Some((opamp, _)) => self.law(opamp),
            None => (false, name(self.circuit, node)),
        }
    }

    /// A node as a factor: the points of one without a name would run into the sign that follows.
    fn bracketed(&self, node: NodeId) -> String {
        let own = self.board.is_none_or(|it| !it.is_added(node));
        match own && self.circuit.nodes[node.index()].named || node == GROUND {
            true => self.name(node),
            false => format!("({})", self.name(node)),
        }
    }

    /// The sign and the body of what an op-amp with finite gain makes of its inputs, `200000·(p − n + 2 mV)`, or of the limit that it stands at.
    fn law(&self, id: OpampId) -> (bool, String) {
        let (Some(board), opamp) = (self.board, &self.text.opamps[id.index()]) else {
            return (false, String::new());
        };
        if let Some((_, volts)) = board.limit(id) {
            let size = notation::number(&volts.abs(), Dimension::VOLT);
            return (is_negative(volts), size);
        }
        let Some(gain) = &board.laws[id.index()].gain else {
            return (false, String::new());
        };
        let gain = notation::number(gain, Dimension::NONE);
        let mut inputs = self.apart(opamp);
        inputs.extend(self.further(id));
        // `2 mV − n` reads better than `−n + 2 mV`
        if inputs.len() > 1 && inputs[0].0 && inputs.iter().any(|it| !it.0) {
            inputs.rotate_left(1);
        }
        match inputs.as_slice() {
            [] => (false, "0".into()),
            [(negative, one)] => (*negative, format!("{gain}·{one}")),
            _ => (false, format!("{gain}·({})", joined(&inputs))),
        }
    }

    /// Plus with what an op-amp without limit of gain adds to it: `p + 2 mV`.
    fn raised(&self, id: OpampId) -> String {
        let plus = self.text.opamps[id.index()].plus;
        let mut terms = Vec::new();
        if plus != GROUND {
            terms.push((false, self.name(plus)));
        }
        terms.extend(self.further(id));
        joined(&terms)
    }

    /// V+ − V−, ground left out.
    fn apart(&self, opamp: &Opamp) -> Vec<(bool, String)> {
        let pins = [(false, opamp.plus), (true, opamp.minus)];
        let pins = pins
            .into_iter()
            .filter(|it| it.1 != GROUND && opamp.plus != opamp.minus);
        pins.map(|(negative, it)| (negative, bracketed(self.text, it)))
            .collect()
    }

    /// What else counts as a difference of the inputs: `(p + n)/(2·10000)`, `2 mV`.
    fn further(&self, id: OpampId) -> Vec<(bool, String)> {
        let (Some(board), opamp) = (self.board, &self.text.opamps[id.index()]) else {
            return Vec::new();
        };
        let law = &board.laws[id.index()];
        let mut terms = Vec::new();
        if let Some(rejection) = &law.rejection {
            let pins = [opamp.plus, opamp.minus];
            let pins: Vec<String> = pins
                .into_iter()
                .filter(|it| *it != GROUND)
                .map(|it| bracketed(self.text, it))
                .collect();
            let both = match pins.as_slice() {
                [one] => one.clone(),
                _ => format!("({})", pins.join(" + ")),
            };
            if !pins.is_empty() {
                let rejection = notation::number(rejection, Dimension::NONE);
                terms.push((false, format!("{both}/(2·{rejection})")));
            }
        }
        if let Some(offset) = &law.offset {
            let size = notation::number(&offset.abs(), Dimension::VOLT);
            terms.push((is_negative(offset), size));
        }
        terms
    }
}

fn signed((negative, body): (bool, String)) -> String {
    joined(&[(negative, body)])
}

fn joined(terms: &[(bool, String)]) -> String {
    let mut text = String::new();
    for (negative, body) in terms {
        append(&mut text, *negative, body);
    }
    text
}

fn whole(text: String, equation: &Equation) -> Written {
    let term = |it: &Term| WrittenTerm {
        term: *it,
        text: text.clone(),
        range: 0..text.len(),
    };
    Written {
        terms: equation.terms.first().map(term).into_iter().collect(),
        text,
    }
}

/// Adds a term to a text and tells where it stands; a minus sign belongs to it, a plus sign does not.
fn append(text: &mut String, negative: bool, body: &str) -> Range<usize> {
    let first = text.is_empty();
    if !first {
        text.push_str(if negative { " " } else { " + " });
    }
    let start = text.len();
    if negative {
        text.push_str(if first { "−" } else { "− " });
    }
    text.push_str(body);
    start..text.len()
}

fn name(circuit: &Circuit, node: NodeId) -> String {
    match node {
        GROUND => "0".into(),
        _ => circuit.node_name(node).into(),
    }
}

/// A node as a factor: the points of one without a name would run into the sign that follows.
fn bracketed(circuit: &Circuit, node: NodeId) -> String {
    match circuit.nodes[node.index()].named {
        true => name(circuit, node),
        false => format!("({})", name(circuit, node)),
    }
}

/// Sign and body of each summand of a drive.
fn drive_terms(circuit: &Circuit, source: &Source) -> Vec<(bool, String)> {
    let (unit, per_volt) = match source.kind {
        SourceKind::Voltage { .. } => (Dimension::VOLT, Dimension::NONE),
        SourceKind::Current { .. } => (Dimension::AMPERE, Dimension::SIEMENS),
    };
    let mut terms = Vec::new();
    match source.controls.as_slice() {
        [(a, up), (b, down)] if up.neg() == *down && !is_one(up) && !is_one(down) => {
            let (plus, minus, up) = if is_negative(up) {
                (b, a, down)
            } else {
                (a, b, up)
            };
            let body = format!("({} − {})", name(circuit, *plus), name(circuit, *minus));
            terms.push((false, format!("{}·{body}", notation::number(up, per_volt))));
        }
        controls => terms.extend(
            controls
                .iter()
                .map(|(node, factor)| control(circuit, *node, factor, per_volt)),
        ),
    }
    if terms.is_empty() || !source.constant.is_zero() {
        let negative = is_negative(&source.constant);
        let size = source.constant.abs();
        terms.push((negative, notation::number(&size, unit)));
    }
    terms
}

fn control(
    circuit: &Circuit,
    node: NodeId,
    factor: &Number,
    per_volt: Dimension,
) -> (bool, String) {
    let negative = is_negative(factor);
    let size = factor.abs();
    let body = match is_one(&size) && per_volt == Dimension::NONE {
        true => name(circuit, node),
        false => format!(
            "{}·{}",
            notation::number(&size, per_volt),
            bracketed(circuit, node)
        ),
    };
    (negative, body)
}

fn is_negative(number: &Number) -> bool {
    !number.is_zero() && !number.is_positive()
}

fn is_one(number: &Number) -> bool {
    matches!(number, Number::Exact(exact) if exact.is_one())
}

/// Several summands as one factor.
fn factor(mut terms: Vec<(bool, String)>) -> (bool, String) {
    if terms.len() == 1 {
        return terms.remove(0);
    }
    (false, format!("({})", joined(&terms)))
}
