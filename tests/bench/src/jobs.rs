//! What is counted. Each is made ready first; what it then does is one call of the closure.

use std::hint::black_box;

use draught::audit::Fit;
use draught::forecast::Forecast;
use draught::machine::{EventId, Input, Machine, Wake};
use draught::meter::Meter;
use draught::prelude::*;
use draught::wire;

use crate::other::Schedule;
use crate::tables::{self, Table};

/// What is counted.
pub type Job = Box<dyn FnOnce()>;
/// A job's name, and what makes it ready.
pub type Named = (&'static str, fn() -> Job);

/// Every job with its name.
pub const ALL: &[Named] = &[
    ("forecast of 10 runs", || forecast(5)),
    ("forecast of 1,000 runs", || forecast(500)),
    ("forecast of 100,000 runs", || forecast(50_000)),
    ("encode 4 steps", || encode(tables::one_run())),
    ("decode 4 steps", || decode(tables::one_run())),
    ("encode 40 steps", || encode(tables::forty_steps())),
    ("decode 40 steps", || decode(tables::forty_steps())),
    ("decode 40 steps, JSON", || decode_other(0)),
    ("decode 40 steps, CBOR", || decode_other(1)),
    ("decode 40 steps, protobuf", || decode_other(3)),
    ("1,000 x advance, nothing due", advance_idle),
    ("1,000 x advance, a transition each", advance_busy),
    ("1,000 x meter reading", meter),
];

const TIMES: u32 = 1_000;

fn start() -> Input {
    let civil = Date::from_ymd(2027, 3, 8).zip(TimeOfDay::from_hms(6, 0, 0));
    let wall = civil.and_then(|(date, time)| UtcOffset::UTC.instant(Civil { date, time }));
    Input { now: Now { mono: MonoMs::from_ms(1_000), wall }, drawn: RawVolume::ZERO }
}

fn forecast(passes: u16) -> Job {
    let table = tables::runs(passes);
    Box::new(move || {
        let table = table.checked().expect("a legal table");
        let forecast = Forecast::new(table, &Fit::ANY, start().now).expect("it can be armed");
        let runs = forecast.filter(|s| matches!(s.what, draught::forecast::What::Pump { .. }));
        assert_eq!(runs.count(), usize::from(passes) * 2);
    })
}

fn encode(table: Table) -> Job {
    let mut block = vec![0; wire::max_len(table.capacity())];
    Box::new(move || {
        let table = table.checked().expect("a legal table");
        black_box(wire::encode(table, &mut block)).expect("the buffer is large enough");
    })
}

fn decode(table: Table) -> Job {
    let block = tables::block(&table);
    let mut again = Table::empty();
    Box::new(move || {
        wire::decode_into(&block, &mut again).expect("a good block");
        black_box(&again);
    })
}

/// The same content in one of the other encodings.
fn decode_other(which: usize) -> Job {
    let schedule = Schedule::of(&tables::forty_steps());
    let bytes = schedule.encodings().swap_remove(which);
    Box::new(move || {
        black_box(Schedule::decoded(which, &bytes));
    })
}

fn armed(table: &Table) -> (Machine, Input) {
    let (mut machine, input) = (Machine::new(), start());
    let table = table.checked().expect("a legal table");
    machine.arm(table, &Fit::ANY, EventId(1), input).expect("it can be armed");
    (machine, input)
}

fn advance_idle() -> Job {
    let table = tables::runs(5);
    let (mut machine, input) = armed(&table);
    Box::new(move || {
        let table = table.checked().expect("a legal table");
        for _ in 0..TIMES {
            let answer = machine.advance(table, black_box(input));
            black_box(&answer);
        }
    })
}

/// As `advance_idle`, but the clock always stands where the machine wanted to be called.
fn advance_busy() -> Job {
    let table = tables::runs(10_000);
    let (mut machine, mut input) = armed(&table);
    Box::new(move || {
        let table = table.checked().expect("a legal table");
        let mut events = 0;
        while events < TIMES {
            let answer = machine.advance(table, black_box(input));
            events += u32::from(answer.event.is_some());
            if let Wake::At { mono: Some(mono), .. } = answer.wake {
                input.now.mono = mono;
            }
        }
    })
}

fn meter() -> Job {
    let mut meter = Meter::new(MonoMs::from_ms(0));
    Box::new(move || {
        for second in 1..=u64::from(TIMES) {
            meter.reading(MonoMs::from_ms(second * 1_000), black_box(2_000_000));
        }
        black_box(&meter);
    })
}
