//! The whole pump, its state in RAM.

#![no_std]
#![no_main]

use no_panic::pump::{Whole, made, run};
use no_panic::slot::Slot;
use no_panic::{control, opaque};

static PUMP: Slot<Whole> = Slot::new();
static BLOCK: Slot<[u8; 640]> = Slot::new();

#[unsafe(no_mangle)]
extern "C" fn reset() -> ! {
    control();
    // SAFETY: `reset` is entered once, so each place is lent out once.
    let block = unsafe { BLOCK.fill([0; 640]) };
    if let Some(pump) = made() {
        // SAFETY: as above.
        let pump = unsafe { PUMP.fill(pump) };
        run(pump, opaque(block));
    }
    loop {
        opaque(0);
    }
}
