//! A moment shortly before a plan's first start, for trying it out on any day.

use draught::calendar::{Civil, Date, TimeOfDay};
use draught::clock::WallMs;
use draught::step::Step;

use super::read;
use super::ready::{ArmedAt, load};
use super::source::Source;

/// How long before its first start a schedule is taken to be armed.
const LEAD_MS: u64 = 3 * 3_600_000;

/// A Monday from which on most zones keep their offset for five months: for plans that name no date.
const NO_DATE: Option<Date> = Date::from_ymd(2027, 5, 3);

/// A moment at which the plan can be armed: up to three hours before its first start.
///
/// It depends on nothing but the plan, so the same plan gives the same moment on any day. A plan that names a date, a cycle or a
/// start-by starts by it; any other is taken to be armed on a Monday in May.
#[must_use]
pub fn shortly_before(source: &Source) -> ArmedAt {
    let six = TimeOfDay::from_hms(6, 0, 0);
    let fallback = NO_DATE.zip(six).map(|(date, time)| Civil { date, time });
    let (plan, _) = read::plan(source);
    let Some(anchor) = plan.as_ref().and_then(anchor).or(fallback) else {
        return ArmedAt::Instant(WallMs::FIRST);
    };
    let from = ArmedAt::Civil(anchor);
    let Some(ready) = load(source.clone(), from).ready else { return from };
    let Some(first) = ready.outlook.first_start().and_then(|now| now.wall) else { return from };
    // To the whole minute, as a person would do it.
    let before = first.as_ms().saturating_sub(LEAD_MS) / 60_000 * 60_000;
    match WallMs::from_ms(before) {
        Some(before) if before > ready.armed_wall() => ArmedAt::Instant(before),
        _ => from,
    }
}

/// The day before the first date that the plan names.
fn anchor(plan: &read::Plan) -> Option<Civil> {
    let named = plan.steps.iter().find_map(|step| match &step.step {
        Step::WaitForDate(date) => Some(*date),
        Step::WaitForCycleDay(cycle) => Some(cycle.from()),
        _ => None,
    });
    let eve = |date: Date| Date::from_days(date.days().checked_sub(1)?).ok();
    match (named, plan.settings.start_by) {
        (Some(date), _) => eve(date).map(Civil::midnight),
        (None, Some(start_by)) => eve(start_by.date).map(|date| Civil { date, ..start_by }),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lead_ms(head: &str, steps: &str) -> (String, u64) {
        let text =
            format!("utc-offset = \"-07:00\"\nflow = \"2.0 L/min\"\n{head}\nsteps = [{steps}]\n");
        let source = Source::new("plan.toml", text);
        let ready = load(source.clone(), shortly_before(&source)).ready.expect("it can be armed");
        let first = ready.outlook.first_start().expect("it pumps");
        (ready.time.stamp_short(ready.armed_wall()), first.mono.as_ms())
    }

    #[test]
    fn a_plan_is_armed_up_to_three_hours_before_it_starts() {
        let run = "{ run-for = \"1 h\" }, { finish = true }";
        let at = |first: &str| lead_ms("", &format!("{first}{run}"));
        let three_hours = 3 * 3_600_000;
        let dated = at("{ wait-for-date = \"2031-03-08\" }, { wait-for-time = \"07:30\" },");
        assert_eq!(dated, ("Sat 2031-03-08 04:30".to_owned(), three_hours));
        let cycle = at(
            "{ wait-for-cycle-day = { from = \"2027-01-04\", every = \"6 days\" } }, { wait-for-time = \"00:00\" },",
        );
        assert_eq!(cycle, ("Sun 2027-01-03 21:00".to_owned(), three_hours));
        let weekly = at("{ wait-for-weekday = \"Tue\" }, { wait-for-time = \"08:00:30\" },");
        assert_eq!(weekly, ("Tue 2027-05-04 05:00".to_owned(), three_hours + 30_000));
        assert_eq!(at(""), ("Mon 2027-05-03 06:00".to_owned(), 0), "no appointment: at once");
        let by = "start-by = \"2027-02-11 22:10\"";
        let bounded = lead_ms(by, &format!("{{ wait-for-time = \"22:00\" }},{run}"));
        assert_eq!(bounded, ("Thu 2027-02-11 19:00".to_owned(), three_hours));
    }
}
