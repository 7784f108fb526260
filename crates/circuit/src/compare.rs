//! Two versions of a file told apart by meaning: the same circuit whatever the order and spelling, else each part,
//! connection, value and claim that differs.

mod draw;
mod figures;
mod said;
mod same;

use std::collections::{BTreeMap, BTreeSet};

use syntax::{Dimension, Number, Place, StatementKind};

use crate::{Book, Circuit};
use draw::{Drawing, Rails, Thing};

/// How a number is written for people.
pub type Show<'s> = &'s dyn Fn(&Number, Dimension) -> String;

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
pub fn compare(old: &Book, new: &Book, names: Names, show: Show) -> Vec<Difference> {
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
        one(old, new, (before, after), names, show, &mut differences);
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
    show: Show,
    differences: &mut Vec<Difference>,
) {
    let oriented = draw::oriented(before, after);
    let a = Drawing::of(old, before, &oriented, show);
    let mut b = Drawing::of(new, after, &oriented, show);
    if names == Names::Any {
        b = b.renamed(&same::renaming(&a, &b));
    }
    let mut found = Found {
        circuit: after.name.clone(),
        differences,
        told: BTreeSet::new(),
    };
    let unread = [unread(old, before), unread(new, after)];
    let all: BTreeSet<&String> = a.things.keys().chain(b.things.keys()).collect();
    for name in all {
        match (a.things.get(name), b.things.get(name)) {
            (Some(x), Some(y)) => found.thing(name, x, y),
            // What stands on a line that cannot be read is not gone: the line is told.
            (Some(x), None) if !unread[1].contains(&x.name) => {
                found.push(Kind::Removed, &x.name, Some(x.whole()), None, x.place);
            }
            (None, Some(y)) if !unread[0].contains(&y.name) => {
                found.push(Kind::Added, &y.name, None, Some(y.whole()), y.place);
            }
            _ => {}
        }
    }
    found.statements((before, &a), (after, &b), show);
}

/// The names on lines of a circuit that cannot be read.
fn unread(book: &Book, circuit: &Circuit) -> BTreeSet<String> {
    let Some(file) = book.files.first() else {
        return BTreeSet::new();
    };
    let extent = circuit.extent.span;
    let inside =
        |it: &&syntax::Statement| extent.start <= it.span.start && it.span.start < extent.end;
    let broken = file.tree.statements.iter().filter(inside);
    let names = broken.filter_map(|it| match &it.kind {
        StatementKind::Broken(it) if it.wires => Some(&it.names),
        _ => None,
    });
    names
        .flatten()
        .map(|it| crate::normal_name(it.of(&file.text)))
        .collect()
}

/// What was found in a pair of circuits.
struct Found<'d> {
    circuit: String,
    differences: &'d mut Vec<Difference>,
    /// Parts of op-amps and the circuit's supply: one change of them is told once, however many op-amps have them.
    told: BTreeSet<String>,
}

impl Found<'_> {
    fn push(
        &mut self,
        kind: Kind,
        subject: &str,
        old: Option<String>,
        new: Option<String>,
        place: Place,
    ) {
        self.differences.push(Difference {
            circuit: self.circuit.clone(),
            kind,
            subject: subject.to_owned(),
            old,
            new,
            place,
        });
    }

    fn thing(&mut self, name: &str, x: &Thing, y: &Thing) {
        if x.kind != y.kind || x.pins != y.pins {
            let (old, new) = (x.joined(), y.joined());
            self.push(Kind::Connection, name, Some(old), Some(new), y.place);
        }
        if x.kind != y.kind {
            return;
        }
        if let Some((old, new)) = figures::apart(&x.figures, &y.figures) {
            self.push(Kind::Value, name, Some(old), Some(new), y.place);
        }
        let (Some(was), Some(is)) = (&x.amplifier, &y.amplifier) else {
            return;
        };
        if let Some((old, new)) = figures::apart(&was.figures, &is.figures) {
            if was.part != is.part {
                let (old, new) = (was.part.clone(), is.part.clone());
                self.push(Kind::Value, name, Some(old), Some(new), y.place);
            } else if self.told.insert(format!("part {}", is.part)) {
                self.push(Kind::Value, &is.part, Some(old), Some(new), y.place);
            }
        }
        self.rails(name, (was.rails.as_ref(), is.rails.as_ref()), y.place);
    }

    fn rails(&mut self, name: &str, (was, is): (Option<&Rails>, Option<&Rails>), place: Place) {
        let same = match (was, is) {
            (Some(was), Some(is)) => was.same(is),
            (None, None) => true,
            _ => false,
        };
        if same {
            return;
        }
        let [old, new] = [was, is].map(|it| it.map(|it| it.shown.clone()));
        let common = [was, is].into_iter().flatten().all(|it| it.common);
        if !common {
            let said = |it: Option<String>| match it {
                Some(it) => format!("supply {it}"),
                None => "no supply".to_owned(),
            };
            self.push(Kind::Value, name, Some(said(old)), Some(said(new)), place);
        } else if self.told.insert("supply".to_owned()) {
            let kind = match (was, is) {
                (None, _) => Kind::Added,
                (_, None) => Kind::Removed,
                _ => Kind::Value,
            };
            let place = is.or(was).map_or(place, |it| it.place);
            self.push(kind, "supply", old, new, place);
        }
    }

    /// Statements about the circuit: those that only one side has, paired by their first word where both sides have one.
    fn statements(
        &mut self,
        (before, a): (&Circuit, &Drawing),
        (after, b): (&Circuit, &Drawing),
        show: Show,
    ) {
        let (mut gone, mut come) = (a.statements.clone(), b.statements.clone());
        let mut keys: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (index, it) in come.iter().enumerate().rev() {
            keys.entry(it.key()).or_default().push(index);
        }
        let mut matched = BTreeSet::new();
        gone.retain(|it| match keys.get_mut(&it.key()).and_then(Vec::pop) {
            Some(index) => !matched.insert(index),
            None => true,
        });
        let mut index = 0;
        come.retain(|_| {
            index += 1;
            !matched.contains(&(index - 1))
        });
        for it in gone {
            // The same words say something else where a `let` has another value: that is what differs.
            let text = it.text();
            let alike = come.iter().position(|other| other.text() == text);
            if let Some(index) = alike {
                let other = come.remove(index);
                let lets: Vec<&str> = it.lets().collect();
                if self.lets(&lets, before, after, show) {
                    continue;
                }
                self.push(
                    Kind::Claim,
                    &it.word,
                    Some(text.clone()),
                    Some(text),
                    other.place,
                );
                continue;
            }
            let partner = come
                .iter()
                .position(|other| other.word == it.word)
                .map(|index| come.remove(index));
            let (new, place) = match partner {
                Some(other) => (Some(other.text()), other.place),
                None => (None, it.place),
            };
            self.push(Kind::Claim, &it.word, Some(text), new, place);
        }
        for it in come {
            self.push(Kind::Claim, &it.word, None, Some(it.text()), it.place);
        }
    }

    /// Tells those of the `let`s whose values differ, each once; whether any does.
    fn lets(&mut self, names: &[&str], before: &Circuit, after: &Circuit, show: Show) -> bool {
        let mut any = false;
        for name in names {
            let value = |circuit: &Circuit| {
                let it = circuit.lets.iter().find(|it| it.name == *name)?;
                Some((it.value.clone()?, it.place))
            };
            let (Some((old, _)), Some((new, place))) = (value(before), value(after)) else {
                continue;
            };
            if old == new {
                continue;
            }
            any = true;
            if self.told.insert(format!("let {name}")) {
                let [old, new] = [old, new].map(|it| show(&it.number, it.dimension));
                self.push(Kind::Value, name, Some(old), Some(new), place);
            }
        }
        any
    }
}
