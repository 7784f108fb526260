//! The server as editors meet it: over the wire with clients of every kind, and in real editors.

mod client;
mod explain;
mod protocol;
mod real;
