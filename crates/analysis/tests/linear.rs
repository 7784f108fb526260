//! Random equations: exact answers put back into their rows, floating ones against exact ones.

use ampersum_analysis as analysis;

use analysis::Answer;
use analysis::linear::{Budget, Coefficient, Row, Solved, System, solve};
use proptest::prelude::*;
use syntax::Ratio;

fn ratio(numerator: i64, denominator: u64) -> Ratio {
    Ratio::from_parts(numerator.into(), denominator.into())
}

/// A system from rows of whole numbers, the last of each row its right side.
fn system(rows: &[&[i64]]) -> System {
    let row = |row: &&[i64]| Row {
        terms: row[..row.len() - 1]
            .iter()
            .enumerate()
            .filter(|it| *it.1 != 0)
            .map(|(at, &it)| (at, Ratio::from(it).into()))
            .collect(),
        right: vec![Ratio::from(row[row.len() - 1]).into()],
    };
    System {
        unknowns: rows[0].len() - 1,
        rows: rows.iter().map(row).collect(),
    }
}

fn found(solved: &Solved, side: usize) -> Vec<Option<Ratio>> {
    solved.values[side]
        .iter()
        .map(|it| it.as_ref().and_then(|it| it.exact().cloned()))
        .collect()
}

/// What each row leaves over when the answer is put in.
fn leftovers(system: &System, values: &[Ratio], side: usize) -> Vec<Ratio> {
    let rest = |row: &Row| {
        row.terms
            .iter()
            .fold(-row.right[side].value.clone(), |sum, (unknown, factor)| {
                sum + &factor.value * &values[*unknown]
            })
    };
    system.rows.iter().map(rest).collect()
}

/// A sparse system of one block: each row holds its neighbours around a ring, and a few others.
fn knot(size: usize, seeds: &[u32], sides: usize) -> System {
    let mut seeds = seeds
        .iter()
        .cycle()
        .copied()
        .enumerate()
        .map(|(at, it)| (it as usize).wrapping_mul(2 * at + 1).wrapping_add(at * at));
    let mut pick = |from: usize| seeds.next().map_or(0, |it| it / 7 % from);
    let value = |pick: &mut dyn FnMut(usize) -> usize| {
        ratio(pick(1999) as i64 - 999, [1, 10, 47, 1000][pick(4)])
    };
    let rows = (0..size).map(|at| {
        let mut columns = vec![at, (at + 1) % size, (at + size - 1) % size, pick(size)];
        columns.sort_unstable();
        columns.dedup();
        Row {
            terms: columns
                .into_iter()
                .map(|it| (it, Coefficient::from(value(&mut pick))))
                .collect(),
            right: (0..sides).map(|_| value(&mut pick).into()).collect(),
        }
    });
    System {
        unknowns: size,
        rows: rows.collect(),
    }
}

/// A ladder fed through a resistor: series resistors of R, shunts of 2 R, one source of 1 V at node 0.
fn ladder(sections: usize) -> System {
    let one = || Coefficient::from(Ratio::ONE);
    let mut rows = vec![Row {
        terms: vec![(0, one())],
        right: vec![one()],
    }];
    for node in 1..sections {
        let last = node + 1 == sections;
        let mut terms = vec![
            (node, ratio(if last { 3 } else { 5 }, 2000).into()),
            (node - 1, ratio(-1, 1000).into()),
        ];
        if !last {
            terms.push((node + 1, ratio(-1, 1000).into()));
        }
        rows.push(Row {
            terms,
            right: vec![Ratio::ZERO.into()],
        });
    }
    System {
        unknowns: sections,
        rows,
    }
}

/// How many rows are independent, by plain elimination.
fn rank(mut rows: Vec<Vec<Ratio>>) -> usize {
    let mut rank = 0;
    for column in 0..rows.first().map_or(0, Vec::len) {
        let Some(found) = (rank..rows.len()).find(|it| !rows[*it][column].is_zero()) else {
            continue;
        };
        rows.swap(found, rank);
        let pivot = rows[rank].clone();
        for row in &mut rows[rank + 1..] {
            let factor = &row[column] / &pivot[column];
            for (entry, over) in row.iter_mut().zip(&pivot) {
                *entry = &*entry - &factor * over;
            }
        }
        rank += 1;
    }
    rank
}

const NOTHING: Budget = Budget { bits: 0 };

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn exact_answers_meet_every_row(
        size in prop::sample::select(vec![1usize, 2, 3, 7, 8, 9, 20, 60, 61]),
        seeds in prop::collection::vec(any::<u32>(), 40),
    ) {
        let system = knot(size, &seeds, 2);
        let solved = solve(&system, Budget::default());
        for side in 0..2 {
            match found(&solved, side).into_iter().collect::<Option<Vec<Ratio>>>() {
                Some(values) => prop_assert!(leftovers(&system, &values, side).iter().all(Ratio::is_zero)),
                None => {
                    let rows: Vec<Vec<Ratio>> = system.rows.iter().map(|row| {
                        let mut dense = vec![Ratio::ZERO; size];
                        row.terms.iter().for_each(|(at, it)| dense[*at] = it.value.clone());
                        dense
                    }).collect();
                    prop_assert!(rank(rows) < size);
                }
            }
        }
    }

    #[test]
    fn floating_answers_hold_the_exact_ones(
        size in prop::sample::select(vec![1usize, 2, 7, 8, 9, 20, 61]),
        seeds in prop::collection::vec(any::<u32>(), 40),
    ) {
        let system = knot(size, &seeds, 1);
        let (exact, floating) = (solve(&system, Budget::default()), solve(&system, NOTHING));
        for (exact, floating) in exact.values[0].iter().zip(&floating.values[0]) {
            let (Some(Answer::Exact(exact)), Some(Answer::Float { value, bound })) = (exact, floating) else { continue };
            let off = (&Ratio::try_from(*value).unwrap() - exact).to_f64().value().abs();
            prop_assert!(off <= *bound, "{off} > {bound}");
            prop_assert!(*bound <= 1e-6 * (1.0 + value.abs()), "{bound} says nothing of {value}");
        }
    }

    /// A rounded coefficient moves within its error; the answer may not leave its bound.
    #[test]
    fn rounded_coefficients_widen_the_bound(
        size in prop::sample::select(vec![2usize, 8, 9, 30]),
        seeds in prop::collection::vec(any::<u32>(), 40),
        at in any::<prop::sample::Index>(),
        up in any::<bool>(),
    ) {
        let mut system = knot(size, &seeds, 1);
        let row = at.index(size);
        let error = 1e-9;
        let mut moved = system.clone();
        let by = if up { ratio(1, 1_000_000_000) } else { ratio(-1, 1_000_000_000) };
        moved.rows[row].terms[0].1.value += &by;
        moved.rows[row].right[0].value += &by;
        system.rows[row].terms[0].1.error = error;
        system.rows[row].right[0].error = error;
        let (around, there) = (solve(&system, Budget::default()), solve(&moved, Budget::default()));
        for (around, there) in around.values[0].iter().zip(&there.values[0]) {
            let (Some(Answer::Float { value, bound }), Some(Answer::Exact(there))) = (around, there) else { continue };
            let off = (&Ratio::try_from(*value).unwrap() - there).to_f64().value().abs();
            prop_assert!(off <= *bound, "{off} > {bound}");
        }
    }
}

#[test]
fn exactness_survives_beside_rounded_coefficients() {
    // 0 and 1 are exact; 2 needs a rounded factor, 3 needs 2.
    let mut system = system(&[
        &[2, 0, 0, 0, 3],
        &[1, 1, 0, 0, 2],
        &[0, 1, 3, 0, 1],
        &[0, 0, 1, 1, 0],
    ]);
    system.rows[2].terms[1].1.error = 1e-12;
    let solved = solve(&system, Budget::default());
    assert_eq!(
        found(&solved, 0),
        [Some(ratio(3, 2)), Some(ratio(1, 2)), None, None]
    );
    for unknown in [2, 3] {
        let answer = solved.values[0][unknown].as_ref().unwrap();
        let truth = Answer::Exact(ratio(if unknown == 2 { 1 } else { -1 }, 6));
        assert_eq!(answer.compare(&truth), None);
        assert!(answer.bound() < 1e-12);
    }
}

#[test]
fn what_is_fixed_is_found_beside_what_is_not() {
    // 0 is fixed; 1 and 2 only by their difference twice; 3 hangs on 1 − 2 and is fixed all the same; 4 is in no row.
    let solved = solve(
        &system(&[
            &[1, 0, 0, 0, 0, 5],
            &[0, 1, -1, 0, 0, 2],
            &[0, 2, -2, 0, 0, 4],
            &[0, 1, -1, 1, 0, 9],
        ]),
        Budget::default(),
    );
    assert_eq!(
        found(&solved, 0),
        [Some(ratio(5, 1)), None, None, Some(ratio(7, 1)), None]
    );
    assert_eq!(solved.unmet, [] as [usize; 0]);
    assert_eq!(solved.blocks, [vec![0], vec![1, 2, 3], vec![4]]);
}

#[test]
fn a_row_that_contradicts_those_before_it_is_named_and_nothing_rests_on_it() {
    // 0 and 1 are said twice over, 2 hangs on 1, 3 on nothing of them.
    let solved = solve(
        &system(&[
            &[1, 0, 0, 0, 5],
            &[0, 1, 0, 0, 3],
            &[1, -1, 0, 0, 1],
            &[0, 1, 1, 0, 8],
            &[0, 0, 0, 2, 1],
            &[1, 1, 0, 0, 8],
        ]),
        Budget::default(),
    );
    assert_eq!(found(&solved, 0), [None, None, None, Some(ratio(1, 2))]);
    assert_eq!(solved.unmet, [2]);
}

#[test]
fn large_singular_blocks_have_no_answer_and_keep_the_rest() {
    // A ring of 12 resistors that nothing ties to ground, and one node beside it.
    let size = 12;
    let mut rows: Vec<Vec<i64>> = (0..size)
        .map(|at| {
            let mut row = vec![0; size + 2];
            row[at] = 2;
            row[(at + 1) % size] = -1;
            row[(at + size - 1) % size] = -1;
            row
        })
        .collect();
    let mut held = vec![0; size + 2];
    held[size] = 1;
    held[size + 1] = 7;
    rows.push(held);
    let solved = solve(
        &system(&rows.iter().map(Vec::as_slice).collect::<Vec<_>>()),
        Budget::default(),
    );
    assert!(solved.values[0][..size].iter().all(Option::is_none));
    assert_eq!(solved.values[0][size], Some(Answer::Exact(ratio(7, 1))));
}

#[test]
fn wide_entries_and_long_right_sides_stay_exact() {
    // Entries beyond 64 bits take the residual in big integers.
    let mut system = knot(12, &[7, 11, 13, 17, 19, 23, 29], 1);
    for (at, row) in system.rows.iter_mut().enumerate() {
        row.terms[0].1.value *= Ratio::from(3).pow(60 + at as isize);
        row.right[0].value = Ratio::from(7).pow(90 + at as isize) / Ratio::from(11).pow(40);
    }
    let values: Vec<Ratio> = found(&solve(&system, Budget::default()), 0)
        .into_iter()
        .map(Option::unwrap)
        .collect();
    assert!(leftovers(&system, &values, 0).iter().all(Ratio::is_zero));
}

/// V(k)/V(k−1) of an endless ladder of these values is ½, so the far end of a long one is 2⁻ⁿ of its head, and near the
/// head V(k) = 2⁻ᵏ to all digits that doubles have.
#[test]
fn a_ladder_beyond_the_budget_is_answered_with_its_bound() {
    let solved = solve(&ladder(10_000), Budget::default());
    for node in [1, 5, 40] {
        let Some(Answer::Float { value, bound }) = solved.values[0][node] else {
            panic!("no floating answer at {node}")
        };
        assert!((value - 0.5f64.powi(node as i32)).abs() <= bound);
        assert!(bound <= 1e-12 * value, "{bound} at {node}");
    }
}

#[test]
fn a_long_ladder_within_the_budget_is_exact() {
    let system = ladder(300);
    let values: Vec<Ratio> = found(&solve(&system, Budget::default()), 0)
        .into_iter()
        .map(Option::unwrap)
        .collect();
    assert!(leftovers(&system, &values, 0).iter().all(Ratio::is_zero));
}

/// Above the size where the inverse is worked out its size is estimated: no theorem, so it is tried.
#[test]
fn estimated_bounds_of_large_blocks_hold() {
    for seed in 0..4 {
        let system = knot(320, &[7 + seed, 11, 13 + 2 * seed, 17, 19, 23, 29], 1);
        let (exact, floating) = (
            solve(&system, Budget { bits: u64::MAX }),
            solve(&system, NOTHING),
        );
        for (exact, floating) in exact.values[0].iter().zip(&floating.values[0]) {
            let (Some(Answer::Exact(exact)), Some(floating)) = (exact, floating) else {
                panic!("no answer")
            };
            assert!(!floating.is_exact());
            assert_eq!(floating.compare(&Answer::Exact(exact.clone())), None);
        }
    }
}

#[test]
fn a_coefficient_that_may_be_zero_widens_the_bound_and_no_more() {
    let mut system = system(&[&[1, 1, 3], &[1, 2, 5]]);
    system.rows[0].terms[0].1 = Coefficient {
        value: Ratio::ZERO,
        error: 1e-12,
    };
    let solved = solve(&system, Budget::default());
    for (answer, truth) in solved.values[0].iter().zip([-1, 3]) {
        let answer = answer.as_ref().unwrap();
        assert!((answer.to_f64() - f64::from(truth)).abs() <= answer.bound());
        assert!(answer.bound() < 1e-10, "{answer:?}");
    }
}

/// Each unknown is 20 times the one before, and the last comes back to the first: no double holds 20^310.
#[test]
fn a_block_that_floating_point_cannot_bound_is_solved_exactly_beyond_the_budget() {
    let size = 310;
    let power = Ratio::from(20).pow(size as isize - 1);
    let mut rows: Vec<Row> = (1..size)
        .map(|unknown| Row {
            terms: vec![
                (unknown, Ratio::ONE.into()),
                (unknown - 1, ratio(-20, 1).into()),
            ],
            right: vec![Ratio::ZERO.into()],
        })
        .collect();
    rows.push(Row {
        terms: vec![
            (0, Ratio::ONE.into()),
            (size - 1, (Ratio::ONE / &power).into()),
        ],
        right: vec![ratio(2, 1).into()],
    });
    let system = System {
        unknowns: size,
        rows,
    };
    let solved = solve(&system, NOTHING);
    let values = found(&solved, 0);
    assert_eq!(values[0], Some(Ratio::ONE));
    assert_eq!(values[size - 1], Some(power));
}
