//! Where a schedule would be had nothing gone wrong, on both clocks.

use crate::clock::{MonoMs, Now, WallMs};

/// See `docs/decisions/0004-the-line-on-two-clocks.md`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Due {
    pub(super) mono: MonoMs,
    /// `None` when the schedule was armed without a trusted wall clock, or has run past 2135.
    pub(super) wall: Option<WallMs>,
}

impl Due {
    /// The line moves on by a planned time.
    #[inline(never)]
    pub(super) fn move_on(&mut self, ms: u64) {
        self.mono = self.mono.plus_ms(ms);
        self.wall = self.wall.and_then(|w| w.plus_ms(ms));
    }

    /// The line moves to a wall instant that has come.
    #[inline(never)]
    pub(super) fn move_to(&mut self, instant: WallMs, wall: WallMs, mono: MonoMs) {
        self.mono = mono.minus_ms(wall.since(instant));
        self.wall = Some(instant);
    }

    /// The line moves to this moment.
    #[inline(never)]
    pub(super) fn move_here(&mut self, now: Now) {
        self.move_on(now.mono.since(self.mono));
        self.mono = now.mono;
        self.wall = now.wall.or(self.wall);
    }
}
