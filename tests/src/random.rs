//! Random numbers for histories: the same seed gives the same ones on every machine.

/// SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators, 2014).
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// Begins at a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below a bound, 0 for the bound 0. The bias is below 2⁻³² for the bounds that tests use.
    pub const fn below(&mut self, bound: u64) -> u64 {
        match self.next().checked_rem(bound) {
            Some(number) => number,
            None => 0,
        }
    }

    /// True once in so many times.
    pub const fn once_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }

    /// One of these.
    ///
    /// # Panics
    /// When there is none.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u64) as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_numbers_are_always_the_same() {
        // The first outputs for seed 0 as published with the algorithm's reference code.
        let mut random = Random::new(0);
        assert_eq!(random.next(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(random.next(), 0x6e78_9e6a_a1b9_65f4);
    }
}
