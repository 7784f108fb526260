//! The text of Ampersum: tokens, statements, quantities, a span on everything, typed faults. It knows no circuits.
//!
//! A text is cut into tokens and statements ([`parse`] begins with that), each statement is read alone by the grammar, and
//! only where one fails it is diagnosed by hand. Quantities stay spans until [`quantity::read`] reads them.

mod bench;
mod classes;
mod cuts;
mod diagnose;
mod fault;
mod format;
mod grammar;
mod kind;
mod lexer;
mod limits;
mod line_index;
mod mend;
mod names;
mod number;
mod parse;
pub mod quantity;
mod span;
mod tree;
mod units;
mod walk;

pub use classes::{CLAUSES, ClassedToken, DEVICES, TokenClass, tokens};
pub use cuts::Cuts;
pub use diagnose::{device_of, element, states};
pub use fault::*;
pub use format::{format, format_edits};
pub use limits::LARGEST_FILE;
pub use line_index::{Encoding, LineIndex, Position};
pub use names::{means_ground, nearest, normal, same_digits, spelled};
pub use parse::parse;
pub use quantity::{Dimension, Form, Number, Quantity, Ratio};
pub use span::*;
pub use tree::*;
pub use walk::NameRole;
