//! Mutated texts keep what must hold of every text: a short, repeatable part of what `tests/fuzz/run` does for as long as
//! one likes.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::fuzz::mutate::{Pool, mutated};
use crate::fuzz::{Oracle, TARGETS};
use crate::harness::root;
use crate::random::{Random, seed};

/// Executions a target, unless `AMPERSUM_TEXTS` says how many: an unoptimized build makes these in a few seconds.
const ROUNDS: [usize; 4] = [20_000, 4_000, 1_500, 800];
/// Bytes of a text.
const MOST: usize = 600;

#[test]
fn the_lexer_tiles_mutated_texts() {
    run(0);
}

#[test]
fn the_parser_reads_mutated_texts() {
    run(1);
}

#[test]
fn the_formatter_keeps_what_mutated_texts_say() {
    run(2);
}

#[test]
fn mutated_texts_are_checked_and_solved() {
    run(3);
}

/// Every text as it stands, then mutations of mutations.
fn run(target: usize) {
    let (name, oracle) = TARGETS[target];
    let rounds = match std::env::var("AMPERSUM_TEXTS") {
        Ok(text) => text.parse().expect("AMPERSUM_TEXTS is a number"),
        Err(_) => ROUNDS[target],
    };
    let pool = Pool::of(&root());
    let mut random = Random::new(seed(40 + target as u64));
    for text in &pool.texts {
        hold(name, oracle, text);
    }
    let mut text = String::new();
    for round in 0..rounds {
        if round % 8 == 0 {
            text.clone_from(random.pick(&pool.texts));
        }
        text = mutated(&text, &mut random, &pool, MOST);
        hold(name, oracle, &text);
        // What programs are told can always be printed.
        if name == "check" && round % 4 == 0 {
            hold(
                "JSON",
                |it| drop(ampersum::solve_json("bench.amp", it)),
                &text,
            );
        }
    }
    println!("{name}: {} executions", pool.texts.len() + rounds);
}

fn hold(name: &str, oracle: Oracle, text: &str) {
    if fails(oracle, text) {
        let text = shrunk(text, |it| fails(oracle, it));
        println!("{name} fails on {text:?}:\n{text}");
        oracle(&text);
    }
}

fn fails(oracle: Oracle, text: &str) -> bool {
    catch_unwind(AssertUnwindSafe(|| oracle(text))).is_err()
}

/// The same failure in a shorter text: without whatever stretch of lines, then of characters, can be left out.
fn shrunk(text: &str, fails: impl Fn(&str) -> bool) -> String {
    let mut text = text.to_owned();
    for by_lines in [true, false, true, false] {
        let mut pieces: Vec<String> = match by_lines {
            true => text.split_inclusive('\n').map(str::to_owned).collect(),
            false => text.chars().map(String::from).collect(),
        };
        let mut size = pieces.len().div_ceil(2);
        while size > 0 {
            let mut at = 0;
            while at < pieces.len() {
                let end = (at + size).min(pieces.len());
                let without = [&pieces[..at], &pieces[end..]].concat();
                if fails(&without.concat()) {
                    pieces = without;
                } else {
                    at = end;
                }
            }
            size /= 2;
        }
        text = pieces.concat();
    }
    text
}
