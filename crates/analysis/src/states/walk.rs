//! Where states end as one source moves.
//!
//! With one source's value s free, everything in one choice of modes is `a + b·s`, and each condition holds on one side of one value: so a state
//! has an exact interval. At a finite end the states just beside it are looked up (`s ± ε`). If a stable one has the same voltages there, the
//! circuit goes on smoothly; if none has, it jumps, and that end is a switching point. From the states as written the walk follows both
//! ways out, and every state that it meets; then those that last only where it did not come by ([`survey`]). So the points are the same wherever the
//! source stands in the text.

use std::cmp::Ordering;

use dashu_base::Sign;
use rustc_hash::FxHashMap;
use syntax::Ratio;

use super::plant::{Condition, Mode, Near};
use super::search::{Block, Work};
use super::survey::survey;
use super::whole::{All, Finder, Whole, at};

/// A point where a state ends and nothing with the same voltages goes on.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Jump {
    /// The source's value.
    pub value: Ratio,
    /// The state that ends.
    pub from: Vec<Mode>,
    /// Those whose conditions end there.
    pub leaving: Vec<usize>,
    /// Whether the source rises there.
    pub rises: bool,
    /// The stable states beyond.
    pub to: Vec<Vec<Mode>>,
    /// On which side each op-amp's output is in the state that ends, and in those beyond: [`super::plant::Stage::is_high`].
    pub sides: Vec<Option<bool>>,
    pub to_sides: Vec<Vec<Option<bool>>>,
}

/// What a walk met.
#[derive(Clone, PartialEq, Debug, Default)]
pub(crate) struct Walk {
    pub jumps: Vec<Jump>,
    /// There may be more.
    pub gave_up: bool,
}

/// So many states are followed for one source.
const MOST: usize = 256;

/// From one end to the other; `None`: without end.
pub(crate) type Span = [Option<Ratio>; 2];

/// Follows every state as the free source moves away from its value as written.
pub(crate) fn walk(finder: &Finder, written: &Ratio, work: &mut Work) -> Walk {
    let mut walker = Walker {
        finder,
        walk: Walk::default(),
        known: FxHashMap::default(),
        waiting: Vec::new(),
        followed: 0,
    };
    for side in [Sign::Positive, Sign::Negative] {
        walker.look(written, side, work);
    }
    walker.follow(work);
    let (stretches, complete) = survey(finder, work);
    walker.walk.gave_up |= !complete;
    for (modes, inside) in stretches {
        if !walker.knows(&modes, &inside) {
            walker.look(&inside, Sign::Positive, work);
            walker.follow(work);
        }
    }
    let mut walk = walker.walk;
    walk.jumps
        .sort_by(|a, b| (&a.value, a.rises, &a.from).cmp(&(&b.value, b.rises, &b.from)));
    walk
}

struct Walker<'w, 'f> {
    finder: &'w Finder<'f>,
    walk: Walk,
    /// Where each choice of modes is known to last: one choice may do on several stretches.
    known: FxHashMap<Vec<Mode>, Vec<Span>>,
    waiting: Vec<(Vec<Mode>, Ratio)>,
    followed: usize,
}

impl Walker<'_, '_> {
    fn knows(&self, modes: &[Mode], here: &Ratio) -> bool {
        let spans = self.known.get(modes);
        spans.is_some_and(|it| it.iter().any(|it| covers(it, here)))
    }

    /// The stable states just beside a value, which are followed from there.
    fn look(&mut self, value: &Ratio, side: Sign, work: &mut Work) -> All {
        let mut all = self.finder.states(&at(value, side, true), work);
        self.walk.gave_up |= all.gave_up;
        all.states.retain(|it| it.stability.stays());
        for state in &all.states {
            if !self.knows(&state.modes, value) {
                self.waiting.push((state.modes.clone(), value.clone()));
            }
        }
        all
    }

    fn follow(&mut self, work: &mut Work) {
        while let Some((modes, here)) = self.waiting.pop() {
            if self.knows(&modes, &here) {
                continue;
            }
            self.followed += 1;
            if self.followed > MOST || self.walk.gave_up {
                self.walk.gave_up = true;
                break;
            }
            let Some(piece) = Piece::of(self.finder, &modes, &here) else {
                continue;
            };
            let known = self.known.entry(modes.clone()).or_default();
            known.push(piece.span.clone());
            for (end, side) in [(0, Sign::Negative), (1, Sign::Positive)] {
                let Some(value) = &piece.span[end] else {
                    continue;
                };
                let beyond = self.look(value, side, work);
                if beyond.states.iter().any(|it| piece.goes_on(it, value)) {
                    continue;
                }
                let plant = self.finder.plant;
                let there = |[a, b]: &Near| [a + b * value, Ratio::ZERO];
                let own: Vec<Near> = piece.outputs.iter().map(there).collect();
                let sides_of = |it: &Whole| plant.sides(&it.modes, &it.outputs);
                self.walk.jumps.push(Jump {
                    value: value.clone(),
                    leaving: piece.leaving(end),
                    rises: side == Sign::Positive,
                    to: beyond.states.iter().map(|it| it.modes.clone()).collect(),
                    sides: plant.sides(&modes, &own),
                    to_sides: beyond.states.iter().map(sides_of).collect(),
                    from: modes.clone(),
                });
            }
        }
    }
}

/// One choice of modes over the values of the free source.
struct Piece {
    /// Each output as `[a, b]` of a + b·s.
    outputs: Vec<Near>,
    /// Where each op-amp's conditions hold.
    spans: Vec<Span>,
    span: Span,
}

impl Piece {
    /// The piece around a value where it is known to hold; `None` where it does not fix the outputs.
    fn of(finder: &Finder, modes: &[Mode], here: &Ratio) -> Option<Piece> {
        let count = modes.len();
        let given = [[Ratio::ONE, Ratio::ZERO], [Ratio::ZERO, Ratio::ONE]];
        let mut outputs: Vec<Option<Near>> = vec![None; count];
        let mut spans: Vec<Span> = vec![[None, None]; count];
        for members in &finder.blocks {
            let before = |it: usize| outputs[it].as_ref();
            let block = Block::new(finder.plant, members, before, &given);
            let own: Vec<Mode> = members.iter().map(|it| modes[*it]).collect();
            let found = block.outputs(&own)?;
            for (place, member) in members.iter().enumerate() {
                spans[*member] = around(spans_of(&block, place, own[place], &found), here)?;
            }
            for (member, output) in members.iter().zip(found) {
                outputs[*member] = Some(output);
            }
        }
        let span = spans
            .iter()
            .try_fold([None, None], |span, it| narrowed(span, it.clone()))?;
        Some(Piece {
            outputs: outputs.into_iter().collect::<Option<_>>()?,
            spans,
            span,
        })
    }

    fn leaving(&self, end: usize) -> Vec<usize> {
        let ends = |it: &usize| self.spans[*it][end] == self.span[end];
        (0..self.spans.len()).filter(ends).collect()
    }

    /// Whether a state beside an end has the voltages that this one has there.
    fn goes_on(&self, state: &Whole, value: &Ratio) -> bool {
        let mut both = self.outputs.iter().zip(&state.outputs);
        both.all(|([a, b], [output, _])| a + b * value == *output)
    }
}

/// Where the conditions of a mode hold, with all outputs of the block as a + b·s: one span for each list of conditions that holds anywhere.
pub(crate) fn spans_of(block: &Block, place: usize, mode: Mode, outputs: &[Near]) -> Vec<Span> {
    let lists = block.stages[place].conditions(mode).into_iter();
    let spans = lists.filter_map(|list| {
        list.iter().try_fold([None, None], |span, it| {
            let value = block.value(place, it.quantity, outputs);
            narrowed(span, holding(it, &value)?)
        })
    });
    spans.collect()
}

/// Where a condition on a + b·s holds; `None`: nowhere.
fn holding(condition: &Condition, [a, b]: &Near) -> Option<Span> {
    let short = &condition.bound - a;
    if b.is_zero() {
        let told = a.cmp(&condition.bound);
        return (told == Ordering::Equal || told == condition.side).then_some([None, None]);
    }
    let upward = (*b > Ratio::ZERO) == (condition.side == Ordering::Greater);
    let end = Some(short / b);
    Some(if upward { [end, None] } else { [None, end] })
}

/// What two spans share; `None`: nothing.
pub(crate) fn narrowed(a: Span, b: Span) -> Option<Span> {
    let [[a0, a1], [b0, b1]] = [a, b];
    let pick = |a: Option<Ratio>, b: Option<Ratio>, lower: bool| match (a, b) {
        (Some(a), Some(b)) => Some(if lower { a.max(b) } else { a.min(b) }),
        (a, b) => a.or(b),
    };
    let both = [pick(a0, b0, true), pick(a1, b1, false)];
    match &both {
        [Some(low), Some(high)] if low > high => None,
        _ => Some(both),
    }
}

fn covers(span: &Span, it: &Ratio) -> bool {
    span[0].as_ref().is_none_or(|low| low <= it) && span[1].as_ref().is_none_or(|high| it <= high)
}

/// The stretch around a value that spans cover together.
pub(crate) fn around(spans: Vec<Span>, here: &Ratio) -> Option<Span> {
    let mut stretch = spans.iter().find(|it| covers(it, here))?.clone();
    loop {
        let before = stretch.clone();
        for span in &spans {
            if stretch[1].as_ref().is_some_and(|end| covers(span, end)) {
                stretch[1] = span[1].clone();
            }
            if stretch[0].as_ref().is_some_and(|end| covers(span, end)) {
                stretch[0] = span[0].clone();
            }
        }
        if stretch == before {
            return Some(stretch);
        }
    }
}
