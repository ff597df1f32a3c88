//! A record from a simulated run.

use draught::clock::Now;
use draught::wire;

use super::rows::{EventRecord, Instant, SampleRecord, SpanRecord, hex};
use super::{
    Constant, FORMAT, FaultRecord, NOTICE, PointRecord, RecordFile, Schedule, Series, Simulation,
    Site,
};
use crate::bench::{Point, PumpOutcome, SERIES_MS, World};
use crate::plan::Ready;
use crate::report::fault_words;

/// The record of a whole pump's run: `block` is what it was armed with.
#[must_use]
pub fn make(
    ready: &Ready,
    (world, seed): (&World, u64),
    block: &[u8],
    pump: &PumpOutcome,
    points: &[Point],
) -> RecordFile {
    let time = &ready.time;
    let settings = ready.table.settings();
    let rows = &pump.rows;
    let faults = world.plant.iter().flat_map(|plant| &plant.faults);
    let at = |now: Now| now.wall.map(|w| Instant::of(w, time));
    RecordFile {
        format: FORMAT,
        origin: "simulated".to_owned(),
        notice: Some(NOTICE.to_owned()),
        made_by: format!("draught {}", env!("CARGO_PKG_VERSION")),
        schedule: Schedule {
            name: settings.name.as_str().to_owned(),
            id: wire::schedule_id(ready.table()).to_string(),
            block_hex: hex(block),
        },
        site: Site {
            zone: ready.plan.site.value.name().map(str::to_owned),
            abbreviation: time.abbreviation.clone(),
            utc_offset_minutes: i32::from(settings.utc_offset.quarter_hours()) * 15,
        },
        event: rows.event.as_ref().map(|e| EventRecord::of(&e.row, &e.bytes, time)),
        samples: rows.samples.iter().map(|s| SampleRecord::of(&s.row, &s.bytes, time)).collect(),
        spans: rows.spans.iter().map(|s| SpanRecord::of(&s.row, &s.bytes, time)).collect(),
        simulation: Some(Simulation {
            world: world.name.clone(),
            seed,
            constants: world
                .sources
                .iter()
                .map(|c| Constant { key: c.key.clone(), is: c.is.clone(), from: c.from.clone() })
                .collect(),
            faults: faults
                .map(|fault| FaultRecord {
                    what: fault.kind.name().to_owned(),
                    words: fault_words::begins(fault),
                    at: ready.armed_wall().plus_ms(fault.at_ms).map(|w| Instant::of(w, time)),
                    lasts_ms: fault.ends_ms().map(|_| fault.lasts_ms),
                })
                .collect(),
            checkpoint_ms: pump.checkpoint_ms.into(),
            true_volume_raw_ul_ms_per_min: pump.share.truly.as_raw(),
        }),
        series: Some(Series {
            origin: "simulator".to_owned(),
            every_ms: SERIES_MS,
            points: points
                .iter()
                .map(|point| PointRecord {
                    from: at(point.from),
                    ms_after_arming: point.from.mono.since(ready.armed.mono),
                    read_ms: point.read_ms,
                    flow_ul_per_min: whole(point.ul_per_min),
                    true_flow_ul_per_min: whole(point.true_ul_per_min),
                    drop_pa: whole(point.drop_pa),
                    temperature_mk: whole(point.temperature_mk),
                    pressure_pa: whole(point.pressure_pa),
                    battery_percent: point.battery_per_myriad.map(|b| f64::from(b) / 100.0),
                })
                .collect(),
        }),
    }
}

fn whole(value: f64) -> u64 {
    value.max(0.0).round() as u64
}
