//! The meaning of the steps, scenario by scenario: each test is a sentence of `docs/steps.md`.

mod checkpoint;
mod late;
mod operator;
mod outage;
mod pumping;
mod repeats;
mod tables;
mod trip;
mod waits;

use core::num::NonZeroU8;
use std::vec::Vec;

use super::*;
use crate::audit::Fit;
use crate::event::{HoldEnd, Limit, LostCause, PumpEnd, Pumped, StopReason};
use crate::prelude::*;
use crate::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};

const MIN: u32 = 60_000;
const HOUR: u32 = 60 * MIN;

fn date(y: u16, m: u8, d: u8) -> Date {
    Date::from_ymd(y, m, d).unwrap()
}

fn time(h: u8, m: u8) -> TimeOfDay {
    TimeOfDay::from_hms(h, m, 0).unwrap()
}

fn wall(y: u16, mo: u8, d: u8, h: u8, mi: u8) -> WallMs {
    UtcOffset::UTC.instant(Civil { date: date(y, mo, d), time: time(h, mi) }).unwrap()
}

fn ms(v: u32) -> DurationMs {
    DurationMs::from_ms(v).unwrap()
}

fn run(v: u32) -> Step {
    Step::RunFor { run: ms(v), target: None }
}

fn until(h: u8, m: u8, at_most: u32) -> Step {
    Step::RunUntil { time: time(h, m), at_most: ms(at_most), target: None }
}

fn repeat(from: u8, passes: u16, sampler: Sampler) -> Step {
    let (from, passes) = (StepNo::new(from).unwrap(), Passes::new(passes).unwrap());
    Step::Repeat { from, passes, sampler }
}

fn weekdays() -> Step {
    Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY)
}

/// A machine, its table and the two clocks, started at a wall instant.
struct Scene {
    settings: Settings,
    steps: Vec<Step>,
    machine: Machine,
    start: WallMs,
    drawn: RawVolume,
}

impl Scene {
    fn new(start: WallMs, steps: &[Step]) -> Self {
        let target = Target::flow(Flow::from_ul_per_min(1_000_000).unwrap());
        let settings = Settings::new(UtcOffset::UTC, target);
        let steps = [steps, &[Step::Finish]].concat();
        Self { settings, steps, machine: Machine::new(), start, drawn: RawVolume::ZERO }
    }

    fn input(&self, at: WallMs) -> Input {
        let mono = MonoMs::from_ms(1_000_000 + at.since(self.start));
        Input { now: Now { mono, wall: Some(at) }, drawn: self.drawn }
    }

    fn table(&self) -> TableRef<'_> {
        TableRef::new(&self.settings, &self.steps).unwrap()
    }

    fn arm(&mut self) -> Result<FirstStart, ArmRefused> {
        let mut machine = self.machine;
        let first = machine.arm(self.table(), &Fit::ANY, EventId(7), self.input(self.start));
        self.machine = machine;
        first
    }

    /// Called at an instant: until the wake is not `Again`.
    fn call(&mut self, at: WallMs) -> (Vec<Event>, Advance) {
        self.call_with(self.input(at))
    }

    fn call_with(&mut self, input: Input) -> (Vec<Event>, Advance) {
        let mut events = Vec::new();
        loop {
            let mut machine = self.machine;
            let answer = machine.advance(self.table(), input);
            self.machine = machine;
            events.extend(answer.event);
            if answer.wake != Wake::Again {
                let mut again = self.machine;
                assert_eq!(again.advance(self.table(), input), answer);
                assert_eq!(again, self.machine, "the same input changes nothing");
                return (events, answer);
            }
        }
    }

    /// A limit trips, after the machine has done all it has to do until then.
    fn trip(&mut self, at: WallMs) -> Vec<Event> {
        self.call(at);
        let tripped = self.command(Command::Trip(Limit::FlowLow), at).unwrap();
        let mut events: Vec<_> = tripped.event.into_iter().collect();
        assert_eq!(tripped.wake, Wake::Again);
        assert_eq!(tripped.demand, Demand::Off);
        events.extend(self.call(at).0);
        events
    }

    fn command(&mut self, c: Command, at: WallMs) -> Result<Advance, CommandRefused> {
        let mut machine = self.machine;
        let answer = machine.command(self.table(), c, self.input(at));
        self.machine = machine;
        answer
    }
}

impl Scene {
    /// What the pump keeps, by way of its bytes.
    fn checkpoint(&self, at: WallMs) -> Checkpoint {
        let kept = self.machine.checkpoint(self.table(), self.input(at));
        let read = Checkpoint::from_bytes(&kept.to_bytes());
        assert_eq!(read, Some(kept), "its bytes say all of it");
        kept
    }

    /// The power fails right after a checkpoint and comes back later.
    fn lose_power(&mut self, cut: WallMs, back: WallMs) -> Option<Event> {
        let input = self.input(back);
        self.lose_power_until(cut, input)
    }

    /// The same, with nobody knowing for how long.
    fn lose_power_and_clock(&mut self, cut: WallMs) -> Option<Event> {
        let input = self.blind(cut);
        self.lose_power_until(cut, input)
    }

    fn lose_power_until(&mut self, cut: WallMs, back: Input) -> Option<Event> {
        let kept = self.checkpoint(cut);
        assert_eq!(kept.continued(back.now.wall).0, back.now.mono);
        let (machine, event) = Machine::resume(self.table(), &kept, back).unwrap();
        self.machine = machine;
        event
    }

    /// An instant, told by the monotonic clock alone.
    fn blind(&self, at: WallMs) -> Input {
        let input = self.input(at);
        Input { now: Now { wall: None, ..input.now }, ..input }
    }
}

fn wakes_at(answer: &Advance) -> Option<WallMs> {
    match answer.wake {
        Wake::At { wall, .. } => wall,
        Wake::Again => None,
    }
}

fn hour(h: u8, m: u8) -> WallMs {
    wall(2027, 3, 8, h, m)
}

/// Armed at 07:00 and called, with a fault rule of its own.
fn under_way(fault: Fault, outage: Outage, steps: &[Step]) -> Scene {
    let mut s = Scene::new(hour(7, 0), steps);
    (s.settings.fault, s.settings.outage) = (fault, outage);
    s.arm().unwrap();
    s.call(s.start);
    s
}

fn retry(every_ms: u32, times: u8) -> Fault {
    let every = RetryEvery::from_ms(every_ms).unwrap();
    Fault::Retry { every, times: NonZeroU8::new(times).unwrap() }
}

fn draw(ml: u32, at_most: u32) -> Step {
    let volume = Volume::from_ml(ml).unwrap();
    Step::DrawVolume { volume, at_most: ms(at_most), target: None }
}

/// When the pump stops by the clock if nothing is done.
fn stops_at(s: &Scene, answer: &Advance) -> Option<WallMs> {
    let Wake::At { mono: Some(stop), .. } = answer.wake else { return None };
    s.start.plus_ms(stop.since(s.input(s.start).now.mono))
}

/// The stretches of pumping among events, as step, begin and end in minutes after 07:00, and what ended them.
fn stretches(s: &Scene, events: &[Event]) -> Vec<(u8, u64, u64, PumpEnd)> {
    let zero = s.input(s.start).now.mono;
    let minutes = |at: MonoMs| at.since(zero) / u64::from(MIN);
    events
        .iter()
        .filter_map(|event| match event {
            Event::PumpingEnded(p) => {
                Some((p.step.get(), minutes(p.begin.mono), minutes(p.end.mono), p.by))
            }
            _ => None,
        })
        .collect()
}

fn pumps(events: &[Event]) -> bool {
    has(events, |e| matches!(e, Event::PumpingBegan { .. }))
}

fn has(events: &[Event], wanted: impl Fn(&Event) -> bool) -> bool {
    events.iter().any(wanted)
}
