//! The server as editors meet it: over the wire with clients of every kind, and in real editors.

// Two test programs share it, and each uses its part.
#[allow(dead_code)]
#[path = "../protocol/client.rs"]
mod client;
mod explain;
mod real;
