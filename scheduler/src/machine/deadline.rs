//! The moment before which nothing can change.

use super::{Input, Wake};
use crate::clock::{MonoMs, WallMs};
use crate::units::RawVolume;

/// It has come as soon as one of its three parts has: a call before it changes nothing and gets it as its wake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Deadline {
    /// [`NO_MONO`] for none.
    pub(crate) mono: MonoMs,
    pub(crate) wall: Option<WallMs>,
    /// [`NO_VOLUME`] for none.
    pub(crate) drawn: RawVolume,
}

// No clock and no meter gets there; without an `Option` a machine is 16 bytes smaller.
const NO_MONO: MonoMs = MonoMs::from_ms(u64::MAX);
const NO_VOLUME: RawVolume = RawVolume::from_raw(u64::MAX);

impl Deadline {
    pub(crate) const NEVER: Self = Self { mono: NO_MONO, wall: None, drawn: NO_VOLUME };
    pub(crate) const NOW: Self = Self::mono(MonoMs::from_ms(0));

    pub(crate) const fn mono(mono: MonoMs) -> Self {
        Self { mono, ..Self::NEVER }
    }

    pub(crate) const fn wall(wall: WallMs) -> Self {
        Self { wall: Some(wall), ..Self::NEVER }
    }

    pub(crate) fn has_come(&self, input: &Input) -> bool {
        (input.now.mono >= self.mono && self.mono != NO_MONO)
            || self.wall_has_come(input)
            || (input.drawn >= self.drawn && self.drawn != NO_VOLUME)
    }

    pub(crate) fn wall_has_come(&self, input: &Input) -> bool {
        matches!((input.now.wall, self.wall), (Some(wall), Some(at)) if wall >= at)
    }

    /// The volume at which it comes, if there is one.
    pub(crate) fn volume(&self) -> Option<RawVolume> {
        (self.drawn != NO_VOLUME).then_some(self.drawn)
    }

    pub(crate) fn wake(&self) -> Wake {
        Wake::At {
            mono: (self.mono != NO_MONO).then_some(self.mono),
            wall: self.wall,
            drawn: self.volume(),
        }
    }
}
