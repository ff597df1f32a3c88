//! How often a whole pump wakes, and what a day costs its battery: simulated, so the same wherever it runs.

use draught::machine::Wake;
use draught::prelude::*;
use draught::wire;
use draught_sim::bench::World;
use draught_sim::bench::physics::{SimBoard, boot};
use draught_sim::plan::source::Source;

const DAY_MS: u64 = 86_400_000;
/// Monday 2027-03-08 00:00 UTC.
const MONDAY: u64 = 857_779_200_000;

/// Assumed: a board that sleeps between two wakes is awake for so long each time (a reading of the sensors, a poll, a
/// duty set), takes its idle current meanwhile ...
const AWAKE_MS: f64 = 10.0;
/// ... and so much asleep: a clock crystal, a supply monitor and a processor that keeps its RAM.
const ASLEEP_MA: f64 = 0.02;

struct Case {
    what: &'static str,
    world: (&'static str, &'static str),
    reading_ms: Option<u32>,
    days: u64,
    steps: fn(&mut StepTable<8>),
    ul_per_min: u32,
}

const WORN: (&str, &str) =
    ("worn-2-l-min", include_str!("../../../docs/examples/worlds/worn-2-l-min.toml"));
const AMBIENT: (&str, &str) =
    ("ambient-16-67", include_str!("../../../docs/examples/worlds/ambient-16-67.toml"));

const ALL: [Case; 4] = [
    Case {
        what: "waits for a date a week ahead",
        world: WORN,
        reading_ms: None,
        days: 7,
        steps: |t| {
            let day = Date::from_ymd(2027, 3, 15);
            day.into_iter().for_each(|day| push(t, Step::WaitForDate(day)));
            run(t, 1);
        },
        ul_per_min: 2_000_000,
    },
    Case {
        what: "pumps 8 h a day, a reading each second",
        world: WORN,
        reading_ms: None,
        days: 1,
        steps: |t| daily(t, 8),
        ul_per_min: 2_000_000,
    },
    Case {
        what: "the same, a reading every 5 s",
        world: WORN,
        reading_ms: Some(5_000),
        days: 1,
        steps: |t| daily(t, 8),
        ul_per_min: 2_000_000,
    },
    Case {
        what: "pumps 24 h every sixth day, a reading each second",
        world: AMBIENT,
        reading_ms: None,
        days: 6,
        steps: |t| {
            let cycle = Date::from_ymd(2027, 3, 9).and_then(|from| Cycle::new(from, 6).ok());
            cycle.into_iter().for_each(|cycle| push(t, Step::WaitForCycleDay(cycle)));
            run(t, 24 * 60);
            again(t);
        },
        ul_per_min: 16_670_000,
    },
];

/// One line a case: what, world, wakes a day, and mAh a day for the motor, for a board that never sleeps, and for one that does.
pub fn tell() {
    for case in ALL {
        match day_of(&case) {
            Some((wakes, motor, board, asleep)) => {
                println!(
                    "{},{},{wakes:.2},{motor:.1},{board:.1},{asleep:.2}",
                    case.what, case.world.0
                );
            }
            None => eprintln!("error: {} cannot be run", case.what),
        }
    }
}

fn day_of(case: &Case) -> Option<(f64, f64, f64, f64)> {
    let source = Source::new(case.world.0.to_owned(), case.world.1.to_owned());
    let mut world = World::read(&source).ok()?;
    world.sensor.every_ms = case.reading_ms.unwrap_or(world.sensor.every_ms);
    // Mains: what is drawn is summed here, so that no battery is empty after three days.
    let idle_ma = world.plant.as_mut().map(|plant| {
        plant.battery.mains = true;
        plant.battery.idle_ma
    })?;
    let board = SimBoard::new(&world, 1, WallMs::from_ms(MONDAY))?;
    let (mut pump, _) = boot(&board, 60_000)?;
    let target = Target::flow(Flow::from_ul_per_min(case.ul_per_min).ok()?);
    let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
    (case.steps)(&mut table);
    push(&mut table, Step::Finish);
    let mut block = [0; 128];
    let len = wire::encode(table.checked().ok()?, &mut block).ok()?;
    pump.load(&block[..len], 0).ok()?;
    pump.arm().ok()?;
    let (mut wakes, mut motor_mams) = (0_u64, 0.0);
    let end = case.days * DAY_MS - 1_000;
    while board.truth().at_ms < end {
        wakes += 1;
        let wake = pump.poll();
        let Wake::At { mono, wall, .. } = wake else { return None };
        let now = pump.now();
        let mono = mono.map(|at| at.since(now.mono));
        let wall = wall.zip(now.wall).map(|(at, now)| at.since(now));
        let next = mono.into_iter().chain(wall).min().unwrap_or(DAY_MS);
        let ms = next.clamp(1, end - board.truth().at_ms);
        let at_rest = next > 60_000;
        board.pass(ms);
        if !at_rest {
            motor_mams += (board.truth().milliamps - idle_ma) * ms as f64;
        }
    }
    // An event that tripped would make the numbers worthless.
    if !pump.status().indications.armed || pump.record().trips != [0; 5] {
        return None;
    }
    let days = case.days as f64;
    let mah = |mams: f64| mams / 3_600_000.0 / days;
    let wakes_a_day = wakes as f64 / days;
    let awake_mams = wakes as f64 * AWAKE_MS * idle_ma;
    let asleep_mams = (days * DAY_MS as f64 - wakes as f64 * AWAKE_MS) * ASLEEP_MA;
    let motor = mah(motor_mams);
    let board_mah = idle_ma * 24.0;
    Some((wakes_a_day, motor, board_mah, mah(awake_mams + asleep_mams)))
}

fn push(table: &mut StepTable<8>, step: Step) {
    let _ = table.push(step);
}

fn run(table: &mut StepTable<8>, minutes: u32) {
    let run = DurationMs::from_ms(minutes * 60_000).ok();
    run.into_iter().for_each(|run| push(table, Step::RunFor { run, target: None }));
}

fn again(table: &mut StepTable<8>) {
    if let Ok(passes) = Passes::new(30) {
        push(table, Step::Repeat { from: StepNo::FIRST, passes, sampler: Sampler::Fresh });
    }
}

fn daily(table: &mut StepTable<8>, hours: u32) {
    let eight = TimeOfDay::from_hms(8, 0, 0);
    eight.into_iter().for_each(|time| push(table, Step::WaitForTime(time)));
    run(table, hours * 60);
    again(table);
}
