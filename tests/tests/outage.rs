//! Limits and outages: the core against the independent reference, over random schedules, trips at random instants,
//! and outages anywhere: between two calls of one instant, right after another, with clocks that are lost, found and
//! set. Events, demands, wakes and ends are the same, to the millisecond and to the raw unit of volume.

use draught_tests::compare::assert_same;
use draught_tests::drive::{Move, drive, powerless};
use draught_tests::plans::scene;

use proptest::prelude::*;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

proptest! {
    #![proptest_config(cases(4_000))]

    /// Whatever happens, and however often the power fails.
    #[test]
    fn after_any_outage_the_machine_is_the_reference(
        scene in scene(),
        moves in prop::collection::vec(powerless(), 0..60),
    ) {
        if let Ok(tape) = drive(&scene, &moves, Move::EXACT, 150) {
            assert_same(&scene, &tape);
        }
    }
}
