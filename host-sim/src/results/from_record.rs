//! What a pump's record says of one of its samples, and what its schedule had planned for it.

use draught::clock::{Now, WallMs};
use draught::event::PumpEnd;
use draught::forecast::What;
use draught::record::INTERRUPTION_MS;
use draught::units::RawVolume;

use super::pump_flags;
use super::sample::{Happened, Mark, Planned, Point, SideBySide, SpanResult};
use super::volumes::litres;
use crate::event::Record;
use crate::event::folder::wall;
use crate::hygiene::round::{figures, signed_percent};
use crate::plan::format;
use crate::plan::outlook::{Outlook, Range};
use crate::record_file::{Instant, SampleRecord, SpanRecord, Spread};
use crate::words;

/// What was planned for a sample.
pub(super) fn planned(
    record: &Record,
    outlook: &Outlook,
    number: u32,
    wanted_l: Option<(f64, f64)>,
) -> Option<Planned> {
    let site = record.site();
    let sample = outlook.samples().into_iter().find(|s| s.sample == number)?;
    let spans = || {
        outlook
            .lines()
            .flat_map(|l| &l.0)
            .filter(|s| s.sample == number && matches!(s.what, What::Pump { .. }))
    };
    let instant = |now: Option<Now>| now.and_then(|n| n.wall).map(|w| Instant::of(w, &site));
    let table = record.table()?;
    let table = table.checked().ok()?;
    let mut targets = spans().filter_map(|s| {
        let step = table.steps().get(usize::from(s.step.get()).checked_sub(1)?)?;
        Some(step.own_target().unwrap_or(table.settings().target))
    });
    let target = targets.next().filter(|first| targets.all(|t| t == *first));
    let volume = |r: Option<Range<RawVolume>>, most: bool| {
        r.map(|r| litres(if most { r.most } else { r.least }.as_raw()))
    };
    Some(Planned {
        start: instant(spans().map(|s| s.from).min_by_key(|n| n.mono)),
        stop: instant(spans().map(|s| s.to).max_by_key(|n| n.mono)),
        pumped_least_ms: Some(sample.pumped_ms.least),
        pumped_most_ms: Some(sample.pumped_ms.most),
        flow_l_per_min: target.and_then(|t| t.as_flow()).map(|f| f64::from(f.ul_per_min()) / 1e6),
        pressure_kpa: target.and_then(|t| match t.kind() {
            draught::units::TargetKind::Pressure(p) => Some(f64::from(p.as_pa()) / 1e3),
            draught::units::TargetKind::Flow(_) => None,
        }),
        volume_least_l: volume(sample.volume, false),
        volume_most_l: volume(sample.volume, true),
        wanted_least_l: wanted_l.map(|w| w.0),
        wanted_most_l: wanted_l.map(|w| w.1),
    })
}

fn three(spread: Option<Spread>, of: impl Fn(f64) -> f64) -> Option<[f64; 3]> {
    spread.map(|s| [s.min, s.mean, s.max].map(|x| of(f64::from(x))))
}

/// What happened to a sample.
pub(super) fn happened(record: &Record, row: &SampleRecord, planned: Option<&Planned>) -> Happened {
    let event = record.file.event.as_ref();
    let flow = |ul: u32| f64::from(ul) / 1e6;
    let target = planned.and_then(|p| p.flow_l_per_min);
    let ends = row.least_5_min_mean_ul_per_min.zip(row.most_5_min_mean_ul_per_min);
    let worst = target.zip(ends).map(|(target, (least, most))| {
        let off = |ul: u32| 100.0 * (flow(ul) - target) / target;
        if off(least).abs() > off(most).abs() { off(least) } else { off(most) }
    });
    // The true volume is known of the whole run only.
    let alone = record.file.samples.len() == 1;
    let simulation = record.file.simulation.as_ref().filter(|_| alone);
    Happened {
        start: row.begin.clone(),
        stop: row.end.clone(),
        pumped_ms: row.pumped_ms,
        metered_ms: row.metered_ms,
        volume_l: litres(row.volume_raw_ul_ms_per_min),
        mean_flow_l_per_min: row.flow_ul_per_min.map(|s| flow(s.mean)),
        least_flow_l_per_min: row.flow_ul_per_min.map(|s| flow(s.min)),
        most_flow_l_per_min: row.flow_ul_per_min.map(|s| flow(s.max)),
        flow_cv_percent: row.flow_cv_per_myriad.map(|cv| f64::from(cv) / 100.0),
        worst_5_min_percent: worst,
        temperature_c: three(row.temperature_mk, |mk| (mk - 273_150.0) / 1e3),
        pressure_kpa: three(row.pressure_pa, |pa| pa / 1e3),
        interruptions: Some(row.interruptions),
        trips: Some(pump_flags::trips(record, row)),
        late_ms: event.map(|e| e.late_ms),
        battery_armed_percent: event.and_then(|e| e.supply_armed_percent),
        battery_ended_percent: event.and_then(|e| e.supply_ended_percent),
        reason: event.map(|e| e.reason.clone()),
        true_volume_l: simulation.map(|s| litres(s.true_volume_raw_ul_ms_per_min)),
    }
}

/// The spans of a sample.
pub(super) fn spans(record: &Record, number: u32) -> Vec<SpanResult> {
    of_sample(record, number)
        .map(|s| SpanResult {
            span: s.span,
            step: s.step,
            passes: s.passes.clone(),
            begin: s.begin.clone(),
            end: s.end.clone(),
            pumped_ms: s.pumped_ms,
            volume_l: litres(s.volume_raw_ul_ms_per_min),
            ended_by: s.ended_by.clone(),
        })
        .collect()
}

fn of_sample(record: &Record, number: u32) -> impl Iterator<Item = &SpanRecord> {
    record.file.spans.iter().filter(move |s| s.sample == number)
}

/// When a sample began and ended, in ms.
fn window(row: &SampleRecord) -> Option<(u64, u64)> {
    let at = |i: &Option<Instant>| i.as_ref().and_then(wall).map(WallMs::as_ms);
    Some((at(&row.begin)?, at(&row.end)?))
}

/// The 5-min means that belong to a sample.
pub(super) fn series(record: &Record, row: &SampleRecord) -> Vec<Point> {
    let Some(series) = &record.file.series else { return Vec::new() };
    let window = window(row);
    let several = record.file.samples.len() > 1;
    let inside = |from: &Option<Instant>| match (window, from.as_ref().and_then(wall)) {
        // An interval belongs to the sample that was drawn when it began.
        (Some((begin, end)), Some(w)) => w.as_ms() + series.every_ms > begin && w.as_ms() < end,
        _ => !several,
    };
    let mut cumulative_l = 0.0;
    let points = series.points.iter().filter(|p| inside(&p.from)).map(|p| {
        cumulative_l += p.flow_ul_per_min as f64 / 1e6 * (p.read_ms as f64 / 60_000.0);
        Point {
            from: p.from.clone(),
            ms_after_arming: p.ms_after_arming,
            read_ms: p.read_ms,
            flow_l_per_min: p.flow_ul_per_min as f64 / 1e6,
            true_flow_l_per_min: Some(p.true_flow_ul_per_min as f64 / 1e6),
            cumulative_l,
            drop_kpa: p.drop_pa as f64 / 1e3,
            temperature_c: (p.temperature_mk as f64 - 273_150.0) / 1e3,
            pressure_kpa: p.pressure_pa as f64 / 1e3,
            battery_percent: p.battery_percent,
        }
    });
    points.collect()
}

/// What lies on a sample's time axis.
pub(super) fn marks(record: &Record, row: &SampleRecord) -> Vec<Mark> {
    let mark = |kind: &str, at: &Option<Instant>, says: String| Mark {
        kind: kind.to_owned(),
        at: at.clone(),
        to: None,
        says,
    };
    let mut marks = vec![mark("start", &row.begin, "pumping begins".to_owned())];
    let window = window(row);
    let inside = |at: &Instant| match (window, wall(at)) {
        (Some((begin, end)), Some(w)) => (begin..=end).contains(&w.as_ms()),
        _ => true,
    };
    for span in of_sample(record, row.sample) {
        if let Some(PumpEnd::Tripped(limit)) = words::stretch_of_code(&span.ended_by) {
            let says = format!("pump off, a limit tripped: {}", words::limit(limit));
            marks.push(mark("trip", &span.end, says));
        }
    }
    for span in of_sample(record, row.sample).filter(|s| s.ended_by == "outage") {
        let on = record.file.spans.iter().find(|s| s.span == span.span + 1);
        let on = on.and_then(|s| s.begin.as_ref());
        let off_ms =
            on.and_then(wall).zip(span.end.as_ref().and_then(wall)).map(|(on, off)| on.since(off));
        if off_ms.is_none_or(|ms| ms > INTERRUPTION_MS) {
            let says = match off_ms {
                Some(ms) => format!("no power, for {}", format::distance(ms)),
                None => "no power".to_owned(),
            };
            marks.push(Mark { to: on.cloned(), ..mark("interruption", &span.end, says) });
        }
    }
    for fault in record.file.simulation.iter().flat_map(|s| &s.faults) {
        let Some(at) = fault.at.as_ref().filter(|at| inside(at)) else { continue };
        let to = fault
            .lasts_ms
            .and_then(|ms| wall(at)?.plus_ms(ms).map(|w| Instant::of(w, &record.site())));
        let says = format!("scripted: {}", fault.words);
        marks.push(Mark { kind: "fault".to_owned(), at: Some(at.clone()), to, says });
    }
    marks.push(mark("stop", &row.end, "pumping ends".to_owned()));
    marks.sort_by_key(|m| (m.at.as_ref().map(|a| a.utc.clone()), m.kind != "start"));
    marks
}

/// "Mon 06:40:03", or a dash.
pub(super) fn clock(record: &Record, at: Option<&Instant>) -> String {
    let site = record.site();
    at.and_then(wall).map_or_else(
        || "-".to_owned(),
        |w| site.stamp(WallMs::from_ms((w.as_ms() + 500) / 1_000 * 1_000).unwrap_or(w)),
    )
}

/// Planned beside happened, in words.
pub(super) fn side_by_side(
    record: &Record,
    planned: Option<&Planned>,
    h: &Happened,
) -> Vec<SideBySide> {
    let mut rows = Vec::new();
    let dash = || "-".to_owned();
    let several = record.file.samples.len() > 1;
    let whole = || if several { "whole event".to_owned() } else { String::new() };
    let mut row = |what: &str, planned: String, happened: String, note: String| {
        rows.push(SideBySide { what: what.to_owned(), planned, happened, note });
    };
    let p = planned;
    let length = |ms: u64| format::duration((ms + 500) / 1_000 * 1_000);
    let ms = |at: Option<&Instant>| at.and_then(wall).map(|w| (w.as_ms() + 500) / 1_000);
    let punctual = |planned: Option<&Instant>, happened: Option<&Instant>, early: bool| {
        let at = ms(planned).zip(ms(happened));
        at.map_or_else(String::new, |(planned, at)| {
            let least = if early { planned } else { planned.min(at) };
            format::punctual(least * 1_000, planned * 1_000, at * 1_000)
        })
    };
    let start = p.and_then(|p| p.start.as_ref());
    row(
        "start",
        clock(record, start),
        clock(record, h.start.as_ref()),
        punctual(start, h.start.as_ref(), true),
    );
    let stop = p.and_then(|p| p.stop.as_ref());
    // With a hold in between, the stop that is planned is the last of many.
    let one_stop = p.is_some_and(|p| p.pumped_least_ms == p.pumped_most_ms);
    row(
        "stop",
        clock(record, stop),
        clock(record, h.stop.as_ref()),
        punctual(stop, h.stop.as_ref(), one_stop),
    );
    let between = |least: Option<u64>, most: Option<u64>| match (least, most) {
        (Some(a), Some(b)) if a == b => length(a),
        (Some(a), Some(b)) => format!("{} to {}", length(a), length(b)),
        _ => dash(),
    };
    let pumping = p.map_or_else(dash, |p| between(p.pumped_least_ms, p.pumped_most_ms));
    row("pumping", pumping, length(h.pumped_ms), String::new());
    let volume = |least: Option<f64>, most: Option<f64>| match (least, most) {
        (Some(a), Some(b)) if figures(a, 4) == figures(b, 4) => format!("{} L", figures(a, 4)),
        (Some(a), Some(b)) => format!("{} to {} L", figures(a, 4), figures(b, 4)),
        _ => dash(),
    };
    let wanted = p.filter(|p| p.wanted_least_l.is_some());
    let note = wanted
        .map_or(String::new(), |p| format!("wanted {}", volume(p.wanted_least_l, p.wanted_most_l)));
    row(
        "volume",
        p.map_or_else(dash, |p| volume(p.volume_least_l, p.volume_most_l)),
        format!("{} L", figures(h.volume_l, 4)),
        if note.is_empty() { "actual, at inlet".to_owned() } else { note },
    );
    if let Some(mean) = h.mean_flow_l_per_min {
        let flow = |q: f64| format!("{} L/min", figures(q, 4));
        let target = p.and_then(|p| p.flow_l_per_min);
        let off = target.map_or(String::new(), |t| {
            format!("{} off the plan", signed_percent(100.0 * (mean - t) / t))
        });
        row("mean flow", target.map_or_else(dash, flow), flow(mean), off);
    }
    if let Some(kpa) = p.and_then(|p| p.pressure_kpa) {
        row(
            "pressure kept",
            format!("{} kPa", figures(kpa, 3)),
            dash(),
            "each tube has its own flow".to_owned(),
        );
    }
    if let Some(worst) = h.worst_5_min_percent {
        row("worst 5 min", "within 5 %".to_owned(), signed_percent(worst), String::new());
    }
    let around = |x: [f64; 3], unit: &str, n: u8| {
        let [least, mean, most] = x.map(|x| figures(x, n));
        if least == most {
            format!("{mean} {unit}")
        } else {
            format!("{least} to {most} {unit}, mean {mean}")
        }
    };
    if let Some(t) = h.temperature_c {
        row("air temperature", dash(), around(t, "°C", 3), String::new());
    }
    if let Some(pa) = h.pressure_kpa {
        row("air pressure", dash(), around(pa, "kPa", 4), String::new());
    }
    if let Some(n) = h.interruptions {
        row("interruptions", dash(), n.to_string(), "over 1 min".to_owned());
    }
    if let (Some(a), Some(b)) = (h.battery_armed_percent, h.battery_ended_percent) {
        row("battery", dash(), format!("{a} % to {b} %"), whole());
    }
    if let Some(reason) = &h.reason {
        row("ended", "finished".to_owned(), words::ended_by_code(reason), whole());
    }
    rows
}
