//! Any block: `draught_fuzz::block`.
#![no_main]

use draught_fuzz::{block, mutate};
use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};

fuzz_target!(|input: &[u8]| block::one(input));

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    // The first byte is the capacity; it changes one time in sixteen.
    if size < 2 || max_size < 2 || seed.is_multiple_of(16) {
        return fuzzer_mutate(data, size, max_size);
    }
    1 + mutate::body_only(&mut data[1..], size - 1, max_size - 1, seed / 16, fuzzer_mutate)
});
