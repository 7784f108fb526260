//! How fast texts are cut, read, formatted, checked and solved, on one core. `cargo bench -p ampersum-bench` measures all;
//! a name behind `--` picks.

#[expect(dead_code, reason = "other tests use the rest")]
#[path = "../random.rs"]
mod random;
mod texts;

use std::sync::Arc;

use analysis::Study;
use circuit::Book;
use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};

/// Lines of a file; the last is close to the largest that is read.
const LINES: [usize; 6] = [1_000, 4_000, 16_000, 64_000, 200_000, 400_000];

fn main() {
    divan::main();
}

/// Text → tokens and statements.
#[divan::bench(args = LINES)]
fn lex(bencher: Bencher, lines: usize) {
    over(bencher, &texts::many_circuits(lines), |text| {
        black_box(syntax::Cuts::of(text));
    });
}

/// Text → tree.
#[divan::bench(args = LINES)]
fn parse(bencher: Bencher, lines: usize) {
    over(bencher, &texts::many_circuits(lines), |text| {
        black_box(syntax::parse(text));
    });
}

/// Text → canonical text.
#[divan::bench(args = LINES)]
fn format(bencher: Bencher, lines: usize) {
    over(bencher, &texts::many_circuits(lines), |text| {
        black_box(syntax::format(text));
    });
}

/// Text → findings, many circuits in one file.
#[divan::bench(args = [100, 1_000, 10_000])]
fn check(bencher: Bencher, lines: usize) {
    over(bencher, &texts::many_circuits(lines), |text| {
        black_box(findings(text));
    });
}

/// Text → findings, one circuit.
#[divan::bench(args = [100, 1_000, 10_000])]
fn check_one_circuit(bencher: Bencher, lines: usize) {
    over(bencher, &texts::one_circuit(lines), |text| {
        black_box(findings(text));
    });
}

/// Equations → exact answers, amplifier stages.
#[divan::bench(args = [100, 1_000, 10_000])]
fn solve_stages(bencher: Bencher, lines: usize) {
    solve(bencher, &texts::one_circuit(lines));
}

/// Equations → exact answers, a square of resistors of this many nodes a side.
#[divan::bench(args = [3, 5, 8, 12])]
fn solve_grid(bencher: Bencher, side: usize) {
    solve(bencher, &texts::grid(side));
}

/// Equations → answers with bounds, so many real op-amps in one block, all voltages of one size.
#[divan::bench(args = [20, 50, 200, 1_000])]
fn solve_real(bencher: Bencher, opamps: usize) {
    solve_as_written(bencher, &texts::real_chain(opamps, 1));
}

/// The same, each voltage 20 times the one before it.
#[divan::bench(args = [20, 50, 200])]
fn solve_real_growing(bencher: Bencher, opamps: usize) {
    solve_as_written(bencher, &texts::real_chain(opamps, 20));
}

/// Counts op-amps; each by the law of its part.
fn solve_as_written(bencher: Bencher, text: &str) {
    let book = read(text);
    let (circuit, parts) = (&book.circuits[0], &book.parts);
    bencher
        .counter(ItemsCount::new(circuit.opamps.len()))
        .with_inputs(|| Study::new(circuit, parts))
        .bench_local_refs(|study| {
            let solution = study.linear(circuit, parts);
            assert!(!solution.nodes.contains(&None), "one answer");
            black_box(solution);
        });
}

/// Counts bytes and lines.
fn over(bencher: Bencher, text: &str, work: impl Fn(&str) + Sync) {
    bencher
        .counter(BytesCount::of_str(text))
        .counter(ItemsCount::new(text.lines().count()))
        .bench(|| work(text));
}

/// Counts unknowns.
fn solve(bencher: Bencher, text: &str) {
    let book = read(text);
    let (circuit, parts) = (&book.circuits[0], &book.parts);
    let unknowns = Study::new(circuit, parts).equations.unknowns.len();
    bencher
        .counter(ItemsCount::new(unknowns))
        .with_inputs(|| Study::new(circuit, parts))
        .bench_local_refs(|study| {
            let solution = study.solution(circuit, parts);
            assert!(!solution.nodes.contains(&None), "one answer");
            black_box(solution);
        });
}

fn read(text: &str) -> Book {
    circuit::build("bench.amp", Arc::from(text), &mut |_| None)
}

fn findings(text: &str) -> Vec<checks::Finding> {
    let book = read(text);
    let circuits = book.circuits.iter();
    let studies: Vec<Study> = circuits.map(|it| Study::new(it, &book.parts)).collect();
    let settings = checks::Settings::default();
    let findings = checks::check(&book, &studies, &settings);
    let errors = findings
        .iter()
        .filter(|it| it.severity == checks::Severity::Error);
    assert_eq!(errors.count(), 0, "the texts are sound");
    findings
}
