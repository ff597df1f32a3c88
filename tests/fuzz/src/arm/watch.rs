//! What must hold of every answer, whatever the clocks did: the contract of the machine and docs/steps.md.

use draught::clock::{Now, WallMs};
use draught::event::{EndReason, HoldEnd, PumpEnd, Pumped, StopReason};
use draught::machine::Phase;
use draught::prelude::*;

use crate::plan::steps_done;

/// What was answered so far.
pub struct Watch<'t> {
    table: TableRef<'t>,
    demand: Demand,
    /// The wake of a machine at rest.
    wake: Wake,
    /// The stretch of pumping that is under way.
    pumping: Option<(StepNo, Now, RawVolume)>,
    appointment: Option<WallMs>,
    last_appointment: Option<WallMs>,
    holding: Option<StepNo>,
    /// Passes behind us, of each step that is a repeat.
    passes: Vec<u16>,
    sample: u32,
    over: bool,
    transitions: u64,
    transitions_max: u64,
    /// Another table was brought: one of another length.
    wrong: bool,
    /// Another table of the same length was brought: only that it does no harm is known from then on.
    astray: bool,
}

impl<'t> Watch<'t> {
    /// Nothing armed yet.
    pub fn new(table: TableRef<'t>) -> Self {
        Self {
            table,
            demand: Demand::Off,
            wake: Wake::Again,
            pumping: None,
            appointment: None,
            last_appointment: None,
            holding: None,
            passes: vec![0; table.steps().len()],
            sample: 0,
            over: false,
            transitions: 0,
            // A step has a beginning and an end; and the event has an end.
            transitions_max: steps_done(table.steps()).saturating_mul(2).saturating_add(1),
            wrong: false,
            astray: false,
        }
    }

    /// What the motor was told last.
    pub fn demand(&self) -> Demand {
        self.demand
    }

    /// When the machine wants to be called.
    pub fn wake(&self) -> Wake {
        self.wake
    }

    /// How many transitions there were.
    pub fn transitions(&self) -> u64 {
        self.transitions
    }

    /// It was armed just now.
    pub fn armed(&self, machine: &Machine) {
        assert!(machine.is_armed() && machine.sample() == 0);
        assert_eq!(machine.event_id(), EventId(1));
    }

    /// Another table will be brought.
    pub fn astray(&mut self, same_length: bool) {
        self.astray |= same_length;
        self.wrong |= !same_length;
        self.wake = Wake::Again;
    }

    /// A call of `advance`.
    pub fn answer(&mut self, before: &Machine, after: &Machine, input: Input, a: &Advance) {
        if !has_come(self.wake, input) {
            assert_eq!(before, after, "called before its wake");
            assert_eq!(*a, Advance { demand: self.demand, wake: self.wake, event: None });
        }
        assert_eq!(a.event.is_some(), a.wake == Wake::Again, "{a:?}");
        self.any(before, after, input, a);
    }

    /// A command that was obeyed.
    pub fn command(
        &mut self,
        command: Command,
        before: &Machine,
        after: &Machine,
        input: Input,
        a: &Advance,
    ) {
        if let (Command::Resume { .. }, Wake::At { .. }) = (command, self.wake) {
            assert!(!has_come(self.wake, input), "resumed when it had run out");
        }
        if let (Command::Disarm | Command::ConfirmSampler, Demand::Pump(_)) = (command, self.demand)
        {
            panic!("{command:?} while the pump runs");
        }
        self.any(before, after, input, a);
    }

    fn any(&mut self, before: &Machine, after: &Machine, input: Input, a: &Advance) {
        if a.event.is_some() {
            assert_ne!(before, after, "again, and nothing has changed");
            self.transitions += 1;
        }
        let is_ahead = !has_come(a.wake, input) || a.wake == Wake::Again;
        assert!(is_ahead, "{:?} has come at {input:?}", a.wake);
        let phase = after.phase(self.table, input.now);
        let pumps = matches!(phase, Phase::Pumping { .. });
        assert_eq!(pumps, a.demand != Demand::Off, "{phase:?} {a:?}");
        if !after.is_armed() {
            assert_eq!(a.demand, Demand::Off, "closed, and the pump runs");
            let nothing = Wake::At { mono: None, wall: None, drawn: None };
            assert!(a.wake == Wake::Again || a.wake == nothing, "closed, and wants to be called");
        }
        (self.demand, self.wake) = (a.demand, a.wake);
        if self.astray {
            return;
        }
        if let Some(event) = a.event {
            self.event(&event, after, input, a.demand);
        }
        assert!(self.transitions <= self.transitions_max, "it goes on for ever");
        assert_eq!(self.over, !after.is_armed());
        assert_eq!(self.sample, after.sample());
        assert_eq!(self.pumping.is_some(), pumps);
        self.due(before.due_wall(), after.due_wall(), a.event.as_ref());
    }

    /// The line goes back only where the operator, or a volume, ends a step after the wall clock was set back.
    fn due(&self, before: Option<WallMs>, after: Option<WallMs>, event: Option<&Event>) {
        let here = match event {
            Some(Event::HoldEnded { by, .. }) => *by == HoldEnd::Resumed,
            Some(Event::PumpingEnded(p)) => p.by == PumpEnd::Volume,
            _ => false,
        };
        if let (Some(before), Some(after), false) = (before, after, here) {
            assert!(before <= after, "the line went back: {event:?}");
        }
        if event.is_none() {
            assert_eq!(before, after);
        }
    }

    fn step(&self, no: StepNo) -> &'t Step {
        self.table.steps().get(no.index()).expect("a step of the table")
    }

    fn event(&mut self, event: &Event, after: &Machine, input: Input, demand: Demand) {
        assert!(!self.over, "{event:?} after the end");
        let wall = input.now.wall;
        match *event {
            Event::AppointmentSet { first, step, at } => {
                self.appointment_is_right(first, step, at);
                self.appointment = Some(at);
            }
            Event::AppointmentMet { at, late_ms, .. } => {
                assert_eq!(self.appointment.take(), Some(at));
                assert_eq!(wall.map(|w| w.as_ms()), Some(at.as_ms() + late_ms));
                self.last_appointment = Some(at);
            }
            Event::AppointmentMissed { at, .. } => {
                assert_eq!(self.appointment.take(), at);
                assert!(at.is_none_or(|at| wall.is_some_and(|w| w > at)), "missed before it came");
                self.last_appointment = at.or(self.last_appointment);
            }
            Event::PumpingBegan { step, passes, sample, target } => {
                assert!(self.step(step).is_pumping());
                let own = self.step(step).own_target();
                assert_eq!(target, own.unwrap_or(self.table.settings().target));
                assert_eq!(demand, Demand::Pump(target));
                assert!(sample == self.sample + 1 || (sample == self.sample && sample > 0));
                assert_eq!(passes, after.passes(self.table, step));
                self.sample = sample;
                assert_eq!(self.pumping.replace((step, input.now, input.drawn)), None);
            }
            Event::PumpingEnded(p) => {
                let (step, begin, drawn) = self.pumping.take().expect("it pumped");
                assert_eq!((p.step, p.begin, p.end), (step, begin, input.now));
                assert_eq!((p.volume, p.sample), (input.drawn.since(drawn), self.sample));
                assert_eq!(demand, Demand::Off);
                self.pumped(&p, input.drawn);
            }
            Event::RunLost { step, .. } => {
                assert!(matches!(self.step(step), Step::RunUntil { .. }));
            }
            Event::HoldBegan { step } => {
                let is = matches!(self.step(step), Step::Hold(_) | Step::HoldUntilResumed { .. });
                assert!(is && self.holding.replace(step).is_none());
            }
            Event::HoldEnded { step, by } => {
                assert_eq!(self.holding.take(), Some(step));
                let by_operator = by == HoldEnd::Resumed;
                let open = matches!(self.step(step), Step::HoldUntilResumed { .. });
                assert!(open || !by_operator);
            }
            Event::PassedOn { step, done, sampler } => {
                let (passes, wanted) = self.pass(step);
                assert!(done < passes && sampler == wanted, "{event:?}");
                assert_eq!(done, self.passes[step.index()], "{event:?}");
            }
            Event::RepeatDone { step } => {
                let (passes, _) = self.pass(step);
                assert_eq!(std::mem::take(&mut self.passes[step.index()]), passes, "{event:?}");
            }
            Event::PassSkipped { step } => assert!(self.step(step).is_pumping()),
            Event::Ended(reason) => {
                self.over = true;
                assert!(self.pumping.is_none(), "ended, and the pumping was not");
                assert_eq!(reason == EndReason::WrongTable, self.wrong, "{reason:?}");
                if let EndReason::Stopped(r) = reason {
                    assert!(matches!(
                        r,
                        StopReason::Operator | StopReason::Host | StopReason::Fault
                    ));
                }
            }
        }
    }

    /// A repeat counts a pass, and the repeats inside it start again; its passes and sampler.
    fn pass(&mut self, no: StepNo) -> (u16, Sampler) {
        let Step::Repeat { from, passes, sampler } = self.step(no) else { panic!("no repeat") };
        self.passes[from.index()..no.index()].fill(0);
        self.passes[no.index()] += 1;
        (passes.get(), *sampler)
    }

    /// It satisfies every wait, and comes after the one before.
    fn appointment_is_right(&self, first: StepNo, step: StepNo, at: WallMs) {
        let settings = self.table.settings();
        let civil = settings.utc_offset.civil(at).expect("a civil date");
        for wait in &self.table.steps()[first.index()..=step.index()] {
            let good = match wait {
                Step::WaitForDate(date) => civil.date == *date,
                Step::WaitForTime(time) => civil.time == *time,
                Step::WaitForWeekday(days) => days.contains(civil.date.weekday()),
                Step::WaitForCycleDay(cycle) => cycle.contains(civil.date),
                other => panic!("{other:?} among waits"),
            };
            assert!(good, "{civil:?} is not {wait:?}");
        }
        assert!(self.last_appointment.is_none_or(|last| last < at), "not after the one before");
    }

    /// A step is never cut short because a call was late.
    fn pumped(&self, p: &Pumped, drawn: RawVolume) {
        // A meter at the end of its range says nothing any more (`Input::drawn`).
        let at_its_end = drawn.as_raw() == u64::MAX;
        let pumped = p.pumped_ms();
        assert!(p.overrun_ms <= pumped);
        match (self.step(p.step), p.by) {
            (_, PumpEnd::Stopped) => {}
            (Step::RunFor { run, .. }, PumpEnd::Time) => {
                assert_eq!(pumped - p.overrun_ms, u64::from(run.as_ms()));
            }
            (Step::RunUntil { time, .. }, PumpEnd::Time) => {
                let offset = self.table.settings().utc_offset;
                let until = p.end.wall.map(|w| w.as_ms() - p.overrun_ms).and_then(WallMs::from_ms);
                let civil = until.and_then(|u| offset.civil(u));
                // Set forward, the clock can show an overrun that was not pumped.
                if p.overrun_ms < pumped {
                    assert_eq!(civil.map(|c| c.time), Some(*time));
                }
                assert!(p.end.wall > p.begin.wall);
            }
            (Step::DrawVolume { volume, .. }, PumpEnd::Volume) => {
                assert!(p.volume >= volume.raw() || at_its_end, "{p:?}");
                assert_eq!(p.overrun_ms, 0);
            }
            (Step::DrawVolume { at_most, .. }, PumpEnd::Limit) => {
                assert_eq!(pumped - p.overrun_ms, u64::from(at_most.as_ms()));
            }
            (Step::RunUntil { .. }, PumpEnd::Limit) => {}
            other => panic!("{other:?}"),
        }
    }

    /// Nothing comes after the end.
    pub fn at_the_end(&self, machine: &Machine, input: Input) {
        if !machine.is_armed() {
            let mut after = *machine;
            let answer = after.advance(self.table, input);
            assert_eq!((answer.event, answer.demand), (None, Demand::Off));
            assert_eq!(*machine, after);
        }
    }
}

/// Whether a wake has come.
fn has_come(wake: Wake, input: Input) -> bool {
    let Wake::At { mono, wall, drawn } = wake else { return true };
    mono.is_some_and(|at| input.now.mono >= at)
        || wall.is_some_and(|at| input.now.wall.is_some_and(|now| now >= at))
        || drawn.is_some_and(|at| input.drawn >= at)
}
