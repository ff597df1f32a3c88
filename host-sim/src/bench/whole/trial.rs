//! One schedule on one pump in one world, from arming to its end, and whether its journal then holds what happened.

use std::fmt;

use draught::audit::Fit;
use draught::clock::WallMs;
use draught::event::EndReason;
use draught::forecast::Forecast;
use draught::journal::Region;
use draught::limits;
use draught::machine::{Demand, EventId, Wake};
use draught::port::Duty;
use draught::pump::{Booted, Config, Pump, Regions};
use draught::record::{EventRow, Origin, RowKind, SampleRow, SpanRow};
use draught::regulator::{self, Curve};
use draught::wire;

use super::super::random::Stream;
use super::board::{PAGE, Physics, Rig};
use super::faults::{Fault, FaultKind, faults};
use super::plans::{below, schedule};

/// An engine on a rig.
pub type Engine = Pump<Rig, 32>;

/// Faults come within this time after arming, in ms.
const FAULTY_MS: u64 = 40 * 60_000;

/// An event must end within this time after faults have ceased and its forecast is over, in ms: retries, and a day for a
/// time of day that was missed.
const LIVE_MS: u64 = 48 * 3_600_000;

/// What a trial is made of: all of it follows from the seed.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Its seed.
    pub seed: u64,
    /// What goes wrong, in order.
    pub faults: Vec<Fault>,
    /// Time between two checkpoints, in ms.
    pub checkpoint_ms: u32,
}

impl Trial {
    /// The trial of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut chance = Stream::new(seed, "faults");
        let faults = faults(&mut chance, FAULTY_MS);
        Self { seed, faults, checkpoint_ms: [4_000, 60_000][below(&mut chance, 2) as usize] }
    }
}

/// What became of a trial.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Told {
    /// Why the event ended.
    pub reason: Option<EndReason>,
    /// Boots after cuts.
    pub cuts: u32,
    /// Resumes that the record tells of.
    pub resumes: u32,
    /// Rows in the journal.
    pub rows: u32,
    /// Limits that tripped.
    pub trips: u32,
    /// Time pumped that no record holds, in ms.
    pub lost_ms: u64,
    /// Time pumped, in ms.
    pub pumped_ms: u64,
    /// Polls.
    pub polls: u64,
}

/// A promise that a pump broke.
#[derive(Clone, Debug, PartialEq)]
pub struct Broken {
    /// Which, in words.
    pub what: String,
    /// When, in ms after arming.
    pub at_ms: u64,
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({} ms after arming)", self.what, self.at_ms)
    }
}

/// Runs a trial.
///
/// # Errors
/// [`Broken`]: the pump did what it must never do, or its journal does not hold what happened.
pub fn trial(trial: &Trial) -> Result<Told, Broken> {
    let mut chance = Stream::new(trial.seed, "schedule");
    // Some second of 2027.
    let begin = 852_076_800_000 + below(&mut chance, 31_536_000) * 1_000;
    let Some(wall) = WallMs::from_ms(begin) else {
        return Err(Broken { what: "no clock".into(), at_ms: 0 });
    };
    let rig = Rig::new(Physics::WORN, wall, trial.seed);
    let mut run = Run {
        pump: boot(&rig, trial.checkpoint_ms).0,
        rig,
        trial,
        told: Told::default(),
        over: Vec::new(),
        spans_seen: 0,
        ends_ms: 0,
    };
    // A schedule that cannot be armed (its first start lies in the past, nothing pumps) is drawn again.
    loop {
        let table = schedule(&mut chance, wall);
        let mut block = [0; wire::max_len(32)];
        let Ok(len) = table.checked().map_or(Ok(0), |t| wire::encode(t, &mut block)) else {
            continue;
        };
        let now = run.pump.now();
        if run.pump.load(&block[..len], 0).is_ok() && run.pump.arm().is_ok() {
            // With every hold running out, which takes longest.
            let end = table.checked().ok().and_then(|table| {
                Forecast::new(table, &Fit::ANY, now).ok()?.last().map(|span| span.to.mono)
            });
            run.ends_ms = end.map_or(0, |end| end.since(now.mono));
            break;
        }
    }
    run.finish()
}

/// Boots an engine on a rig, its regulator tuned to the rig's pump.
///
/// # Panics
/// Never: the regions of the rig are whole pages, and its shelf has two places.
#[must_use]
pub fn boot(rig: &Rig, checkpoint_ms: u32) -> (Engine, Booted) {
    let region = |from: usize, pages| {
        Region::new(rig, (from * PAGE) as u32, pages)
            .expect("the regions of the rig are whole pages")
    };
    let physics = rig.look().physics();
    let full = physics.full_ul_per_min as u32;
    // A reading every second: half of it for the mean that it is, half for the duty that is held until the next.
    let flow = Curve::tuned(full, 0, 110, physics.lag_ms as u32, 1_000);
    let config = Config {
        device: 7,
        origin: Origin::Simulated,
        fit: Fit::ANY,
        regulator: regulator::Config { flow, ..regulator::Config::default() },
        limits: limits::Config::default(),
        reading_ms: 1_000,
        checkpoint_ms,
        sample_ms: None,
        regions: Regions {
            shelf: region(0, 4),
            shelf_half_pages: 1,
            checkpoints: region(4, 12),
            records: region(16, 48),
        },
    };
    let mut pump = Pump::new(rig.clone(), config).expect("a shelf of two places");
    let booted = pump.boot(&mut [0; wire::max_len(32)]);
    (pump, booted)
}

struct Run<'t> {
    pump: Engine,
    rig: Rig,
    trial: &'t Trial,
    told: Told,
    /// What is over again, and when.
    over: Vec<(u64, FaultKind)>,
    /// When its forecast is over, in ms after arming.
    ends_ms: u64,
    /// Rows of spans that the journal held at the last boot.
    spans_seen: usize,
}

impl Run<'_> {
    fn finish(mut self) -> Result<Told, Broken> {
        let mut next = 0;
        // A cut that waits for its operation of the flash.
        let mut waiting_off_ms = None;
        loop {
            let wake = self.poll()?;
            if self.rig.look().nor.hit().is_some() {
                self.outage(waiting_off_ms.take().unwrap_or(1_000))?;
                continue;
            }
            if !self.pump.status().indications.armed && !self.pump.status().held_by_charger {
                return self.account();
            }
            let now = self.rig.look().ms;
            if now > FAULTY_MS + self.ends_ms + LIVE_MS {
                let phase = self.pump.status().phase;
                return Err(self.broken(&format!("the event does not come to its end: {phase:?}")));
            }
            let fault = self.trial.faults.get(next).filter(|_| waiting_off_ms.is_none());
            let over = self.over.iter().map(|(at, _)| *at).min();
            let until = now + self.time_to(wake);
            let happens = fault.map(|f| f.at_ms.max(now));
            let first = [Some(until), happens, over].into_iter().flatten().min().unwrap_or(until);
            // What should have been over during a late poll is over now.
            self.rig.pass(first.saturating_sub(now));
            if over == Some(first) {
                self.end_faults(first);
            } else if let Some(fault) = fault.filter(|_| happens == Some(first)) {
                next += 1;
                match fault.kind {
                    FaultKind::Cut { off_ms } => self.outage(off_ms)?,
                    FaultKind::WarnedCut { off_ms } => {
                        self.rig.set().failing = true;
                        self.poll()?;
                        if self.rig.look().nor.hit().is_none() {
                            self.outage(off_ms)?;
                        }
                    }
                    FaultKind::CutInFlash { operations, torn, off_ms } => {
                        self.rig.set().nor.cut_after(operations, torn);
                        waiting_off_ms = Some(off_ms);
                    }
                    FaultKind::LatePoll { for_ms } => self.rig.pass(for_ms),
                    kind => {
                        if let Some(for_ms) = kind.begin(&self.rig) {
                            self.over.push((first + for_ms, kind));
                        }
                    }
                }
            }
        }
    }

    fn end_faults(&mut self, now: u64) {
        let rig = &self.rig;
        self.over.retain(|(at, kind)| {
            if *at <= now {
                kind.end(rig);
            }
            *at > now
        });
        // Two of a kind may overlap: what still lasts goes on.
        for (_, kind) in &self.over {
            if !matches!(kind, FaultKind::Blockage { .. }) {
                kind.begin(rig);
            }
        }
    }

    fn poll(&mut self) -> Result<Wake, Broken> {
        self.told.polls += 1;
        let wake = self.pump.poll();
        if wake == Wake::Again {
            return Err(self.broken("a poll asks to be polled again at once"));
        }
        let status = self.pump.status();
        let driven = self.rig.look().duty != Duty::OFF;
        if driven && !matches!(status.demand, Demand::Pump(_)) {
            return Err(self.broken("the motor runs and nothing asks for it"));
        }
        if driven && !status.indications.armed {
            return Err(self.broken("the motor runs and nothing is armed"));
        }
        Ok(wake)
    }

    fn time_to(&mut self, wake: Wake) -> u64 {
        let Wake::At { mono, wall, .. } = wake else { return 1 };
        let now = self.pump.now();
        let mono = mono.map(|at| at.since(now.mono));
        // A clock that cannot be trusted is looked at again after a while.
        let wall = wall.map(|at| now.wall.map_or(10_000, |now| at.since(now)));
        mono.into_iter().chain(wall).min().unwrap_or(600_000).clamp(1, 600_000)
    }

    /// Power goes and comes back; nothing is left but what is in the flash.
    fn outage(&mut self, off_ms: u64) -> Result<(), Broken> {
        self.told.cuts += 1;
        self.rig.outage(off_ms);
        let (pump, _) = boot(&self.rig, self.trial.checkpoint_ms);
        self.pump = pump;
        if self.rig.look().duty != Duty::OFF {
            return Err(self.broken("the motor runs before the first poll"));
        }
        let spans = self.rows().0.len();
        if spans < self.spans_seen {
            return Err(self.broken("a row is gone"));
        }
        self.spans_seen = spans;
        Ok(())
    }

    fn rows(&mut self) -> (Vec<SpanRow>, Vec<SampleRow>, Vec<EventRow>) {
        let (mut spans, mut samples, mut events) = (Vec::new(), Vec::new(), Vec::new());
        self.pump.each_row(|_, kind, row| match kind {
            RowKind::Span => spans.extend(SpanRow::from_bytes(row)),
            RowKind::Sample => samples.extend(SampleRow::from_bytes(row)),
            RowKind::Event => events.extend(EventRow::from_bytes(row)),
        });
        (spans, samples, events)
    }

    /// The event is over: is what the journal holds what happened?
    fn account(mut self) -> Result<Told, Broken> {
        // One boot more: nothing may come of it.
        self.rig.outage(1_000);
        self.pump = boot(&self.rig, self.trial.checkpoint_ms).0;
        self.poll()?;
        let (spans, samples, events) = self.rows();
        let broken = |what: String| Err(self.broken(&what));
        let [event] = events[..] else {
            return broken(format!("{} records of one event", events.len()));
        };
        if event.event != EventId(1) {
            return broken("the record of another event".into());
        }
        let numbers: Vec<u16> = spans.iter().map(|s| s.number).collect();
        if numbers != (1..=event.spans).collect::<Vec<_>>() {
            return broken(format!("spans {numbers:?} of {}", event.spans));
        }
        let volume = event.volume.as_raw();
        let of_spans: u64 = spans.iter().map(|s| s.volume.as_raw()).sum();
        let of_samples: u64 = samples.iter().map(|s| s.volume.as_raw()).sum();
        if of_spans != volume || of_samples != volume {
            return broken(format!(
                "volumes differ: {of_spans} in spans, {of_samples} in samples, {volume} in all"
            ));
        }
        let pumped: u64 = spans.iter().map(|s| s.pumped_ms).sum();
        let on_samples: u64 = samples.iter().map(|s| s.pumped_ms).sum();
        if pumped != event.pumped_ms || on_samples != pumped {
            return broken(format!("times differ: {pumped}, {on_samples}, {}", event.pumped_ms));
        }
        let truly = self.rig.look().pumped_ms;
        if pumped > truly {
            return broken(format!("{pumped} ms are recorded and {truly} ms were pumped"));
        }
        let lost_ms = truly - pumped;
        // What each cut may cost: an interval, and the reading that was under way.
        let late = self.latest_poll();
        let may = u64::from(self.told.cuts) * (u64::from(self.trial.checkpoint_ms) + 1_000 + late);
        if lost_ms > may {
            return broken(format!("{lost_ms} ms of pumping are in no record, {may} ms may be"));
        }
        if let Some(wrong) = self.rig.look().nor.wrong_use.first() {
            return broken(wrong.clone());
        }
        Ok(Told {
            reason: Some(event.reason),
            resumes: event.resumes.into(),
            rows: (spans.len() + samples.len() + 1) as u32,
            trips: event.trips.iter().map(|&n| u32::from(n)).sum(),
            lost_ms,
            pumped_ms: truly,
            ..self.told
        })
    }

    /// Nobody polled for so long at most: a checkpoint is that much late.
    fn latest_poll(&self) -> u64 {
        let late = |f: &Fault| match f.kind {
            FaultKind::LatePoll { for_ms } => for_ms,
            _ => 0,
        };
        self.trial.faults.iter().map(late).max().unwrap_or(0)
    }

    fn broken(&self, what: &str) -> Broken {
        Broken { what: what.to_owned(), at_ms: self.rig.look().ms }
    }
}
