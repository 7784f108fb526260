//! Editor features as pure functions: a snapshot and a place go in, plain data with byte spans comes out.
//!
//! It knows nothing of protocols. [`Workspace`] holds the open texts and is all that ever changes; a [`Snapshot`] of it
//! never does. A [`View`] is what is known of one text, worked out when someone asks. Each feature has a file:
//! [`diagnostics`], [`hover`], [`completion`], [`rename`] and so on; what stands at a place is told by `at`, what each name
//! belongs to by `names`, and which answers may be shown by `answers`.

mod actions;
mod answers;
mod at;
mod completion;
mod definition;
mod diagnostics;
mod explanation;
mod fence;
mod folders;
mod folding;
mod formatting;
mod hover;
mod inlay;
mod lens;
mod lines;
mod links;
#[cfg(test)]
mod marked;
mod moves;
mod names;
mod near;
mod pieces;
mod references;
mod rename;
mod search;
mod selection;
mod signature;
mod symbols;
mod tokens;
mod view;
mod workspace;

pub use actions::{Action, ActionKind, Change, Target, actions};
pub use completion::{Completion, Item, ItemKind, completion, describe};
pub use definition::Definition;
pub use diagnostics::{Diagnostics, diagnostics};
pub use explanation::{Explanation, as_comment, explained_circuit, explanation, place_of};
pub use fence::Fence;
pub use folding::{Fold, FoldKind, folds};
pub use formatting::{formatting, on_newline};
pub use hover::{Block, Hover};
pub use inlay::{Hint, Part};
pub use lens::{Lens, lens_title, lenses};
pub use lines::Lines;
pub use links::{Link, links};
pub use moves::moved;
pub use names::Access;
pub use near::{definition, highlights, hover, inlay, renamable, signature, tokens};
pub use references::{Mention, references};
pub use rename::{Refusal, Renamable, Renamed, Replaced, rename};
pub use search::{Found, search};
pub use selection::selection;
pub use signature::{Parameter, Signature};
pub use symbols::{Symbol, SymbolKind, symbols};
pub use tokens::{Token, TokenKind};
pub use view::{Stopped, View};
pub use workspace::{Document, EditorSettings, Snapshot, Touched, Typing, Workspace};
