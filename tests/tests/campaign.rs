//! Whole pumps in worlds that try to break them: a few hundred with a new seed each time, and what earlier campaigns found.

use std::time::{SystemTime, UNIX_EPOCH};

use draught_sim::bench::nor::Torn;
use draught_sim::bench::whole::{Campaign, Fault, FaultKind, Trial, campaign, trial};

fn with_faults(seed: u64, checkpoint_ms: u32, faults: &[(u64, FaultKind)]) -> Trial {
    let faults = faults.iter().map(|&(at_ms, kind)| Fault { at_ms, kind }).collect();
    Trial { seed, faults, checkpoint_ms }
}

#[test]
fn three_hundred_pumps_of_a_new_seed_keep_every_promise() {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
    let seed = now.as_secs();
    let summary = campaign(Campaign { runs: 300, seed, threads: 2 }, |_| {});
    if let Some((failing, broken)) = &summary.failed {
        panic!("{broken}; seed {}, faults {:?}", failing.seed, failing.faults);
    }
    // A campaign that does nothing proves nothing.
    assert_eq!(summary.runs, 300);
    assert!(summary.cuts > 30 && summary.resumes > 30 && summary.trips > 10, "{summary:?}");
    assert!(summary.faults.len() >= 12 && summary.ends.len() >= 4, "{summary:?}");
}

#[test]
fn the_same_seed_is_the_same_trial() {
    let twice = || campaign(Campaign { runs: 40, seed: 5, threads: 2 }, |_| {});
    assert_eq!(twice(), twice());
}

/// A limit that tripped at the poll at which its stretch ended anyway tripped the next stretch, 0 ms long, and the row of the
/// first was lost.
#[test]
fn a_limit_does_not_trip_the_stretch_after_the_one_it_was_judged_on() {
    let cut = FaultKind::CutInFlash { operations: 28, torn: Torn::ReadError, off_ms: 753_966 };
    let faults = [
        (516_022, FaultKind::LatePoll { for_ms: 288_739 }),
        (611_424, cut),
        (659_352, FaultKind::WeakBattery { left: 0.0 }),
    ];
    let told = trial(&with_faults(110, 60_000, &faults)).unwrap();
    assert!(told.trips > 0);
}

/// The monotonic clock went to its end when a pump that a charger had held was resumed by a wall clock that had been set back.
#[test]
fn a_pump_held_by_its_charger_goes_on_though_the_wall_clock_went_back() {
    let faults = [
        (411_342, FaultKind::Charger { for_ms: 751_453 }),
        (590_762, FaultKind::Cut { off_ms: 23_393 }),
        (897_304, FaultKind::Charger { for_ms: 405_395 }),
        (1_060_724, FaultKind::ClockStep { by_ms: -2_421_338 }),
    ];
    let told = trial(&with_faults(12_721, 4_000, &faults)).unwrap();
    assert_eq!(told.cuts, 1);
}
