//! What only a whole pump has, for machines: the part `pump` of `draught simulate --json`.

use serde::Serialize;

use super::simulate::Simulated;
use super::simulate_json::{Instant, instant};
use super::simulate_story;
use crate::bench::PumpOutcome;
use crate::record_file::{EventRecord, SampleRecord, SpanRecord};

#[derive(Serialize)]
pub(super) struct Pump {
    checkpoint_ms: u32,
    wakes_pumping: u64,
    wakes_off: u64,
    power_cuts: u32,
    /// `null`: mains.
    battery_begin_percent: Option<f64>,
    battery_end_percent: Option<f64>,
    volume: Volume,
    event: Option<EventRecord>,
    samples: Vec<SampleRecord>,
    spans: Vec<SpanRecord>,
    story: Vec<Line>,
}

/// Where what was metered and what was truly drawn part, in µL·ms/min.
#[derive(Serialize)]
struct Volume {
    metered_raw: u64,
    true_raw: u64,
    true_while_metered_raw: u64,
    true_in_no_record_raw: u64,
    leaked_past_the_sampler_raw: u64,
}

#[derive(Serialize)]
struct Line {
    at: Instant,
    who: &'static str,
    what: String,
}

pub(super) fn pump(s: &Simulated<'_>, pump: &PumpOutcome) -> Pump {
    let (rows, share, site) = (&pump.rows, &pump.share, &s.ready.time);
    let percent = |part: f64| (part * 1e4).round() / 100.0;
    let story = simulate_story::lines(s, pump).into_iter();
    Pump {
        checkpoint_ms: pump.checkpoint_ms,
        wakes_pumping: pump.wakes.0,
        wakes_off: pump.wakes.1,
        power_cuts: pump.cuts,
        battery_begin_percent: pump.battery.map(|b| percent(b.0)),
        battery_end_percent: pump.battery.map(|b| percent(b.1)),
        volume: Volume {
            metered_raw: share.metered.as_raw(),
            true_raw: share.truly.as_raw(),
            true_while_metered_raw: share.covered.as_raw(),
            true_in_no_record_raw: share.unrecorded().as_raw(),
            leaked_past_the_sampler_raw: share.leaked.as_raw(),
        },
        event: rows.event.as_ref().map(|e| EventRecord::of(&e.row, &e.bytes, site)),
        samples: rows.samples.iter().map(|r| SampleRecord::of(&r.row, &r.bytes, site)).collect(),
        spans: rows.spans.iter().map(|r| SpanRecord::of(&r.row, &r.bytes, site)).collect(),
        story: story
            .map(|line| Line { at: instant(line.at, s), who: line.who, what: line.what })
            .collect(),
    }
}
