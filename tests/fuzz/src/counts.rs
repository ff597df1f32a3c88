//! How far inputs got, so that a run can say how many of its executions meant anything.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

/// A file that is written anew every so many executions; what comes after the last time is not counted.
const EVERY: u64 = 4_096;

/// Where the counts go.
const FILE: &str = "DRAUGHT_FUZZ_COUNTS";

/// Counts with names; the first is the number of executions.
#[derive(Debug)]
pub struct Counts<const N: usize> {
    names: [&'static str; N],
    values: [AtomicU64; N],
}

impl<const N: usize> Counts<N> {
    /// All 0.
    #[must_use]
    pub const fn new(names: [&'static str; N]) -> Self {
        Self { names, values: [const { AtomicU64::new(0) }; N] }
    }

    /// One more execution.
    pub fn execution(&self) {
        static PATH: OnceLock<Option<std::ffi::OsString>> = OnceLock::new();
        if self.values[0].fetch_add(1, Relaxed) % EVERY == EVERY - 1
            && let Some(path) = PATH.get_or_init(|| std::env::var_os(FILE))
        {
            let lines = self.names.iter().zip(&self.values);
            let text: String = lines.map(|(n, v)| format!("{} {n}\n", v.load(Relaxed))).collect();
            std::fs::write(path, text).expect("the counts can be written");
        }
    }

    /// So many more of another kind.
    pub fn add(&self, which: usize, more: u64) {
        self.values[which].fetch_add(more, Relaxed);
    }
}
