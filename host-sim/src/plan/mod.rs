//! A plan: the TOML text that a person writes, read with the place of every key and value.

pub mod finding;
pub mod format;
pub mod method_checks;
pub mod outlook;
pub mod quantity;
pub mod read;
pub mod read_steps;
pub mod ready;
pub mod render;
pub mod site;
pub mod source;
pub mod when;
pub mod write;

mod armed_rules;
mod checks;
mod decimal;
pub(crate) mod fields;
mod keys;
mod method_compare;
mod outlook_checks;
mod quantity_units;
mod shortly_before;
pub(crate) mod syntax;
mod table_rules;
pub(crate) mod words;

pub use ready::{ArmedAt, Loaded, Ready, load, load_with, table};
pub use shortly_before::shortly_before;

/// How many steps a schedule made on the host may have: as many as a block can hold. What a pump can
/// hold, its maker says.
pub const CAPACITY: usize = draught::wire::STEPS_MAX;
