//! How many of the scheduled samples came to something, quarter by quarter.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::calendar::Cycle;
use super::error::{Problem, at_least, within};

/// Scheduled samples that are to be valid, in %: seen only in excerpts of a copy of the EPA QA Handbook, Vol. II App. D (2017).
pub const WANTED_PERCENT: f64 = 75.0;

/// A quarter of a calendar year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quarter {
    /// The year.
    pub year: i16,
    /// 1 to 4.
    pub quarter: u8,
    /// Samples scheduled in it, of the days that were given.
    pub scheduled: usize,
    /// Samples scheduled in all of it.
    pub in_all: usize,
    /// Of these, valid or made up.
    pub valid: usize,
    /// `100 valid / scheduled`.
    pub percent: f64,
    /// As many as wanted, or more; `None` where it depends on the days that were not given.
    pub complete: Option<bool>,
}

/// Counts scheduled days and valid samples by quarter: `100 valid / scheduled`.
///
/// Each scheduled day is given once, with whether its sample was valid; a make-up sample counts for the day that it replaces, in that day's
/// quarter. Of a quarter of which days were not given, it is told only what holds whatever came of those. Range: wanted 0 to 100 %.
///
/// # Errors
/// None given; a day given twice, or one that is not of the cycle; a wanted share out of range.
///
/// ```
/// use draught_sim::hygiene::{calendar::Cycle, completeness::{WANTED_PERCENT, quarters}};
/// use jiff::civil::date;
/// let cycle = Cycle::new(date(2027, 1, 1), 12)?;
/// let year = cycle.days(date(2027, 1, 1), date(2027, 3, 31))?;
/// let days: Vec<_> = year.iter().map(|d| (*d, *d != year[0] && *d != year[1])).collect();
/// let found = quarters(&days, &cycle, WANTED_PERCENT)?;
/// assert_eq!((found[0].percent, found[0].complete), (75.0, Some(true)));
/// let part = quarters(&days[..4], &cycle, WANTED_PERCENT)?;
/// assert_eq!((part[0].scheduled, part[0].in_all, part[0].complete), (4, 8, None));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn quarters(
    days: &[(Date, bool)],
    cycle: &Cycle,
    wanted_percent: f64,
) -> Result<Vec<Quarter>, Problem> {
    within("wanted share", wanted_percent, 0.0, 100.0, "%")?;
    if days.is_empty() {
        return Err(Problem::TooFew { what: "scheduled days", count: 0, least: 1 });
    }
    let once: BTreeMap<Date, bool> = days.iter().copied().collect();
    if once.len() != days.len() {
        return Err(Problem::Contradiction {
            what: "a scheduled day is given twice",
            help: "give each scheduled day once; a make-up sample counts for the day that it replaces",
        });
    }
    let mut counts: BTreeMap<(i16, u8), (usize, usize)> = BTreeMap::new();
    for (day, valid) in once {
        // Months are 1 to 12.
        let quarter = day.month().unsigned_abs().saturating_sub(1) / 3 + 1;
        let count = counts.entry((day.year(), quarter)).or_default();
        count.0 += 1;
        count.1 += usize::from(valid);
    }
    let row = |((year, quarter), (scheduled, valid)): ((i16, u8), (usize, usize))| {
        let in_all = days_of(cycle, year, quarter)?;
        let share = |valid: usize, of: usize| 100.0 * valid as f64 / of as f64;
        let percent = share(valid, scheduled);
        let missing = in_all.checked_sub(scheduled).ok_or(Problem::Contradiction {
            what: "a quarter has more days than the cycle has in it",
            help: "give the days of the cycle, and each once",
        })?;
        // With the days that were not given all lost, and all valid.
        let (least, most) = (share(valid, in_all), share(valid + missing, in_all));
        let complete = if at_least(least, wanted_percent) {
            Some(true)
        } else if at_least(most, wanted_percent) {
            None
        } else {
            Some(false)
        };
        Ok(Quarter { year, quarter, scheduled, in_all, valid, percent, complete })
    };
    counts.into_iter().map(row).collect()
}

/// How many days a cycle has in a quarter.
fn days_of(cycle: &Cycle, year: i16, quarter: u8) -> Result<usize, Problem> {
    let out = Problem::OutOfRange {
        what: "year",
        value: f64::from(year),
        least: f64::from(Date::MIN.year()),
        most: f64::from(Date::MAX.year()),
        unit: "",
    };
    let month = i8::try_from(quarter.saturating_sub(1) * 3 + 1).unwrap_or(1);
    let first = Date::new(year, month, 1).map_err(|_| out)?;
    let last = Date::new(year, month.saturating_add(2), 1).map_err(|_| out)?.last_of_month();
    Ok(cycle.days(first, last)?.len())
}
