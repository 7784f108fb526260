//! The algebra that states are found in: what each output moves, and what an op-amp in each mode demands.
//!
//! With the outputs u (behind the output resistances) as independent sources everything else is linear: what pulls at each output,
//! `V+ − V− − u/A`, and what current it delivers are sums over the outputs. A mode replaces the op-amp's equation by another
//! one and holds as long as its conditions do.

use std::cmp::Ordering;

use syntax::Ratio;

use crate::feedback::{Sum, reached, strongly_connected};

/// How an op-amp stands.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Mode {
    /// V+ = V− (or what its gain makes of it), output inside its limits.
    Linear,
    /// At its high limit: the rail less its headroom.
    High,
    /// At its low limit.
    Low,
    /// It delivers all the current that it can.
    Sourcing,
    /// It takes in all the current that it can.
    Sinking,
}

/// Every mode, in the order in which they are tried.
pub(crate) const MODES: [Mode; 5] = [
    Mode::Linear,
    Mode::High,
    Mode::Low,
    Mode::Sourcing,
    Mode::Sinking,
];

/// An op-amp's limits.
#[derive(Clone, PartialEq, Debug, Default)]
pub(crate) struct Stage {
    /// The low and the high limit of its output, in volts; `None`: without limit.
    pub limits: Option<[Ratio; 2]>,
    /// The most that it sources and the most that it sinks, in amperes, both counted positive.
    pub currents: Option<[Ratio; 2]>,
    /// Never linear.
    pub comparator: bool,
}

/// What a condition is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Quantity {
    /// u
    Output,
    /// V+ − V− − u/A: above zero the output wants to rise.
    Pull,
    /// What the output delivers.
    Current,
}

/// `quantity ≥ bound`, or `≤`.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Condition {
    pub quantity: Quantity,
    /// [`Ordering::Greater`] for ≥, [`Ordering::Less`] for ≤.
    pub side: Ordering,
    pub bound: Ratio,
}

impl Stage {
    /// The modes that it can be in at all.
    pub fn modes(&self) -> impl Iterator<Item = Mode> + '_ {
        MODES.into_iter().filter(|it| match it {
            Mode::Linear => !self.comparator,
            Mode::High | Mode::Low => self.limits.is_some(),
            Mode::Sourcing | Mode::Sinking => self.currents.is_some(),
        })
    }

    /// The equation of a mode: this quantity has this value.
    pub fn equation(&self, mode: Mode) -> (Quantity, Ratio) {
        let limit = |at: usize| {
            self.limits
                .as_ref()
                .map_or(Ratio::ZERO, |it| it[at].clone())
        };
        let most = |at: usize| {
            self.currents
                .as_ref()
                .map_or(Ratio::ZERO, |it| it[at].clone())
        };
        match mode {
            Mode::Linear => (Quantity::Pull, Ratio::ZERO),
            Mode::High => (Quantity::Output, limit(1)),
            Mode::Low => (Quantity::Output, limit(0)),
            Mode::Sourcing => (Quantity::Current, most(0)),
            Mode::Sinking => (Quantity::Current, -most(1)),
        }
    }

    /// Whether an output in a mode is on its high side: at the high limit, or held back from it by its limit of current. An output that is
    /// dragged beyond a rail is on that rail's side. `None`: linear.
    pub fn is_high(&self, mode: Mode, output: &Ratio) -> Option<bool> {
        let limits = self.limits.as_ref();
        match mode {
            Mode::Linear => None,
            Mode::High => Some(true),
            Mode::Low => Some(false),
            Mode::Sourcing => Some(limits.is_none_or(|[low, _]| output > low)),
            Mode::Sinking => Some(limits.is_some_and(|[_, high]| output >= high)),
        }
    }

    /// What must hold in a mode beside its equation: all of one of these lists. An output at its limit of current that is dragged
    /// beyond a rail stays there whichever way it is pulled.
    pub fn conditions(&self, mode: Mode) -> Vec<Vec<Condition>> {
        let condition = |quantity, side, bound: &Ratio| Condition {
            quantity,
            side,
            bound: bound.clone(),
        };
        let pull = |side| condition(Quantity::Pull, side, &Ratio::ZERO);
        let mut inside = Vec::new();
        if let Some([source, sink]) = &self.currents {
            inside.push(condition(Quantity::Current, Ordering::Less, source));
            inside.push(condition(
                Quantity::Current,
                Ordering::Greater,
                &-sink.clone(),
            ));
        }
        let output = |side, at: usize| {
            let limits = self.limits.as_ref()?;
            Some(condition(Quantity::Output, side, &limits[at]))
        };
        match mode {
            Mode::Linear => {
                inside.extend(output(Ordering::Greater, 0));
                inside.extend(output(Ordering::Less, 1));
                vec![inside]
            }
            Mode::High => {
                inside.push(pull(Ordering::Greater));
                vec![inside]
            }
            Mode::Low => {
                inside.push(pull(Ordering::Less));
                vec![inside]
            }
            Mode::Sourcing | Mode::Sinking => {
                let (wants, near, far) = match mode {
                    Mode::Sourcing => (Ordering::Greater, 1, 0),
                    _ => (Ordering::Less, 0, 1),
                };
                let mut wanting: Vec<Condition> =
                    output(wants.reverse(), near).into_iter().collect();
                wanting.push(pull(wants));
                let dragged = output(wants.reverse(), far).map(|it| vec![it]);
                std::iter::once(wanting).chain(dragged).collect()
            }
        }
    }
}

/// Everything that decides which states there are.
#[derive(Clone, Debug, Default)]
pub(crate) struct Plant {
    pub stages: Vec<Stage>,
    /// What pulls at each output, as a sum over the columns: the outputs, then the constant 1 ([`Plant::constant`]), then a source
    /// that is free to move ([`Plant::free`]).
    pub pulls: Vec<Sum<Ratio>>,
    /// What each output delivers, over the same columns; only asked for where the stage has a limit of current.
    pub currents: Vec<Sum<Ratio>>,
}

impl Plant {
    /// The column of the constant part.
    pub fn constant(&self) -> usize {
        self.stages.len()
    }

    /// The column of the free source.
    pub fn free(&self) -> usize {
        self.stages.len() + 1
    }

    /// On which side each output is: [`Stage::is_high`].
    pub fn sides(&self, modes: &[Mode], outputs: &[Near]) -> Vec<Option<bool>> {
        let each = self.stages.iter().zip(modes).zip(outputs);
        each.map(|((stage, mode), [output, _])| stage.is_high(*mode, output))
            .collect()
    }

    /// Outputs that move each other, what comes first first.
    pub fn blocks(&self) -> Vec<Vec<usize>> {
        let count = self.stages.len();
        let mut towards = vec![Vec::new(); count];
        for index in 0..count {
            let limited = self.stages[index].currents.is_some();
            let current = self.currents[index].iter().filter(|_| limited);
            for (column, _) in self.pulls[index].iter().chain(current) {
                if *column < count {
                    towards[*column].push(index);
                }
            }
        }
        let blocks = strongly_connected(&towards);
        // A block that reaches another one comes before it.
        let reach: Vec<Vec<bool>> = blocks
            .iter()
            .map(|it| reached(&towards, it.iter().copied()))
            .collect();
        let mut order: Vec<usize> = (0..blocks.len()).collect();
        let behind: Vec<usize> = (0..blocks.len())
            .map(|it| {
                (0..blocks.len())
                    .filter(|other| reach[*other][blocks[it][0]])
                    .count()
            })
            .collect();
        order.sort_by_key(|it| behind[*it]);
        order.into_iter().map(|it| blocks[it].clone()).collect()
    }
}

/// A value a little beside another one: `value + step·ε`, ε above zero and smaller than every number.
pub(crate) type Near = [Ratio; 2];

/// How two such values compare.
pub(crate) fn compare(a: &Near, bound: &Ratio) -> Ordering {
    a[0].cmp(bound).then(a[1].cmp(&Ratio::ZERO))
}
