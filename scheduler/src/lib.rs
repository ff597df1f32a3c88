//! The schedule engine of an air-sampling pump.
//!
//! `no_std`, no allocation, no `unsafe`, no floating point, no panic. It does no I/O: it takes time and
//! readings as arguments and returns what the motor shall do and when to be called next.
//!
//! Bottom-up:
//!
//! * [`units`], [`clock`], [`calendar`]: quantities with units in their names, the two clocks, civil dates.
//! * [`step`], [`table`]: one row of a schedule, and the fixed-capacity table of them.
//! * [`audit`]: the rules every table keeps, and the rules that fit it to a pump.
//! * [`wire`]: the table as compact canonical bytes, strictly read.
//! * [`machine`]: the state machine. [`forecast`]: what it will do, found by running it.
//! * [`meter`]: exact volume and flow statistics.
//! * [`port`]: what is needed of a board. [`regulator`], [`limits`]: how the motor is driven, and when it must stop.
//! * `adapt`, with the feature `embedded-hal`: ports on the traits of `embedded-hal` 1.0.
//! * [`journal`]: checkpoints, records and schedules on NOR flash, safe against a cut at any instant.
//!
//! What every step means is written in `docs/steps.md`; the bytes in `docs/encoding.md`.

#![no_std]

#[cfg(test)]
extern crate std;

#[cfg(feature = "embedded-hal")]
pub mod adapt;
pub mod audit;
pub mod calendar;
pub mod clock;
pub mod event;
pub mod forecast;
pub mod journal;
pub mod limits;
pub mod machine;
pub mod meter;
pub mod port;
pub mod pump;
pub mod record;
pub mod regulator;
pub mod step;
pub mod table;
pub mod units;
pub mod wire;

mod arithmetic;
mod bytes;
mod quantity;
mod repeats;
mod waits;

/// The names most programs need.
pub mod prelude {
    pub use crate::audit::Fit;
    pub use crate::calendar::{Civil, Date, TimeOfDay, UtcOffset, Weekday, Weekdays};
    pub use crate::clock::{MonoMs, Now, WallMs};
    pub use crate::event::{EndReason, Event};
    pub use crate::forecast::{Forecast, Span, What};
    pub use crate::machine::{Advance, Command, Demand, EventId, Input, Machine, Wake};
    pub use crate::meter::Meter;
    pub use crate::step::{Cycle, Passes, Sampler, Step, StepNo, Then};
    pub use crate::table::{Settings, StepTable, TableRef};
    pub use crate::units::{DurationMs, Flow, Pressure, RawVolume, Target, TargetKind, Volume};
    pub use crate::wire::{ScheduleId, decode_into, encode};
}
