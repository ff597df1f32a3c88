//! What the machine reports: at most one [`Event`] a call.
//!
//! ```
//! use draught::event::{Event, Pumped};
//!
//! /// What a record keeps of a stretch of pumping: its step, its length in ms, its volume in mL.
//! fn row(event: &Event) -> Option<(u8, u64, u64)> {
//!     match event {
//!         Event::PumpingEnded(p) => Some((p.step.get(), p.pumped_ms(), p.volume.as_ml())),
//!         _ => None,
//!     }
//! }
//! # let _ = row;
//! ```

use crate::clock::{Now, WallMs};
use crate::step::{Sampler, StepNo};
use crate::units::{RawVolume, Target};

/// Which pass of each enclosing repeat, outermost first, from 1; 0 where there is no repeat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PassCount(pub [u16; 4]);

impl PassCount {
    /// The pass of the innermost repeat, from 1; `None` outside every repeat.
    #[must_use]
    pub fn innermost(&self) -> Option<u16> {
        self.0.iter().rev().find(|p| **p != 0).copied()
    }
}

/// One thing that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Event {
    /// A group of waits was entered and its appointment resolved.
    AppointmentSet {
        /// The first wait of the group.
        first: StepNo,
        /// The last wait of the group.
        step: StepNo,
        /// The scheduled start.
        at: WallMs,
    },
    /// An appointment was met.
    AppointmentMet {
        /// The last wait of the group.
        step: StepNo,
        /// The scheduled start.
        at: WallMs,
        /// How much later than scheduled.
        late_ms: u64,
    },
    /// An appointment was missed: met too late, or there is no such instant.
    AppointmentMissed {
        /// The first wait of the group.
        first: StepNo,
        /// The last wait of the group.
        step: StepNo,
        /// The scheduled start; `None` when no instant satisfies the waits.
        at: Option<WallMs>,
    },
    /// The pump was started: at the begin of a step, or again in the same step after a pause or an outage.
    PumpingBegan {
        /// The pumping step.
        step: StepNo,
        /// Which pass of it.
        passes: PassCount,
        /// The sample it belongs to, from 1.
        sample: u32,
        /// What the pump keeps constant.
        target: Target,
    },
    /// The pump was stopped.
    PumpingEnded(Pumped),
    /// A run-until was passed over, or a run-for that an outage made late.
    RunLost {
        /// The step.
        step: StepNo,
        /// Why.
        cause: LostCause,
    },
    /// A hold began.
    HoldBegan {
        /// The hold.
        step: StepNo,
    },
    /// A hold ended.
    HoldEnded {
        /// The hold.
        step: StepNo,
        /// How.
        by: HoldEnd,
    },
    /// A repeat went back for another pass.
    PassedOn {
        /// The repeat.
        step: StepNo,
        /// How many passes are behind it.
        done: u16,
        /// Which sampler the next pass draws through.
        sampler: Sampler,
    },
    /// A repeat has had all its passes.
    RepeatDone {
        /// The repeat.
        step: StepNo,
    },
    /// A pass was skipped: no new sampler had been confirmed.
    PassSkipped {
        /// The pumping step that did not begin.
        step: StepNo,
    },
    /// The event is over.
    Ended(EndReason),
}

/// One stretch of pumping, as it happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pumped {
    /// The pumping step.
    pub step: StepNo,
    /// Which pass of it.
    pub passes: PassCount,
    /// The sample it belongs to, from 1.
    pub sample: u32,
    /// When the pump was started.
    pub begin: Now,
    /// When it was stopped.
    pub end: Now,
    /// What was drawn.
    pub volume: RawVolume,
    /// What ended it.
    pub by: PumpEnd,
    /// How much longer than asked the pump ran, because the call came late.
    pub overrun_ms: u64,
}

impl Pumped {
    /// How long the pump ran, by the monotonic clock.
    #[must_use]
    pub const fn pumped_ms(&self) -> u64 {
        self.end.mono.since(self.begin.mono)
    }
}

/// What ended a stretch of pumping.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PumpEnd {
    /// Its time: the duration of a run-for, the time of day of a run-until.
    Time,
    /// Its volume.
    Volume,
    /// Its "at most": a draw-volume that came out short, a run-until that lost the wall clock.
    Limit,
    /// The operator.
    Stopped,
    /// A limit tripped. The step may go on in another stretch.
    Tripped(Limit),
    /// The supply failed: the stretch ends where the checkpoint was written. The step may go on in another stretch.
    Outage,
}

/// What tripped: judged by the pump, not by the schedule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Limit {
    /// Too little flow.
    FlowLow,
    /// Too much flow.
    FlowHigh,
    /// Too much pressure across the sampling train.
    Pressure,
    /// A supply too weak to go on pumping.
    Supply,
    /// A flow sensor or a motor that fails.
    Sensor,
}

impl Limit {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::FlowLow, Self::FlowHigh, Self::Pressure, Self::Supply, Self::Sensor];

    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::FlowLow => "flow-low",
            Self::FlowHigh => "flow-high",
            Self::Pressure => "pressure",
            Self::Supply => "supply",
            Self::Sensor => "sensor",
        }
    }
}

/// How a hold ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum HoldEnd {
    /// Its time was over.
    RanOut,
    /// The operator resumed it.
    Resumed,
}

/// Why a run was passed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LostCause {
    /// Its time of day lies further off than its "at most".
    TooFar,
    /// Its time of day, or the time of a run-for that an outage made late, is already over.
    Past,
}

/// Why an event ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum EndReason {
    /// It reached finish.
    Finished,
    /// An appointment outside every repeat was missed.
    Missed,
    /// The first run would have been due after `start-by`.
    StartByPassed,
    /// A hold that closes the event was not resumed.
    HoldRanOut,
    /// The operator stopped it.
    Stopped(StopReason),
    /// It was taken out of force.
    Disarmed,
    /// It was called with a table that is not the one it was armed with.
    WrongTable,
    /// A limit tripped, and the fault rule or the lack of a repeat ended the event.
    Fault(Limit),
    /// An outage while a pumping step was under way that the outage rule does not go on after, or a longer one than it allows.
    Outage,
    /// After an outage nobody could tell how long it was, and the schedule cannot go on without.
    ClockLost,
}

/// Why the operator stopped an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StopReason {
    /// By the operator's choice.
    Operator,
    /// By the host over the link.
    Host,
    /// The firmware found a fault that the core does not know.
    Fault,
    /// The supply fails again and again: the firmware gives up.
    Supply,
}
