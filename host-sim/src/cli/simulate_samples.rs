//! What each sampler collected in a simulated run, for people.

use draught::clock::Now;
use draught::units::{RawVolume, Target};

use super::paint::Paint;
use super::simulate::Simulated;
use super::simulate_record::{Clock, WITHIN, only_target};
use super::table::{Side, Table};
use crate::bench::FlowSummary;
use crate::plan::format;
use crate::report::numbers;

/// Samples, or stretches, beyond so many are left to `--json`.
const SHOWN: usize = 20;

/// A table of the samples, if there are several; else of the stretches of pumping, where they differ in their target.
pub(super) fn text(s: &Simulated<'_>, paint: Paint) -> String {
    if s.outcome.record.samples.len() > 1 { samples(s, paint) } else { flows(s, paint) }
}

/// What each sampler collected.
fn samples(s: &Simulated<'_>, paint: Paint) -> String {
    let samples = &s.outcome.record.samples;
    let mut table = Table::new(&[
        Side::Right,
        Side::Left,
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Right,
    ])
    .gap(2);
    table.row(["sample", "start", "stop", "pumping", "volume", "mean flow", "worst 5 min"]);
    let target = only_target(s.ready);
    for sample in samples.iter().take(SHOWN) {
        let total = &sample.total;
        let mut cells = vec![sample.number.to_string()];
        cells.extend(stretch(s, total.between, total.pumped_ms, total.volume));
        cells.extend(flow_cells(&total.flow, target, paint));
        if let (Some(last), Some(flags)) = (cells.last_mut(), flags_of(s, sample.number))
            && !flags.is_empty()
        {
            *last = paint.careful(&flags);
        }
        table.row(cells);
    }
    let more = samples.len().saturating_sub(SHOWN) as u64;
    format!("\n{}{}", table.render(), left_out(more, "samples"))
}

/// The flags of a sample of a whole pump.
fn flags_of(s: &Simulated<'_>, sample: u32) -> Option<String> {
    let rows = &s.pump.as_ref()?.rows.samples;
    let row = rows.iter().find(|sample_row| sample_row.row.number == sample)?;
    Some(crate::record_file::flags(row.row.flags).join(", "))
}

/// What each stretch of pumping had, where they had not all the same target.
fn flows(s: &Simulated<'_>, paint: Paint) -> String {
    let record = &s.outcome.record;
    if only_target(s.ready).is_some() || record.spans.is_empty() {
        return String::new();
    }
    let mut table = Table::new(&[
        Side::Right,
        Side::Right,
        Side::Left,
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Right,
    ])
    .gap(2);
    table.row(["step", "target", "start", "stop", "pumping", "volume", "mean flow", "worst 5 min"]);
    for span in record.spans.iter().take(SHOWN) {
        let mut cells = vec![span.step.get().to_string(), format::target(span.target)];
        let pumped_ms = span.end.mono.since(span.begin.mono);
        cells.extend(stretch(s, Some((span.begin, span.end)), pumped_ms, span.volume));
        cells.extend(flow_cells(&span.flow, Some(span.target), paint));
        table.row(cells);
    }
    let more = record.total.spans.saturating_sub(SHOWN as u64);
    format!("\n{}{}", table.render(), left_out(more, "stretches"))
}

fn left_out(more: u64, what: &str) -> String {
    match more {
        0 => String::new(),
        n => format!("... {} more {what}; --json has them all\n", format::grouped(n)),
    }
}

/// Start, stop, time and volume.
fn stretch(
    s: &Simulated<'_>,
    between: Option<(Now, Now)>,
    pumped_ms: u64,
    volume: RawVolume,
) -> [String; 4] {
    let clock = Clock::of(s);
    let stamp = |now: Option<Now>| now.map_or("-".to_owned(), |now| clock.one(now));
    let (from, to) = (between.map(|b| b.0), between.map(|b| b.1));
    [stamp(from), stamp(to), clock.length(pumped_ms), numbers::volume(volume)]
}

/// Mean flow, the worst five minutes, and whether they are for review.
fn flow_cells(flow: &FlowSummary, target: Option<Target>, paint: Paint) -> [String; 3] {
    let target = target.and_then(Target::as_flow).map(|f| f64::from(f.ul_per_min()));
    let mean = flow.mean_ul_per_min.map(f64::from);
    let off = mean.zip(target).map_or(0.0, |(mean, target)| mean / target - 1.0);
    let worst = flow.worst.map(|w| w.deviation());
    let review = off.abs() > WITHIN || worst.is_some_and(|w| w.abs() > WITHIN);
    let dash = || "-".to_owned();
    [
        mean.map_or_else(dash, |q| numbers::flow_beside(q, target.unwrap_or(q))),
        worst.map_or_else(dash, numbers::percent),
        if review { paint.careful("review") } else { String::new() },
    ]
}
