//! What a pump needs of the core, its state in RAM.

#![no_std]
#![no_main]

use draught::machine::{ArmRefused, Machine};
use draught::meter::Meter;
use draught::prelude::*;
use no_panic::engine::{Ahead, Table, run};
use no_panic::slot::Slot;
use no_panic::{control, opaque};

static TABLE: Slot<Table> = Slot::new();
static MACHINE: Slot<Machine> = Slot::new();
static METER: Slot<Meter> = Slot::new();
static FORECAST: Slot<Ahead<'static>> = Slot::new();

#[unsafe(no_mangle)]
extern "C" fn reset() -> ! {
    control();
    // SAFETY: `reset` is entered once, so each place is lent out once.
    let (table, machine, meter, forecast) = unsafe {
        (
            TABLE.fill(Table::empty()),
            MACHINE.fill(Machine::new()),
            METER.fill(Meter::new(MonoMs::from_ms(0))),
            FORECAST.fill(Err(ArmRefused::NothingPumps)),
        )
    };
    run(table, machine, meter, forecast, opaque(&mut []));
    loop {
        opaque(0);
    }
}
