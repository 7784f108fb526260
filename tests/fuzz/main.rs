//! One target of the fuzzer, named by `AMPERSUM_TARGET`; libFuzzer chooses the texts by what code they reach.

#![no_main]

#[path = "mod.rs"]
mod fuzz;
#[expect(dead_code, reason = "other tests use the rest")]
#[path = "../random.rs"]
mod random;

use std::path::Path;
use std::sync::LazyLock;

use fuzz::mutate::{Pool, mutated};
use fuzz::{Oracle, TARGETS};
use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};
use random::Random;

static POOL: LazyLock<Pool> = LazyLock::new(|| {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    Pool::of(&root)
});

static TARGET: LazyLock<Oracle> = LazyLock::new(|| {
    let name = std::env::var("AMPERSUM_TARGET").expect("AMPERSUM_TARGET names a target");
    let found = TARGETS.iter().find(|it| it.0 == name);
    found.expect("one of lexer, parser, formatter, check").1
});

fuzz_target!(|data: &[u8]| (*TARGET)(&String::from_utf8_lossy(data)));

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    let mut random = Random::new(seed.into());
    // A few changes of bytes without sense, the rest with.
    if random.chance(10) {
        return fuzzer_mutate(data, size, max_size);
    }
    let text = String::from_utf8_lossy(&data[..size]).into_owned();
    let text = mutated(&text, &mut random, &POOL, max_size);
    data[..text.len()].copy_from_slice(text.as_bytes());
    text.len()
});
