//! The site: its zone or offset, and how its time is written.

use draught::calendar::{Civil, UtcOffset, Weekday};
use draught::clock::WallMs;
use jiff::Timestamp;
use jiff::tz::{Dst, TimeZone};

use super::when;

/// 2000-01-01T00:00:00Z, from which a pump counts, in Unix milliseconds.
const PUMP_EPOCH_UNIX_MS: i64 = 946_684_800_000;

/// Where the pump stands, as far as its clock is concerned.
#[derive(Clone, Debug)]
pub enum Site {
    /// A zone with rules; the offset is that of the first start.
    Zone {
        /// The rules.
        zone: TimeZone,
        /// Its IANA name.
        name: String,
        /// Whether the plan is in the zone's standard time the whole year.
        standard: bool,
    },
    /// A fixed offset.
    Fixed(UtcOffset),
}

/// The fixed offset a schedule is read at, with the way to write times in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SiteTime {
    /// The offset.
    pub offset: UtcOffset,
    /// What people call it there, such as MST; `None` where it has no letters.
    pub abbreviation: Option<String>,
}

/// A wall instant from a Unix time in ms; `None` outside 2020 to 2135.
#[must_use]
pub fn wall_from_unix_ms(ms: i64) -> Option<WallMs> {
    u64::try_from(ms.checked_sub(PUMP_EPOCH_UNIX_MS)?).ok().and_then(WallMs::from_ms)
}

/// A wall instant as a Unix time in ms.
#[must_use]
pub fn unix_ms(wall: WallMs) -> i64 {
    // Up to the end of 2135: fits.
    wall.as_ms() as i64 + PUMP_EPOCH_UNIX_MS
}

fn timestamp(wall: WallMs) -> Timestamp {
    Timestamp::from_millisecond(unix_ms(wall)).unwrap_or(Timestamp::MAX)
}

impl Site {
    /// What a schedule whose first start is at `wall` is read at: the zone's offset then, or its
    /// standard one. `Err` gives an offset that is not a whole number of quarter-hours, in s.
    pub fn time_at(&self, wall: WallMs) -> Result<SiteTime, i32> {
        match self {
            Self::Fixed(offset) => Ok(SiteTime { offset: *offset, abbreviation: None }),
            Self::Zone { zone, standard: false, .. } => zone_time(zone, timestamp(wall)),
            Self::Zone { zone, standard: true, .. } => {
                let at = timestamp(wall);
                if zone.to_offset_info(at).dst() == Dst::No {
                    return zone_time(zone, at);
                }
                let standard = |t: &jiff::tz::TimeZoneTransition<'_>| t.dst() == Dst::No;
                let near =
                    zone.preceding(at).find(standard).or_else(|| zone.following(at).find(standard));
                match near {
                    Some(t) => SiteTime::new(t.offset().seconds(), t.abbreviation()),
                    None => zone_time(zone, at),
                }
            }
        }
    }

    /// What the clock on the wall shows at `wall`, daylight-saving included; the same as
    /// [`Self::time_at`] for a fixed offset.
    pub fn clock_at(&self, wall: WallMs) -> Result<SiteTime, i32> {
        match self {
            Self::Fixed(offset) => Ok(SiteTime { offset: *offset, abbreviation: None }),
            Self::Zone { zone, .. } => zone_time(zone, timestamp(wall)),
        }
    }

    /// The first instant after `from` and not after `to` at which the clock on the wall changes its offset.
    #[must_use]
    pub fn change_between(&self, from: WallMs, to: WallMs) -> Option<WallMs> {
        let Self::Zone { zone, .. } = self else { return None };
        let mut offset = zone.to_offset(timestamp(from));
        for change in zone.following(timestamp(from)) {
            if change.timestamp() > timestamp(to) {
                return None;
            }
            if change.offset() != offset {
                return wall_from_unix_ms(change.timestamp().as_millisecond());
            }
            offset = change.offset();
        }
        None
    }

    /// How the plan's time is named: the zone, or "fixed offset".
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        match self {
            Self::Zone { name, .. } => Some(name),
            Self::Fixed(_) => None,
        }
    }

    /// A civil date and time of the plan, as an instant: the earlier one where the clock goes
    /// back, `None` where it leaps over it or outside 2020 to 2135.
    #[must_use]
    pub fn instant(&self, civil: Civil) -> Option<WallMs> {
        let Self::Zone { zone, standard: false, .. } = self else {
            // The standard offset of a zone is not expected to change around one instant.
            let guess = UtcOffset::UTC.instant(civil)?;
            return self.time_at(guess).ok()?.offset.instant(civil);
        };
        let (y, m, d) = civil.date.ymd();
        let ms = civil.time.as_ms();
        let date = jiff::civil::Date::new(y as i16, m as i8, d as i8).ok()?;
        let time = jiff::civil::Time::new(
            (ms / 3_600_000) as i8,
            (ms / 60_000 % 60) as i8,
            (ms / 1_000 % 60) as i8,
            (ms % 1_000 * 1_000_000) as i32,
        )
        .ok()?;
        let ambiguous = zone.to_ambiguous_timestamp(date.to_datetime(time));
        if matches!(ambiguous.offset(), jiff::tz::AmbiguousOffset::Gap { .. }) {
            return None;
        }
        wall_from_unix_ms(ambiguous.earlier().ok()?.as_millisecond())
    }
}

fn zone_time(zone: &TimeZone, at: Timestamp) -> Result<SiteTime, i32> {
    let info = zone.to_offset_info(at);
    SiteTime::new(info.offset().seconds(), info.abbreviation())
}

impl SiteTime {
    fn new(seconds: i32, abbreviation: &str) -> Result<Self, i32> {
        let quarters = (seconds % 900 == 0).then(|| i8::try_from(seconds / 900).ok()).flatten();
        let offset = quarters.and_then(|q| UtcOffset::from_quarter_hours(q).ok()).ok_or(seconds)?;
        let letters = abbreviation.starts_with(|c: char| c.is_ascii_alphabetic());
        Ok(Self { offset, abbreviation: letters.then(|| abbreviation.to_owned()) })
    }

    /// UTC.
    #[must_use]
    pub const fn utc() -> Self {
        Self { offset: UtcOffset::UTC, abbreviation: None }
    }

    /// "MST (UTC-07:00)", or "UTC-07:00".
    #[must_use]
    pub fn label(&self) -> String {
        match &self.abbreviation {
            Some(letters) if letters != "UTC" => {
                format!("{letters} ({})", offset_text(self.offset))
            }
            _ => offset_text(self.offset),
        }
    }

    /// "MST", or "UTC-07:00".
    #[must_use]
    pub fn short_label(&self) -> String {
        self.abbreviation.clone().unwrap_or_else(|| offset_text(self.offset))
    }

    /// "Thu 2027-02-11 22:00:00".
    #[must_use]
    pub fn stamp(&self, wall: WallMs) -> String {
        match self.offset.civil(wall) {
            Some(c) => {
                format!("{} {}", day_and_date(c), when::time_text_seconds(c.time))
            }
            None => "after 2135".to_owned(),
        }
    }

    /// "Thu 2027-02-11 22:00", with seconds only where there are any.
    #[must_use]
    pub fn stamp_short(&self, wall: WallMs) -> String {
        match self.offset.civil(wall) {
            Some(c) => format!("{} {}", day_and_date(c), when::time_text(c.time)),
            None => "after 2135".to_owned(),
        }
    }

    /// "Thu 22:00", with seconds only where there are any.
    #[must_use]
    pub fn day_time(&self, wall: WallMs) -> String {
        match self.offset.civil(wall) {
            Some(c) => format!("{} {}", when::day_short(c.date.weekday()), when::time_text(c.time)),
            None => "after 2135".to_owned(),
        }
    }

    /// The weekday of an instant.
    #[must_use]
    pub fn weekday(&self, wall: WallMs) -> Option<Weekday> {
        self.offset.civil(wall).map(|c| c.date.weekday())
    }

    /// "2027-02-11T22:00:00-07:00", as RFC 3339 has it, for machines.
    #[must_use]
    pub fn rfc3339(&self, wall: WallMs) -> String {
        let Some(c) = self.offset.civil(wall) else { return String::new() };
        let time = when::time_text_seconds(c.time);
        let offset = offset_text(self.offset);
        let offset = offset.strip_prefix("UTC").filter(|o| !o.is_empty()).unwrap_or("Z");
        format!("{}T{time}{offset}", when::date_text(c.date))
    }
}

/// "2027-02-11T22:00:00.000-07:00": RFC 3339 to the millisecond; empty after 2135.
#[must_use]
pub fn stamp_ms(time: &SiteTime, wall: WallMs) -> String {
    let Some(c) = time.offset.civil(wall) else { return String::new() };
    let ms = c.time.as_ms();
    let (h, m, s, rest) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60, ms % 1_000);
    let offset = offset_text(time.offset);
    let offset = offset.strip_prefix("UTC").filter(|o| !o.is_empty()).unwrap_or("Z");
    format!("{}T{h:02}:{m:02}:{s:02}.{rest:03}{offset}", when::date_text(c.date))
}

fn day_and_date(c: Civil) -> String {
    format!("{} {}", when::day_short(c.date.weekday()), when::date_text(c.date))
}

/// "2027-02-12 05:00:00 UTC".
#[must_use]
pub fn utc_stamp(wall: WallMs) -> String {
    match UtcOffset::UTC.civil(wall) {
        Some(c) => format!("{} {} UTC", when::date_text(c.date), when::time_text_seconds(c.time)),
        None => "after 2135".to_owned(),
    }
}

/// "UTC-07:00"; "UTC" for none.
#[must_use]
pub fn offset_text(offset: UtcOffset) -> String {
    let quarters = i32::from(offset.quarter_hours());
    if quarters == 0 {
        return "UTC".to_owned();
    }
    let minutes = quarters.abs() * 15;
    let sign = if quarters < 0 { '-' } else { '+' };
    format!("UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// Reads "-07:00", "+05:45", "UTC-07:00", "UTC" or "Z".
#[must_use]
pub fn parse_offset(text: &str) -> Option<Result<UtcOffset, i32>> {
    let text = text.trim();
    if matches!(text, "Z" | "z" | "UTC") {
        return Some(Ok(UtcOffset::UTC));
    }
    let text = text.strip_prefix("UTC").unwrap_or(text);
    let (sign, digits) = match text.chars().next()? {
        '+' => (1, &text[1..]),
        '-' => (-1, &text[1..]),
        '\u{2212}' => (-1, &text['\u{2212}'.len_utf8()..]),
        _ => return None,
    };
    let (h, m) = digits.split_once(':').unwrap_or((digits, "00"));
    let number = |s: &str| -> Option<i32> {
        let fits = (1..=2).contains(&s.len()) && s.bytes().all(|b| b.is_ascii_digit());
        fits.then(|| s.parse().ok())?
    };
    let (h, m) = (number(h)?, number(m)?);
    if m > 59 {
        return None;
    }
    let minutes = sign * (h * 60 + m);
    let quarters = (minutes % 15 == 0).then(|| i8::try_from(minutes / 15).ok()).flatten();
    Some(quarters.and_then(|q| UtcOffset::from_quarter_hours(q).ok()).ok_or(minutes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wall(text: &str) -> WallMs {
        UtcOffset::UTC.instant(when::civil(text).unwrap()).unwrap()
    }

    fn denver(standard: bool) -> Site {
        let zone = TimeZone::get("America/Denver").unwrap();
        Site::Zone { zone, name: "America/Denver".to_owned(), standard }
    }

    #[test]
    fn a_zone_is_read_at_the_instant() {
        let t = denver(false).time_at(wall("2027-02-12 05:00")).unwrap();
        assert_eq!(t.label(), "MST (UTC-07:00)");
        assert_eq!(t.stamp(wall("2027-02-12 05:00")), "Thu 2027-02-11 22:00:00");
        assert_eq!(t.rfc3339(wall("2027-02-12 05:00")), "2027-02-11T22:00:00-07:00");
        assert_eq!(
            denver(false).time_at(wall("2027-07-01 00:00")).unwrap().label(),
            "MDT (UTC-06:00)"
        );
        assert_eq!(
            denver(true).time_at(wall("2027-07-01 00:00")).unwrap().label(),
            "MST (UTC-07:00)"
        );
    }

    #[test]
    fn changes_of_the_clock_are_found() {
        let change =
            denver(true).change_between(wall("2027-03-01 00:00"), wall("2027-04-01 00:00"));
        assert_eq!(change, Some(wall("2027-03-14 09:00")));
        assert_eq!(
            denver(true).change_between(wall("2027-02-01 00:00"), wall("2027-03-01 00:00")),
            None
        );
    }

    #[test]
    fn civil_times_that_the_clock_leaps_over_are_no_instant() {
        let at = |text: &str| denver(false).instant(when::civil(text).unwrap());
        assert_eq!(at("2027-03-14 02:30"), None);
        assert_eq!(at("2027-11-07 01:30"), Some(wall("2027-11-07 07:30")), "the earlier one");
        assert_eq!(
            denver(true).instant(when::civil("2027-03-14 02:30").unwrap()),
            Some(wall("2027-03-14 09:30"))
        );
    }

    #[test]
    fn offsets() {
        let quarters = |t| parse_offset(t).unwrap().unwrap().quarter_hours();
        assert_eq!(
            (quarters("-07:00"), quarters("+05:45"), quarters("Z"), quarters("UTC+1")),
            (-28, 23, 0, 4)
        );
        assert_eq!(parse_offset("-07:20"), Some(Err(-440)));
        assert_eq!(parse_offset("+15:00"), Some(Err(900)));
        assert_eq!(parse_offset("MST"), None);
        assert_eq!(parse_offset("+1:90"), None);
    }
}
