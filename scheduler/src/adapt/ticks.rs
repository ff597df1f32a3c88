//! A counter that wraps, as a clock that does not.

use core::num::NonZeroU32;

use crate::arithmetic::divide;
use crate::clock::MonoMs;
use crate::port::Monotonic;

/// A 32-bit counter of ticks, extended to 64 bits of milliseconds.
///
/// It **must** be asked at least once in half a wrap of the counter: [`longest_sleep_ms`](Self::longest_sleep_ms). A board that sleeps
/// longer wakes once in between. Half, since a counter that seems to have gone more than half a wrap on has gone back: a reading
/// torn between two halves, or one taken out of order. Such a reading adds no time, so the clock never goes back.
///
/// The counter **must** go on while the board sleeps and wrap at 2^32; one of fewer bits is first extended by its overflow
/// interrupt. No time is lost in rounding, however odd the rate: what is left of a millisecond is carried on.
///
/// ```
/// use core::num::NonZeroU32;
/// use draught::adapt::TickClock;
/// use draught::port::Monotonic;
///
/// let mut counts = [u32::MAX - 9, 22_758, 55_526].into_iter();
/// let count = || counts.next().unwrap_or(0);
/// let mut clock = TickClock::new(count, NonZeroU32::new(32_768).unwrap());
/// let (a, b) = (clock.now(), clock.now());
/// assert_eq!(a.as_ms(), 694); // 22,768 ticks across the wrap
/// assert_eq!(b.since(a), 1_000);
/// assert_eq!(clock.longest_sleep_ms(), 65_535_999); // 18 h
/// ```
#[derive(Clone, Copy, Debug)]
pub struct TickClock<F> {
    count: F,
    hz: NonZeroU32,
    last: u32,
    ms: u64,
    /// Ticks times 1,000 that do not make a ms yet; less than `hz`.
    rest: u64,
}

impl<F: FnMut() -> u32> TickClock<F> {
    /// A counter and how many of its ticks are a second. It counts from now on.
    pub fn new(mut count: F, hz: NonZeroU32) -> Self {
        let last = count();
        Self { count, hz, last, ms: 0, rest: 0 }
    }

    /// How long may pass between two calls, in ms.
    #[must_use]
    pub const fn longest_sleep_ms(&self) -> u64 {
        let half_wrap = (i32::MAX as u64).wrapping_mul(1_000);
        match divide(half_wrap, self.hz.get() as u64) {
            Some(ms) => ms,
            None => 0,
        }
    }
}

impl<F: FnMut() -> u32> Monotonic for TickClock<F> {
    fn now(&mut self) -> MonoMs {
        let count = (self.count)();
        let ticks = count.wrapping_sub(self.last);
        if ticks <= i32::MAX.cast_unsigned() {
            self.last = count;
            // Less than 2^31 times 1,000, and 2^32.
            let thousandths = u64::from(ticks).wrapping_mul(1_000).wrapping_add(self.rest);
            let hz = u64::from(self.hz.get());
            if let Some(ms) = divide(thousandths, hz) {
                self.rest = thousandths.wrapping_sub(ms.wrapping_mul(hz));
                self.ms = self.ms.saturating_add(ms);
            }
        }
        MonoMs::from_ms(self.ms)
    }
}
