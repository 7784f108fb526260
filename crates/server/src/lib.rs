//! The language server: the protocol, its order, cancellation, positions.
//!
//! [`serve`] runs it on standard input and output. Messages are read by [`frame`], go through [`order`] in the order of the
//! wire, and then to [`backend`], which hands each to its file in [`requests`]; there `ide` is asked and its answer
//! converted. Answers leave through [`outbox`]. Findings come from the [`checker`]'s own thread. It knows no circuits.

mod backend;
mod capabilities;
mod checker;
mod desk;
mod frame;
mod log;
mod offers;
mod order;
mod outbox;
mod pages;
mod parent;
mod positions;
mod progress;
mod requests;
mod settings;
mod transport;
mod trial;

/// Serves on standard input and output until the client says `exit` or is gone. Gives what the process ends with: 0 after
/// a clean `shutdown`, else 1.
pub fn serve() -> i32 {
    transport::serve()
}
