//! One pump in one world: schedules from arming to their ends, whatever happens to it, and whether its journal holds what happened.

use draught::clock::WallMs;
use draught::event::{EndReason, StopReason};
use draught::machine::{Command, Demand, EventId, Phase, Wake};
use draught::port::Duty;
use draught::pump::{Config, Pump, StartRefused};
use draught::record::EventRow;
use draught::table::StepTable;
use draught::wire;

use super::board::{Hardware, RECORDS_AT, board};
use super::broken::{Broken, Promise};
use super::calm::Outlook;
use super::faults::{Ask, Fault, FaultKind, faults};
use super::ledger::{Ledger, Rows};
use super::plans::{Asks, below, schedule};
use super::watch::Watch;
use super::worlds::{Drawn, drawn};
use crate::bench::nor::{Hit, Torn};
use crate::bench::physics::{FaultKind as InWorld, SimBoard};
use crate::bench::random::Stream;

/// An engine on a simulated board.
pub type Engine = Pump<SimBoard, 32>;

/// An event must end within this time after its forecast is over, in ms: what happens to it, retries, and a day for a time of day that
/// was missed.
const LIVE_MS: u64 = 49 * 3_600_000;

/// A battery with less than this part of its charge may be low.
const SPENT: f64 = 0.15;

/// So many schedules are drawn until one can be armed.
const ARMINGS_MAX: u32 = 100;

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

    fn any(&self, is: impl Fn(&FaultKind) -> bool) -> bool {
        self.faults.iter().any(|fault| is(&fault.kind))
    }

    fn any_in_world(&self, is: impl Fn(&InWorld) -> bool) -> bool {
        self.any(|kind| matches!(kind, FaultKind::InWorld { kind, .. } if is(kind)))
    }

    /// Whether flash rots in it: then less is promised, as [`Run::account`] says.
    fn rots(&self) -> bool {
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
struct Under {
    id: EventId,
    /// When its forecast is over and all that happens has happened, in ms.
    ends_ms: u64,
    outlook: Option<Outlook>,
    cuts: u32,
    polls: u64,
    drawn_raw: u64,
    /// What changes when there are new rows.
    mark: (u16, bool),
    /// The longest time without a poll, in ms.
    late_ms: u64,
}

struct Run<'t> {
    pump: Engine,
    board: SimBoard,
    config: Config,
    drawn: Drawn,
    trial: &'t Trial,
    told: Told,
    ledger: Ledger,
    watch: Watch,
    /// What is still to happen, in order.
    timed: Vec<Fault>,
    /// Cuts of arming still to happen.
    in_arm: Vec<Fault>,
    /// A cut waits for its operation of the flash: for how long power is off then.
    waiting_off_ms: Option<u64>,
    event: Under,
}

impl Run<'_> {
    fn boot(board: &SimBoard, config: Config) -> Engine {
        let mut pump = Pump::new(board.clone(), config)
            .expect("the shelf of a simulated board has two places");
        pump.boot(&mut [0; wire::max_len(32)]);
        pump
    }

    fn now(&self) -> u64 {
        self.board.truth().at_ms
    }

    fn broken(&self, promise: Promise, what: impl Into<String>) -> Broken {
        promise.broken(what, self.now())
    }

    /// Loads and arms a schedule; one that cannot be armed (its first start lies in the past, nothing pumps) is drawn again.
    /// False when nothing can be armed any more: the battery is too weak to begin.
    fn arm(&mut self, chance: &mut Stream, asks: Asks) -> Result<bool, Broken> {
        let last = self.event.id;
        for _ in 0..ARMINGS_MAX {
            self.wait_for_a_second()?;
            let now = self.pump.now();
            // A clock that is lost: the schedule is drawn as for the begin of the century.
            let table = schedule(chance, asks, now.wall.unwrap_or(WallMs::FIRST));
            let mut block = [0; wire::max_len(32)];
            let Ok(len) = table.checked().map_or(Ok(0), |t| wire::encode(t, &mut block)) else {
                continue;
            };
            if self.pump.load(&block[..len], 0).is_err() {
                continue;
            }
            if let Some(id) = self.arm_loaded(&table)? {
                let later = id.0.wrapping_sub(last.0);
                if later == 0 || later > 1_000 {
                    let what = format!("event {} comes after event {}", id.0, last.0);
                    return Err(self.broken(Promise::RecordLost, what));
                }
                self.event.id = id;
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// In a calm trial, until a second begins, so that no instant of the schedule falls on either side by chance.
    fn wait_for_a_second(&mut self) -> Result<(), Broken> {
        let wall = self.pump.now().wall;
        let over = wall.map_or(0, |wall| wall.as_ms() % 1_000);
        if self.trial.calm && over > 500 { self.pass(1_000 - over + 1) } else { self.pass(1) }
    }

    fn arm_loaded(&mut self, table: &StepTable<32>) -> Result<Option<EventId>, Broken> {
        let before = self.pump.record().event;
        let cut = if self.in_arm.is_empty() { None } else { Some(self.in_arm.remove(0)) };
        if let Some(FaultKind::CutInArm { operations, torn, .. }) = cut.map(|f| f.kind) {
            self.board.flash(|nor| nor.cut_after(operations, torn));
        }
        let now = self.pump.now();
        let outlook = Outlook::new(table, &self.config.fit, now);
        let limits = table.settings().limits;
        let truth = self.board.truth();
        self.watch = Watch::new(&self.drawn.world, &self.trial.faults, limits, &truth);
        let last_ms =
            self.trial.faults.iter().map(|f| f.at_ms + f.kind.lasts_ms().unwrap_or(0)).max();
        self.event = Under {
            id: before,
            ends_ms: self.now().max(last_ms.unwrap_or(0)) + length_ms(table, &self.config, now),
            outlook,
            polls: self.event.polls,
            ..Under::default()
        };
        let mut armed = self.pump.arm();
        if let Err(StartRefused::JournalFull { .. }) = armed {
            self.collect()?;
            armed = self.pump.arm();
        }
        let hit = self.board.flash(|nor| nor.hit().is_some());
        if let (Some(FaultKind::CutInArm { off_ms, .. }), true) = (cut.map(|f| f.kind), hit) {
            self.outage(off_ms)?;
            let is = self.pump.record().event;
            if let Ok((id, _)) = armed
                && id != is
            {
                return Err(self.broken(Promise::RecordLost, "an event that was armed is gone"));
            }
            return Ok((is != before).then_some(is));
        }
        self.board.flash(|nor| {
            if cut.is_some() {
                nor.cut_after(u64::MAX, Torn::Prefix);
            }
        });
        Ok(armed.ok().map(|(id, _)| id))
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

    fn collect(&mut self) -> Result<(), Broken> {
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
    fn pass(&mut self, ms: u64) -> Result<(), Broken> {
        let before = self.board.truth();
        self.board.pass(ms);
        self.watch.passed(&before, &self.board.truth())
    }

    fn poll(&mut self) -> Result<Wake, Broken> {
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
        self.look()?;
        Ok(wake)
    }

    /// What must be so after every poll and every command.
    fn look(&mut self) -> Result<(), Broken> {
        let status = self.pump.status();
        let asked = match status.demand {
            Demand::Pump(target) => Some(target),
            Demand::Off => None,
        };
        self.watch.asks(asked);
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
    fn outage(&mut self, off_ms: u64) -> Result<(), Broken> {
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
    fn may_lose_ms(&self) -> u64 {
        u64::from(self.trial.checkpoint_ms + self.config.reading_ms) + self.event.late_ms
    }

    fn power_on(&mut self) -> Result<(), Broken> {
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

    /// The event is over: is what the journal holds what happened?
    fn account(&mut self) -> Result<(), Broken> {
        // What rows it has now is acknowledged.
        self.event.mark = (u16::MAX, false);
        self.look()?;
        // One boot more: nothing may come of it.
        let truth = self.board.truth();
        let cuts = self.event.cuts;
        self.waiting_off_ms = None;
        self.board.outage(1_000);
        self.power_on()?;
        self.poll()?;
        let rows = self.ledger.of(self.event.id, self.now())?;
        self.told.rows += (rows.spans.len() + rows.samples.len() + rows.events.len()) as u32;
        if let Some(wrong) = self.board.flash(|nor| nor.wrong_use.first().cloned()) {
            return Err(self.broken(Promise::WrongUse, wrong));
        }
        self.told.pumped_ms += self.watch.asked_ms;
        let rots = self.trial.rots();
        let Some(event) = rows.events.first().copied() else {
            if rots {
                self.told.rotten += 1;
                return self.no_more_than_happened(&rows, None, truth.drawn_ul);
            }
            return Err(self.broken(Promise::RecordLost, "there is no record of the event"));
        };
        self.told.ends.push(event.reason);
        self.told.resumes += u32::from(event.resumes);
        self.told.trips += event.trips.iter().map(|&n| u32::from(n)).sum::<u32>();
        // Of what rots a row may be missing, and with it what it held; nothing else changes.
        if !rots {
            self.rows_agree(&rows, &event)?;
            self.nothing_is_missing(&event, cuts)?;
            self.ended_for_a_reason(&event)?;
        }
        self.no_more_than_happened(&rows, Some(&event), truth.drawn_ul)?;
        match &self.event.outlook {
            Some(outlook) if self.trial.calm && !self.is_spent() => {
                outlook.has_come(&rows, &event, self.now())
            }
            _ => Ok(()),
        }
    }

    fn rows_agree(&self, rows: &Rows, event: &EventRow) -> Result<(), Broken> {
        let differ = |what: String| Err(self.broken(Promise::SumsDiffer, what));
        let numbers: Vec<u16> = rows.spans.iter().map(|s| s.number).collect();
        if numbers != (1..=event.spans).collect::<Vec<_>>() {
            return Err(self
                .broken(Promise::RecordLost, format!("stretches {numbers:?} of {}", event.spans)));
        }
        let volume = event.volume.as_raw();
        let of_spans: u64 = rows.spans.iter().map(|s| s.volume.as_raw()).sum();
        let of_samples: u64 = rows.samples.iter().map(|s| s.volume.as_raw()).sum();
        if of_spans != volume || of_samples != volume {
            return differ(format!(
                "volumes: {of_spans} in spans, {of_samples} in samples, {volume}"
            ));
        }
        let spans: u64 = rows.spans.iter().map(|s| s.pumped_ms).sum();
        let samples: u64 = rows.samples.iter().map(|s| s.pumped_ms).sum();
        if spans != event.pumped_ms || samples != spans {
            return differ(format!("times: {spans}, {samples}, {}", event.pumped_ms));
        }
        if rows.samples.len() as u32 != event.samples {
            return differ(format!("{} rows of {} samples", rows.samples.len(), event.samples));
        }
        Ok(())
    }

    /// Two crystals differ by up to 300 ppm, and each stretch is counted in whole ms.
    fn about_ms(&self, spans: usize) -> u64 {
        self.watch.asked_ms * 3 / 10_000 + 3 * spans as u64 + 5
    }

    fn nothing_is_missing(&mut self, event: &EventRow, cuts: u32) -> Result<(), Broken> {
        let lost_ms = self.watch.asked_ms.saturating_sub(event.pumped_ms);
        let may = u64::from(cuts) * self.may_lose_ms() + self.about_ms(event.spans.into());
        if lost_ms > may {
            let what = format!("{lost_ms} ms of pumping are in no record, {may} ms may be");
            return Err(self.broken(Promise::Unaccounted, what));
        }
        if cuts > 0 {
            self.told.lost_a_cut_ms = self.told.lost_a_cut_ms.max(lost_ms / u64::from(cuts));
        }
        Ok(())
    }

    /// Neither more time nor more volume than there was; and no less volume than the error budget explains.
    fn no_more_than_happened(
        &mut self,
        rows: &Rows,
        event: Option<&EventRow>,
        drawn_ul: f64,
    ) -> Result<(), Broken> {
        let spans: u64 = rows.spans.iter().map(|s| s.pumped_ms).sum();
        let pumped = event.map_or(spans, |event| event.pumped_ms.max(spans));
        let (asked, about) = (self.watch.asked_ms, self.about_ms(rows.spans.len()));
        if pumped > asked + about {
            let what = format!("{pumped} ms are recorded and {asked} ms were pumped");
            return Err(self.broken(Promise::CountedTwice, what));
        }
        // A motor that runs on unasked, a leak, a sensor that lies: no record can know.
        let unknowable = self.trial.any_in_world(|kind| {
            matches!(
                kind,
                InWorld::MotorDisobeys
                    | InWorld::Leak(_)
                    | InWorld::SensorStuck
                    | InWorld::SensorFailing
            )
        });
        if unknowable {
            return Ok(());
        }
        let of_spans: u64 = rows.spans.iter().map(|s| s.volume.as_raw()).sum();
        let metered = event.map_or(of_spans, |event| event.volume.as_raw().max(of_spans)) as f64;
        // In µL·ms/min.
        let metered_ul = metered / 60_000.0;
        let truth =
            drawn_ul - (self.board.truth().drawn_ul - self.watch.drawn(&self.board.truth()));
        let (least, most) = self.watch.budget.around(truth);
        let what = || format!("{metered_ul:.0} µL metered of {truth:.0}, {least:.0} to {most:.0}");
        if metered_ul > most {
            return Err(self.broken(Promise::Inexact, what()));
        }
        if !self.trial.rots() && metered_ul < least {
            return Err(self.broken(Promise::Inexact, what()));
        }
        let cuts = self.event.cuts;
        let comparable = self.watch.is_corrected() && cuts == 0 && self.event.late_ms == 0;
        if comparable && self.watch.asked_ms > 600_000 {
            let off = (metered_ul - truth).abs();
            self.told.off = self.told.off.max(off / truth);
            self.told.of_budget = self.told.of_budget.max(off / (most - truth));
        }
        Ok(())
    }

    /// A schedule that waits for days can empty a battery.
    fn is_spent(&self) -> bool {
        self.board.truth().left < SPENT
    }

    /// An event ends for what happened to it.
    fn ended_for_a_reason(&self, event: &EventRow) -> Result<(), Broken> {
        let trial = self.trial;
        let asked = |ask| trial.any(|kind| *kind == FaultKind::Asked(ask));
        let cuts = self.event.cuts > 0;
        let clock = trial.any_in_world(|kind| {
            matches!(
                kind,
                InWorld::ClockLost | InWorld::ClockStepped(_) | InWorld::ClockFlickers(_)
            )
        });
        let is = match event.reason {
            EndReason::Finished | EndReason::HoldRanOut => true,
            EndReason::Missed => !trial.calm,
            EndReason::Stopped(StopReason::Operator) => {
                trial.any(|kind| *kind == FaultKind::Pressed(draught::port::Key::Stop))
            }
            EndReason::Stopped(StopReason::Host) => asked(Ask::Stop),
            EndReason::Stopped(StopReason::Supply) => event.resumes >= 5,
            EndReason::Disarmed => asked(Ask::Disarm),
            EndReason::Fault(limit) => event.trips.get(limit as usize).is_some_and(|&n| n > 0),
            EndReason::Outage => cuts,
            EndReason::ClockLost => cuts && clock,
            EndReason::Stopped(StopReason::Fault)
            | EndReason::WrongTable
            | EndReason::StartByPassed => false,
        };
        let nothing_to_trip = event.trips != [0; 5] && trial.calm && !self.is_spent();
        if !is || nothing_to_trip {
            let what = format!("{:?}, trips {:?}", event.reason, event.trips);
            return Err(self.broken(Promise::WrongEnd, what));
        }
        Ok(())
    }
}

/// How long the schedule takes with every hold running out, which takes longest, in ms.
fn length_ms(table: &StepTable<32>, config: &Config, now: draught::clock::Now) -> u64 {
    let Ok(checked) = table.checked() else { return 0 };
    let last =
        draught::forecast::Forecast::new(checked, &config.fit, now).ok().and_then(Iterator::last);
    last.map_or(0, |span| span.to.mono.since(now.mono))
}
