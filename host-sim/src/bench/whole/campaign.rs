//! Many trials, and what became of them.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use super::broken::{Broken, Promise};
use super::shrink::shrunk;
use super::trial::{Told, Trial, trial};
use crate::words;

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

/// How many failures are looked for before a campaign stops.
const FAILURES_MAX: u64 = 50;

/// What became of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// Trials that came to their end, and those that broke a promise.
    pub runs: u64,
    /// What happened to them, by kind.
    pub faults: BTreeMap<&'static str, u64>,
    /// Ends of events.
    pub ends: BTreeMap<&'static str, u64>,
    /// Events that ended, for a reason that there was.
    pub events: u64,
    /// Events that rot took.
    pub rotten: u64,
    /// Trials in which nothing happened: they were held to their forecast.
    pub calm: u64,
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
    /// The most by which a metered volume differed from the true one, as a part of it.
    pub off: f64,
    /// The same as a part of what the error budget of its world allows.
    pub of_budget: f64,
    /// How often each promise was broken.
    pub broken: BTreeMap<Promise, u64>,
    /// The first trial that failed, with as little happening as it takes, and how.
    pub failed: Option<(Trial, Broken)>,
}

impl Summary {
    fn add(&mut self, of: &Trial, told: &Told) {
        self.count(of);
        for end in &told.ends {
            *self.ends.entry(words::ended(*end)).or_default() += 1;
        }
        self.events += told.ends.len() as u64;
        self.rotten += u64::from(told.rotten);
        self.calm += u64::from(of.calm);
        self.cuts += u64::from(told.cuts);
        self.resumes += u64::from(told.resumes);
        self.rows += u64::from(told.rows);
        self.trips += u64::from(told.trips);
        self.polls += told.polls;
        self.pumped_ms += told.pumped_ms;
        self.lost_a_cut_ms = self.lost_a_cut_ms.max(told.lost_a_cut_ms);
        self.off = self.off.max(told.off);
        self.of_budget = self.of_budget.max(told.of_budget);
    }

    fn count(&mut self, of: &Trial) {
        self.runs += 1;
        for fault in &of.faults {
            *self.faults.entry(fault.kind.name()).or_default() += 1;
        }
    }

    fn fail(&mut self, of: Trial, broken: Broken) {
        self.count(&of);
        *self.broken.entry(broken.promise).or_default() += 1;
        self.keep_failed(Some((of, broken)));
    }

    /// The one with the lowest seed, whichever thread found it.
    fn keep_failed(&mut self, other: Option<(Trial, Broken)>) {
        self.failed = match (self.failed.take(), other) {
            (Some(a), Some(b)) => Some(if a.0.seed <= b.0.seed { a } else { b }),
            (a, b) => a.or(b),
        };
    }

    fn join(&mut self, other: Self) {
        fn sum<K: Ord>(into: &mut BTreeMap<K, u64>, other: BTreeMap<K, u64>) {
            for (name, count) in other {
                *into.entry(name).or_default() += count;
            }
        }
        self.runs += other.runs;
        sum(&mut self.faults, other.faults);
        sum(&mut self.ends, other.ends);
        sum(&mut self.broken, other.broken);
        self.events += other.events;
        self.rotten += other.rotten;
        self.calm += other.calm;
        self.cuts += other.cuts;
        self.resumes += other.resumes;
        self.rows += other.rows;
        self.trips += other.trips;
        self.polls += other.polls;
        self.pumped_ms += other.pumped_ms;
        self.lost_a_cut_ms = self.lost_a_cut_ms.max(other.lost_a_cut_ms);
        self.off = self.off.max(other.off);
        self.of_budget = self.of_budget.max(other.of_budget);
        self.keep_failed(other.failed);
    }

    /// What happened, in all.
    #[must_use]
    pub fn faults_in_all(&self) -> u64 {
        self.faults.values().sum()
    }
}

/// Runs a campaign; `progress` is told how many trials are done. Goes on after a failure, but not after many.
pub fn campaign(of: Campaign, progress: impl Fn(u64) + Sync) -> Summary {
    let (next, done) = (AtomicU64::new(0), AtomicU64::new(0));
    let failures = AtomicU64::new(0);
    let work = || {
        let mut summary = Summary::default();
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            if n >= of.runs || failures.load(Ordering::Relaxed) >= FAILURES_MAX {
                return summary;
            }
            let one = Trial::new(of.seed.wrapping_add(n));
            match trial(&one) {
                Ok(told) => summary.add(&one, &told),
                Err(broken) => {
                    failures.fetch_add(1, Ordering::Relaxed);
                    summary.fail(one, broken);
                }
            }
            progress(done.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    let mut all = thread::scope(|scope| {
        let workers: Vec<_> = (0..of.threads.max(1)).map(|_| scope.spawn(work)).collect();
        let mut all = Summary::default();
        for worker in workers {
            match worker.join() {
                Ok(summary) => all.join(summary),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.failed = all.failed.map(|(failing, broken)| shrunk(failing, broken));
    all
}
