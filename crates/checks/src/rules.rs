//! The rules, one a file: its manual page, how it looks, its words and fixes, its tests.

pub mod bias_path;
pub mod current_dead_end;
pub mod expectation;
pub mod feedback_cancels;
pub mod feedback_speeds;
pub mod floating_node;
pub mod inputs_tied;
pub mod loose_end;
pub mod no_feedback;
pub mod not_built;
pub mod oscillation;
pub mod output_conflict;
pub mod positive_feedback;
pub mod resistor_range;
pub mod reversed_polarity;
pub mod settings;
pub mod several_states;
pub mod shorted_element;
pub mod source_conflict;
pub mod supply_missing;
pub mod swing;
pub mod unsolvable;
pub mod unused;
