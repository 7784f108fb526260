//! What the fuzzer and the ordinary tests share: what must hold of a text, and how texts are changed.

pub mod mutate;
mod oracles;
mod whole;

/// The steps by name.
pub const TARGETS: [(&str, fn(&str)); 4] = [
    ("lexer", oracles::lexer),
    ("parser", oracles::parser),
    ("formatter", oracles::formatter),
    ("check", whole::check),
];
