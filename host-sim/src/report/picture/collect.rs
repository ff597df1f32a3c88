//! What a picture needs of a run, in bounded memory however long it is.

use std::collections::VecDeque;

use draught::clock::Now;
use draught::event::Event;
use draught::units::{RawVolume, Target};

use crate::bench::{Happened, Observer, Reading};

/// How many stretches of pumping are drawn from the beginning, and from the end.
const KEPT: usize = 24;
/// How many bins one stretch is drawn with at most.
const BINS_MAX: usize = 1_024;

/// Readings of a stretch of time, summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bin {
    /// The smallest and the largest reading, in µL/min.
    pub range: (u32, u32),
    /// What was metered.
    pub volume: RawVolume,
    /// How long it is, in ms.
    pub ms: u64,
}

/// A stretch of pumping.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pumping {
    /// When it began ...
    pub from: Now,
    /// ... and ended.
    pub to: Now,
    /// What the pump kept constant.
    pub target: Target,
    /// The sample it belongs to.
    pub sample: u32,
    /// What had been metered on that sample before.
    pub before: RawVolume,
    /// Its readings.
    pub bins: Vec<Bin>,
    /// The bins are that long, but for the last one, in ms.
    pub bin_ms: u64,
    /// How long the pump was off before it, and why.
    pub off: Off,
}

/// A time with the pump off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Off {
    /// When it began.
    pub from: Option<Now>,
    /// Of it waiting for appointments, in ms.
    pub wait_ms: u64,
    /// Of it held, in ms.
    pub hold_ms: u64,
}

impl Off {
    /// All of it, in ms.
    #[must_use]
    pub const fn ms(self) -> u64 {
        self.wait_ms + self.hold_ms
    }
}

/// Collects a run for its picture.
#[derive(Clone, Debug, Default)]
pub struct Collect {
    /// The first stretches of pumping.
    pub first: Vec<Pumping>,
    /// The last ones, where there are more.
    pub last: VecDeque<Pumping>,
    /// How many in between are not drawn.
    pub left_out: u64,
    /// The pump was off after the last of them.
    pub after: Off,
    open: Option<Pumping>,
    since: Option<Now>,
    /// The sample under way, and what was metered before it.
    sample: (u32, RawVolume),
}

impl Collect {
    fn began(&mut self, happened: &Happened, sample: u32, target: Target) {
        let (now, drawn) = (happened.input.now, happened.input.drawn);
        if self.sample.0 != sample {
            self.sample = (sample, drawn);
        }
        self.open = Some(Pumping {
            from: now,
            to: now,
            target,
            sample,
            before: drawn.since(self.sample.1),
            bins: Vec::new(),
            bin_ms: 1_000,
            off: std::mem::take(&mut self.after),
        });
    }

    fn ended(&mut self, at: Now) {
        let Some(mut pumping) = self.open.take() else { return };
        pumping.to = at;
        if self.first.len() < KEPT {
            self.first.push(pumping);
            return;
        }
        self.last.push_back(pumping);
        if self.last.len() > KEPT {
            self.last.pop_front();
            self.left_out += 1;
        }
    }
}

impl Observer for Collect {
    fn reading(&mut self, reading: &Reading) {
        let Some(pumping) = &mut self.open else { return };
        pumping.add(reading);
    }

    fn event(&mut self, happened: &Happened) {
        let now = happened.input.now;
        match happened.event {
            Event::AppointmentSet { .. } | Event::HoldBegan { .. } => self.since = Some(now),
            Event::AppointmentMet { .. } | Event::AppointmentMissed { .. } => {
                self.after.wait_ms += self.off_until(now);
            }
            Event::HoldEnded { .. } => self.after.hold_ms += self.off_until(now),
            Event::PumpingBegan { sample, target, .. } => self.began(happened, sample, target),
            Event::PumpingEnded(p) => self.ended(p.end),
            _ => {}
        }
    }
}

impl Collect {
    /// A wait or a hold is over; how long it was, in ms.
    fn off_until(&mut self, now: Now) -> u64 {
        let since = self.since.take().unwrap_or(now);
        self.after.from = self.after.from.or(Some(since));
        now.mono.since(since.mono)
    }
}

impl Pumping {
    /// How long it is, in ms.
    #[must_use]
    pub const fn ms(&self) -> u64 {
        self.to.mono.since(self.from.mono)
    }

    /// What was metered in it.
    #[must_use]
    pub fn volume(&self) -> RawVolume {
        self.bins.iter().fold(RawVolume::ZERO, |sum, bin| sum.saturating_add(bin.volume))
    }

    fn add(&mut self, reading: &Reading) {
        let flow = reading.ul_per_min;
        let one = Bin {
            range: (flow, flow),
            volume: RawVolume::from_raw(u64::from(flow) * reading.covers_ms),
            ms: reading.covers_ms,
        };
        match self.bins.last_mut() {
            Some(bin) if bin.ms + one.ms <= self.bin_ms => *bin = bin.with(&one),
            _ => self.bins.push(one),
        }
        if self.bins.len() > BINS_MAX {
            self.bin_ms *= 2;
            let pairs = self.bins.chunks(2);
            self.bins =
                pairs.map(|pair| pair.iter().skip(1).fold(pair[0], |a, b| a.with(b))).collect();
        }
    }
}

impl Bin {
    pub(super) fn with(self, other: &Self) -> Self {
        Self {
            range: (self.range.0.min(other.range.0), self.range.1.max(other.range.1)),
            volume: self.volume.saturating_add(other.volume),
            ms: self.ms + other.ms,
        }
    }

    /// The mean flow, in µL/min.
    #[must_use]
    pub fn mean(&self) -> f64 {
        if self.ms == 0 { 0.0 } else { self.volume.as_raw() as f64 / self.ms as f64 }
    }
}
