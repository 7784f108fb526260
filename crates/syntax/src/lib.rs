//! The text of Ampersum: tokens, statements, quantities, a span on everything, typed faults. It knows no circuits.

mod fault;
pub mod quantity;
mod span;
mod tree;

pub use fault::*;
pub use quantity::{Dimension, Form, Number, Quantity, Ratio};
pub use span::*;
pub use tree::*;

/// Reads a text. Never fails: what could not be read is a fault and a [`StatementKind::Broken`].
pub fn parse(_text: &str) -> Tree {
    Tree::default()
}
