//! What a pump would have recorded: rows, samples, totals.

use draught::clock::{MonoMs, Now};
use draught::event::{EndReason, Event, HoldEnd, PassCount, PumpEnd, Pumped};
use draught::meter::Meter;
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

use super::observe::{Happened, Observer, Reading};
use super::run::Setup;

/// How many span rows a record holds; later ones are counted in the totals only.
pub(super) const SPAN_ROWS_MAX: usize = 100_000;
const FIVE_MINUTES_MS: u64 = 300_000;

/// The record of a simulated event.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The world it was made in.
    pub world: String,
    /// Where chance began.
    pub seed: u64,
    /// When the schedule was armed.
    pub armed: Now,
    /// Each stretch of pumping; the first 100,000 of more.
    pub spans: Vec<SpanRow>,
    /// What each sampler collected.
    pub samples: Vec<Sample>,
    /// Everything together.
    pub total: Total,
    /// The holds.
    pub holds: Holds,
    /// How many appointments were met, ...
    pub appointments_met: u64,
    /// ... the worst lateness of one, in ms, ...
    pub late_ms: u64,
    /// ... and how many were missed.
    pub appointments_missed: u64,
    /// How many run-untils were passed over.
    pub runs_lost: u64,
    /// How many passes were skipped for want of a new sampler.
    pub passes_skipped: u64,
    /// Why and when it ended; `None` when it waits for something that will never come.
    pub ended: Option<(EndReason, Now)>,
}

/// One stretch of pumping.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpanRow {
    /// The pumping step.
    pub step: StepNo,
    /// Which pass of it.
    pub passes: PassCount,
    /// The sample it belongs to, from 1.
    pub sample: u32,
    /// What the pump kept constant.
    pub target: Target,
    /// When the pump was started.
    pub begin: Now,
    /// When it was stopped.
    pub end: Now,
    /// What was metered.
    pub volume: RawVolume,
    /// What ended it.
    pub by: PumpEnd,
    /// How much longer than asked the pump ran, in ms.
    pub overrun_ms: u64,
    /// The flow.
    pub flow: FlowSummary,
}

impl SpanRow {
    /// How long the pump ran, by the monotonic clock, in ms.
    #[must_use]
    pub const fn pumped_ms(&self) -> u64 {
        self.end.mono.since(self.begin.mono)
    }
}

/// What one sampler collected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Its number, from 1.
    pub number: u32,
    /// Its stretches of pumping, and their sums.
    pub total: Total,
}

/// Sums over stretches of pumping.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Total {
    /// How many stretches.
    pub spans: u64,
    /// When the first began and the last ended.
    pub between: Option<(Now, Now)>,
    /// How long the pump ran, in ms.
    pub pumped_ms: u64,
    /// What was metered.
    pub volume: RawVolume,
    /// What was truly drawn in this world, with what the pump drew while it came to a stand.
    pub truly_drawn: RawVolume,
    /// The flow.
    pub flow: FlowSummary,
}

/// The flow over a time, as metered.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FlowSummary {
    /// Volume over time, in µL/min.
    pub mean_ul_per_min: Option<u32>,
    /// The smallest reading, in µL/min.
    pub min_ul_per_min: Option<u32>,
    /// The largest reading, in µL/min.
    pub max_ul_per_min: Option<u32>,
    /// The coefficient of variation of the readings, in 0.01 %.
    pub cv_per_myriad: Option<u32>,
    /// The five minutes that were furthest from the target.
    pub worst: Option<WorstFiveMinutes>,
    /// Stretches that no reading covers.
    pub gaps: u32,
}

/// Five minutes of pumping, or a whole shorter stretch, and how far off their mean flow was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstFiveMinutes {
    /// When they began, on the monotonic clock.
    pub from: MonoMs,
    /// How long they are, in ms.
    pub ms: u64,
    /// What was metered in them.
    pub volume: RawVolume,
    /// What the target would have drawn.
    pub wanted: RawVolume,
}

impl WorstFiveMinutes {
    /// How far the mean flow was from the target, as a part of it.
    #[must_use]
    pub fn deviation(&self) -> f64 {
        let (volume, wanted) = (self.volume.as_raw() as f64, self.wanted.as_raw() as f64);
        if wanted > 0.0 { volume / wanted - 1.0 } else { 0.0 }
    }

    fn is_worse_than(&self, other: Option<&Self>) -> bool {
        other.is_none_or(|o| self.deviation().abs() > o.deviation().abs())
    }
}

/// The holds between the first start and the last stop.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Holds {
    /// How many were ended by their time.
    pub ran_out: u64,
    /// How many were resumed by the operator.
    pub resumed: u64,
    /// How long they kept the pump off, in ms.
    pub off_ms: u64,
}

impl Holds {
    const fn plus(self, other: Self) -> Self {
        Self {
            ran_out: self.ran_out + other.ran_out,
            resumed: self.resumed + other.resumed,
            off_ms: self.off_ms + other.off_ms,
        }
    }
}

/// Sums up readings, with their five-minute means.
#[derive(Clone, Copy, Debug)]
struct Tally {
    meter: Meter,
    spans: u64,
    between: Option<(Now, Now)>,
    pumped_ms: u64,
    volume: RawVolume,
    worst: Option<WorstFiveMinutes>,
    truly_before: RawVolume,
}

impl Tally {
    fn new(at: Now, truly_before: RawVolume) -> Self {
        Self {
            meter: Meter::new(at.mono),
            spans: 0,
            between: None,
            pumped_ms: 0,
            volume: RawVolume::ZERO,
            worst: None,
            truly_before,
        }
    }

    fn offer(&mut self, window: WorstFiveMinutes) {
        if window.is_worse_than(self.worst.as_ref()) {
            self.worst = Some(window);
        }
    }

    fn ended(&mut self, p: &Pumped) {
        self.spans += 1;
        self.between = Some((self.between.map_or(p.begin, |(from, _)| from), p.end));
        self.pumped_ms += p.pumped_ms();
        self.volume = self.volume.saturating_add(p.volume);
    }

    fn flow(&self) -> FlowSummary {
        FlowSummary {
            mean_ul_per_min: self.meter.mean_ul_per_min(),
            min_ul_per_min: self.meter.min_ul_per_min(),
            max_ul_per_min: self.meter.max_ul_per_min(),
            cv_per_myriad: self.meter.cv_per_myriad(),
            worst: self.worst,
            gaps: self.meter.gaps(),
        }
    }

    fn total(&self, truly: RawVolume) -> Total {
        Total {
            spans: self.spans,
            between: self.between,
            pumped_ms: self.pumped_ms,
            volume: self.volume,
            truly_drawn: truly.since(self.truly_before),
            flow: self.flow(),
        }
    }
}

/// Makes the record while a run goes on.
#[derive(Clone, Debug)]
pub(super) struct Recorder {
    record: Record,
    all: Tally,
    sample: Option<(u32, Tally)>,
    span: Option<(Target, Tally)>,
    window: Option<WorstFiveMinutes>,
    hold: Option<Now>,
    /// Holds since the pump stopped; part of the sampling only if it starts again.
    held: Holds,
    truly: RawVolume,
}

impl Recorder {
    pub fn new(setup: &Setup<'_>) -> Self {
        let record = Record {
            world: setup.world.name.clone(),
            seed: setup.seed,
            armed: setup.armed,
            spans: Vec::new(),
            samples: Vec::new(),
            total: Total::default(),
            holds: Holds::default(),
            appointments_met: 0,
            late_ms: 0,
            appointments_missed: 0,
            runs_lost: 0,
            passes_skipped: 0,
            ended: None,
        };
        Self {
            record,
            all: Tally::new(setup.armed, RawVolume::ZERO),
            sample: None,
            span: None,
            window: None,
            hold: None,
            held: Holds::default(),
            truly: RawVolume::ZERO,
        }
    }

    pub fn into_record(mut self) -> Record {
        self.close_sample();
        self.record.total = self.all.total(self.truly);
        self.record
    }

    fn close_sample(&mut self) {
        if let Some((number, tally)) = self.sample.take() {
            self.record.samples.push(Sample { number, total: tally.total(self.truly) });
        }
    }

    fn tallies(&mut self) -> impl Iterator<Item = &mut Tally> {
        let sample = self.sample.as_mut().map(|(_, t)| t);
        let span = self.span.as_mut().map(|(_, t)| t);
        [Some(&mut self.all), sample, span].into_iter().flatten()
    }

    fn began(&mut self, at: Now, number: u32, target: Target) {
        let held = std::mem::take(&mut self.held);
        if self.all.spans > 0 {
            self.record.holds = self.record.holds.plus(held);
        }
        if self.sample.as_ref().is_none_or(|(open, _)| *open != number) {
            self.close_sample();
            self.sample = Some((number, Tally::new(at, self.truly)));
        }
        self.span = Some((target, Tally::new(at, self.truly)));
        self.window = None;
        for tally in self.tallies() {
            tally.meter.idle(at.mono);
        }
    }

    fn pumped(&mut self, p: &Pumped) {
        // A stretch shorter than five minutes is its own window; what is left over of a longer one is none.
        if let Some(window) = self.window.take()
            && p.pumped_ms() < FIVE_MINUTES_MS
        {
            self.tallies().for_each(|t| t.offer(window));
        }
        self.tallies().for_each(|t| t.ended(p));
        if let Some((target, tally)) = self.span.take()
            && self.record.spans.len() < SPAN_ROWS_MAX
        {
            self.record.spans.push(SpanRow {
                step: p.step,
                passes: p.passes,
                sample: p.sample,
                target,
                begin: p.begin,
                end: p.end,
                volume: p.volume,
                by: p.by,
                overrun_ms: p.overrun_ms,
                flow: tally.flow(),
            });
        }
    }

    /// Adds a reading to the five minutes under way; one that crosses their end is split, which changes no sum.
    fn five_minutes(&mut self, reading: &Reading) {
        let Some(flow) = reading.target.as_flow() else { return };
        let mut from = reading.at.mono.minus_ms(reading.covers_ms);
        while from < reading.at.mono {
            let mut window = self.window.unwrap_or(WorstFiveMinutes {
                from,
                ms: 0,
                volume: RawVolume::ZERO,
                wanted: RawVolume::ZERO,
            });
            let ms = reading.at.mono.since(from).min(FIVE_MINUTES_MS - window.ms);
            let part = |q: u32| RawVolume::from_raw(u64::from(q).saturating_mul(ms));
            window.ms += ms;
            window.volume = window.volume.saturating_add(part(reading.ul_per_min));
            window.wanted = window.wanted.saturating_add(part(flow.ul_per_min()));
            from = from.plus_ms(ms);
            self.window = if window.ms == FIVE_MINUTES_MS {
                self.tallies().for_each(|t| t.offer(window));
                None
            } else {
                Some(window)
            };
        }
    }
}

impl Observer for Recorder {
    fn reading(&mut self, reading: &Reading) {
        self.truly = reading.truly_drawn;
        for tally in self.tallies() {
            tally.meter.reading(reading.at.mono, reading.ul_per_min);
        }
        self.five_minutes(reading);
    }

    fn event(&mut self, happened: &Happened) {
        self.truly = happened.truly_drawn;
        let now = happened.input.now;
        match happened.event {
            Event::AppointmentMet { late_ms, .. } => {
                self.record.appointments_met += 1;
                self.record.late_ms = self.record.late_ms.max(late_ms);
            }
            Event::AppointmentMissed { .. } => self.record.appointments_missed += 1,
            Event::PumpingBegan { sample, target, .. } => self.began(now, sample, target),
            Event::PumpingEnded(p) => self.pumped(&p),
            Event::RunLost { .. } => self.record.runs_lost += 1,
            Event::HoldBegan { .. } => self.hold = Some(now),
            Event::HoldEnded { by, .. } => {
                let since = self.hold.take().map_or(0, |from| now.mono.since(from.mono));
                self.held = self.held.plus(Holds {
                    ran_out: u64::from(by == HoldEnd::RanOut),
                    resumed: u64::from(by == HoldEnd::Resumed),
                    off_ms: since,
                });
            }
            Event::PassSkipped { .. } => self.record.passes_skipped += 1,
            Event::Ended(reason) => self.record.ended = Some((reason, now)),
            Event::AppointmentSet { .. } | Event::PassedOn { .. } | Event::RepeatDone { .. } => {}
        }
    }
}
