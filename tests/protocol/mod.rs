//! The server over the wire, by clients that speak raw JSON-RPC and know none of its types: one test a feature, each in the
//! three ways of counting characters, and whatever can go wrong on the way.

mod actions;
// Two test programs share it, and each uses its part.
#[allow(dead_code)]
mod client;
mod desk;
mod edits;
mod findings;
mod names;
mod reading;
mod settings;
mod sweep;
mod wire;
mod writing;
