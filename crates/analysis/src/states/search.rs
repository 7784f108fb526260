//! All states of one block of op-amps that move each other.
//!
//! The modes are chosen op-amp by op-amp. Each choice is one linear equation, which takes one output out of all sums that are left. Between
//! two choices the bounds of what is still open decide what they can: an op-amp whose pull has one sign wherever the others may still be
//! cannot be elsewhere. The bounds are doubles rounded outwards and only ever rule out what is impossible, and each state that is left is
//! tested in exact fractions: so no state is lost and none is made up. Work is counted, and beyond a budget the search says so.

use std::cmp::Ordering;

use syntax::Ratio;

use super::plant::{Condition, Mode, Near, Plant, Quantity, Stage, compare};
use crate::feedback::{BUDGET, Sum, add, eliminate};

/// A block, with everything before it put in.
pub(crate) struct Block<'p> {
    pub stages: Vec<&'p Stage>,
    /// Output, pull and current of each, as sums over the block's outputs; then the constant, then the step beside it.
    lines: Vec<[Line; 3]>,
}

/// How the op-amps of a block can stand.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Found {
    pub modes: Vec<Mode>,
    /// The outputs.
    pub outputs: Vec<Near>,
    /// Those that are also just on the edge of another mode.
    pub edge: Vec<bool>,
}

/// What a search found.
#[derive(Clone, PartialEq, Debug, Default)]
pub(crate) struct Search {
    pub found: Vec<Found>,
    /// Some choice of modes leaves an output open: feedback that cancels, with nothing to drive it.
    pub open: bool,
    /// The budget did not suffice: there may be more.
    pub gave_up: bool,
}

/// How many fractions may still be worked out.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Work(pub u64);

impl Default for Work {
    /// About a second.
    fn default() -> Work {
        Work(5_000_000)
    }
}

impl Work {
    /// Spends some; whether there was enough.
    pub fn spend(&mut self, amount: usize) -> bool {
        let enough = self.0 >= amount as u64;
        self.0 = self.0.saturating_sub(amount as u64);
        enough
    }
}

/// A sum over the outputs that are still open.
#[derive(Clone, Debug)]
struct Line {
    /// One factor an output, then the constant, then the step.
    exact: Vec<Ratio>,
    near: Vec<f64>,
}

impl Line {
    fn new(exact: Vec<Ratio>) -> Line {
        let near = exact.iter().map(|it| it.to_f64().value()).collect();
        Line { exact, near }
    }

    fn constant(&self) -> Near {
        let [.., constant, step] = &self.exact[..] else {
            unreachable!("a line ends with its constant and its step")
        };
        [constant.clone(), step.clone()]
    }

    fn is_constant(&self) -> bool {
        let factors = self.exact.len() - 2;
        self.exact[..factors].iter().all(Ratio::is_zero)
    }

    /// Takes `pivot` out with the help of an equation, a line that is zero.
    fn take_out(&mut self, pivot: usize, equation: &[Ratio]) {
        if self.exact[pivot].is_zero() {
            return;
        }
        let factor = &self.exact[pivot] / &equation[pivot];
        for (at, it) in equation.iter().enumerate() {
            if at == pivot {
                self.exact[at] = Ratio::ZERO;
            } else if !it.is_zero() {
                self.exact[at] -= &factor * it;
            } else {
                continue;
            }
            self.near[at] = self.exact[at].to_f64().value();
        }
    }

    /// Between which values it can be, rounded outwards.
    fn range(&self, boxes: &[[f64; 2]]) -> [f64; 2] {
        let constant = self.near[boxes.len()];
        let (mut low, mut high) = (constant, constant);
        let mut size = constant.abs();
        for (factor, [least, most]) in self.near.iter().zip(boxes) {
            if *factor == 0.0 {
                continue;
            }
            let (a, b) = (factor * least, factor * most);
            low += a.min(b);
            high += a.max(b);
            size += [a, b]
                .iter()
                .filter(|it| it.is_finite())
                .fold(0.0, |size: f64, it| size.max(it.abs()));
        }
        let slack = size * (boxes.len() + 8) as f64 * f64::EPSILON + f64::MIN_POSITIVE;
        let outward = |it: f64, open: f64| if it.is_nan() { open } else { it };
        [
            outward(low - slack, f64::NEG_INFINITY),
            outward(high + slack, f64::INFINITY),
        ]
    }
}

/// More states of one block than this are not listed.
const MOST: usize = 1024;

const OUTPUT: usize = 0;
const PULL: usize = 1;
const CURRENT: usize = 2;

fn slot(quantity: Quantity) -> usize {
    match quantity {
        Quantity::Output => OUTPUT,
        Quantity::Pull => PULL,
        Quantity::Current => CURRENT,
    }
}

impl<'p> Block<'p> {
    /// The block of these members, with the outputs `before` it put in where they are known and the constants as `[constant, step]` of the columns behind the
    /// outputs: what stands for 1, and for the free source.
    pub fn new<'n>(
        plant: &'p Plant,
        members: &[usize],
        before: impl Fn(usize) -> Option<&'n Near>,
        given: &'n [Near; 2],
    ) -> Block<'p> {
        let size = members.len();
        let fold = |sum: &Sum<Ratio>| {
            let mut line = vec![Ratio::ZERO; size + 2];
            for (column, factor) in sum {
                if let Ok(place) = members.binary_search(column) {
                    line[place] += factor;
                    continue;
                }
                let value = match column.checked_sub(plant.constant()) {
                    Some(nth) => Some(&given[nth]),
                    None => before(*column),
                };
                if let Some([value, step]) = value {
                    line[size] += factor * value;
                    line[size + 1] += factor * step;
                }
            }
            Line::new(line)
        };
        let lines = members.iter().enumerate().map(|(place, member)| {
            let mut own = vec![Ratio::ZERO; size + 2];
            own[place] = Ratio::ONE;
            let current = match &plant.stages[*member].currents {
                Some(_) => fold(&plant.currents[*member]),
                None => Line::new(vec![Ratio::ZERO; size + 2]),
            };
            [Line::new(own), fold(&plant.pulls[*member]), current]
        });
        Block {
            lines: lines.collect(),
            stages: members.iter().map(|it| &plant.stages[*it]).collect(),
        }
    }

    /// Minus the factors of the pulls: the matrix P.
    pub fn p(&self) -> Vec<Vec<Ratio>> {
        let size = self.stages.len();
        self.lines
            .iter()
            .map(|it| it[PULL].exact[..size].iter().map(|it| -it).collect())
            .collect()
    }

    /// The outputs in these modes; `None` where they are not fixed.
    pub fn outputs(&self, modes: &[Mode]) -> Option<Vec<Near>> {
        let mut node = self.start(true);
        for (place, mode) in modes.iter().enumerate() {
            match self.decide(&mut node, place, *mode) {
                Decided::Fixed => {}
                Decided::Says | Decided::Contradicts => return None,
            }
        }
        Some(node.lines.iter().map(|it| it[OUTPUT].constant()).collect())
    }

    /// What a quantity comes to with these outputs.
    pub fn value(&self, place: usize, quantity: Quantity, outputs: &[Near]) -> Near {
        let line = &self.lines[place][slot(quantity)];
        let mut value = line.constant();
        for (factor, [output, step]) in line.exact.iter().zip(outputs) {
            if !factor.is_zero() {
                value[0] += factor * output;
                value[1] += factor * step;
            }
        }
        value
    }

    /// Whether the conditions of these modes hold with these outputs, and who is just on an edge.
    pub fn holds(&self, modes: &[Mode], outputs: &[Near]) -> Option<Vec<bool>> {
        let mut edge = Vec::with_capacity(modes.len());
        for (place, mode) in modes.iter().enumerate() {
            let told =
                |it: &Condition| compare(&self.value(place, it.quantity, outputs), &it.bound);
            let holds = |list: &&Vec<Condition>| {
                list.iter()
                    .all(|it| told(it) == Ordering::Equal || told(it) == it.side)
            };
            let conditions = self.stages[place].conditions(*mode);
            let list = conditions.iter().find(holds)?;
            edge.push(list.iter().any(|it| told(it) == Ordering::Equal));
        }
        Some(edge)
    }

    /// Every state.
    pub fn search(&self, work: &mut Work) -> Search {
        let mut search = Search::default();
        let mut waiting = vec![self.start(false)];
        while let Some(mut node) = waiting.pop() {
            match self.narrow(&mut node, work) {
                None => search.gave_up = true,
                Some(false) => continue,
                Some(true) => {}
            }
            if search.gave_up {
                break;
            }
            let Some(place) = self.next(&node) else {
                self.settled(node, &mut search);
                search.gave_up |= search.found.len() > MOST;
                continue;
            };
            for mode in node.possible[place].iter().rev() {
                let mut next = node.clone();
                next.possible[place] = vec![*mode];
                waiting.push(next);
            }
        }
        search
    }

    fn start(&self, without_bounds: bool) -> Node {
        let boxes = match without_bounds {
            true => vec![[f64::NEG_INFINITY, f64::INFINITY]; self.stages.len()],
            false => self.boxes(),
        };
        Node {
            lines: self.lines.clone(),
            boxes,
            possible: self.stages.iter().map(|it| it.modes().collect()).collect(),
            decided: vec![false; self.stages.len()],
            open: false,
        }
    }

    /// Between which values each output is in every state. Without a limit of current that is between its rails. With one it may be dragged beyond
    /// them, but whatever its mode it delivers no more than it can: so with the matrix of those currents solved for their outputs, limits of
    /// current are limits of voltage.
    fn boxes(&self) -> Vec<[f64; 2]> {
        let open = [f64::NEG_INFINITY, f64::INFINITY];
        let between_rails = |stage: &&Stage| match (&stage.limits, &stage.currents) {
            (Some([low, high]), None) => rounded_outwards(low, high),
            _ => open,
        };
        let mut boxes: Vec<[f64; 2]> = self.stages.iter().map(between_rails).collect();
        let size = self.stages.len();
        let limited: Vec<usize> = (0..size)
            .filter(|it| self.stages[*it].currents.is_some())
            .collect();
        // Unknown: the limited outputs. Columns: their currents, then all outputs, then 1.
        let count = limited.len();
        let rows = limited.iter().enumerate().map(|(nth, place)| {
            let mut row: Sum<Ratio> = Vec::new();
            let line = &self.lines[*place][CURRENT];
            for (at, factor) in line.exact[..=size].iter().enumerate() {
                let column = match limited.binary_search(&at) {
                    Ok(unknown) => unknown,
                    Err(_) => 2 * count + at,
                };
                add(&mut row, column, factor);
            }
            add(&mut row, count + nth, &Ratio::NEG_ONE);
            row
        });
        let found = eliminate(count, count + size + 1, rows.collect(), BUDGET);
        for (place, value) in limited.iter().zip(found.iter().flat_map(|it| &it.values)) {
            let Some(sum) = value else { continue };
            let mut line = vec![Ratio::ZERO; count + size + 2];
            for (column, factor) in sum {
                line[*column] = factor.clone();
            }
            let currents = limited.iter().map(|it| match &self.stages[*it].currents {
                Some([source, sink]) => rounded_outwards(&-sink.clone(), source),
                None => open,
            });
            let of_others = self.stages.iter().map(between_rails);
            let all: Vec<[f64; 2]> = currents.chain(of_others).collect();
            boxes[*place] = Line::new(line).range(&all);
        }
        boxes
    }

    /// Rules out modes until nothing changes, and takes those that alone are left; `Some(false)`: nothing is left of some op-amp.
    /// `None`: the work has no end.
    fn narrow(&self, node: &mut Node, work: &mut Work) -> Option<bool> {
        loop {
            let mut changed = false;
            for place in 0..self.stages.len() {
                let possible = std::mem::take(&mut node.possible[place]);
                let count = possible.len();
                self.bound(node, place, &possible);
                let left: Vec<Mode> = possible
                    .into_iter()
                    .filter(|it| self.may_hold(node, place, *it))
                    .collect();
                changed |= left.len() < count;
                if left.is_empty() {
                    return Some(false);
                }
                if let ([mode], false) = (&left[..], node.decided[place]) {
                    if !work.spend(self.stages.len() * self.stages.len() * 3) {
                        return None;
                    }
                    match self.decide(node, place, *mode) {
                        Decided::Fixed => {}
                        Decided::Says => node.open = true,
                        Decided::Contradicts => return Some(false),
                    }
                    changed = true;
                }
                node.possible[place] = left;
            }
            if !changed {
                return Some(true);
            }
        }
    }

    /// Where no limit of current is left to it, an output lies between its rails.
    fn bound(&self, node: &mut Node, place: usize, possible: &[Mode]) {
        let free = |it: &Mode| matches!(it, Mode::Sourcing | Mode::Sinking);
        if let Some([low, high]) = &self.stages[place].limits
            && !possible.iter().any(free)
        {
            let [low, high] = rounded_outwards(low, high);
            let [least, most] = &mut node.boxes[place];
            (*least, *most) = (least.max(low), most.min(high));
        }
    }

    /// Whether an op-amp may be in a mode, as far as bounds can tell.
    fn may_hold(&self, node: &Node, place: usize, mode: Mode) -> bool {
        let stage = self.stages[place];
        let (quantity, value) = stage.equation(mode);
        let lines = &node.lines[place];
        // Where the output is still open, its own limit is the place to look from.
        let own = lines[OUTPUT].near[place] == 1.0 && quantity == Quantity::Output;
        let ranges = match own {
            true => {
                let mut boxes = node.boxes.clone();
                let near = value.to_f64().value();
                let slack = near.abs() * f64::EPSILON;
                boxes[place] = [near - slack, near + slack];
                [0, 1, 2].map(|it| lines[it].range(&boxes))
            }
            false => [0, 1, 2].map(|it| lines[it].range(&node.boxes)),
        };
        let reaches = |quantity: Quantity, side: Ordering, bound: &Ratio| {
            let [low, high] = ranges[slot(quantity)];
            let bound = bound.to_f64().value();
            let slack = bound.abs() * f64::EPSILON;
            match side {
                Ordering::Greater => high >= bound - slack,
                Ordering::Less => low <= bound + slack,
                Ordering::Equal => high >= bound - slack && low <= bound + slack,
            }
        };
        reaches(quantity, Ordering::Equal, &value)
            && stage.conditions(mode).iter().any(|list| {
                list.iter()
                    .all(|it| reaches(it.quantity, it.side, &it.bound))
            })
    }

    /// Puts the equation of a mode in.
    fn decide(&self, node: &mut Node, place: usize, mode: Mode) -> Decided {
        node.decided[place] = true;
        let size = self.stages.len();
        let (quantity, value) = self.stages[place].equation(mode);
        let line = &node.lines[place][slot(quantity)];
        let mut equation = line.exact.clone();
        equation[size] -= value;
        // The op-amp's own output if it can be, else the one that counts most.
        let counts = |at: &usize| line.near[*at].abs();
        let mut open: Vec<usize> = (0..size).filter(|it| !equation[*it].is_zero()).collect();
        open.sort_by(|a, b| counts(b).total_cmp(&counts(a)));
        let pivot = open.iter().find(|it| **it == place).or(open.first());
        let Some(pivot) = pivot.copied() else {
            return match equation[size].is_zero() && equation[size + 1].is_zero() {
                true => Decided::Says,
                false => Decided::Contradicts,
            };
        };
        for line in node.lines.iter_mut().flatten() {
            line.take_out(pivot, &equation);
        }
        Decided::Fixed
    }

    /// The op-amp to choose for next: one with few modes left that moves the others much.
    fn next(&self, node: &Node) -> Option<usize> {
        let moves = |place: usize| -> f64 {
            let [low, high] = node.boxes[place];
            let width = (high - low).min(1e9);
            node.lines
                .iter()
                .map(|it| it[PULL].near[place].abs() * width)
                .sum()
        };
        (0..self.stages.len())
            .filter(|it| !node.decided[*it])
            .min_by(|a, b| {
                let few = node.possible[*a].len().cmp(&node.possible[*b].len());
                few.then(moves(*b).total_cmp(&moves(*a)))
            })
    }

    /// All modes are chosen: a state, if its conditions hold.
    fn settled(&self, node: Node, search: &mut Search) {
        let outputs: Vec<&Line> = node.lines.iter().map(|it| &it[OUTPUT]).collect();
        if node.open || outputs.iter().any(|it| !it.is_constant()) {
            search.open = true;
            return;
        }
        let outputs: Vec<Near> = outputs.iter().map(|it| it.constant()).collect();
        let modes: Vec<Mode> = node.possible.iter().map(|it| it[0]).collect();
        if let Some(edge) = self.holds(&modes, &outputs) {
            search.found.push(Found {
                modes,
                outputs,
                edge,
            });
        }
    }
}

/// Two fractions as doubles, not nearer together than they are.
fn rounded_outwards(low: &Ratio, high: &Ratio) -> [f64; 2] {
    let [low, high] = [low, high].map(|it| it.to_f64().value());
    [
        low - low.abs() * f64::EPSILON,
        high + high.abs() * f64::EPSILON,
    ]
}

/// What an equation did.
enum Decided {
    /// It took one output out.
    Fixed,
    /// It said nothing new.
    Says,
    /// It cannot hold.
    Contradicts,
}

/// Some modes chosen.
#[derive(Clone)]
struct Node {
    lines: Vec<[Line; 3]>,
    /// Between which values each output can be.
    boxes: Vec<[f64; 2]>,
    possible: Vec<Vec<Mode>>,
    decided: Vec<bool>,
    open: bool,
}
