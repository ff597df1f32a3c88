//! Whole pumps in the worlds of `docs/examples/worlds`: what they truly draw, against the bars of `docs/world.md`.

mod against;
mod faults;
mod hold;
mod physics;
mod run;
mod start;
