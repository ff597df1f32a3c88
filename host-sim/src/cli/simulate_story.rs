//! What happened in a run of a whole pump, in words and in order of time.

use draught::clock::Now;
use draught::event::{EndReason, Event, HoldEnd, PumpEnd};
use draught::step::Sampler;

use super::paint::Paint;
use super::rows;
use super::simulate::Simulated;
use super::simulate_record::Clock;
use super::table::{Side, Table};
use crate::bench::{PumpOutcome, Tale, Told};
use crate::plan::format;
use crate::report::fault_words;
use crate::words;

/// Lines shown at the begin and the end of a long story.
const SHOWN: (usize, usize) = (30, 10);

/// The story.
pub(super) fn text(s: &Simulated<'_>, pump: &PumpOutcome, paint: Paint) -> String {
    let clock = Clock::of(s);
    let lines = lines(s, pump);
    let mut table = Table::new(&[Side::Left, Side::Left, Side::Left]).gap(2);
    let left_out = lines.len().saturating_sub(SHOWN.0 + SHOWN.1);
    for (i, line) in lines.iter().enumerate() {
        if left_out > 0 && (SHOWN.0..SHOWN.0 + left_out).contains(&i) {
            if i == SHOWN.0 {
                let more =
                    format!("... {} more; --json has them all", format::grouped(left_out as u64));
                table.row([String::new(), String::new(), more]);
            }
            continue;
        }
        let what = if line.grave { paint.careful(&line.what) } else { line.what.clone() };
        table.row([clock.one(line.at), line.who.to_owned(), what]);
    }
    table.render()
}

/// One line of a story.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// When.
    pub at: Now,
    /// "pump" or "world".
    pub who: &'static str,
    /// What.
    pub what: String,
    grave: bool,
}

/// The lines of a story.
pub(super) fn lines(s: &Simulated<'_>, pump: &PumpOutcome) -> Vec<Line> {
    let clock = Clock::of(s);
    let many = s.outcome.record.samples.len() > 1;
    let mut lines = Vec::new();
    let mut again = false;
    for (i, Told { at, what }) in pump.told.iter().enumerate() {
        let mut say = |who, what: String, grave| lines.push(Line { at: *at, who, what, grave });
        match what {
            Tale::Begins(fault) => say("world", fault_words::begins(fault), true),
            Tale::Over(fault) => say("world", fault_words::over(fault).to_owned(), false),
            Tale::More(n) => {
                let n = format::count(*n as usize, "thing");
                say("pump", format!("{n} more than its log holds"), false);
            }
            Tale::Booted(off_ms) => {
                let off = format::distance(*off_ms);
                let next = pump.told.get(i + 1).map(|t| t.what);
                let broken = match next {
                    Some(Tale::Pump(Event::PumpingEnded(p))) if p.by == PumpEnd::Outage => Some(p),
                    _ => None,
                };
                let kept = broken.map_or(String::new(), |p| {
                    format!("; the record goes up to the checkpoint of {}", clock.one(p.end))
                });
                say("pump", format!("power is back after {off}{kept}"), false);
                again |= broken.is_some();
            }
            Tale::Pump(Event::PumpingBegan { step, sample, .. }) => {
                let on = if again { "pump on again" } else { "pump on" };
                let of = if many { format!(", sample {sample}") } else { String::new() };
                say("pump", format!("{on}, step {}{of}", step.get()), false);
                again = false;
            }
            Tale::Pump(event) => {
                again |=
                    matches!(event, Event::PumpingEnded(p) if matches!(p.by, PumpEnd::Tripped(_)));
                if let Some((text, grave)) = words(event) {
                    say("pump", text, grave);
                }
            }
        }
    }
    lines
}

/// What the engine reported, in words; nothing for what goes without saying.
fn words(event: &Event) -> Option<(String, bool)> {
    let plain = |text: &str| Some((text.to_owned(), false));
    match event {
        Event::AppointmentMet { late_ms, .. } if *late_ms > 1_000 => {
            Some((format!("an appointment is met {} late", format::distance(*late_ms)), true))
        }
        Event::AppointmentMissed { .. } => Some(("an appointment is missed".to_owned(), true)),
        Event::PumpingEnded(p) => match p.by {
            PumpEnd::Time => plain("pump off: its time is over"),
            PumpEnd::Volume => plain("pump off: its volume is full"),
            PumpEnd::Limit => Some(("pump off: its at-most is over".to_owned(), true)),
            PumpEnd::Stopped => plain("pump off: stopped"),
            PumpEnd::Tripped(limit) => {
                Some((format!("pump off: limit tripped, {}", words::limit(limit)), true))
            }
            // Told with the power that came back.
            PumpEnd::Outage => None,
        },
        Event::RunLost { step, .. } => {
            Some((format!("step {} is passed over: too late for it", step.get()), true))
        }
        Event::HoldBegan { step } => Some((format!("off, hold of step {}", step.get()), false)),
        Event::HoldEnded { by: HoldEnd::Resumed, .. } => plain("resumed by the operator"),
        Event::HoldEnded { by: HoldEnd::RanOut, .. } => plain("the time of the hold is over"),
        Event::PassedOn { sampler: Sampler::Fresh, .. } => plain("on to the next sampler"),
        Event::PassedOn { sampler: Sampler::FreshConfirmed, .. } => plain("asks for a new sampler"),
        Event::PassSkipped { .. } => {
            Some(("pass skipped: no new sampler was confirmed".to_owned(), true))
        }
        Event::Ended(EndReason::Finished) => plain("end of the event"),
        Event::Ended(reason) => Some((rows::end_word(*reason), true)),
        Event::AppointmentSet { .. }
        | Event::AppointmentMet { .. }
        | Event::PumpingBegan { .. }
        | Event::PassedOn { sampler: Sampler::Same, .. }
        | Event::RepeatDone { .. } => None,
    }
}
