//! Square systems in floating point, with bounds: for coefficients that are rounded, and where exact answers grow too long.
//!
//! Every bound comes from one inequality. With the error e = |true − x|, g the residual's size with all that rounding and
//! uncertain coefficients can add to it, and D how far off each entry of A can be:  e ≤ |A⁻¹|(g + D·e).
//! Before that, elimination that carries each error along ([`super::balls`]) is tried: of a long chain of stages it is by far the quickest, and bounds
//! each unknown by itself.

use faer::linalg::solvers::SolveCore;
use faer::sparse::{SparseColMat, Triplet};
use nalgebra::{DMatrix, DVector};

use super::balls::Ball;
use super::integer::Whole;
use crate::answer::{UNIT, nearest, outward};
use crate::feedback::{Sum, add, eliminate};
use syntax::Ratio;

/// Column, entry, how far off it can be.
type Entry = (usize, f64, f64);

/// A square system in doubles; errors say how far off each coefficient can be.
pub(super) struct Floating {
    /// Column, entry, its error.
    pub rows: Vec<Vec<Entry>>,
    /// For each right side, for each row, its value and error.
    pub sides: Vec<Vec<(f64, f64)>>,
}

/// For each right side, for each unknown, a value and how far off it can be. `None`: the matrix cannot be told from a singular one.
pub(super) type Bounded = Option<Vec<Vec<(f64, f64)>>>;

/// Up to here the inverse is worked out, above it is only estimated.
const LARGEST_INVERTED: usize = 300;

/// Up to here it is worked out where the estimate says nothing.
const LARGEST_TRIED: usize = 1000;

/// The estimate of an inverse's size is seldom more than three times too small (from memory: Higham, Accuracy and Stability of
/// Numerical Algorithms, 2nd ed., ch. 15); bounds that rest on it are taken this many times larger.
const CAUTION: f64 = 10.0;

impl Floating {
    /// Solves it, after bringing each row to a largest entry near 1 by a power of two, which rounds nothing.
    pub fn solve(mut self) -> Bounded {
        self.scale_rows()?;
        match self.rows.len() {
            0 => Some(vec![Vec::new(); self.sides.len()]),
            size if size <= super::integer::LARGEST_ELIMINATED => self.solve_in_fractions(),
            size => {
                let balls = self.solve_with_balls();
                if balls.iter().flatten().flatten().all(is_tight) && balls.is_some() {
                    return balls;
                }
                let others = match size {
                    ..=LARGEST_INVERTED => self.solve_dense(),
                    // One bound for all unknowns is too coarse where they differ by many powers of ten: the inverse bounds each.
                    _ => match self.solve_sparse() {
                        None if size <= LARGEST_TRIED => self.solve_dense(),
                        found => found,
                    },
                };
                nearer(balls, others)
            }
        }
    }

    /// Sparse elimination that carries every error along; `None` where a bound is lost.
    fn solve_with_balls(&self) -> Bounded {
        let (size, sides) = (self.rows.len(), self.sides.len());
        let rows = self.rows.iter().enumerate().map(|(at, row)| {
            let mut sum: Sum<Ball> = Vec::with_capacity(row.len() + sides);
            let mut put = |column: usize, value: f64, bound: f64| {
                add(&mut sum, column, &Ball { value, bound })
            };
            for (column, value, bound) in row {
                put(*column, *value, *bound);
            }
            for (side, right) in self.sides.iter().enumerate() {
                let (value, bound) = right[at];
                put(size + side, -value, bound);
            }
            sum
        });
        let found = eliminate(size, sides, rows.collect(), u64::MAX)?;
        let mut answers = vec![vec![(0.0, 0.0); size]; sides];
        for (unknown, value) in found.values.into_iter().enumerate() {
            for (side, ball) in value? {
                let Ball { value, bound } = ball;
                if !value.is_finite() || !bound.is_finite() {
                    return None;
                }
                answers[side][unknown] = (value, bound);
            }
        }
        (!found.contradicts).then_some(answers)
    }

    fn scale_rows(&mut self) -> Option<()> {
        for (at, row) in self.rows.iter_mut().enumerate() {
            let largest = row
                .iter()
                .map(|(_, entry, _)| entry.abs())
                .fold(0.0, f64::max);
            if largest == 0.0 || !largest.is_finite() {
                return None;
            }
            let scale = 2f64.powi(-(largest.log2().floor() as i32));
            for (_, entry, error) in row {
                *entry *= scale;
                *error *= scale;
            }
            for side in &mut self.sides {
                side[at].0 *= scale;
                side[at].1 *= scale;
            }
        }
        Some(())
    }

    /// Solves the doubles as the fractions that they are, and inverts exactly: nothing but the coefficients' own errors is left.
    fn solve_in_fractions(&self) -> Bounded {
        let size = self.rows.len();
        let fraction = |value: f64| Ratio::try_from(value).ok();
        let entries: Vec<Vec<(usize, Ratio)>> = self
            .rows
            .iter()
            .map(|row| {
                row.iter()
                    .map(|(column, it, _)| Some((*column, fraction(*it)?)))
                    .collect()
            })
            .collect::<Option<_>>()?;
        let whole = Whole::new(
            entries
                .iter()
                .map(|row| row.iter().map(|(column, it)| (*column, it))),
        );
        let mut rights = Vec::new();
        for side in &self.sides {
            let side: Vec<Ratio> = side
                .iter()
                .map(|(value, _)| fraction(*value))
                .collect::<Option<_>>()?;
            rights.push(whole.right_side(&side));
        }
        for unit in 0..size {
            let side: Vec<Ratio> = (0..size)
                .map(|row| if row == unit { Ratio::ONE } else { Ratio::ZERO })
                .collect();
            rights.push(whole.right_side(&side));
        }
        let solved = whole.solve(&rights)?;
        let (answers, columns) = solved.split_at(self.sides.len());
        let inverse = DMatrix::from_fn(size, size, |row, column| {
            let (value, error) = nearest(&columns[column][row]);
            value.abs() + error
        });
        let spread = &inverse * self.errors();
        let answers = answers.iter().zip(&self.sides).map(|(answer, side)| {
            let values: Vec<(f64, f64)> = answer.iter().map(nearest).collect();
            let sizes: Vec<f64> = values
                .iter()
                .map(|(value, error)| value.abs() + error)
                .collect();
            let loads = self.loads(&sizes, side);
            let bounds = enclose(&(&inverse * loads), &spread)?;
            Some(
                values
                    .iter()
                    .zip(bounds)
                    .map(|((value, error), bound)| (*value, outward(error + bound)))
                    .collect(),
            )
        });
        answers.collect()
    }

    /// |δb| + |δA||x| for each row.
    fn loads(&self, sizes: &[f64], side: &[(f64, f64)]) -> DVector<f64> {
        let load = |(row, (_, error)): (&Vec<Entry>, &(f64, f64))| {
            outward(
                error
                    + row
                        .iter()
                        .map(|(column, _, error)| error * sizes[*column])
                        .sum::<f64>(),
            )
        };
        DVector::from_iterator(self.rows.len(), self.rows.iter().zip(side).map(load))
    }

    fn errors(&self) -> DMatrix<f64> {
        self.dense(|_, error| error)
    }

    fn dense(&self, of: impl Fn(f64, f64) -> f64) -> DMatrix<f64> {
        let mut matrix = DMatrix::zeros(self.rows.len(), self.rows.len());
        for (at, row) in self.rows.iter().enumerate() {
            row.iter()
                .for_each(|(column, entry, error)| matrix[(at, *column)] += of(*entry, *error));
        }
        matrix
    }

    /// With R close to A⁻¹: e ≤ |R|g + (|R|D + |I − RA|)e.
    fn solve_dense(&self) -> Bounded {
        let size = self.rows.len();
        let matrix = self.dense(|entry, _| entry);
        let inverse = matrix
            .clone()
            .lu()
            .try_inverse()
            .filter(|it| it.iter().all(|entry| entry.is_finite()))?;
        let sizes = inverse.abs();
        // What rounding can add to one entry of a product of this size: n·u·|R||A|, twice that to be above all higher orders.
        let rounding = 2.0 * (size as f64 + 2.0) * UNIT;
        let defect = (DMatrix::identity(size, size) - &inverse * &matrix).abs()
            + &sizes * matrix.abs() * rounding
            + &sizes * self.errors();
        let answers = self.sides.iter().map(|side| {
            let right = DVector::from_iterator(size, side.iter().map(|(value, _)| *value));
            let first = &inverse * right;
            let values =
                &first + &inverse * DVector::from_vec(self.residual(first.as_slice(), side));
            let loads = DVector::from_vec(self.residual_sizes(values.as_slice(), side));
            let bounds = enclose(&(&sizes * loads * (1.0 + rounding)), &defect)?;
            Some(
                values
                    .iter()
                    .zip(bounds)
                    .map(|(value, bound)| (*value, outward(bound)))
                    .collect(),
            )
        });
        answers.collect()
    }

    /// b − A·x
    fn residual(&self, x: &[f64], side: &[(f64, f64)]) -> Vec<f64> {
        let rest = |(row, (right, _)): (&Vec<Entry>, &(f64, f64))| {
            row.iter()
                .fold(*right, |rest, (column, entry, _)| rest - entry * x[*column])
        };
        self.rows.iter().zip(side).map(rest).collect()
    }

    /// |b − A·x| with what its own rounding and the coefficients' errors can add.
    fn residual_sizes(&self, x: &[f64], side: &[(f64, f64)]) -> Vec<f64> {
        let rows = self.rows.iter().zip(side).zip(self.residual(x, side));
        rows.map(|((row, (right, error)), rest)| {
            let rounding = 2.0 * (row.len() as f64 + 2.0) * UNIT;
            let terms = row.iter().fold(right.abs(), |sum, (column, entry, _)| {
                sum + (entry * x[*column]).abs()
            });
            let uncertain = row.iter().fold(*error, |sum, (column, _, error)| {
                sum + error * x[*column].abs()
            });
            outward(rest.abs() + rounding * terms + uncertain * (1.0 + rounding))
        })
        .collect()
    }

    fn solve_sparse(&self) -> Bounded {
        let size = self.rows.len();
        let entries: Vec<Triplet<usize, usize, f64>> = self
            .rows
            .iter()
            .enumerate()
            .flat_map(|(at, row)| {
                row.iter()
                    .map(move |(column, entry, _)| Triplet::new(at, *column, *entry))
            })
            .collect();
        let matrix =
            SparseColMat::<usize, f64>::try_new_from_triplets(size, size, &entries).ok()?;
        let factors = matrix.sp_lu().ok()?;
        let solve = |right: &[f64]| {
            let mut column = faer::Mat::from_fn(size, 1, |row, _| right[row]);
            factors.solve_in_place_with_conj(faer::Conj::No, column.as_mut());
            (0..size).map(|row| column[(row, 0)]).collect::<Vec<f64>>()
        };
        let solve_transposed = |right: &[f64]| {
            let mut column = faer::Mat::from_fn(size, 1, |row, _| right[row]);
            factors.solve_transpose_in_place_with_conj(faer::Conj::No, column.as_mut());
            (0..size).map(|row| column[(row, 0)]).collect::<Vec<f64>>()
        };
        let answers = self.sides.iter().map(|side| {
            let right: Vec<f64> = side.iter().map(|(value, _)| *value).collect();
            let first = solve(&right);
            let correction = solve(&self.residual(&first, side));
            let values: Vec<f64> = first
                .iter()
                .zip(correction)
                .map(|(first, correction)| first + correction)
                .collect();
            if values.iter().any(|it| !it.is_finite()) {
                return None;
            }
            let loads = self.residual_sizes(&values, side);
            let bounds = match self.dominated(&loads, &solve) {
                Some(bounds) => bounds,
                None => {
                    let largest = CAUTION * largest_of_inverse(&loads, &solve, &solve_transposed);
                    // The matrix' own errors come back through the same inverse: counted once more while they are small.
                    let again: Vec<f64> = self
                        .rows
                        .iter()
                        .map(|row| row.iter().map(|(_, _, error)| error).sum::<f64>() * largest)
                        .collect();
                    let second = CAUTION * largest_of_inverse(&again, &solve, &solve_transposed);
                    if second.is_nan() || second > largest / 2.0 {
                        return None;
                    }
                    vec![largest * 2.0; size]
                }
            };
            Some(values.into_iter().zip(bounds).collect())
        });
        answers.collect()
    }

    /// Bounds of a network of resistors. Its matrix, up to the sign of rows, has no entry above zero beside a positive diagonal; if
    /// then v > 0 and (A − D)v ≥ g in every row, the inverse of A − D has no negative entry, and e ≤ v (from memory: Berman &
    /// Plemmons, Nonnegative Matrices, ch. 6). `None` where that does not hold. Row and unknown of one number are matched.
    fn dominated(&self, loads: &[f64], solve: &impl Fn(&[f64]) -> Vec<f64>) -> Option<Vec<f64>> {
        let mut signs = Vec::with_capacity(self.rows.len());
        for (at, row) in self.rows.iter().enumerate() {
            let sign = row.iter().find(|(column, ..)| *column == at)?.1.signum();
            if row
                .iter()
                .any(|(column, entry, _)| *column != at && entry * sign > 0.0)
            {
                return None;
            }
            signs.push(sign);
        }
        let target: Vec<f64> = loads
            .iter()
            .zip(&signs)
            .map(|(load, sign)| sign * (2.0 * load + f64::MIN_POSITIVE))
            .collect();
        let v = solve(&target);
        let holds = self
            .rows
            .iter()
            .zip(&signs)
            .zip(loads)
            .all(|((row, sign), load)| {
                let (mut sum, mut slack) = (0.0, 0.0);
                for (column, entry, error) in row {
                    sum += sign * entry * v[*column];
                    slack +=
                        (error + 2.0 * (row.len() as f64 + 2.0) * UNIT * entry.abs()) * v[*column];
                }
                sum - slack * (1.0 + 4.0 * f64::EPSILON) > *load
            });
        (holds && v.iter().all(|it| *it > 0.0 && it.is_finite()))
            .then(|| v.into_iter().map(outward).collect())
    }
}

/// So near that little is gained by another way: to seven digits, where five are shown, or to a picovolt.
fn is_tight((value, bound): &(f64, f64)) -> bool {
    *bound <= (1e-7 * value.abs()).max(1e-12)
}

/// Of two ways, for each unknown the one with the smaller bound.
fn nearer(one: Bounded, other: Bounded) -> Bounded {
    let (Some(one), Some(other)) = (&one, &other) else {
        return one.or(other);
    };
    let nearer = |(a, b): (&(f64, f64), &(f64, f64))| if a.1 <= b.1 { *a } else { *b };
    let sides = one.iter().zip(other);
    Some(
        sides
            .map(|(one, other)| one.iter().zip(other).map(nearer).collect())
            .collect(),
    )
}

/// e from e ≤ f + K·e, where K's rows sum to less than 1; `None` where they don't.
fn enclose(f: &DVector<f64>, spread: &DMatrix<f64>) -> Option<Vec<f64>> {
    let sums: Vec<f64> = spread
        .row_iter()
        .map(|row| outward(row.iter().map(|it| it.abs()).sum()))
        .collect();
    let ratio = sums.iter().copied().fold(0.0, f64::max);
    if ratio.is_nan() || ratio >= 0.5 {
        return None;
    }
    let largest = f.iter().copied().fold(0.0, f64::max) / (1.0 - ratio);
    Some(
        f.iter()
            .zip(sums)
            .map(|(f, sum)| outward(f + sum * largest))
            .collect(),
    )
}

/// An estimate of max |A⁻¹|g, seldom too small by more than a factor of three: the 1-norm of (A⁻¹·diag g)ᵀ climbed along its
/// gradient. From memory: Hager 1984, Higham 1988.
fn largest_of_inverse(
    g: &[f64],
    solve: &impl Fn(&[f64]) -> Vec<f64>,
    solve_transposed: &impl Fn(&[f64]) -> Vec<f64>,
) -> f64 {
    let size = g.len();
    let norm = |x: &[f64]| x.iter().map(|it| it.abs()).sum::<f64>();
    // B = diag(g)·A⁻ᵀ; ‖B‖₁ is what is looked for.
    let forth = |x: &[f64]| {
        solve_transposed(x)
            .iter()
            .zip(g)
            .map(|(it, g)| it * g)
            .collect::<Vec<f64>>()
    };
    let back = |x: &[f64]| solve(&x.iter().zip(g).map(|(it, g)| it * g).collect::<Vec<f64>>());
    let mut x = vec![1.0 / size as f64; size];
    let mut best = 0.0f64;
    for round in 0..5 {
        let image = forth(&x);
        let found = norm(&image);
        if round > 0 && found <= best {
            break;
        }
        best = best.max(found);
        let signs: Vec<f64> = image
            .iter()
            .map(|it| if *it < 0.0 { -1.0 } else { 1.0 })
            .collect();
        let gradient = back(&signs);
        let Some((at, steepest)) = gradient
            .iter()
            .map(|it| it.abs())
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(&b.1))
        else {
            break;
        };
        let here: f64 = gradient.iter().zip(&x).map(|(a, b)| a * b).sum();
        if steepest <= here.abs() {
            break;
        }
        x = vec![0.0; size];
        x[at] = 1.0;
    }
    // A vector of alternating, growing entries catches what the climb can miss.
    let alternating: Vec<f64> = (0..size)
        .map(|at| {
            (1.0 + at as f64 / (size.max(2) - 1) as f64) * if at % 2 == 0 { 1.0 } else { -1.0 }
        })
        .collect();
    let other = 2.0 * norm(&forth(&alternating)) / (3.0 * size as f64);
    if best.is_nan() || other.is_nan() {
        f64::NAN
    } else {
        best.max(other)
    }
}
