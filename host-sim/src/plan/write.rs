//! An equivalent plan from a schedule: what its block carries, and a comment on what it cannot.

use std::fmt::Write as _;

use draught::calendar::UtcOffset;
use draught::step::{Sampler, Step, Then};
use draught::table::{Fault, Limits, Outage, Resume, TableRef};
use draught::units::{DurationMs, Target, TargetKind};

use super::{format, site, when};

/// The plan, in TOML; reading it again gives the same schedule.
#[must_use]
pub fn plan(table: TableRef<'_>) -> String {
    let settings = table.settings();
    let mut text = String::new();
    let mut line = |key: &str, value: String| {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{key:<10} = {value}");
    };
    if !settings.name.as_str().is_empty() {
        line("name", quoted(settings.name.as_str()));
    }
    line("utc-offset", quoted(&offset(settings.utc_offset)));
    let (key, value) = target(settings.target);
    line(key, quoted(&value));
    if let Some(by) = settings.start_by {
        line(
            "start-by",
            quoted(&format!("{} {}", when::date_text(by.date), when::time_text(by.time))),
        );
    }
    text.push_str("\nsteps = [\n");
    for s in table.steps() {
        let _ = writeln!(text, "  {{ {} }},", step(*s));
    }
    text.push_str("]\n");
    text.push_str(&rules(table));
    text.push_str(&limits(&settings.limits));
    text
}

fn quoted(text: &str) -> String {
    // A name has no control characters: only the two that end or escape a TOML text are left.
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

fn offset(offset: UtcOffset) -> String {
    let text = site::offset_text(offset);
    match text.strip_prefix("UTC") {
        Some("") | None => "+00:00".to_owned(),
        Some(signed) => signed.to_owned(),
    }
}

fn target(target: Target) -> (&'static str, String) {
    let key = match target.kind() {
        TargetKind::Flow(_) => "flow",
        TargetKind::Pressure(_) => "pressure",
    };
    (key, format::target(target))
}

fn step(step: Step) -> String {
    let ms = |d: DurationMs| quoted(&format::duration(d.as_ms().into()));
    let own = |own: Option<Target>| match own.map(target) {
        Some((key, value)) => format!(", {key} = {}", quoted(&value)),
        None => String::new(),
    };
    match step {
        Step::WaitForDate(d) => format!("wait-for-date = {}", quoted(&when::date_text(d))),
        Step::WaitForTime(t) => format!("wait-for-time = {}", quoted(&when::time_text(t))),
        Step::WaitForWeekday(w) => {
            format!("wait-for-weekday = {}", quoted(&when::weekdays_text(w)))
        }
        Step::WaitForCycleDay(c) => format!(
            "wait-for-cycle-day = {{ from = {}, every = \"{}\" }}",
            quoted(&when::date_text(c.from())),
            format::count(c.every().into(), "day")
        ),
        Step::RunFor { run, target } => format!("run-for = {}{}", ms(run), own(target)),
        Step::RunUntil { time, at_most, target } => format!(
            "run-until = {}, at-most = {}{}",
            quoted(&when::time_text(time)),
            ms(at_most),
            own(target)
        ),
        Step::DrawVolume { volume, at_most, target } => format!(
            "draw-volume = {}, at-most = {}{}",
            quoted(&format::volume_ml(volume.as_ml().into())),
            ms(at_most),
            own(target)
        ),
        Step::Hold(d) => format!("hold = {}", ms(d)),
        Step::HoldUntilResumed { at_most, then } => format!(
            "hold = \"until-resumed\", at-most = {}, then = \"{}\"",
            ms(at_most),
            match then {
                Then::Continue => "continue",
                Then::Close => "close",
            }
        ),
        Step::Repeat { from, passes, sampler } => format!(
            "repeat-from = {}, passes = {}, sampler = \"{}\"",
            from.get(),
            passes.get(),
            match sampler {
                Sampler::Same => "same",
                Sampler::Fresh => "fresh",
                Sampler::FreshConfirmed => "fresh-confirmed",
            }
        ),
        Step::Finish => "finish = true".to_owned(),
    }
}

/// `[rules]`, all of them, since what is left out of a block has a meaning.
fn rules(table: TableRef<'_>) -> String {
    let settings = table.settings();
    let tolerance = format::duration(settings.late_tolerance.as_ms().into());
    let outage = |keep: &str, r: Resume| {
        format!(
            "{{ keep = \"{keep}\", resume-within = {}, while-charging = {} }}",
            quoted(&format::duration(r.within.as_ms().into())),
            r.while_charging
        )
    };
    let outage = match settings.outage {
        Outage::KeepStopTime(r) => outage("stop-time", r),
        Outage::MakeUpTime(r) => outage("run-time", r),
        Outage::Abandon => "\"abandon\"".to_owned(),
    };
    let fault = match settings.fault {
        Fault::Stop => "\"stop\"".to_owned(),
        Fault::Close => "\"close\"".to_owned(),
        Fault::Retry { every, times } => format!(
            "{{ retry-every = {}, times = {times} }}",
            quoted(&format::duration(every.as_ms().into()))
        ),
    };
    format!(
        "\n[rules]\nlate-tolerance = {}\noutage         = {outage}\nfault          = {fault}\n",
        quoted(&tolerance)
    )
}

fn limits(limits: &Limits) -> String {
    let mut text = format!(
        "\n[limits]\nflow-off = {{ by = \"{} %\", for = {} }}\n",
        limits.trip.as_percent(),
        quoted(&format::duration(limits.grace.as_ms().into()))
    );
    if let Some(pressure) = limits.pressure_at_most {
        let _ = writeln!(
            text,
            "pressure-at-most = {}",
            quoted(&format::pressure(pressure.as_pa().into()))
        );
    }
    text
}
