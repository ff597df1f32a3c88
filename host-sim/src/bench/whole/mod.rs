//! The whole pump in a simulated world that tries to break it.
//!
//! [`Rig`] is a board: motor, train, sensor, battery, clocks and flash, behind the port traits of the core, so that the engine that
//! runs on it is the one of a firmware, byte for byte. [`Fault`]s happen to it. [`trial`] runs one schedule from arming to its end
//! and looks whether what is in the journal then is what happened; [`campaign`] runs many, each from a seed of its own.

mod board;
mod campaign;
mod faults;
mod plans;
mod trial;

pub use board::{Physics, Rig, Surroundings};
pub use campaign::{Campaign, Summary, campaign};
pub use faults::{Fault, FaultKind, faults};
pub use plans::schedule;
pub use trial::{Broken, Engine, Told, Trial, boot, trial};
