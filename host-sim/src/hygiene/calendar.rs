//! One day in so many, and what to do about a day that was missed.

use jiff::civil::Date;

use super::error::{Problem, within};

/// Most days that are listed at once.
pub const MOST_DAYS: usize = 10_000;

/// The days of a cycle: every `every`-th day, counted from an anchor that is one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cycle {
    anchor: Date,
    every: i32,
}

impl Cycle {
    /// A cycle of 1 to 366 days (40 CFR 58.12 has 1, 3, 6; 2015 edition). The anchor may be any of its days, also a later one.
    ///
    /// The national calendar is published each year, and its dates were not checked: take the anchor from it.
    ///
    /// # Errors
    /// A cycle out of range.
    ///
    /// ```
    /// use draught_sim::hygiene::calendar::Cycle;
    /// use jiff::civil::date;
    /// let cycle = Cycle::new(date(2027, 3, 2), 6)?;
    /// assert!(cycle.has(date(2027, 3, 8)) && !cycle.has(date(2027, 3, 9)));
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn new(anchor: Date, every: i32) -> Result<Self, Problem> {
        within("cycle", every.into(), 1.0, 366.0, "days")?;
        Ok(Self { anchor, every })
    }

    /// Whether a day is one of them.
    #[must_use]
    pub fn has(&self, day: Date) -> bool {
        days_between(self.anchor, day).rem_euclid(self.every) == 0
    }

    /// Its days from one to another, both included.
    ///
    /// # Errors
    /// The last before the first; more than [`MOST_DAYS`].
    ///
    /// ```
    /// use draught_sim::hygiene::calendar::Cycle;
    /// use jiff::civil::date;
    /// let cycle = Cycle::new(date(2027, 3, 2), 6)?;
    /// let march = cycle.days(date(2027, 3, 1), date(2027, 3, 31))?;
    /// assert_eq!(march.len(), 5);
    /// assert_eq!(march.last(), Some(&date(2027, 3, 26)));
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn days(&self, first: Date, last: Date) -> Result<Vec<Date>, Problem> {
        if last < first {
            return Err(Problem::Contradiction {
                what: "the last day is before the first",
                help: "give the earlier day first",
            });
        }
        let into = days_between(self.anchor, first).rem_euclid(self.every);
        let ahead = (self.every - into).rem_euclid(self.every);
        let mut days = Vec::new();
        let mut next = plus_days(first, ahead);
        while let Some(day) = next.filter(|d| *d <= last) {
            if days.len() == MOST_DAYS {
                return Err(Problem::TooMany { what: "days", most: MOST_DAYS });
            }
            days.push(day);
            next = plus_days(day, self.every);
        }
        Ok(days)
    }

    /// When a missed day can be made up: before the next day of the cycle, or exactly one week later.
    ///
    /// Source: 40 CFR 50 App. N (2015 edition).
    ///
    /// # Errors
    /// A day that is not one of the cycle; the end of all dates (9999).
    ///
    /// ```
    /// use draught_sim::hygiene::calendar::Cycle;
    /// use jiff::civil::date;
    /// let cycle = Cycle::new(date(2027, 3, 2), 3)?;
    /// let make_up = cycle.make_up(date(2027, 3, 5))?;
    /// assert_eq!(make_up.before_next, Some((date(2027, 3, 6), date(2027, 3, 7))));
    /// assert_eq!(make_up.week_later, date(2027, 3, 12));
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn make_up(&self, missed: Date) -> Result<MakeUp, Problem> {
        if !self.has(missed) {
            return Err(Problem::Contradiction {
                what: "the missed day is not a day of the cycle",
                help: "check the date, the anchor and the cycle",
            });
        }
        let later = |days: i32| {
            plus_days(missed, days).ok_or(Problem::TooLarge { what: "date of the make-up sample" })
        };
        let before_next =
            if self.every > 1 { Some((later(1)?, later(self.every - 1)?)) } else { None };
        let week_later = later(7)?;
        Ok(MakeUp { missed, before_next, week_later, week_later_is_taken: self.has(week_later) })
    }
}

/// When a missed day can be made up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MakeUp {
    /// The day that was missed.
    pub missed: Date,
    /// From and to: the days before the next one of the cycle, if there are any.
    pub before_next: Option<(Date, Date)>,
    /// Exactly one week later.
    pub week_later: Date,
    /// That is a day of the cycle itself.
    pub week_later_is_taken: bool,
}

impl MakeUp {
    /// Whether a sample on that day makes up for the missed one.
    #[must_use]
    pub fn takes(&self, day: Date) -> bool {
        self.before_next.is_some_and(|(from, to)| day >= from && day <= to)
            || day == self.week_later && !self.week_later_is_taken
    }
}

fn days_between(from: Date, to: Date) -> i32 {
    from.duration_until(to).as_hours().try_into().map_or(0, |hours: i32| hours / 24)
}

fn plus_days(day: Date, days: i32) -> Option<Date> {
    day.checked_add(jiff::Span::new().try_days(days).ok()?).ok()
}
