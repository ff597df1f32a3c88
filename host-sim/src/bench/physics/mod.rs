//! A board with physics: what a pump truly draws, what its sensors say of it, and what it runs on.
//!
//! [`SimBoard`] has the ports of [`draught::port`]; a [`World`](super::World) with a section `[plant]` says what it is made of
//! ([`PlantWorld`]). `docs/world.md` has every constant and formula.

mod air;
mod battery;
mod board;
mod boot;
mod constants;
mod crystal;
mod diaphragm;
mod element;
mod fault;
mod ports;
mod sine;
mod train;

pub use air::{AirPoint, AirSeries};
pub use board::{PAGE, PAGES, SimBoard, Truth};
pub use boot::{CHECKPOINT_PAGES, Engine, boot, config};
pub use constants::{
    AirWorld, BatteryWorld, CrystalWorld, DiaphragmWorld, ElementWorld, PathWorld, PlantWorld,
    RatedWorld,
};
pub use fault::{Fault, FaultKind};
