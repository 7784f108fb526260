//! What crosses the crates, tested from outside: texts go in, the JSON of the commands comes out.

mod random;

mod harness;
mod net;

mod generate;

mod any_bytes;
mod command;
mod examples;
mod facts;
mod fuzz;
mod fuzzed;
mod half_typed;
mod hostile;
mod invariants;
mod limits;
mod planted;
mod published;
mod real;
mod reference;
mod samples;
mod schema;
mod tidy;
mod values;
mod versions;
