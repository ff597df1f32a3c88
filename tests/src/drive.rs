//! Calls the machine as an unreliable world would, and writes down what it was given and what it did.

mod moves;
mod outage;
mod strategies;

use draught::audit::Fit;
use draught::calendar::TimeOfDay;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{Event, StopReason};
use draught::machine::{
    Advance, ArmRefused, Command, Demand, EventId, FirstStart, Input, Machine, Wake,
};
use draught::step::{Step, StepNo};
use draught::table::TableRef;
use draught::units::{RawVolume, TargetKind};

use crate::plans::Scene;
use crate::reference::log::{Happening, clocks, in_these_words, limit, refused};
use crate::reference::ml_of_raw;
use crate::reference::plan::{Keep, keep};
use crate::reference::world::{Asks, Moment};

pub use moves::{Clock, Failure, Move, Until, Wanted, When, Written};
pub use strategies::{anything, flickering, powerless, unattended, when};

/// What a machine was given and what it did.
#[derive(Debug)]
pub struct Tape {
    /// What arming said.
    pub first: FirstStart,
    /// Every call.
    pub moments: Vec<Moment>,
    /// What happened, and at which call.
    pub log: Vec<(usize, Happening)>,
    /// What was demanded after each call.
    pub keeps: Vec<Option<Keep>>,
    /// How long after each call the next is asked for, if the flow is at its target.
    pub wakes: Vec<Option<i128>>,
    /// Whether the event is over.
    pub over: bool,
    /// The longest stretch of calls at one instant.
    pub most_at_once: usize,
}

/// The machine and what is known of the world.
struct Bench<'t> {
    table: TableRef<'t>,
    machine: Machine,
    now: Now,
    /// The wall clock, whether it can be trusted or not.
    wall: Option<u64>,
    trusted: bool,
    drawn: u64,
    last: Advance,
    holding: Option<StepNo>,
    /// There was nothing to resume.
    gone: bool,
    tape: Tape,
}

/// Arms a scene and calls the machine at these moves, and then at every wake until the event is over or
/// `calls` have been made in all.
///
/// # Errors
/// If it cannot be armed.
pub fn drive(scene: &Scene, moves: &[Move], rest: Move, calls: usize) -> Result<Tape, ArmRefused> {
    let table = scene.table();
    let mut machine = Machine::new();
    let input = Input { now: scene.armed, drawn: RawVolume::ZERO };
    let first = machine.arm(table, &Fit::ANY, EventId(7), input)?;
    let wall = scene.armed.wall.map(WallMs::as_ms);
    let mut bench = Bench {
        table,
        machine,
        now: scene.armed,
        wall,
        trusted: wall.is_some(),
        drawn: 0,
        last: Advance { demand: Demand::Off, wake: Wake::Again, event: None },
        holding: None,
        gone: false,
        tape: Tape {
            first,
            moments: Vec::new(),
            log: Vec::new(),
            keeps: Vec::new(),
            wakes: Vec::new(),
            over: false,
            most_at_once: 0,
        },
    };
    for next in moves.iter().copied().chain(core::iter::repeat(rest)) {
        let idle = bench.tape.over && next.asks.is_none() && next.fails.is_none();
        if bench.tape.moments.len() >= calls || idle || bench.gone {
            break;
        }
        bench.call(next);
    }
    Ok(bench.tape)
}

impl Bench<'_> {
    fn call(&mut self, next: Move) {
        self.pass_time(next);
        match next.fails {
            None => self.act(next.asks, None),
            Some(failure) => {
                match failure.checkpoint {
                    Written::Uncalled => {}
                    Written::Within(calls) => self.act(next.asks, Some(calls)),
                    Written::AtRest(_) => self.act(next.asks, None),
                }
                self.fail(failure);
            }
        }
    }

    /// Calls the machine, the last time only so often as the power lasts.
    fn act(&mut self, asks: Option<(bool, Wanted)>, cut: Option<u8>) {
        match asks {
            // Before its first look the machine is at no step yet.
            Some((true, wanted)) if !self.tape.moments.is_empty() => {
                self.command(wanted, None);
                self.look(cut);
            }
            Some((_, wanted)) => {
                self.look(None);
                self.command(wanted, cut);
            }
            None => self.look(cut),
        }
    }

    fn input(&self) -> Input {
        Input { now: self.now, drawn: RawVolume::from_raw(self.drawn) }
    }

    fn pass_time(&mut self, next: Move) {
        let wake = self.until_wake();
        let ms = match next.when {
            When::Exact => wake.unwrap_or(60_000),
            When::Early(thousandths) => wake.unwrap_or(1_000) * u64::from(thousandths) / 1_000,
            When::Late(ms) => wake.unwrap_or(0) + u64::from(ms),
            When::After(ms) => ms.into(),
            When::AtTolerance(off) => {
                let tolerance = u64::from(self.table.settings().late_tolerance.as_ms());
                wake.unwrap_or(0).saturating_add(tolerance).saturating_add_signed(off.into())
            }
            When::AtMidnight(off) => self.until(0).saturating_add_signed(off.into()),
            When::AtTimeOf(which, off) => {
                let times = || self.table.steps().iter().filter_map(time_of_day);
                let which = usize::from(which) % times().count().max(1);
                let time = times().nth(which).map_or(0, |t| t.as_ms().into());
                self.until(time).saturating_add_signed(off.into())
            }
        };
        self.turn(next.clock);
        let more = u64::try_from(self.flow(next) * u128::from(ms)).unwrap_or(u64::MAX);
        self.drawn = self.drawn.saturating_add(more);
        self.wall = self.wall.map(|w| w.saturating_add(ms));
        let mono = MonoMs::from_ms(self.now.mono.as_ms() + ms);
        self.now = Now { mono, wall: self.shown() };
    }

    fn turn(&mut self, clock: Clock) {
        match clock {
            Clock::Runs => {}
            Clock::IsLost => self.trusted = false,
            Clock::IsFound => self.trusted = true,
            Clock::IsSet(by) => {
                self.wall = self.wall.map(|w| w.saturating_add_signed(by.into()));
            }
        }
    }

    fn shown(&self) -> Option<WallMs> {
        self.wall.filter(|_| self.trusted).and_then(WallMs::from_ms)
    }

    /// How long until it is this time of day, in ms after midnight; at that time itself a whole day.
    fn until(&self, time: u64) -> u64 {
        const DAY: u64 = 86_400_000;
        let offset = i64::from(self.table.settings().utc_offset.quarter_hours()) * 900_000;
        let civil = self.wall.and_then(|w| w.checked_add_signed(offset));
        DAY - (civil.unwrap_or(0) % DAY + DAY - time) % DAY
    }

    /// The flow since the last call, in µL/min.
    fn flow(&self, next: Move) -> u128 {
        let Demand::Pump(target) = self.last.demand else { return 0 };
        match target.kind() {
            TargetKind::Flow(f) => u128::from(f.ul_per_min()) * u128::from(next.flow) / 1_000,
            TargetKind::Pressure(_) => next.loose.into(),
        }
    }

    /// How long until the earliest wake, as the world sees it.
    fn until_wake(&self) -> Option<u64> {
        let Wake::At { mono, wall, drawn } = self.last.wake else { return Some(0) };
        let by_mono = mono.map(|m| m.since(self.now.mono));
        let by_wall = wall.zip(self.now.wall).map(|(at, now)| at.since(now));
        // At the target; nothing is known of the flow under pressure control.
        let flow = match self.last.demand {
            Demand::Pump(target) => target.as_flow().map(|f| u64::from(f.ul_per_min())),
            Demand::Off => None,
        };
        let by_volume = drawn
            .zip(flow)
            .map(|(v, q)| v.since(RawVolume::from_raw(self.drawn)).as_raw().div_ceil(q));
        [by_mono, by_wall, by_volume].into_iter().flatten().min()
    }

    fn waits_for_operator(&self, hold: StepNo) -> bool {
        let step = self.table.steps().get(hold.index());
        matches!(step, Some(Step::HoldUntilResumed { .. }))
    }

    fn note(&mut self, asks: Asks) -> usize {
        let drawn = ml_of_raw(self.drawn);
        self.tape.moments.push(Moment::whole(clocks(self.now), drawn, asks));
        self.tape.moments.len() - 1
    }

    fn look(&mut self, cut: Option<u8>) {
        let moment = self.note(Asks::Look);
        self.settle(moment, None, cut);
    }

    /// Calls the machine until it asks for no other call, and once more: that must change nothing. Or so often as the
    /// power lasts.
    fn settle(&mut self, moment: usize, first: Option<Advance>, cut: Option<u8>) {
        let input = self.input();
        let mut answer = first.unwrap_or_else(|| self.machine.advance(self.table, input));
        let mut calls = 1;
        let mut obeyed = first.is_some();
        loop {
            self.take(moment, answer);
            // A command may do nothing but have something due done.
            if answer.event.is_none() && answer.wake == Wake::Again && !obeyed {
                self.tape.log.push((moment, Happening::NotAgain));
            }
            obeyed = false;
            if answer.wake != Wake::Again {
                break;
            }
            if cut.is_some_and(|cut| calls >= u32::from(cut)) {
                let written = self.tape.log.iter().filter(|(at, _)| *at == moment).count();
                self.tape.moments[moment].cut_after = Some(written);
                self.rests_on(answer);
                return;
            }
            calls += 1;
            assert!(calls < 2_000_000, "it never comes to rest");
            answer = self.machine.advance(self.table, input);
        }
        self.tape.most_at_once = self.tape.most_at_once.max(calls as usize);
        let before = self.machine;
        let once_more = self.machine.advance(self.table, input);
        assert_eq!(before, self.machine, "the same input changes nothing");
        assert_eq!(once_more, Advance { event: None, ..answer }, "the same input, the same answer");
        self.assert_wake_is_ahead(answer.wake);
        self.rests_on(answer);
    }

    fn rests_on(&mut self, answer: Advance) {
        self.last = answer;
        self.tape.keeps.push(match answer.demand {
            Demand::Off => None,
            Demand::Pump(target) => Some(keep(target)),
        });
        self.tape.wakes.push(self.until_wake().map(i128::from));
        assert_eq!(self.tape.keeps.len(), self.tape.moments.len());
    }

    /// A wake that has come already would have the machine called for ever.
    fn assert_wake_is_ahead(&self, wake: Wake) {
        let Wake::At { mono, wall, drawn } = wake else { panic!("at rest it asks for no call") };
        let Input { now, drawn: so_far } = self.input();
        assert!(mono.is_none_or(|at| at > now.mono), "{mono:?} has come at {now:?}");
        assert!(now.wall.is_none_or(|now| wall.is_none_or(|at| at > now)), "{wall:?} at {now:?}");
        assert!(drawn.is_none_or(|v| v > so_far), "{drawn:?} has been drawn: {so_far:?}");
        if self.tape.over {
            assert_eq!((mono, wall, drawn), (None, None, None), "nothing comes after the end");
        }
    }

    fn take(&mut self, moment: usize, answer: Advance) {
        let Some(event) = answer.event else { return };
        match event {
            Event::HoldBegan { step } => self.holding = Some(step),
            Event::HoldEnded { .. } => self.holding = None,
            Event::Ended(_) => self.tape.over = true,
            _ => {}
        }
        let what = in_these_words(&event).expect("the table is the right one");
        self.tape.log.push((moment, what));
    }

    fn command(&mut self, wanted: Wanted, cut: Option<u8>) {
        if matches!(wanted, Wanted::ResumeEvery) {
            while self.holding.is_some_and(|hold| self.waits_for_operator(hold)) {
                self.command(Wanted::Resume, None);
            }
            return;
        }
        let step = |no: u8| StepNo::new(no.max(1)).expect("from 1 on");
        let (command, asks) = match wanted {
            Wanted::Resume | Wanted::ResumeEvery => {
                let step = self.holding.unwrap_or(StepNo::FIRST);
                (Command::Resume { step }, Asks::Resume(step.get()))
            }
            Wanted::ResumeStep(no) => {
                (Command::Resume { step: step(no) }, Asks::Resume(step(no).get()))
            }
            Wanted::Confirm => (Command::ConfirmSampler, Asks::Confirm),
            Wanted::Stop => (Command::Stop(StopReason::Operator), Asks::Stop),
            Wanted::Disarm => (Command::Disarm, Asks::Disarm),
            Wanted::Trip(which) => (Command::Trip(which), Asks::Trip(limit(which))),
        };
        let moment = self.note(asks);
        let before = self.machine;
        match self.machine.command(self.table, command, self.input()) {
            Ok(answer) => {
                self.tape.log.push((moment, Happening::Obeyed));
                self.settle(moment, Some(answer), cut);
            }
            Err(why) => {
                assert_eq!(before, self.machine, "a refused command changes nothing");
                self.tape.log.push((moment, Happening::Refused(refused(why))));
                let last = self.tape.keeps.last().copied().flatten();
                self.tape.keeps.push(last);
                self.tape.wakes.push(self.until_wake().map(i128::from));
            }
        }
    }
}

fn time_of_day(step: &Step) -> Option<TimeOfDay> {
    match step {
        Step::WaitForTime(time) | Step::RunUntil { time, .. } => Some(*time),
        _ => None,
    }
}
