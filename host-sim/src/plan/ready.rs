//! From a plan to a schedule that can be armed: the site's offset, the outlook, and every check
//! that needs them.

use draught::audit::Fit;
use draught::calendar::Civil;
use draught::clock::{MonoMs, Now, WallMs};
use draught::machine::{EventId, Input, Machine};
use draught::table::{StepTable, TableRef};
use draught::units::RawVolume;

use super::finding::{Finding, Findings};
use super::method_checks::{self, MethodFit};
use super::outlook::Outlook;
use super::read::{self, Plan};
use super::site::SiteTime;
use super::source::Source;
use super::{CAPACITY, armed_rules, checks, outlook_checks, table_rules};
use crate::methods::Library;

/// The moment at which a schedule is taken to be armed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ArmedAt {
    /// The moment of asking.
    Now(WallMs),
    /// A date and time of the plan.
    Civil(Civil),
    /// An instant.
    Instant(WallMs),
}

/// A plan with everything that was found about it.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// Its text.
    pub source: Source,
    /// What was found, errors and less.
    pub findings: Findings,
    /// The schedule with its outlook, unless an error stands in the way of it.
    ///
    /// It may be there although there are errors: a schedule that a pump could hold, but whose outlook is wrong.
    pub ready: Option<Ready>,
    /// How it goes with the method that it names; `None` without one, or where no library was looked into.
    pub method: Option<MethodFit>,
}

/// A schedule that can be armed, with what it will do.
#[derive(Clone, Debug)]
pub struct Ready {
    /// The plan that it was made from.
    pub plan: Plan,
    /// What a pump gets.
    pub table: StepTable<CAPACITY>,
    /// The time that the schedule is in.
    pub time: SiteTime,
    /// When it is taken to be armed; the monotonic clock begins at 0 there.
    pub armed: Now,
    /// What it will do.
    pub outlook: Outlook,
}

impl Ready {
    /// The table, all rules kept.
    #[must_use]
    pub fn table(&self) -> TableRef<'_> {
        // It was checked when it was made, and cannot be changed since: the fields are only read.
        self.table.checked().expect("a table that was checked when it was made")
    }

    /// The instant of arming.
    #[must_use]
    pub fn armed_wall(&self) -> WallMs {
        self.armed.wall.unwrap_or(WallMs::FIRST)
    }
}

/// Reads, lowers and checks a plan, as armed at a moment.
#[must_use]
pub fn load(source: Source, armed_at: ArmedAt) -> Loaded {
    let (plan, mut findings) = read::plan(&source);
    let ready = plan.and_then(|plan| {
        let table = table_rules::table(&plan, &mut findings);
        checks::of_steps(&plan, &mut findings);
        let usable = !findings.has_errors();
        let table = table.filter(|_| usable)?;
        schedule(plan, table, armed_at, &mut findings)
    });
    if let Some(ready) = &ready {
        outlook_checks::of_outlook(ready, &mut findings);
    }
    Loaded { source, findings, ready, method: None }
}

/// The same, and compares the plan with the method that it names.
#[must_use]
pub fn load_with(source: Source, armed_at: ArmedAt, library: &Library) -> Loaded {
    let mut loaded = load(source, armed_at);
    if let Some(ready) = &loaded.ready {
        loaded.method = method_checks::of(ready, library, &mut loaded.findings);
    }
    loaded
}

/// The schedule of a plan, whenever it is armed: table rules only, and at UTC where the plan has a zone.
#[must_use]
pub fn table(source: &Source) -> (Option<StepTable<CAPACITY>>, Findings) {
    let (plan, mut findings) = read::plan(source);
    let table = plan.and_then(|plan| table_rules::table(&plan, &mut findings));
    (table.filter(|_| !findings.has_errors()), findings)
}

fn schedule(
    plan: Plan,
    mut table: StepTable<CAPACITY>,
    armed_at: ArmedAt,
    findings: &mut Findings,
) -> Option<Ready> {
    let wall = findings.keep(armed_instant(&plan, armed_at))?;
    let armed = Now { mono: MonoMs::from_ms(0), wall: Some(wall) };
    let mut time = findings.keep(time_at(&plan, wall))?;
    // The offset is that of the first start, and the first start may depend on the offset: it is
    // looked for until both agree. Where they never do, the start lies in a time that the clock leaps over.
    for _ in 0..3 {
        table.settings_mut().utc_offset = time.offset;
        let checked = table.checked().ok()?;
        let input = Input { now: armed, drawn: RawVolume::ZERO };
        let first = match Machine::new().arm(checked, &Fit::ANY, EventId::default(), input) {
            Ok(first) => first.at.wall.unwrap_or(wall),
            Err(refused) => {
                findings.push(armed_rules::finding(&plan, refused, &time, wall, armed_at));
                return None;
            }
        };
        let there = findings.keep(time_at(&plan, first))?;
        if there == time {
            let outlook = match Outlook::new(checked, armed) {
                Ok(outlook) => outlook,
                Err(refused) => {
                    findings.push(armed_rules::finding(&plan, refused, &time, wall, armed_at));
                    return None;
                }
            };
            return Some(Ready { plan, table, time, armed, outlook });
        }
        time = there;
    }
    findings.push(
        Finding::error(
            "start-in-gap",
            "the first start falls into a time that the site's clock leaps over",
        )
        .at(plan.site.span.clone(), format!("the clock changes to {}", time.label()))
        .help("start an hour earlier or later, or write time = \"standard\""),
    );
    None
}

fn time_at(plan: &Plan, wall: WallMs) -> Result<SiteTime, Finding> {
    plan.site.value.time_at(wall).map_err(|seconds| {
        Finding::error("bad-offset", "the offset of this zone is not in whole quarter-hours")
            .at(plan.site.span.clone(), format!("{seconds} s from UTC at the first start"))
            .help("write utc-offset = ... with the nearest quarter-hour, and keep the pump's clock to it")
    })
}

fn armed_instant(plan: &Plan, armed_at: ArmedAt) -> Result<WallMs, Finding> {
    match armed_at {
        ArmedAt::Now(wall) | ArmedAt::Instant(wall) => Ok(wall),
        ArmedAt::Civil(civil) => plan.site.value.instant(civil).ok_or_else(|| {
            Finding::error("no-such-time", "the moment of arming does not exist at this site")
                .at(
                    plan.site.span.clone(),
                    "the clock leaps over it, or it is outside 2020 to 2135",
                )
                .help("choose another --armed-at")
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::when;
    use super::*;

    fn loaded(head: &str, steps: &str, armed: &str) -> Loaded {
        let text =
            format!("flow = \"2.0 L/min\"\n{head}\nsteps = [ {steps}, {{ finish = true }} ]");
        let armed = when::civil(armed).expect("a date");
        load(Source::new("test", text), ArmedAt::Civil(armed))
    }

    const DENVER: &str = "zone = \"America/Denver\"";
    const SPRING: &str =
        "{ wait-for-date = \"2027-03-20\" }, { wait-for-time = \"08:00\" }, { run-for = \"1 h\" }";

    fn quarters(l: &Loaded) -> i8 {
        l.ready.as_ref().expect("a schedule").table().settings().utc_offset.quarter_hours()
    }

    #[test]
    fn the_offset_is_that_of_the_first_start_not_of_arming() {
        // The clocks go forward on 14 March 2027.
        let civil = loaded(DENVER, SPRING, "2027-03-10 12:00");
        assert_eq!(quarters(&civil), -24);
        let first = civil.ready.and_then(|r| r.outlook.first_start()).and_then(|n| n.wall);
        let eight = when::civil("2027-03-20 14:00").expect("a date");
        assert_eq!(first, SiteTime::utc().offset.instant(eight));
        let standard = format!("{DENVER}\ntime = \"standard\"");
        assert_eq!(quarters(&loaded(&standard, SPRING, "2027-03-10 12:00")), -28);
        assert_eq!(quarters(&loaded("utc-offset = \"+05:45\"", SPRING, "2027-03-10 12:00")), 23);
    }

    #[test]
    fn a_schedule_that_needs_no_clock_is_read_at_its_arming() {
        assert_eq!(quarters(&loaded(DENVER, "{ run-for = \"15 min\" }", "2027-01-10 12:00")), -28);
        assert_eq!(quarters(&loaded(DENVER, "{ run-for = \"15 min\" }", "2027-07-10 12:00")), -24);
    }

    #[test]
    fn an_hour_that_comes_twice_is_the_first_of_the_two() {
        // The clocks go back from 02:00 to 01:00 on 7 November 2027.
        let steps = "{ wait-for-date = \"2027-11-07\" }, { wait-for-time = \"01:15\" }, { run-for = \"15 min\" }";
        let twice = loaded(DENVER, steps, "2027-11-06 12:00");
        assert_eq!(quarters(&twice), -24);
        assert!(!twice.findings.has_errors());
    }

    #[test]
    fn a_target_that_is_the_plans_own_is_left_out() {
        let l =
            loaded(DENVER, "{ run-for = \"15 min\", flow = \"2000 mL/min\" }", "2027-01-10 12:00");
        let ready = l.ready.expect("a schedule");
        assert_eq!(ready.table().steps()[0].own_target(), None);
        assert!(!l.findings.has_errors());
    }
}
