//! Editor features as pure functions: a snapshot and a place go in, plain data with byte spans comes out.
//!
//! It knows nothing of protocols. [`Workspace`] holds the open texts and is all that ever changes; a [`Snapshot`] of it
//! never does. A [`View`] is what is known of one text, worked out when someone asks. Each feature has a file:
//! [`diagnostics`], [`hover`], [`inlay`], [`symbols`], [`definition`], [`actions`], [`explanation`]; what stands at a place
//! is told by `at`, and which answers may be shown by `answers`.

mod actions;
mod answers;
mod at;
mod definition;
mod diagnostics;
mod explanation;
mod fence;
mod formatting;
mod hover;
mod inlay;
mod lines;
#[cfg(test)]
mod marked;
mod symbols;
mod view;
mod workspace;

pub use actions::{Action, ActionKind, Target, actions};
pub use definition::{Definition, definition};
pub use diagnostics::{Diagnostics, diagnostics};
pub use explanation::{Explanation, as_comment, explanation, place_of};
pub use fence::Fence;
pub use formatting::formatting;
pub use hover::{Block, Hover, hover};
pub use inlay::{Hint, inlay};
pub use lines::Lines;
pub use symbols::{Symbol, SymbolKind, symbols};
pub use view::{Stopped, View};
pub use workspace::{Document, EditorSettings, Snapshot, Touched, Typing, Workspace};
