//! A board: one of each port.

use embedded_storage::nor_flash::NorFlash;

use crate::port::{Ambient, FlowSensor, Monotonic, Motor, Panel, Supply, WallClock};

/// Everything that a pump engine needs of its surroundings.
///
/// A firmware implements it on the struct that holds its drivers; each method lends one of them.
pub trait Board {
    /// The clock that counts through every sleep.
    type Mono: Monotonic;
    /// The clock that knows the date.
    type Wall: WallClock;
    /// What draws the air.
    type Motor: Motor;
    /// What measures the flow.
    type Flow: FlowSensor;
    /// What the pump runs on.
    type Supply: Supply;
    /// What measures the outside air; [`crate::port::NoAmbient`] where nothing does.
    type Ambient: Ambient;
    /// Where schedules, checkpoints and records are kept.
    type Flash: NorFlash;
    /// Lamps and keys; [`crate::port::NoPanel`] where there are none.
    type Panel: Panel;

    /// The monotonic clock.
    fn mono(&mut self) -> &mut Self::Mono;
    /// The wall clock.
    fn wall(&mut self) -> &mut Self::Wall;
    /// The motor.
    fn motor(&mut self) -> &mut Self::Motor;
    /// The flow sensor.
    fn flow(&mut self) -> &mut Self::Flow;
    /// The supply.
    fn supply(&mut self) -> &mut Self::Supply;
    /// The sensors for the outside air.
    fn ambient(&mut self) -> &mut Self::Ambient;
    /// The flash.
    fn flash(&mut self) -> &mut Self::Flash;
    /// The panel.
    fn panel(&mut self) -> &mut Self::Panel;
}
