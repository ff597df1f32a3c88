//! The record of a simulated run, for people: what was planned beside what happened.

use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{EndReason, PumpEnd};
use draught::step::{Sampler, Step};
use draught::units::Target;

use super::forecast::between;
use super::paint::Paint;
use super::simulate::Simulated;
use super::simulate_world::whole_pump_line;
use super::table::{Side, Table};
use super::{simulate_compared, simulate_pump, simulate_samples, simulate_story};
use crate::bench::{FlowSummary, Holds, Resume, Total};
use crate::plan::site::SiteTime;
use crate::plan::{Ready, format, when};
use crate::record_file::NOTICE;
use crate::report::numbers;
use crate::words;

/// A mean flow further than this from its target is for review: 40 CFR 50 App. L 7.4.3.1.
pub(super) const WITHIN: f64 = 0.05;

/// The whole record.
pub(super) fn text(s: &Simulated<'_>, paint: Paint) -> String {
    let mut text = format!("{}   {}\n", paint.careful(NOTICE), surroundings(s));
    let armed = s.ready.time.stamp(s.ready.armed_wall());
    text += &format!("schedule {}, armed {armed} {}\n\n", s.schedule_id, s.ready.time.label());
    text += &beside(s, paint);
    text += &simulate_samples::text(s, paint);
    if let Some(pump) = &s.pump {
        text += &format!("\n{}", simulate_story::text(s, pump, paint));
    }
    text.push('\n');
    text += &simulate_compared::text(s, paint);
    text += "A real sample also needs flow verified before and after.\n";
    if s.unnamed {
        text += &whole_pump_line(s.ready);
    }
    for file in &s.files {
        let rows = file.rows.map_or(String::new(), |n| format!(", {} rows", format::grouped(n)));
        text += &format!("wrote {}{rows}\n", file.path);
        if file.rows.is_some_and(|n| n > SPREADSHEET_ROWS) {
            text += "  more rows than most spreadsheets open; --csv-every \"1 min\" writes fewer\n";
        }
    }
    text
}

/// Common limit of spreadsheet programs: 2^20 rows (common practice, no source).
const SPREADSHEET_ROWS: u64 = 1_048_576 - 10;

/// The schedule's name.
pub(super) fn name(ready: &Ready) -> String {
    match ready.table.settings().name.as_str() {
        "" => "a schedule without a name".to_owned(),
        name => name.to_owned(),
    }
}

/// What happened, in one line.
pub(super) fn one_line(s: &Simulated<'_>) -> String {
    let total = &s.outcome.record.total;
    let Some((from, to)) = total.between else { return "Never started.".to_owned() };
    let clock = Clock::of(s);
    let stamp = |now: Now| {
        let wall = now.wall.map(|w| clock.rounded(w));
        wall.map_or("at a time not known".to_owned(), |w| s.ready.time.stamp_short(w))
    };
    let mean = total
        .flow
        .mean_ul_per_min
        .map_or(String::new(), |q| format!(" at {} on average", numbers::flow(q.into())));
    let samples = match s.outcome.record.samples.len() {
        0 | 1 => String::new(),
        n => format!(" on {} samplers", format::grouped(n as u64)),
    };
    format!(
        "{} to {}: pumped {}, drew {}{samples}{mean}.",
        stamp(from),
        stamp(to),
        clock.length(total.pumped_ms),
        numbers::volume(total.volume)
    )
}

fn surroundings(s: &Simulated<'_>) -> String {
    let mut parts = vec![s.world.to_string(), format!("seed {}", s.outcome.record.seed)];
    if s.pump.is_some() {
        parts.push("whole pump".to_owned());
    }
    let steps = s.ready.table.steps();
    let holds: Vec<u64> = steps
        .iter()
        .filter_map(|step| match step {
            Step::HoldUntilResumed { at_most, .. } => Some(at_most.as_ms().into()),
            _ => None,
        })
        .collect();
    let resume = s.world.operator.resume;
    let after: Vec<Option<u64>> = holds.iter().map(|ms| resume.after_ms(*ms)).collect();
    match (after.first(), resume) {
        (None, _) => {}
        (Some(Some(ms)), _) if after.iter().all(|a| *a == Some(*ms)) => {
            parts.push(format!("hold resumed after {}", format::duration(*ms)));
        }
        (_, Resume::Usual) => parts.push("holds resumed after 30 min or two thirds".to_owned()),
        (_, Resume::After(ms)) => {
            parts.push(format!("holds resumed after {} if they last", format::duration(ms)));
        }
        (_, Resume::Never) => parts.push("holds not resumed".to_owned()),
    }
    let asks = |s: &Step| matches!(s, Step::Repeat { sampler: Sampler::FreshConfirmed, .. });
    if steps.iter().any(asks) {
        let confirmed = if s.world.operator.confirms { "" } else { "not " };
        parts.push(format!("new samplers {confirmed}confirmed"));
    }
    parts.join(", ")
}

/// How instants are written: with the weekday alone where that is unambiguous.
pub(super) struct Clock<'a> {
    time: &'a SiteTime,
    within_a_week: bool,
    /// A whole pump is a few ms late here and there: nobody wants to read that.
    whole_seconds: bool,
}

impl<'a> Clock<'a> {
    pub(super) fn of(s: &'a Simulated<'_>) -> Self {
        let record = &s.outcome.record;
        let last = record.ended.map_or(0, |(_, at)| at.mono.since(record.armed.mono));
        Self {
            time: &s.ready.time,
            within_a_week: last < 6 * 86_400_000,
            whole_seconds: s.pump.is_some(),
        }
    }

    pub(super) fn one(&self, now: Now) -> String {
        match now.wall.map(|w| self.rounded(w)).map(|w| (w, self.time.offset.civil(w))) {
            Some((_, Some(c))) if self.within_a_week => {
                let day = when::day_short(c.date.weekday());
                format!("{day} {}", when::time_text_seconds(c.time))
            }
            Some((wall, _)) => self.time.stamp(wall),
            None => "not known".to_owned(),
        }
    }

    /// To the second, of a whole pump.
    pub(super) fn rounded(&self, wall: WallMs) -> WallMs {
        WallMs::from_ms(self.length_ms(wall.as_ms())).unwrap_or(wall)
    }

    fn length_ms(&self, ms: u64) -> u64 {
        if self.whole_seconds { (ms + 500) / 1_000 * 1_000 } else { ms }
    }

    /// A length of time.
    pub(super) fn length(&self, ms: u64) -> String {
        format::duration(self.length_ms(ms))
    }

    /// The same of an instant of the wall clock alone.
    pub(super) fn wall(&self, wall: WallMs) -> String {
        self.one(Now { mono: MonoMs::from_ms(0), wall: Some(wall) })
    }

    fn range(&self, range: Option<(Now, Now)>) -> String {
        match range {
            None => "-".to_owned(),
            Some((a, b)) if a == b => self.one(a),
            Some((a, b)) => format!("{} to {}", self.one(a), self.one(b)),
        }
    }
}

fn beside(s: &Simulated<'_>, paint: Paint) -> String {
    let (outlook, record) = (&s.ready.outlook, &s.outcome.record);
    let total = &record.total;
    let clock = Clock::of(s);
    let mut table = Table::new(&[Side::Left; 4]);
    table.row(["", "planned", "happened"]);
    let mut row = |what: &str, planned: String, happened: String, remark: String| {
        table.row([what.to_owned(), planned, happened, remark]);
    };

    let starts = both(outlook.resumed.first_start(), outlook.run_out.first_start());
    let stops = both(outlook.earliest_last_stop(), outlook.last_stop());
    let happened = |now: Option<Now>| now.map_or("-".to_owned(), |now| clock.one(now));
    let (start, stop) = (total.between.map(|b| b.0), total.between.map(|b| b.1));
    row("start", clock.range(starts), happened(start), on_time(starts, start, &clock, paint));
    let held = outlook.held_ms();
    if held.most > 0 || record.holds != Holds::default() {
        let planned = if held.least == 0 && held.most > 0 {
            format!("0 to {}", format::duration(held.most))
        } else {
            between(&held, |ms| format::duration(*ms))
        };
        row("hold", planned, clock.length(record.holds.off_ms), hold_word(record.holds));
    }
    let full = record.spans.last().is_some_and(|row| row.by == PumpEnd::Volume);
    let when_full = if full { "when full".to_owned() } else { on_time(stops, stop, &clock, paint) };
    row("stop", clock.range(stops), happened(stop), when_full);
    row(
        "pumping",
        between(&outlook.pumped_ms(), |ms| format::duration(*ms)),
        clock.length(total.pumped_ms),
        String::new(),
    );
    let planned_volume = outlook.volume();
    row(
        "volume",
        planned_volume
            .map_or("not known".to_owned(), |v| format::volume_range(v.least, v.most, " to ")),
        numbers::volume(total.volume),
        volume_remark(s, paint),
    );
    if let Some(pump) = &s.pump {
        simulate_pump::standard(pump, &mut row);
    }
    let target = only_target(s.ready).and_then(Target::as_flow).map(|f| f64::from(f.ul_per_min()));
    if let Some(mean) = total.flow.mean_ul_per_min {
        let off = target.map(|t| f64::from(mean) / t - 1.0);
        let mean = numbers::flow_beside(mean.into(), target.unwrap_or(mean.into()));
        let remark = off.map_or("of all steps".to_owned(), |off| verdict(off, paint));
        row("mean flow", target.map_or("-".to_owned(), numbers::flow), mean, remark);
    }
    if let Some(worst) = total.flow.worst {
        let off = worst.deviation();
        row("worst 5 min", "within 5 %".to_owned(), numbers::percent(off), verdict(off, paint));
    }
    readings(&total.flow, target.is_some(), &mut row);
    if record.appointments_met > 1 || record.appointments_missed > 0 {
        let missed = match record.appointments_missed {
            0 => String::new(),
            n => paint.bad(&format!("{} missed", format::grouped(n))),
        };
        let met = format!("{} met", format::grouped(record.appointments_met));
        row("appointments", "-".to_owned(), met, missed);
    }
    if record.passes_skipped > 0 {
        let n = format::grouped(record.passes_skipped);
        row("passes", "-".to_owned(), format!("{n} skipped"), "no new sampler".to_owned());
    }
    if record.runs_lost > 0 {
        let n = format::grouped(record.runs_lost);
        row("runs", "-".to_owned(), format!("{n} passed over"), "too late".to_owned());
    }
    if let Some(pump) = &s.pump {
        simulate_pump::air(pump, &mut row);
        simulate_pump::trouble(s, pump, &mut row, paint);
        simulate_pump::rest(pump, &mut row, paint);
    } else {
        let gaps = total.flow.gaps;
        row("interruptions", "-".to_owned(), gaps.to_string(), String::new());
    }
    let planned_ends = match (outlook.resumed.end(), outlook.run_out.end()) {
        (a, b) if a == b => end_word(a),
        (a, b) => format!("{} or {}", end_word(a), end_word(b)),
    };
    let ended = record.ended.map(|(reason, _)| reason);
    let complete = match ended {
        Some(EndReason::Finished) => paint.good("complete"),
        _ => paint.careful("review"),
    };
    let happened = match ended {
        None if s.pump.is_some() => "not over in 48 h more".to_owned(),
        ended => end_word(ended),
    };
    row("ended", planned_ends, happened, complete);
    table.render()
}

/// How the readings lie; their variation says something only if one flow was wanted.
fn readings(flow: &FlowSummary, steady: bool, row: &mut impl FnMut(&str, String, String, String)) {
    if let (Some(min), Some(max)) = (flow.min_ul_per_min, flow.max_ul_per_min) {
        let text = numbers::flow_range(min.into(), max.into());
        row("flow read", "-".to_owned(), text, "starts included".to_owned());
    }
    if let (true, Some(cv)) = (steady, flow.cv_per_myriad) {
        let text = format!("{}.{:02} %", cv / 100, cv % 100);
        row("flow CV", "-".to_owned(), text, "of the readings".to_owned());
    }
}

/// Both ends, in order of time.
fn both(a: Option<Now>, b: Option<Now>) -> Option<(Now, Now)> {
    let (a, b) = (a.or(b)?, b.or(a)?);
    Some(if a.mono <= b.mono { (a, b) } else { (b, a) })
}

fn on_time(
    planned: Option<(Now, Now)>,
    happened: Option<Now>,
    clock: &Clock<'_>,
    paint: Paint,
) -> String {
    let wall = |now: Now| now.wall.map(WallMs::as_ms);
    let Some(((least, most), at)) = planned.zip(happened) else { return String::new() };
    let Some(at) = wall(at) else { return paint.good("on time") };
    // What is not shown makes nobody early or late.
    let near = |planned: u64| if clock.length_ms(planned.abs_diff(at)) > 0 { planned } else { at };
    let (least, most) = (wall(least).map_or(at, near), wall(most).map_or(at, near));
    match format::punctual(least, most, at) {
        words if words == "on time" => paint.good(&words),
        words => words,
    }
}

fn hold_word(holds: Holds) -> String {
    match (holds.resumed, holds.ran_out) {
        (0, 0) => String::new(),
        (1, 0) => "resumed".to_owned(),
        (0, 1) => "its time was over".to_owned(),
        (r, 0) => format!("{} resumed", format::grouped(r)),
        (0, o) => format!("{} ran their time", format::grouped(o)),
        (r, o) => format!("{} resumed, {} ran their time", format::grouped(r), format::grouped(o)),
    }
}

fn verdict(off: f64, paint: Paint) -> String {
    if off.abs() <= WITHIN { paint.good("ok") } else { paint.careful("over 5 % off: review") }
}

/// What the volumes of the samples are beside what the plan wants.
fn volume_remark(s: &Simulated<'_>, paint: Paint) -> String {
    let actual = "actual, at inlet".to_owned();
    let Some(wanted) = &s.ready.plan.wanted.volume else { return actual };
    let (least, most) = (wanted.value.0.raw(), wanted.value.1.raw());
    let outside = |total: &Total| total.volume < least || total.volume > most;
    let n = s.outcome.record.samples.iter().filter(|sample| outside(&sample.total)).count();
    if n == 0 {
        return actual;
    }
    let range = format::volume_range(least, most, " to ");
    match s.outcome.record.samples.len() {
        1 => paint.careful(&format!("outside {range}: review")),
        _ => paint.careful(&format!("{} outside {range}", format::count(n, "sample"))),
    }
}

/// The target of all pumping, if it is one.
pub(super) fn only_target(ready: &Ready) -> Option<Target> {
    let pumping = ready.table.steps().iter().filter(|step| step.is_pumping());
    let mut targets = pumping.map(|s| s.own_target().unwrap_or(ready.table.settings().target));
    let first = targets.next()?;
    targets.all(|t| t == first).then_some(first)
}

pub(super) fn end_word(reason: Option<EndReason>) -> String {
    match reason {
        Some(EndReason::Finished) => "finish".to_owned(),
        Some(other) => words::ended(other).to_owned(),
        None => "not before 2136".to_owned(),
    }
}
