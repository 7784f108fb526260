//! All facts about one circuit, each worked out once.

use std::cmp::Ordering;
use std::sync::OnceLock;

use circuit::{Circuit, OpampId, Part};

use crate::Answer;
use crate::claims::{self, Judgement};
use crate::equations::{self, Equations};
use crate::faults::{self, Fault, FaultKind, Regions};
use crate::feedback::{self, Feedback, Maps, Verdict};
use crate::linear::Budget;
use crate::network::Network;
use crate::solution::{self, Solution};

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
    outcome: OnceLock<Outcome>,
    judgements: OnceLock<Vec<Judgement>>,
}

/// Whether the ideal answer is the circuit's answer as written.
#[derive(Clone, PartialEq, Debug)]
pub enum Outcome {
    /// V+ = V− holds at every op-amp and no limit is met: the ideal answer is the answer.
    AsIdeal,
    /// It isn't known to be, for these reasons, in the order of the text.
    Unknown(Vec<Trouble>),
}

/// Why the ideal answer cannot be passed off as the circuit's.
#[derive(Clone, PartialEq, Debug)]
pub enum Trouble {
    /// Lines that could not be read may have brought more into the circuit.
    Unread,
    /// The equations do not fix every node, or contradict each other.
    NoSingleAnswer,
    /// Feedback that does not hold V+ = V−: an index into [`Study::feedback`].
    Feedback(usize),
    /// A part that isn't ideal at direct current.
    RealPart(OpampId),
    /// Beyond a rail less its headroom.
    BeyondRail(OpampId),
    /// More than the part can source or sink.
    BeyondCurrent(OpampId),
    /// A statement that is not computed yet and belongs to the circuit: an index into [`Circuit::later`].
    NotBuilt(usize),
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

    /// Whether the ideal answer is the circuit's answer as written.
    pub fn outcome(&self, circuit: &Circuit, parts: &[Part]) -> Outcome {
        let find = || self.find_outcome(circuit, parts);
        self.outcome.get_or_init(find).clone()
    }

    fn find_outcome(&self, circuit: &Circuit, parts: &[Part]) -> Outcome {
        let solution = self.solution(circuit, parts);
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
            if !holds_inputs_equal(feedback.verdict)
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
            let part = opamp.part.and_then(|it| parts.get(it.index()));
            if part.is_some_and(|it| !it.is_ideal_at_dc()) {
                placed.push((opamp.place, Trouble::RealPart(id)));
            }
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
        if troubles.is_empty() {
            Outcome::AsIdeal
        } else {
            Outcome::Unknown(troubles)
        }
    }

    /// What each claim comes to.
    pub fn judgements(&self, circuit: &Circuit, parts: &[Part]) -> &[Judgement] {
        self.judgements.get_or_init(|| {
            let ideal = || {
                let solve = |drives: &[Vec<&syntax::Number>]| {
                    let budget = Budget::default();
                    solution::solve_for(
                        circuit,
                        parts,
                        &self.network,
                        &self.equations,
                        drives,
                        budget,
                    )
                };
                claims::judge(circuit, self.solution(circuit, parts), solve)
            };
            match self.outcome(circuit, parts) {
                Outcome::AsIdeal => ideal(),
                // What fails may fail for want of the line that could not be read.
                Outcome::Unknown(troubles) if troubles == [Trouble::Unread] => {
                    let doubtful = |it: Judgement| Judgement {
                        holds: it.holds.filter(|it| *it),
                        ..it
                    };
                    ideal().into_iter().map(doubtful).collect()
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
            .solution(circuit, parts)
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

/// Whether such feedback brings V+ = V− about at direct current: what depends on speeds may swing, but rests nowhere else.
fn holds_inputs_equal(verdict: Verdict) -> bool {
    matches!(
        verdict,
        Verdict::Negative | Verdict::NegativeIfAlike | Verdict::DependsOnSpeeds
    )
}
