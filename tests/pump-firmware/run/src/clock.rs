//! Counts instructions.
//!
//! Under QEMU's `-icount` every instruction takes the same time, so a timer counts them. A loop of known length
//! tells how many ticks of the timer an instruction is: nothing is assumed about the board's clock.

use core::arch::asm;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// The timer counts down from here and begins again.
const FULL: u32 = 0x00FF_FFFF;
/// Rounds of the loop of known length.
const ROUNDS: u32 = 500_000;

/// A timer that has been measured with a loop of known length.
pub struct Clock {
    timer: SYST,
    /// How many ticks [`ROUNDS`] rounds of two instructions took.
    ticks: u64,
}

impl Clock {
    /// Starts the timer and measures it.
    #[must_use]
    pub fn new(mut timer: SYST) -> Self {
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(FULL);
        timer.clear_current();
        timer.enable_counter();
        let mut clock = Self { timer, ticks: 0 };
        clock.ticks = clock.ticks_of(|| rounds(ROUNDS));
        clock
    }

    /// How many instructions some work takes.
    pub fn instructions(&mut self, work: impl FnMut()) -> u64 {
        let known = u64::from(ROUNDS) * 2;
        (self.ticks_of(work) * known + self.ticks / 2) / self.ticks
    }

    fn ticks_of(&mut self, mut work: impl FnMut()) -> u64 {
        let before = SYST::get_current();
        work();
        let after = SYST::get_current();
        u64::from(before.wrapping_sub(after) & FULL)
    }

    /// Whether the timer runs at all.
    #[must_use]
    pub fn runs(&mut self) -> bool {
        self.timer.is_counter_enabled() && self.ticks > 0
    }
}

/// A loop of two instructions a round.
fn rounds(rounds: u32) {
    // SAFETY: it changes the register it names and nothing else.
    unsafe {
        asm!("2:", "subs {0}, #1", "bne 2b", inout(reg) rounds => _, options(nomem, nostack));
    }
}
