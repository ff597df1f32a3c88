//! Exact volume and flow statistics from readings.
//!
//! The rectangle rule: **a reading covers the interval before it**. Flow times time is summed in µL·ms/min
//! and never divided, so any split of an interval at the same flow gives the same sum.
//!
//! ```
//! use draught::{clock::MonoMs, meter::Meter};
//! let mut meter = Meter::new(MonoMs::from_ms(0));
//! for second in 1..=60 {
//!     meter.reading(MonoMs::from_ms(second * 1_000), 2_000_000); // 2 L/min
//! }
//! assert_eq!(meter.volume().as_ml(), 2_000);
//! assert_eq!(meter.mean_ul_per_min(), Some(2_000_000));
//! assert_eq!(meter.cv_per_myriad(), Some(0));
//! ```

use crate::arithmetic::{divide, square_root, wide_product};
use crate::bytes::{Put, Take};
use crate::clock::MonoMs;
use crate::units::RawVolume;

/// The longest interval that one reading may cover, in ms. A longer one is a gap.
pub const GAP_MS: u64 = 5_000;

/// Sums readings of a flow sensor.
///
/// Time at which the pump shall stand still is left out with [`Meter::idle`]. Time that no reading covers, or that would be covered by a reading more than
/// [`GAP_MS`] late, is a **gap**: it counts as time but adds no volume, and is told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Meter {
    last: MonoMs,
    gap_ms: u64,
    gaps: u32,
    sums: FlowSums,
}

/// What the readings add up to. Nothing in it was divided or rounded, so whoever has it can work out the statistics as finely as they like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FlowSums {
    /// The time that readings cover, in ms.
    pub metered_ms: u64,
    /// How many readings there were.
    pub readings: u32,
    /// The sum of flow · time.
    pub volume: RawVolume,
    /// The smallest reading, in µL/min; [`u32::MAX`] when there was none.
    pub min: u32,
    /// The largest reading, in µL/min.
    pub max: u32,
    /// The sum of flow² · time, in (µL/min)²·ms.
    pub squares: u128,
}

impl Meter {
    /// A meter that has seen nothing, from a moment on.
    #[must_use]
    pub const fn new(start: MonoMs) -> Self {
        Self { last: start, gap_ms: 0, gaps: 0, sums: FlowSums::NONE }
    }

    /// A reading: the flow, in µL/min, since the call before. A reading that covers no time counts for nothing.
    pub fn reading(&mut self, at: MonoMs, flow_ul_per_min: u32) {
        let ms = at.since(self.last);
        if ms > GAP_MS {
            return self.gap(at);
        }
        if ms == 0 {
            return;
        }
        self.last = at;
        self.sums.add(flow_ul_per_min, ms);
    }

    /// No reading could be had since the call before: time without volume.
    #[inline(never)]
    pub fn gap(&mut self, at: MonoMs) {
        let ms = at.since(self.last);
        if ms > 0 {
            self.last = at;
            self.gap_ms = self.gap_ms.saturating_add(ms);
            self.gaps = self.gaps.saturating_add(1);
        }
    }

    /// The pump stood still since the call before: this time counts for nothing.
    pub fn idle(&mut self, at: MonoMs) {
        self.last = self.last.max(at);
    }

    /// What was drawn.
    #[must_use]
    pub const fn volume(&self) -> RawVolume {
        self.sums.volume
    }

    /// All that the readings add up to.
    #[must_use]
    pub const fn sums(&self) -> &FlowSums {
        &self.sums
    }

    /// The time that readings cover, in ms.
    #[must_use]
    pub const fn metered_ms(&self) -> u64 {
        self.sums.metered_ms
    }

    /// The time that no reading covers, in ms.
    #[must_use]
    pub const fn gap_ms(&self) -> u64 {
        self.gap_ms
    }

    /// How many gaps there were.
    #[must_use]
    pub const fn gaps(&self) -> u32 {
        self.gaps
    }

    /// How many readings count.
    #[must_use]
    pub const fn readings(&self) -> u32 {
        self.sums.readings
    }

    /// The smallest reading, in µL/min.
    #[must_use]
    pub const fn min_ul_per_min(&self) -> Option<u32> {
        self.sums.min_ul_per_min()
    }

    /// The largest reading, in µL/min.
    #[must_use]
    pub const fn max_ul_per_min(&self) -> Option<u32> {
        self.sums.max_ul_per_min()
    }

    /// Volume over metered time: [`FlowSums::mean_ul_per_min`].
    #[must_use]
    pub const fn mean_ul_per_min(&self) -> Option<u32> {
        self.sums.mean_ul_per_min()
    }

    /// The coefficient of variation of the flow: [`FlowSums::cv_per_myriad`].
    #[must_use]
    pub fn cv_per_myriad(&self) -> Option<u32> {
        self.sums.cv_per_myriad()
    }

    /// How many bytes it takes in a checkpoint.
    pub(crate) const LEN: usize = 8 + 8 + 4 + FlowSums::LEN;

    /// Up to when it has metered.
    pub(crate) const fn last(&self) -> MonoMs {
        self.last
    }

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u64(self.last.as_ms());
        out.u64(self.gap_ms);
        out.u32(self.gaps);
        self.sums.put(out);
    }

    #[inline(never)]
    pub(crate) fn take(bytes: &mut Take<'_>) -> Self {
        Self {
            last: MonoMs::from_ms(bytes.u64()),
            gap_ms: bytes.u64(),
            gaps: bytes.u32(),
            sums: FlowSums::take(bytes),
        }
    }
}

impl FlowSums {
    /// Of no reading.
    pub const NONE: Self = Self {
        metered_ms: 0,
        readings: 0,
        volume: RawVolume::ZERO,
        min: u32::MAX,
        max: 0,
        squares: 0,
    };

    /// A flow, in µL/min, that stands for `ms`, 1 to [`GAP_MS`].
    fn add(&mut self, flow_ul_per_min: u32, ms: u64) {
        // Below 2^32 · 5,000 < 2^45, its square below 2^77: 2^32 readings stay below 2^109.
        let drawn = u64::from(flow_ul_per_min).wrapping_mul(ms);
        self.volume = self.volume.saturating_add(RawVolume::from_raw(drawn));
        self.squares = self.squares.wrapping_add(wide_product(drawn, flow_ul_per_min));
        self.metered_ms = self.metered_ms.saturating_add(ms);
        self.readings = self.readings.saturating_add(1);
        self.min = self.min.min(flow_ul_per_min);
        self.max = self.max.max(flow_ul_per_min);
    }

    /// The smallest reading, in µL/min.
    #[must_use]
    pub const fn min_ul_per_min(&self) -> Option<u32> {
        if self.readings == 0 { None } else { Some(self.min) }
    }

    /// The largest reading, in µL/min.
    #[must_use]
    pub const fn max_ul_per_min(&self) -> Option<u32> {
        if self.readings == 0 { None } else { Some(self.max) }
    }

    /// Volume over metered time, in µL/min, rounded to the nearest; `None` before the first reading.
    #[must_use]
    #[inline(never)]
    pub const fn mean_ul_per_min(&self) -> Option<u32> {
        let half = self.metered_ms / 2;
        match divide(self.volume.as_raw().saturating_add(half), self.metered_ms) {
            Some(mean) if mean <= u32::MAX as u64 => Some(mean as u32),
            _ => None,
        }
    }

    /// The coefficient of variation of the flow, in 0.01 %; `None` before the second reading, when the
    /// mean rounds to nothing, or after some 29 years at 10 L/min.
    ///
    /// The sample standard deviation over the mean, each reading weighted by the time it covers. For `n`
    /// readings of equal time that is the definition of 40 CFR 50 App. L 7.4.3.2. With m the mean in whole
    /// µL/min, T the time, S the sum of flow · time and Q of flow² · time, the sum of (flow - m)² · time is
    /// Q - m·(2·S - m·T); it, over T and times n / (n - 1), is the variance. Taking m whole puts the standard
    /// deviation and the mean off by at most 0.5 µL/min: less than the last digit from 5 mL/min on, but
    /// at a mean of 1 µL/min the answer is meaningless.
    #[must_use]
    pub fn cv_per_myriad(&self) -> Option<u32> {
        let beyond = u64::from(self.readings.checked_sub(1)?);
        let mean = self.mean_ul_per_min()?;
        let sum = self.volume.as_raw();
        if sum >> 63 != 0 {
            return None;
        }
        // m·T differs from S by T/2 at most, so nothing here wraps that does not come back.
        let at_mean = self.metered_ms.wrapping_mul(mean.into());
        let around = sum.wrapping_mul(2).wrapping_sub(at_mean);
        let mut spread = self.squares.wrapping_sub(wide_product(around, mean));
        // Into 60 to 62 bits, two at a time, as a square root halves them: four digits need no more.
        let (mut doublings, mut halvings) = (0_u32, 0_u32);
        while spread >> 62 != 0 {
            spread >>= 2;
            doublings = doublings.wrapping_add(1);
        }
        let mut spread = spread as u64;
        while spread >> 60 == 0 && halvings < 30 {
            spread <<= 2;
            halvings = halvings.wrapping_add(1);
        }
        let variance = divide(spread, self.metered_ms)?;
        let variance = variance.saturating_add(divide(variance, beyond)?);
        // Below 2^32 · 10,000 < 2^46: 17 doublings, a spread of 96 bits, fit.
        let deviation = u64::from(square_root(variance)).wrapping_mul(10_000) >> halvings;
        if doublings > 17 {
            return None;
        }
        let rounded = (deviation << doublings).saturating_add(u64::from(mean / 2));
        divide(rounded, mean.into()).map(|cv| cv as u32)
    }

    /// How many bytes it takes in a row and in a checkpoint.
    pub(crate) const LEN: usize = 6 + 4 + 8 + 4 + 4 + 16;

    #[inline(never)]
    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u48(self.metered_ms);
        out.u32(self.readings);
        out.u64(self.volume.as_raw());
        out.u32(self.min);
        out.u32(self.max);
        out.u128(self.squares);
    }

    #[inline(never)]
    pub(crate) fn take(bytes: &mut Take<'_>) -> Self {
        Self {
            metered_ms: bytes.u48(),
            readings: bytes.u32(),
            volume: RawVolume::from_raw(bytes.u64()),
            min: bytes.u32(),
            max: bytes.u32(),
            squares: bytes.u128(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> MonoMs {
        MonoMs::from_ms(ms)
    }

    #[test]
    fn a_split_interval_gives_the_same_sum() {
        let (mut one, mut two) = (Meter::new(at(0)), Meter::new(at(0)));
        one.reading(at(4_999), 1_234_567);
        two.reading(at(1), 1_234_567);
        two.reading(at(3_000), 1_234_567);
        two.reading(at(4_999), 1_234_567);
        assert_eq!(one.volume(), two.volume());
        assert_eq!(one.metered_ms(), two.metered_ms());
    }

    #[test]
    fn a_late_reading_is_a_gap_and_not_a_guess() {
        let mut m = Meter::new(at(0));
        m.reading(at(5_000), 1_000);
        m.reading(at(10_001), 1_000);
        assert_eq!((m.metered_ms(), m.gap_ms(), m.gaps(), m.readings()), (5_000, 5_001, 1, 1));
        m.idle(at(60_000));
        m.reading(at(61_000), 1_000);
        assert_eq!((m.metered_ms(), m.gap_ms()), (6_000, 5_001));
    }

    #[test]
    fn the_coefficient_of_variation_of_a_known_series() {
        // 9, 10, 11: mean 10, sample standard deviation 1: 10 %.
        let mut m = Meter::new(at(0));
        for (i, flow) in (1..).zip([9_000, 10_000, 11_000]) {
            m.reading(at(i * 1_000), flow);
        }
        assert_eq!(m.cv_per_myriad(), Some(1_000));
        assert_eq!(m.mean_ul_per_min(), Some(10_000));
        assert_eq!((m.min_ul_per_min(), m.max_ul_per_min()), (Some(9_000), Some(11_000)));
    }

    #[test]
    fn nothing_seen_is_nothing_said() {
        let m = Meter::new(at(0));
        assert_eq!(
            (m.mean_ul_per_min(), m.min_ul_per_min(), m.cv_per_myriad()),
            (None, None, None)
        );
    }
}
