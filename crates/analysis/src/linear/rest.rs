//! What no block fixes as a whole: rows are eliminated one after the other, so that single unknowns which they do fix are
//! still found, and a row that contradicts those before it is known by name.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;
use syntax::Ratio;

use super::System;
use crate::Answer;

/// Rows and unknowns that hang together.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Part {
    /// In rising order.
    pub rows: Vec<usize>,
    /// In rising order.
    pub unknowns: Vec<usize>,
}

/// Parts above this size are left without an answer: elimination in fractions would take too long.
const LARGEST: usize = 200;

/// Groups rows and unknowns that are not `known` by what hangs together; a row without unknown is a part alone.
pub(super) fn parts(pattern: &[Vec<u32>], rows: &[usize], known: &[bool]) -> Vec<Part> {
    let mut group: Vec<usize> = (0..known.len()).collect();
    fn root(group: &mut [usize], mut at: usize) -> usize {
        while group[at] != at {
            group[at] = group[group[at]];
            at = group[at];
        }
        at
    }
    let unknowns_of = |row: usize| {
        pattern[row]
            .iter()
            .map(|&it| it as usize)
            .filter(|&it| !known[it])
    };
    for &row in rows {
        let mut unknowns = unknowns_of(row);
        if let Some(first) = unknowns.next() {
            for other in unknowns {
                let (a, b) = (root(&mut group, first), root(&mut group, other));
                group[a.max(b)] = a.min(b);
            }
        }
    }
    let mut parts: BTreeMap<usize, Part> = BTreeMap::new();
    for unknown in (0..known.len()).filter(|&it| !known[it]) {
        parts
            .entry(root(&mut group, unknown))
            .or_default()
            .unknowns
            .push(unknown);
    }
    let mut alone = Vec::new();
    for &row in rows {
        match unknowns_of(row).next() {
            Some(unknown) => parts
                .entry(root(&mut group, unknown))
                .or_default()
                .rows
                .push(row),
            None => alone.push(Part {
                rows: vec![row],
                unknowns: Vec::new(),
            }),
        }
    }
    parts.into_values().chain(alone).collect()
}

/// An equation while it is being reduced.
struct Line {
    terms: FxHashMap<usize, Ratio>,
    right: Vec<Answer>,
}

impl Line {
    /// Takes another line `times` times away.
    fn less(&mut self, times: &Ratio, other: &Line) {
        for (unknown, factor) in &other.terms {
            let entry = self.terms.entry(*unknown).or_insert(Ratio::ZERO);
            *entry -= times * factor;
            if entry.is_zero() {
                self.terms.remove(unknown);
            }
        }
        let times = Answer::Exact(times.clone());
        for (right, taken) in self.right.iter_mut().zip(&other.right) {
            *right = &*right - &(&times * taken);
        }
    }
}

/// Sets the unknowns that the part's rows fix; gives the rows that those before them contradict. Nothing is set where a factor is
/// rounded, for then it cannot be told what is fixed.
pub(super) fn eliminate(
    system: &System,
    part: &Part,
    values: &mut [Vec<Option<Answer>>],
) -> Vec<usize> {
    if part.unknowns.len() > LARGEST {
        return Vec::new();
    }
    let mut lines: BTreeMap<usize, Line> = BTreeMap::new(); // by leading unknown, which stands in no other line
    let mut unmet = Vec::new();
    for &row in &part.rows {
        let Some(mut line) = line(system, row, part, values) else {
            return Vec::new();
        };
        let leading: Vec<usize> = line
            .terms
            .keys()
            .copied()
            .filter(|it| lines.contains_key(it))
            .collect();
        for unknown in leading {
            if let Some(times) = line.terms.get(&unknown).cloned() {
                line.less(&times, &lines[&unknown]);
            }
        }
        let Some((&unknown, factor)) = line.terms.iter().min_by_key(|(unknown, _)| **unknown)
        else {
            if line
                .right
                .iter()
                .any(|it| it.sign().is_some_and(|sign| sign.is_ne()))
            {
                unmet.push(row);
            }
            continue;
        };
        let inverse = Ratio::ONE / factor;
        line.terms.values_mut().for_each(|it| *it *= &inverse);
        let inverse = Answer::Exact(inverse);
        line.right.iter_mut().for_each(|it| *it = &*it * &inverse);
        for other in lines.values_mut() {
            if let Some(times) = other.terms.get(&unknown).cloned() {
                other.less(&times, &line);
            }
        }
        lines.insert(unknown, line);
    }
    for (unknown, line) in lines {
        if line.terms.len() == 1 {
            for (values, right) in values.iter_mut().zip(line.right) {
                values[unknown] = Some(right);
            }
        }
    }
    unmet
}

/// A row with its known unknowns put in; `None` where one of them or of the factors is not certain.
fn line(system: &System, row: usize, part: &Part, values: &[Vec<Option<Answer>>]) -> Option<Line> {
    let row = &system.rows[row];
    let mut line = Line {
        terms: FxHashMap::default(),
        right: row.right.iter().map(|it| it.answer()).collect(),
    };
    for (unknown, factor) in &row.terms {
        if part.unknowns.binary_search(unknown).is_ok() {
            if !factor.is_exact() {
                return None;
            }
            if !factor.value.is_zero() {
                line.terms.insert(*unknown, factor.value.clone());
            }
        } else if factor.stands() {
            for (right, values) in line.right.iter_mut().zip(values) {
                *right = &*right - &(&factor.answer() * values[*unknown].as_ref()?);
            }
        }
    }
    Some(line)
}
