//! `draught forecast`: what an armed schedule will do.

use draught::clock::{Now, WallMs};
use draught::forecast::What;

use super::common::{PlanArgs, Usable, Warnings};
use super::io::{Failure, Io};
use super::paint::Paint;
use super::rows::{self, Row, Shown};
use super::table::{Side, Table};
use super::{forecast_json, forecast_steps};
use crate::plan::outlook::Range;
use crate::plan::{Ready, format, site};

/// Say what a pump will do when it is armed with a plan.
///
/// Every stretch of waiting, pumping and holding, with its times and volumes. A hold that someone resumes
/// gives ranges: from resumed at once to not resumed at all.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught forecast docs/examples/bakery-night.toml --armed-at \"2027-01-14 18:40\"
  draught forecast docs/examples/short-term.toml --steps")]
pub struct Args {
    #[command(flatten)]
    plan: PlanArgs,
    /// Each step as written, what it means, when it is reached: site time, UTC, from arming on.
    #[arg(long)]
    steps: bool,
    /// Every pass of long repeats.
    #[arg(long)]
    all: bool,
    /// Times of the table in UTC.
    #[arg(long)]
    utc: bool,
    /// The forecast as JSON (docs/schema/forecast.json).
    #[arg(long, conflicts_with_all = ["steps", "all", "utc"])]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the plan has errors.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let Usable { ready, warnings } = args.plan.ready(io)?;
    if args.json {
        if let Some(warnings) = warnings {
            warnings.say(io)?;
        }
        return forecast_json::write(&ready, &args.plan.plan, io);
    }
    let given = args.plan.armed_at.is_some();
    let text =
        if args.steps { forecast_steps::text(&ready) } else { spans(&ready, args.utc, args.all) };
    let paint = Paint(io.colour_out);
    let footer = footer(&ready, warnings.as_ref(), paint);
    write!(io.out, "{}\n{text}\n{footer}", header(&ready, given, paint))?;
    Ok(())
}

/// The forecast as `simulate` shows it before its run.
#[must_use]
pub fn text(usable: &Usable, paint: Paint) -> String {
    let Usable { ready, warnings } = usable;
    let footer = footer(ready, warnings.as_ref(), paint);
    format!("{}\n{}\n{footer}", header(ready, true, paint), spans(ready, false, false))
}

/// The name, the time it is in, the target; when it is armed and when it starts.
#[must_use]
pub fn header(ready: &Ready, armed_given: bool, paint: Paint) -> String {
    let settings = ready.table.settings();
    let name = match settings.name.as_str() {
        "" => "a schedule without a name",
        name => name,
    };
    let time = ready.time.label();
    let kind = match &ready.plan.site.value {
        site::Site::Zone { standard: true, name, .. } => format!("standard time of {name}, {time}"),
        site::Site::Zone { .. } => format!("site time {time}"),
        site::Site::Fixed(_) => format!("fixed offset {time}"),
    };
    let now = if armed_given { "" } else { " (now)" };
    let armed = ready.armed_wall();
    let armed_text = format!("armed {}{now}", ready.time.stamp_short(armed));
    let start = match ready.outlook.first_start().map(|n| n.mono.as_ms()) {
        Some(0) => "starts at once".to_owned(),
        Some(ms) => format!("starts by itself in {}", format::distance(ms)),
        None => "does not start".to_owned(),
    };
    let target = format::target(settings.target);
    format!("{}   {kind}   {target}\n{armed_text}, {start}\n", paint.lead(name))
}

/// How an instant of the forecast is written.
struct Clock<'r> {
    time: site::SiteTime,
    /// Whether the weekday is enough of a date.
    within_a_week: bool,
    ready: &'r Ready,
}

impl Clock<'_> {
    fn wall(&self, now: Now) -> WallMs {
        now.wall.unwrap_or(self.ready.armed_wall())
    }

    fn one(&self, now: Now) -> String {
        let wall = self.wall(now);
        if self.within_a_week { self.time.day_time(wall) } else { self.time.stamp_short(wall) }
    }

    /// An instant, or "by" the latest that it may be.
    fn latest(&self, (early, late): (Now, Now)) -> String {
        let (a, b) = (self.one(early), self.one(late));
        if early.mono == late.mono { a } else { format!("by {b}") }
    }
}

fn spans(ready: &Ready, utc: bool, all: bool) -> String {
    let time = if utc { site::SiteTime::utc() } else { ready.time.clone() };
    let last = ready.outlook.run_out.0.last().map_or(0, |s| s.to.mono.as_ms());
    let clock = Clock { time, within_a_week: last < 6 * 86_400_000, ready };
    let mut text = String::new();
    for (title, rows) in rows::rows(&ready.outlook) {
        if !title.is_empty() {
            let gap = if text.is_empty() { "" } else { "\n" };
            text.push_str(&format!("{gap}{title}\n"));
        }
        let shown: Vec<Shown<'_>> =
            if all { rows.iter().map(Shown::Row).collect() } else { rows::folded(&rows) };
        text.push_str(&table(&shown, &rows, &clock, utc));
    }
    text
}

fn table(shown: &[Shown<'_>], rows: &[Row], clock: &Clock<'_>, utc: bool) -> String {
    let several = rows.iter().map(|r| r.sample).max().unwrap_or(0) > 1;
    let flows: Vec<String> = rows.iter().filter_map(target).collect();
    let own_flows = flows.iter().any(|f| Some(f) != flows.first());
    let mut table = Table::new(&[
        Side::Right,
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
    ])
    .gap(2);
    let from = if utc { "from (UTC)" } else { "from" };
    // A sample of one run has the volume of the run.
    let one_run_each = several && one_run_each(rows);
    let total = match (several, one_run_each) {
        (_, true) => "",
        (true, false) => "of sample",
        (false, _) => "total",
    };
    let flow = if own_flows { "target" } else { "" };
    table.row(["step", "pass", "what", from, "to", "pumping", flow, "volume", "sample", total]);
    for item in shown {
        match item {
            Shown::Row(row) => {
                let mut cells = cells(row, clock, several, own_flows);
                if one_run_each && let Some(total) = cells.get_mut(9) {
                    total.clear();
                }
                table.row(cells);
            }
            Shown::Passes(n, last) => {
                let more = format!("... {} more, to {}", passes(*n), clock.latest(last.to));
                table.row(["".to_owned(), "".to_owned(), more]);
            }
        }
    }
    table.without_empty_columns().render()
}

fn one_run_each(rows: &[Row]) -> bool {
    let mut samples: Vec<u32> =
        rows.iter().filter(|r| matches!(r.what, What::Pump { .. })).map(|r| r.sample).collect();
    let runs = samples.len();
    samples.dedup();
    samples.len() == runs
}

fn passes(n: usize) -> String {
    if n == 1 { "1 pass".to_owned() } else { format!("{} passes", format::grouped(n as u64)) }
}

fn target(row: &Row) -> Option<String> {
    match row.what {
        What::Pump { target, .. } => Some(format::target(target)),
        _ => None,
    }
}

fn cells(row: &Row, clock: &Clock<'_>, several: bool, own_flows: bool) -> Vec<String> {
    let step = if row.first_step == row.step || !matches!(row.what, What::Wait { .. }) {
        row.step.get().to_string()
    } else {
        format!("{}-{}", row.first_step.get(), row.step.get())
    };
    let pass: Vec<String> =
        row.passes.0.iter().take_while(|p| **p > 0).map(ToString::to_string).collect();
    let pumps = matches!(row.what, What::Pump { .. });
    let ends = matches!(row.what, What::End(_));
    let dash = |known: bool, text: String| if known { text } else { "-".to_owned() };
    let pumping = dash(pumps, between(&row.length_ms, |ms| format::duration(*ms)));
    let unknown = || "not known".to_owned();
    let volume = row.volume.map_or_else(unknown, |v| format::volume_range(v.least, v.most, "-"));
    let sampled = row.sample > 0;
    let total =
        row.sample_total.map_or_else(unknown, |v| format::volume_range(v.least, v.most, "-"));
    let mut cells = vec![
        step,
        pass.join("."),
        rows::what_word(row.what),
        clock.latest(row.from),
        clock.latest(row.to),
        pumping,
        if own_flows { target(row).unwrap_or_else(|| "-".to_owned()) } else { String::new() },
        dash(pumps, volume),
        if several { dash(sampled && pumps, row.sample.to_string()) } else { String::new() },
        dash(sampled && (pumps || !several), total),
    ];
    if ends {
        cells.truncate(4);
    }
    cells
}

pub(super) fn between<T: Copy + Ord>(range: &Range<T>, show: impl Fn(&T) -> String) -> String {
    let (least, most) = (show(&range.least), show(&range.most));
    if least == most { least } else { format!("{least} to {most}") }
}

/// First start, start by, last stop in both times; what is sampled, and what is not.
#[must_use]
pub fn footer(ready: &Ready, warnings: Option<&Warnings>, paint: Paint) -> String {
    let outlook = &ready.outlook;
    let mut table = Table::new(&[Side::Left; 3]);
    let mut instant = |what: &str, wall: Option<WallMs>| {
        if let Some(wall) = wall {
            let local = format!("{} {}", ready.time.stamp(wall), ready.time.short_label());
            table.row([what.to_owned(), local, site::utc_stamp(wall)]);
        }
    };
    let last = outlook.last_stop().and_then(|n| n.wall);
    instant("first start", outlook.first_start().and_then(|n| n.wall));
    let start_by = ready.table.settings().start_by;
    instant("start by", start_by.and_then(|c| ready.time.offset.instant(c)));
    instant("last stop", last);
    let pumped = outlook.pumped_ms();
    let samples = outlook.samples();
    if samples.len() > 1 {
        let volumes: Option<Vec<_>> = samples.iter().map(|s| s.volume).collect();
        let each = volumes.map_or("an unknown volume".to_owned(), |all| {
            let least = all.iter().map(|v| v.least).min().unwrap_or_default();
            let most = all.iter().map(|v| v.most).max().unwrap_or_default();
            format::volume_range(least, most, " to ")
        });
        let text = format!("{} of {each}", format::grouped(samples.len() as u64));
        table.row(["samples".to_owned(), text]);
    }
    table.row(["pumping".to_owned(), between(&pumped, |ms| format::duration(*ms))]);
    let held = outlook.held_ms();
    if held.most > 0 {
        let text = if held.least == 0 {
            format!("0 to {}", format::duration(held.most))
        } else {
            between(&held, |ms| format::duration(*ms))
        };
        table.row(["not sampled".to_owned(), text]);
    }
    wall_clock(ready, &mut table);
    if let Some(warnings) = warnings {
        table.row(warnings.row(paint));
    }
    table.render()
}

/// What the clock on the wall will say, where the schedule does not follow it.
fn wall_clock(ready: &Ready, table: &mut Table) {
    let site = &ready.plan.site.value;
    let first = ready.outlook.first_start().and_then(|n| n.wall);
    let last = ready.outlook.last_stop().and_then(|n| n.wall);
    let Some((first, last)) = first.zip(last) else { return };
    let mut remarks = Vec::new();
    let mut reads = |what: &str, wall: WallMs| {
        if let Ok(there) = site.clock_at(wall)
            && there.offset != ready.time.offset
        {
            remarks.push(format!("{what} reads {} {}", there.stamp(wall), there.short_label()));
        }
    };
    reads("first start", first);
    reads("last stop", last);
    let mut from = first;
    while let Some(change) = site.change_between(from, last) {
        let Ok(there) = site.clock_at(change) else { break };
        let at = format!("{} {}", ready.time.stamp_short(change), ready.time.short_label());
        remarks.push(format!("changes to {} at {at}", there.label()));
        from = change;
    }
    for (i, remark) in remarks.into_iter().enumerate() {
        let title = if i == 0 { "on the wall" } else { "" };
        table.row([title.to_owned(), remark]);
    }
}
