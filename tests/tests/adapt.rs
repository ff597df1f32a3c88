//! Adapters from embedded-hal to the ports: every byte on the bus, every failure of it, and what is computed from it against rationals.

#[path = "adapt/board.rs"]
mod board;
#[path = "adapt/flow.rs"]
mod flow;
#[path = "adapt/motor.rs"]
mod motor;
#[path = "adapt/rtc.rs"]
mod rtc;
#[path = "adapt/sensor.rs"]
mod sensor;
#[path = "adapt/supply.rs"]
mod supply;
#[path = "adapt/ticks.rs"]
mod ticks;
