//! Which flags of a pump's record are those of one of its samples, and what is so there.

use draught::event::{Limit, PumpEnd};

use super::{Flag, flags};
use crate::event::Record;
use crate::plan::format;
use crate::record_file::{SampleRecord, SpanRecord, Trips};
use crate::words;

/// The flags of a sample: its own; the end of the event, if that came too early, for the sample that was drawn last; and those of the
/// event that no sample has, for they may concern any.
pub(super) fn of_sample(record: &Record, row: &SampleRecord) -> Vec<Flag> {
    let file = &record.file;
    let mut found: Vec<Flag> =
        row.flags.iter().map(|code| flags::flag(code, words_of(code, record, row))).collect();
    let Some(event) = &file.event else { return found };
    let is_last = file.samples.iter().all(|other| other.sample <= row.sample);
    for code in &event.flags {
        if code == "ended-early" {
            if is_last {
                found.push(flags::flag(code, words::ended_by_code(&event.reason)));
            }
        } else if !file.samples.iter().any(|sample| sample.flags.contains(code)) {
            let says = match code.as_str() {
                "late" => late(event.late_ms, event.missed),
                _ => "in the event, and not while a sample was drawn".to_owned(),
            };
            found.push(flags::flag(code, says));
        }
    }
    found
}

fn words_of(code: &str, record: &Record, row: &SampleRecord) -> String {
    match code {
        "limit-tripped" => tripped(trips(record, row)),
        "interrupted" | "many-interruptions" => match row.interruptions {
            0 => "for no more than 1 min".to_owned(),
            n => format!("{} of more than 1 min", format::count(n.into(), "interruption")),
        },
        "time-unaccounted" => format!("at most {}", format::duration(row.unaccounted_ms.into())),
        "flow-unknown" => {
            format!("for {}", format::duration(row.pumped_ms.saturating_sub(row.metered_ms)))
        }
        "air-unknown" => format!(
            "measured for {} of {}",
            format::duration(row.air_measured_ms),
            format::duration(row.metered_ms)
        ),
        "not-at-inlet" => format!("for {}", format::duration(row.uncorrected_ms)),
        "time-outside" => format!("{} pumped", format::duration(row.pumped_ms)),
        "late" => {
            record.file.event.as_ref().map_or_else(String::new, |e| late(e.late_ms, e.missed))
        }
        "ended-early" => record
            .file
            .event
            .as_ref()
            .map_or_else(String::new, |event| words::ended_by_code(&event.reason)),
        _ => String::new(),
    }
}

/// How often each limit stopped the pump while a sample was drawn.
pub(super) fn trips(record: &Record, row: &SampleRecord) -> Trips {
    let of_sample = |span: &&SpanRecord| span.sample == row.sample;
    let mut trips = Trips { flow_low: 0, flow_high: 0, pressure: 0, supply: 0, sensor: 0 };
    for span in record.file.spans.iter().filter(of_sample) {
        let Some(PumpEnd::Tripped(limit)) = words::stretch_of_code(&span.ended_by) else {
            continue;
        };
        let count = match limit {
            Limit::FlowLow => &mut trips.flow_low,
            Limit::FlowHigh => &mut trips.flow_high,
            Limit::Pressure => &mut trips.pressure,
            Limit::Supply => &mut trips.supply,
            Limit::Sensor => &mut trips.sensor,
        };
        *count = count.saturating_add(1);
    }
    trips
}

fn tripped(t: Trips) -> String {
    let all = [t.flow_low, t.flow_high, t.pressure, t.supply, t.sensor];
    let tripped = Limit::ALL.into_iter().zip(all).filter(|(_, n)| *n > 0);
    let tripped = tripped.map(|(limit, n)| match n {
        1 => words::limit(limit).to_owned(),
        n => format!("{}, {}", words::limit(limit), format::count(n.into(), "time")),
    });
    tripped.collect::<Vec<_>>().join("; ")
}

fn late(late_ms: u32, missed: u16) -> String {
    let mut parts = Vec::new();
    if late_ms > 1_000 {
        parts.push(format!("at most {} late", format::duration(late_ms.into())));
    }
    if missed > 0 {
        parts.push(format!("{missed} missed or passed over"));
    }
    parts.join("; ")
}
