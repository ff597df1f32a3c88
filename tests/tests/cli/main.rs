//! The command line as its users meet it: snapshots of real output, schemas, round trips, bad input.

mod campaign;
mod diff;
mod documents;
mod harness;
mod machine_readable;
mod properties;
mod refused_blocks;
mod screens;
mod simulate;
mod whole_pump;
