//! Small dense matrices over any field: rank, determinant, null vectors, solving. Plain elimination in fixed order of
//! columns, so that null vectors have small support and the same input gives the same answer.

use syntax::Ratio;

/// What elimination needs of numbers.
pub trait Field: Clone {
    /// 0.
    fn zero() -> Self;
    /// 1.
    fn one() -> Self;
    /// Whether it is 0.
    fn is_zero(&self) -> bool;
    /// Sum.
    fn plus(&self, other: &Self) -> Self;
    /// Difference.
    fn minus(&self, other: &Self) -> Self;
    /// Product.
    fn times(&self, other: &Self) -> Self;
    /// What times this is 1; `None` of 0.
    fn inverted(&self) -> Option<Self>;
}

impl Field for Ratio {
    fn zero() -> Self {
        Ratio::ZERO
    }
    fn one() -> Self {
        Ratio::ONE
    }
    fn is_zero(&self) -> bool {
        self.is_zero()
    }
    fn plus(&self, other: &Self) -> Self {
        self + other
    }
    fn minus(&self, other: &Self) -> Self {
        self - other
    }
    fn times(&self, other: &Self) -> Self {
        self * other
    }
    fn inverted(&self) -> Option<Self> {
        (!self.is_zero()).then(|| Ratio::ONE / self)
    }
}

/// The determinant of a square matrix; 1 of an empty one.
pub fn determinant<F: Field>(matrix: &[Vec<F>]) -> F {
    let reduced = Reduced::new(matrix.to_vec(), matrix.len());
    if reduced.pivots.len() == matrix.len() {
        reduced.factor
    } else {
        F::zero()
    }
}

/// How many rows are independent.
pub fn rank<F: Field>(matrix: &[Vec<F>]) -> usize {
    Reduced::new(matrix.to_vec(), columns(matrix)).pivots.len()
}

/// A basis of the vectors x with A·x = 0: one for each column without pivot, which is 1 there and 0 at the other such columns.
pub fn null_vectors<F: Field>(matrix: &[Vec<F>]) -> Vec<Vec<F>> {
    let columns = columns(matrix);
    let reduced = Reduced::new(matrix.to_vec(), columns);
    let free = (0..columns).filter(|column| !reduced.pivots.contains(column));
    free.map(|free| {
        let mut vector = vec![F::zero(); columns];
        vector[free] = F::one();
        for (row, &pivot) in reduced.pivots.iter().enumerate() {
            vector[pivot] = F::zero().minus(&reduced.rows[row][free]);
        }
        vector
    })
    .collect()
}

/// The first of [`null_vectors`].
pub fn null_vector<F: Field>(matrix: &[Vec<F>]) -> Option<Vec<F>> {
    null_vectors(matrix).into_iter().next()
}

/// Rows and columns exchanged: its null vectors are the left ones.
pub fn transposed<F: Field>(matrix: &[Vec<F>]) -> Vec<Vec<F>> {
    (0..columns(matrix))
        .map(|column| matrix.iter().map(|row| row[column].clone()).collect())
        .collect()
}

/// The one x with A·x = b of a square A; `None` where A is singular.
pub fn solve<F: Field>(matrix: &[Vec<F>], right: &[F]) -> Option<Vec<F>> {
    let size = matrix.len();
    let wide = matrix
        .iter()
        .zip(right)
        .map(|(row, right)| row.iter().chain([right]).cloned().collect())
        .collect();
    let reduced = Reduced::new(wide, size);
    (reduced.pivots.len() == size)
        .then(|| reduced.rows.iter().map(|row| row[size].clone()).collect())
}

fn columns<F>(matrix: &[Vec<F>]) -> usize {
    matrix.first().map_or(0, Vec::len)
}

/// The reduced row echelon form.
struct Reduced<F> {
    /// Row k has its leading 1 at `pivots[k]`; rows beyond are 0 in the columns that were reduced.
    rows: Vec<Vec<F>>,
    /// Rising.
    pivots: Vec<usize>,
    /// Product of what the pivots were, with the sign of the exchanges: the determinant, where every column has a pivot.
    factor: F,
}

impl<F: Field> Reduced<F> {
    fn new(mut rows: Vec<Vec<F>>, columns: usize) -> Reduced<F> {
        let mut pivots = Vec::new();
        let mut factor = F::one();
        for column in 0..columns {
            let at = pivots.len();
            let Some(found) = (at..rows.len()).find(|&row| !rows[row][column].is_zero()) else {
                continue;
            };
            if found != at {
                rows.swap(found, at);
                factor = F::zero().minus(&factor);
            }
            factor = factor.times(&rows[at][column]);
            let Some(inverse) = rows[at][column].inverted() else {
                continue;
            };
            for entry in &mut rows[at][column..] {
                *entry = entry.times(&inverse);
            }
            let pivot = rows[at].clone();
            for (row, entries) in rows.iter_mut().enumerate() {
                if row != at && !entries[column].is_zero() {
                    let times = entries[column].clone();
                    for (entry, pivot) in entries[column..].iter_mut().zip(&pivot[column..]) {
                        if !pivot.is_zero() {
                            *entry = entry.minus(&times.times(pivot));
                        }
                    }
                }
            }
            pivots.push(column);
        }
        Reduced {
            rows,
            pivots,
            factor,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::modular::Modular;
    use super::*;

    fn matrix(rows: &[&[i64]]) -> Vec<Vec<Ratio>> {
        rows.iter()
            .map(|row| row.iter().map(|&it| Ratio::from(it)).collect())
            .collect()
    }

    #[test]
    fn known_matrices() {
        let regular = matrix(&[&[0, 2, 1], &[3, 0, -1], &[1, 1, 4]]);
        assert_eq!(determinant(&regular), Ratio::from(-23));
        assert_eq!(rank(&regular), 3);
        assert_eq!(null_vector(&regular), None);
        assert_eq!(
            solve(&regular, &matrix(&[&[4, 2, 9]])[0]),
            Some(
                matrix(&[&[28, 27, 38]])[0]
                    .iter()
                    .map(|it| it / Ratio::from(23))
                    .collect()
            )
        );
        let deficient = matrix(&[&[1, 2, 3], &[2, 4, 6], &[1, 0, 1]]);
        assert_eq!(determinant(&deficient), Ratio::ZERO);
        assert_eq!(null_vectors(&deficient), matrix(&[&[-1, -1, 1]]));
        assert_eq!(
            null_vectors(&transposed(&deficient)),
            matrix(&[&[-2, 1, 0]])
        );
        assert_eq!(determinant::<Ratio>(&[]), Ratio::ONE);
    }

    proptest::proptest! {
        #[test]
        fn fractions_and_remainders_agree(entries in proptest::collection::vec(-3i64..4, 16)) {
            let rows: Vec<Vec<Ratio>> = entries.chunks(4).map(|row| row.iter().map(|&it| Ratio::from(it)).collect()).collect();
            let remainders: Vec<Vec<Modular>> = rows.iter().map(|row| row.iter().map(|it| Modular::of(it).unwrap()).collect()).collect();
            proptest::prop_assert_eq!(Modular::of(&determinant(&rows)), Some(determinant(&remainders)));
            proptest::prop_assert_eq!(rank(&rows), rank(&remainders));
            proptest::prop_assert_eq!(rank(&rows) + null_vectors(&rows).len(), 4);
            for vector in null_vectors(&rows) {
                for row in &rows {
                    let sum = row.iter().zip(&vector).fold(Ratio::ZERO, |sum, (a, x)| sum + a * x);
                    proptest::prop_assert!(sum.is_zero());
                }
            }
        }
    }
}
