//! A whole pump on a board made of adapters: a bus with a pressure sensor and a clock on it, a timer, a counter and an ADC.

use std::cell::RefCell;
use std::num::NonZeroU32;
use std::rc::Rc;

use draught::adapt::embedded_hal::i2c::{self, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use draught::adapt::embedded_hal::pwm::{self, SetDutyCycle};
use draught::adapt::{
    Calibration, FlowElement, Law, Polarity, PwmMotor, RegisterClock, RegisterSensor, Sensed,
    Thresholds, TickClock, VoltageSupply, ZeroBounds, ZeroSum,
};
use draught::audit::Fit;
use draught::event::{EndReason, Limit};
use draught::journal::Region;
use draught::machine::Wake;
use draught::port::{NoAmbient, NoPanel};
use draught::prelude::*;
use draught::pump::{Board, Booted, Config, Pump, Regions};
use draught::record::{EventRow, Flags, Origin, RowKind};
use draught::regulator::Curve;
use draught::{limits, regulator, wire};
use draught_tests::nor::Nor;

use crate::rtc::{APART, wall};
use crate::sensor::LAYOUT;

const PAGE: usize = 4_096;
/// A 32-bit counter that wraps after 11 h while the pump waits.
const TICKS_HZ: u32 = 100_000;
/// Pressure of the sensor when nothing flows, in its own steps of 1/48 Pa.
const ZERO_STEPS: i16 = 24;
/// Flow at full duty, and the pressure that it makes at an orifice.
const FULL_UL: f64 = 5_000_000.0;
const FULL_PA: f64 = 240.0;

/// What is around the processor.
struct World {
    ms: u64,
    /// Timer steps, of 1,000.
    level: u16,
    blocked: bool,
    sensor_started: bool,
    sensor_answers: bool,
    /// Registers of the clock; written and never counted on, since the time is made of `wall_at`.
    registers: [u8; 16],
    wall_at: Option<(u64, WallMs)>,
    supply_mv: u32,
}

type Shared = Rc<RefCell<World>>;

impl World {
    fn new() -> Shared {
        Rc::new(RefCell::new(Self {
            ms: 0,
            level: 0,
            blocked: false,
            sensor_started: false,
            sensor_answers: true,
            registers: [0x80; 16],
            wall_at: None,
            supply_mv: 4_000,
        }))
    }

    fn flow_ul(&self) -> f64 {
        if self.blocked { 0.0 } else { FULL_UL * f64::from(self.level) / 1_000.0 }
    }

    /// Six bytes with their checksums.
    fn measured(&self) -> Vec<u8> {
        let pa = FULL_PA * (self.flow_ul() / FULL_UL).powi(2);
        let steps = (pa * 48.0).round() as i16 + ZERO_STEPS;
        let crc = LAYOUT.checksum.expect("the layout has one");
        let words = [steps.to_be_bytes(), 2_000_i16.to_be_bytes()];
        words.iter().flat_map(|word| [word[0], word[1], crc.of(word)]).collect()
    }

    /// What the clock's registers say now.
    fn tell_time(&mut self) {
        let Some((since, set)) = self.wall_at else { return };
        let now = set.plus_ms(self.ms - since).expect("before 2136");
        let civil = UtcOffset::UTC.civil(now).expect("a date");
        let (year, month, day) = civil.date.ymd();
        let s = civil.time.as_ms() / 1_000;
        let digits = |v: u32| u8::from_str_radix(&v.to_string(), 16).expect("two digits");
        let time =
            [s % 60, s / 60 % 60, s / 3_600, 1, day.into(), month.into(), (year - 2_000).into()];
        self.registers[..7].copy_from_slice(&time.map(digits));
    }
}

/// A share of the bus.
struct Bus(Shared);

impl i2c::ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn transaction(&mut self, at: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let none = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        let mut world = self.0.borrow_mut();
        world.tell_time();
        let mut register = 0;
        for operation in operations {
            match operation {
                Operation::Write(bytes) if at == LAYOUT.address && world.sensor_answers => {
                    world.sensor_started |= *bytes == LAYOUT.start;
                }
                Operation::Read(bytes) if at == LAYOUT.address && world.sensor_answers => {
                    if !world.sensor_started {
                        return none;
                    }
                    bytes.copy_from_slice(&world.measured());
                }
                Operation::Write(bytes) if at == APART.address => {
                    register = usize::from(bytes[0]);
                    let place = register..register + bytes.len() - 1;
                    world.registers[place].copy_from_slice(&bytes[1..]);
                }
                Operation::Read(bytes) if at == APART.address => {
                    bytes.copy_from_slice(&world.registers[register..register + bytes.len()]);
                }
                _ => return none,
            }
        }
        Ok(())
    }
}

struct Timer(Shared);

impl pwm::ErrorType for Timer {
    type Error = pwm::ErrorKind;
}

impl SetDutyCycle for Timer {
    fn max_duty_cycle(&self) -> u16 {
        1_000
    }

    fn set_duty_cycle(&mut self, level: u16) -> Result<(), pwm::ErrorKind> {
        self.0.borrow_mut().level = level;
        Ok(())
    }
}

type Count = Box<dyn FnMut() -> u32>;
type Measure = Box<dyn FnMut() -> Option<Sensed>>;

struct Adapted {
    ticks: TickClock<Count>,
    clock: RegisterClock<Bus>,
    motor: PwmMotor<Timer>,
    element: FlowElement<Bus, 2>,
    supply: VoltageSupply<Measure, 2>,
    ambient: NoAmbient,
    flash: Nor<4, PAGE>,
    panel: NoPanel,
}

impl Board for Adapted {
    type Mono = TickClock<Count>;
    type Wall = RegisterClock<Bus>;
    type Motor = PwmMotor<Timer>;
    type Flow = FlowElement<Bus, 2>;
    type Supply = VoltageSupply<Measure, 2>;
    type Ambient = NoAmbient;
    type Flash = Nor<4, PAGE>;
    type Panel = NoPanel;

    fn mono(&mut self) -> &mut Self::Mono {
        &mut self.ticks
    }
    fn wall(&mut self) -> &mut Self::Wall {
        &mut self.clock
    }
    fn motor(&mut self) -> &mut Self::Motor {
        &mut self.motor
    }
    fn flow(&mut self) -> &mut Self::Flow {
        &mut self.element
    }
    fn supply(&mut self) -> &mut Self::Supply {
        &mut self.supply
    }
    fn ambient(&mut self) -> &mut NoAmbient {
        &mut self.ambient
    }
    fn flash(&mut self) -> &mut Self::Flash {
        &mut self.flash
    }
    fn panel(&mut self) -> &mut NoPanel {
        &mut self.panel
    }
}

fn board(world: &Shared) -> Adapted {
    let (ticking, measured) = (Rc::clone(world), Rc::clone(world));
    let count: Count = Box::new(move || (ticking.borrow().ms * u64::from(TICKS_HZ) / 1_000) as u32);
    let measure: Measure =
        Box::new(move || Some(Sensed { supply_mv: measured.borrow().supply_mv, charging: false }));
    let thresholds = Thresholds { low_mv: 3_300, failing_mv: 3_000, hysteresis_mv: 200 };
    // Two points of the orifice's own law, in mPa and µL/min.
    let table = Calibration::new(Law::Orifice, [(60_000, 2_500_000), (240_000, 5_000_000)]);
    let bounds = ZeroBounds { off_at_most_mpa: 1_000, spread_at_most_mpa: 100, readings: 8 };
    let sensor = RegisterSensor::new(Bus(Rc::clone(world)), LAYOUT).expect("the layout");
    Adapted {
        ticks: TickClock::new(count, NonZeroU32::new(TICKS_HZ).expect("a rate")),
        clock: RegisterClock::new(Bus(Rc::clone(world)), APART).expect("the layout"),
        motor: PwmMotor::new(Timer(Rc::clone(world)), Polarity::ActiveHigh).expect("a motor"),
        element: FlowElement::new(sensor, table.expect("it rises"), bounds),
        supply: VoltageSupply::new(measure, thresholds, [(3_400, 0), (4_000, 100)])
            .expect("the thresholds"),
        ambient: NoAmbient,
        flash: Nor::new(64, 1),
        panel: NoPanel,
    }
}

fn config(flash: &Nor<4, PAGE>) -> Config {
    let region = |from: u32, pages| Region::new(flash, from * PAGE as u32, pages).expect("pages");
    Config {
        device: 7,
        origin: Origin::Simulated,
        fit: Fit::ANY,
        regulator: regulator::Config {
            flow: Curve::tuned(FULL_UL as u32, 0, 100, 1_000, 1_000),
            ..regulator::Config::default()
        },
        limits: limits::Config::default(),
        reading_ms: 1_000,
        checkpoint_ms: 60_000,
        sample_ms: None,
        regions: Regions {
            shelf: region(0, 8),
            shelf_half_pages: 1,
            checkpoints: region(8, 8),
            records: region(16, 16),
        },
    }
}

/// Waits for 06:00, then draws 2 L/min for 15 min.
fn block() -> Vec<u8> {
    let flow = Flow::from_ul_per_min(2_000_000).unwrap();
    let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, Target::flow(flow)));
    table.push(Step::WaitForTime(TimeOfDay::from_hms(6, 0, 0).unwrap())).unwrap();
    let run = DurationMs::from_ms(15 * 60_000).unwrap();
    table.push(Step::RunFor { run, target: None }).unwrap();
    table.push(Step::Finish).unwrap();
    let mut block = [0; wire::max_len(8)];
    let len = wire::encode(table.checked().unwrap(), &mut block).unwrap();
    block[..len].to_vec()
}

/// A pump whose clock was set at 16:00 the day before, whose zero was measured, and that is armed.
fn armed(world: &Shared) -> Pump<Adapted, 8> {
    let mut board = board(world);
    let evening = wall((2027, 3, 7), (16, 0, 0));
    world.borrow_mut().wall_at = Some((0, evening));
    board.clock.set_time(evening).unwrap();
    board.element.sensor().start().unwrap();
    let mut sum = ZeroSum::NONE;
    for _ in 0..8 {
        board.element.read_zero(&mut sum).unwrap();
    }
    assert_eq!(board.element.take_zero(&sum), Ok(500)); // 24 steps of 1/48 Pa
    let config = config(&board.flash);
    let mut pump = Pump::new(board, config).unwrap();
    assert_eq!(pump.boot(&mut [0; 640]), Booted::Idle);
    pump.load(&block(), 0).unwrap();
    pump.arm().unwrap();
    pump
}

/// What a firmware does, until the event is over; `happens` is told the time at each poll.
fn run(
    pump: &mut Pump<Adapted, 8>,
    world: &Shared,
    mut happens: impl FnMut(&mut World),
) -> EventRow {
    for _ in 0..5_000 {
        let wake = pump.poll();
        let now = pump.now();
        let Wake::At { mono, wall, .. } = wake else { panic!("a poll never says so") };
        if wake == Wake::NEVER {
            let mut rows = Vec::new();
            pump.each_row(|_, kind, row| {
                if kind == RowKind::Event {
                    rows.push(EventRow::from_bytes(row).expect("an event"));
                }
            });
            assert_eq!(rows.len(), 1);
            return rows[0];
        }
        let mono = mono.map(|at| at.since(now.mono));
        let wall = wall.zip(now.wall).map(|(at, now)| at.since(now));
        let longest = pump.board().ticks.longest_sleep_ms();
        let sleep = mono.into_iter().chain(wall).min().unwrap_or(longest).clamp(1, longest);
        let mut world = world.borrow_mut();
        world.ms += sleep;
        happens(&mut world);
    }
    panic!("the event never ends")
}

#[test]
fn a_run_draws_what_was_asked_for_across_a_wrap_of_the_counter() {
    let world = World::new();
    let mut pump = armed(&world);
    let event = run(&mut pump, &world, |_| {});
    assert_eq!(event.reason, EndReason::Finished);
    assert_eq!(event.flags, Flags(0), "{:?}", event.flags);
    assert_eq!(event.started, Some(wall((2027, 3, 8), (6, 0, 0))));
    assert_eq!(event.pumped_ms, 15 * 60_000);
    assert_eq!(event.supply_armed_percent, Some(100));
    // 14 h of a counter that wraps after 11 h 56 min.
    assert!(world.borrow().ms * u64::from(TICKS_HZ) / 1_000 > 1 << 32);
    let litres = event.volume.as_ml() / 1_000;
    assert!((29..=30).contains(&litres), "{} mL", event.volume.as_ml());
    assert_eq!(world.borrow().level, 0);
    assert_eq!(pump.board().flash.wrong_use, Vec::<String>::new());
}

#[test]
fn a_sensor_that_is_gone_a_blocked_inlet_and_a_weak_supply_stop_it() {
    let pumping_ms = 14 * 3_600_000 + 60_000;
    let stopped = |fault: fn(&mut World)| {
        let world = World::new();
        let mut pump = armed(&world);
        let event = run(&mut pump, &world, |world| {
            if world.ms > pumping_ms {
                fault(world);
            }
        });
        assert_eq!(world.borrow().level, 0);
        (event.reason, event.pumped_ms / 1_000)
    };
    let (reason, s) = stopped(|world| world.sensor_answers = false);
    assert_eq!(reason, EndReason::Fault(Limit::Sensor));
    assert!((70..=72).contains(&s), "{s}");
    let (reason, s) = stopped(|world| world.blocked = true);
    assert_eq!(reason, EndReason::Fault(Limit::FlowLow));
    assert!((120..=123).contains(&s), "{s}");
    let (reason, s) = stopped(|world| world.supply_mv = 3_200);
    assert_eq!(reason, EndReason::Fault(Limit::Supply));
    assert!((62..=65).contains(&s), "{s}");
}

#[test]
fn a_sensor_that_comes_back_is_started_anew_and_the_run_goes_on() {
    let world = World::new();
    let mut pump = armed(&world);
    let pumping_ms = 14 * 3_600_000 + 60_000;
    let event = run(&mut pump, &world, |world| {
        let was = world.sensor_answers;
        world.sensor_answers = !(pumping_ms..pumping_ms + 5_000).contains(&world.ms);
        if was && !world.sensor_answers {
            world.sensor_started = false;
        }
    });
    assert_eq!((event.reason, event.pumped_ms), (EndReason::Finished, 15 * 60_000));
}
