//! The grammars of `editors/grammars` against the parser: they call broken what it calls broken, and tell words from names as
//! it does, in the samples, in the tables of what goes wrong, in generated texts and in damaged ones.

#[path = "../random.rs"]
mod random;

mod generate;
mod texts;

mod corpus;
mod neovim;
mod textmate;
mod trees;
