//! What the images that run under QEMU share.

#![no_std]

pub mod clock;
pub mod console;
pub mod stack;

use core::panic::PanicInfo;

use cortex_m_semihosting::debug::{EXIT_FAILURE, exit};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    use core::fmt::Write;
    let mut console = console::Console::new();
    let _ = writeln!(console, "panic: {info}");
    loop {
        exit(EXIT_FAILURE);
    }
}
