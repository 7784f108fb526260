//! Repeatable chance: a failure names its seed, and `AMPERSUM_SEED` runs it again.

/// A stream of numbers that its seed alone decides.
#[derive(Clone)]
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Splitmix64 (constants from memory).
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `limit`.
    pub fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit as u64) as usize
    }

    /// A number from `low` to `high`, both included.
    pub fn between(&mut self, low: usize, high: usize) -> usize {
        low + self.below(high - low + 1)
    }

    /// True `percent` times in a hundred.
    pub fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    pub fn pick<'a, T>(&mut self, items: &'a [T]) -> &'a T {
        &items[self.below(items.len())]
    }

    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}

/// The seed of a test: its own, unless `AMPERSUM_SEED` says another. Cargo shows it where the test fails.
pub fn seed(own: u64) -> u64 {
    let seed = match std::env::var("AMPERSUM_SEED") {
        Ok(text) => text
            .parse()
            .expect("AMPERSUM_SEED should be a whole number"),
        Err(_) => own,
    };
    println!("seed: AMPERSUM_SEED={seed}");
    seed
}
