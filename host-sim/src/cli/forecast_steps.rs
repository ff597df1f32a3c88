//! `draught forecast --steps`: each step as written, what it means, and when it is reached.

use draught::clock::Now;
use draught::forecast::{Span, What};
use draught::step::{Sampler, Step, StepNo, Then};
use draught::units::Target;

use super::table::{Side, Table};
use crate::plan::outlook::Outlook;
use crate::plan::{Ready, format, site, when};

/// One block a step.
#[must_use]
pub fn text(ready: &Ready) -> String {
    let mut text = String::new();
    for (index, step) in ready.plan.steps.iter().enumerate() {
        let number = StepNo::at(index);
        let normal = ready.table.steps().get(index).copied().unwrap_or(Step::Finish);
        let mut block = Table::new(&[Side::Right, Side::Left]).gap(2);
        let written = ready.plan.source.slice(&step.span).split_whitespace().collect::<Vec<_>>();
        block.row([number.get().to_string(), written.join(" ")]);
        block.row([String::new(), meaning(normal, ready.table.settings().target)]);
        block.row([String::new(), reached(ready, number)]);
        text.push_str(&block.render());
    }
    text
}

/// A step in words, everything that holds for it included, such as the target of its schedule.
pub(super) fn meaning(step: Step, schedule: Target) -> String {
    let at = |own: Option<Target>| format::target(own.unwrap_or(schedule));
    let ms = |d: draught::units::DurationMs| format::duration(d.as_ms().into());
    match step {
        Step::WaitForDate(d) => {
            format!("wait for {} {}", when::day_name(d.weekday()), when::date_text(d))
        }
        Step::WaitForTime(t) => format!("wait for {}", when::time_text_seconds(t)),
        Step::WaitForWeekday(w) => format!("wait for one of {}", when::weekdays_text(w)),
        Step::WaitForCycleDay(c) => format!(
            "wait for {} {} or a day that is a multiple of {} days later",
            when::day_short(c.from().weekday()),
            when::date_text(c.from()),
            c.every()
        ),
        Step::RunFor { run, target } => format!("pump for {} at {}", ms(run), at(target)),
        Step::RunUntil { time, at_most, target } => format!(
            "pump until {}, at most {}, at {}",
            when::time_text_seconds(time),
            ms(at_most),
            at(target)
        ),
        Step::DrawVolume { volume, at_most, target } => format!(
            "pump until {} are drawn, at most {}, at {}",
            format::volume_ml(volume.as_ml().into()),
            ms(at_most),
            at(target)
        ),
        Step::Hold(d) => format!("pump off for {}", ms(d)),
        Step::HoldUntilResumed { at_most, then } => format!(
            "pump off until someone resumes it, at most {}, then {}",
            ms(at_most),
            match then {
                Then::Continue => "go on",
                Then::Close => "end the event",
            }
        ),
        Step::Repeat { from, passes, sampler } => format!(
            "go back to step {} until it was done {} times, {}",
            from.get(),
            format::grouped(passes.get().into()),
            match sampler {
                Sampler::Same => "on the same sampler",
                Sampler::Fresh => "each time on a fresh sampler",
                Sampler::FreshConfirmed => "each time on a fresh sampler that someone confirmed",
            }
        ),
        Step::Finish => "close the record".to_owned(),
    }
}

/// When a step is first reached: site time, UTC, from arming on.
fn reached(ready: &Ready, number: StepNo) -> String {
    let Outlook { resumed, run_out, .. } = &ready.outlook;
    // A wait is told by its appointment, anything else by its beginning.
    let in_line = |spans: &[Span]| {
        let at = |s: &&Span| s.first_step <= number && number <= s.step;
        let is_wait = |s: &Span| matches!(s.what, What::Wait { .. });
        spans.iter().find(at).map(|s| if is_wait(s) { s.to } else { s.from })
    };
    let early = in_line(&resumed.0);
    let late = in_line(&run_out.0);
    let step = ready.table.steps().get(number.index());
    let is_repeat = matches!(step, Some(Step::Repeat { .. }));
    match (early, late) {
        _ if is_repeat => "takes no time".to_owned(),
        (Some(a), Some(b)) if a.mono == b.mono => when_text(ready, a),
        (Some(a), Some(b)) => format!("{}\nto  {}", when_text(ready, a), when_text(ready, b)),
        (Some(a), None) | (None, Some(a)) => when_text(ready, a),
        (None, None) => "not reached".to_owned(),
    }
    .replace('\n', "\n   ")
}

fn when_text(ready: &Ready, now: Now) -> String {
    let wall = now.wall.unwrap_or(ready.armed_wall());
    let from_arming = match now.mono.as_ms() {
        0 => "on arming".to_owned(),
        ms => format!("{} after arming", format::distance(ms)),
    };
    format!(
        "{} {}   {}   {from_arming}",
        ready.time.stamp(wall),
        ready.time.short_label(),
        site::utc_stamp(wall)
    )
}
