//! How many of the scheduled samples came to something, quarter by quarter.

use std::collections::BTreeMap;

use jiff::civil::Date;

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
    /// Samples scheduled in it.
    pub scheduled: usize,
    /// Of these, valid or made up.
    pub valid: usize,
    /// `100 valid / scheduled`.
    pub percent: f64,
    /// As many as wanted, or more.
    pub complete: bool,
}

/// Counts scheduled days and valid samples by quarter: `100 valid / scheduled`.
///
/// Each scheduled day is given once, with whether its sample was valid; a make-up sample counts for the day that it replaces, in that day's
/// quarter. Range: wanted 0 to 100 %.
///
/// # Errors
/// None given; a day given twice; a wanted share out of range.
///
/// ```
/// use draught_sim::hygiene::completeness::{WANTED_PERCENT, quarters};
/// use jiff::civil::date;
/// let days = [(date(2027, 1, 1), true), (date(2027, 1, 7), true), (date(2027, 1, 13), true), (date(2027, 1, 19), false)];
/// let found = quarters(&days, WANTED_PERCENT)?;
/// assert_eq!((found[0].percent, found[0].complete), (75.0, true));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn quarters(days: &[(Date, bool)], wanted_percent: f64) -> Result<Vec<Quarter>, Problem> {
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
        let percent = 100.0 * valid as f64 / scheduled as f64;
        let complete = at_least(percent, wanted_percent);
        Quarter { year, quarter, scheduled, valid, percent, complete }
    };
    Ok(counts.into_iter().map(row).collect())
}
