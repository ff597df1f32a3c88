//! Tasks for contributors: `cargo xtask help`.

mod bench;
mod browser;
mod ci;
mod conformance;
mod device;
mod fuzz;
mod performance;
mod readme;
mod shell;
mod stages;

use std::process::ExitCode;

const HELP: &str = "\
Tasks for contributors

Usage: cargo xtask <TASK> [--help]

Tasks:
  ci           everything a change must pass: format, lints, tests, docs, device, the README's own commands
  conformance  every implementation of the encoding is asked the same questions; what the CRC lets through
  device       build, link, measure and run the core for Cortex-M; compare with the budgets
  fuzz         coverage-guided fuzzing of the block reader, the plan reader and the state machine
  browser      report pages in Chromium: layout, accessibility, numbers, print
  bench        instruction counts, encoded sizes and speed as ratios, for docs/performance.md
  help         this text

Exit codes: 0 fine, 1 a check failed, 2 wrong use";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (task, rest) = match arguments.split_first() {
        Some((task, rest)) => (task.as_str(), rest),
        None => ("help", &[][..]),
    };
    let (help, run): (&str, fn(&[String]) -> shell::Outcome) = match task {
        "ci" => (ci::HELP, ci::run),
        "device" => (device::HELP, device::run),
        "conformance" => (conformance::HELP, conformance::run),
        "fuzz" => (fuzz::HELP, fuzz::run),
        "browser" => (browser::HELP, browser::run),
        "bench" => (bench::HELP, bench::run),
        "help" | "--help" | "-h" => return say(HELP, 0),
        other => return complain(&format!("there is no task `{other}`"), HELP),
    };
    if rest.iter().any(|a| a == "--help" || a == "-h") {
        return say(help, 0);
    }
    match run(rest) {
        Ok(()) => ExitCode::SUCCESS,
        Err(shell::Failure::Use(what)) => complain(&what, help),
        Err(shell::Failure::Check(what)) => {
            eprintln!("error: {what}");
            ExitCode::FAILURE
        }
    }
}

fn say(text: &str, code: u8) -> ExitCode {
    println!("{text}");
    ExitCode::from(code)
}

fn complain(what: &str, help: &str) -> ExitCode {
    eprintln!("error: {what}\n\n{help}");
    ExitCode::from(2)
}
