//! The tree-sitter grammar of Ampersum: trees for editors, at once and without a server.

use tree_sitter_language::LanguageFn;

unsafe extern "C" {
    fn tree_sitter_ampersum() -> *const ();
}

/// The language, for a parser of the `tree-sitter` crate.
// SAFETY: the generated parser defines this function, and what it returns lives for ever.
pub const LANGUAGE: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_ampersum) };

/// How the trees are coloured.
pub const HIGHLIGHTS: &str = include_str!("../../queries/highlights.scm");

/// What can be folded away.
pub const FOLDS: &str = include_str!("../../queries/folds.scm");

/// How lines are indented.
pub const INDENTS: &str = include_str!("../../queries/indents.scm");
