//! A run as a picture: flow with its target above, what has been drawn below, over the site's time.

mod axes;
mod collect;
mod draw;
mod layout;
mod svg;

pub use collect::Collect;
pub use draw::{Caption, draw};
pub(super) use layout::{round_ticks, time_step};
