//! All facts about one circuit, each worked out once.

mod beside;

use std::cmp::Ordering;
use std::sync::OnceLock;

use circuit::{Circuit, OpampId, Part};

use crate::Answer;
use crate::board::{Board, Causes};
use crate::claims::{self, Judgement};
use crate::equations::{self, Equations};
use crate::extremes;
use crate::faults::{self, Fault, FaultKind, Regions};
use crate::feedback::{self, Feedback, Maps, Verdict};
use crate::gap::{self, Gap};
use crate::linear::Budget;
use crate::network::Network;
use crate::shares::Shares;
use crate::solution::{self, Outlet, Solution};
use crate::states::{self, Mode, States};

/// All facts about one circuit. Structure, equations and feedback are worked out at once (a keystroke needs them); the answer when someone asks.
#[derive(Debug)]
pub struct Study {
    /// The circuit at direct current.
    pub network: Network,
    /// What keeps the equations from having one answer.
    pub faults: Vec<Fault>,
    /// N equations for N unknowns.
    pub equations: Equations,
    /// One verdict a block; each op-amp is in exactly one block.
    pub feedback: Vec<Feedback>,
    /// Where lines that could not be read may have brought more.
    pub regions: Regions,
    /// For each op-amp whether a fault other than a loose end names it.
    faulty: Vec<bool>,
    /// For each op-amp its block: an index into [`Study::feedback`].
    block_of: Vec<usize>,
    solution: OnceLock<Solution>,
    board: OnceLock<Board>,
    standing_board: OnceLock<Option<Board>>,
    ideal: OnceLock<Option<Solution>>,
    linear: OnceLock<Solution>,
    gap: OnceLock<Option<Gap>>,
    shares: OnceLock<Option<Shares>>,
    states: OnceLock<Option<States>>,
    agreed: OnceLock<Option<Solution>>,
    held: OnceLock<Option<Solution>>,
    standing: OnceLock<Option<Equations>>,
    troubles: OnceLock<Vec<Trouble>>,
    outcome: OnceLock<Outcome>,
    judgements: OnceLock<Vec<Judgement>>,
}

/// Whether the circuit's answer as written is known.
#[derive(Clone, PartialEq, Debug)]
pub enum Outcome {
    /// V+ = V− holds at every op-amp and no limit is met: the ideal answer is the answer.
    AsIdeal,
    /// Every op-amp follows the law of its part, some are not ideal, and no limit is met: [`Study::answer`] is the answer.
    Real,
    /// Some op-amps stand at a limit, and this is the only stable state: [`Study::answer`] is the answer.
    AtLimits,
    /// More than one state is stable ([`Study::states`]): [`Study::answer`] has what they agree on.
    Several,
    /// No state is stable: it never rests.
    Restless,
    /// The answer isn't known, for these reasons, in the order of the text.
    Unknown(Vec<Trouble>),
}

/// Why an answer cannot be passed off as the circuit's.
#[derive(Clone, PartialEq, Debug)]
pub enum Trouble {
    /// Lines that could not be read may have brought more into the circuit.
    Unread,
    /// The equations do not fix every node, or contradict each other.
    NoSingleAnswer,
    /// Feedback that does not hold V+ = V−: an index into [`Study::feedback`].
    Feedback(usize),
    /// Beyond a rail less its headroom.
    BeyondRail(OpampId),
    /// More than the part can source or sink.
    BeyondCurrent(OpampId),
    /// A statement that is not computed yet and belongs to the circuit: an index into [`Circuit::later`].
    NotBuilt(usize),
    /// So many ways in which the op-amps could stand that not all were looked at.
    TooManyStates,
}

impl Outcome {
    /// Whether the answer as written is known: one answer, whatever happened before.
    pub fn is_known(&self) -> bool {
        matches!(self, Outcome::AsIdeal | Outcome::Real | Outcome::AtLimits)
    }

    /// Whether all that can be said is known: the answer, or every state that could be it.
    pub fn is_settled(&self) -> bool {
        self.is_known() || *self == Outcome::Several
    }
}

impl Study {
    /// Works out structure, equations and feedback.
    pub fn new(circuit: &Circuit, parts: &[Part]) -> Study {
        let network = Network::of(circuit);
        let regions = Regions::of(circuit, &network);
        let maps = Maps::of(circuit, &network);
        let faults = faults::look(circuit, &network, &regions, &maps);
        let mut feedback = feedback::judged(circuit, parts, &faults, &maps);
        states::judge_by_parts(circuit, parts, &mut feedback);
        let mut faulty = vec![false; circuit.opamps.len()];
        for fault in faults.iter().filter(|it| it.kind != FaultKind::LooseEnd) {
            fault.opamps().for_each(|it| faulty[it.index()] = true);
        }
        let mut block_of = vec![usize::MAX; circuit.opamps.len()];
        for (index, feedback) in feedback.iter().enumerate() {
            for it in &feedback.block {
                block_of[it.index()] = index;
            }
        }
        let mut equations = equations::equations(circuit, &network);
        if circuit.opamps.iter().any(|it| it.comparator) {
            equations = equations.limited(circuit, parts, |it| comparing(circuit, it));
        }
        Study {
            equations,
            feedback,
            faults,
            network,
            regions,
            faulty,
            block_of,
            solution: OnceLock::new(),
            board: OnceLock::new(),
            standing_board: OnceLock::new(),
            ideal: OnceLock::new(),
            linear: OnceLock::new(),
            gap: OnceLock::new(),
            held: OnceLock::new(),
            shares: OnceLock::new(),
            states: OnceLock::new(),
            agreed: OnceLock::new(),
            standing: OnceLock::new(),
            troubles: OnceLock::new(),
            outcome: OnceLock::new(),
            judgements: OnceLock::new(),
        }
    }

    /// What independent sources alone decide, whatever else is wrong ([`extremes::held_answer`]).
    pub fn held(&self, circuit: &Circuit) -> Option<&Solution> {
        let held = self.held.get_or_init(|| extremes::held_answer(circuit));
        held.as_ref()
    }

    /// Whether a structural fault other than a loose end names this op-amp.
    pub fn is_faulty(&self, opamp: OpampId) -> bool {
        self.faulty[opamp.index()]
    }

    /// The ideal answer.
    pub fn solution(&self, circuit: &Circuit, parts: &[Part]) -> &Solution {
        let solve = || {
            solution::solve(
                circuit,
                parts,
                &self.network,
                &self.equations,
                Budget::default(),
            )
        };
        self.solution.get_or_init(solve)
    }

    /// Whether every op-amp is ideal at direct current, so that its own law is V+ = V−.
    pub fn is_ideal(&self, circuit: &Circuit, parts: &[Part]) -> bool {
        gap::present(circuit, parts).is_empty()
    }

    /// The circuit with each op-amp by the law of its part.
    pub fn board(&self, circuit: &Circuit, parts: &[Part]) -> &Board {
        let make = || Board::of(circuit, parts, Causes::ALL);
        self.board.get_or_init(make)
    }

    /// The answer with each op-amp by the law of its part, as if there were no limits.
    pub fn linear(&self, circuit: &Circuit, parts: &[Part]) -> &Solution {
        if self.is_ideal(circuit, parts) {
            return self.solution(circuit, parts);
        }
        let board = || self.board(circuit, parts);
        let solve = || board().solve(board().budget(1));
        self.linear.get_or_init(solve)
    }

    /// The circuit's answer as written, as far as it is known: lines that could not be read may have changed it, and equations that are missing
    /// leave nodes open; `None` where anything else stands against it.
    pub fn answer(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Solution> {
        let known = match self.outcome(circuit, parts) {
            Outcome::AsIdeal | Outcome::Real => true,
            Outcome::AtLimits | Outcome::Several | Outcome::Restless => {
                let agreed = || self.find_agreed(circuit, parts);
                return self.agreed.get_or_init(agreed).as_ref();
            }
            Outcome::Unknown(troubles) => troubles
                .iter()
                .all(|it| matches!(it, Trouble::NoSingleAnswer | Trouble::Unread)),
        };
        known.then(|| self.linear(circuit, parts))
    }

    /// What all stable states agree on.
    fn find_agreed(&self, circuit: &Circuit, parts: &[Part]) -> Option<Solution> {
        let states = self.states(circuit, parts)?;
        let mut solutions = states.stable().map(|it| it.solution(circuit, parts));
        let first = solutions.next()?.clone();
        Some(solutions.fold(first, Solution::agreed))
    }

    /// Every state of a circuit in which some op-amp has a limit; `None` without any, or where the voltages do not follow from the outputs.
    pub fn states(&self, circuit: &Circuit, parts: &[Part]) -> Option<&States> {
        let find = || States::of(circuit, parts);
        self.states.get_or_init(find).as_ref()
    }

    /// How an op-amp stands as written; `None` where that is not known or differs between the stable states.
    pub fn mode(&self, circuit: &Circuit, parts: &[Part], opamp: OpampId) -> Option<Mode> {
        match self.outcome(circuit, parts) {
            Outcome::AsIdeal | Outcome::Real => Some(Mode::Linear),
            Outcome::AtLimits | Outcome::Several => {
                let states = self.states(circuit, parts)?;
                let mut modes = states.stable().map(|it| it.modes[opamp.index()]);
                let first = modes.next()?;
                modes.all(|it| it == first).then_some(first)
            }
            Outcome::Restless | Outcome::Unknown(_) => None,
        }
    }

    /// The modes of the one stable state in which some op-amp stands at a limit; `None` where the circuit rests otherwise, or not.
    fn modes_at_limits(&self, circuit: &Circuit, parts: &[Part]) -> Option<&[Mode]> {
        match self.outcome(circuit, parts) {
            Outcome::AtLimits => Some(&self.states(circuit, parts)?.stable().next()?.modes),
            _ => None,
        }
    }

    /// The equations of the taught method as the circuit stands: where it has one stable state, op-amps at a limit have that limit in place of
    /// V+ = V−.
    pub fn standing(&self, circuit: &Circuit, parts: &[Part]) -> &Equations {
        let find = || {
            let modes = self.modes_at_limits(circuit, parts)?;
            let mode = |it: OpampId| modes[it.index()];
            Some(self.equations.limited(circuit, parts, mode))
        };
        let standing = self.standing.get_or_init(find).as_ref();
        standing.unwrap_or(&self.equations)
    }

    /// [`Study::board`] as the circuit stands: where it has one stable state, op-amps at a limit are held there.
    pub fn standing_board(&self, circuit: &Circuit, parts: &[Part]) -> &Board {
        let make = || {
            let modes = self.modes_at_limits(circuit, parts)?;
            Some(Board::standing(circuit, parts, modes))
        };
        let standing = self.standing_board.get_or_init(make).as_ref();
        standing.unwrap_or_else(|| self.board(circuit, parts))
    }

    /// Whether the answer as written is known.
    pub fn outcome(&self, circuit: &Circuit, parts: &[Part]) -> &Outcome {
        let find = || self.find_outcome(circuit, parts);
        self.outcome.get_or_init(find)
    }

    /// What stands against the answer with every op-amp linear, [`Study::linear`].
    pub fn troubles(&self, circuit: &Circuit, parts: &[Part]) -> &[Trouble] {
        let find = || self.find_troubles(circuit, parts);
        self.troubles.get_or_init(find)
    }

    fn find_troubles(&self, circuit: &Circuit, parts: &[Part]) -> Vec<Trouble> {
        let solution = self.linear(circuit, parts);
        let mut troubles = Vec::new();
        // What is not built yet leaves the circuit incomplete too, and says so itself.
        if circuit.perhaps.incomplete && !circuit.later.iter().any(|it| it.wires) {
            troubles.push(Trouble::Unread);
        }
        if solution.contradictory || solution.nodes.contains(&None) {
            troubles.push(Trouble::NoSingleAnswer);
        }
        let mut placed = Vec::new();
        for (index, feedback) in self.feedback.iter().enumerate() {
            if !feedback.rests
                && !feedback
                    .block
                    .iter()
                    .all(|it| circuit.opamps[it.index()].comparator)
                && let Some(first) = feedback.block.first()
            {
                placed.push((
                    circuit.opamps[first.index()].place,
                    Trouble::Feedback(index),
                ));
            }
        }
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let id = OpampId(index as u32);
            let part = part_of(opamp, parts);
            let Some(output) = solution.opamps.get(index).and_then(Option::as_ref) else {
                continue;
            };
            let negative = |margin: &Option<Answer>| {
                margin.as_ref().and_then(Answer::sign) == Some(Ordering::Less)
            };
            if negative(&output.margin_high) || negative(&output.margin_low) {
                placed.push((opamp.place, Trouble::BeyondRail(id)));
            }
            let limits = part.and_then(|it| it.current.as_ref());
            if let (Some([source, sink]), Some(current)) = (limits, &output.current) {
                let (source, sink) = (Answer::from(source), -&Answer::from(sink).abs());
                if current.compare(&source) == Some(Ordering::Greater)
                    || current.compare(&sink) == Some(Ordering::Less)
                {
                    placed.push((opamp.place, Trouble::BeyondCurrent(id)));
                }
            }
        }
        for (index, later) in circuit.later.iter().enumerate().filter(|(_, it)| it.wires) {
            placed.push((later.place, Trouble::NotBuilt(index)));
        }
        placed.sort_by_key(|(place, _)| *place);
        troubles.extend(placed.into_iter().map(|(_, trouble)| trouble));
        troubles
    }

    fn find_outcome(&self, circuit: &Circuit, parts: &[Part]) -> Outcome {
        let mut troubles = self.troubles(circuit, parts).to_vec();
        if let Some(outcome) = self.by_states(circuit, parts, &mut troubles) {
            return outcome;
        }
        match troubles.is_empty() {
            true if self.is_ideal(circuit, parts) => Outcome::AsIdeal,
            true => Outcome::Real,
            false => Outcome::Unknown(troubles),
        }
    }

    /// The outcome where the linear answer may not be it, if the states tell.
    fn by_states(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        troubles: &mut Vec<Trouble>,
    ) -> Option<Outcome> {
        let limits = |it: &circuit::Opamp| {
            let limits = states::Limits::of(it, parts);
            limits.volts.is_some() || limits.amperes.is_some()
        };
        let lasting = |it: &Feedback| {
            !matches!(
                it.verdict,
                Verdict::NegativeIfAlike | Verdict::DependsOnSpeeds | Verdict::HeldByGain
            )
        };
        let comparing = circuit.opamps.iter().any(|it| it.comparator);
        let plain = troubles.is_empty() && self.feedback.iter().all(lasting) && !comparing;
        let beyond = |it: &Trouble| matches!(it, Trouble::Unread | Trouble::NotBuilt(_));
        let unjudged = |it: &Feedback| it.verdict == Verdict::TooMany;
        let starts = |it: &Feedback| it.verdict == Verdict::NoneAtDc && !circuit.starts.is_empty();
        if plain
            || !circuit.opamps.iter().any(limits)
            || troubles.iter().any(beyond)
            || self.feedback.iter().any(|it| unjudged(it) || starts(it))
        {
            return without_rails(comparing, troubles);
        }
        let Some(states) = self.states(circuit, parts) else {
            return without_rails(comparing, troubles);
        };
        if !states.complete {
            // What seems to be the answer may be one of many.
            if !troubles.is_empty() || comparing {
                troubles.push(Trouble::TooManyStates);
            }
            return None;
        }
        if states.open {
            return without_rails(comparing, troubles);
        }
        let stable: Vec<_> = states.stable().collect();
        let whole = |it: &&states::State| {
            let solution = it.solution(circuit, parts);
            !solution.contradictory && !solution.nodes.contains(&None)
        };
        match &stable[..] {
            // Without limit it would run away, not swing.
            [] => circuit
                .opamps
                .iter()
                .all(limits)
                .then_some(Outcome::Restless),
            [one, ..] if !whole(one) => without_rails(comparing, troubles),
            [one] if one.is_linear() => {
                troubles.clear();
                None
            }
            [_] => Some(Outcome::AtLimits),
            _ => Some(Outcome::Several),
        }
    }

    /// What each claim comes to.
    pub fn judgements(&self, circuit: &Circuit, parts: &[Part]) -> &[Judgement] {
        self.judgements.get_or_init(|| {
            let linear = || {
                let solve =
                    |drives: &[Vec<&syntax::Number>]| self.solve_for(circuit, parts, drives);
                claims::judge(circuit, self.linear(circuit, parts), solve)
            };
            let at_limits = || {
                let states = self.states(circuit, parts)?;
                let stable: Vec<&states::State> = states.stable().collect();
                let mut judged = claims::judge_states(circuit, parts, states, &stable);
                if !self.is_meant(circuit, parts) {
                    // The finding about the feedback is one; what follows from it is none.
                    let claims = circuit.claims.iter().zip(&mut judged);
                    claims
                        .filter(|(claim, _)| !claims::is_of_limits(claim))
                        .for_each(|(claim, it)| *it = claims::unjudged(claim));
                }
                Some(judged)
            };
            let unjudged = || circuit.claims.iter().map(claims::unjudged).collect();
            match self.outcome(circuit, parts) {
                Outcome::AsIdeal | Outcome::Real => {
                    let all = linear().into_iter().zip(&circuit.claims);
                    all.map(|(judged, claim)| {
                        let of_state = || self.of_linear(circuit, parts, claim);
                        judged
                            .holds
                            .is_none()
                            .then(of_state)
                            .flatten()
                            .unwrap_or(judged)
                    })
                    .collect()
                }
                Outcome::AtLimits | Outcome::Several | Outcome::Restless => {
                    at_limits().unwrap_or_else(unjudged)
                }
                // What fails may fail for want of the line that could not be read.
                Outcome::Unknown(troubles) if *troubles == [Trouble::Unread] => {
                    let doubtful = |it: Judgement| Judgement {
                        holds: it.holds.filter(|it| *it),
                        ..it
                    };
                    linear().into_iter().map(doubtful).collect()
                }
                Outcome::Unknown(_) => unjudged(),
            }
        })
    }

    /// Whether a claim says of all feedback that does not hold V+ = V− where that leads.
    fn is_meant(&self, circuit: &Circuit, parts: &[Part]) -> bool {
        let claimed = |it: &OpampId| {
            let about = |claim: &circuit::Claim| match &claim.kind {
                Some(circuit::ClaimKind::State { opamp, .. }) => {
                    opamp == it && claims::is_of_limits(claim)
                }
                _ => false,
            };
            circuit.claims.iter().any(about)
        };
        self.troubles(circuit, parts).iter().all(|it| match it {
            Trouble::Feedback(index) => self
                .feedback
                .get(*index)
                .is_some_and(|it| it.block.iter().any(claimed)),
            _ => true,
        })
    }

    /// A claim about a limit, of a circuit that rests with every op-amp linear.
    fn of_linear(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        claim: &circuit::Claim,
    ) -> Option<Judgement> {
        let Some(circuit::ClaimKind::State { opamp, state }) = &claim.kind else {
            return None;
        };
        let limited = circuit.opamps[opamp.index()].supply.is_some();
        match state {
            circuit::StateClaim::Oscillates => Some(claims::told(claim, Some(false))),
            _ if !limited => None,
            circuit::StateClaim::Goes { .. } => {
                let states = self.states(circuit, parts)?;
                Some(claims::goes(circuit, parts, states, claim))
            }
            circuit::StateClaim::AtRail { high } => {
                let output = self
                    .linear(circuit, parts)
                    .opamps
                    .get(opamp.index())?
                    .as_ref()?;
                let margin = if *high {
                    &output.margin_high
                } else {
                    &output.margin_low
                };
                let reached = margin.as_ref()?.sign()? == Ordering::Equal;
                Some(claims::told(claim, Some(reached)))
            }
            _ => Some(claims::told(claim, Some(false))),
        }
    }

    /// [`Study::linear`] for each choice of the constants of the circuit's sources.
    pub(crate) fn solve_for(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        drives: &[Vec<&syntax::Number>],
    ) -> Vec<Solution> {
        if self.is_ideal(circuit, parts) {
            let budget = Budget::default();
            let outlets = Outlet::ideal(circuit, parts);
            let (network, equations) = (&self.network, &self.equations);
            return solution::solve_for(circuit, &outlets, network, equations, drives, budget);
        }
        let board = self.board(circuit, parts);
        let behind = &board.constants()[board.own_sources()..];
        let drives: Vec<Vec<&syntax::Number>> = drives
            .iter()
            .map(|it| it.iter().chain(behind).copied().collect())
            .collect();
        board.solve_for(&drives, board.budget(drives.len()))
    }

    /// The verdict on the block of one op-amp.
    pub fn feedback_of(&self, opamp: OpampId) -> Option<&Feedback> {
        self.feedback.get(self.block_of[opamp.index()])
    }
}

/// A comparator's equation is no equation of the linear answer.
fn without_rails(comparing: bool, troubles: &mut Vec<Trouble>) -> Option<Outcome> {
    if comparing && troubles.is_empty() {
        troubles.push(Trouble::NoSingleAnswer);
    }
    None
}

/// A comparator is written at its high rail as long as its state is not known.
fn comparing(circuit: &Circuit, opamp: OpampId) -> Mode {
    match circuit.opamps[opamp.index()].comparator {
        true => Mode::High,
        false => Mode::Linear,
    }
}

fn part_of<'p>(opamp: &circuit::Opamp, parts: &'p [Part]) -> Option<&'p Part> {
    parts.get(opamp.part?.index())
}
