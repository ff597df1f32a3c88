//! Clocks, meter and operator around one machine.

use draught::clock::{MonoMs, Now, WallMs};
use draught::event::StopReason;
use draught::machine::{ArmRefused, Phase};
use draught::prelude::*;

use super::script::Script;
use super::watch::Watch;

/// Calls in one execution.
const CALLS_MAX: u32 = 1_000;
/// Calls at one instant, after which the world goes on although the machine has not come to rest.
const CALLS_AT_ONCE: u32 = 200;
/// Spans of a forecast that are looked at.
const SPANS_MAX: usize = 40;
/// Calls by good clocks after the script.
const RUN_OUT_MAX: usize = 24;

/// One machine in its world.
pub struct World<'t> {
    table: TableRef<'t>,
    machine: Machine,
    watch: Watch<'t>,
    mono: u64,
    /// The wall clock, whether it can be trusted or not.
    wall: Option<u64>,
    trusted: bool,
    drawn: u64,
    meter: Meter,
    calls: u32,
}

impl<'t> World<'t> {
    /// Arms a machine; `None` when that is refused.
    pub fn armed(table: TableRef<'t>, script: &mut Script<'_>) -> Option<Self> {
        let how = script.u8();
        let mono = match how & 3 {
            0 => 50_000,
            1 => script.u64(),
            2 => u64::MAX - u64::from(script.u32()),
            _ => 0,
        };
        let wall = match how >> 2 & 7 {
            0 => None,
            1 => Some(WallMs::FIRST.as_ms() + u64::from(script.u32())),
            2 => Some(WallMs::LAST.as_ms() - u64::from(script.u32())),
            3 => Some(u64::from(script.u16()) * 86_400_000 + u64::from(script.u32()) % 86_400_000),
            4 => Some(script.u64()),
            // Shortly before the first date of the schedule, or in 2027.
            _ => Some(first_date(table).saturating_sub(u64::from(script.u16()) * 10_000)),
        };
        let fit = if how >> 5 == 7 {
            let most = Flow::from_ul_per_min(script.u32().clamp(1, 2_000_000_000)).ok()?;
            Fit { flow: Some((Flow::SMALLEST, most)), pressure: None }
        } else {
            Fit::ANY
        };
        let mut world = Self {
            table,
            machine: Machine::new(),
            watch: Watch::new(table),
            mono,
            wall,
            trusted: true,
            drawn: 0,
            meter: Meter::new(MonoMs::from_ms(mono)),
            calls: 0,
        };
        world.forecast(&fit, u32::from(how) << 12);
        let input = world.input();
        world.machine.arm(table, &fit, EventId(1), input).ok()?;
        world.watch.armed(&world.machine);
        world.look();
        Some(world)
    }

    /// Whether more calls are worth while.
    pub fn goes_on(&self) -> bool {
        self.calls < CALLS_MAX && self.machine.is_armed()
    }

    /// How many transitions there were.
    pub fn transitions(&self) -> u64 {
        self.watch.transitions()
    }

    fn input(&self) -> Input {
        let wall = self.wall.filter(|_| self.trusted).and_then(WallMs::from_ms);
        let now = Now { mono: MonoMs::from_ms(self.mono), wall };
        Input { now, drawn: RawVolume::from_raw(self.drawn) }
    }

    /// One line of the script.
    pub fn play(&mut self, script: &mut Script<'_>) {
        let what = script.u8();
        if what & 0x4F > 0x48 && what & 15 < 13 {
            // A command that comes when a call is already due.
            self.pass(self.until_wake().unwrap_or(0).saturating_add((what >> 4 & 1).into()), 1_000);
        }
        match what & 15 {
            0..=2 => self.pass(self.until_wake().unwrap_or(60_000), 1_000),
            3 => {
                let part = u64::from(script.u8());
                self.pass(self.until_wake().unwrap_or(1_000) / 256 * part, 1_000);
            }
            4 => {
                let late = u64::from(script.u16()) << (what >> 4);
                self.pass(self.until_wake().unwrap_or(0).saturating_add(late), 900);
            }
            5 => {
                let flow = 4 * u64::from(script.u8());
                self.pass(script.u32().into(), flow);
            }
            6 => self.clock_set(what >> 4, script),
            7 => self.mono = self.mono.saturating_sub(u64::from(script.u16()) << (what >> 4)),
            8 => self.read_meter(script),
            9 => return self.command(Command::Resume { step: self.holding(script, what) }),
            10 => return self.command(Command::ConfirmSampler),
            // An event that is over has little more to show: it is ended less often than not.
            11 if what & 0xA0 == 0 => {
                let reasons = [StopReason::Operator, StopReason::Host, StopReason::Fault];
                return self.command(Command::Stop(
                    reasons[usize::from(what >> 4 & 1) + usize::from(what >> 6)],
                ));
            }
            12 if what & 0xA0 == 0 => return self.command(Command::Disarm),
            13 if what >> 4 < 4 => return self.another_table(script),
            14 => return self.arm_again(script),
            15 => self.drawn = script.u64(),
            _ => {}
        }
        self.look();
    }

    /// After the script: clocks that can be trusted, calls in time.
    pub fn run_out(&mut self) {
        self.trusted = true;
        for _ in 0..RUN_OUT_MAX {
            if !self.goes_on() {
                break;
            }
            self.pass(self.until_wake().unwrap_or(3_600_000), 1_000);
            self.look();
        }
        self.watch.at_the_end(&self.machine, self.input());
    }

    /// Time passes on both clocks, at so many thousandths of the target.
    fn pass(&mut self, ms: u64, thousandths: u64) {
        self.mono = self.mono.saturating_add(ms);
        self.wall = self.wall.map(|w| w.saturating_add(ms));
        if let Demand::Pump(target) = self.watch.demand() {
            let flow = target.as_flow().map_or(1_000_000, |f| u64::from(f.ul_per_min()));
            let drawn = (flow.saturating_mul(thousandths) / 1_000).saturating_mul(ms);
            self.drawn = self.drawn.saturating_add(drawn);
        }
    }

    fn clock_set(&mut self, how: u8, script: &mut Script<'_>) {
        match how {
            0..=2 => self.trusted = false,
            3..=5 => self.trusted = true,
            6..=8 => {
                let by = i64::from(script.u32() as i32) * 1_000;
                self.wall = self.wall.map(|w| w.saturating_add_signed(by));
            }
            9 => self.wall = Some(WallMs::LAST.as_ms() - u64::from(script.u16())),
            10 => self.wall = Some(WallMs::FIRST.as_ms() + u64::from(script.u16())),
            11 => self.wall = Some(script.u64()),
            12 => self.mono = u64::MAX - u64::from(script.u16()),
            _ => {
                let by = script.u32() as i32;
                self.wall = self.wall.map(|w| w.saturating_add_signed(by.into()));
            }
        }
    }

    /// Readings of the flow sensor; the machine gets what they come to.
    fn read_meter(&mut self, script: &mut Script<'_>) {
        let flow = script.u32();
        let ms = u64::from(script.u16());
        let was = self.meter;
        self.mono = self.mono.saturating_add(ms);
        self.wall = self.wall.map(|w| w.saturating_add(ms));
        let at = MonoMs::from_ms(self.mono);
        match (self.watch.demand(), flow & 3) {
            (Demand::Off, _) => self.meter.idle(at),
            (_, 0) => self.meter.gap(at),
            _ => self.meter.reading(at, flow),
        }
        let m = self.meter;
        assert!(m.volume() >= was.volume() && m.metered_ms() >= was.metered_ms());
        assert!(m.gap_ms() >= was.gap_ms() && m.readings() >= was.readings());
        if let (Some(min), Some(max)) = (m.min_ul_per_min(), m.max_ul_per_min()) {
            let mean = m.mean_ul_per_min().expect("there is a reading");
            assert!((min..=max).contains(&mean), "{m:?}");
            if min == max && min > 0 && m.readings() > 1 {
                assert_eq!(m.cv_per_myriad(), Some(0), "{m:?}");
            }
            let _ = m.cv_per_myriad();
        }
        self.drawn = self.drawn.saturating_add(m.volume().since(was.volume()).as_raw());
    }

    /// The hold under way, or any step.
    fn holding(&self, script: &mut Script<'_>, what: u8) -> StepNo {
        match self.machine.phase(self.table, self.input().now) {
            Phase::Holding { step, .. } if what < 128 => step,
            _ => StepNo::new(script.u8().max(1)).expect("from 1 on"),
        }
    }

    fn command(&mut self, command: Command) {
        let (before, input) = (self.machine, self.input());
        self.calls += 1;
        match self.machine.command(self.table, command, input) {
            Ok(answer) => {
                self.watch.command(command, &before, &self.machine, input, &answer);
                self.look();
            }
            Err(_) => assert_eq!(before, self.machine, "a refused command changes nothing"),
        }
    }

    fn arm_again(&mut self, script: &mut Script<'_>) {
        let (before, input) = (self.machine, self.input());
        let again = self.machine.arm(self.table, &Fit::ANY, EventId(2), input);
        assert_eq!(again, Err(ArmRefused::AlreadyArmed));
        assert_eq!(before, self.machine);
        self.forecast(&Fit::ANY, script.u32());
    }

    /// Another table than the one that was armed: one of another length ends the event, one of the same does no harm.
    fn another_table(&mut self, script: &mut Script<'_>) {
        let mut steps = self.table.steps().to_vec();
        let at = usize::from(script.u8()) % steps.len();
        let same_length = script.u8().is_multiple_of(2) && at + 1 < steps.len();
        if same_length {
            steps[at] = Step::Hold(DurationMs::from_ms(77).expect("in range"));
        } else {
            steps.insert(0, Step::Hold(DurationMs::from_ms(77).expect("in range")));
        }
        let Ok(other) = TableRef::new(self.table.settings(), &steps) else { return };
        self.watch.astray(same_length);
        let input = self.input();
        for _ in 0..4 {
            let before = self.machine;
            let answer = self.machine.advance(other, input);
            self.calls += 1;
            self.watch.answer(&before, &self.machine, input, &answer);
            if answer.wake != Wake::Again {
                break;
            }
        }
        if !same_length {
            assert!(!self.machine.is_armed(), "the table is another, and the event goes on");
        }
        self.look();
    }

    /// Calls the machine until it asks for no other call, and once more.
    fn look(&mut self) {
        let input = self.input();
        for _ in 0..CALLS_AT_ONCE {
            let before = self.machine;
            let answer = self.machine.advance(self.table, input);
            self.calls += 1;
            self.watch.answer(&before, &self.machine, input, &answer);
            if answer.wake != Wake::Again {
                let at_rest = self.machine;
                let once_more = self.machine.advance(self.table, input);
                assert_eq!(at_rest, self.machine, "the same input changes nothing");
                assert_eq!(once_more, Advance { event: None, ..answer }, "the same answer");
                break;
            }
        }
    }

    /// How long until the earliest wake, by clocks that run.
    fn until_wake(&self) -> Option<u64> {
        let Wake::At { mono, wall, drawn } = self.watch.wake() else { return Some(0) };
        let input = self.input();
        let flow = match self.watch.demand() {
            Demand::Pump(target) => target.as_flow().map_or(1_000_000, |f| f.ul_per_min().into()),
            Demand::Off => u64::MAX,
        };
        let by_mono = mono.map(|m| m.since(input.now.mono));
        let by_wall = wall.zip(input.now.wall).map(|(at, now)| at.since(now));
        let by_volume = drawn.map(|v| v.since(input.drawn).as_raw().div_ceil(flow));
        [by_mono, by_wall, by_volume].into_iter().flatten().min()
    }

    /// The forecast from here: it is refused exactly when arming is, its spans follow each other, and the first
    /// pumping is where arming says.
    fn forecast(&self, fit: &Fit, after: u32) {
        let input = self.input();
        let first = Machine::new().arm(self.table, fit, EventId(3), input);
        let forecast = match Forecast::new(self.table, fit, input.now) {
            Ok(forecast) => forecast,
            Err(refused) => return assert_eq!(first, Err(refused)),
        };
        let first = first.expect("it is forecast, so it can be armed");
        let at_once = forecast.clone().resumed_at_once();
        let pump = at_once.clone().take(SPANS_MAX).find(|s| matches!(s.what, What::Pump { .. }));
        if let Some(pump) = pump {
            assert_eq!((pump.step, pump.from), (first.step, first.at), "the first pumping");
        }
        for mut spans in [forecast.clone(), at_once, forecast.resumed_after(after)] {
            let mut last = input.now;
            for span in spans.by_ref().take(SPANS_MAX) {
                assert!(last.mono <= span.from.mono && span.from.mono <= span.to.mono, "{span:?}");
                if let (Some(before), Some(from)) = (last.wall, span.from.wall) {
                    assert!(before <= from, "{span:?}");
                }
                last = span.to;
                if matches!(span.what, What::End(_)) {
                    assert_eq!(spans.next(), None, "after the end");
                    break;
                }
            }
        }
    }
}

/// The first date that a schedule waits for, in ms; the beginning of 2027 if none.
fn first_date(table: TableRef<'_>) -> u64 {
    let date = table.steps().iter().find_map(|s| match s {
        Step::WaitForDate(date) => Some(date.days()),
        Step::WaitForCycleDay(cycle) => Some(cycle.from().days()),
        _ => None,
    });
    u64::from(date.unwrap_or(9_862)) * 86_400_000
}
