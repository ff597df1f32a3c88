//! The core's calendar against jiff, and against published and computed dates.

use draught::audit::Fit;
use draught::calendar::Weekday;
use draught::forecast::{Forecast, What};
use draught::prelude::*;
use jiff::civil;
use jiff::tz::Offset;
use jiff::{Timestamp, ToSpan};
use proptest::prelude::*;

const EPOCH_UNIX_MS: i64 = 946_684_800_000;

fn in_jiff(date: Date) -> civil::Date {
    let (y, m, d) = date.ymd();
    civil::Date::new(y as i16, m as i8, d as i8).expect("a date")
}

fn weekday(date: Date) -> i8 {
    date.weekday() as i8
}

#[test]
fn every_day_from_2000_to_2135() {
    let mut day = civil::date(2000, 1, 1);
    let mut date = Date::from_days(0).expect("the first");
    let mut days = 0u16;
    loop {
        let (y, m, d) = date.ymd();
        assert_eq!((y as i16, m as i8, d as i8), (day.year(), day.month(), day.day()));
        assert_eq!(date.days(), days);
        assert_eq!(Date::from_ymd(y, m, d), Some(date), "{day}");
        assert_eq!(weekday(date), day.weekday().to_monday_zero_offset(), "{day}");
        let Some(next) = date.next() else { break };
        assert!(next > date);
        (date, day, days) = (next, day.tomorrow().expect("a day"), days + 1);
    }
    assert_eq!(day, civil::date(2135, 12, 31));
    assert_eq!(date, Date::LAST);
    assert!(Date::from_days(days + 1).is_err());
}

#[test]
fn every_date_that_does_not_exist_is_refused() {
    for y in 1998..=2138u16 {
        for m in 0..=14u8 {
            for d in 0..=33u8 {
                let exists = (2000..=2135).contains(&y)
                    && civil::Date::new(y as i16, m as i8, d as i8).is_ok();
                assert_eq!(Date::from_ymd(y, m, d).is_some(), exists, "{y}-{m}-{d}");
            }
        }
    }
    assert!(Date::from_ymd(u16::MAX, 255, 255).is_none());
}

#[test]
fn days_ahead_are_jiffs() {
    for days in (0..=Date::LAST.days()).step_by(97) {
        let date = Date::from_days(days).expect("in range");
        for ahead in [0u16, 1, 28, 29, 31, 59, 365, 366, 1_461, 36_524, 49_672, u16::MAX] {
            let expected = in_jiff(date)
                .checked_add(i64::from(ahead).days())
                .ok()
                .filter(|d| d.year() <= 2135);
            assert_eq!(date.plus_days(ahead).map(in_jiff), expected, "{date:?} + {ahead}");
        }
    }
}

#[test]
fn the_trusted_century_begins_and_ends_where_it_says() {
    let utc = |w: WallMs| UtcOffset::UTC.civil(w).expect("in range");
    let first = utc(WallMs::FIRST);
    assert_eq!((first.date.ymd(), first.time.as_ms()), ((2020, 1, 1), 0));
    let last = utc(WallMs::LAST);
    assert_eq!((last.date.ymd(), last.time.as_ms()), ((2135, 12, 31), 86_399_999));
    let unix = |w: WallMs| Timestamp::from_millisecond(w.as_ms() as i64 + EPOCH_UNIX_MS).unwrap();
    assert_eq!(unix(WallMs::FIRST).to_string(), "2020-01-01T00:00:00Z");
    assert_eq!(unix(WallMs::LAST).to_string(), "2135-12-31T23:59:59.999Z");
    assert!(WallMs::from_ms(WallMs::FIRST.as_ms() - 1).is_none());
    assert!(WallMs::from_ms(WallMs::LAST.as_ms() + 1).is_none());
}

#[test]
fn every_offset_and_no_other() {
    for quarters in i8::MIN..=i8::MAX {
        let legal = (-48..=56).contains(&quarters);
        assert_eq!(UtcOffset::from_quarter_hours(quarters).is_ok(), legal, "{quarters}");
    }
}

fn wall() -> impl Strategy<Value = WallMs> {
    let all = WallMs::FIRST.as_ms()..=WallMs::LAST.as_ms();
    // Near a midnight somewhere, near both ends, and anywhere.
    let days = 7_305..=49_672u64;
    let ms = prop_oneof![
        3 => all,
        2 => (days, 0..96u64, 0..3u64).prop_map(|(d, q, off)| d * 86_400_000 + q * 900_000 + off),
        1 => (0..90_000_000u64).prop_map(|off| WallMs::FIRST.as_ms() + off),
        1 => (0..90_000_000u64).prop_map(|off| WallMs::LAST.as_ms() - off),
    ];
    ms.prop_filter_map("trusted", |ms| WallMs::from_ms(ms.saturating_sub(1)))
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 20_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Civil date and time at an instant, and the instant of a civil date and time.
    #[test]
    fn civil_time_is_jiffs(wall in wall(), quarters in -48..=56i8) {
        let offset = UtcOffset::from_quarter_hours(quarters).unwrap();
        let jiff = Offset::from_seconds(i32::from(quarters) * 900).unwrap();
        let unix = Timestamp::from_millisecond(wall.as_ms() as i64 + EPOCH_UNIX_MS).unwrap();
        let expected = jiff.to_datetime(unix);
        match offset.civil(wall) {
            Some(civil) => {
                prop_assert_eq!(in_jiff(civil.date), expected.date());
                let time = expected.time();
                let ms = ((i64::from(time.hour()) * 60 + i64::from(time.minute())) * 60
                    + i64::from(time.second())) * 1_000
                    + i64::from(time.subsec_nanosecond()) / 1_000_000;
                prop_assert_eq!(i64::from(civil.time.as_ms()), ms);
                prop_assert_eq!(offset.instant(civil), Some(wall));
            }
            // East of Greenwich the year 2136 begins before it does at Greenwich.
            None => prop_assert_eq!(expected.date().year(), 2136),
        }
    }

    /// A civil date and time has an instant exactly if it lies in the trusted century.
    #[test]
    fn instants_are_jiffs(days in 0..=49_672u16, ms in 0..86_400_000u32, quarters in -48..=56i8) {
        let civil = Civil {
            date: Date::from_days(days).unwrap(),
            time: TimeOfDay::from_ms(ms).unwrap(),
        };
        let offset = UtcOffset::from_quarter_hours(quarters).unwrap();
        let jiff = Offset::from_seconds(i32::from(quarters) * 900).unwrap();
        let local = in_jiff(civil.date).to_datetime(civil::Time::midnight())
            .checked_add(i64::from(ms).milliseconds()).unwrap();
        let unix = jiff.to_timestamp(local).unwrap().as_millisecond();
        let expected = u64::try_from(unix - EPOCH_UNIX_MS).ok().and_then(WallMs::from_ms);
        prop_assert_eq!(offset.instant(civil), expected);
    }

    /// The days of a cycle, counted by jiff.
    #[test]
    fn cycles_are_jiffs(from in 0..=49_672u16, every in 1..=366u16, day in 0..=49_672u16) {
        let (from, day) = (Date::from_days(from).unwrap(), Date::from_days(day).unwrap());
        let cycle = Cycle::new(from, every).unwrap();
        let gone = (in_jiff(day) - in_jiff(from)).get_days();
        let in_it = |gone: i32| gone >= 0 && gone % i32::from(every) == 0;
        prop_assert_eq!(cycle.contains(day), in_it(gone));
        // Looked for one day after another.
        let mut ahead = 0;
        while !in_it(gone + ahead) {
            ahead += 1;
        }
        let first = in_jiff(day).checked_add(i64::from(ahead).days()).unwrap();
        let expected = (first.year() <= 2135).then_some(first);
        prop_assert_eq!(cycle.first_from(day).map(in_jiff), expected);
    }
}

fn date(y: u16, m: u8, d: u8) -> Date {
    Date::from_ymd(y, m, d).expect("a date")
}

/// Computed with a third calendar (the Gregorian rules of another language's standard library).
#[test]
fn computed_dates() {
    let after_unix = |d: Date| u32::from(d.days()) + 10_957;
    assert_eq!(date(2000, 1, 1).weekday(), Weekday::Saturday);
    assert_eq!(date(2000, 2, 29).weekday(), Weekday::Tuesday);
    assert_eq!(date(2000, 2, 29).days(), 60 - 1);
    assert_eq!(date(2024, 2, 29).weekday(), Weekday::Thursday);
    assert_eq!(date(2100, 2, 28).weekday(), Weekday::Sunday);
    assert_eq!(date(2100, 2, 28).next(), Some(date(2100, 3, 1)));
    assert_eq!(date(2100, 3, 1).weekday(), Weekday::Monday);
    assert_eq!(Date::from_ymd(2100, 2, 29), None);
    assert_eq!(date(2026, 11, 24).weekday(), Weekday::Tuesday);
    assert_eq!(after_unix(date(2026, 11, 24)), 20_781);
    assert_eq!(date(2026, 11, 24).days() - date(2026, 1, 1).days() + 1, 328);
    assert_eq!(date(2038, 1, 19).weekday(), Weekday::Tuesday);
    assert_eq!(after_unix(date(2038, 1, 19)), 24_855);
    // ISO 8601: 2020-12-31 is W53-4, 2021-01-03 is W53-7, 2021-01-04 is W01-1, 2027-01-01 is W53-5,
    // 2008-12-29 is W01-1. The last figure is the weekday.
    for (day, iso) in [
        (date(2020, 12, 31), 4),
        (date(2021, 1, 3), 7),
        (date(2021, 1, 4), 1),
        (date(2027, 1, 1), 5),
        (date(2008, 12, 29), 1),
    ] {
        assert_eq!(weekday(day) + 1, iso, "{day:?}");
    }
}

/// 49 CFR 71.2: daylight saving begins on the second Sunday of March and ends on the first Sunday of
/// November. The dates are computed from that rule.
#[test]
fn sundays_on_which_the_united_states_change_their_clocks() {
    let nth_sunday = |y, m, n: usize| {
        (1..=31)
            .filter_map(|d| Date::from_ymd(y, m, d))
            .filter(|d| d.weekday() == Weekday::Sunday)
            .nth(n - 1)
            .expect("a month has four")
    };
    for (year, march, november) in
        [(2026, 8, 1), (2027, 14, 7), (2028, 12, 5), (2029, 11, 4), (2030, 10, 3)]
    {
        assert_eq!(nth_sunday(year, 3, 2), date(year, 3, march));
        assert_eq!(nth_sunday(year, 11, 1), date(year, 11, november));
    }
}

/// Every length of a cycle with every weekday, in either order, entered on several days: the appointment is
/// found where a day-by-day search finds it, or the group is refused as never met.
#[test]
fn every_cycle_meets_every_weekday_that_it_ever_meets() {
    let target = Target::flow(Flow::from_ul_per_min(1).unwrap());
    let settings = Settings::new(UtcOffset::UTC, target);
    let first = date(2027, 1, 1); // a Friday, 4 after Monday
    for every in 1..=366u16 {
        let cycle = Step::WaitForCycleDay(Cycle::new(first, every).unwrap());
        for weekday in 0..7u8 {
            let weekdays = Step::WaitForWeekday(Weekdays::from_bits(1 << weekday).unwrap());
            let fits = |day: u16| (4 + day) % 7 == u16::from(weekday) && day.is_multiple_of(every);
            for group in [[cycle, weekdays], [weekdays, cycle]] {
                let run = Step::RunFor { run: DurationMs::from_ms(1).unwrap(), target: None };
                let steps = [group[0], group[1], run, Step::Finish];
                let ever = (0..every * 7).find(|day| fits(*day));
                let Ok(table) = TableRef::new(&settings, &steps) else {
                    assert_eq!(ever, None, "every {every}, weekday {weekday}");
                    continue;
                };
                assert!(ever.is_some(), "every {every}, weekday {weekday}");
                for armed in [0, 1, every - 1, every, every * 3 + 1, every * 6] {
                    let found = (armed..).find(|day| fits(*day)).expect("it comes round");
                    let at = |day| UtcOffset::UTC.instant(Civil::midnight(first.plus_days(day)?));
                    let now = Now { mono: MonoMs::from_ms(0), wall: at(armed) };
                    let spans = Forecast::new(table, &Fit::ANY, now).expect("it is met");
                    let wait = spans.into_iter().next().map(|span| span.what);
                    let expected = What::Wait { appointment: at(found), met: true };
                    assert_eq!(wait, Some(expected), "every {every}, weekday {weekday}, {armed}");
                }
            }
        }
    }
}
