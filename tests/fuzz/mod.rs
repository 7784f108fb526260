//! What the fuzzer and the ordinary tests share: what must hold of a text, and how texts are changed.

pub mod mutate;
mod oracles;
mod whole;

/// Panics where something does not hold of a text.
pub type Oracle = fn(&str);

/// The steps by name.
pub const TARGETS: [(&str, Oracle); 4] = [
    ("lexer", oracles::lexer),
    ("parser", oracles::parser),
    ("formatter", oracles::formatter),
    ("check", whole::check),
];
