//! The two clocks: monotonic for durations, wall for appointments.

/// An instant of the monotonic clock, in ms since any fixed moment before the event.
///
/// The clock **must** never go back, must count through every sleep, and must not wrap: extend a 16-
/// or 32-bit timer to 64 bits first. Durations are measured on it alone, so a run of 15 min is
/// 15 min of pumping whatever is done to the wall clock.
///
/// ```
/// use draught::clock::MonoMs;
/// let (a, b) = (MonoMs::from_ms(1_000), MonoMs::from_ms(61_000));
/// assert_eq!(b.since(a), 60_000);
/// assert_eq!(a.since(b), 0); // a clock that went back gives no time, not an overflow
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MonoMs(Instant);

type Instant = fugit::MonotonicInstant<u64, 1, 1_000>;

impl MonoMs {
    /// From a count of milliseconds.
    #[must_use]
    pub const fn from_ms(ms: u64) -> Self {
        Self(Instant::from_ticks(ms))
    }

    /// The count of milliseconds.
    #[must_use]
    pub const fn as_ms(self) -> u64 {
        self.0.as_ticks()
    }

    /// From a fugit instant of a millisecond timer.
    #[must_use]
    pub const fn from_fugit(instant: fugit::MonotonicInstant<u64, 1, 1_000>) -> Self {
        Self(instant)
    }

    /// As a fugit instant of a millisecond timer.
    #[must_use]
    pub const fn to_fugit(self) -> fugit::MonotonicInstant<u64, 1, 1_000> {
        self.0
    }

    /// Milliseconds from `earlier` to this; 0 if this is before it.
    #[must_use]
    #[inline(never)]
    pub const fn since(self, earlier: Self) -> u64 {
        match self.0.checked_duration_since(earlier.0) {
            Some(d) => d.as_ticks(),
            None => 0,
        }
    }

    /// This plus a number of milliseconds; stays at the last instant instead of overflowing.
    #[must_use]
    #[inline(never)]
    pub const fn plus_ms(self, ms: u64) -> Self {
        match self.0.checked_add_duration(fugit::MillisDurationU64::from_ticks(ms)) {
            Some(i) => Self(i),
            None => Self::from_ms(u64::MAX),
        }
    }

    /// This less a number of milliseconds; stays at 0 instead of going below.
    #[must_use]
    pub const fn minus_ms(self, ms: u64) -> Self {
        match self.0.checked_sub_duration(fugit::MillisDurationU64::from_ticks(ms)) {
            Some(i) => Self(i),
            None => Self::from_ms(0),
        }
    }
}

/// A trusted instant of the wall clock, in ms since 2000-01-01T00:00:00Z.
///
/// Only instants from 2020 to the end of 2135 exist as a `WallMs`: a clock that says anything else
/// has not been set, and is no clock. Eight bytes, also inside an `Option`.
///
/// ```
/// use draught::clock::WallMs;
/// assert!(WallMs::from_ms(0).is_none()); // a clock that woke up in 2000
/// assert!(WallMs::from_ms(WallMs::FIRST.as_ms()).is_some());
/// assert_eq!(size_of::<Option<WallMs>>(), 8);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WallMs(core::num::NonZeroU64);

impl WallMs {
    /// 2020-01-01T00:00:00.000Z, the first instant at which a wall clock is trusted.
    pub const FIRST: Self = Self::known(7_305 * 86_400_000);
    /// 2135-12-31T23:59:59.999Z, the last instant at which a wall clock is trusted.
    pub const LAST: Self = Self::known(49_673 * 86_400_000 - 1);

    const fn known(ms: u64) -> Self {
        match core::num::NonZeroU64::new(ms) {
            Some(v) => Self(v),
            None => Self(core::num::NonZeroU64::MIN),
        }
    }

    /// From milliseconds since 2000-01-01T00:00:00Z; `None` outside 2020 to 2135.
    #[must_use]
    #[inline(never)]
    pub const fn from_ms(ms: u64) -> Option<Self> {
        if ms >= Self::FIRST.as_ms() && ms <= Self::LAST.as_ms() {
            Some(Self::known(ms))
        } else {
            None
        }
    }

    /// Milliseconds since 2000-01-01T00:00:00Z.
    #[must_use]
    pub const fn as_ms(self) -> u64 {
        self.0.get()
    }

    /// Milliseconds from `earlier` to this; 0 if this is before it.
    #[must_use]
    #[inline(never)]
    pub const fn since(self, earlier: Self) -> u64 {
        self.as_ms().saturating_sub(earlier.as_ms())
    }

    /// This plus a number of milliseconds; `None` after 2135.
    #[must_use]
    pub const fn plus_ms(self, ms: u64) -> Option<Self> {
        match self.as_ms().checked_add(ms) {
            Some(v) => Self::from_ms(v),
            None => None,
        }
    }
}

/// What the two clocks say at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Now {
    /// The monotonic clock.
    pub mono: MonoMs,
    /// The wall clock; `None` while it cannot be trusted.
    pub wall: Option<WallMs>,
}

impl Now {
    /// Both clocks, `ms` later. The wall clock is lost after 2135.
    #[must_use]
    pub const fn plus_ms(self, ms: u64) -> Self {
        let wall = match self.wall {
            Some(w) => w.plus_ms(ms),
            None => None,
        };
        Self { mono: self.mono.plus_ms(ms), wall }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_overflows() {
        assert_eq!(MonoMs::from_ms(u64::MAX).plus_ms(1), MonoMs::from_ms(u64::MAX));
        assert_eq!(MonoMs::from_ms(3).minus_ms(4), MonoMs::from_ms(0));
        assert_eq!(WallMs::LAST.plus_ms(1), None);
        assert_eq!(WallMs::FIRST.plus_ms(u64::MAX), None);
    }
}
