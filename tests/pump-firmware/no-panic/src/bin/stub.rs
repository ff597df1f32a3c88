//! The harness alone.

#![no_std]
#![no_main]

use no_panic::{control, opaque};

#[unsafe(no_mangle)]
extern "C" fn reset() -> ! {
    control();
    loop {
        opaque(0);
    }
}
