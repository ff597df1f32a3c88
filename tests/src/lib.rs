//! What crosses a crate: see `tests/`.

pub mod compare;
pub mod crc_strength;
pub mod drive;
pub mod event_cases;
pub mod oracle;
pub mod plans;
pub mod power;
pub mod random;
pub mod reference;
pub mod report_cases;
pub mod rig;
pub mod schema;
pub mod strategies;
pub mod terminal;
pub mod vectors;

pub use draught_sim::bench::nor;
