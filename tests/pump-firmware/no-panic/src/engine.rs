//! What a pump needs of the core, one function a job. Worst-case stack is reported for each of them.
//!
//! None is inlined, so that each keeps a frame and a name of its own.

use draught::audit::{Fit, fit};
use draught::forecast::Forecast;
use draught::machine::{ArmRefused, Command, EventId, Input, Machine};
use draught::meter::Meter;
use draught::prelude::*;
use draught::wire;

use crate::opaque;

/// How many steps the table of the budgets holds.
pub const STEPS: usize = 32;

/// The table of the budgets.
pub type Table = StepTable<STEPS>;

/// Where a forecast stands.
pub type Ahead<'t> = Result<Forecast<'t>, ArmRefused>;

/// Bytes to table, table rules included.
#[inline(never)]
pub fn decode(bytes: &[u8], table: &mut Table) {
    let _ = opaque(wire::decode_into(bytes, table));
}

/// Table to bytes.
#[inline(never)]
pub fn encode(table: TableRef<'_>, bytes: &mut [u8]) {
    let _ = opaque(wire::encode(table, bytes));
}

/// Table rules and fit rules.
#[inline(never)]
pub fn audit(table: &Table, pump: &Fit) {
    if let Ok(checked) = opaque(table.checked()) {
        let _ = opaque(fit(checked, pump));
    }
}

/// Puts the table in force.
#[inline(never)]
pub fn arm(table: TableRef<'_>, machine: &mut Machine, pump: &Fit, input: &Input) {
    let _ = opaque(machine.arm(table, pump, EventId(opaque(7)), *input));
}

/// One call of the state machine.
#[inline(never)]
pub fn advance(table: TableRef<'_>, machine: &mut Machine, input: &Input) {
    opaque(machine.advance(table, *input));
}

/// A command.
#[inline(never)]
pub fn command(table: TableRef<'_>, machine: &mut Machine, command: &Command, input: &Input) {
    let _ = opaque(machine.command(table, *command, *input));
}

/// What a screen shows.
#[inline(never)]
pub fn show(table: TableRef<'_>, machine: &Machine, now: &Now) {
    opaque(machine.phase(table, *now));
    opaque(machine.passes(table, opaque(StepNo::FIRST)));
}

/// Looks ahead: the forecast stands in RAM, as one that a screen pages through does.
#[inline(never)]
pub fn forecast<'t>(table: TableRef<'t>, pump: &Fit, armed: &Now, place: &mut Ahead<'t>) {
    *place = Forecast::new(table, pump, *armed);
}

/// The next span of a forecast. With holds resumed at once it is the same code.
#[inline(never)]
pub fn forecast_next(forecast: &mut Forecast<'_>) {
    opaque(forecast.next());
}

/// One reading.
#[inline(never)]
pub fn meter(meter: &mut Meter, at: MonoMs, flow_ul_per_min: u32) {
    meter.reading(at, flow_ul_per_min);
    opaque(meter.volume());
}

/// Pump off, or no reading to be had.
#[inline(never)]
pub fn meter_pause(meter: &mut Meter, at: MonoMs) {
    if opaque(true) {
        meter.idle(at);
    } else {
        meter.gap(at);
    }
}

/// The statistics of a record.
#[inline(never)]
pub fn statistics(meter: &Meter) {
    opaque(meter.mean_ul_per_min());
    opaque(meter.cv_per_myriad());
    opaque((meter.min_ul_per_min(), meter.max_ul_per_min()));
    opaque((meter.metered_ms(), meter.gap_ms(), meter.gaps(), meter.readings()));
}

/// Every job once, on a pump whose state stands in RAM.
pub fn run<'t>(
    table: &'t mut Table,
    machine: &mut Machine,
    total: &mut Meter,
    ahead: &mut Ahead<'t>,
    bytes: &mut [u8],
) {
    let start = Now { mono: MonoMs::from_ms(0), wall: None };
    let input = Input { now: start, drawn: RawVolume::ZERO };
    let input = opaque(&input);
    let pump: &Fit = opaque(&Fit::ANY);
    let table = opaque(table);
    decode(opaque(&*bytes), table);
    audit(table, pump);
    if let Ok(table) = opaque(&*table).checked() {
        encode(table, bytes);
        arm(table, machine, pump, input);
        advance(table, machine, input);
        command(table, machine, opaque(&Command::ConfirmSampler), input);
        show(table, machine, &input.now);
        forecast(table, pump, &input.now, ahead);
        if let Ok(ahead) = ahead {
            forecast_next(ahead);
        }
    }
    meter(total, input.now.mono, opaque(1));
    meter_pause(total, input.now.mono);
    statistics(total);
}
