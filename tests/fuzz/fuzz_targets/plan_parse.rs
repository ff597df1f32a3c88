//! Any text as a plan: `draught_fuzz::plan`.
#![no_main]

use std::sync::LazyLock;

use draught_fuzz::{mutate, plan};
use libfuzzer_sys::{Corpus, fuzz_mutator, fuzz_target, fuzzer_mutate};

/// Pieces of plans; `cargo xtask fuzz` gives the same file to libFuzzer as its dictionary.
static PIECES: LazyLock<Vec<Vec<u8>>> =
    LazyLock::new(|| mutate::pieces(include_str!("../plan_parse.dict")));

fuzz_target!(|input: &[u8]| -> Corpus {
    if plan::one(input) { Corpus::Keep } else { Corpus::Reject }
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    mutate::lines(data, size, max_size, seed, &PIECES, fuzzer_mutate)
});
