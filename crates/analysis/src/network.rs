//! The circuit at direct current: which edges fix voltages (a forest), which nodes they join into groups, what conducts.

/// The circuit at direct current.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Network {}
