//! The whole pump in worlds that try to break it.
//!
//! A pump runs in a world near one of the named ones ([`drawn`]), on the board of [`super::physics`], so that the engine is the one of a
//! firmware, byte for byte. [`Fault`]s happen to it. [`trial`] runs random schedules from arming to their ends, looks after every
//! poll whether a [`Promise`] is broken, and at each end whether the journal holds what happened; [`campaign`] runs many, each from a
//! seed of its own.

mod account;
mod arming;
mod board;
mod broken;
mod calm;
mod campaign;
mod faults;
mod ledger;
mod plans;
mod rules;
mod shrink;
mod trial;
mod watch;
mod worlds;

pub use broken::{Broken, Promise};
pub use campaign::{Campaign, Summary, campaign};
pub use faults::{Ask, Fault, FaultKind, faults};
pub use plans::{Asks, schedule};
pub use shrink::{pick, picks};
pub use trial::{Engine, Told, Trial, trial};
pub use worlds::{Drawn, drawn};
