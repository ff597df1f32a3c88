//! Counts the instructions of `advance`: with nothing due, and for every transition of a busy schedule.

#![no_std]
#![no_main]

use core::fmt::Write;
use core::hint::black_box;

use cortex_m::peripheral::Peripherals;
use cortex_m_rt::entry;
use cortex_m_semihosting::debug::{EXIT_FAILURE, EXIT_SUCCESS, exit};
use draught::audit::Fit;
use draught::machine::{Demand, EventId, Input, Machine, Wake};
use draught::prelude::*;
use run::clock::Clock;
use run::console::Console;

/// How often each call is made, to count fractions of a tick too.
const TIMES: u64 = 200;

type Table = StepTable<16>;

#[entry]
fn main() -> ! {
    let done = Peripherals::take().map(|p| {
        let mut clock = Clock::new(p.SYST);
        assert!(clock.runs(), "the timer stands still");
        let mut console = Console::new();
        idle(&mut clock, &mut console).and_then(|()| busy(&mut clock, &mut console))
    });
    loop {
        exit(if done == Some(Ok(())) { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

#[inline(never)]
fn advance(machine: &mut Machine, table: TableRef<'_>, input: &Input) {
    black_box(machine.advance(table, *input));
}

/// What calling costs without what is called.
#[inline(never)]
fn nothing(machine: &mut Machine, table: TableRef<'_>, input: &Input) {
    black_box((machine, table, input));
}

/// The instructions of one call of `advance` on a copy of a machine.
fn instructions(clock: &mut Clock, machine: &Machine, table: TableRef<'_>, input: &Input) -> u64 {
    let mut all = |call: fn(&mut Machine, TableRef<'_>, &Input)| {
        clock.instructions(|| {
            for _ in 0..TIMES {
                let mut copy = *black_box(machine);
                call(&mut copy, table, input);
            }
        })
    };
    let (with, without) = (all(black_box(advance)), all(black_box(nothing)));
    with.saturating_sub(without).div_ceil(TIMES)
}

/// A moment: 8 March 2027, 06:00 UTC.
fn start() -> Input {
    let civil = Date::from_ymd(2027, 3, 8).zip(TimeOfDay::from_hms(6, 0, 0));
    let wall = civil.and_then(|(date, time)| UtcOffset::UTC.instant(Civil { date, time }));
    Input { now: Now { mono: MonoMs::from_ms(1_000), wall }, drawn: RawVolume::ZERO }
}

fn table(steps: &[Step]) -> Table {
    let flow = Flow::from_ul_per_min(2_000_000).unwrap_or(Flow::SMALLEST);
    let mut table = Table::new(Settings::new(UtcOffset::UTC, Target::flow(flow)));
    for step in steps {
        table.push(*step).expect("the table has room");
    }
    table
}

fn minutes(n: u32) -> DurationMs {
    DurationMs::from_ms(n * 60_000).expect("a legal duration")
}

fn at(hour: u8, minute: u8) -> TimeOfDay {
    TimeOfDay::from_hms(hour, minute, 0).expect("a time of day")
}

fn run_for(n: u32) -> Step {
    Step::RunFor { run: minutes(n), target: None }
}

/// With nothing due: in each state that a schedule can rest in.
fn idle(clock: &mut Clock, console: &mut Console) -> core::fmt::Result {
    let at_most = minutes(600);
    let volume = Volume::from_ml(100_000).expect("a legal volume");
    let states: [(&str, &[Step]); 6] = [
        ("waiting for an appointment", &[Step::WaitForTime(at(7, 30)), run_for(15), Step::Finish]),
        ("run-for", &[run_for(15), Step::Finish]),
        ("run-until", &[Step::RunUntil { time: at(8, 0), at_most, target: None }, Step::Finish]),
        ("draw-volume", &[Step::DrawVolume { volume, at_most, target: None }, Step::Finish]),
        ("hold", &[Step::Hold(minutes(5)), run_for(15), Step::Finish]),
        (
            "hold until resumed",
            &[Step::HoldUntilResumed { at_most, then: Then::Close }, run_for(15), Step::Finish],
        ),
    ];
    for (name, steps) in states {
        let (table, input) = (table(steps), start());
        let table = table.checked().expect("a legal table");
        let mut machine = Machine::new();
        machine.arm(table, &Fit::ANY, EventId(1), input).expect("it can be armed");
        while machine.advance(table, input).wake == Wake::Again {}
        // A little later, still with nothing due.
        let later = Input { now: input.now.plus_ms(1_234), drawn: RawVolume::from_raw(5) };
        assert!(machine.advance(table, later).event.is_none());
        writeln!(console, "idle {} {name}", instructions(clock, &machine, table, &later))?;
    }
    let (table, machine) = (table(&[Step::Finish]), Machine::new());
    let table = table.checked().expect("a legal table");
    writeln!(console, "idle {} nothing armed", instructions(clock, &machine, table, &start()))
}

/// Every transition of a schedule that has one of everything, nested.
fn busy(clock: &mut Clock, console: &mut Console) -> core::fmt::Result {
    let repeat = |from: u8, n: u16, sampler| Step::Repeat {
        from: StepNo::new(from).expect("a step number"),
        passes: Passes::new(n).expect("a number of passes"),
        sampler,
    };
    let cycle = Cycle::new(Date::from_ymd(2027, 1, 4).expect("a date"), 5).expect("a cycle");
    let table = table(&[
        Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY),
        Step::WaitForCycleDay(cycle),
        Step::WaitForTime(at(7, 30)),
        run_for(15),
        Step::Hold(minutes(5)),
        Step::DrawVolume {
            volume: Volume::from_ml(10_000).expect("a legal volume"),
            at_most: minutes(30),
            target: None,
        },
        Step::RunUntil { time: at(12, 0), at_most: minutes(600), target: None },
        Step::Hold(minutes(1)),
        run_for(1),
        repeat(8, 3, Sampler::Same),
        repeat(1, 4, Sampler::Fresh),
        Step::Finish,
    ]);
    let table = table.checked().expect("a legal table");
    let (mut machine, mut input) = (Machine::new(), start());
    machine.arm(table, &Fit::ANY, EventId(1), input).expect("it can be armed");
    let mut most = [0_u64; KINDS.len()];
    loop {
        let taken = instructions(clock, &machine, table, &input);
        let answer = machine.advance(table, input);
        if let Some(event) = &answer.event {
            if let Some(most) = most.get_mut(kind(event)) {
                *most = taken.max(*most);
            }
            if matches!(event, Event::Ended(_)) {
                break;
            }
        }
        jump(&mut input, answer.demand, answer.wake);
    }
    for (name, most) in KINDS.iter().zip(most).filter(|(_, most)| *most > 0) {
        writeln!(console, "busy {most} {name}")?;
    }
    Ok(())
}

/// To the earliest wake, at 2 L/min.
fn jump(input: &mut Input, demand: Demand, wake: Wake) {
    let Wake::At { mono, wall, drawn } = wake else { return };
    let flow = if demand == Demand::Off { 0 } else { 2_000_000 };
    let by_mono = mono.map(|m| m.since(input.now.mono));
    let by_wall = wall.zip(input.now.wall).map(|(w, now)| w.since(now));
    let by_volume = drawn.and_then(|d| d.since(input.drawn).as_raw().div_ceil(2_000_000).into());
    let soonest = [by_mono, by_wall, by_volume].into_iter().flatten().min();
    let ms = soonest.expect("it names a wake until it has ended");
    input.now = input.now.plus_ms(ms);
    input.drawn = input.drawn.saturating_add(RawVolume::from_raw(flow * ms));
}

const KINDS: [&str; 9] = [
    "an appointment is resolved",
    "an appointment is met",
    "pumping begins",
    "pumping ends",
    "a hold begins",
    "a hold ends",
    "a repeat passes on",
    "a repeat is done",
    "the event ends",
];

fn kind(event: &Event) -> usize {
    match event {
        Event::AppointmentSet { .. } => 0,
        Event::AppointmentMet { .. } => 1,
        Event::PumpingBegan { .. } => 2,
        Event::PumpingEnded(_) => 3,
        Event::HoldBegan { .. } => 4,
        Event::HoldEnded { .. } => 5,
        Event::PassedOn { .. } => 6,
        Event::RepeatDone { .. } => 7,
        Event::Ended(_) => 8,
        other => panic!("not in this schedule: {other:?}"),
    }
}
