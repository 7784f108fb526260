//! An equation as written on paper: `(sum − in)/R1 + (sum − out)/R2 = 0`.
//!
//! The text is made of its terms, each with its sign and its byte range, so that the text, the explanation and the highlight are
//! three views of one [`Term`].

use std::ops::Range;

use analysis::equations::{Equation, EquationKind, Term};
use circuit::{Carrier, Circuit, ElementKind, GROUND, NodeId, Source, SourceKind};
use syntax::{Dimension, Number, Place};

use crate::{Sums, Writing, names, notation};

/// An equation in writing.
#[derive(Clone, PartialEq, Debug)]
pub struct Written {
    /// All of it.
    pub text: String,
    /// Its terms in order. Of a sum they are what is added; a `Held` or `Virtual` equation is one term, all of it.
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

/// Writes an equation.
pub fn write(circuit: &Circuit, equation: &Equation, writing: Writing) -> Written {
    match &equation.kind {
        EquationKind::Held { by } => whole(held(circuit, *by), equation),
        EquationKind::Virtual { opamp, .. } => {
            let opamp = &circuit.opamps[opamp.index()];
            whole(equal(circuit, opamp.plus, opamp.minus), equation)
        }
        EquationKind::Sum | EquationKind::JoinedSum { .. } => {
            sum(circuit, &equation.terms, writing)
        }
    }
}

/// Where the text says an equation: the source or wire, the op-amp, the node's first place.
pub fn place(circuit: &Circuit, equation: &Equation) -> Place {
    match &equation.kind {
        EquationKind::Held { by } => names::carrier_place(circuit, *by),
        EquationKind::Virtual { opamp, .. } => circuit.opamps[opamp.index()].place,
        EquationKind::Sum | EquationKind::JoinedSum { .. } => circuit.nodes[equation.at.index()]
            .places
            .first()
            .copied()
            .unwrap_or(circuit.place),
    }
}

/// Where the text says a term: from its part's name to its value.
pub fn term_place(circuit: &Circuit, term: &Term) -> Place {
    names::carrier_place(circuit, term.branch)
}

/// What a source holds or pushes at rest, as on paper: `1.2 V`, `100·(p − n)`, `2 mS·e + 1 mA`.
pub fn drive(circuit: &Circuit, source: &Source) -> String {
    let mut text = String::new();
    for (negative, body) in drive_terms(circuit, source) {
        append(&mut text, negative, &body);
    }
    text
}

/// The sign and the body of the current that a term stands for, in a sum of the currents that leave: `(sum − in)/R1`, `120 nA`.
pub fn current(circuit: &Circuit, term: &Term) -> (bool, String) {
    match term.branch {
        Carrier::Element(id) if circuit.elements[id.index()].kind == ElementKind::Resistor => {
            let (negative, difference) = difference(circuit, term.from, term.to);
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

fn sum(circuit: &Circuit, terms: &[Term], writing: Writing) -> Written {
    let mut written = Written {
        text: String::new(),
        terms: Vec::new(),
    };
    for term in terms {
        let (negative, body) = match (writing.sums, term.branch) {
            (Sums::Leaving, _) => current(circuit, term),
            (Sums::Entering, Carrier::Element(_)) => current(
                circuit,
                &Term {
                    from: term.to,
                    to: term.from,
                    ..*term
                },
            ),
            (Sums::Entering, _) => current(
                circuit,
                &Term {
                    minus: !term.minus,
                    ..*term
                },
            ),
        };
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
    written.text.push_str(" = 0");
    written
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

fn held(circuit: &Circuit, by: Carrier) -> String {
    match by {
        Carrier::Source(id) => {
            let source = &circuit.sources[id.index()];
            let [plus, minus] = names::carrier_ends(circuit, by);
            let (negative, left) = match (plus, minus) {
                (GROUND, GROUND) => (false, "0".into()),
                (plus, GROUND) => (false, name(circuit, plus)),
                (GROUND, minus) => (true, name(circuit, minus)),
                (plus, minus) => (
                    false,
                    format!("{} − {}", name(circuit, plus), name(circuit, minus)),
                ),
            };
            format!(
                "{}{left} = {}",
                if negative { "−" } else { "" },
                drive(circuit, source)
            )
        }
        _ => {
            let [a, b] = names::carrier_ends(circuit, by);
            equal(circuit, a, b)
        }
    }
}

fn equal(circuit: &Circuit, a: NodeId, b: NodeId) -> String {
    match (a, b) {
        (GROUND, b) => format!("{} = 0", name(circuit, b)),
        (a, GROUND) => format!("{} = 0", name(circuit, a)),
        (a, b) => format!("{} = {}", name(circuit, a), name(circuit, b)),
    }
}

/// `(a − b)`, `a`, or with the sign turned `b`: ground is never written.
fn difference(circuit: &Circuit, a: NodeId, b: NodeId) -> (bool, String) {
    match (a, b) {
        (GROUND, GROUND) => (false, "0".into()),
        (GROUND, b) => (true, bracketed(circuit, b)),
        (a, GROUND) => (false, bracketed(circuit, a)),
        (a, b) => (
            false,
            format!("({} − {})", name(circuit, a), name(circuit, b)),
        ),
    }
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
    let mut text = String::new();
    for (negative, body) in &terms {
        append(&mut text, *negative, body);
    }
    (false, format!("({text})"))
}
