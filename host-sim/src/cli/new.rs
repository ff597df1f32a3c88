//! `draught new`: a first plan in a minute.

use draught::calendar::{Civil, Date, TimeOfDay, Weekdays};
use draught::units::{Flow, Quantity};

use super::io::{Failure, Io};
use super::new_text::{self, Wish};
use super::written_plan;
use crate::plan::source::Source;
use crate::plan::{self, ArmedAt, format, quantity, site, when};

/// Write a first plan, with comments, ready to check and to change.
///
/// Everything has a default; the zone is this computer's, unless given.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught new shift --start \"2027-03-08 07:30\" --run \"8 h\" -o first.toml
  draught new short --run \"15 min\" --flow \"1.0 L/min\"
  draught new day --zone America/Denver --start 2027-03-08
  draught new cycle --every 6 --passes 15 --start 2027-03-08
  draught new week --start \"2027-03-08 08:00\" --run \"8 h\"
  draught new volume --volume \"240 L\" --flow \"2.0 L/min\"")]
pub struct Args {
    /// What for.
    #[arg(value_enum, value_name = "KIND")]
    kind: Kind,
    /// What the pump keeps constant.
    #[arg(long, value_name = "FLOW")]
    flow: Option<String>,
    /// When the pump first starts: "2027-03-08 07:30", or a date alone.
    #[arg(long, value_name = "TIME")]
    start: Option<String>,
    /// How long it pumps: a shift, a short sample, each day of a week.
    #[arg(long, value_name = "DURATION")]
    run: Option<String>,
    /// A break in the middle of a shift: the pump is off until someone resumes it, at most this long.
    #[arg(long, value_name = "DURATION")]
    hold: Option<String>,
    /// The volume to draw.
    #[arg(long, value_name = "VOLUME")]
    volume: Option<String>,
    /// Every how many days.
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u16).range(1..=366))]
    every: Option<u16>,
    /// How many times in all.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(2..))]
    passes: Option<u16>,
    /// The site's zone, such as Europe/Oslo.
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
    /// The plan's name.
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Where the plan goes; standard output, unless given. A file that exists is not overwritten.
    #[arg(short, long, value_name = "FILE")]
    output: Option<String>,
}

/// What a first plan may be for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Kind {
    /// A worn pump over one shift, around a break if --hold is given.
    Shift,
    /// One short sample, started by hand or at a time.
    Short,
    /// 24 hours outdoors, midnight to midnight in standard time.
    Day,
    /// 24 hours outdoors, one day in so many.
    Cycle,
    /// The same hours Monday to Friday.
    Week,
    /// A fixed volume.
    Volume,
}

/// Runs the command.
///
/// # Errors
/// Wrong use: a value that is not understood, a file that exists.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let wish = wish(args, io)?;
    let text = new_text::plan(&wish);
    // Whatever was asked for, what is written can be used: it goes through the reader itself.
    let loaded = plan::load(Source::new("the new plan", text.clone()), ArmedAt::Now(io.now));
    written_plan::can_be_armed(&loaded, "what was asked for", "--start, --run or --flow", io)?;
    let Some(path) = args.output.as_deref().filter(|p| *p != "-") else {
        io.out.write_all(text.as_bytes())?;
        return Ok(());
    };
    written_plan::to_new_file(&text, path, io.out)
}

fn wish(args: &Args, io: &Io<'_>) -> Result<Wish, Failure> {
    let zone = zone(args.zone.as_deref(), io)?;
    let ambient = matches!(args.kind, Kind::Day | Kind::Cycle);
    let flow = flow(args, if ambient { "16.67 L/min" } else { "2.0 L/min" })?;
    let run = match args.kind {
        Kind::Short => duration("--run", args.run.as_deref().unwrap_or("15 min"))?,
        _ => duration("--run", args.run.as_deref().unwrap_or("8 h"))?,
    };
    let hold = args.hold.as_deref().map(|t| duration("--hold", t)).transpose()?;
    let volume = base("--volume", args.volume.as_deref().unwrap_or("240 L"), Quantity::Volume)?;
    belongs(args)?;
    Ok(Wish {
        kind: args.kind,
        name: args.name.clone().unwrap_or_else(|| new_text::name(args.kind).to_owned()),
        start: start(args, &zone, io)?,
        zone,
        flow,
        run_ms: run,
        hold_ms: hold,
        volume_ml: volume,
        every: args.every.unwrap_or(6),
        passes: args.passes.unwrap_or(if args.kind == Kind::Week { 5 } else { 15 }),
    })
}

/// Refuses an option that the kind has no use for, rather than leaving it out silently.
fn belongs(args: &Args) -> Result<(), Failure> {
    use Kind::{Cycle, Shift, Short, Volume, Week};
    let uses: [(&str, bool, &[Kind]); 5] = [
        ("--run", args.run.is_some(), &[Shift, Short, Week]),
        ("--hold", args.hold.is_some(), &[Shift]),
        ("--volume", args.volume.is_some(), &[Volume]),
        ("--every", args.every.is_some(), &[Cycle]),
        ("--passes", args.passes.is_some(), &[Cycle, Week]),
    ];
    for (option, given, kinds) in uses {
        if given && !kinds.contains(&args.kind) {
            let names: Vec<&str> = kinds.iter().map(|k| new_text::name(*k)).collect();
            return Err(Failure::Usage(
                format!("{option} has no meaning for {}", new_text::name(args.kind)),
                format!("leave it out; it goes with {}", format::or_list(&names)),
            ));
        }
    }
    Ok(())
}

fn base(option: &str, text: &str, of: Quantity) -> Result<u32, Failure> {
    quantity::parse(text, of)
        .map_err(|e| Failure::Usage(format!("{option}: {}", e.message), e.help))
}

fn duration(option: &str, text: &str) -> Result<u32, Failure> {
    base(option, text, Quantity::Duration)
}

fn flow(args: &Args, default: &str) -> Result<Flow, Failure> {
    let base = base("--flow", args.flow.as_deref().unwrap_or(default), Quantity::Flow)?;
    Flow::from_ul_per_min(base).map_err(|e| Failure::Usage(format!("--flow: {e}"), String::new()))
}

pub(super) fn zone(given: Option<&str>, io: &Io<'_>) -> Result<String, Failure> {
    if let Some(name) = given {
        let help = "write an IANA name, such as America/Denver or Europe/Oslo";
        let zone = jiff::tz::db().get(name).map_err(|_| {
            Failure::Usage(format!("--zone: no time zone is called {name:?}"), help.to_owned())
        })?;
        return Ok(zone.iana_name().unwrap_or(name).to_owned());
    }
    let computer = io.computer.as_ref().and_then(|z| z.iana_name()).filter(|n| *n != "Etc/Unknown");
    computer.map(str::to_owned).ok_or_else(|| {
        let help = "give the site's zone, as in --zone Europe/Oslo";
        Failure::Usage("the zone of this computer is not known".to_owned(), help.to_owned())
    })
}

/// The first start as asked for; else the next day, in the morning or at midnight. `None`: by hand.
fn start(args: &Args, zone: &str, io: &Io<'_>) -> Result<Option<Civil>, Failure> {
    let fault = |e: when::NotWhen| Failure::Usage(format!("--start: {}", e.message), e.help);
    let hm = |h, m| TimeOfDay::from_hms(h, m, 0).unwrap_or(Civil::midnight(Date::LAST).time);
    let usual = match args.kind {
        Kind::Day | Kind::Cycle => hm(0, 0),
        _ => hm(7, 30),
    };
    let Some(text) = args.start.as_deref() else {
        if matches!(args.kind, Kind::Short | Kind::Volume) {
            return Ok(None);
        }
        let tz = jiff::tz::TimeZone::get(zone).unwrap_or(jiff::tz::TimeZone::UTC);
        let site = site::Site::Zone { zone: tz, name: zone.to_owned(), standard: false };
        let today = site.clock_at(io.now).ok().and_then(|t| t.offset.civil(io.now)).map(|c| c.date);
        let mut day = today.and_then(Date::next);
        while args.kind == Kind::Week && day.is_some_and(is_weekend) {
            day = day.and_then(Date::next);
        }
        return Ok(day.map(|date| Civil { date, time: usual }));
    };
    let civil = match when::date(text) {
        Ok(date) => Civil { date, time: usual },
        Err(_) => when::civil(text).map_err(fault)?,
    };
    if args.kind == Kind::Week && is_weekend(civil.date) {
        return Err(Failure::Usage(
            format!(
                "--start: {} is a {}",
                when::date_text(civil.date),
                when::day_name(civil.date.weekday())
            ),
            "start a week of Monday to Friday on one of them".to_owned(),
        ));
    }
    let midnight = Civil::midnight(civil.date);
    if matches!(args.kind, Kind::Day | Kind::Cycle) && civil != midnight {
        return Err(Failure::Usage(
            "--start: this kind starts at midnight".to_owned(),
            format!("write --start {}", when::date_text(civil.date)),
        ));
    }
    Ok(Some(civil))
}

fn is_weekend(date: Date) -> bool {
    !Weekdays::MONDAY_TO_FRIDAY.contains(date.weekday())
}
