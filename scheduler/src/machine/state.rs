//! What the machine is doing.

#[cfg(doc)]
use super::Deadline;
use crate::clock::{MonoMs, Now, WallMs};
use crate::event::EndReason;
use crate::units::{RawVolume, Target};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    Idle,
    /// About to enter the step at this index.
    Entering {
        index: u8,
    },
    /// In the group of waits from `first` to `last`.
    Waiting {
        first: u8,
        last: u8,
        at: WallMs,
    },
    /// In a stretch of pumping, from `begin`, with `drawn` metered until then. When the step ends is the deadline.
    Pumping {
        index: u8,
        retries: u8,
        target: Target,
        begin: Now,
        drawn: RawVolume,
    },
    /// Between two stretches of one step, pump off: after a trip or an outage.
    Paused {
        index: u8,
        retries: u8,
        /// When the step ends if it pumps again in time ...
        end: MonoMs,
        /// ... and from when on every ms that it does not moves that; the last instant of the clock if nothing does.
        moves_from: MonoMs,
        /// The metered total at which it ends, as in a [`Deadline`].
        full: RawVolume,
    },
    Holding {
        index: u8,
    },
    /// The event is over, and this is still to be reported.
    Ending(EndReason),
    Ended(EndReason),
}
