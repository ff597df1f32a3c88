//! The two clocks of the simulated pump.
//!
//! The monotonic clock keeps the time of this world. The wall clock was right when the schedule was armed,
//! and from then on gains or loses against it.

use draught::clock::{MonoMs, Now, WallMs};

const BILLION: i128 = 1_000_000_000;

/// The clocks, from arming on.
#[derive(Clone, Copy, Debug)]
pub struct Clocks {
    armed: Now,
    gain_ppb: i64,
}

impl Clocks {
    /// Both clocks at arming, and what the wall clock gains in parts per billion (negative: it loses).
    #[must_use]
    pub const fn new(armed: Now, gain_ppb: i64) -> Self {
        Self { armed, gain_ppb }
    }

    /// Both clocks at an instant of the monotonic one.
    #[must_use]
    pub fn at(&self, mono: MonoMs) -> Now {
        Now { mono, wall: self.armed.wall.and_then(|w| w.plus_ms(self.wall_ms(mono))) }
    }

    /// The first instant of the monotonic clock at which the wall clock shows `wall` or later; `None`
    /// if it never will.
    #[must_use]
    pub fn when_wall_is(&self, wall: WallMs) -> Option<MonoMs> {
        let wanted = i128::from(wall.since(self.armed.wall?));
        let rate = BILLION + i128::from(self.gain_ppb);
        // The smallest time whose scaled value, rounded down, is not below what is wanted.
        let ms = (wanted * BILLION + rate - 1) / rate;
        Some(self.armed.mono.plus_ms(u64::try_from(ms).ok()?))
    }

    fn wall_ms(&self, mono: MonoMs) -> u64 {
        let gone = i128::from(mono.since(self.armed.mono));
        let shown = gone + (gone * i128::from(self.gain_ppb)).div_euclid(BILLION);
        u64::try_from(shown).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wall_clock_is_met_at_its_first_millisecond() {
        for ppb in [0, 1, -1, 23_000, -23_000, 500_000, -500_000, 123_456_789] {
            let start = WallMs::FIRST.plus_ms(86_400_000).unwrap();
            let armed = Now { mono: MonoMs::from_ms(77), wall: Some(start) };
            let clocks = Clocks::new(armed, ppb);
            assert_eq!(clocks.at(armed.mono), armed);
            for ms in [0, 1, 2, 999, 1_000, 86_400_000, 31 * 86_400_000, 3_000_000_000_001] {
                let wall = start.plus_ms(ms).unwrap();
                let mono = clocks.when_wall_is(wall).unwrap();
                assert!(clocks.at(mono).wall.unwrap() >= wall, "{ppb} {ms}");
                if mono > armed.mono {
                    assert!(clocks.at(mono.minus_ms(1)).wall.unwrap() < wall, "{ppb} {ms}");
                }
            }
        }
    }

    #[test]
    fn a_minute_a_month_is_23_ppm() {
        let armed = Now { mono: MonoMs::from_ms(0), wall: Some(WallMs::FIRST) };
        let month = 30 * 86_400_000;
        let wall = Clocks::new(armed, 23_148).at(MonoMs::from_ms(month)).wall.unwrap();
        assert_eq!(wall.since(WallMs::FIRST) - month, 59_999);
    }
}
