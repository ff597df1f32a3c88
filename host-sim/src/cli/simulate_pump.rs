//! What only the record of a whole pump has, for people: the air, limits, interruptions, battery, wakes, flags.

use draught::event::Limit;
use draught::journal::{Use, wear};
use draught::pump::CHECKPOINT_STRIDE;
use draught::record::{Flags, SampleRow};
use draught::units::RawVolume;

use super::paint::Paint;
use super::simulate::Simulated;
use super::simulate_record::Clock;
use crate::bench::PumpOutcome;
use crate::bench::physics::{CHECKPOINT_PAGES, PAGE};
use crate::plan::format;
use crate::report::numbers;
use crate::results::flags;
use crate::words;

/// A row of the table: what, planned, happened, remark.
pub(super) type Row<'r> = dyn FnMut(&str, String, String, String) + 'r;

fn samples(pump: &PumpOutcome) -> impl Iterator<Item = &SampleRow> {
    pump.rows.samples.iter().map(|s| &s.row)
}

/// The volume at standard conditions, as it was summed on the pump.
pub(super) fn standard(pump: &PumpOutcome, row: &mut Row<'_>) {
    let metered: u64 = samples(pump).map(|s| s.metered_ms()).sum();
    let measured: u64 = samples(pump).map(|s| s.air_ms).sum();
    let sum = samples(pump).map(|s| s.standard).fold(RawVolume::ZERO, RawVolume::saturating_add);
    let (happened, remark) = match measured {
        0 => ("-".to_owned(), "air not measured".to_owned()),
        ms if ms == metered => (numbers::volume(sum), "at 25 °C, 101.325 kPa".to_owned()),
        ms => {
            let (of, all) = (format::distance(ms), format::distance(metered));
            (numbers::volume(sum), format!("at 25 °C, 101.325 kPa; air measured {of} of {all}"))
        }
    };
    row("standard volume", "-".to_owned(), happened, remark);
}

/// What the air at the inlet was.
pub(super) fn air(pump: &PumpOutcome, row: &mut Row<'_>) {
    let celsius = |mk: u32| f64::from(mk) / 1_000.0 - 273.15;
    let kpa = |pa: u32| f64::from(pa) / 1_000.0;
    let mut line = |what: &str, unit, places, spread: Spreads, shown: &dyn Fn(u32) -> f64| {
        let Some((min, mean, max)) = spread else { return };
        let text = |value: u32| format!("{:.places$}", shown(value));
        let (min, max) = (text(min), text(max));
        let range =
            if min == max { "all the time".to_owned() } else { format!("{min} to {max} {unit}") };
        row(what, "-".to_owned(), format!("{} {unit}", text(mean)), range);
    };
    let temperature = spread(pump, SampleRow::temperature_mk);
    line("air temperature", "°C", 1, temperature, &celsius);
    line("air pressure", "kPa", 2, spread(pump, SampleRow::pressure_pa), &kpa);
}

type Spreads = Option<(u32, u32, u32)>;

/// Smallest, mean over time and largest of all samples.
fn spread(
    pump: &PumpOutcome,
    of: impl Fn(&SampleRow) -> Option<draught::record::Spread>,
) -> Spreads {
    let all: Vec<_> = samples(pump).filter_map(|s| Some((of(s)?, s.air_ms))).collect();
    let ms: u64 = all.iter().map(|(_, ms)| ms).sum();
    let sum: u128 = all.iter().map(|(s, ms)| u128::from(s.mean) * u128::from(*ms)).sum();
    let mean = sum.checked_div(ms.into()).and_then(|mean| u32::try_from(mean).ok())?;
    let min = all.iter().map(|(s, _)| s.min).min()?;
    Some((min, mean, all.iter().map(|(s, _)| s.max).max()?))
}

/// Outages and limits.
pub(super) fn trouble(s: &Simulated<'_>, pump: &PumpOutcome, row: &mut Row<'_>, paint: Paint) {
    let Some(event) = pump.rows.event.as_ref().map(|e| &e.row) else { return };
    let dash = || "-".to_owned();
    let clock = Clock::of(s);
    let starts: Vec<String> = event
        .interrupted_s
        .iter()
        .take(event.interruptions.into())
        .filter_map(|s| draught::clock::WallMs::from_ms(u64::from(*s) * 1_000))
        .map(|at| clock.wall(at))
        .collect();
    // Three in a line; the pump keeps the first ten.
    let mut lines = starts.chunks(3).map(|line| line.join(", "));
    let first = lines.next().map_or(String::new(), |line| format!("over 1 min, began {line}"));
    row("interruptions", dash(), event.interruptions.to_string(), first);
    for line in lines {
        row("", String::new(), String::new(), format!("and {line}"));
    }
    if event.resumes > 0 {
        let times = times(event.resumes.into());
        let lost = match event.unaccounted_ms {
            0 => String::new(),
            ms => format!("up to {} of pumping in no record", format::distance(ms.into())),
        };
        row("resumed", dash(), times, lost);
    }
    if event.missed > 0 {
        let missed = paint.careful(&event.missed.to_string());
        row(
            "missed",
            "0".to_owned(),
            missed,
            "appointments missed, runs lost, passes skipped".to_owned(),
        );
    }
    let tripped: Vec<String> = Limit::ALL
        .iter()
        .zip(event.trips)
        .filter(|(_, n)| *n > 0)
        .map(|(limit, n)| match n {
            1 => words::limit(*limit).to_owned(),
            n => format!("{}, {}", words::limit(*limit), times(n.into())),
        })
        .collect();
    if tripped.is_empty() {
        row("limits tripped", dash(), "none".to_owned(), String::new());
    }
    for (i, one) in tripped.iter().enumerate() {
        let what = if i == 0 { "limits tripped" } else { "" };
        row(what, dash(), paint.careful(one), String::new());
    }
}

/// What the pump lived on, how often it woke up, what a person should look at.
pub(super) fn rest(pump: &PumpOutcome, row: &mut Row<'_>, paint: Paint) {
    let dash = || "-".to_owned();
    let event = pump.rows.event.as_ref().map(|e| &e.row);
    match event.and_then(|e| e.supply_armed_percent.zip(e.supply_ended_percent)) {
        Some((from, to)) => {
            row("battery", dash(), format!("{from} % to {to} %"), "assumed cell".to_owned());
        }
        None if pump.battery.is_none() => row("battery", dash(), "mains".to_owned(), String::new()),
        None => {}
    }
    let (pumping, off) = pump.wakes;
    let split = format!("{} of them with the pump off", format::grouped(off));
    row("wakes", dash(), format::grouped(pumping + off), split);
    if let Some((lasts, how)) = flash_lasts(pump.checkpoint_ms) {
        row("flash lasts", dash(), lasts, how);
    }
    let Some(event) = event else { return };
    let set: Vec<(Flags, &str)> =
        Flags::ALL.iter().copied().filter(|(flag, _)| event.flags.has(*flag)).collect();
    if set.is_empty() {
        row("flags", dash(), "none".to_owned(), String::new());
    }
    for (i, (_, code)) in set.into_iter().enumerate() {
        let what = if i == 0 { "flags" } else { "" };
        row(
            what,
            dash(),
            paint.careful(code),
            flags::explained(code).map_or("", |e| e.brief).to_owned(),
        );
    }
}

/// How long the flash for checkpoints lasts if the pump runs day and night.
fn flash_lasts(checkpoint_ms: u32) -> Option<(String, String)> {
    let of = Use {
        interval_ms: checkpoint_ms,
        stride: CHECKPOINT_STRIDE as u32,
        page: PAGE as u32,
        pages: CHECKPOINT_PAGES,
        endurance: ENDURANCE,
    };
    let wear = wear(of)?;
    let a_day = wear.erases_per_day_hundredths as f64 / 100.0;
    let how =
        format!("pumping day and night: {a_day:.1} pages a day, {ENDURANCE} erases each (assumed)");
    Some((format!("{} days", format::grouped(wear.days)), how))
}

/// How often a page of flash may be erased: common practice of makers, no source.
const ENDURANCE: u32 = 10_000;

/// "once", "3 times".
fn times(n: u64) -> String {
    if n == 1 { "once".to_owned() } else { format!("{} times", format::grouped(n)) }
}
