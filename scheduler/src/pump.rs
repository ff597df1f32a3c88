//! The whole pump: what a firmware owns and polls.
//!
//! [`Pump`] has a [`Board`] with all its ports, the schedule, the state machine, the regulator, the limits, the sums of the sample and
//! the journal. A firmware boots it, loads and arms a schedule, and then does nothing but
//!
//! ```text
//! loop {
//!     let wake = pump.poll();
//!     sleep_until(wake);       // or until a key or the supply wakes the board
//! }
//! ```
//!
//! # What a poll does, in this order
//!
//! 1. Reads the clocks and the supply.
//! 2. While the pump runs: reads flow and air, and adds the time since the poll before to the sample.
//! 3. Looks at the keys.
//! 4. Judges the limits; one that tripped is told to the machine.
//! 5. Calls the machine until it has nothing more to do at this instant.
//! 6. If the motor shall stop, stops it. Then writes a checkpoint and rows, if anything happened. Then, if it
//!    shall run, drives it. So a pump that stops does not run on while flash is written, and a pump that starts has a checkpoint
//!    that says so.
//! 7. Says when to be polled next.
//!
//! # What survives
//!
//! Everything is in the newest checkpoint: what the machine holds, the sums of the sample, and the record so far. It is the one
//! place in which a change takes effect: a row of the record is first part of a checkpoint, then written; at
//! boot, a row that the checkpoint holds and the journal does not is written again, and one that both hold is not. So no
//! row is lost and none is there twice, wherever power is cut. What was pumped after the newest checkpoint is lost, at most one
//! checkpoint interval a cut; the record says so ([`Flags::TIME_UNACCOUNTED`](crate::record::Flags::TIME_UNACCOUNTED)).

mod arm;
mod board;
mod boot;
mod happen;
mod keep;
mod keys;
mod poll;
mod state;

pub use self::arm::{LoadRefused, StartRefused};
pub use self::board::Board;
pub use self::boot::Booted;
pub use self::keep::{CHECKPOINT_LEN, CHECKPOINT_STRIDE, ROW_STRIDE, Regions};
pub use self::state::{Config, Pump, Status};
