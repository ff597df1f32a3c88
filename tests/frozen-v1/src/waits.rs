//! A group of consecutive waits, and the first instant that satisfies it.
//!
//! The rules are in `docs/steps.md`, "Waits".

use crate::calendar::{Date, Weekday};
use crate::step::Step;

/// Whether any day satisfies all waits of a group.
pub(crate) fn can_be_met(group: &[Step]) -> bool {
    first_day(group, Date::FIRST).is_some()
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
