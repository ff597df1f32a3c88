//! `draught simulate --json`; `docs/schema/simulate.json` describes it.

use std::io::Error;

use draught::clock::Now;
use draught::units::TargetKind;
use serde::Serialize;

use super::io::{Failure, Io};
use super::rows;
use super::simulate::Simulated;
use super::simulate_pump_json;
use crate::bench::{FlowSummary, SpanRow, Total};
use crate::plan::outlook::Range;
use crate::plan::site::SiteTime;
use crate::words;

#[derive(Serialize)]
struct Report {
    format: u8,
    kind: &'static str,
    origin: &'static str,
    notice: &'static str,
    plan: String,
    name: String,
    schedule_id: String,
    event: u32,
    zone: Option<String>,
    utc_offset_minutes: i32,
    world: World,
    seed: u64,
    armed: Instant,
    planned: Planned,
    happened: Happened,
    comparison: Comparison,
    samples: Vec<Sample>,
    spans: Vec<Span>,
    /// `null`: schedule and meter only.
    pump: Option<simulate_pump_json::Pump>,
    files: Vec<String>,
}

#[derive(Serialize)]
struct World {
    name: String,
    constants: Vec<Constant>,
}

#[derive(Serialize)]
struct Constant {
    key: String,
    is: String,
    from: String,
}

#[derive(Serialize)]
pub(super) struct Instant {
    local: Option<String>,
    utc: Option<String>,
    ms_after_arming: u64,
}

#[derive(Serialize)]
struct Planned {
    first_start: Option<Instant>,
    last_stop: Option<Instant>,
    pumped_ms: LeastMost,
    /// `null` when the flow is not known.
    volume_raw: Option<LeastMost>,
    end: Option<&'static str>,
}

#[derive(Serialize)]
struct LeastMost {
    least: u64,
    most: u64,
}

#[derive(Serialize)]
struct Happened {
    #[serde(flatten)]
    total: Sums,
    holds_resumed: u64,
    holds_ran_out: u64,
    held_ms: u64,
    appointments_met: u64,
    appointments_missed: u64,
    late_ms: u64,
    runs_lost: u64,
    passes_skipped: u64,
    interruptions: u32,
    readings: u64,
    ended: Option<Ended>,
}

#[derive(Serialize)]
struct Ended {
    reason: &'static str,
    at: Instant,
}

/// Sums over stretches of pumping.
#[derive(Serialize)]
struct Sums {
    start: Option<Instant>,
    stop: Option<Instant>,
    spans: u64,
    pumped_ms: u64,
    /// µL·ms/min, exact.
    volume_raw: u64,
    volume_ml: u64,
    /// µL·ms/min, to the nearest: what only the world knows.
    true_volume_raw: u64,
    flow: Flow,
}

#[derive(Serialize)]
struct Flow {
    mean_ul_per_min: Option<u32>,
    min_ul_per_min: Option<u32>,
    max_ul_per_min: Option<u32>,
    cv_per_myriad: Option<u32>,
    worst_5_min_percent: Option<f64>,
}

#[derive(Serialize)]
struct Comparison {
    as_forecast: bool,
    worst_ms: u64,
    forecast_volume_raw: u64,
    metered_volume_raw: u64,
}

#[derive(Serialize)]
struct Sample {
    sample: u32,
    #[serde(flatten)]
    total: Sums,
}

#[derive(Serialize)]
struct Span {
    step: u8,
    passes: Vec<u16>,
    sample: u32,
    from: Instant,
    to: Instant,
    ended_by: &'static str,
    overrun_ms: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    flow_ul_per_min: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pressure_pa: Option<u32>,
    volume_raw: u64,
    volume_ml: u64,
    flow: Flow,
}

/// Writes the record.
///
/// # Errors
/// [`Failure::Output`].
pub(super) fn write(s: &Simulated<'_>, plan: &str, io: &mut Io<'_>) -> Result<(), Failure> {
    serde_json::to_writer_pretty(&mut *io.out, &report(s, plan)).map_err(Error::from)?;
    writeln!(io.out)?;
    Ok(())
}

fn report(s: &Simulated<'_>, plan: &str) -> Report {
    let (record, outlook) = (&s.outcome.record, &s.ready.outlook);
    let constants = s.world.sources.iter().map(|c| Constant {
        key: c.key.clone(),
        is: c.is.clone(),
        from: c.from.clone(),
    });
    let settings = s.ready.table.settings();
    Report {
        format: 1,
        kind: if s.pump.is_some() { "whole-pump" } else { "schedule" },
        origin: "simulated",
        notice: crate::record_file::NOTICE,
        plan: plan.to_owned(),
        name: settings.name.as_str().to_owned(),
        schedule_id: s.schedule_id.to_string(),
        event: 1,
        zone: s.ready.plan.site.value.name().map(str::to_owned),
        utc_offset_minutes: i32::from(settings.utc_offset.quarter_hours()) * 15,
        world: World { name: record.world.clone(), constants: constants.collect() },
        seed: record.seed,
        armed: instant(record.armed, s),
        planned: Planned {
            first_start: outlook.first_start().map(|n| instant(n, s)),
            last_stop: outlook.last_stop().map(|n| instant(n, s)),
            pumped_ms: least_most(outlook.pumped_ms()),
            volume_raw: outlook
                .volume()
                .map(|v| LeastMost { least: v.least.as_raw(), most: v.most.as_raw() }),
            end: outlook.run_out.end().map(rows::end_code),
        },
        happened: Happened {
            total: sums(&record.total, s),
            holds_resumed: record.holds.resumed,
            holds_ran_out: record.holds.ran_out,
            held_ms: record.holds.off_ms,
            appointments_met: record.appointments_met,
            appointments_missed: record.appointments_missed,
            late_ms: record.late_ms,
            runs_lost: record.runs_lost,
            passes_skipped: record.passes_skipped,
            interruptions: record.total.flow.gaps,
            readings: s.outcome.readings,
            ended: record
                .ended
                .map(|(reason, at)| Ended { reason: rows::end_code(reason), at: instant(at, s) }),
        },
        comparison: Comparison {
            as_forecast: s.comparison.as_forecast(),
            worst_ms: s.comparison.worst_ms,
            forecast_volume_raw: s.comparison.forecast.as_raw(),
            metered_volume_raw: s.comparison.metered.as_raw(),
        },
        samples: record
            .samples
            .iter()
            .map(|sample| Sample { sample: sample.number, total: sums(&sample.total, s) })
            .collect(),
        spans: record.spans.iter().map(|row| span(row, s)).collect(),
        pump: s.pump.as_ref().map(|pump| simulate_pump_json::pump(s, pump)),
        files: s.files.iter().map(|f| f.path.clone()).collect(),
    }
}

fn least_most(range: Range<u64>) -> LeastMost {
    LeastMost { least: range.least, most: range.most }
}

pub(super) fn instant(now: Now, s: &Simulated<'_>) -> Instant {
    Instant {
        local: now.wall.map(|w| s.ready.time.rfc3339(w)),
        utc: now.wall.map(|w| SiteTime::utc().rfc3339(w)),
        ms_after_arming: now.mono.since(s.outcome.record.armed.mono),
    }
}

fn sums(total: &Total, s: &Simulated<'_>) -> Sums {
    Sums {
        start: total.between.map(|(from, _)| instant(from, s)),
        stop: total.between.map(|(_, to)| instant(to, s)),
        spans: total.spans,
        pumped_ms: total.pumped_ms,
        volume_raw: total.volume.as_raw(),
        volume_ml: total.volume.as_ml(),
        true_volume_raw: total.truly_drawn.as_raw(),
        flow: flow(&total.flow),
    }
}

fn flow(flow: &FlowSummary) -> Flow {
    Flow {
        mean_ul_per_min: flow.mean_ul_per_min,
        min_ul_per_min: flow.min_ul_per_min,
        max_ul_per_min: flow.max_ul_per_min,
        cv_per_myriad: flow.cv_per_myriad,
        worst_5_min_percent: flow.worst.map(|w| (w.deviation() * 1e6).round() / 1e4),
    }
}

fn span(row: &SpanRow, s: &Simulated<'_>) -> Span {
    let target = row.target.kind();
    Span {
        step: row.step.get(),
        passes: row.passes.0.iter().copied().take_while(|p| *p > 0).collect(),
        sample: row.sample,
        from: instant(row.begin, s),
        to: instant(row.end, s),
        ended_by: words::stretch_code(row.by),
        overrun_ms: row.overrun_ms,
        flow_ul_per_min: match target {
            TargetKind::Flow(f) => Some(f.ul_per_min()),
            TargetKind::Pressure(_) => None,
        },
        pressure_pa: match target {
            TargetKind::Pressure(p) => Some(p.as_pa()),
            TargetKind::Flow(_) => None,
        },
        volume_raw: row.volume.as_raw(),
        volume_ml: row.volume.as_ml(),
        flow: flow(&row.flow),
    }
}
