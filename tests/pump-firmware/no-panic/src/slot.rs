//! Room for one value in RAM, taken once.

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;

/// A place of fixed address for a value that is made at start.
#[derive(Debug)]
pub struct Slot<T>(UnsafeCell<MaybeUninit<T>>);

// SAFETY: the images have one core, one thread and no interrupts.
unsafe impl<T> Sync for Slot<T> {}

impl<T> Slot<T> {
    /// An empty place.
    #[must_use]
    pub const fn new() -> Self {
        Self(UnsafeCell::new(MaybeUninit::uninit()))
    }

    /// Puts a value into it and lends it out.
    ///
    /// # Safety
    /// At most one loan may be alive: call it once for each place.
    #[expect(clippy::mut_from_ref, reason = "the caller promises that there is one loan")]
    pub unsafe fn fill(&'static self, value: T) -> &'static mut T {
        // SAFETY: the caller promises that nothing else refers to the place.
        unsafe { (*self.0.get()).write(value) }
    }
}

impl<T> Default for Slot<T> {
    fn default() -> Self {
        Self::new()
    }
}
