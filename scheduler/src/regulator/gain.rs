//! A factor in whole numbers.

use super::FULL_FINE;
use crate::arithmetic::divide;

/// A factor of 1/2^shift.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Gain {
    factor: u32,
    shift: u8,
}

impl Gain {
    /// Nothing more than 2^18, so that 2^31 of error times it times 2^13 ms stays in 64 bits.
    const MOST: u64 = 1 << 18;

    /// Nothing counts.
    pub(super) const NONE: Self = Self { factor: 0, shift: 0 };

    /// A quotient, to one part in 32,768 (by more than 2^46, an integral time of minutes for hundreds of L/min, to one in 32).
    /// `number` is below 2^62.
    pub(super) fn of(number: u64, by: u64) -> Self {
        let (mut number, mut shift) = (number, 0_u8);
        while number >> 62 == 0 && shift < 62 {
            number <<= 1;
            shift = shift.wrapping_add(1);
        }
        let mut factor = divide(number, by).unwrap_or(u64::MAX);
        while factor >> 16 != 0 && shift > 0 {
            factor >>= 1;
            shift = shift.wrapping_sub(1);
        }
        Self { factor: factor.min(Self::MOST) as u32, shift }
    }

    /// `error` times `ms` times this, held to twice the full duty.
    pub(super) fn times(self, error: i32, ms: u32) -> i32 {
        let product = i64::from(error).wrapping_mul(self.factor.into()).wrapping_mul(ms.into());
        let most = i64::from(FULL_FINE);
        // Not more than 62: a shift that is masked is the one that is meant.
        product.wrapping_shr(self.shift.into()).clamp(-most, most) as i32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gains_are_right_over_the_whole_range() {
        for (number, by) in [
            (1, 1),
            (655_360_000, 500_000_000),
            (655_360_000, 1 << 46),
            (655_360_000, 1 << 58),
            (1 << 40, 100),
            (0, 7),
            (3, 0),
        ] {
            let gain = Gain::of(number, by);
            let is = f64::from(gain.factor) / 2_f64.powi(gain.shift.into());
            let wanted = (number as f64 / by as f64).min(Gain::MOST as f64);
            if by > 0 && gain.factor < Gain::MOST as u32 {
                let to = if by >> 46 > 1 { 32.0 } else { 32_000.0 };
                assert!((is - wanted).abs() <= wanted / to, "{number}/{by}: {is} {wanted}");
            }
            assert!(u64::from(gain.factor) <= Gain::MOST && gain.shift < 63);
        }
    }
}
