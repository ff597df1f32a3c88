//! `draught forecast --json`; `docs/schema/forecast.json` describes it.

use std::io::Error;

use draught::clock::Now;
use draught::event::{HoldEnd, LostCause, PumpEnd};
use draught::forecast::{Span, What};
use draught::units::TargetKind;
use serde::Serialize;

use super::io::{Failure, Io};
use super::rows;
use crate::plan::outlook::Line;
use crate::plan::{Ready, site};

#[derive(Serialize)]
struct Report {
    format: u8,
    plan: String,
    name: String,
    zone: Option<String>,
    utc_offset_minutes: i32,
    armed: Instant,
    first_start: Option<Instant>,
    last_stop: Option<Instant>,
    /// Every hold is resumed at once.
    resumed: Vec<JsonSpan>,
    /// No hold is resumed; left out where that is the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    run_out: Option<Vec<JsonSpan>>,
}

#[derive(Serialize)]
struct Instant {
    local: String,
    utc: String,
    ms_after_arming: u64,
}

#[derive(Serialize)]
struct JsonSpan {
    first_step: u8,
    step: u8,
    passes: Vec<u16>,
    sample: u32,
    what: &'static str,
    detail: Option<&'static str>,
    from: Instant,
    to: Instant,
    #[serde(skip_serializing_if = "Option::is_none")]
    flow_ul_per_min: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pressure_pa: Option<u32>,
    /// µL·ms/min, exact; `null` when the flow is not known.
    volume_raw: Option<u64>,
    volume_ml: Option<u64>,
}

/// Writes the forecast.
///
/// # Errors
/// [`Failure::Output`].
pub fn write(ready: &Ready, plan: &str, io: &mut Io<'_>) -> Result<(), Failure> {
    let outlook = &ready.outlook;
    let line = |line: &Line| line.0.iter().map(|s| span(s, ready)).collect();
    let settings = ready.table.settings();
    let report = Report {
        format: 1,
        plan: plan.to_owned(),
        name: settings.name.as_str().to_owned(),
        zone: ready.plan.site.value.name().map(str::to_owned),
        utc_offset_minutes: i32::from(settings.utc_offset.quarter_hours()) * 15,
        armed: instant(ready.armed, ready),
        first_start: outlook.first_start().map(|n| instant(n, ready)),
        last_stop: outlook.last_stop().map(|n| instant(n, ready)),
        resumed: line(&outlook.resumed),
        run_out: (outlook.resumed != outlook.run_out).then(|| line(&outlook.run_out)),
    };
    serde_json::to_writer_pretty(&mut *io.out, &report).map_err(Error::from)?;
    writeln!(io.out)?;
    Ok(())
}

fn instant(now: Now, ready: &Ready) -> Instant {
    let wall = now.wall.unwrap_or(ready.armed_wall());
    Instant {
        local: ready.time.rfc3339(wall),
        utc: site::SiteTime::utc().rfc3339(wall),
        ms_after_arming: now.mono.as_ms(),
    }
}

fn span(s: &Span, ready: &Ready) -> JsonSpan {
    let (what, detail) = match s.what {
        What::Wait { met: true, .. } => ("wait", None),
        What::Wait { met: false, .. } => ("wait", Some("missed")),
        What::Pump { by, .. } => {
            let by = match by {
                PumpEnd::Time => "time",
                PumpEnd::Volume => "volume",
                PumpEnd::Limit => "at-most",
                PumpEnd::Stopped => "stopped",
                PumpEnd::Tripped(limit) => limit.code(),
                PumpEnd::Outage => "outage",
            };
            ("pump", Some(by))
        }
        What::Hold { by: HoldEnd::Resumed, .. } => ("hold", Some("resumed")),
        What::Hold { by: HoldEnd::RanOut, .. } => ("hold", Some("ran-out")),
        What::Lost(LostCause::TooFar) => ("lost", Some("too-far")),
        What::Lost(LostCause::Past) => ("lost", Some("past")),
        What::End(reason) => ("end", Some(rows::end_code(reason))),
    };
    let target = match s.what {
        What::Pump { target, .. } => Some(target.kind()),
        _ => None,
    };
    JsonSpan {
        first_step: s.first_step.get(),
        step: s.step.get(),
        passes: s.passes.0.iter().copied().take_while(|p| *p > 0).collect(),
        sample: s.sample,
        what,
        detail,
        from: instant(s.from, ready),
        to: instant(s.to, ready),
        flow_ul_per_min: target.and_then(|t| match t {
            TargetKind::Flow(f) => Some(f.ul_per_min()),
            TargetKind::Pressure(_) => None,
        }),
        pressure_pa: target.and_then(|t| match t {
            TargetKind::Pressure(p) => Some(p.as_pa()),
            TargetKind::Flow(_) => None,
        }),
        volume_raw: s.volume.map(draught::units::RawVolume::as_raw),
        volume_ml: s.volume.map(draught::units::RawVolume::as_ml),
    }
}
