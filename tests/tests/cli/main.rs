//! The command line as its users meet it: snapshots of real output, schemas, round trips, bad input.

mod campaign;
mod compute;
mod diff;
mod documents;
mod event;
mod harness;
mod machine_readable;
mod methods;
mod properties;
mod propose;
mod refused_blocks;
mod report;
mod screens;
mod simulate;
mod whole_pump;
