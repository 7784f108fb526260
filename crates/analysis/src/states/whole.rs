//! States of the whole plant: block after block, what comes first first; what has the same voltages is one state.

use std::cell::RefCell;
use std::cmp::Ordering;

use dashu_base::Sign;
use rustc_hash::FxHashMap;
use syntax::Ratio;

use super::Stability;
use super::plant::{Mode, Near, Plant, Quantity, compare};
use super::search::{Block, Found, Search, Work};
use super::unique;

/// Says whether members of a block in these modes would stay there.
pub(crate) type Judge<'a> = dyn Fn(&[usize], &[Mode]) -> Stability + 'a;

/// A plant with what is worked out of it once.
pub(crate) struct Finder<'a> {
    pub plant: &'a Plant,
    pub blocks: Vec<Vec<usize>>,
    judge: &'a Judge<'a>,
    judged: RefCell<FxHashMap<(usize, Vec<Mode>), Stability>>,
    /// For each block whether it has one state whatever drives it.
    unique: Vec<bool>,
}

/// One way in which all op-amps can stand.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Whole {
    pub modes: Vec<Mode>,
    pub outputs: Vec<Near>,
    pub edge: Vec<bool>,
    pub stability: Stability,
}

/// All of them.
#[derive(Clone, PartialEq, Debug, Default)]
pub(crate) struct All {
    pub states: Vec<Whole>,
    /// Some modes leave an output open.
    pub open: bool,
    /// There may be more.
    pub gave_up: bool,
}

/// More states than this are not listed.
const MOST: usize = 1024;
/// Where there are more than this, those that would not last are not.
const FEW: usize = 64;

impl<'a> Finder<'a> {
    pub fn new(plant: &'a Plant, judge: &'a Judge<'a>, work: &mut Work) -> Finder<'a> {
        let blocks = plant.blocks();
        let given = at(&Ratio::ZERO, Sign::Positive, false);
        let unique = blocks
            .iter()
            .map(|it| unique::has_one_state(&Block::new(plant, it, |_| None, &given), work));
        Finder {
            unique: unique.collect(),
            plant,
            blocks,
            judge,
            judged: RefCell::default(),
        }
    }

    /// Whether the whole has one state wherever the sources are, so that none ever ends in a jump.
    pub fn is_unique(&self) -> bool {
        self.unique.iter().all(|it| *it)
    }

    /// Whether one of the [`Finder::blocks`] has one state whatever drives it.
    pub fn is_unique_block(&self, index: usize) -> bool {
        self.unique[index]
    }

    /// Every state, with the columns behind the outputs as given.
    pub fn states(&self, given: &[Near; 2], work: &mut Work) -> All {
        let mut all = All::default();
        let count = self.plant.stages.len();
        let start = Whole {
            modes: vec![Mode::Linear; count],
            outputs: vec![[Ratio::ZERO, Ratio::ZERO]; count],
            edge: vec![false; count],
            stability: Stability::Stable,
        };
        let mut partial = vec![start];
        for (index, members) in self.blocks.iter().enumerate() {
            let mut next = Vec::new();
            for state in partial {
                let before = |it: usize| Some(&state.outputs[it]);
                let block = Block::new(self.plant, members, before, given);
                let settled = match self.unique[index] {
                    true => unique::settle(&block, work),
                    false => None,
                };
                let search = match settled {
                    Some(found) => Search {
                        found: vec![found],
                        ..Search::default()
                    },
                    None => block.search(work),
                };
                all.open |= search.open;
                all.gave_up |= search.gave_up;
                let merged = self.merged(members, &block, search.found);
                let states = std::iter::repeat_n(state, merged.len());
                for ((found, stability), mut state) in merged.into_iter().zip(states) {
                    for (place, member) in members.iter().enumerate() {
                        state.modes[*member] = found.modes[place];
                        state.outputs[*member] = found.outputs[place].clone();
                        state.edge[*member] = found.edge[place];
                    }
                    state.stability = state.stability.max(stability);
                    next.push(state);
                }
                if next.len() > FEW {
                    next.retain(|it: &Whole| it.stability.stays());
                }
                if next.len() > MOST {
                    all.gave_up = true;
                    break;
                }
            }
            partial = next;
        }
        all.states = partial;
        all.states.sort_by(|a, b| a.modes.cmp(&b.modes));
        all
    }

    /// One of those with the same outputs: the most stable, and then the one with the most op-amps linear.
    fn merged(
        &self,
        members: &[usize],
        block: &Block,
        found: Vec<Found>,
    ) -> Vec<(Found, Stability)> {
        let mut merged: Vec<(Found, Stability)> = Vec::new();
        for it in found {
            if self.is_tied_comparator(block, &it) {
                continue;
            }
            let stability = self.stability(members, &it.modes);
            let clipped = |it: &Found| it.modes.iter().filter(|it| **it != Mode::Linear).count();
            match merged
                .iter_mut()
                .find(|other| other.0.outputs == it.outputs)
            {
                None => merged.push((it, stability)),
                Some(other) => {
                    if (stability, clipped(&it)) < (other.1, clipped(&other.0)) {
                        *other = (it, stability);
                    }
                    other.0.edge.iter_mut().for_each(|it| *it = true);
                }
            }
        }
        merged
    }

    /// A comparator with equal inputs is at its low rail.
    fn is_tied_comparator(&self, block: &Block, found: &Found) -> bool {
        (0..found.modes.len()).any(|place| {
            let pull = || block.value(place, Quantity::Pull, &found.outputs);
            block.stages[place].comparator
                && found.modes[place] == Mode::High
                && compare(&pull(), &Ratio::ZERO) == Ordering::Equal
        })
    }

    pub fn stability(&self, members: &[usize], modes: &[Mode]) -> Stability {
        if !modes.contains(&Mode::Linear) {
            return Stability::Stable;
        }
        let key = (members[0], modes.to_vec());
        if let Some(known) = self.judged.borrow().get(&key) {
            return *known;
        }
        let stability = (self.judge)(members, modes);
        self.judged.borrow_mut().insert(key, stability);
        stability
    }
}

/// The columns behind the outputs with the free source at a value, or just beside it.
pub(crate) fn at(value: &Ratio, side: Sign, beside: bool) -> [Near; 2] {
    let step = match (beside, side) {
        (false, _) => Ratio::ZERO,
        (true, Sign::Positive) => Ratio::ONE,
        (true, Sign::Negative) => Ratio::NEG_ONE,
    };
    [[Ratio::ONE, Ratio::ZERO], [value.clone(), step]]
}
