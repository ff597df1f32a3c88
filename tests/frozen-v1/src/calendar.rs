//! Civil dates and times of day, 2000 to 2135, in 32-bit arithmetic.
//!
//! The Gregorian rules, counted in days from 2000-01-01, a Saturday. Checked for every day against a
//! reference library in `tests/tests/calendar.rs`.
//!
//! ```
//! use draught::calendar::{Date, Weekday};
//! let d = Date::from_ymd(2024, 2, 29).unwrap();
//! assert_eq!(d.weekday(), Weekday::Thursday);
//! assert_eq!(d.next().unwrap().ymd(), (2024, 3, 1));
//! assert!(Date::from_ymd(2100, 2, 29).is_none());
//! ```

use crate::units::{OutOfRange, Quantity};

/// Days from 1 March of a shifted year to the first of each month, March first: `(153 m + 2) / 5`.
const fn days_before_month(march_based: u32) -> u32 {
    (153 * march_based + 2) / 5
}

/// A civil date from 2000-01-01 to 2135-12-31. Ordered by time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date(u16);

impl Date {
    /// 2000-01-01.
    pub const FIRST: Self = Self(0);
    /// 2135-12-31.
    pub const LAST: Self = Self(49_672);

    /// From days after 2000-01-01.
    ///
    /// # Errors
    /// [`OutOfRange`] after 2135-12-31 (day 49,672).
    pub const fn from_days(days: u16) -> Result<Self, OutOfRange> {
        match Quantity::Date.check(days as u64) {
            Ok(_) => Ok(Self(days)),
            Err(e) => Err(e),
        }
    }

    /// From days that were checked against their range already.
    pub(crate) const fn from_checked(days: u16) -> Self {
        Self(days)
    }

    /// Days after 2000-01-01.
    #[must_use]
    pub const fn days(self) -> u16 {
        self.0
    }

    /// From year, month (1 to 12) and day (1 to 31); `None` for a date that does not exist or lies
    /// outside 2000 to 2135.
    #[must_use]
    pub const fn from_ymd(year: u16, month: u8, day: u8) -> Option<Self> {
        if year < 2000 || year > 2135 || month < 1 || month > 12 || day < 1 {
            return None;
        }
        if day > days_in_month(year, month) {
            return None;
        }
        // Years that begin in March, counted from March 1600, so that the leap day comes last.
        let (y, m) = if month > 2 {
            (year as u32 - 1600, month as u32 - 3)
        } else {
            (year as u32 - 1601, month as u32 + 9)
        };
        let since_1600 =
            y * 365 + y / 4 - y / 100 + y / 400 + days_before_month(m) + day as u32 - 1;
        // 2000-01-01 is 146,037 days after 1600-03-01.
        Some(Self(since_1600.saturating_sub(146_037) as u16))
    }

    /// Year, month (1 to 12) and day (1 to 31).
    #[must_use]
    pub const fn ymd(self) -> (u16, u8, u8) {
        // None of the differences goes below 0; saturating, so that no compiler has to prove it.
        let z = self.0 as u32 + 146_037;
        let era = z / 146_097;
        let day_of_era = z % 146_097;
        let leap_days =
            (day_of_era / 1_460 + day_of_era / 146_096).saturating_sub(day_of_era / 36_524);
        let year_of_era = day_of_era.saturating_sub(leap_days) / 365;
        let year_begins = (365 * year_of_era + year_of_era / 4).saturating_sub(year_of_era / 100);
        let day_of_year = day_of_era.saturating_sub(year_begins);
        let m = (5 * day_of_year + 2) / 153;
        let day = day_of_year.saturating_sub(days_before_month(m)) + 1;
        let (month, later) = if m < 10 { (m + 3, 0) } else { (m - 9, 1) };
        ((1600 + era * 400 + year_of_era + later) as u16, month as u8, day as u8)
    }

    /// The weekday.
    #[must_use]
    pub const fn weekday(self) -> Weekday {
        // 2000-01-01 was a Saturday.
        match self.0 % 7 {
            0 => Weekday::Saturday,
            1 => Weekday::Sunday,
            2 => Weekday::Monday,
            3 => Weekday::Tuesday,
            4 => Weekday::Wednesday,
            5 => Weekday::Thursday,
            _ => Weekday::Friday,
        }
    }

    /// The day after; `None` after 2135-12-31.
    #[must_use]
    pub const fn next(self) -> Option<Self> {
        self.plus_days(1)
    }

    /// `days` later; `None` after 2135-12-31.
    #[must_use]
    pub const fn plus_days(self, days: u16) -> Option<Self> {
        match self.0.checked_add(days) {
            Some(d) if d <= Self::LAST.0 => Some(Self(d)),
            _ => None,
        }
    }
}

const fn days_in_month(year: u16, month: u8) -> u8 {
    match month {
        4 | 6 | 9 | 11 => 30,
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => {
            29
        }
        2 => 28,
        _ => 31,
    }
}

/// A day of the week; Monday is 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weekday {
    /// The first day of the week (ISO 8601).
    Monday,
    /// The day after Monday.
    Tuesday,
    /// The day after Tuesday.
    Wednesday,
    /// The day after Wednesday.
    Thursday,
    /// The day after Thursday.
    Friday,
    /// The day after Friday.
    Saturday,
    /// The day after Saturday.
    Sunday,
}

impl Weekday {
    /// All seven, Monday first.
    pub const ALL: [Self; 7] = [
        Self::Monday,
        Self::Tuesday,
        Self::Wednesday,
        Self::Thursday,
        Self::Friday,
        Self::Saturday,
        Self::Sunday,
    ];
}

/// A set of weekdays, not empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Weekdays(u8);

impl Weekdays {
    /// Monday to Friday.
    pub const MONDAY_TO_FRIDAY: Self = Self(0b001_1111);

    /// From bits; Monday is bit 0.
    ///
    /// # Errors
    /// [`OutOfRange`] for no day at all, and for bit 7.
    pub const fn from_bits(bits: u8) -> Result<Self, OutOfRange> {
        match Quantity::Weekdays.check(bits as u64) {
            Ok(_) => Ok(Self(bits)),
            Err(e) => Err(e),
        }
    }

    /// From bits that were checked against their range already.
    pub(crate) const fn from_checked(bits: u8) -> Self {
        Self(bits)
    }

    /// From single days; `None` for no day at all.
    ///
    /// ```
    /// use draught::calendar::{Weekday, Weekdays};
    /// let weekend = Weekdays::of(&[Weekday::Saturday, Weekday::Sunday]).unwrap();
    /// assert!(weekend.contains(Weekday::Sunday) && !weekend.contains(Weekday::Monday));
    /// ```
    #[must_use]
    pub fn of(days: &[Weekday]) -> Option<Self> {
        let bits = days.iter().fold(0, |bits, day| bits | 1 << *day as u8);
        Self::from_bits(bits).ok()
    }

    /// As bits; Monday is bit 0.
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// Whether the day is in the set.
    #[must_use]
    pub const fn contains(self, day: Weekday) -> bool {
        self.0 & (1 << day as u8) != 0
    }
}

/// A civil time of day, 00:00:00.000 to 23:59:59.999.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TimeOfDay(u32);

impl TimeOfDay {
    /// From milliseconds after midnight.
    ///
    /// # Errors
    /// [`OutOfRange`] from 86,400,000 on.
    pub const fn from_ms(ms: u32) -> Result<Self, OutOfRange> {
        match Quantity::TimeOfDay.check(ms as u64) {
            Ok(v) => Ok(Self(v)),
            Err(e) => Err(e),
        }
    }

    /// From milliseconds that were checked against their range already.
    pub(crate) const fn from_checked(ms: u32) -> Self {
        Self(ms)
    }

    /// From hour, minute and second; `None` if there is no such time.
    #[must_use]
    pub const fn from_hms(hour: u8, minute: u8, second: u8) -> Option<Self> {
        if hour > 23 || minute > 59 || second > 59 {
            return None;
        }
        Some(Self(((hour as u32 * 60 + minute as u32) * 60 + second as u32) * 1_000))
    }

    /// Milliseconds after midnight.
    #[must_use]
    pub const fn as_ms(self) -> u32 {
        self.0
    }
}

/// A fixed UTC offset in quarter-hours, -12:00 to +14:00.
///
/// A schedule has exactly one: a device knows no daylight-saving rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct UtcOffset(i8);

impl UtcOffset {
    /// UTC itself.
    pub const UTC: Self = Self(0);

    /// From quarter-hours, -48 to 56.
    ///
    /// # Errors
    /// [`OutOfRange`] outside -48 to 56; the value reported is 48 more than given.
    pub const fn from_quarter_hours(quarters: i8) -> Result<Self, OutOfRange> {
        let shifted = quarters as i16 + 48;
        if shifted < 0 {
            return Err(OutOfRange { quantity: Quantity::UtcOffset, value: shifted as u64 });
        }
        match Quantity::UtcOffset.check(shifted as u64) {
            Ok(_) => Ok(Self(quarters)),
            Err(e) => Err(e),
        }
    }

    /// From quarter-hours above the smallest offset, checked already: see [`Quantity::UtcOffset`].
    pub(crate) const fn from_shifted(quarters: u32) -> Self {
        Self(quarters.wrapping_sub(48) as i8)
    }

    /// In quarter-hours.
    #[must_use]
    pub const fn quarter_hours(self) -> i8 {
        self.0
    }
}

/// A civil date and time of day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Civil {
    /// The date.
    pub date: Date,
    /// The time of day.
    pub time: TimeOfDay,
}

impl Civil {
    /// The start of a day.
    #[must_use]
    pub const fn midnight(date: Date) -> Self {
        Self { date, time: TimeOfDay(0) }
    }
}
