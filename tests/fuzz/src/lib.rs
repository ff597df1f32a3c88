//! What the fuzz targets hold: each module takes any bytes as one input and panics where the project
//! breaks a promise. How to run them, and what was run: `docs/testing.md`.
#![forbid(unsafe_code)]

pub mod arm;
pub mod block;
pub mod counts;
pub mod mutate;
#[path = "../../src/oracle.rs"]
pub mod oracle;
pub mod plan;
