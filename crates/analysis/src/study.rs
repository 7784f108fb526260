//! All facts about one circuit, each worked out once.

use std::cmp::Ordering;
use std::sync::OnceLock;

use circuit::{Circuit, OpampId, Part};

use crate::Answer;
use crate::board::{Board, Causes};
use crate::claims::{self, Judgement};
use crate::equations::{self, Equations};
use crate::faults::{self, Fault, FaultKind, Regions};
use crate::feedback::{self, Feedback, Maps, Verdict};
use crate::gap::{self, Gap};
use crate::linear::Budget;
use crate::network::Network;
use crate::shares::Shares;
use crate::solution::{self, Outlet, Solution};

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
    linear: OnceLock<Solution>,
    gap: OnceLock<Option<Gap>>,
    shares: OnceLock<Option<Shares>>,
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
}

impl Outcome {
    /// Whether the answer as written is known.
    pub fn is_known(&self) -> bool {
        !matches!(self, Outcome::Unknown(_))
    }
}

impl Study {
    /// Works out structure, equations and feedback.
    pub fn new(circuit: &Circuit, parts: &[Part]) -> Study {
        let network = Network::of(circuit);
        let regions = Regions::of(circuit, &network);
        let maps = Maps::of(circuit, &network);
        let faults = faults::look(circuit, &network, &regions, &maps);
        let feedback = feedback::judged(circuit, parts, &faults, &maps);
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
        Study {
            equations: equations::equations(circuit, &network),
            feedback,
            faults,
            network,
            regions,
            faulty,
            block_of,
            solution: OnceLock::new(),
            board: OnceLock::new(),
            linear: OnceLock::new(),
            gap: OnceLock::new(),
            shares: OnceLock::new(),
            outcome: OnceLock::new(),
            judgements: OnceLock::new(),
        }
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
        let solve = || self.board(circuit, parts).solve(Budget::default());
        self.linear.get_or_init(solve)
    }

    /// The circuit's answer as written, as far as it is known: lines that could not be read may have changed it, and equations that are missing
    /// leave nodes open; `None` where anything else stands against it.
    pub fn answer(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Solution> {
        let known = match self.outcome(circuit, parts) {
            Outcome::AsIdeal | Outcome::Real => true,
            Outcome::Unknown(troubles) => troubles
                .iter()
                .all(|it| matches!(it, Trouble::NoSingleAnswer | Trouble::Unread)),
        };
        known.then(|| self.linear(circuit, parts))
    }

    /// The answer as written less the ideal one, by cause; `None` where they are one, or one of them is not known.
    pub fn gap(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Gap> {
        let find = || match self.outcome(circuit, parts) {
            Outcome::Real => {
                let (ideal, full) = (self.solution(circuit, parts), self.linear(circuit, parts));
                Gap::of(circuit, parts, ideal, full)
            }
            _ => None,
        };
        self.gap.get_or_init(find).as_ref()
    }

    /// The answer as written, split by independent source; `None` where it is not known.
    pub fn shares(&self, circuit: &Circuit, parts: &[Part]) -> Option<&Shares> {
        let find = || match self.outcome(circuit, parts) {
            Outcome::AsIdeal | Outcome::Real => Shares::of(circuit, self.board(circuit, parts)),
            Outcome::Unknown(_) => None,
        };
        self.shares.get_or_init(find).as_ref()
    }

    /// Whether the answer as written is known.
    pub fn outcome(&self, circuit: &Circuit, parts: &[Part]) -> Outcome {
        let find = || self.find_outcome(circuit, parts);
        self.outcome.get_or_init(find).clone()
    }

    fn find_outcome(&self, circuit: &Circuit, parts: &[Part]) -> Outcome {
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
            if !settles(circuit, parts, feedback)
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
        match troubles.is_empty() {
            true if self.is_ideal(circuit, parts) => Outcome::AsIdeal,
            true => Outcome::Real,
            false => Outcome::Unknown(troubles),
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
            match self.outcome(circuit, parts) {
                Outcome::AsIdeal | Outcome::Real => linear(),
                // What fails may fail for want of the line that could not be read.
                Outcome::Unknown(troubles) if troubles == [Trouble::Unread] => {
                    let doubtful = |it: Judgement| Judgement {
                        holds: it.holds.filter(|it| *it),
                        ..it
                    };
                    linear().into_iter().map(doubtful).collect()
                }
                Outcome::Unknown(troubles) => {
                    let clipped = self.clipped(circuit, parts, &troubles);
                    circuit
                        .claims
                        .iter()
                        .map(|it| claims::of_clipped(it, clipped))
                        .collect()
                }
            }
        })
    }

    /// [`Study::linear`] for each choice of the constants of the circuit's sources.
    fn solve_for(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        drives: &[Vec<&syntax::Number>],
    ) -> Vec<Solution> {
        let budget = Budget::default();
        if self.is_ideal(circuit, parts) {
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
        board.solve_for(&drives, budget)
    }

    /// The one op-amp that is certainly at a rail, and whether at the high one: it alone lies beyond its rails, nothing else
    /// is in doubt, and each op-amp is a block of its own with negative feedback. What comes before it is then linear, and of
    /// what comes after nothing reaches it.
    fn clipped(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        troubles: &[Trouble],
    ) -> Option<(OpampId, bool)> {
        let [Trouble::BeyondRail(opamp)] = troubles else {
            return None;
        };
        let alone = |it: &Feedback| it.block.len() == 1 && it.verdict == Verdict::Negative;
        if !self.feedback.iter().all(alone) {
            return None;
        }
        let output = self
            .linear(circuit, parts)
            .opamps
            .get(opamp.index())?
            .as_ref()?;
        let margin = output.margin_high.as_ref()?;
        Some((*opamp, margin.sign()? == Ordering::Less))
    }

    /// The verdict on the block of one op-amp.
    pub fn feedback_of(&self, opamp: OpampId) -> Option<&Feedback> {
        self.feedback.get(self.block_of[opamp.index()])
    }
}

fn part_of<'p>(opamp: &circuit::Opamp, parts: &'p [Part]) -> Option<&'p Part> {
    parts.get(opamp.part?.index())
}

/// Whether a block of op-amps comes to rest where its equations say: with V+ = V−, or where nothing comes back to its own inputs with each
/// output at its finite gain times them.
fn settles(circuit: &Circuit, parts: &[Part], feedback: &Feedback) -> bool {
    let finite = |it: &OpampId| {
        part_of(&circuit.opamps[it.index()], parts).is_some_and(|it| it.gain.is_some())
    };
    holds_inputs_equal(feedback.verdict)
        || matches!(
            feedback.verdict,
            Verdict::None | Verdict::NoneAtDc | Verdict::Cancels
        ) && feedback.block.iter().all(finite)
}

/// Whether such feedback brings V+ = V− about at direct current: what depends on speeds may swing, but rests nowhere else.
fn holds_inputs_equal(verdict: Verdict) -> bool {
    matches!(
        verdict,
        Verdict::Negative | Verdict::NegativeIfAlike | Verdict::DependsOnSpeeds
    )
}
