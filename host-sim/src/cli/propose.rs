//! `draught propose`: a flow and a time that satisfy a method, or why there are none.

use super::io::{Failure, Io};
use super::library::MethodsArgs;
use super::{propose_json, propose_plan, propose_text, propose_wish};
use crate::propose::{Answer, Proposal, Wish};

/// Propose a flow and a time that satisfy a method, or say why there are none.
///
/// What is given by hand takes the place of the method's own value. Without a method, at least a flow is needed: --flow or
/// --pump.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught propose --method nmam-0600/nylon --expect \"0.8 mg/m3\" --limit \"5 mg/m3\" --time \"8 h\"
  draught propose --flow \"1 L/min\" \"2 L/min\" --volume \"7 L\" \"133 L\" --loq \"0.1 mg\" --expect \"2 mg/m3\"
  draught propose --method nmam-7400/shift --fibres \"0.1 f/cc\" --pump \"1 L/min\" \"4 L/min\"
  draught propose --method nmam-0500 --expect \"3 mg/m3\" --start \"2027-03-08 07:30\" --zone Europe/Oslo -o plan.toml

Exit code 1 if it is impossible; then it says what collides and what would make it possible.
Follow the method, the accredited laboratory, the site's hygienist and local code.")]
pub struct Args {
    /// The method, and its variant where it has some: nmam-0600/nylon. draught methods lists them.
    #[arg(long, value_name = "ID")]
    pub(super) method: Option<String>,
    #[command(flatten)]
    pub(super) library: MethodsArgs,
    /// The flow that the method takes: one, or the least and the most.
    #[arg(long, value_name = "FLOW", num_args = 1..=2)]
    pub(super) flow: Vec<String>,
    /// The volume that a sample must have, least and most.
    #[arg(long, value_name = "VOLUME", num_args = 2)]
    pub(super) volume: Vec<String>,
    /// The least mass that the laboratory quantifies.
    #[arg(long, value_name = "MASS")]
    pub(super) loq: Option<String>,
    /// The most mass that a sample may collect.
    #[arg(long, value_name = "MASS")]
    pub(super) mass_at_most: Option<String>,
    /// The concentration that is expected: "0.8 mg/m3".
    #[arg(long, value_name = "CONC")]
    pub(super) expect: Option<String>,
    /// The limit that it is compared with: "5 mg/m3".
    #[arg(long, value_name = "CONC")]
    pub(super) limit: Option<String>,
    /// Dust in the air, for filters that take only so much. What is expected, where that is dust; else the world's.
    #[arg(long, value_name = "CONC")]
    pub(super) dust: Option<String>,
    /// The time there is: "8 h". What the method asks for, or else 8 h, unless given.
    #[arg(long, value_name = "DURATION", conflicts_with_all = ["from", "until"])]
    pub(super) time: Option<String>,
    /// The time of day from which on there is time: "07:00".
    #[arg(long, value_name = "TIME", requires = "until")]
    pub(super) from: Option<String>,
    /// Until when: "15:30". One before --from is that of the next day.
    #[arg(long, value_name = "TIME", requires = "from")]
    pub(super) until: Option<String>,
    /// One sample of exactly this time, with the least volume all the same: "15 min".
    #[arg(long, value_name = "DURATION", conflicts_with = "time")]
    pub(super) short_term: Option<String>,
    /// What the pump keeps, least and most.
    #[arg(long, value_name = "FLOW", num_args = 2)]
    pub(super) pump: Vec<String>,
    /// A simulated world with a [plant], by its name or from a file: how long its battery and its filter last, and its pump's flows.
    #[arg(long, value_name = "FILE|NAME")]
    pub(super) world: Option<String>,
    /// Fibres are counted at this level: "0.1 f/cc". NMAM 7400 takes one half of the current standard.
    #[arg(long, value_name = "CONC")]
    pub(super) fibres: Option<String>,
    /// The filter's collecting area; the method's, or 385 mm2, unless given.
    #[arg(long, value_name = "AREA", requires = "fibres")]
    pub(super) area: Option<String>,
    /// Fibres on the filter, least and most; the method's, or 100 to 1300 f/mm2, unless given.
    #[arg(long, value_name = "DENSITY", num_args = 2, requires = "fibres")]
    pub(super) density: Vec<String>,
    /// At most so many samples, one after the other.
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=200))]
    pub(super) samples: u32,
    /// What it takes to change the sampler between two samples: "2 min", unless given.
    #[arg(long, value_name = "DURATION")]
    pub(super) change: Option<String>,
    /// When the plan starts: "2027-03-08 07:30", or a date with --from; by hand, unless given.
    #[arg(long, value_name = "TIME", requires = "output")]
    pub(super) start: Option<String>,
    /// The site's zone, such as Europe/Oslo.
    #[arg(long, value_name = "ZONE", requires = "output")]
    pub(super) zone: Option<String>,
    /// The plan's name.
    #[arg(long, value_name = "NAME", requires = "output")]
    pub(super) name: Option<String>,
    /// Write a plan that passes check. A file that exists is not overwritten; - for standard output.
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<String>,
    /// The answer as JSON (docs/schema/propose.json).
    #[arg(long)]
    json: bool,
}

/// One way of using the method, with what came of it.
pub(super) struct Tried {
    /// The method's name with its variant; empty where all is given by hand.
    pub id: String,
    /// Its title, and what the variant is.
    pub title: String,
    /// The file that it comes from, unless it comes with the program.
    pub file: Option<String>,
    pub wish: Wish,
    pub answer: Answer,
    /// What was taken without being asked for, and what is not checked.
    pub remarks: Vec<String>,
    /// How long battery and filter last at the proposed flow, in min, and how that was come by.
    pub lasts: Option<Lasts>,
}

/// Battery and filter of a world.
pub(super) struct Lasts {
    pub battery_min: f64,
    pub filter_min: f64,
    pub how: String,
}

impl Tried {
    pub fn proposal(&self) -> Option<&Proposal> {
        match &self.answer {
            Answer::Possible(proposal) => Some(proposal),
            Answer::Impossible(_) => None,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when it is impossible; wrong use when something is not understood.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let library = args.library.library(io)?;
    let tried = propose_wish::tried(args, &library, io)?;
    // The one that covers most of the time, in the fewest samples; the earlier of two that are alike.
    let best = tried.iter().enumerate().filter_map(|(i, t)| Some((i, t.proposal()?))).min_by_key(
        |(i, p)| {
            let left = (tried[*i].wish.time_min - p.total_min).max(0.0) * 60.0;
            (!p.covers_all, if p.covers_all { 0 } else { left.round() as u64 }, p.samples, *i)
        },
    );
    let chosen = best.map(|(i, _)| i);
    let plan = match (&args.output, best) {
        (Some(_), Some((i, proposal))) => Some(propose_plan::plan(args, &tried[i], proposal, io)?),
        _ => None,
    };
    if args.json {
        propose_json::write(&tried, chosen, io)?;
    } else if args.output.as_deref() != Some("-") || plan.is_none() {
        let paint = super::paint::Paint(io.colour_out);
        write!(io.out, "{}", propose_text::text(&tried, chosen, paint))?;
    }
    match (&plan, &args.output) {
        (Some(text), Some(path)) => propose_plan::write(text, path, args.json, io)?,
        (None, Some(path)) => writeln!(io.err, "{path} is not written: there is nothing to plan.")?,
        _ => {}
    }
    if chosen.is_some() { Ok(()) } else { Err(Failure::Data) }
}
