//! Many trials, and what became of them.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;

use draught::event::EndReason;

use super::faults::FaultKind;
use super::trial::{Broken, Told, Trial, trial};
use crate::cli::rows::end_word;

/// What to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Campaign {
    /// How many trials.
    pub runs: u64,
    /// The seed of the first; each has the next one.
    pub seed: u64,
    /// Threads to run them on.
    pub threads: usize,
}

/// What became of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// Trials.
    pub runs: u64,
    /// Faults of each kind.
    pub faults: BTreeMap<&'static str, u64>,
    /// Ends of events.
    pub ends: BTreeMap<String, u64>,
    /// Boots after cuts.
    pub cuts: u64,
    /// Resumes.
    pub resumes: u64,
    /// Rows in journals.
    pub rows: u64,
    /// Limits that tripped.
    pub trips: u64,
    /// Polls.
    pub polls: u64,
    /// Time pumped, in ms.
    pub pumped_ms: u64,
    /// The most time that was pumped and is in no record, a cut, in ms.
    pub lost_a_cut_ms: u64,
    /// The first trial that failed, with as few faults as it takes, and how.
    pub failed: Option<(Trial, Broken)>,
}

impl Summary {
    fn add(&mut self, of: &Trial, told: &Told) {
        self.runs += 1;
        for fault in &of.faults {
            *self.faults.entry(fault.kind.name()).or_default() += 1;
        }
        let reason = match told.reason {
            Some(EndReason::Finished) => "finished",
            other => other.map_or("", end_word).trim_start_matches("end: "),
        };
        let reason = reason.to_owned();
        *self.ends.entry(reason).or_default() += 1;
        self.cuts += u64::from(told.cuts);
        self.resumes += u64::from(told.resumes);
        self.rows += u64::from(told.rows);
        self.trips += u64::from(told.trips);
        self.polls += told.polls;
        self.pumped_ms += told.pumped_ms;
        if told.cuts > 0 {
            self.lost_a_cut_ms = self.lost_a_cut_ms.max(told.lost_ms / u64::from(told.cuts));
        }
    }

    fn join(&mut self, other: Self) {
        self.runs += other.runs;
        for (name, count) in other.faults {
            *self.faults.entry(name).or_default() += count;
        }
        for (reason, count) in other.ends {
            *self.ends.entry(reason).or_default() += count;
        }
        self.cuts += other.cuts;
        self.resumes += other.resumes;
        self.rows += other.rows;
        self.trips += other.trips;
        self.polls += other.polls;
        self.pumped_ms += other.pumped_ms;
        self.lost_a_cut_ms = self.lost_a_cut_ms.max(other.lost_a_cut_ms);
        // The one with the lowest seed, whichever thread found it.
        self.failed = match (self.failed.take(), other.failed) {
            (Some(a), Some(b)) => Some(if a.0.seed <= b.0.seed { a } else { b }),
            (a, b) => a.or(b),
        };
    }

    /// Faults of all kinds.
    #[must_use]
    pub fn faults_in_all(&self) -> u64 {
        FaultKind::NAMES.iter().filter_map(|name| self.faults.get(name)).sum()
    }
}

/// Runs a campaign; `progress` is told how many trials are done. Stops soon after the first failure.
pub fn campaign(of: Campaign, progress: impl Fn(u64) + Sync) -> Summary {
    let (next, done) = (AtomicU64::new(0), AtomicU64::new(0));
    let stop = AtomicBool::new(false);
    let work = || {
        let mut summary = Summary::default();
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            if n >= of.runs || stop.load(Ordering::Relaxed) {
                return summary;
            }
            let one = Trial::new(of.seed.wrapping_add(n));
            match trial(&one) {
                Ok(told) => summary.add(&one, &told),
                Err(broken) => {
                    stop.store(true, Ordering::Relaxed);
                    summary.failed = Some(shrunk(one, broken));
                    return summary;
                }
            }
            progress(done.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    thread::scope(|scope| {
        let workers: Vec<_> = (0..of.threads.max(1)).map(|_| scope.spawn(work)).collect();
        let mut all = Summary::default();
        for worker in workers {
            match worker.join() {
                Ok(summary) => all.join(summary),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    })
}

/// The same failing trial with as few faults as it takes: each that can be left out is.
fn shrunk(mut failing: Trial, mut broken: Broken) -> (Trial, Broken) {
    let mut n = 0;
    while n < failing.faults.len() {
        let mut fewer = failing.clone();
        fewer.faults.remove(n);
        match trial(&fewer) {
            Ok(_) => n += 1,
            Err(other) => (failing, broken) = (fewer, other),
        }
    }
    (failing, broken)
}
