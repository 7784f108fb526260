//! Where states end as one source moves.
//!
//! With one source's value s free, everything in one choice of modes is `a + b·s`, and each condition holds on one side of one value: so a state
//! has an exact interval. At a finite end the states just beside it are looked up (`s ± ε`). If a stable one has the same voltages there, the
//! circuit goes on smoothly; if none has, it jumps, and that end is a switching point. From the states as written the walk follows both
//! ways out, and every state that it meets.

use std::cmp::Ordering;

use dashu_base::Sign;
use rustc_hash::FxHashSet;
use syntax::Ratio;

use super::plant::{Condition, Mode, Near};
use super::search::{Block, Work};
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
type Span = [Option<Ratio>; 2];

/// Follows every state as the free source moves away from its value as written.
pub(crate) fn walk(finder: &Finder, written: &Ratio, work: &mut Work) -> Walk {
    let mut walk = Walk::default();
    let mut seen = FxHashSet::default();
    let mut waiting: Vec<(Vec<Mode>, Ratio)> = Vec::new();
    let mut meet = |all: &All, here: &Ratio, waiting: &mut Vec<(Vec<Mode>, Ratio)>| {
        for state in all.states.iter().filter(|it| it.stability.stays()) {
            if seen.insert(state.modes.clone()) {
                waiting.push((state.modes.clone(), here.clone()));
            }
        }
    };
    for side in [Sign::Positive, Sign::Negative] {
        let all = finder.states(&at(written, side, true), work);
        walk.gave_up |= all.gave_up;
        meet(&all, written, &mut waiting);
    }
    let mut followed = 0;
    while let Some((modes, here)) = waiting.pop() {
        followed += 1;
        if followed > MOST || walk.gave_up {
            walk.gave_up = true;
            break;
        }
        let Some(piece) = Piece::of(finder, &modes, &here) else {
            continue;
        };
        for (end, side) in [(0, Sign::Negative), (1, Sign::Positive)] {
            let Some(value) = &piece.span[end] else {
                continue;
            };
            let beyond = finder.states(&at(value, side, true), work);
            walk.gave_up |= beyond.gave_up;
            let stable = || beyond.states.iter().filter(|it| it.stability.stays());
            if !stable().any(|it| piece.goes_on(it, value)) {
                walk.jumps.push(Jump {
                    value: value.clone(),
                    leaving: piece.leaving(end),
                    from: modes.clone(),
                    rises: side == Sign::Positive,
                    to: stable().map(|it| it.modes.clone()).collect(),
                });
            }
            meet(&beyond, value, &mut waiting);
        }
    }
    walk.jumps
        .sort_by(|a, b| (&a.value, a.rises, &a.from).cmp(&(&b.value, b.rises, &b.from)));
    walk
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
            let block = Block::new(finder.plant, members, &outputs, &given);
            let own: Vec<Mode> = members.iter().map(|it| modes[*it]).collect();
            let found = block.outputs(&own)?;
            for (place, member) in members.iter().enumerate() {
                let lists = block.stages[place].conditions(own[place]);
                let spans_of = lists.iter().filter_map(|list| {
                    list.iter().try_fold([None, None], |span, it| {
                        let value = block.value(place, it.quantity, &found);
                        narrowed(span, holding(it, &value)?)
                    })
                });
                spans[*member] = around(spans_of.collect(), here)?;
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
fn narrowed(a: Span, b: Span) -> Option<Span> {
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

/// The stretch around a value that spans cover together.
fn around(spans: Vec<Span>, here: &Ratio) -> Option<Span> {
    let holds = |span: &Span, it: &Ratio| {
        span[0].as_ref().is_none_or(|low| low <= it)
            && span[1].as_ref().is_none_or(|high| it <= high)
    };
    let mut stretch = spans.iter().find(|it| holds(it, here))?.clone();
    loop {
        let before = stretch.clone();
        for span in &spans {
            if stretch[1].as_ref().is_some_and(|end| holds(span, end)) {
                stretch[1] = span[1].clone();
            }
            if stretch[0].as_ref().is_some_and(|end| holds(span, end)) {
                stretch[0] = span[0].clone();
            }
        }
        if stretch == before {
            return Some(stretch);
        }
    }
}
