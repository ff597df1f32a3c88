//! A step in words.

use draught::step::{Sampler, Step, Then};
use draught::units::Target;

use super::{format, when};

/// A step in words, everything that holds for it included, such as the target of its schedule.
#[must_use]
pub fn meaning(step: Step, schedule: Target) -> String {
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
