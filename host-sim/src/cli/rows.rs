//! The rows of a forecast: both lines of an outlook as one where they go through the same steps.

use draught::clock::Now;
use draught::event::{EndReason, LostCause, PassCount, PumpEnd};
use draught::forecast::{Span, What};
use draught::step::StepNo;
use draught::units::RawVolume;

use crate::plan::outlook::{Line, Outlook, Range, length_ms};
use crate::words;

/// One row: a span, or the same span of both lines.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// The first step it belongs to.
    pub first_step: StepNo,
    /// The last.
    pub step: StepNo,
    /// Which pass.
    pub passes: PassCount,
    /// Which sample; 0 before the first.
    pub sample: u32,
    /// What it is; of two lines, that of the one whose holds run out.
    pub what: What,
    /// From when, at the earliest and latest.
    pub from: (Now, Now),
    /// To when, at the earliest and latest.
    pub to: (Now, Now),
    /// How long it takes, in ms.
    pub length_ms: Range<u64>,
    /// What is drawn in it.
    pub volume: Option<Range<RawVolume>>,
    /// What its sample has at its end.
    pub sample_total: Option<Range<RawVolume>>,
    /// Pumping of its sample at its end, least and most, in ms.
    pub sample_ms: Range<u64>,
}

/// The rows of an outlook: one line with ranges, or two.
#[must_use]
pub fn rows(outlook: &Outlook) -> Vec<(&'static str, Vec<Row>)> {
    if outlook.same_steps() {
        return vec![("", pair(&outlook.resumed, &outlook.run_out))];
    }
    vec![
        ("if each hold is resumed at once", pair(&outlook.resumed, &outlook.resumed)),
        ("if no hold is resumed", pair(&outlook.run_out, &outlook.run_out)),
    ]
}

fn pair(early: &Line, late: &Line) -> Vec<Row> {
    let mut totals = Totals::default();
    early.0.iter().zip(&late.0).map(|(a, b)| totals.row(a, b)).collect()
}

/// Sums on the sampler in use.
#[derive(Default)]
struct Totals {
    sample: u32,
    a: Option<RawVolume>,
    b: Option<RawVolume>,
    a_ms: u64,
    b_ms: u64,
}

impl Totals {
    fn row(&mut self, a: &Span, b: &Span) -> Row {
        let pumps = matches!(a.what, What::Pump { .. });
        if pumps && a.sample != self.sample {
            *self = Self {
                sample: a.sample,
                a: Some(RawVolume::ZERO),
                b: Some(RawVolume::ZERO),
                ..Self::default()
            };
        }
        if pumps {
            let sum = |total: Option<RawVolume>, more: Option<RawVolume>| {
                Some(total?.saturating_add(more?))
            };
            (self.a, self.b) = (sum(self.a, a.volume), sum(self.b, b.volume));
            self.a_ms += length_ms(a);
            self.b_ms += length_ms(b);
        }
        Row {
            first_step: a.first_step,
            step: a.step,
            passes: a.passes,
            sample: a.sample,
            what: b.what,
            from: (a.from, b.from),
            to: (a.to, b.to),
            length_ms: Range::of(length_ms(a), length_ms(b)),
            volume: a.volume.zip(b.volume).map(|(a, b)| Range::of(a, b)),
            sample_total: self.a.zip(self.b).map(|(a, b)| Range::of(a, b)),
            sample_ms: Range::of(self.a_ms, self.b_ms),
        }
    }
}

/// What a row is, in a word or two.
#[must_use]
pub fn what_word(what: What) -> String {
    let word = match what {
        What::Wait { met: true, .. } => "wait",
        What::Wait { met: false, .. } => "missed",
        What::Pump { by: PumpEnd::Limit, .. } => "pump, at most",
        What::Pump { .. } => "pump",
        What::Hold { .. } => "off, hold",
        What::Lost(LostCause::TooFar) => "lost, too far off",
        What::Lost(LostCause::Past) => "lost, already over",
        What::End(reason) => return end_word(reason),
    };
    word.to_owned()
}

/// How an event ends, as a row of its own.
#[must_use]
pub fn end_word(reason: EndReason) -> String {
    match reason {
        EndReason::Finished => "end".to_owned(),
        other => format!("end: {}", words::ended(other)),
    }
}

/// How an event ends, for machines.
#[must_use]
pub const fn end_code(reason: EndReason) -> &'static str {
    match reason {
        EndReason::Finished => "finished",
        EndReason::Missed => "missed",
        EndReason::StartByPassed => "start-by-passed",
        EndReason::HoldRanOut => "hold-ran-out",
        EndReason::Stopped(_) => "stopped",
        EndReason::Disarmed => "disarmed",
        EndReason::WrongTable => "wrong-table",
        EndReason::Fault(_) => "fault",
        EndReason::Outage => "outage",
        EndReason::ClockLost => "clock-lost",
    }
}

/// What is shown of many rows: rows, and gaps of passes between them.
#[derive(Clone, Copy, Debug)]
pub enum Shown<'r> {
    /// A row.
    Row(&'r Row),
    /// So many passes are left out; the last row of them.
    Passes(usize, &'r Row),
}

/// Leaves out the middle passes of long repeats: the first two and the last are shown.
#[must_use]
pub fn folded(rows: &[Row]) -> Vec<Shown<'_>> {
    fold(rows, 0)
}

/// More passes of one repeat than this are folded.
const PASSES_SHOWN: usize = 7;

fn fold(rows: &[Row], level: usize) -> Vec<Shown<'_>> {
    if level == 4 {
        return rows.iter().map(Shown::Row).collect();
    }
    let pass = |r: &Row| r.passes.0[level];
    let mut shown = Vec::new();
    let mut rest = rows;
    while let Some(first) = rest.first() {
        if pass(first) == 0 {
            shown.push(Shown::Row(first));
            rest = &rest[1..];
            continue;
        }
        // One repeat: its pass numbers do not go down.
        let mut len = 1;
        while len < rest.len() && pass(&rest[len]) >= pass(&rest[len - 1]) && pass(&rest[len]) > 0 {
            len += 1;
        }
        let (repeat, after) = rest.split_at(len);
        let passes: Vec<&[Row]> = repeat.chunk_by(|a, b| pass(a) == pass(b)).collect();
        if passes.len() > PASSES_SHOWN {
            let (head, tail) = (&passes[..2], &passes[passes.len() - 1..]);
            let out = &passes[2..passes.len() - 1];
            head.iter().for_each(|p| shown.extend(fold(p, level + 1)));
            if let Some(last) = out.last().and_then(|p| p.last()) {
                shown.push(Shown::Passes(out.len(), last));
            }
            tail.iter().for_each(|p| shown.extend(fold(p, level + 1)));
        } else {
            passes.iter().for_each(|p| shown.extend(fold(p, level + 1)));
        }
        rest = after;
    }
    shown
}
