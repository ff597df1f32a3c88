//! A run as a picture: flow with its target above, what has been drawn below, over the site's time. Of a whole pump also the pressure
//! drop and the battery, and everything that happened to it.

mod axes;
mod collect;
mod draw;
mod layout;
mod marks;
mod panels;
mod svg;
mod whole;

pub use collect::Collect;
pub use draw::{Caption, draw};
pub(super) use layout::{round_ticks, time_step};
