//! The whole engine in a world with a `[plant]`: the loop of a firmware, with an operator and scripted faults.
//!
//! The loop sleeps by what [`Pump::poll`](draught::pump::Pump::poll) answers, and wakes early only where the world changes:
//! a key is pressed, a fault begins or is over. A power cut drops the engine with all its RAM; what goes on is booted from the
//! board's flash. The same block, world and seed give the same run, byte for byte.

use draught::clock::{MonoMs, Now, WallMs};
use draught::event::Event;
use draught::machine::{EventId, FirstStart, Input, Wake};
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

use super::observe::{FaultSeen, Happened, Observer, Reading};
use super::physics::{Engine, FaultKind, SimBoard, Truth, boot};
use super::pump_operator::Operator;
use super::pump_outcome::{PumpOutcome, PumpRefused, Tale, Told};
use super::pump_record::{self, Rows};
use super::pump_truth::{Ledger, around, leaked_ul};
use super::record::Recorder;
use super::run::{Outcome, Setup};
use super::script::{Edge, Script};

/// A supply that warns before it goes needs few checkpoints ...
const CHECKPOINT_WARNED_MS: u32 = 60_000;
/// ... one that does not, many: five cuts in 6 h then stay within 20 s (40 CFR 53.54).
const CHECKPOINT_MS: u32 = 4_000;
/// A firmware looks so often whether a clock that cannot be trusted can be again.
const CLOCK_LOOK_MS: u64 = 10_000;
/// The longest sleep of a firmware with nothing to wait for.
const LONGEST_SLEEP_MS: u64 = 86_400_000;
/// Long enough for a membrane to come to a stand.
const RUN_DOWN_MS: u64 = 10_000;
/// An event that is not over so long after its forecast never will be: a day for a time of day that was missed, and retries.
const OVERDUE_MS: u64 = 48 * 3_600_000;

/// Loads a block, arms it and runs the event to its end. The table of `setup` is what the block holds.
///
/// # Errors
/// [`PumpRefused`].
pub fn run(
    setup: &Setup<'_>,
    block: &[u8],
    observer: &mut impl Observer,
) -> Result<(Outcome, PumpOutcome), PumpRefused> {
    let (run, first) = arm(setup, block)?;
    Ok(run.go(observer, first))
}

/// Whether the pump of the world would take a block, without running it.
///
/// # Errors
/// [`PumpRefused`], exactly when [`run`] is refused.
pub fn would_arm(setup: &Setup<'_>, block: &[u8]) -> Result<(), PumpRefused> {
    arm(setup, block).map(|_| ())
}

fn arm<'t>(setup: &'t Setup<'t>, block: &[u8]) -> Result<(Run<'t>, FirstStart), PumpRefused> {
    let plant = setup.world.plant.as_ref().ok_or(PumpRefused::NoPlant)?;
    let checkpoint_ms = if plant.battery.mains { CHECKPOINT_MS } else { CHECKPOINT_WARNED_MS };
    let board =
        SimBoard::new(setup.world, setup.seed, setup.armed.wall).ok_or(PumpRefused::NoPlant)?;
    let (mut engine, _) = boot(&board, checkpoint_ms).ok_or(PumpRefused::NoPump)?;
    engine.load(block, 0).map_err(PumpRefused::Load)?;
    let (id, first) = engine.arm().map_err(PumpRefused::Start)?;
    let begun = board.truth();
    let run = Run {
        setup,
        checkpoint_ms,
        latest_ms: latest_ms(setup),
        script: Script::new(&plant.faults),
        engine,
        id,
        told: Vec::new(),
        seen: 0,
        pumping: None,
        begun,
        polled: (setup.armed.mono, begun),
        drawn: RawVolume::ZERO,
        flow: None,
        operator: Operator::default(),
        ledger: Ledger::default(),
        wakes: (0, 0),
        readings: 0,
        cuts: 0,
        board,
    };
    Ok((run, first))
}

/// When an event is given up, in ms after arming.
fn latest_ms(setup: &Setup<'_>) -> u64 {
    let forecast = draught::forecast::Forecast::new(setup.table, &setup.fit, setup.armed);
    let end = forecast.ok().and_then(|spans| spans.last()).map(|span| span.to.mono);
    end.map_or(0, |end| end.since(setup.armed.mono)).saturating_add(OVERDUE_MS)
}

struct Run<'t> {
    setup: &'t Setup<'t>,
    checkpoint_ms: u32,
    latest_ms: u64,
    script: Script,
    board: SimBoard,
    engine: Engine,
    id: EventId,
    told: Vec<Told>,
    /// How many things the engine had told at the latest look at its log.
    seen: u32,
    /// Step, sample and target while the pump runs.
    pumping: Option<(StepNo, u32, Target)>,
    /// What was true when it was armed.
    begun: Truth,
    /// The latest poll, and what was true then.
    polled: (MonoMs, Truth),
    drawn: RawVolume,
    /// The latest metered flow, in µL/min.
    flow: Option<u64>,
    operator: Operator,
    ledger: Ledger,
    wakes: (u64, u64),
    readings: u64,
    cuts: u32,
}

impl Run<'_> {
    fn go(mut self, observer: &mut impl Observer, first: FirstStart) -> (Outcome, PumpOutcome) {
        let mut recorder = Recorder::new(self.setup);
        let mut both = (&mut recorder, observer);
        self.script_until_now(&mut both);
        loop {
            let wake = self.poll(&mut both);
            if self.is_over() || self.board.truth().at_ms > self.latest_ms {
                break;
            }
            if !self.operator.wakes() {
                self.sleep(wake);
            }
            let now = self.engine.now().mono;
            self.operator.acts(now, &self.board);
            self.script_until_now(&mut both);
        }
        self.board.pass(RUN_DOWN_MS);
        // Were the flash to fail, a row would be written at a later poll.
        self.engine.poll();
        let truth = self.board.truth();
        self.ledger.end(truth.drawn_ul);
        let rows = Rows::collect(&mut self.engine, self.id);
        let record = recorder.into_record();
        let record = pump_record::record(record, &rows, self.setup, &self.ledger);
        let share = self.ledger.share(rows.volume());
        let outcome = Outcome {
            first,
            record,
            calls: self.wakes.0 + self.wakes.1,
            wakes: self.wakes.0 + self.wakes.1,
            readings: self.readings,
        };
        let mains = self.setup.world.plant.as_ref().is_some_and(|p| p.battery.mains);
        let pump = PumpOutcome {
            rows,
            told: self.told,
            share,
            wakes: self.wakes,
            cuts: self.cuts,
            checkpoint_ms: self.checkpoint_ms,
            battery: (!mains).then_some((self.begun.left, truth.left)),
        };
        (outcome, pump)
    }

    fn is_over(&mut self) -> bool {
        let status = self.engine.status();
        !status.indications.armed && !status.held_by_charger
    }

    /// One poll, and what came of it.
    fn poll(&mut self, observer: &mut impl Observer) -> Wake {
        let pumped = self.pumping;
        let wake = self.engine.poll();
        let now = self.engine.now();
        if pumped.is_some() {
            self.wakes.0 += 1;
        } else {
            self.wakes.1 += 1;
        }
        self.read(pumped, now, observer);
        self.look_at_log(observer);
        wake
    }

    /// What was metered since the poll before.
    fn read(
        &mut self,
        pumped: Option<(StepNo, u32, Target)>,
        now: Now,
        observer: &mut impl Observer,
    ) {
        let (since, before) = std::mem::replace(&mut self.polled, (now.mono, self.board.truth()));
        let truth = self.polled.1;
        let drawn = self.engine.status().drawn;
        let more = drawn.since(self.drawn);
        self.drawn = drawn;
        let covers_ms = now.mono.since(since);
        let Some((step, sample, target)) = pumped.filter(|_| covers_ms > 0) else { return };
        if more == RawVolume::ZERO && !self.board.sensor_answers() {
            self.flow = None;
            return;
        }
        let flow = more.as_raw() / covers_ms;
        self.flow = Some(flow);
        self.readings += 1;
        self.ledger.metered(
            drawn,
            truth.drawn_ul - before.drawn_ul,
            leaked_ul(self.setup, &before, &truth),
        );
        observer.reading(&Reading {
            at: now,
            covers_ms,
            ul_per_min: u32::try_from(flow).unwrap_or(u32::MAX),
            drawn,
            truly_drawn: self.truly_drawn(),
            step,
            sample,
            target,
            around: Some(around(self.setup, &before, &truth)),
        });
    }

    /// Everything truly drawn so far.
    fn truly_drawn(&self) -> RawVolume {
        super::pump_truth::raw(self.board.truth().drawn_ul)
    }

    fn look_at_log(&mut self, observer: &mut impl Observer) {
        let told = self.engine.log().told();
        let more = told.wrapping_sub(self.seen) as usize;
        self.seen = told;
        let latest: Vec<(Now, Event)> = self.engine.log().latest().copied().collect();
        let forgotten = more.saturating_sub(latest.len());
        if forgotten > 0 {
            let at = latest.first().map_or(self.setup.armed, |(at, _)| *at);
            self.told.push(Told { at, what: Tale::More(forgotten as u32) });
        }
        for (at, event) in latest.iter().skip(latest.len().saturating_sub(more)) {
            self.took(*at, *event);
            let input = Input { now: *at, drawn: self.drawn };
            observer.event(&Happened { input, event: *event, truly_drawn: self.truly_drawn() });
        }
    }

    /// What follows from an event outside the engine.
    fn took(&mut self, at: Now, event: Event) {
        self.told.push(Told { at, what: Tale::Pump(event) });
        self.operator.sees(at, &event, self.setup, &self.board);
        match event {
            Event::PumpingBegan { step, sample, target, .. } => {
                self.pumping = Some((step, sample, target));
                self.flow = None;
                self.ledger.began(sample, self.board.truth().drawn_ul);
            }
            Event::PumpingEnded(_) => self.pumping = None,
            _ => {}
        }
    }

    /// Sleeps until the engine wants to be polled, or the world changes.
    fn sleep(&mut self, wake: Wake) {
        let clock_is_lost = self.engine.now().wall.is_none();
        let mut slept = 0;
        while let Some(ms) = self.time_to(wake).filter(|ms| *ms > 0) {
            let ms = if clock_is_lost { ms.min(CLOCK_LOOK_MS) } else { ms };
            let edge = self.script.next_ms().map(|at| at.saturating_sub(self.board.truth().at_ms));
            // A board sleeps by its own crystal, which counts a little more or less than this: near the end it is looked at again.
            let ms = if ms > 1_000 { ms - ms / 400 } else { ms };
            let ms = ms.min(edge.unwrap_or(u64::MAX));
            self.board.pass(ms);
            slept += ms;
            if ms == 0 || edge == Some(ms) || clock_is_lost || slept >= LONGEST_SLEEP_MS {
                return;
            }
        }
        if slept == 0 {
            self.board.pass(1);
        }
    }

    /// How long the engine, or the operator, has to wait by the pump's clocks; `None`: no time at all.
    fn time_to(&mut self, wake: Wake) -> Option<u64> {
        let Wake::At { mono, wall, drawn } = wake else { return None };
        let now = self.engine.now();
        let mono = mono.map(|at| at.since(now.mono));
        let wall = wall.map(|at| now.wall.map_or(CLOCK_LOOK_MS, |now| at.since(now)));
        let operator = self.operator.resume.map(|at| at.since(now.mono));
        let full =
            drawn.filter(|_| self.pumping.is_some()).and_then(|full| self.time_to_draw(full, now));
        [mono, wall, operator, full].into_iter().flatten().min().or(Some(LONGEST_SLEEP_MS))
    }

    /// When a volume will be full at the present flow: a firmware need not be late by up to one reading.
    fn time_to_draw(&self, full: RawVolume, now: Now) -> Option<u64> {
        let flow = self.flow.filter(|flow| *flow > 0)?;
        let at = self.polled.0.plus_ms(full.since(self.drawn).as_raw().div_ceil(flow));
        Some(at.since(now.mono))
    }

    /// The world does what its script says up to now.
    fn script_until_now(&mut self, observer: &mut impl Observer) {
        while let Some(edge) = self.script.due(self.board.truth().at_ms) {
            self.tell(edge, observer);
            if edge.begins && edge.fault.kind == FaultKind::PowerCut {
                self.cut(edge, observer);
            }
        }
    }

    fn tell(&mut self, Edge { at_ms, fault, begins }: Edge, observer: &mut impl Observer) {
        let at = self.world_time(at_ms);
        let what = if begins { Tale::Begins(fault) } else { Tale::Over(fault) };
        self.told.push(Told { at, what });
        let (drawn, truly_drawn) = (self.drawn, self.truly_drawn());
        observer.fault(&FaultSeen { at, fault, begins, drawn, truly_drawn });
    }

    /// The world's own time, since arming and by a clock that is right.
    fn world_time(&self, at_ms: u64) -> Now {
        let armed = self.setup.armed;
        Now {
            mono: armed.mono.plus_ms(at_ms),
            wall: armed.wall.and_then(|w: WallMs| w.plus_ms(at_ms)),
        }
    }

    /// Power goes and comes back; nothing is left but what is in the flash.
    fn cut(&mut self, edge: Edge, observer: &mut impl Observer) {
        let ends_ms = self.script.power_back_ms(edge.at_ms.saturating_add(edge.fault.lasts_ms));
        let off_ms = ends_ms.saturating_sub(self.board.truth().at_ms);
        self.cuts += 1;
        self.board.outage(off_ms);
        // What happens to the world meanwhile happens in the dark; cuts that begin meanwhile are part of this one.
        while let Some(meanwhile) = self.script.due(self.board.truth().at_ms) {
            self.tell(meanwhile, observer);
        }
        let (drawn, truly_drawn) = (self.drawn, self.truly_drawn());
        let (at, fault) = (self.world_time(self.board.truth().at_ms), edge.fault);
        observer.fault(&FaultSeen { at, fault, begins: false, drawn, truly_drawn });
        // The same board made a pump before, so it makes one again.
        let Some((engine, _)) = boot(&self.board, self.checkpoint_ms) else { return };
        self.engine = engine;
        self.seen = 0;
        self.pumping = None;
        self.flow = None;
        let at = self.engine.now();
        self.polled = (at.mono, self.board.truth());
        self.drawn = self.engine.status().drawn;
        self.ledger.back_to(self.drawn);
        self.told.push(Told { at, what: Tale::Booted(off_ms) });
        self.look_at_log(observer);
    }
}
