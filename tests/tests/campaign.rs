//! Whole pumps in worlds that try to break them: a few hundred with a new seed each time, and what earlier campaigns found.

use std::time::{SystemTime, UNIX_EPOCH};

use draught_sim::bench::whole::{Campaign, FaultKind, Told, campaign, pick, picks, trial};

/// The trial of a seed, with what a list says, as `draught campaign --seed N --faults LIST` runs it.
#[track_caller]
fn keeps(seed: u64, list: &str) -> Told {
    let one = pick(seed, list).expect("a list of its faults");
    match trial(&one) {
        Ok(told) => told,
        Err(broken) => panic!("{broken}; seed {seed}, {:#?}", one.faults),
    }
}

#[test]
fn three_hundred_pumps_of_a_new_seed_keep_every_promise() {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
    let seed = now.as_secs();
    println!("seed {seed}");
    let summary = campaign(Campaign { runs: 300, seed, threads: 2 }, |_| {});
    if let Some((failing, broken)) = &summary.failed {
        panic!("{broken}: draught campaign --seed {} --faults {}", failing.seed, picks(failing));
    }
    // A campaign that does nothing proves nothing.
    assert_eq!(summary.runs, 300);
    assert!(summary.events >= 290 && summary.calm >= 10, "{summary:?}");
    assert!(summary.cuts > 60 && summary.resumes > 40 && summary.trips > 15, "{summary:?}");
    let kinds = FaultKind::names().count();
    assert!(summary.faults.len() + 2 >= kinds && summary.ends.len() >= 4, "{summary:?}");
    // The error budget is neither broken nor far too wide.
    assert!(summary.of_budget < 1.0 && summary.of_budget > 0.5, "{}", summary.of_budget);
}

#[test]
fn the_same_seed_is_the_same_trial() {
    let of = |threads| campaign(Campaign { runs: 40, seed: 5, threads }, |_| {});
    assert_eq!(of(2), of(1));
}

/// A cut between two samplers: the second sample was begun at the boot, and the event did not count it.
#[test]
fn a_sample_that_begins_at_a_boot_is_counted() {
    assert_eq!(keeps(2_720, "0,11/926714").ends.len(), 2);
}
