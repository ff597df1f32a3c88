//! All of the core's public API, the texts for people included.

#![no_std]
#![no_main]

use draught::machine::{ArmRefused, Machine};
use draught::meter::Meter;
use draught::prelude::*;
use no_panic::engine::{Table, run};
use no_panic::{adapt, control, journal, opaque, texts, values};

#[unsafe(no_mangle)]
extern "C" fn reset() -> ! {
    control();
    let mut table = Table::empty();
    let mut machine = Machine::new();
    let mut meter = Meter::new(MonoMs::from_ms(0));
    loop {
        let mut ahead = Err(ArmRefused::NothingPumps);
        run(&mut table, &mut machine, &mut meter, &mut ahead, opaque(&mut []));
        values::all(&mut table, &mut machine);
        journal::all(&mut table);
        adapt::all();
        texts::all();
        opaque(0);
    }
}
