//! From readings to an answer: the arithmetic of a hygienist, as pure functions.
//!
//! Numbers are `f64` with the unit in the name (`volume_l`, `mass_mg`, `flow_l_per_min`,
//! `concentration_mg_m3`). A number that cannot be (negative, infinite, none, a volume of zero) gives a
//! [`Problem`] that says what is wrong, the limit and what to do; nothing panics, and no result is NaN or
//! infinite. What is below a limit of detection stays "below" ([`Amount`]) and never becomes 0. Formulas
//! name their [`Source`] and how it was come by. `docs/hygiene.md` has them all, with worked examples.
//!
//! Follow the method, the accredited laboratory, the site's hygienist and the local code: these functions
//! do arithmetic, not judgement.
//!
//! ```
//! use draught_sim::hygiene::{Amount, concentration, volume};
//!
//! // 0.412 mg in 2.0 L/min x 240 min.
//! let volume_l = volume::mean_flow_time_l(2.0, 240.0)?;
//! let found = concentration::concentration_mg_m3(Amount::Found(0.412), volume_l)?;
//! assert_eq!(found.text(3, "mg/m3")?, "0.858 mg/m3");
//! # Ok::<(), draught_sim::hygiene::Problem>(())
//! ```

pub mod air;
pub mod amount;
pub mod budgets;
pub mod calendar;
pub mod completeness;
pub mod concentration;
pub mod confidence;
mod error;
pub mod exposure;
pub mod fibres;
mod kinds;
pub mod mixture;
pub mod parse;
mod peak;
pub mod period;
pub mod ppm;
mod quarter;
pub mod round;
pub mod source;
pub mod student;
pub mod uncertainty;
pub mod verify;
pub mod volume;

pub use amount::Amount;
pub use error::{Problem, at_least, strictly_over};
pub use source::Source;
