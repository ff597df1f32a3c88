//! `draught campaign`: many whole pumps in worlds that try to break them.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::io::{Failure, Io};
use super::table::{Side, Table};
use crate::bench::whole::{
    Campaign, FaultKind, Promise, Summary, Trial, campaign, pick, picks, trial,
};
use crate::plan::format;
use crate::report::fault_words;
use crate::words;

/// Run whole simulated pumps through random schedules, worlds and faults, and look whether their records hold what happened.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught campaign
  draught campaign --runs 10000 --seed 1
  draught campaign --seed 4711 --faults 0,3

The whole engine runs: journal, regulator, limits and recovery as in a firmware. Each run is made from
its seed alone. A run that fails is run again with as few faults as it takes, and the line that
repeats it is printed.

Exit code 1 if a pump broke a promise.")]
pub struct Args {
    /// How many pumps.
    #[arg(long, value_name = "N", default_value_t = 1_000)]
    runs: u64,
    /// The seed of the first; each has the next one. A new one, unless given.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// How many at once; as many as the computer has processors, unless given.
    #[arg(long, value_name = "N")]
    threads: Option<usize>,
    /// Repeat one run, with only these of its faults: their numbers, from 0, with commas; "none" for none. 3@5000/200 is the one
    /// with number 3 after 5000 ms and for 200 ms.
    #[arg(long, value_name = "LIST", requires = "seed", conflicts_with = "runs")]
    faults: Option<String>,
    /// The same as JSON (docs/schema/campaign.json).
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when a pump broke a promise; wrong use.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let seed = args.seed.unwrap_or_else(|| io.now.as_ms() / 1_000);
    if let Some(list) = &args.faults {
        return repeat(seed, list, io);
    }
    let threads = args.threads.unwrap_or_else(|| {
        std::thread::available_parallelism().map_or(1, std::num::NonZeroUsize::get)
    });
    let of = Campaign { runs: args.runs, seed, threads };
    let bar = bar(io.watched, args.runs);
    let begun = Instant::now();
    let summary = campaign(of, |done| {
        if begun.elapsed() > Duration::from_secs(1) {
            bar.set_position(done);
        }
    });
    bar.finish_and_clear();
    if args.json {
        serde_json::to_writer_pretty(&mut *io.out, &json(of, &summary))
            .map_err(std::io::Error::from)?;
        writeln!(io.out)?;
    } else {
        io.out.write_all(text(of, &summary).as_bytes())?;
    }
    match summary.failed {
        Some(_) => Err(Failure::Data),
        None => Ok(()),
    }
}

fn bar(shown: bool, runs: u64) -> ProgressBar {
    if !shown {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("[{bar:32}] {pos} of {len} pumps  {eta} left");
    let target = ProgressDrawTarget::stderr_with_hz(10);
    let bar = ProgressBar::with_draw_target(Some(runs), target);
    bar.with_style(style.unwrap_or(ProgressStyle::default_bar()))
}

/// One run again, with some of its faults.
fn repeat(seed: u64, list: &str, io: &mut Io<'_>) -> Result<(), Failure> {
    let Some(one) = pick(seed, list) else {
        let all = Trial::new(seed).faults.len();
        return Err(Failure::Usage(
            format!("`{list}` is not a list of this run's faults"),
            format!("it has {}, numbered from 0", format::count(all, "fault")),
        ));
    };
    let drawn = one.drawn_world();
    writeln!(
        io.out,
        "SIMULATED   seed {seed}, a world like {}, checkpoints every {}",
        drawn.world.name,
        seconds(one.checkpoint_ms)
    )?;
    for fault in &one.faults {
        let at = seconds_at(fault.at_ms);
        writeln!(io.out, "{:>3}{at:>13}  {}", fault.number, fault_words::done(&fault.kind))?;
    }
    match trial(&one) {
        Ok(told) => {
            let ends: Vec<&str> = told.ends.iter().map(|end| words::ended(*end)).collect();
            writeln!(io.out, "\nkept every promise; events ended: {}", ends.join(", "))?;
            Ok(())
        }
        Err(broken) => {
            writeln!(io.out, "broken: {broken}")?;
            Err(Failure::Data)
        }
    }
}

fn seconds(ms: u32) -> String {
    format::duration(ms.into())
}

fn seconds_at(ms: u64) -> String {
    format!("{}.{:03} s", ms / 1_000, ms % 1_000)
}

fn text(of: Campaign, summary: &Summary) -> String {
    let mut out = format!(
        "SIMULATED   {} whole pumps, seeds {} to {}\n\n",
        format::grouped(summary.runs),
        of.seed,
        of.seed.wrapping_add(of.runs.saturating_sub(1))
    );
    let mut table = Table::new(&[Side::Left, Side::Right]);
    table.row(["what was done to them", ""]);
    for name in FaultKind::names() {
        let count = summary.faults.get(name).copied().unwrap_or(0);
        table.row([name.to_owned(), format::grouped(count)]);
    }
    table.row(["in all".to_owned(), format::grouped(summary.faults_in_all())]);
    table.row(["", ""]);
    table.row(["how their events ended", ""]);
    let mut ends: Vec<_> = summary.ends.iter().collect();
    ends.sort_by_key(|(name, count)| (std::cmp::Reverse(**count), **name));
    for (name, count) in ends {
        table.row([(*name).to_owned(), format::grouped(*count)]);
    }
    table.row(["", ""]);
    table.row(["what came of it", ""]);
    for (name, count) in [
        ("events that ended for a reason", summary.events),
        ("events that rot took", summary.rotten),
        ("pumps to which nothing happened", summary.calm),
        ("boots after a cut", summary.cuts),
        ("events resumed", summary.resumes),
        ("limits tripped", summary.trips),
        ("rows in the journals", summary.rows),
    ] {
        table.row([name.to_owned(), format::grouped(count)]);
    }
    let hours = summary.pumped_ms / 3_600_000;
    table.row(["hours of pumping".to_owned(), format::grouped(hours)]);
    let lost = format!("{}.{} s", summary.lost_a_cut_ms / 1_000, summary.lost_a_cut_ms / 100 % 10);
    table.row(["most pumping in no record, a cut".to_owned(), lost]);
    let off = format!("{:.2} %", summary.off * 100.0);
    table.row(["metered against true volume, at most".to_owned(), off]);
    let of_budget = format!("{:.0} %", summary.of_budget * 100.0);
    table.row(["the same, of its error budget".to_owned(), of_budget]);
    table.row(["", ""]);
    table.row(["promises broken", ""]);
    for promise in Promise::ALL {
        let count = summary.broken.get(&promise).copied().unwrap_or(0);
        table.row([promise.name().to_owned(), format::grouped(count)]);
    }
    out.push_str(&table.render());
    if let Some((failing, broken)) = &summary.failed {
        out.push_str(&format!("\nbroken: {broken}\nto repeat it: {}\n", repeat_line(failing)));
    }
    out
}

/// The line that runs a trial again.
fn repeat_line(failing: &Trial) -> String {
    format!("draught campaign --seed {} --faults {}", failing.seed, picks(failing))
}

fn counts<'a>(of: impl Iterator<Item = (&'a str, u64)>) -> serde_json::Value {
    of.map(|(what, count)| serde_json::json!({ "what": what, "count": count })).collect()
}

fn json(of: Campaign, summary: &Summary) -> serde_json::Value {
    serde_json::json!({
        "simulated": true,
        "seed": of.seed,
        "runs": summary.runs,
        "faults": counts(summary.faults.iter().map(|(what, count)| (*what, *count))),
        "ends": counts(summary.ends.iter().map(|(what, count)| (*what, *count))),
        "events": summary.events,
        "events_rotten": summary.rotten,
        "undisturbed": summary.calm,
        "boots_after_a_cut": summary.cuts,
        "resumes": summary.resumes,
        "limits_tripped": summary.trips,
        "rows": summary.rows,
        "polls": summary.polls,
        "pumped_ms": summary.pumped_ms,
        "most_lost_a_cut_ms": summary.lost_a_cut_ms,
        "most_off_true_volume": summary.off,
        "most_of_error_budget": summary.of_budget,
        "promises_broken": counts(summary.broken.iter().map(|(what, count)| (what.name(), *count))),
        "broken": summary.failed.as_ref().map(|(failing, broken)| serde_json::json!({
            "what": broken.what,
            "at_ms": broken.at_ms,
            "repeat": repeat_line(failing),
        })),
    })
}
