//! Instants and civil dates, by jiff.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp};

use super::plan::Condition;
use super::{Ms, WALL_LAST};

/// 2000-01-01T00:00:00Z after the Unix epoch.
const EPOCH: i64 = 946_684_800_000;

/// The last civil date of a schedule.
const LAST_DATE: Date = Date::constant(2135, 12, 31);

/// Reads civil dates at one fixed offset.
#[derive(Clone, Copy, Debug)]
pub struct CivilClock(Offset);

impl CivilClock {
    /// At this offset.
    #[must_use]
    pub fn new(offset: Offset) -> Self {
        Self(offset)
    }

    /// The civil date and time at an instant.
    #[must_use]
    pub fn civil(&self, instant: Ms) -> DateTime {
        let unix = i64::try_from(instant).expect("an instant of a century") + EPOCH;
        self.0.to_datetime(Timestamp::from_millisecond(unix).expect("an instant of a century"))
    }

    /// The civil date at an instant.
    #[must_use]
    pub fn day(&self, instant: Ms) -> Date {
        self.civil(instant).date()
    }

    /// The instant at so many ms after midnight of a civil date.
    #[must_use]
    pub fn instant(&self, day: Date, after_midnight: Ms) -> Ms {
        let after = SignedDuration::from_millis(i64::try_from(after_midnight).expect("one day"));
        let civil = day.to_datetime(Time::midnight()) + after;
        let at = self.0.to_timestamp(civil).expect("an instant of a century");
        Ms::from(at.as_millisecond() - EPOCH)
    }

    /// The first instant of this civil time of day for which `fits` holds, searched day by day from the
    /// civil day of `from` up to the end of 2135.
    pub fn first_time(&self, time: Ms, from: Ms, fits: impl Fn(Date, Ms) -> bool) -> Option<Ms> {
        self.days_from(from)
            .map(|day| (day, self.instant(day, time)))
            .take_while(|(_, at)| *at <= WALL_LAST)
            .find(|(day, at)| fits(*day, *at))
            .map(|(_, at)| at)
    }

    /// Every civil day from that of an instant up to the end of 2135.
    pub fn days_from(&self, instant: Ms) -> impl Iterator<Item = Date> + use<> {
        // An instant after 2135 has no day left.
        let first = (instant <= WALL_LAST).then(|| self.day(instant));
        core::iter::successors(first, |day| day.tomorrow().ok()).take_while(|d| *d <= LAST_DATE)
    }
}

impl Condition {
    /// Whether a day satisfies it; a time of day asks for no special day.
    #[must_use]
    pub fn allows(&self, day: Date) -> bool {
        match self {
            Self::On(date) => day == *date,
            Self::OnOneOf(weekdays) => weekdays.contains(&day.weekday()),
            Self::EveryFrom(first, every) => {
                day >= *first && days_between(*first, day) % every == 0
            }
            Self::At(_) => true,
        }
    }
}

fn days_between(earlier: Date, later: Date) -> i32 {
    (later - earlier).get_days()
}

/// A core date.
#[must_use]
pub fn date_of(date: draught::calendar::Date) -> Date {
    let (year, month, day) = date.ymd();
    let part = |v: u8| i8::try_from(v).expect("a month or a day");
    Date::new(i16::try_from(year).expect("a year"), part(month), part(day)).expect("a date")
}
