//! What only the whole file tells of wrong names: one slip that shows at several places is one fault, and a name that is
//! taken gets the next free one as a way out.

use std::collections::{HashMap, HashSet};

use syntax::{Dimension, ExprKind, FileId, Fix, Place, TextEdit};

use crate::scope::{Builder, Step, What, replace};
use crate::{Fault, FaultKind};

/// More faults than these are no slips of the pen.
const MOST: usize = 50;
/// Where so many names of one stem are taken, nobody misses the next one.
const MOST_TRIED: usize = 1_000;

impl Builder<'_> {
    /// `source in: probe = 1.2 V`: the name of a node stands where the source's does, and the other way round.
    pub(crate) fn exchange_names(&mut self, frame: usize) {
        let library = self.library;
        for at in 0..self.faults.len().min(MOST) {
            let fault = &self.faults[at];
            let FaultKind::NameTaken { name, is, .. } = &fault.kind else {
                continue;
            };
            let Some(What::Source(index)) = self.find(frame, name).filter(|_| *is == "a source")
            else {
                continue;
            };
            let said = self.sources[index].said;
            let syntax::SourceForm::Held { plus, minus: None } = said.form else {
                continue;
            };
            let node = match self.find(frame, &self.key(frame, plus)) {
                Some(What::Node(node)) => &self.circuit.nodes[node.index()],
                _ => continue,
            };
            if node.places.len() > 1 || self.sources[index].frame != frame {
                continue;
            }
            let (name, other) = (name.clone(), fault.place);
            let text = |span: syntax::Span| span.of(self.text(frame)).to_owned();
            let written = format!("{}: {}", text(plus), text(said.name));
            let edits = vec![
                TextEdit {
                    span: said.name,
                    text: text(plus),
                },
                TextEdit {
                    span: plus,
                    text: text(said.name),
                },
            ];
            let place = self.place(frame, said.name);
            let line = library.line(other);
            let fault = &mut self.faults[at];
            fault.place = place;
            fault.related = vec![(other, format!("`{name}` is a node here"))];
            fault.fixes = vec![Fix::likely(format!("write `{written} = …`"), edits)];
            fault.kind = FaultKind::NameTaken {
                name: name.clone(),
                is: "a node",
                line: Some(line),
            };
            // It is one mistake, wherever the node stands.
            let again = |it: &Fault| matches!(&it.kind, FaultKind::NameTaken { name: taken, is: "a source", .. } if *taken == name);
            self.faults.retain(|it| !again(it));
            return;
        }
    }

    /// A `let` whose value has the wrong unit wherever it is used is told once, at that value.
    pub(crate) fn blame_lets(&mut self) {
        let needs_units = |it: &Fault| matches!(it.kind, FaultKind::UnitNeeded { .. });
        if self.faults.len() > MOST || !self.faults.iter().any(needs_units) {
            return;
        }
        for index in 0..self.lets.len() {
            let it = &self.lets[index];
            let (ExprKind::Quantity, Step::Done(Some(value))) = (&it.value.kind, &it.state) else {
                continue;
            };
            let (found, frame, span) = (value.dimension, it.frame, it.value.span);
            let blamed = |fault: &Fault, used: Place| match fault.kind {
                FaultKind::UnitNeeded { needed, found: has } => {
                    let (whole, part) = (fault.place.span, used.span);
                    let holds = fault.place.file == used.file
                        && whole.start <= part.start
                        && part.end <= whole.end;
                    (holds && has == found).then_some(needed)
                }
                _ => None,
            };
            let needed: Option<Vec<Dimension>> = it
                .uses
                .iter()
                .map(|used| self.faults.iter().find_map(|fault| blamed(fault, *used)))
                .collect();
            let Some(needed) = needed
                .filter(|all| all.windows(2).all(|it| it[0] == it[1]))
                .and_then(|all| all.first().copied())
            else {
                continue;
            };
            let (name, uses) = (it.name.clone(), it.uses.clone());
            let written = span.of(self.text(frame));
            let fix = match needed.unit() {
                Some(unit) if found == Dimension::NONE => {
                    Some(replace(span, format!("{written} {unit}"), false))
                }
                _ if needed == Dimension::NONE => self.without_unit(frame, span),
                _ => self.in_unit(frame, span, needed),
            };
            let mut related: Vec<(Place, String)> = uses
                .iter()
                .map(|it| (*it, format!("`{name}` is used here")))
                .collect();
            related.sort_by_key(|it| it.0);
            related.dedup();
            let is_blamed = |it: &Fault| uses.iter().any(|used| blamed(it, *used).is_some());
            self.faults.retain(|it| !is_blamed(it));
            let fault = self.fault(frame, span, FaultKind::UnitNeeded { needed, found });
            fault.subjects.push(name);
            fault.related = related;
            fault.fixes.extend(fix);
        }
    }

    /// The next free name for each element, device or source that took one.
    pub(crate) fn rename_taken(&mut self, frame: usize) {
        let (names, perhaps) = (&self.frames[frame].names, &self.frames[frame].perhaps);
        let mut given: HashSet<String> = HashSet::new();
        let library = self.library;
        let read = self.faults.iter().filter_map(|it| match &it.kind {
            FaultKind::UnknownName {
                name,
                wanted: "op-amp" | "element" | "source",
                nearest: None,
                ..
            } => Some(name.clone()),
            _ => None,
        });
        let mut unknown: Vec<String> = read.collect();
        unknown.sort_unstable();
        unknown.dedup();
        for fault in self.faults.iter_mut().take(MOST) {
            let FaultKind::NameTaken {
                name,
                is,
                line: Some(_),
            } = &fault.kind
            else {
                continue;
            };
            let text = library.text(fault.place.file);
            let behind = text[fault.place.span.end as usize..].trim_start();
            // The same kind of thing with another number: a value follows an element's name, a colon a device's.
            let made = match *is {
                "an element" => behind.starts_with(|it: char| it == '(' || it.is_ascii_digit()),
                "a node" | "a `let`" => false,
                _ => behind.starts_with(':'),
            };
            // A device or a source takes the one name that others read and nothing has.
            if behind.starts_with(':') && fault.fixes.is_empty() && unknown.len() == 1 {
                let name = unknown[0].clone();
                fault.fixes.push(replace(fault.place.span, name, false));
                continue;
            }
            if !made || !fault.fixes.is_empty() || fault.place.file != self.frames[frame].file {
                continue;
            }
            let stem = name.trim_end_matches(|it: char| it.is_ascii_digit());
            let is_free = |it: &String| {
                !names.contains_key(it.as_str()) && !perhaps.contains(it) && !given.contains(it)
            };
            let free = (1..MOST_TRIED)
                .map(|it| format!("{stem}{it}"))
                .find(is_free);
            if let Some(free) = free {
                fault
                    .fixes
                    .push(replace(fault.place.span, free.clone(), false));
                given.insert(free);
            }
        }
    }
}

/// A parameter that a block reads and its head does not say: that devices give it is the same mistake.
pub(crate) fn ports_not_said(mut faults: Vec<Fault>) -> Vec<Fault> {
    let mut given: Vec<(String, Place)> = Vec::new();
    let read: HashSet<String> = faults
        .iter()
        .filter(|it| it.circuit.is_none())
        .filter_map(|it| match &it.kind {
            FaultKind::UnknownName { name, .. } => Some(name.clone()),
            _ => None,
        })
        .collect();
    faults.retain(|it| match &it.kind {
        FaultKind::UnknownWord {
            word,
            wanted: "clause",
            ..
        } if read.contains(word) => {
            given.push((word.clone(), it.place));
            false
        }
        _ => true,
    });
    for fault in &mut faults {
        if let FaultKind::UnknownName { name, .. } = &fault.kind {
            let here = given.iter().filter(|it| it.0 == *name);
            let told = here.map(|it| {
                (
                    it.1,
                    format!("`{name}` is given here, but no port of the block"),
                )
            });
            fault.related.extend(told);
        }
    }
    faults
}

/// A port that several devices join and the head of their block does not say: the slip is in the head.
pub(crate) fn ports_left_out(mut faults: Vec<Fault>) -> Vec<Fault> {
    let left_out = |it: &Fault| match (&it.kind, it.related.as_slice()) {
        (
            FaultKind::UnknownWord {
                word,
                wanted: "clause",
                nearest: None,
            },
            [(head, _)],
        ) => Some((word.clone(), *head)),
        _ => None,
    };
    let mut joined: HashMap<(String, Place), Vec<Place>> = HashMap::new();
    for fault in &faults {
        if let Some(key) = left_out(fault) {
            joined.entry(key).or_default().push(fault.place);
        }
    }
    joined.retain(|_, it| it.len() > 1);
    faults.retain_mut(|fault| {
        let Some(key) = left_out(fault) else {
            return true;
        };
        let Some(joined) = joined.get(&key) else {
            return true;
        };
        let (word, head) = key;
        let is_first = joined[0] == fault.place;
        fault.place = head;
        fault.circuit = None;
        let told = joined
            .iter()
            .map(|it| (*it, format!("`{word}` is joined here")));
        fault.related = told.collect();
        fault.kind = FaultKind::UnknownWord {
            word,
            wanted: "port",
            nearest: None,
        };
        is_first
    });
    faults
}

/// A `let` under a reserved name, and the one name that nothing has: they were meant to be one.
pub(crate) fn reserved(mut faults: Vec<Fault>) -> Vec<Fault> {
    let taken = |it: &Fault| {
        let taken = matches!(it.kind, FaultKind::NameTaken { is: "reserved", .. });
        taken
            || it.fixes.is_empty()
                && matches!(
                    it.kind,
                    FaultKind::NameTaken {
                        is: "an element",
                        ..
                    }
                )
    };
    let unknown = |it: &Fault| match &it.kind {
        FaultKind::UnknownName {
            name,
            nearest: None,
            ..
        } => Some(name.clone()),
        _ => None,
    };
    let mut reserved = faults.iter().filter(|it| taken(it));
    let names: HashSet<String> = faults.iter().filter_map(unknown).collect();
    let (Some(_), None, 1) = (reserved.next(), reserved.next(), names.len()) else {
        return faults;
    };
    let Some(name) = names.into_iter().next() else {
        return faults;
    };
    faults.retain(|it| unknown(it).is_none());
    for fault in faults.iter_mut().filter(|it| taken(it)) {
        let fix = replace(fault.place.span, name.clone(), false);
        fault.fixes.push(fix);
    }
    faults
}

/// Joins the faults of each unknown name. `unused` tells what the first file describes and nothing uses: where several
/// lines miss what is nearly called so, its own line has the slip.
pub(crate) fn join_unknown(
    faults: Vec<Fault>,
    unused: impl FnOnce() -> Vec<(String, Place)>,
) -> Vec<Fault> {
    let mut groups: HashMap<String, Vec<usize>> = HashMap::new();
    for (index, fault) in faults.iter().enumerate() {
        if let Some((name, nearest)) = unknown(fault) {
            // What is missed inside one thing that does not exist is one mistake.
            let root = name.split_once('.').filter(|_| nearest.is_none());
            let name = root.map_or(name, |it| it.0);
            groups.entry(name.to_owned()).or_default().push(index);
        }
    }
    groups.retain(|_, it| it.len() > 1);
    if groups.is_empty() {
        return faults;
    }
    let unused = unused();
    let mut faults: Vec<Option<Fault>> = faults.into_iter().map(Some).collect();
    for group in groups.into_values() {
        let found: Vec<Fault> = group.iter().filter_map(|it| faults[*it].take()).collect();
        let joined = joined(found, &unused);
        for (index, fault) in group.into_iter().zip(joined) {
            faults[index] = Some(fault);
        }
    }
    faults.into_iter().flatten().collect()
}

/// The name, and the nearest one that exists.
fn unknown(fault: &Fault) -> Option<(&str, Option<&str>)> {
    match &fault.kind {
        FaultKind::UnknownName { name, nearest, .. } => Some((name, nearest.as_deref())),
        FaultKind::UnknownWord {
            word,
            wanted: "device",
            nearest,
        } => Some((word, nearest.as_deref())),
        _ => None,
    }
}

fn joined(found: Vec<Fault>, unused: &[(String, Place)]) -> Vec<Fault> {
    let name = unknown(&found[0])
        .map(|it| it.0.to_owned())
        .unwrap_or_default();
    let nearest = unknown(&found[0]).and_then(|it| it.1);
    let described = unused.iter().find(|(it, _)| nearest == Some(it));
    if let Some((_, place)) = described {
        let read = found
            .iter()
            .map(|it| (it.place, format!("`{name}` is read here")));
        return vec![Fault {
            place: *place,
            related: read.collect(),
            fixes: vec![replace(place.span, name.clone(), false)],
            ..found[0].clone()
        }];
    }
    // Those of one circuit are one; another circuit may have a slip of its own.
    let mut first: Vec<Fault> = Vec::new();
    for fault in found {
        let same =
            |it: &&mut Fault| it.circuit == fault.circuit && it.place.file == fault.place.file;
        let Some(told) = first.iter_mut().find(same) else {
            first.push(fault);
            continue;
        };
        told.related
            .push((fault.place, format!("`{name}` stands here too")));
        if let (Some(fix), Some(more)) = (told.fixes.first_mut(), fault.fixes.first()) {
            fix.extend(more.edits.iter().cloned());
        }
    }
    first
}

/// Whether a place lies in the first file.
pub(crate) fn is_first(place: Place) -> bool {
    place.file == FileId(0)
}
