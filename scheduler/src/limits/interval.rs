//! The mean over 5 min against the target.

/// 40 CFR 50 App. L 7.4.3.1: flow averaged over intervals of not more than 5 min.
const INTERVAL_MS: u32 = 300_000;

/// Intervals of 5 min of pumping, one after the other; the last reading of one may go over its end by up to 5 s.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Interval {
    ms: u32,
    /// Sum of value times ms: below 2^32 · 305,000 < 2^51.
    sum: u64,
    /// The latest whole one was off.
    pub(super) was_off: bool,
}

impl Interval {
    pub(super) const NONE: Self = Self { ms: 0, sum: 0, was_off: false };

    pub(super) fn add(&mut self, value: u32, target: u32, ms: u32, warn_percent: u8) {
        self.sum = self.sum.wrapping_add(u64::from(value).wrapping_mul(ms.into()));
        self.ms = self.ms.saturating_add(ms);
        if self.ms < INTERVAL_MS {
            return;
        }
        // Compared as sums, so nothing is divided: below 2^51 · 255.
        let wanted = u64::from(target).wrapping_mul(self.ms.into());
        let off = self.sum.abs_diff(wanted).wrapping_mul(100);
        let was_off = off > wanted.wrapping_mul(warn_percent.into());
        *self = Self { was_off, ..Self::NONE };
    }
}
