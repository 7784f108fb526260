//! What stands beside the answer as written: the ideal one, the gap between them, and the shares of the sources.

use std::borrow::Cow;

use circuit::{Circuit, OpampId, Part};

use super::{Outcome, Study};
use crate::board::{Board, Causes, Drive};
use crate::feedback::Verdict;
use crate::gap::{self, Gap};
use crate::linear::Budget;
use crate::shares::Shares;
use crate::solution::{self, Solution};
use crate::states::{self, Mode, State};

impl Study {
    /// Whether ideal op-amps would rest where V+ = V− holds, so that [`Study::ideal`] is an answer and not the point that they would run away from.
    pub fn ideal_rests(&self) -> bool {
        let runs = |it: Verdict| {
            matches!(
                it,
                Verdict::Positive | Verdict::Oscillates | Verdict::RunsAway
            )
        };
        !self.feedback.iter().any(|it| runs(it.ideally))
    }

    /// The ideal answer to put beside the one as written: V+ = V− at every op-amp, but comparators, which are never linear, as they stand.
    pub fn ideal(&self, circuit: &Circuit, parts: &[Part]) -> &Solution {
        let solve = || {
            let mode = self.comparing(circuit, parts)?;
            let equations = self
                .equations
                .limited(circuit, parts, |it| mode[it.index()]);
            let budget = Budget::default();
            let solution = solution::solve(circuit, parts, &self.network, &equations, budget);
            Some(solution)
        };
        let ideal = self.ideal.get_or_init(solve).as_ref();
        ideal.unwrap_or_else(|| self.solution(circuit, parts))
    }

    /// The answer if one op-amp had no limit and all others stood as they do: what it would have to do. `None` where the circuit has too many states.
    pub fn let_go(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        opamp: OpampId,
    ) -> Option<Cow<'_, Solution>> {
        const MOST: usize = 16;
        if !matches!(
            self.outcome(circuit, parts),
            Outcome::AtLimits | Outcome::Several
        ) {
            return Some(Cow::Borrowed(self.linear(circuit, parts)));
        }
        let stable: Vec<_> = self.states(circuit, parts)?.stable().collect();
        let stands = |it: &State| it.modes[opamp.index()] != Mode::Linear;
        if let [only] = stable[..]
            && !stands(only)
        {
            return Some(Cow::Borrowed(only.solution(circuit, parts)));
        }
        let each = stable.iter().map(|it| {
            if !stands(it) {
                return it.solution(circuit, parts).clone();
            }
            let mut modes = it.modes.clone();
            modes[opamp.index()] = Mode::Linear;
            Board::standing(circuit, parts, &modes).solve(Budget::default())
        });
        let few = stable.len() <= MOST;
        let all = few.then(|| each.reduce(|all, it| all.agreed(&it)))?;
        all.map(Cow::Owned)
    }

    /// How comparators stand in the one stable state, with all op-amps linear; `None` without comparators or such a state.
    fn comparing(&self, circuit: &Circuit, parts: &[Part]) -> Option<Vec<Mode>> {
        let modes = self.modes_at_limits(circuit, parts)?;
        let stands = |(opamp, mode): (&circuit::Opamp, &Mode)| match opamp.comparator {
            true => *mode,
            false => Mode::Linear,
        };
        let all = circuit.opamps.iter().zip(modes).map(stands);
        let any = circuit.opamps.iter().any(|it| it.comparator);
        any.then(|| all.collect())
    }

    /// The answer as written less the ideal one, by cause; `None` where they are one, or one of them is not known.
    pub fn gap(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Gap> {
        let present = || gap::present(circuit, parts);
        let linear = |causes: Causes| {
            let comparing = self.comparing(circuit, parts);
            if causes == Causes::NONE {
                return self.ideal(circuit, parts).single();
            }
            if causes == Causes::of(&present()) && comparing.is_none() {
                return self.linear(circuit, parts).single();
            }
            let drive = |it: OpampId| match &comparing {
                Some(modes) => {
                    let limits = states::Limits::of(&circuit.opamps[it.index()], parts);
                    limits.drive(modes[it.index()])
                }
                None => Drive::Law,
            };
            let board = Board::driven(circuit, parts, causes, drive);
            board.solve(board.budget(1)).single()
        };
        let find = || match self.outcome(circuit, parts) {
            _ if !self.ideal_rests() => None,
            Outcome::Real => Gap::of(present(), linear, None),
            Outcome::AtLimits => {
                let written = self.answer(circuit, parts)?.single()?;
                Gap::of(present(), linear, Some(written))
            }
            _ => None,
        };
        self.gap.get_or_init(find).as_ref()
    }

    /// The answer as written, split by independent source; `None` where it is not known.
    pub fn shares(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Shares> {
        let find = || match self.outcome(circuit, parts).is_known() {
            true => Shares::of(circuit, self.standing_board(circuit, parts)),
            false => None,
        };
        self.shares.get_or_init(find).as_ref()
    }
}
