//! Polynomials in fractions, and where their roots lie; every decision is exact.

use std::cmp::Ordering;

use syntax::Ratio;

use super::exact::sign;

/// Lowest power first, the last coefficient not zero; none at all: zero.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Polynomial(Vec<Ratio>);

/// Where a chain of signs is read.
#[derive(Clone, Copy)]
enum Point {
    LeftEnd,
    Zero,
    RightEnd,
}

impl Polynomial {
    pub fn new(mut coefficients: Vec<Ratio>) -> Polynomial {
        while coefficients.last().is_some_and(Ratio::is_zero) {
            coefficients.pop();
        }
        Polynomial(coefficients)
    }

    /// The one of least degree with these values at 1, 2, 3 … (Newton's divided differences).
    pub fn through(values: &[Ratio]) -> Polynomial {
        let mut differences = values.to_vec();
        for order in 1..values.len() {
            for at in (order..values.len()).rev() {
                differences[at] = (&differences[at] - &differences[at - 1]) / Ratio::from(order);
            }
        }
        let mut coefficients: Vec<Ratio> = Vec::new();
        for (at, difference) in differences.iter().enumerate().rev() {
            // times (x − (at + 1)), plus the next difference
            let point = Ratio::from(at + 1);
            let mut next = vec![Ratio::ZERO; coefficients.len() + 1];
            for (power, it) in coefficients.iter().enumerate() {
                next[power] -= it * &point;
                next[power + 1] += it;
            }
            next[0] += difference;
            coefficients = next;
        }
        Polynomial::new(coefficients)
    }

    pub fn is_zero(&self) -> bool {
        self.0.is_empty()
    }

    fn degree(&self) -> usize {
        self.0.len().saturating_sub(1)
    }

    /// How many roots lie to the right of the imaginary axis, and how many pairs on it (0 is counted nowhere), each as often as it is a root.
    pub fn right_and_on_axis(&self) -> (usize, usize) {
        let p = self.without_zero_roots();
        let half =
            |first: usize| Polynomial::new(p.0.iter().skip(first).step_by(2).cloned().collect());
        // p(s) = even(s²) + s·odd(s²). What both share are roots x of s², so pairs ±s: of those on the axis x is below zero.
        let (even, odd) = (half(0), half(1));
        let shared = even.gcd(&odd);
        let pairs = shared.roots_between(Point::LeftEnd, Point::Zero);
        let (even, odd) = (even.over(&shared).0, odd.over(&shared).0);
        let right = (shared.degree() - pairs) + right_of_the_rest(&even, &odd);
        (right, pairs)
    }

    /// How many roots lie above zero, each as often as it is a root.
    pub fn positive_roots(&self) -> usize {
        self.without_zero_roots()
            .roots_between(Point::Zero, Point::RightEnd)
    }

    fn without_zero_roots(&self) -> Polynomial {
        let zeros = self.0.iter().take_while(|it| it.is_zero()).count();
        Polynomial(self.0[zeros..].to_vec())
    }

    /// Real roots between two points that are none, each as often as it is a root.
    fn roots_between(&self, from: Point, to: Point) -> usize {
        let mut count = 0;
        let mut left = self.clone();
        while left.degree() > 0 {
            let slope = left.derivative();
            let chain = chain(left.clone(), slope.clone());
            count += changes(&chain, from) - changes(&chain, to);
            // What is left has every root once less.
            left = left.gcd(&slope);
        }
        count
    }

    fn derivative(&self) -> Polynomial {
        let powers = self.0.iter().enumerate().skip(1);
        Polynomial::new(powers.map(|(power, it)| it * Ratio::from(power)).collect())
    }

    fn gcd(&self, other: &Polynomial) -> Polynomial {
        let (mut a, mut b) = (self.clone(), other.clone());
        while !b.is_zero() {
            let rest = a.over(&b).1.scaled();
            (a, b) = (b, rest);
        }
        a
    }

    /// With the size of its leading coefficient divided out, so that numbers stay short; signs are kept.
    fn scaled(mut self) -> Polynomial {
        if let Some(last) = self.0.last().cloned() {
            let size = if sign(&last) < 0 { -last } else { last };
            self.0.iter_mut().for_each(|it| *it = &*it / &size);
        }
        self
    }

    /// Quotient and rest; `other` is not zero.
    fn over(&self, other: &Polynomial) -> (Polynomial, Polynomial) {
        let mut rest = self.0.clone();
        let Some(lead) = other.0.last() else {
            return (self.clone(), Polynomial(Vec::new()));
        };
        let steps = (rest.len() + 1).saturating_sub(other.0.len());
        let mut quotient = vec![Ratio::ZERO; steps];
        for at in (0..steps).rev() {
            let factor = &rest[at + other.0.len() - 1] / lead;
            for (power, it) in other.0.iter().enumerate() {
                rest[at + power] -= &factor * it;
            }
            quotient[at] = factor;
        }
        (Polynomial::new(quotient), Polynomial::new(rest))
    }

    fn sign_at(&self, point: Point) -> i8 {
        match point {
            Point::Zero => self.0.first().map_or(0, sign),
            Point::RightEnd => self.0.last().map_or(0, sign),
            Point::LeftEnd if self.degree() % 2 == 1 => -self.0.last().map_or(0, sign),
            Point::LeftEnd => self.0.last().map_or(0, sign),
        }
    }
}

/// Sturm's chain: each next one is minus the rest of the two before it.
fn chain(first: Polynomial, second: Polynomial) -> Vec<Polynomial> {
    let mut chain = vec![first, second];
    while let [.., a, b] = &chain[..]
        && !b.is_zero()
    {
        let mut rest = a.over(b).1.scaled();
        rest.0.iter_mut().for_each(|it| *it = -std::mem::take(it));
        chain.push(rest);
    }
    chain.pop();
    chain
}

fn changes(chain: &[Polynomial], point: Point) -> usize {
    let signs: Vec<i8> = chain
        .iter()
        .map(|it| it.sign_at(point))
        .filter(|it| *it != 0)
        .collect();
    signs.windows(2).filter(|it| it[0] != it[1]).count()
}

/// Roots to the right of r(s) = even(s²) + s·odd(s²), which has none on the axis. Along s = iω from end to end r turns by π for each root to the left
/// and back by π for each to the right; the Cauchy index of its imaginary over its real part (or the other way) tells how far.
fn right_of_the_rest(even: &Polynomial, odd: &Polynomial) -> usize {
    // In ω: the real part even(−ω²), the imaginary part ω·odd(−ω²).
    let spread = |half: &Polynomial, first: usize| {
        let mut all = vec![Ratio::ZERO; 2 * half.0.len() + first];
        for (power, it) in half.0.iter().enumerate() {
            all[2 * power + first] = if power % 2 == 1 {
                -it.clone()
            } else {
                it.clone()
            };
        }
        Polynomial::new(all)
    };
    let (real, imaginary) = (spread(even, 0), spread(odd, 1));
    let index = |over: &Polynomial, under: &Polynomial| {
        let chain = chain(under.clone(), over.clone());
        changes(&chain, Point::LeftEnd) as isize - changes(&chain, Point::RightEnd) as isize
    };
    let (degree, turned) = match real.degree().cmp(&imaginary.degree()) {
        Ordering::Greater => (real.degree(), -index(&imaginary, &real)),
        _ if imaginary.is_zero() => (real.degree(), 0),
        _ => (imaginary.degree(), index(&real, &imaginary)),
    };
    ((degree as isize - turned) / 2) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feedback::field::scrambled;

    fn product(factors: &[&[i64]]) -> Polynomial {
        let all = factors.iter().fold(vec![Ratio::ONE], |all, factor| {
            let mut next = vec![Ratio::ZERO; all.len() + factor.len() - 1];
            for (i, a) in all.iter().enumerate() {
                for (j, b) in factor.iter().enumerate() {
                    next[i + j] += a * Ratio::from(*b);
                }
            }
            next
        });
        Polynomial::new(all)
    }

    /// A factor (lowest power first), its roots to the right, of these the real ones, and its pairs on the axis.
    type Factor = (&'static [i64], usize, usize, usize);

    /// Products of factors whose roots are known, in every number and order: left, right, on the axis, in pairs ±s, at 0.
    #[test]
    fn roots_are_counted_where_the_factors_have_them() {
        const FACTORS: [Factor; 9] = [
            (&[2, 1], 0, 0, 0),
            (&[5, 3], 0, 0, 0),
            (&[-3, 1], 1, 1, 0),
            (&[3, 1], 0, 0, 0),
            (&[5, 2, 1], 0, 0, 0),
            (&[5, -2, 1], 2, 0, 0),
            (&[4, 0, 1], 0, 0, 1),
            (&[-1, 0, 4], 1, 1, 0),
            (&[0, 1], 0, 0, 0),
        ];
        for round in 0..3000u64 {
            let picked: Vec<_> = (0..1 + scrambled(round) % 5)
                .map(|nth| FACTORS[(scrambled(round << 8 | nth) % 9) as usize])
                .collect();
            let factors: Vec<&[i64]> = picked.iter().map(|it| it.0).collect();
            let p = product(&factors);
            let sum = |of: fn(&Factor) -> usize| picked.iter().map(of).sum::<usize>();
            let wanted = (sum(|it| it.1), sum(|it| it.3));
            assert_eq!(p.right_and_on_axis(), wanted, "{factors:?}");
            assert_eq!(p.positive_roots(), sum(|it| it.2), "{factors:?}");
        }
    }

    #[test]
    fn a_polynomial_goes_through_its_values() {
        let p = product(&[&[2, 1], &[5, -2, 1], &[-1, 0, 4]]);
        let at = |x: i64| {
            let x = Ratio::from(x);
            p.0.iter().rev().fold(Ratio::ZERO, |sum, it| sum * &x + it)
        };
        let values: Vec<Ratio> = (1..9).map(at).collect();
        assert_eq!(Polynomial::through(&values), p);
    }
}
