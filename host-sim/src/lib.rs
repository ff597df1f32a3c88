//! Host side of Draught: plans and everything that is done with them before a pump gets them, and the
//! bench that runs the real core in a simulated world.
//!
//! * [`plan`]: the TOML text that a person writes, read, checked and made into a schedule.
//! * [`mod@bench`]: the simulated world, and the loop that runs the real core inside it.
//! * [`report`]: the record, the trace and the picture of a run.
//! * [`record_file`]: a pump's record as a file.
//! * [`explain`]: a block, byte by byte.
//! * [`mod@diff`]: two schedules, compared in words.
//! * [`cli`]: the commands of `draught`.

pub mod bench;
pub mod cli;
pub mod diff;
pub mod explain;
pub mod plan;
pub mod record_file;
pub mod report;
