//! The harness that all images here share: a panic handler that cannot be linked, and inputs that
//! the optimiser cannot see through.
//!
//! * `stub` is the harness and nothing else: its size is taken off the others.
//! * `engine` calls what a pump needs of the core: flash, RAM and stack are measured on it.
//! * `pump` is a whole pump on a board whose parts may do anything.
//! * `whole` calls all of the core's public API, the texts for people included.
//!
//! The panic handler calls a function that exists nowhere. A linker drops what nothing refers to, so an
//! image links exactly when no panic can be reached from it. Overflow checks are on: a plain `+` that the
//! compiler cannot prove harmless would be a panic too.

#![no_std]

pub mod adapt;
pub mod engine;
pub mod journal;
pub mod pump;
pub mod slot;
pub mod texts;
pub mod values;

pub use core::hint::black_box as opaque;

#[cfg(not(feature = "diagnose"))]
mod handler {
    unsafe extern "C" {
        /// Defined nowhere: see the documentation of the crate.
        fn a_panic_is_reachable() -> !;
    }

    #[panic_handler]
    fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
        // SAFETY: never runs; an image that could come here does not link.
        unsafe { a_panic_is_reachable() }
    }
}

#[cfg(feature = "diagnose")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        opaque(0);
    }
}

/// What an image with the feature `control` cannot be linked with: an index that may be out of bounds.
#[cfg(feature = "control")]
#[inline(never)]
pub fn control() {
    let four = [1, 2, 3, 4];
    let index: usize = opaque(4);
    opaque(four[index]);
}

/// Nothing: the feature `control` is off.
#[cfg(not(feature = "control"))]
pub const fn control() {}
