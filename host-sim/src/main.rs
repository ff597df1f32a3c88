//! The `draught` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(draught_sim::cli::run_from_environment())
}
