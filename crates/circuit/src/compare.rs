//! Two versions of a file told apart by meaning: the same circuit whatever the order and spelling, else each part,
//! connection, value and claim that differs.

mod draw;
mod same;

use std::collections::{BTreeMap, BTreeSet};

use syntax::Place;

use crate::{Book, Circuit};
use draw::Drawing;

/// Which names count.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Names {
    /// A renamed part is another part.
    Count,
    /// Names are left out: only what is joined to what, and the values.
    Any,
}

/// One thing that differs.
#[derive(Clone, PartialEq, Debug)]
pub struct Difference {
    /// The circuit's name.
    pub circuit: String,
    /// In which way.
    pub kind: Kind,
    /// The part's name, or the first word of a statement.
    pub subject: String,
    /// As the old text has it.
    pub old: Option<String>,
    /// As the new text has it.
    pub new: Option<String>,
    /// Where, in the new text; of what was removed, in the old one.
    pub place: Place,
}

/// The ways in which things differ.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Kind {
    /// Only in the new text.
    Added,
    /// Only in the old text.
    Removed,
    /// Same part, same place, another value.
    Value,
    /// Same part between other nodes.
    Connection,
    /// A claim, a task or another statement about the circuit.
    Claim,
}

/// Everything that differs, circuit by circuit; none: they mean the same. Circuits pair by name (with [`Names::Any`] those
/// left over by their order).
pub fn compare(old: &Book, new: &Book, names: Names) -> Vec<Difference> {
    let mut differences = Vec::new();
    let mut left: Vec<&Circuit> = old.circuits.iter().collect();
    let mut pairs = Vec::new();
    let mut added = Vec::new();
    for circuit in &new.circuits {
        match left.iter().position(|it| it.name == circuit.name) {
            Some(index) => pairs.push((left.remove(index), circuit)),
            None => added.push(circuit),
        }
    }
    // A file that is one circuit is named after the file: two such files are still one circuit.
    let lone = |circuits: &[Circuit]| circuits.len() == 1;
    let by_order =
        names == Names::Any || lone(&old.circuits) && lone(&new.circuits) && unnamed(old, new);
    if by_order {
        let count = left.len().min(added.len());
        pairs.extend(left.drain(..count).zip(added.drain(..count)));
    }
    let whole = |circuit: &Circuit, kind, added: bool| Difference {
        circuit: circuit.name.clone(),
        kind,
        subject: circuit.name.clone(),
        old: (!added).then(|| "circuit".to_owned()),
        new: added.then(|| "circuit".to_owned()),
        place: circuit.place,
    };
    differences.extend(left.iter().map(|it| whole(it, Kind::Removed, false)));
    for (before, after) in pairs {
        one(old, new, (before, after), names, &mut differences);
    }
    differences.extend(added.iter().map(|it| whole(it, Kind::Added, true)));
    differences
}

/// Whether either file's circuit has its name from the file alone.
fn unnamed(old: &Book, new: &Book) -> bool {
    [old, new].iter().any(|book| {
        book.circuits
            .iter()
            .any(|it| it.place.span.start == it.place.span.end)
    })
}

fn one(
    old: &Book,
    new: &Book,
    (before, after): (&Circuit, &Circuit),
    names: Names,
    differences: &mut Vec<Difference>,
) {
    let oriented = draw::oriented(before, after);
    let mut a = Drawing::of(old, before, &oriented);
    let mut b = Drawing::of(new, after, &oriented);
    if names == Names::Any
        && let Some(renaming) = same::renaming(&a, &b)
    {
        a = a.renamed(&BTreeMap::new());
        b = b.renamed(&renaming);
    }
    let mut push = |kind, subject: &str, old: Option<&str>, new: Option<&str>, place| {
        differences.push(Difference {
            circuit: after.name.clone(),
            kind,
            subject: subject.to_owned(),
            old: old.map(str::to_owned),
            new: new.map(str::to_owned),
            place,
        });
    };
    let all: BTreeSet<&String> = a.things.keys().chain(b.things.keys()).collect();
    for name in all {
        match (a.things.get(name), b.things.get(name)) {
            (Some(x), Some(y)) => {
                if x.kind != y.kind || x.pins != y.pins {
                    push(
                        Kind::Connection,
                        name,
                        Some(&x.joined()),
                        Some(&y.joined()),
                        y.place,
                    );
                }
                if x.value != y.value && x.kind == y.kind {
                    let (was, is) = (x.shown_beside(y), y.shown_beside(x));
                    push(Kind::Value, name, Some(&was), Some(&is), y.place);
                }
            }
            (Some(x), None) => push(Kind::Removed, name, Some(&x.whole()), None, x.place),
            (None, Some(y)) => push(Kind::Added, name, None, Some(&y.whole()), y.place),
            (None, None) => {}
        }
    }
    // Statements about the circuit: those that only one side has, paired by their first word where both sides have one.
    let (mut gone, mut come) = (a.statements.clone(), b.statements.clone());
    gone.retain(
        |it| match come.iter().position(|other| other.text == it.text) {
            Some(index) => {
                come.remove(index);
                false
            }
            None => true,
        },
    );
    for it in gone {
        let partner = come
            .iter()
            .position(|other| other.word == it.word)
            .map(|index| come.remove(index));
        match partner {
            Some(other) => push(
                Kind::Claim,
                &it.word,
                Some(&it.text),
                Some(&other.text),
                other.place,
            ),
            None => push(Kind::Claim, &it.word, Some(&it.text), None, it.place),
        }
    }
    for it in come {
        push(Kind::Claim, &it.word, None, Some(&it.text), it.place);
    }
}
