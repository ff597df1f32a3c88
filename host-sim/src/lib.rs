//! Host side of Draught: plans and everything that is done with them before a pump gets them, and the
//! bench that runs the real core in a simulated world.
//!
//! * [`plan`]: the TOML text that a person writes, read, checked and made into a schedule.
//! * [`mod@bench`]: the simulated world, and the loop that runs the real core inside it.
//! * [`report`]: the record, the trace and the picture of a run.
//! * [`record_file`]: a pump's record as a file.
//! * [`results`]: from records and what people filled in to the answer.
//! * [`event`]: the folder of an event, and what people fill in.
//! * [`words`]: words for how events and stretches end, and for limits.
//! * [`explain`]: a block, byte by byte.
//! * [`hygiene`]: from readings and laboratory figures to volume, concentration, exposure and their uncertainty.
//! * [`mod@diff`]: two schedules, compared in words.
//! * [`methods`]: what published methods ask of a sample, each value with its source.
//! * [`propose`]: a flow and a time that satisfy a method.
//! * [`cli`]: the commands of `draught`.

pub mod bench;
pub mod cli;
pub mod diff;
pub mod event;
pub mod explain;
pub mod hygiene;
pub mod methods;
pub mod plan;
pub mod propose;
pub mod record_file;
pub mod report;
pub mod results;
pub mod words;
