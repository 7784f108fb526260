//! What `expect` claims, judged against the solution.

use crate::Answer;

/// The judgement of one claim; the vector of a circuit's judgements is indexed like its claims.
#[derive(Clone, PartialEq, Debug)]
pub struct Judgement {
    /// `None`: not computed.
    pub holds: Option<bool>,
    /// What stands left in the claim, as found, in the base unit of `dimension`.
    pub found: Option<Answer>,
    /// The unit of `found`.
    pub dimension: syntax::Dimension,
}
