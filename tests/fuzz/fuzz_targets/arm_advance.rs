//! Any schedule armed, and called at any moments: `draught_fuzz::arm`.
#![no_main]

use draught_fuzz::{arm, mutate};
use libfuzzer_sys::{Corpus, fuzz_mutator, fuzz_target, fuzzer_mutate};

fuzz_target!(|input: &[u8]| -> Corpus {
    if arm::one(input) { Corpus::Keep } else { Corpus::Reject }
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    mutate::body_and_rest(data, size, max_size, seed, fuzzer_mutate)
});
