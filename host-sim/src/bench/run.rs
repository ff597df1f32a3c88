//! The loop: the core's shell, in a world.

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::Event;
use draught::machine::{ArmRefused, Command, Demand, EventId, FirstStart, Input, Machine, Wake};
use draught::meter::Meter;
use draught::step::{Sampler, Step, StepNo};
use draught::table::TableRef;
use draught::units::{RawVolume, Target};

use super::clock::Clocks;
use super::observe::{Happened, Observer, Reading};
use super::plant::{Plant, nominal_flow};
use super::record::{Record, Recorder};
use super::sensor::Sensor;
use super::world::World;

/// Long enough for any pump to come to a stand.
const RUN_DOWN_MS: u64 = 3_600_000;

/// What to run.
#[derive(Clone, Copy, Debug)]
pub struct Setup<'t> {
    /// The schedule.
    pub table: TableRef<'t>,
    /// What the pump can do.
    pub fit: Fit,
    /// What surrounds it.
    pub world: &'t World,
    /// Where chance begins.
    pub seed: u64,
    /// When the schedule is armed.
    pub armed: Now,
    /// Whether the flow is read while the pump runs. Without: what is drawn is the target times the time, exactly,
    /// no reading is taken, and the loop jumps from wake to wake.
    pub metering: bool,
}

impl<'t> Setup<'t> {
    /// A metered run on a pump that can do anything.
    #[must_use]
    pub const fn new(table: TableRef<'t>, world: &'t World, seed: u64, armed: Now) -> Self {
        Self { table, fit: Fit::ANY, world, seed, armed, metering: true }
    }
}

/// What came of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// When the pump was to start first.
    pub first: FirstStart,
    /// What the pump would have recorded.
    pub record: Record,
    /// How often the core was called.
    pub calls: u64,
    /// How often the shell woke up, readings included.
    pub wakes: u64,
    /// How often the sensor was read.
    pub readings: u64,
}

/// Runs an event to its end.
///
/// # Errors
/// [`ArmRefused`], as the core refuses it.
pub fn run(setup: &Setup<'_>, observer: &mut impl Observer) -> Result<Outcome, ArmRefused> {
    let (mut bench, first) = Bench::arm(setup)?;
    let mut recorder = Recorder::new(setup);
    let mut both = (&mut recorder, observer);
    while bench.next_event(&mut both).is_some() {}
    let Bench { calls, wakes, meter, .. } = bench;
    let readings = u64::from(meter.readings());
    Ok(Outcome { first, record: recorder.into_record(), calls, wakes, readings })
}

/// A run under way, from one thing that happens to the next.
#[derive(Clone, Debug)]
pub struct Bench<'t> {
    setup: Setup<'t>,
    clocks: Clocks,
    plant: Plant,
    sensor: Sensor,
    machine: Machine,
    meter: Meter,
    input: Input,
    /// What the motor does.
    demand: Demand,
    truly_drawn: RawVolume,
    /// When the pump was started, its step and sample.
    pumping: (MonoMs, StepNo, u32),
    /// The latest reading since the pump was started, in µL/min.
    latest: Option<u32>,
    /// The operator will resume this hold.
    resume: Option<(MonoMs, StepNo)>,
    calls: u64,
    wakes: u64,
}

impl<'t> Bench<'t> {
    /// Arms the schedule.
    ///
    /// # Errors
    /// [`ArmRefused`], as the core refuses it.
    pub fn arm(setup: &Setup<'t>) -> Result<(Self, FirstStart), ArmRefused> {
        let Setup { table, fit, world, seed, armed, .. } = *setup;
        let mut machine = Machine::new();
        let input = Input { now: armed, drawn: RawVolume::ZERO };
        let first = machine.arm(table, &fit, EventId(1), input)?;
        let bench = Self {
            setup: *setup,
            clocks: Clocks::new(armed, world.clock.wall_gain_ppb),
            plant: Plant::new(seed),
            sensor: Sensor::new(world, seed, largest_flow(world, table)),
            machine,
            meter: Meter::new(armed.mono),
            input,
            demand: Demand::Off,
            truly_drawn: RawVolume::ZERO,
            pumping: (armed.mono, StepNo::FIRST, 0),
            latest: None,
            resume: None,
            calls: 0,
            wakes: 0,
        };
        Ok((bench, first))
    }

    /// Goes on to the next thing that happens; `None` when the event is over, or nothing ever will
    /// happen again. Readings on the way go to `observer`, and so does what happened.
    pub fn next_event(&mut self, observer: &mut impl Observer) -> Option<Happened> {
        loop {
            let mut answer = self.machine.advance(self.setup.table, self.input);
            self.calls += 1;
            if let (None, Some((at, step))) = (answer.event, self.resume)
                && self.input.now.mono >= at
            {
                self.resume = None;
                let resume = Command::Resume { step };
                // A hold that ran out meanwhile refuses; the next call goes on from there.
                match self.machine.command(self.setup.table, resume, self.input) {
                    Ok(resumed) => answer = resumed,
                    Err(_) => continue,
                }
            }
            if let Some(event) = answer.event {
                let happened = self.took(event);
                observer.event(&happened);
                return Some(happened);
            }
            let Wake::At { mono, wall, drawn } = answer.wake else { continue };
            // Settled: only now is the motor given its demand.
            self.demand = answer.demand;
            self.pass_time(mono, wall, drawn, observer)?;
        }
    }

    /// What follows from an event outside the core.
    fn took(&mut self, event: Event) -> Happened {
        match event {
            Event::PumpingBegan { step, sample, .. } => {
                self.pumping = (self.input.now.mono, step, sample);
                self.latest = None;
            }
            Event::HoldBegan { step } => {
                if let Some(Step::HoldUntilResumed { at_most, .. }) = self.step(step) {
                    let after = self.setup.world.operator.resume.after_ms(at_most.as_ms().into());
                    self.resume = after.map(|ms| (self.input.now.mono.plus_ms(ms), step));
                }
            }
            Event::HoldEnded { .. } => self.resume = None,
            Event::PassedOn { sampler: Sampler::FreshConfirmed, .. }
                if self.setup.world.operator.confirms =>
            {
                let confirm = Command::ConfirmSampler;
                // The pump is off between two steps and the schedule asks: it cannot be refused.
                let _ = self.machine.command(self.setup.table, confirm, self.input);
            }
            Event::Ended(_) => {
                self.demand = Demand::Off;
                self.truth(RUN_DOWN_MS);
            }
            _ => {}
        }
        Happened { input: self.input, event, truly_drawn: self.truly_drawn }
    }

    fn step(&self, step: StepNo) -> Option<&'t Step> {
        self.setup.table.steps().get(step.index())
    }

    /// Lets time pass up to the next moment at which there is something to do; `None` if there is none.
    fn pass_time(
        &mut self,
        mono: Option<MonoMs>,
        wall: Option<WallMs>,
        drawn: Option<RawVolume>,
        observer: &mut impl Observer,
    ) -> Option<()> {
        let now = self.input.now.mono;
        let by_wall = wall.and_then(|w| self.clocks.when_wall_is(w));
        let by_operator = self.resume.map(|(at, _)| at);
        let mut next = [mono, by_wall, by_operator].into_iter().flatten().min();
        if let Demand::Pump(target) = self.demand {
            let full = drawn.and_then(|full| self.when_drawn(full, target));
            let reading = self.setup.metering.then(|| self.next_reading());
            next = [next, full, reading].into_iter().flatten().min();
        }
        let next = next?.max(now.plus_ms(1));
        let covers_ms = next.since(now);
        self.wakes += 1;
        self.input.now = self.clocks.at(next);
        match self.demand {
            Demand::Off => {
                self.truth(covers_ms);
                self.meter.idle(next);
            }
            Demand::Pump(target) if self.setup.metering => {
                self.take_reading(target, covers_ms, observer);
            }
            Demand::Pump(target) => {
                let flow = self.planned_flow(target);
                let more = RawVolume::from_raw(flow.saturating_mul(covers_ms));
                self.input.drawn = self.input.drawn.saturating_add(more);
                self.truly_drawn = self.input.drawn;
            }
        }
        Some(())
    }

    fn take_reading(&mut self, target: Target, covers_ms: u64, observer: &mut impl Observer) {
        let truth = self.truth(covers_ms) / covers_ms as f64;
        let ul_per_min = self.sensor.read(self.setup.world, truth);
        self.meter.reading(self.input.now.mono, ul_per_min);
        self.input.drawn = self.meter.volume();
        self.latest = Some(ul_per_min);
        let (_, step, sample) = self.pumping;
        observer.reading(&Reading {
            at: self.input.now,
            covers_ms,
            ul_per_min,
            drawn: self.input.drawn,
            truly_drawn: self.truly_drawn,
            step,
            sample,
            target,
            around: None,
        });
    }

    /// Lets the air flow for a time; what was truly drawn in it, in µL·ms/min.
    fn truth(&mut self, ms: u64) -> f64 {
        if !self.setup.metering {
            return 0.0;
        }
        let drawn = self.plant.pass(self.setup.world, self.demand, ms);
        self.truly_drawn =
            self.truly_drawn.saturating_add(RawVolume::from_raw(drawn.round() as u64));
        drawn
    }

    /// Readings stand on a grid that begins when the pump is started.
    fn next_reading(&self) -> MonoMs {
        let every = u64::from(self.setup.world.sensor.every_ms);
        let (begin, ..) = self.pumping;
        begin.plus_ms((self.input.now.mono.since(begin) / every + 1) * every)
    }

    /// When a volume will be full at the present flow, so that the pump is not stopped up to one reading late.
    fn when_drawn(&self, full: RawVolume, target: Target) -> Option<MonoMs> {
        let flow = self.latest.map_or_else(|| self.planned_flow(target), u64::from);
        let left = full.since(self.input.drawn).as_raw();
        Some(self.input.now.mono.plus_ms(left.div_ceil(Some(flow).filter(|f| *f > 0)?)))
    }

    /// What the pump is to draw, in µL/min.
    fn planned_flow(&self, target: Target) -> u64 {
        nominal_flow(self.setup.world, target).round() as u64
    }
}

/// The largest flow that a schedule asks for in this world, in µL/min.
fn largest_flow(world: &World, table: TableRef<'_>) -> f64 {
    let targets = table.steps().iter().filter(|s| s.is_pumping());
    targets
        .map(|s| nominal_flow(world, s.own_target().unwrap_or(table.settings().target)))
        .fold(0.0, f64::max)
}
