//! A group of consecutive waits, and the first instant that satisfies it.
//!
//! The rules are in `docs/steps.md`, "Waits".

use crate::calendar::{Civil, Date, TimeOfDay, UtcOffset, Weekday};
use crate::clock::WallMs;
use crate::step::Step;
use crate::table::Settings;

/// Whether any day satisfies all waits of a group.
pub(crate) fn can_be_met(group: &[Step]) -> bool {
    first_day(group, Date::FIRST).is_some()
}

/// The time of day that a group waits for; a group without one is whole-day.
pub(crate) fn time_of_day(group: &[Step]) -> Option<TimeOfDay> {
    group.iter().find_map(|step| match step {
        Step::WaitForTime(time) => Some(*time),
        _ => None,
    })
}

/// The first day from `day` on that satisfies one wait.
fn first_day_of_one(step: &Step, mut day: Date) -> Option<Date> {
    match step {
        Step::WaitForDate(date) => (day <= *date).then_some(*date),
        Step::WaitForCycleDay(cycle) => cycle.first_from(day),
        Step::WaitForWeekday(days) => {
            // The set is not empty, so one of seven days is in it.
            for _ in Weekday::ALL {
                if days.contains(day.weekday()) {
                    return Some(day);
                }
                day = day.next()?;
            }
            None
        }
        _ => Some(day),
    }
}

/// The first day from `day` on that satisfies all waits of a group.
///
/// Each wait in turn moves the day on to the next that it allows, until none does. No wait moves it past a day
/// that all allow. A cycle meets each weekday that it ever meets within seven of its rounds, and every round moves on
/// by one at least: after eight nothing new can come.
#[inline(never)]
fn first_day(group: &[Step], mut day: Date) -> Option<Date> {
    for _ in 0..9 {
        let before = day;
        for step in group {
            day = first_day_of_one(step, day)?;
        }
        if day == before {
            return Some(day);
        }
    }
    None
}

/// The first instant, not before `earliest` (ms since 2000), on a day that satisfies a group and at a time of day.
#[inline(never)]
pub(crate) fn first_at(
    group: &[Step],
    offset: UtcOffset,
    time: TimeOfDay,
    earliest: u64,
) -> Option<WallMs> {
    let bound = offset.civil(WallMs::from_ms(earliest)?)?;
    // The day of the bound still has the time ahead of it, or the search begins a day later.
    let from = if time >= bound.time { bound.date } else { bound.date.next()? };
    offset.instant(Civil { date: first_day(group, from)?, time })
}

/// The appointment of a group: the first instant that satisfies it, for a schedule that was armed at `armed`, stands at
/// `due`, and has kept its last appointment at `last`.
pub(crate) fn appointment(
    group: &[Step],
    settings: &Settings,
    due: WallMs,
    armed: WallMs,
    last: Option<WallMs>,
) -> Option<WallMs> {
    let offset = settings.utc_offset;
    if let Some(time) = time_of_day(group) {
        let lenient = due.as_ms().saturating_sub(settings.late_tolerance.as_ms().into());
        let after = last.map_or(armed.as_ms(), |last| last.as_ms().saturating_add(1));
        return first_at(group, offset, time, lenient.max(after));
    }
    let today = offset.civil(due)?.date;
    let from = match last {
        Some(last) => today.max(offset.civil(last)?.date.next()?),
        None => today,
    };
    match first_day(group, from)? {
        day if day == today => Some(due),
        day => offset.instant(Civil::midnight(day)),
    }
}
