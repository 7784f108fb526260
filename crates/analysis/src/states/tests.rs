//! States against brute force: every choice of modes, solved by plain elimination, its conditions tested one by one.

use dashu_base::Sign;
use syntax::Ratio;

use super::Stability;
use super::plant::{Mode, Plant, Stage};
use super::search::Work;
use super::walk::{self, Jump};
use super::whole::{All, Finder, at};
use crate::feedback::{Sum, add, scrambled};

struct Random(u64);

impl Random {
    fn below(&mut self, count: u64) -> i64 {
        self.0 += 1;
        (scrambled(self.0) % count) as i64
    }
}

fn ratio(a: i64, b: i64) -> Ratio {
    Ratio::from(a) / Ratio::from(b)
}

/// Outputs that move few or many inputs; some with a limit of current, some comparators, some with finite gain.
fn plant(random: &mut Random, size: usize, limited: bool) -> Plant {
    let mut plant = Plant::default();
    let full = random.below(3) == 0;
    for own in 0..size {
        let mut pull: Sum<Ratio> = Vec::new();
        let mut current: Sum<Ratio> = Vec::new();
        for column in 0..size {
            let factor = match column == own {
                true => random.below(9) - 6,
                false if full || random.below(3) == 0 => random.below(9) - 4,
                false => 0,
            };
            if factor != 0 {
                pull.push((column, ratio(factor, 4)));
            }
            // A conductance matrix: what an output delivers rises with it.
            let conducts = match column == own {
                true => 4 * size as i64,
                false => -random.below(4),
            };
            current.push((column, ratio(conducts, 1)));
        }
        pull.push((size, ratio(random.below(21) - 10, 3)));
        pull.push((size + 1, ratio(random.below(5) - 2, 2)));
        pull.retain(|it| !it.1.is_zero());
        current.push((size, ratio(random.below(41) - 20, 3)));
        let low = -random.below(6);
        let limits = Some([ratio(low, 1), ratio(low + 1 + random.below(8), 1)]);
        let currents = (limited && random.below(2) == 0).then(|| {
            [
                ratio(1 + random.below(30), 2),
                ratio(1 + random.below(30), 2),
            ]
        });
        plant.stages.push(Stage {
            limits,
            currents,
            comparator: random.below(8) == 0,
        });
        plant.pulls.push(pull);
        plant.currents.push(current);
    }
    plant
}

/// What every number of [`plant`] is whole times.
const SCALE: i64 = 12;

/// All consistent outputs, the slow way: each choice of modes is solved and tested by itself. In whole numbers, so that it is exact and quick all
/// the same. `None` where some choice does not fix the outputs.
fn by_force(plant: &Plant, source: &Ratio) -> Option<Vec<Vec<Ratio>>> {
    let size = plant.stages.len();
    let whole = |it: &Ratio| -> i128 {
        let scaled = it * Ratio::from(SCALE);
        assert!(scaled.denominator().is_one(), "{it}");
        i128::try_from(scaled.numerator().clone()).expect("a small number")
    };
    // One factor an output, then the constant.
    let line = |sum: &Sum<Ratio>| {
        let mut line = vec![Ratio::ZERO; size + 1];
        for (column, factor) in sum {
            match *column {
                it if it <= size => line[it] += factor,
                _ => line[size] += factor * source,
            }
        }
        line.iter().map(whole).collect::<Vec<i128>>()
    };
    let pair = |it: &[Ratio; 2]| [whole(&it[0]), whole(&it[1])];
    let pulls: Vec<_> = plant.pulls.iter().map(line).collect();
    let currents: Vec<_> = plant.currents.iter().map(line).collect();
    let rails: Vec<_> = plant
        .stages
        .iter()
        .map(|it| pair(it.limits.as_ref().unwrap()))
        .collect();
    let most: Vec<_> = plant
        .stages
        .iter()
        .map(|it| it.currents.as_ref().map(pair))
        .collect();
    let exists = |own: usize, mode: usize| match mode {
        0 => !plant.stages[own].comparator,
        1 | 2 => true,
        _ => most[own].is_some(),
    };
    let mut found: Vec<Vec<Ratio>> = Vec::new();
    for mut choice in 0..5usize.pow(size as u32) {
        let modes: [usize; 6] = std::array::from_fn(|_| {
            let mode = choice % 5;
            choice /= 5;
            mode
        });
        if !(0..size).all(|it| exists(it, modes[it])) {
            continue;
        }
        // The last entry stands on the right side.
        let row = |own: usize| {
            let [low, high] = rails[own];
            let held = |value: i128| {
                let mut row = vec![0; size + 1];
                (row[own], row[size]) = (SCALE.into(), value);
                row
            };
            let sum = |line: &[i128], value: i128| {
                let mut row = line.to_vec();
                row[size] = value - row[size];
                row
            };
            match (modes[own], most[own]) {
                (0, _) => sum(&pulls[own], 0),
                (1, _) => held(high),
                (2, _) => held(low),
                (3, Some([source, _])) => sum(&currents[own], source),
                (_, limits) => sum(&currents[own], -limits.expect("it has one")[1]),
            }
        };
        let mut rows: Vec<Vec<i128>> = (0..size).map(row).collect();
        let det = solve(&mut rows)?;
        let u = |own: usize| rows[own][size];
        // The sign of a sum at these outputs, less a bound.
        let told = |line: &[i128], bound: i128| {
            let sum =
                (0..size).map(|it| line[it] * u(it)).sum::<i128>() + (line[size] - bound) * det;
            (sum * det.signum()).signum()
        };
        let consistent = (0..size).all(|own| {
            let [low, high] = rails[own];
            let beyond =
                |bound: i128| ((i128::from(SCALE) * u(own) - bound * det) * det.signum()).signum();
            let pull = told(&pulls[own], 0);
            let carried = most[own].is_none_or(|[source, sink]| {
                told(&currents[own], source) <= 0 && told(&currents[own], -sink) >= 0
            });
            match modes[own] {
                0 => beyond(low) >= 0 && beyond(high) <= 0 && carried,
                1 => pull >= 0 && carried && !(plant.stages[own].comparator && pull == 0),
                2 => pull <= 0 && carried,
                3 => beyond(low) <= 0 || beyond(high) <= 0 && pull >= 0,
                _ => beyond(high) >= 0 || beyond(low) >= 0 && pull <= 0,
            }
        });
        if consistent {
            let ratio = |own: usize| Ratio::from(u(own)) / Ratio::from(det);
            let outputs: Vec<Ratio> = (0..size).map(ratio).collect();
            if !found.contains(&outputs) {
                found.push(outputs);
            }
        }
    }
    found.sort();
    Some(found)
}

/// Elimination without fractions (Bareiss), in place: each unknown is then its right side over the determinant that is returned.
fn solve(rows: &mut [Vec<i128>]) -> Option<i128> {
    let size = rows.len();
    let mut before = 1;
    for at in 0..size {
        let pivot = (at..size).find(|it| rows[*it][at] != 0)?;
        rows.swap(at, pivot);
        let pivot = rows[at].clone();
        for row in rows
            .iter_mut()
            .enumerate()
            .filter(|it| it.0 != at)
            .map(|it| it.1)
        {
            let factor = row[at];
            for (it, of) in row.iter_mut().zip(&pivot) {
                *it = (*it * pivot[at] - factor * of) / before;
            }
        }
        before = pivot[at];
    }
    Some(before)
}

fn outputs(all: &All) -> Vec<Vec<Ratio>> {
    let mut outputs: Vec<Vec<Ratio>> = all
        .states
        .iter()
        .map(|it| it.outputs.iter().map(|it| it[0].clone()).collect())
        .collect();
    outputs.sort();
    outputs
}

fn judge(_: &[usize], _: &[Mode]) -> Stability {
    Stability::Stable
}

#[test]
fn no_state_is_lost_and_none_made_up() {
    let mut random = Random(1);
    let (mut compared, mut several, mut none, mut large) = (0, 0, 0, 0);
    while compared < 500 {
        let limited = random.below(2) == 0;
        let size = 1 + random.below(6) as usize;
        let plant = plant(&mut random, size, limited);
        let source = ratio(random.below(9) - 4, 2);
        let Some(wanted) = by_force(&plant, &source) else {
            continue;
        };
        let mut work = Work(u64::MAX);
        let finder = Finder::new(&plant, &judge, &mut work);
        let all = finder.states(&at(&source, Sign::Positive, false), &mut work);
        assert_eq!(outputs(&all), wanted, "{plant:?}");
        compared += 1;
        several += usize::from(wanted.len() > 1);
        none += usize::from(wanted.is_empty());
        let currents = plant.stages.iter().any(|it| it.currents.is_some());
        large += usize::from(currents && size > 4);
    }
    assert!(
        several > 50 && none > 5 && large > 50,
        "{several} {none} {large}"
    );
}

/// A stage with its input at minus and a share of its output at plus: the share times a limit is a threshold.
fn schmitt(share: Ratio, low: i64, high: i64) -> Plant {
    Plant {
        stages: vec![Stage {
            limits: Some([ratio(low, 1), ratio(high, 1)]),
            ..Stage::default()
        }],
        pulls: vec![vec![(0, share), (2, Ratio::NEG_ONE)]],
        currents: vec![Vec::new()],
    }
}

#[test]
fn a_stage_that_latches_switches_where_its_share_of_a_limit_is() {
    let judge = |_: &[usize], modes: &[Mode]| match modes {
        [Mode::Linear] => Stability::Unstable,
        _ => Stability::Stable,
    };
    for (low, high) in [(-5, 5), (0, 5), (-9, 12)] {
        let share = ratio(2, 7);
        let plant = schmitt(share.clone(), low, high);
        for written in [ratio(0, 1), ratio(100, 1), ratio(-100, 1)] {
            let mut work = Work(1 << 30);
            let finder = Finder::new(&plant, &judge, &mut work);
            let walk = walk::walk(&finder, &written, &mut work);
            let jump = |value: i64, from: Mode, rises: bool, to: Mode| Jump {
                value: &share * ratio(value, 1),
                from: vec![from],
                leaving: vec![0],
                rises,
                to: vec![vec![to]],
                sides: vec![Some(from == Mode::High)],
                to_sides: vec![vec![Some(to == Mode::High)]],
            };
            // The input rises past the upper one and takes the output down.
            assert_eq!(
                walk.jumps,
                [
                    jump(low, Mode::Low, false, Mode::High),
                    jump(high, Mode::High, true, Mode::Low)
                ]
            );
        }
    }
}

/// What lasts only on a stretch far from where the source stands is found too: a state of its own, or one whose modes last near by as well.
#[test]
fn thresholds_are_the_same_wherever_the_source_stands() {
    let mut random = Random(2_000_003);
    let (mut compared, mut jumps) = (0, 0);
    while compared < 150 {
        let size = 1 + random.below(3) as usize;
        let plant = plant(&mut random, size, true);
        let from = |written: i64| {
            let mut work = Work::default();
            let finder = Finder::new(&plant, &judge, &mut work);
            walk::walk(&finder, &ratio(written, 3), &mut work)
        };
        let all = [0, -1000, 1000, random.below(100) - 50].map(from);
        if all.iter().any(|it| it.gave_up) {
            continue;
        }
        assert!(all.iter().all(|it| *it == all[0]), "{all:#?} of {plant:#?}");
        compared += 1;
        jumps += all[0].jumps.len();
    }
    assert!(jumps > 300, "{jumps}");
}

/// Each output moves its own input, and that of the one before it in a ring.
fn ring(own: i64, next: i64) -> Plant {
    let size = 12;
    let pull = |it: usize| {
        let mut pull: Sum<Ratio> = Vec::new();
        add(&mut pull, it, &ratio(own, 4));
        add(&mut pull, (it + 1) % size, &ratio(next, 4));
        add(&mut pull, size, &ratio(it as i64 - 5, 7));
        pull
    };
    let limits = Some([ratio(-9, 1), ratio(9, 1)]);
    let stage = Stage {
        limits,
        ..Stage::default()
    };
    Plant {
        stages: vec![stage; size],
        pulls: (0..size).map(pull).collect(),
        currents: vec![Vec::new(); size],
    }
}

#[test]
fn twelve_in_a_ring_are_settled_in_little_work() {
    let found = |own, next| {
        let plant = ring(own, next);
        let mut work = Work::default();
        let finder = Finder::new(&plant, &judge, &mut work);
        let all = finder.states(&at(&Ratio::ZERO, Sign::Positive, false), &mut work);
        (all.states.len(), all.gave_up, Work::default().0 - work.0)
    };
    for (own, next, states) in [(1, 3, 3), (-1, 3, 3), (0, -2, 3), (-3, 1, 1)] {
        let (count, gave_up, spent) = found(own, next);
        assert_eq!((count, gave_up), (states, false));
        assert!(spent < 100_000, "{spent}");
    }
    // Twelve latches that hardly move each other have 3^12 states: that is told, not passed over.
    let (_, gave_up, spent) = found(2, -1);
    assert!(gave_up && spent < Work::default().0 / 2, "{spent}");
}
