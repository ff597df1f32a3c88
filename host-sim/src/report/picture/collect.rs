//! What a picture needs of a run, in bounded memory however long it is.

use std::collections::VecDeque;

use draught::clock::Now;
use draught::event::{Event, PumpEnd, Pumped};
use draught::units::{RawVolume, Target};

use crate::bench::{FaultSeen, Happened, Observer, Reading};
use crate::plan::format;
use crate::report::fault_words;
use crate::words;

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
    /// For how long of it readings were taken, in ms.
    pub read_ms: u64,
    /// The smallest and the largest pressure drop of a whole pump, in Pa.
    pub drop: (u32, u32),
    /// Pressure drop · time, in Pa·ms.
    pub drop_ms: u64,
    /// What was left of the battery at its end, in 0.01 %.
    pub battery: Option<u16>,
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
    /// Of it for another reason, in ms, ...
    pub other_ms: u64,
    /// ... which is this.
    pub why: Option<PumpEnd>,
}

impl Off {
    /// All of it, in ms.
    #[must_use]
    pub const fn ms(self) -> u64 {
        self.wait_ms + self.hold_ms + self.other_ms
    }
}

/// Something that happened to a pump, or that it did about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When it begins.
    pub at: Now,
    /// When it is over, where it lasts.
    pub until: Option<Now>,
    /// What it is called.
    pub label: String,
    /// The pump did it; else the world.
    pub by_pump: bool,
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
    /// It is the run of a whole pump.
    pub whole: bool,
    /// What happened to it.
    pub marks: Vec<Mark>,
    open: Option<Pumping>,
    /// When a limit or an outage stopped the pump within a step.
    broken: Option<Now>,
    since: Option<Now>,
    /// The sample under way, and what was metered before it.
    sample: (u32, RawVolume),
}

impl Collect {
    fn began(&mut self, happened: &Happened, sample: u32, target: Target) {
        let (now, drawn) = (happened.input.now, happened.input.drawn);
        if let Some(since) = self.broken.take() {
            let all = now.mono.since(since.mono);
            self.after.other_ms = all.saturating_sub(self.after.wait_ms + self.after.hold_ms);
            self.after.from = Some(since);
        }
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

    fn ended(&mut self, p: &Pumped) {
        let Some(mut pumping) = self.open.take() else { return };
        pumping.to = p.end;
        pumping.cut_to(p);
        if matches!(p.by, PumpEnd::Outage | PumpEnd::Tripped(_)) {
            self.broken = Some(p.end);
            self.after.why = Some(p.by);
        }
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
        self.whole |= reading.around.is_some();
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
            Event::PumpingEnded(p) => {
                self.ended(&p);
                if let PumpEnd::Tripped(limit) = p.by {
                    let label = format!("pump off: {}", words::limit(limit));
                    self.marks.push(Mark { at: p.end, until: None, label, by_pump: true });
                }
            }
            _ => {}
        }
    }

    fn fault(&mut self, seen: &FaultSeen) {
        if !seen.begins {
            return;
        }
        let lasts = seen.fault.ends_ms().map(|_| seen.fault.lasts_ms);
        let short = fault_words::short(&seen.fault);
        let until = |ms| Now {
            mono: seen.at.mono.plus_ms(ms),
            wall: seen.at.wall.and_then(|w| w.plus_ms(ms)),
        };
        self.marks.push(Mark {
            at: seen.at,
            until: lasts.map(until),
            label: lasts.map_or(short.to_owned(), |ms| format!("{short} {}", format::distance(ms))),
            by_pump: false,
        });
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

    /// What was drawn in it is what the record says: after an outage that is what the checkpoint holds, and no more.
    fn cut_to(&mut self, p: &Pumped) {
        let mut over_ms = self.bins.iter().map(|b| b.ms).sum::<u64>().saturating_sub(p.pumped_ms());
        while over_ms > 0 {
            let Some(last) = self.bins.last_mut() else { break };
            if last.ms > over_ms && p.by == PumpEnd::Outage {
                last.ms -= over_ms;
                let read_ms = last.read_ms.min(last.ms);
                last.drop_ms = last.mean_drop() as u64 * read_ms;
                last.read_ms = read_ms;
                over_ms = 0;
            } else if p.by == PumpEnd::Outage {
                over_ms -= last.ms;
                self.bins.pop();
            } else {
                break;
            }
        }
        // A reading is in whole µL/min: what is left of it goes to the last bin.
        let before = self
            .bins
            .iter()
            .rev()
            .skip(1)
            .fold(RawVolume::ZERO, |sum, bin| sum.saturating_add(bin.volume));
        if let Some(last) = self.bins.last_mut() {
            last.volume = p.volume.since(before);
        }
    }

    fn add(&mut self, reading: &Reading) {
        let flow = reading.ul_per_min;
        let one = Bin {
            range: (flow, flow),
            volume: RawVolume::from_raw(u64::from(flow) * reading.covers_ms),
            ms: reading.covers_ms,
            read_ms: reading.covers_ms,
            drop: reading.around.map_or((u32::MAX, 0), |a| (a.drop_pa, a.drop_pa)),
            drop_ms: reading.around.map_or(0, |a| u64::from(a.drop_pa)) * reading.covers_ms,
            battery: reading.around.and_then(|a| a.battery_per_myriad),
        };
        let known = self.from.mono.plus_ms(self.bins.iter().map(|b| b.ms).sum());
        let gap_ms = reading.at.mono.minus_ms(reading.covers_ms).since(known);
        if gap_ms > 0 {
            self.put(Bin { ms: gap_ms, ..Bin::NOTHING });
        }
        self.put(one);
    }

    fn put(&mut self, one: Bin) {
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
    /// No time, in which nothing was read.
    const NOTHING: Self = Self {
        range: (u32::MAX, 0),
        volume: RawVolume::ZERO,
        ms: 0,
        read_ms: 0,
        drop: (u32::MAX, 0),
        drop_ms: 0,
        battery: None,
    };

    pub(super) fn with(self, other: &Self) -> Self {
        Self {
            range: (self.range.0.min(other.range.0), self.range.1.max(other.range.1)),
            volume: self.volume.saturating_add(other.volume),
            ms: self.ms + other.ms,
            read_ms: self.read_ms + other.read_ms,
            drop: (self.drop.0.min(other.drop.0), self.drop.1.max(other.drop.1)),
            drop_ms: self.drop_ms + other.drop_ms,
            battery: other.battery.or(self.battery),
        }
    }

    /// The mean pressure drop, in Pa.
    #[must_use]
    pub fn mean_drop(&self) -> f64 {
        if self.read_ms == 0 { 0.0 } else { self.drop_ms as f64 / self.read_ms as f64 }
    }

    /// The mean flow, in µL/min.
    #[must_use]
    pub fn mean(&self) -> f64 {
        if self.read_ms == 0 { 0.0 } else { self.volume.as_raw() as f64 / self.read_ms as f64 }
    }
}
