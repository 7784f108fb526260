//! Editor features as pure functions: a snapshot and a place go in, plain data with byte spans comes out.
//!
//! It knows nothing of protocols. [`Workspace`] holds the open texts and is all that ever changes; a [`Snapshot`] of it
//! never does, and works answers out when they are asked for.

mod diagnostics;
mod lines;
mod view;
mod workspace;

pub use diagnostics::{Diagnostics, diagnostics};
pub use lines::Lines;
pub use view::{Stopped, View};
pub use workspace::{Document, EditorSettings, Snapshot, Touched, Typing, Workspace};
