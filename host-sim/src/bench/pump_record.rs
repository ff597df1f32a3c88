//! The record of a whole pump: the rows of its journal, and the same as the [`Record`] that every simulated run has.

use draught::clock::{Now, WallMs};
use draught::machine::EventId;
use draught::record::{EventRow, ROW_LEN, RowKind, SampleRow, SpanRow};
use draught::units::{RawVolume, Target};

use super::physics::Engine;
use super::pump_truth::Ledger;
use super::record::{self, FlowSummary, Record, Sample, Total, WorstFiveMinutes};
use super::run::Setup;

/// One row, decoded, with its bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row<R> {
    /// What it says.
    pub row: R,
    /// As it was in the journal.
    pub bytes: [u8; ROW_LEN],
}

/// The rows of one event, in the order in which they were written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rows {
    /// The event; `None`: it is not over.
    pub event: Option<Row<EventRow>>,
    /// Its samples.
    pub samples: Vec<Row<SampleRow>>,
    /// Its stretches of pumping.
    pub spans: Vec<Row<SpanRow>>,
}

impl Rows {
    pub(super) fn collect(engine: &mut Engine, id: EventId) -> Self {
        let mut rows = Self::default();
        engine.each_row(|_, kind, bytes| {
            let bytes = *bytes;
            match kind {
                RowKind::Span => {
                    let row = SpanRow::from_bytes(&bytes).filter(|row| row.event == id);
                    rows.spans.extend(row.map(|row| Row { row, bytes }));
                }
                RowKind::Sample => {
                    let row = SampleRow::from_bytes(&bytes).filter(|row| row.event == id);
                    rows.samples.extend(row.map(|row| Row { row, bytes }));
                }
                RowKind::Event => {
                    let row = EventRow::from_bytes(&bytes).filter(|row| row.event == id);
                    rows.event = row.map(|row| Row { row, bytes }).or(rows.event);
                }
            }
        });
        rows
    }

    /// What the event drew: as its own row says, else as its stretches do.
    #[must_use]
    pub fn volume(&self) -> RawVolume {
        let of_spans = || {
            let volumes = self.spans.iter().map(|s| s.row.volume);
            volumes.fold(RawVolume::ZERO, RawVolume::saturating_add)
        };
        self.event.as_ref().map_or_else(of_spans, |event| event.row.volume)
    }
}

/// What the run was seen to do, with times and sums as the rows have them.
pub(super) fn record(seen: Record, rows: &Rows, setup: &Setup<'_>, ledger: &Ledger) -> Record {
    let spans: Vec<record::SpanRow> =
        rows.spans.iter().map(|span| span_row(&span.row, &seen, setup)).collect();
    let samples: Vec<Sample> = rows
        .samples
        .iter()
        .map(|sample| {
            let row = &sample.row;
            let own: Vec<&record::SpanRow> =
                spans.iter().filter(|span| span.sample == row.number).collect();
            let targets: Vec<Target> = own.iter().map(|span| span.target).collect();
            let total = Total {
                spans: own.len() as u64,
                between: own.first().zip(own.last()).map(|(a, b)| (a.begin, b.end)),
                pumped_ms: row.pumped_ms,
                volume: row.volume(),
                truly_drawn: ledger.of_sample(row.number),
                flow: flow_of(row, one(&targets)),
            };
            Sample { number: row.number, total }
        })
        .collect();
    let total = Total {
        spans: spans.len() as u64,
        between: spans.first().zip(spans.last()).map(|(a, b)| (a.begin, b.end)),
        pumped_ms: rows.event.as_ref().map_or_else(
            || spans.iter().map(record::SpanRow::pumped_ms).sum(),
            |e| e.row.pumped_ms,
        ),
        volume: rows.volume(),
        truly_drawn: ledger.all(),
        flow: flow_of_all(rows, &samples),
    };
    Record { spans, samples, total, ..seen }
}

/// A stretch, its instants on both clocks where it was seen to end.
fn span_row(row: &SpanRow, seen: &Record, setup: &Setup<'_>) -> record::SpanRow {
    let on_both = |wall: Option<WallMs>| {
        let armed = setup.armed;
        let after = wall.zip(armed.wall).map_or(0, |(at, armed)| at.since(armed));
        Now { mono: armed.mono.plus_ms(after), wall }
    };
    let same = |s: &&record::SpanRow| {
        (s.begin.wall, s.end.wall, s.step, s.sample) == (row.begin, row.end, row.step, row.sample)
    };
    let seen = seen.spans.iter().find(same);
    let own = setup.table.steps().get(row.step.index()).and_then(|step| step.own_target());
    record::SpanRow {
        step: row.step,
        passes: row.passes,
        sample: row.sample,
        target: own.unwrap_or(setup.table.settings().target),
        begin: seen.map_or_else(|| on_both(row.begin), |s| s.begin),
        end: seen.map_or_else(|| on_both(row.end), |s| s.end),
        volume: row.volume,
        by: row.by,
        overrun_ms: row.overrun_ms.into(),
        // A row of a stretch has no more than its volume; what was read in it, the run has seen.
        flow: FlowSummary {
            mean_ul_per_min: mean(row.volume, row.pumped_ms),
            ..seen.map_or_else(FlowSummary::default, |s| s.flow)
        },
    }
}

fn mean(volume: RawVolume, ms: u64) -> Option<u32> {
    let mean = (volume.as_raw() + ms / 2).checked_div(ms)?;
    u32::try_from(mean).ok()
}

fn one(targets: &[Target]) -> Option<Target> {
    let first = targets.first()?;
    targets.iter().all(|t| t == first).then_some(*first)
}

/// The flow on one sampler, as its row has it.
fn flow_of(row: &SampleRow, target: Option<Target>) -> FlowSummary {
    let wanted = target.and_then(Target::as_flow).map(|flow| flow.ul_per_min());
    FlowSummary {
        mean_ul_per_min: row.flow.mean_ul_per_min(),
        min_ul_per_min: row.flow.min_ul_per_min(),
        max_ul_per_min: row.flow.max_ul_per_min(),
        cv_per_myriad: row.cv_per_myriad(),
        worst: wanted.and_then(|wanted| worst(row, wanted)),
        gaps: 0,
    }
}

const INTERVAL_MS: u64 = draught::record::INTERVAL_MS as u64;

/// The interval of 5 min that was furthest from the target; of a shorter sample, all of it. The row says how far, not when.
fn worst(row: &SampleRow, wanted: u32) -> Option<WorstFiveMinutes> {
    let whole = row.flow.mean_ul_per_min().map(|mean| (mean, mean));
    let ((low, high), ms) = match row.interval_means {
        Some(means) => (means, INTERVAL_MS),
        None => (whole?, row.metered_ms()),
    };
    let far = |mean: u32| mean.abs_diff(wanted);
    let mean = if far(low) > far(high) { low } else { high };
    let drawn = |flow: u32| RawVolume::from_raw(u64::from(flow).saturating_mul(ms));
    Some(WorstFiveMinutes {
        from: draught::clock::MonoMs::from_ms(0),
        ms,
        volume: drawn(mean),
        wanted: drawn(wanted),
    })
}

/// The flow on all samplers: the widest of what their rows say.
fn flow_of_all(rows: &Rows, samples: &[Sample]) -> FlowSummary {
    let flows = || samples.iter().map(|s| &s.total.flow);
    let metered: u64 = rows.samples.iter().map(|s| s.row.metered_ms()).sum();
    let far = |w: &WorstFiveMinutes| w.deviation().abs();
    FlowSummary {
        mean_ul_per_min: mean(rows.volume(), metered),
        min_ul_per_min: flows().filter_map(|f| f.min_ul_per_min).min(),
        max_ul_per_min: flows().filter_map(|f| f.max_ul_per_min).max(),
        cv_per_myriad: flows().filter_map(|f| f.cv_per_myriad).max(),
        worst: flows().filter_map(|f| f.worst).max_by(|a, b| far(a).total_cmp(&far(b))),
        gaps: rows.event.as_ref().map_or(0, |e| e.row.interruptions.into()),
    }
}
