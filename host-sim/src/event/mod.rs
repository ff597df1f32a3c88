//! An event folder: what belongs together, and what people fill in.
//!
//! ```text
//! oven-line-2027-03-08/
//!   plan.toml              the plan
//!   schedule.dra           the block that the pumps got
//!   field.toml             what people fill in
//!   records/<pump>.json    what the pumps recorded
//! ```
//!
//! `docs/event-folder.md` has every key of `field.toml`.

mod amounts;
mod contradicting_figures;
mod contradictions;
mod field;
pub mod folder;
mod head;
pub mod missing;
pub mod new;

mod read;
mod sampler;
pub mod sheet;

pub use field::{
    Custody, Event, Field, FlowFrom, FlowReadings, Group, HandOver, InShift, Kind, Lab, LimitValue,
    Sampler, Stated, Verification, VolumeFrom, Worker,
};
pub use folder::{Folder, Record};
pub use read::read;
pub(crate) use sampler::meter_word;
