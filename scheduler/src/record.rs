//! What happened: the rows that a pump keeps of an event.
//!
//! An event has one [`EventRow`], a [`SampleRow`] for each sampler, and a [`SpanRow`] for each stretch of pumping. They hold what was,
//! not what was asked: starts and stops come from the clock, volumes from the meter, and lateness, outages, tripped limits
//! and steps of the clock stand in them. The model for completeness is Table L-1 of 40 CFR 50 App. L; `docs/standards.md` says where
//! each of its rows is found here.
//!
//! Rows are fixed layouts that fill one slot of the journal each. Their bytes are our own and not a format for others: a host
//! reads them over the link.

mod air;
pub(crate) mod codes;
mod event_row;
mod flags;
mod log;
mod rows;
mod tally;

pub use self::air::{STANDARD_MK, STANDARD_PA};
pub use self::event_row::{EventRow, Origin};
pub use self::flags::Flags;
pub use self::log::{Counts, Log};
pub use self::rows::{
    INTERRUPTION_MS, INTERRUPTIONS_KEPT, ROW_LEN, RowBytes, RowKind, SampleRow, SpanRow,
};
pub use self::tally::{Extremes, INTERVAL_MS, Spread, Tally};
