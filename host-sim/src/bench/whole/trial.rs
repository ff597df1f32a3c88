//! One pump in one world: schedules from arming to their ends, whatever happens to it, and whether its journal holds what happened.

use draught::clock::WallMs;
use draught::event::{EndReason, StopReason};
use draught::machine::{Command, Demand, EventId, Phase, Wake};
use draught::port::Duty;
use draught::pump::{Config, Pump};
use draught::table::StepTable;
use draught::wire;

use super::board::{Hardware, RECORDS_AT, board};
use super::broken::{Broken, Promise};
use super::calm::Outlook;
use super::faults::{Ask, Fault, FaultKind, faults};
use super::ledger::Ledger;
use super::plans::{Asks, below};
use super::watch::Watch;
use super::worlds::{Drawn, drawn};
use crate::bench::nor::Hit;
use crate::bench::physics::{FaultKind as InWorld, SimBoard};
use crate::bench::random::Stream;

/// An engine on a simulated board.
pub type Engine = Pump<SimBoard, 32>;

/// An event must end within this time after its forecast is over, in ms: what happens to it, retries, and a day for a time of day that
/// was missed.
const LIVE_MS: u64 = 49 * 3_600_000;

/// What a trial is made of: all of it follows from the seed.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Its seed.
    pub seed: u64,
    /// What happens, in order.
    pub faults: Vec<Fault>,
    /// Time between two checkpoints, in ms.
    pub checkpoint_ms: u32,
    /// Nothing was to happen to it: then its schedule is such that a forecast can be held to the second.
    pub calm: bool,
}

impl Trial {
    /// The trial of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let rated =
            Self::drawn(seed).world.plant.map_or((0.0, 1.0), |p| (p.rated.flow, p.rated.drop));
        let mut chance = Stream::new(seed, "faults");
        let faults = faults(&mut chance, rated);
        let calm = faults.iter().all(|fault| fault.kind.is_harmless());
        let checkpoint_ms = [4_000, 60_000][below(&mut chance, 2) as usize];
        Self { seed, faults, checkpoint_ms, calm }
    }

    /// The world that it runs in.
    #[must_use]
    pub fn drawn_world(&self) -> Drawn {
        Self::drawn(self.seed)
    }

    fn drawn(seed: u64) -> Drawn {
        drawn(&mut Stream::new(seed, "world"))
    }

    pub(super) fn any(&self, is: impl Fn(&FaultKind) -> bool) -> bool {
        self.faults.iter().any(|fault| is(&fault.kind))
    }

    pub(super) fn any_in_world(&self, is: impl Fn(&InWorld) -> bool) -> bool {
        self.any(|kind| matches!(kind, FaultKind::InWorld { kind, .. } if is(kind)))
    }

    /// Whether flash rots in it: then less is promised, as [`Run::account`] says.
    pub(super) fn rots(&self) -> bool {
        self.any(|kind| matches!(kind, FaultKind::Rot { .. }))
    }
}

/// What became of a trial.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// Why its events ended.
    pub ends: Vec<EndReason>,
    /// Events that rot took.
    pub rotten: u32,
    /// Boots after cuts.
    pub cuts: u32,
    /// Resumes that the records tell of.
    pub resumes: u32,
    /// Rows that were ever in the journal.
    pub rows: u32,
    /// Limits that tripped.
    pub trips: u32,
    /// Time pumped that no record holds, a cut, in ms: the most of any event.
    pub lost_a_cut_ms: u64,
    /// Time pumped, in ms.
    pub pumped_ms: u64,
    /// Polls.
    pub polls: u64,
    /// By how much the metered volume differed from the true one, as a part of it: the most of any event of ten minutes or more in
    /// which the two can be compared.
    pub off: f64,
    /// The same as a part of what the error budget allows.
    pub of_budget: f64,
}

/// Runs a trial.
///
/// # Errors
/// [`Broken`]: the pump did what it must never do, or its journal does not hold what happened.
pub fn trial(trial: &Trial) -> Result<Told, Broken> {
    let mut chance = Stream::new(trial.seed, "schedule");
    // Some second of 2027.
    let begin = WallMs::from_ms(852_076_800_000 + below(&mut chance, 31_536_000) * 1_000);
    let drawn = Trial::drawn(trial.seed);
    let hardware = board(trial, &drawn, begin);
    let Some(Hardware { board, config }) = hardware else {
        return Err(Promise::WrongUse.broken("a world that makes no pump", 0));
    };
    let asks = drawn.world.plant.as_ref().map(|plant| Asks::of(plant, trial.calm));
    let timed = trial.faults.iter().filter(|f| {
        !matches!(f.kind, FaultKind::InWorld { .. } | FaultKind::Again | FaultKind::CutInArm { .. })
    });
    let mut run = Run {
        pump: Run::boot(&board, config),
        watch: Watch::new(&drawn.world, &[], draught::table::Limits::DEFAULT, &board.truth()),
        drawn,
        board,
        config,
        trial,
        told: Told::default(),
        ledger: Ledger::default(),
        timed: timed.copied().collect(),
        waiting_off_ms: None,
        event: Under::default(),
        in_arm: trial
            .faults
            .iter()
            .filter(|f| matches!(f.kind, FaultKind::CutInArm { .. }))
            .copied()
            .collect(),
    };
    let events = 1 + trial.faults.iter().filter(|f| f.kind == FaultKind::Again).count();
    for _ in 0..events {
        let Some(asks) = asks else { break };
        if !run.arm(&mut chance, asks)? {
            break;
        }
        run.go_on()?;
        run.account()?;
    }
    run.told.polls += run.event.polls;
    Ok(run.told)
}

/// The event under way.
#[derive(Clone, Debug, Default)]
pub(super) struct Under {
    pub(super) id: EventId,
    /// When its forecast is over and all that happens has happened, in ms.
    pub(super) ends_ms: u64,
    pub(super) outlook: Option<Outlook>,
    pub(super) table: Option<StepTable<32>>,
    pub(super) cuts: u32,
    pub(super) polls: u64,
    pub(super) drawn_raw: u64,
    /// What changes when there are new rows.
    pub(super) mark: (u16, bool),
    /// The longest time without a poll, in ms.
    pub(super) late_ms: u64,
}

pub(super) struct Run<'t> {
    pub(super) pump: Engine,
    pub(super) board: SimBoard,
    pub(super) config: Config,
    pub(super) drawn: Drawn,
    pub(super) trial: &'t Trial,
    pub(super) told: Told,
    pub(super) ledger: Ledger,
    pub(super) watch: Watch,
    /// What is still to happen, in order.
    pub(super) timed: Vec<Fault>,
    /// Cuts of arming still to happen.
    pub(super) in_arm: Vec<Fault>,
    /// A cut waits for its operation of the flash: for how long power is off then.
    pub(super) waiting_off_ms: Option<u64>,
    pub(super) event: Under,
}

impl Run<'_> {
    fn boot(board: &SimBoard, config: Config) -> Engine {
        let mut pump = Pump::new(board.clone(), config)
            .expect("the shelf of a simulated board has two places");
        pump.boot(&mut [0; wire::max_len(32)]);
        pump
    }

    pub(super) fn now(&self) -> u64 {
        self.board.truth().at_ms
    }

    pub(super) fn broken(&self, promise: Promise, what: impl Into<String>) -> Broken {
        promise.broken(what, self.now())
    }

    /// Until the event is over.
    fn go_on(&mut self) -> Result<(), Broken> {
        loop {
            let wake = self.poll()?;
            if self.board.flash(|nor| nor.hit().is_some()) {
                let off_ms = self.waiting_off_ms.take().unwrap_or(1_000);
                self.outage(off_ms)?;
                continue;
            }
            let status = self.pump.status();
            if !status.indications.armed && !status.held_by_charger {
                return Ok(());
            }
            let now = self.now();
            if now > self.event.ends_ms + LIVE_MS {
                return Err(self.broken(Promise::NoEnd, format!("still {:?}", status.phase)));
            }
            let fault = self.timed.first().copied().filter(|_| self.waiting_off_ms.is_none());
            let until = now + self.time_to(wake);
            let happens = fault.map(|f| f.at_ms.max(now));
            let first = happens.map_or(until, |at| at.min(until));
            self.pass(first - now)?;
            if let Some(fault) = fault.filter(|_| happens == Some(first)) {
                self.timed.remove(0);
                self.happens(fault.kind)?;
            }
        }
    }

    fn happens(&mut self, kind: FaultKind) -> Result<(), Broken> {
        match kind {
            FaultKind::Cut { off_ms } => self.outage(off_ms)?,
            FaultKind::WarnedCut { off_ms } => {
                let now = self.now();
                let warning = crate::bench::physics::Fault {
                    at_ms: now,
                    lasts_ms: 1,
                    kind: InWorld::SupplyWarns,
                };
                self.board.change(|plant| plant.faults.push(warning));
                self.poll()?;
                if !self.board.flash(|nor| nor.hit().is_some()) {
                    self.outage(off_ms)?;
                }
            }
            FaultKind::CutInFlash { operations, torn, off_ms } => {
                self.board.flash(|nor| nor.cut_after(operations, torn));
                self.waiting_off_ms = Some(off_ms);
            }
            FaultKind::CutInBoot { operations, torn, off_ms } => {
                self.power_off(off_ms);
                self.board.flash(|nor| nor.cut_after(operations, torn));
                self.waiting_off_ms = Some(off_ms);
                self.power_on()?;
            }
            FaultKind::Rot { back, bit, off_ms } => {
                self.power_off(off_ms);
                self.ledger.rotten += 1;
                let written = self.board.written();
                if let Some((at, len)) = written.get(usize::from(back)) {
                    let bit = *at as usize * 8 + usize::from(bit) % (len * 8);
                    self.board.flash(|nor| nor.flip(bit));
                }
                self.power_on()?;
            }
            FaultKind::LatePoll { for_ms } => {
                self.event.late_ms = self.event.late_ms.max(for_ms);
                self.pass(for_ms)?;
            }
            FaultKind::Pressed(key) => self.board.press(key),
            FaultKind::Asked(ask) => self.ask(ask)?,
            FaultKind::Collected => self.collect()?,
            FaultKind::InWorld { .. } | FaultKind::Again | FaultKind::CutInArm { .. } => {}
        }
        Ok(())
    }

    pub(super) fn collect(&mut self) -> Result<(), Broken> {
        let now = self.now();
        self.ledger.collect(&mut self.pump, now)
    }

    fn ask(&mut self, ask: Ask) -> Result<(), Broken> {
        let command = match ask {
            Ask::Stop => Command::Stop(StopReason::Host),
            Ask::Disarm => Command::Disarm,
            Ask::Confirm => Command::ConfirmSampler,
            Ask::Resume => match self.pump.status().phase {
                Phase::Holding { step, .. } => Command::Resume { step },
                _ => return Ok(()),
            },
        };
        // What is refused now is refused.
        let _ = self.pump.command(command);
        self.look()
    }

    /// Time passes with power on.
    pub(super) fn pass(&mut self, ms: u64) -> Result<(), Broken> {
        let before = self.board.truth();
        self.board.pass(ms);
        self.watch.passed(&before, &self.board.truth())
    }

    pub(super) fn poll(&mut self) -> Result<Wake, Broken> {
        self.event.polls += 1;
        let was_off = self.board.driven() == Duty::OFF;
        let wake = self.pump.poll();
        // A cut that hit a checkpoint: it was to know of the start.
        let unkept = match self.board.flash(|nor| nor.hit()) {
            Some(Hit::Program(at) | Hit::Erase(at)) => at < RECORDS_AT,
            None => false,
        };
        if unkept && was_off && self.board.driven() != Duty::OFF {
            return Err(self.broken(Promise::MotorUnasked, "no checkpoint knows that it started"));
        }
        if wake == Wake::Again {
            return Err(self.broken(Promise::NoEnd, "a poll asks to be polled again at once"));
        }
        if self.board.flash(|nor| nor.hit().is_none()) {
            self.ledger.polled();
        }
        self.look()?;
        Ok(wake)
    }

    /// What must be so after every poll and every command.
    pub(super) fn look(&mut self) -> Result<(), Broken> {
        let status = self.pump.status();
        let asked = match status.demand {
            Demand::Pump(target) => Some(target),
            Demand::Off => None,
        };
        self.watch.asks(asked);
        self.watch.tripped(self.pump.record().trips.iter().map(|&n| u32::from(n)).sum());
        let now = self.now();
        let disobeys = self.trial.faults.iter().any(|f| {
            matches!(f.kind, FaultKind::InWorld { kind: InWorld::MotorDisobeys, for_ms }
                if now >= f.at_ms && now < f.at_ms + for_ms)
        });
        if self.board.driven() != Duty::OFF && !disobeys {
            if asked.is_none() {
                return Err(self.broken(Promise::MotorUnasked, "nothing asks for it"));
            }
            if !status.indications.armed {
                return Err(self.broken(Promise::MotorUnasked, "nothing is armed"));
            }
        }
        let drawn = status.drawn.as_raw();
        if drawn < self.event.drawn_raw {
            let what = format!("the volume went down from {} to {drawn}", self.event.drawn_raw);
            return Err(self.broken(Promise::RecordLost, what));
        }
        self.event.drawn_raw = drawn;
        let mark = (self.pump.record().spans, status.indications.armed);
        if mark != self.event.mark && !self.board.flash(|nor| nor.hit().is_some()) {
            self.event.mark = mark;
            self.ledger.look(&mut self.pump, now)?;
        }
        Ok(())
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
    pub(super) fn outage(&mut self, off_ms: u64) -> Result<(), Broken> {
        self.power_off(off_ms);
        self.power_on()
    }

    fn power_off(&mut self, off_ms: u64) {
        self.told.cuts += 1;
        self.event.cuts += 1;
        self.watch.cut(self.may_lose_ms());
        self.board.outage(off_ms);
    }

    /// What a cut may cost: an interval, the reading that was under way, and as long as nobody polled.
    pub(super) fn may_lose_ms(&self) -> u64 {
        u64::from(self.trial.checkpoint_ms + self.config.reading_ms) + self.event.late_ms
    }

    pub(super) fn power_on(&mut self) -> Result<(), Broken> {
        self.pump = Self::boot(&self.board, self.config);
        if self.board.driven() != Duty::OFF {
            return Err(self.broken(Promise::MotorUnasked, "it runs before the first poll"));
        }
        if self.board.flash(|nor| nor.hit().is_some()) {
            let off_ms = self.waiting_off_ms.take().unwrap_or(1_000);
            return self.outage(off_ms);
        }
        let now = self.now();
        self.ledger.look(&mut self.pump, now)?;
        // What no checkpoint holds is gone; what is in a row is not.
        let rows = self.ledger.of(self.event.id, self.now())?;
        self.event.drawn_raw = rows.spans.iter().map(|row| row.volume.as_raw()).sum();
        if self.trial.rots() {
            self.event.drawn_raw = 0;
        }
        self.event.mark = (u16::MAX, false);
        Ok(())
    }
}
