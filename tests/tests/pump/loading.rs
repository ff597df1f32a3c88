//! What is loaded is what is armed, and a board that is put together wrongly is refused.

use draught::audit::Fit;
use draught::journal::Region;
use draught::limits;
use draught::pump::Config;
use draught::pump::Pump;
use draught::pump::Regions;
use draught::pump::StartRefused;
use draught::record::Origin;
use draught::regulator;
use draught_tests::rig::PAGE;
use draught_tests::rig::Rig;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::{FLOW_UL_PER_MIN, MINUTE, armed, morning, run, settings};

#[test]
fn a_schedule_that_was_loaded_is_the_one_that_is_armed_after_a_power_cycle() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let other = block(settings(), &[run(7)]);
    pump.load(&other, 1).unwrap();
    pump.poll();
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    pump.arm().unwrap();
    let id = pump.record().schedule.0;
    assert_eq!(
        id,
        other[other.len() - 4..],
        "another schedule than the one that was sent last is armed"
    );
}

#[test]
fn the_first_schedule_ever_loaded_is_there_after_a_power_cycle() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &[run(7)]), 0).unwrap();
    pump.poll();
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    pump.arm().map(|_| ()).unwrap();
}

#[test]
fn a_schedule_that_was_refused_is_not_armed() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let other = block(settings(), &[run(30)]);
    rig.set().flash_fails = true;
    pump.load(&other, 1).unwrap_err();
    rig.set().flash_fails = false;
    assert_eq!(pump.arm(), Err(StartRefused::NothingLoaded), "neither it, nor the one before it");
    pump.load(&other, 1).unwrap();
    pump.arm().unwrap();
    assert_eq!(pump.record().schedule.0, other[other.len() - 4..]);
}

fn config(rig: &Rig, records: (usize, u16), reading_ms: u32) -> Config {
    let region = |from: usize, pages| Region::new(rig, (from * PAGE) as u32, pages).unwrap();
    Config {
        device: 7,
        origin: Origin::Simulated,
        fit: Fit::ANY,
        regulator: regulator::Config::default(),
        limits: limits::Config::default(),
        reading_ms,
        checkpoint_ms: 60_000,
        sample_ms: None,
        regions: Regions {
            shelf: region(0, 8),
            shelf_half_pages: 1,
            checkpoints: region(8, 8),
            records: region(records.0, records.1),
        },
    }
}

#[test]
fn a_flash_whose_regions_overlap_is_refused() {
    let rig = Rig::new(morning(), 1);
    assert!(
        Pump::<Rig, 32>::new(rig.clone(), config(&rig, (8, 8), 1_000)).is_err(),
        "records over checkpoints"
    );
}

#[test]
fn a_flash_with_too_few_pages_for_records_is_refused() {
    let rig = Rig::new(morning(), 1);
    assert!(
        Pump::<Rig, 32>::new(rig.clone(), config(&rig, (16, 2), 1_000)).is_err(),
        "two pages; four or more are asked for"
    );
}

#[test]
fn readings_too_far_apart_are_refused_or_counted() {
    let rig = Rig::new(morning(), 1);
    let Ok(mut pump) = Pump::<Rig, 32>::new(rig.clone(), config(&rig, (16, 16), 6_000)) else {
        return;
    };
    pump.boot(&mut [0; 640]);
    pump.load(&block(settings(), &[run(5)]), 0).unwrap();
    pump.arm().unwrap();
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let event = Rows::of(&mut pump).events[0];
    assert!(
        event.volume.as_raw() > u64::from(FLOW_UL_PER_MIN) * MINUTE,
        "{:?} of {}",
        event,
        rig.look().truly_drawn
    );
}
