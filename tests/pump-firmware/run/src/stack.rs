//! How deep the stack got: its unused part is painted, and looked at again later.

use core::ptr;

const PAINT: u32 = 0xA5C3_5A3C;
/// Left alone below the stack pointer, for the painting itself.
const MARGIN_BYTES: usize = 128;

unsafe extern "C" {
    /// The end of all variables, where the stack may grow down to; from the linker script.
    static mut __sheap: u32;
}

fn bottom() -> *mut u32 {
    &raw mut __sheap
}

#[inline(always)]
fn stack_pointer() -> usize {
    cortex_m::register::msp::read() as usize
}

/// Runs some work and tells how many bytes of stack it took below this call.
#[inline(never)]
pub fn taken_by(work: impl FnOnce()) -> usize {
    let top = stack_pointer() - MARGIN_BYTES;
    let mut place = bottom();
    while (place as usize) < top {
        // SAFETY: between the end of all variables and the stack pointer lies nothing.
        unsafe { ptr::write_volatile(place, PAINT) };
        place = place.wrapping_add(1);
    }
    work();
    let mut place = bottom();
    // SAFETY: as above; whatever the stack held there may be read as a number.
    while (place as usize) < top && unsafe { ptr::read_volatile(place) } == PAINT {
        place = place.wrapping_add(1);
    }
    stack_pointer() - place as usize
}
