//! Chance with a seed: the same seed gives the same world on every computer.
//!
//! Only sums, products, quotients and square roots are used, which IEEE 754 rounds the same way
//! everywhere; `exp` and `ln` of the platform's library may differ in the last bit, and one such bit would change
//! a trace. Each part of the world draws from a stream of its own, so that a new part changes none
//! of the others.

/// A stream of random numbers: `SplitMix64`, as published by Steele, Lea and Flood, "Fast
/// splittable pseudorandom number generators", OOPSLA 2014.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stream(u64);

/// 2^64 over the golden ratio, made odd.
const GAMMA: u64 = 0x9e37_79b9_7f4a_7c15;

impl Stream {
    /// The stream of one part of the world.
    #[must_use]
    pub fn new(seed: u64, part: &str) -> Self {
        let named = part.bytes().fold(Self(seed), |s, byte| Self(s.0 ^ mix(u64::from(byte) + s.0)));
        Self(mix(named.0))
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GAMMA);
        mix(self.0)
    }

    /// A number with mean 0 and standard deviation 1, close to normal: the sum of twelve
    /// uniform ones. Never beyond 6.
    pub fn normal(&mut self) -> f64 {
        let mut sum = 0;
        for _ in 0..3 {
            let bits = self.bits();
            sum += (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
        }
        // Twelve times 0 to 65,535: the mean is 6 · 65,535, the standard deviation of one is 65,536 / √12.
        (sum as f64 - 6.0 * 65_535.0) / 65_536.0
    }
}

const fn mix(value: u64) -> u64 {
    let value = value.wrapping_add(GAMMA);
    let value = (value ^ value >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let value = (value ^ value >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    value ^ value >> 31
}

/// e to the power of -x, for x from 0 on, to about 14 digits.
#[must_use]
pub fn exp_minus(x: f64) -> f64 {
    if x > 40.0 {
        return 0.0;
    }
    // A small argument for the series, then squared back: e^-x = (e^(-x/256))^256.
    let small = -x / 256.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for n in 1..12 {
        term *= small / f64::from(n);
        sum += term;
    }
    for _ in 0..8 {
        sum *= sum;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_gives_one_stream_and_each_part_its_own() {
        let numbers = |seed, part| {
            let mut s = Stream::new(seed, part);
            [s.bits(), s.bits(), s.bits()]
        };
        assert_eq!(numbers(7, "sensor"), numbers(7, "sensor"));
        assert_ne!(numbers(7, "sensor"), numbers(8, "sensor"));
        assert_ne!(numbers(7, "sensor"), numbers(7, "pump"));
    }

    #[test]
    fn normal_numbers_are_close_to_normal() {
        let mut s = Stream::new(1, "test");
        let n = 200_000;
        let numbers: Vec<f64> = (0..n).map(|_| s.normal()).collect();
        let mean = numbers.iter().sum::<f64>() / f64::from(n);
        let variance = numbers.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((variance - 1.0).abs() < 0.02, "{variance}");
        let beyond_two = numbers.iter().filter(|x| x.abs() > 2.0).count();
        // 4.55 % of a normal distribution lie beyond two standard deviations.
        assert!((8_000..10_000).contains(&beyond_two), "{beyond_two}");
    }

    #[test]
    fn the_exponential_is_right() {
        for i in 0..4_000 {
            let x = f64::from(i) * 0.01;
            let (ours, theirs) = (exp_minus(x), (-x).exp());
            assert!((ours - theirs).abs() <= theirs * 1e-12, "{x}: {ours} {theirs}");
        }
        assert_eq!(exp_minus(0.0), 1.0);
    }
}
