//! What a call of the machine brings, and what it gives back.

use crate::clock::{MonoMs, Now, WallMs};
use crate::event::Event;
use crate::units::{RawVolume, Target};

/// What a call brings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Input {
    /// Both clocks.
    pub now: Now,
    /// Everything metered up to now. It counts only as differences within one pumping step: it must not go down
    /// from the begin of a step to its end, pauses and outages included, and may start again from zero between two. It must not come to the end of its
    /// range: 58 years of pumping at 10 L/min, 106 days at 2,000 L/min.
    pub drawn: RawVolume,
}

/// What the motor shall do until the next call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Demand {
    /// Stand still.
    Off,
    /// Keep this constant.
    Pump(Target),
}

/// When the next call is due. Calling earlier is harmless; later is caught up with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Wake {
    /// At once: a transition was made, and there may be more.
    Again,
    /// When the first of those set is reached.
    At {
        /// An instant of the monotonic clock.
        mono: Option<MonoMs>,
        /// An instant of the wall clock. [`WallMs::FIRST`] means: as soon as it can be trusted.
        wall: Option<WallMs>,
        /// A metered volume since arming.
        drawn: Option<RawVolume>,
    },
}

impl Wake {
    /// Nothing will ever change without a command.
    pub const NEVER: Self = Self::At { mono: None, wall: None, drawn: None };
}

/// The answer to a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Advance {
    /// What the motor shall do until the next call.
    pub demand: Demand,
    /// When that is due.
    pub wake: Wake,
    /// What happened.
    pub event: Option<Event>,
}

/// The number of an event: one arming to its end. The caller keeps it unique.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EventId(pub u32);
