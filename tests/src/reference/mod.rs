//! The independent reference: what `docs/steps.md` says, written a second time in another style.
//!
//! It shares nothing with the core but the page. The core is a flat state machine in saturating
//! integers that is asked and answers; this is a program that *runs the plan*: the step table becomes
//! a tree, a repeat is a loop, a missed appointment is an early return that the innermost loop
//! catches, and where the plan has to wait the interpreter pulls the next moment out of a
//! [`World`](world::World). Times are exact `i128` milliseconds, volumes exact fractions of a mL, civil dates come
//! from jiff and are searched day by day.
//!
//! * [`plan`]: the tree, read from a `draught` table at this edge only.
//! * [`civil`]: instants and civil dates.
//! * [`world`]: moments from a script, or from perfect clocks.
//! * [`run`]: the interpreter.
//! * [`arming`]: whether a plan may be armed.
//! * [`log`]: what happened, and the core's events put in the same words.
//! * [`integral`]: a metered volume, as the sum of rectangles it is.

pub mod arming;
pub mod civil;
pub mod integral;
pub mod log;
pub mod plan;
pub mod run;
pub mod world;

/// Milliseconds: durations, instants of the monotonic clock, and wall instants since 2000-01-01T00:00Z.
pub type Ms = i128;

/// A volume of air in mL, exact.
pub type Ml = num_rational::Ratio<i128>;

/// The first wall instant that is trusted: 2020-01-01T00:00:00Z.
pub const WALL_FIRST: Ms = 631_152_000_000;
/// The last wall instant that is trusted: 2135-12-31T23:59:59.999Z.
pub const WALL_LAST: Ms = 4_291_747_199_999;

/// A metered volume, exact.
#[must_use]
pub fn ml_of_raw(raw: u64) -> Ml {
    // One mL/min for one minute is 1,000 µL/min times 60,000 ms.
    Ml::new(raw.into(), 1_000 * 60_000)
}

#[cfg(test)]
mod tests;
