//! What the pump itself says of a sample: its own flags, and those of the event that belong to no sample.

use super::{Flag, flags};
use crate::plan::format;
use crate::record_file::{EventRecord, RecordFile, SampleRecord, Trips};

/// The flags of a sample, each with what is so; then those that the event has and no sample of it, since they may concern any.
pub(super) fn of(file: &RecordFile, row: &SampleRecord) -> Vec<Flag> {
    let own = row.flags.iter().map(|code| flags::flag(code, of_sample(code, file, row)));
    let in_a_sample = |code: &&String| file.samples.iter().any(|s| s.flags.contains(code));
    let of_all = file.event.iter().flat_map(|event| {
        let alone = event.flags.iter().filter(move |code| !in_a_sample(code));
        alone.map(move |code| flags::flag(code, of_event(code, event)))
    });
    own.chain(of_all).collect()
}

/// How often each limit ended a stretch of a sample.
pub(super) fn trips(file: &RecordFile, row: &SampleRecord) -> Trips {
    let of = |code: &str| {
        let ended = file.spans.iter().filter(|s| s.sample == row.sample && s.ended_by == code);
        u8::try_from(ended.count()).unwrap_or(u8::MAX)
    };
    Trips {
        flow_low: of("flow-low"),
        flow_high: of("flow-high"),
        pressure: of("pressure"),
        supply: of("supply"),
        sensor: of("sensor"),
    }
}

fn of_sample(code: &str, file: &RecordFile, row: &SampleRecord) -> String {
    let length = |ms: u64| format::duration(ms);
    match code {
        "limit-tripped" => {
            let t = trips(file, row);
            let all = [
                ("flow too low", t.flow_low),
                ("flow too high", t.flow_high),
                ("too much pressure", t.pressure),
                ("supply too weak", t.supply),
                ("sensor or motor", t.sensor),
            ];
            let times = |n: u8| format::count(n.into(), "time");
            let told = all.iter().filter(|(_, n)| *n > 0);
            told.map(|(what, n)| format!("{what}, {}", times(*n))).collect::<Vec<_>>().join("; ")
        }
        "interrupted" | "many-interruptions" => {
            format!(
                "{} of more than 1 min",
                format::count(row.interruptions.into(), "interruption")
            )
        }
        "time-unaccounted" => format!("at most {}", length(row.unaccounted_ms.into())),
        "flow-unknown" => {
            format!("for {}", length(row.pumped_ms.saturating_sub(row.metered_ms)))
        }
        "air-unknown" => {
            let of = length(row.metered_ms);
            format!("measured for {} of {of}", length(row.air_measured_ms))
        }
        "not-at-inlet" => format!("for {}", length(row.uncorrected_ms)),
        "time-outside" => format!("{} pumped", length(row.pumped_ms)),
        "late" => file.event.as_ref().map_or_else(String::new, late),
        _ => "in this sample".to_owned(),
    }
}

fn late(event: &EventRecord) -> String {
    format!("at most {} late", format::duration(event.late_ms.into()))
}

fn of_event(code: &str, event: &EventRecord) -> String {
    match code {
        "late" if event.missed > 0 => {
            format!(
                "{} missed, lost or skipped in the event",
                format::count(event.missed.into(), "run")
            )
        }
        "late" => late(event),
        "interrupted" => {
            let times = format::count(event.resumes.into(), "time");
            format!("while nothing was pumped; resumed {times}")
        }
        "ended-early" => format!("the event: {}", event.reason.replace('-', " ")),
        _ => "of the event, and of no sample in it".to_owned(),
    }
}
