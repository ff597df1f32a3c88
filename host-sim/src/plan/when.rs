//! Dates, times of day and weekdays as people write them.

use draught::calendar::{Civil, Date, TimeOfDay, Weekday, Weekdays};

use super::words;

/// Why a text is no date or time: code, message, what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotWhen {
    /// The stable code.
    pub code: &'static str,
    /// What is wrong, in a sentence.
    pub message: String,
    /// What to do.
    pub help: String,
}

fn refuse<T>(code: &'static str, message: String, help: impl Into<String>) -> Result<T, NotWhen> {
    Err(NotWhen { code, message, help: help.into() })
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// Reads "2027-02-11".
///
/// # Errors
/// [`NotWhen`] for a text of another form, and for a date that does not exist.
pub fn date(text: &str) -> Result<Date, NotWhen> {
    let parts: Vec<&str> = text.trim().split('-').collect();
    let numbers: Vec<u16> = parts
        .iter()
        .filter(|p| !p.is_empty() && p.bytes().all(|b| b.is_ascii_digit()))
        .filter_map(|p| p.parse().ok())
        .collect();
    match (parts.as_slice(), numbers.as_slice()) {
        ([y, _, _], [year, month, day]) if y.len() == 4 => from_ymd(*year, *month, *day),
        _ => refuse(
            "not-a-date",
            format!("{text:?} is not a date"),
            "write year-month-day, as in \"2027-02-11\"",
        ),
    }
}

/// A date from its numbers.
///
/// # Errors
/// [`NotWhen`] for a date that does not exist or lies outside 2000 to 2135.
pub fn from_ymd(year: u16, month: u16, day: u16) -> Result<Date, NotWhen> {
    if !(2000..=2135).contains(&year) {
        return refuse(
            "out-of-range",
            format!("the year {year} is outside 2000 to 2135, the years a pump's calendar has"),
            "choose a year from 2000 to 2135",
        );
    }
    let Some(name) = usize::from(month).checked_sub(1).and_then(|m| MONTHS.get(m)) else {
        return refuse(
            "no-such-date",
            format!("there is no month {month}"),
            "write year-month-day, as in \"2027-02-11\"",
        );
    };
    let exists = |d: u8| Date::from_ymd(year, month as u8, d);
    match u8::try_from(day).ok().and_then(exists) {
        Some(date) => Ok(date),
        None => {
            let last = (28..=31).rev().find(|d| exists(*d).is_some()).unwrap_or(28);
            refuse(
                "no-such-date",
                format!("there is no {day} {name} {year}"),
                format!("{name} {year} has {last} days"),
            )
        }
    }
}

/// Reads "22:00", "22:00:30" or "22:00:30.5".
///
/// # Errors
/// [`NotWhen`] for a text of another form, and for a time that does not exist.
pub fn time(text: &str) -> Result<TimeOfDay, NotWhen> {
    let form = || {
        refuse(
            "not-a-time",
            format!("{text:?} is not a time of day"),
            "write hours and minutes of a 24-hour clock, as in \"22:00\"",
        )
    };
    let trimmed = text.trim();
    let (whole, fraction) = trimmed.split_once('.').unwrap_or((trimmed, ""));
    let parts: Vec<&str> = whole.split(':').collect();
    let digits = |p: &&str| (1..=2).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_digit());
    if !(2..=3).contains(&parts.len()) || !parts.iter().all(digits) || parts[1].len() != 2 {
        return form();
    }
    if trimmed.contains('.') && (parts.len() != 3 || !(1..=3).contains(&fraction.len())) {
        return refuse(
            "not-a-time",
            format!("{text:?} is not a time of day in whole milliseconds"),
            "write it as in \"22:00:00\" or \"22:00:00.250\"",
        );
    }
    let number = |i: usize| parts.get(i).map_or(Some(0), |p| p.parse::<u8>().ok());
    let (Some(h), Some(m), Some(s)) = (number(0), number(1), number(2)) else { return form() };
    let Ok(ms) = format!("{fraction:0<3}").parse::<u32>() else { return form() };
    from_hms_ms(h, m, s, ms)
}

/// A time of day from its numbers.
///
/// # Errors
/// [`NotWhen`] for a time that does not exist.
pub fn from_hms_ms(h: u8, m: u8, s: u8, ms: u32) -> Result<TimeOfDay, NotWhen> {
    let time = TimeOfDay::from_hms(h, m, s).and_then(|t| TimeOfDay::from_ms(t.as_ms() + ms).ok());
    match time {
        Some(time) => Ok(time),
        None if h == 24 => refuse(
            "no-such-time",
            "there is no 24:00: a day begins at 00:00 and ends before the next 00:00".to_owned(),
            "write \"00:00\", which is the start of the next day",
        ),
        None => refuse(
            "no-such-time",
            format!("there is no time of day {h:02}:{m:02}:{s:02}"),
            "hours go to 23, minutes and seconds to 59",
        ),
    }
}

/// Reads "2027-02-11 22:10", also with a T between.
///
/// # Errors
/// [`NotWhen`] for anything else.
pub fn civil(text: &str) -> Result<Civil, NotWhen> {
    let trimmed = text.trim();
    // The date has digits and dashes only; what ends it is the separator.
    let date_len = trimmed.find(|c: char| !c.is_ascii_digit() && c != '-').unwrap_or(trimmed.len());
    let (d, rest) = trimmed.split_at(date_len);
    let Some(t) = rest.strip_prefix(['T', 't', ' ']).filter(|_| !d.is_empty()) else {
        return refuse(
            "not-a-date",
            format!("{text:?} is not a date with a time"),
            "write date and time, as in \"2027-02-11 22:10\"",
        );
    };
    if t.ends_with(['Z', 'z']) || t.contains('+') || t.contains('-') {
        return refuse(
            "not-a-date",
            format!("{text:?} has a UTC offset of its own"),
            "leave the offset out: dates and times of a plan are the site's",
        );
    }
    Ok(Civil { date: date(d)?, time: time(t.trim_start())? })
}

const DAYS: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

/// The whole name of a weekday.
#[must_use]
pub fn day_name(day: Weekday) -> &'static str {
    DAYS[day as usize]
}

/// The first three letters of a weekday.
#[must_use]
pub fn day_short(day: Weekday) -> &'static str {
    &DAYS[day as usize][..3]
}

fn day(text: &str) -> Result<Weekday, NotWhen> {
    let word = text.trim();
    let named = |name: &&str| {
        word.len() >= 3 && name.len() >= word.len() && name[..word.len()].eq_ignore_ascii_case(word)
    };
    if word.is_ascii()
        && let Some(at) = DAYS.iter().position(named)
    {
        return Ok(Weekday::ALL[at]);
    }
    let help = match words::closest(word, DAYS.iter().map(|d| &d[..3]).chain(DAYS)) {
        Some(meant) => format!("did you mean {meant:?}?"),
        None => "days are Mon, Tue, Wed, Thu, Fri, Sat, Sun".to_owned(),
    };
    refuse("not-a-weekday", format!("{word:?} is not a day of the week"), help)
}

/// Reads a day or a list of days and spans of days: "Mon", "Mon-Fri", "Mon, Wed, Fri-Sun".
///
/// # Errors
/// [`NotWhen`] for anything else.
pub fn weekdays(text: &str) -> Result<Weekdays, NotWhen> {
    let mut bits = 0u8;
    for part in text.split(',') {
        match part.split_once('-') {
            None => bits |= 1 << day(part)? as u8,
            Some((from, to)) => {
                let (from, to) = (day(from)? as u8, day(to)? as u8);
                let mut at = from;
                loop {
                    bits |= 1 << at;
                    if at == to {
                        break;
                    }
                    at = (at + 1) % 7;
                }
            }
        }
    }
    Weekdays::from_bits(bits).map_err(|e| NotWhen {
        code: "not-a-weekday",
        message: e.to_string(),
        help: "name at least one day, as in \"Mon-Fri\"".to_owned(),
    })
}

/// A set of weekdays as a plan writes it: "Mon-Fri", "Mon, Wed, Fri".
#[must_use]
pub fn weekdays_text(days: Weekdays) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut at = 0;
    while let Some(first) = Weekday::ALL.get(at) {
        let run = Weekday::ALL[at..].iter().take_while(|d| days.contains(**d)).count();
        match run {
            0 => {}
            1 | 2 => {
                parts.extend(Weekday::ALL[at..at + run].iter().map(|d| day_short(*d).to_owned()))
            }
            _ => parts.push(format!(
                "{}-{}",
                day_short(*first),
                day_short(Weekday::ALL[at + run - 1])
            )),
        }
        at += run.max(1);
    }
    parts.join(", ")
}

/// "2027-02-11".
#[must_use]
pub fn date_text(date: Date) -> String {
    let (y, m, d) = date.ymd();
    format!("{y:04}-{m:02}-{d:02}")
}

/// "22:00", with seconds and milliseconds only where there are any.
#[must_use]
pub fn time_text(time: TimeOfDay) -> String {
    let full = time_text_seconds(time);
    full.strip_suffix(":00").unwrap_or(&full).to_owned()
}

/// "22:00:00", with milliseconds only where there are any.
#[must_use]
pub fn time_text_seconds(time: TimeOfDay) -> String {
    let ms = time.as_ms();
    let (h, m, s, rest) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60, ms % 1_000);
    if rest == 0 {
        format!("{h:02}:{m:02}:{s:02}")
    } else {
        format!("{h:02}:{m:02}:{s:02}.{rest:03}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_times() {
        assert_eq!(date("2027-02-11").unwrap().ymd(), (2027, 2, 11));
        assert_eq!(date("2027-2-1").unwrap().ymd(), (2027, 2, 1));
        assert_eq!(date("2027-02-30").unwrap_err().help, "February 2027 has 28 days");
        assert_eq!(date("2027-13-01").unwrap_err().code, "no-such-date");
        assert_eq!(date("1999-01-01").unwrap_err().code, "out-of-range");
        for text in
            ["11.02.2027", "2027/02/11", "02-11-2027", "2027-02", "2027-02-1a", "", "2027--1-1"]
        {
            assert_eq!(date(text).unwrap_err().code, "not-a-date", "{text}");
        }
        assert_eq!(time("7:30").unwrap().as_ms(), 27_000_000);
        assert_eq!(time("23:59:59.999").unwrap().as_ms(), 86_399_999);
        assert_eq!(time("24:00").unwrap_err().code, "no-such-time");
        for text in
            ["7", "10 pm", "7:3", "07:30:00.", "07:30.5", "07:30:00.1234", "", "-1:00", "٠7:00"]
        {
            assert_eq!(time(text).unwrap_err().code, "not-a-time", "{text}");
        }
        assert!(civil("2027-02-11 22:10").is_ok());
        assert!(civil("2027-02-11T22:10Z").unwrap_err().help.contains("leave the offset out"));
    }

    #[test]
    fn weekday_sets() {
        assert_eq!(weekdays("Mon-Fri"), Ok(Weekdays::MONDAY_TO_FRIDAY));
        assert_eq!(weekdays("fri-monday").unwrap().bits(), 0b111_0001);
        assert_eq!(weekdays("Mon, wed").unwrap().bits(), 0b000_0101);
        assert_eq!(weekdays("Tuseday").unwrap_err().help, "did you mean \"Tuesday\"?");
        assert!(weekdays("Mo").is_err() && weekdays("").is_err());
        for bits in 1..=127 {
            let set = Weekdays::from_bits(bits).unwrap();
            assert_eq!(weekdays(&weekdays_text(set)), Ok(set));
        }
    }
}
