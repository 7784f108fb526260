//! Where on a free source's values each choice of modes lasts, block by block, wherever the source stands in the text.
//!
//! With all before a block as `a + b·s` so is all within it in one choice of its modes, and its conditions leave stretches of s. What leaves none is
//! dropped before the next block, so that a row of stages costs no more than what it can do. A block that has only one state is followed from one
//! end of its stretch to the other instead. The stretches only tell where to look: each is looked up again in the whole.

use std::cmp::Ordering;

use dashu_base::Sign;
use syntax::Ratio;

use super::plant::{Mode, Near};
use super::search::{Block, Work};
use super::unique;
use super::walk::{Span, around, narrowed, spans_of};
use super::whole::{Finder, at};

/// Up to so many choices of modes of one block all are tried.
const MOST_CHOICES: usize = 1024;
/// So many stretches are kept.
const MOST: usize = 2048;
/// A block with one state has at most so many pieces on one stretch.
const MOST_PIECES: usize = 256;

/// A choice of modes of the blocks so far, and where it lasts.
#[derive(Clone)]
struct Stretch {
    modes: Vec<Mode>,
    outputs: Vec<Option<Near>>,
    span: Span,
}

/// All stretches as their modes and a value inside; the flag: whether these are all.
pub(crate) fn survey(finder: &Finder, work: &mut Work) -> (Vec<(Vec<Mode>, Ratio)>, bool) {
    let count = finder.plant.stages.len();
    let mut stretches = vec![Stretch {
        modes: vec![Mode::Linear; count],
        outputs: vec![None; count],
        span: [None, None],
    }];
    let mut complete = true;
    for (index, members) in finder.blocks.iter().enumerate() {
        let mut next = Vec::new();
        for stretch in &stretches {
            complete &= match finder.is_unique_block(index) {
                true => follow(finder, members, stretch, &mut next, work),
                false => choose(finder, members, stretch, &mut next, work),
            };
            if next.len() > MOST {
                return (Vec::new(), false);
            }
        }
        stretches = next;
    }
    let inside = stretches.into_iter().map(|it| (it.modes, within(&it.span)));
    (inside.collect(), complete)
}

/// Every choice of a block's modes that lasts somewhere on a stretch; whether all were tried.
fn choose(
    finder: &Finder,
    members: &[usize],
    stretch: &Stretch,
    next: &mut Vec<Stretch>,
    work: &mut Work,
) -> bool {
    let block = block(finder, members, stretch);
    let possible: Vec<Vec<Mode>> = block.stages.iter().map(|it| it.modes().collect()).collect();
    let choices = possible
        .iter()
        .try_fold(1usize, |all, it| all.checked_mul(it.len()));
    let Some(choices) = choices.filter(|it| *it <= MOST_CHOICES) else {
        return false;
    };
    for choice in 0..choices {
        if !work.spend(members.len().pow(3)) {
            return false;
        }
        let mut rest = choice;
        let modes = possible.iter().map(|it| {
            let mode = it[rest % it.len()];
            rest /= it.len();
            mode
        });
        let modes: Vec<Mode> = modes.collect();
        let Some(outputs) = block.outputs(&modes) else {
            continue;
        };
        let mut spans = vec![stretch.span.clone()];
        for (place, mode) in modes.iter().enumerate() {
            let own = spans_of(&block, place, *mode, &outputs);
            let both = spans
                .iter()
                .flat_map(|it| own.iter().map(|own| narrowed(it.clone(), own.clone())));
            spans = both.flatten().filter(|it| !is_point(it)).collect();
        }
        if !spans.is_empty() && finder.stability(members, &modes).stays() {
            let more = spans
                .into_iter()
                .map(|it| joined(stretch, members, &modes, &outputs, it));
            next.extend(more);
        }
    }
    true
}

/// The pieces of a block that has one state, from one end of a stretch to the other; whether all were followed.
fn follow(
    finder: &Finder,
    members: &[usize],
    stretch: &Stretch,
    next: &mut Vec<Stretch>,
    work: &mut Work,
) -> bool {
    let block = block(finder, members, stretch);
    let start = within(&stretch.span);
    for (side, end) in [(Sign::Positive, 1), (Sign::Negative, 0)] {
        let mut here = start.clone();
        let mut pieces = 0;
        loop {
            pieces += 1;
            let given = at(&here, side, true);
            let before = stretch.outputs.iter().map(|it| {
                let [a, b] = it.as_ref()?;
                Some([a + b * &here, b * &given[1][1]])
            });
            let before: Vec<Option<Near>> = before.collect();
            let before = |it: usize| before[it].as_ref();
            let local = Block::new(finder.plant, members, before, &given);
            let settled = match pieces <= MOST_PIECES {
                true => unique::settle(&local, work),
                false => None,
            };
            let Some(found) = settled else { return false };
            let Some(outputs) = block.outputs(&found.modes) else {
                return false;
            };
            let own = found.modes.iter().enumerate();
            let span = own
                .map(|(place, mode)| around(spans_of(&block, place, *mode, &outputs), &here))
                .try_fold(stretch.span.clone(), |all, it| narrowed(all, it?));
            let Some(span) = span else { return false };
            let far = span[end].clone();
            // On the way down the piece around the start is known already.
            if end == 1 || pieces > 1 || span[1].as_ref() == Some(&start) {
                next.push(joined(stretch, members, &found.modes, &outputs, span));
            }
            match far {
                Some(far) if stretch.span[end].as_ref() != Some(&far) => {
                    if pieces > 1 && far == here {
                        return false;
                    }
                    here = far;
                }
                _ => break,
            }
        }
    }
    true
}

fn block<'p>(finder: &Finder<'p>, members: &[usize], stretch: &Stretch) -> Block<'p> {
    let given = [[Ratio::ONE, Ratio::ZERO], [Ratio::ZERO, Ratio::ONE]];
    let before = |it: usize| stretch.outputs[it].as_ref();
    Block::new(finder.plant, members, before, &given)
}

fn joined(
    stretch: &Stretch,
    members: &[usize],
    modes: &[Mode],
    outputs: &[Near],
    span: Span,
) -> Stretch {
    let mut stretch = stretch.clone();
    for (place, member) in members.iter().enumerate() {
        stretch.modes[*member] = modes[place];
        stretch.outputs[*member] = Some(outputs[place].clone());
    }
    stretch.span = span;
    stretch
}

fn is_point(span: &Span) -> bool {
    matches!(span, [Some(low), Some(high)] if low.cmp(high) != Ordering::Less)
}

/// A value inside a span.
fn within(span: &Span) -> Ratio {
    match span {
        [None, None] => Ratio::ZERO,
        [Some(low), None] => low + Ratio::ONE,
        [None, Some(high)] => high - Ratio::ONE,
        [Some(low), Some(high)] => (low + high) / Ratio::from(2),
    }
}
