//! What is loaded is what is armed, and a board that is put together wrongly is refused.

use draught::audit::Fit;
use draught::event::{EndReason, StopReason};
use draught::journal::Region;
use draught::limits;
use draught::machine::Command;
use draught::port::Key;
use draught::pump::{Booted, Config, LoadRefused, Pump, Regions, StartRefused};
use draught::record::Origin;
use draught::regulator;
use draught_tests::rig::{PAGE, Pumping, Rig, Rows, block};

use super::*;

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

#[test]
fn schedules_in_several_places_are_listed_chosen_and_removed() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    let (short, long) = (block(settings(), &[run(1)]), block(settings(), &[run(30)]));
    assert_eq!(pump.places(), 4);
    pump.load(&short, 0).unwrap();
    pump.load(&long, 2).unwrap();
    let held = |pump: &mut Pumping| [0, 1, 2, 3].map(|p| pump.stored(p).map(|s| s.id.0).ok());
    let id = |block: &[u8]| *block.last_chunk::<4>().unwrap();
    assert_eq!(held(&mut pump), [Some(id(&short)), None, Some(id(&long)), None]);
    let buffer = &mut [0; 640];
    assert_eq!(pump.choose(0, buffer).unwrap().0, id(&short));
    drop(pump);
    // It is that one after the power was off, too.
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.arm().unwrap();
    assert_eq!(pump.record().schedule.0, id(&short));
    // While it is in force it stays where it is; another may go.
    assert_eq!(pump.choose(2, buffer), Err(LoadRefused::Armed));
    assert_eq!(pump.remove(0), Err(LoadRefused::Armed));
    pump.remove(2).unwrap();
    assert_eq!(held(&mut pump), [Some(id(&short)), None, None, None]);
    assert!(rig.run(&mut pump, HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
    pump.remove(0).unwrap();
    assert_eq!(pump.arm().unwrap_err(), StartRefused::NothingLoaded);
    let empty = LoadRefused::Shelf(draught::journal::ShelfError::Empty);
    assert_eq!(pump.choose(0, buffer), Err(empty));
    assert!(pump.remove(9).is_err());
}

#[test]
fn a_place_that_cannot_be_chosen_leaves_nothing_to_be_armed() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &[run(1)]), 0).unwrap();
    assert!(pump.choose(1, &mut [0; 640]).is_err());
    assert_eq!(pump.arm().unwrap_err(), StartRefused::NothingLoaded);
    pump.choose(0, &mut [0; 640]).unwrap();
    pump.arm().unwrap();
}

#[test]
fn an_engine_that_was_not_booted_touches_nothing() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    let before = rig.look().nor.operations();
    let mut pump = Pump::<Rig, 32>::new(rig.clone(), config(&rig, (16, 16), 1_000)).unwrap();
    let other = block(settings(), &[run(1)]);
    assert_eq!(pump.load(&other, 0), Err(LoadRefused::NotBooted));
    assert_eq!(pump.choose(0, &mut [0; 640]), Err(LoadRefused::NotBooted));
    assert_eq!(pump.remove(0), Err(LoadRefused::NotBooted));
    assert_eq!(pump.arm().unwrap_err(), StartRefused::NotBooted);
    rig.set().keys.push_back(Key::Clear);
    pump.poll();
    assert!(pump.command(Command::Stop(StopReason::Host)).is_err());
    assert_eq!(rig.look().nor.operations(), before);
    drop(pump);
    let (mut pump, booted) = rig.boot(60_000);
    assert!(matches!(booted, Booted::Resumed { .. }), "{booted:?}");
    assert!(rig.run(&mut pump, HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
}

#[test]
fn an_engine_that_was_not_booted_does_not_remove_the_schedule_that_is_armed() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(made_up_settings(), &[run(30)]), 1).unwrap();
    pump.arm().unwrap();
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    let mut pump = Pump::<Rig, 32>::new(rig.clone(), config(&rig, (16, 16), 1_000)).unwrap();
    let before = rig.look().nor.operations();
    let said = pump.remove(1);
    let wrote = rig.look().nor.operations() - before;
    drop(pump);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    let reason = Rows::of(&mut pump).events[0].reason;
    assert_eq!((said, wrote), (Err(LoadRefused::NotBooted), 0), "and the event ended: {reason:?}");
}

#[test]
fn a_schedule_that_was_refused_leaves_none_to_be_armed_also_after_a_power_cycle() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &[run(1)]), 0).unwrap();
    pump.load(&[0; 20], 0).unwrap_err();
    let refused = draught::pump::StartRefused::NothingLoaded;
    assert_eq!(pump.arm().unwrap_err(), refused);
    pump.poll();
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert_eq!(pump.arm().map(|_| ()), Err(refused), "the one before it is armed");
}

#[test]
fn a_cut_at_any_operation_of_choosing_and_removing_leaves_what_was_chosen() {
    let blocks = [1, 2, 3].map(|n| block(settings(), &[run(n)]));
    let id = |n: usize| blocks[n].last_chunk::<4>().copied().unwrap();
    let story = |cut: Option<(u64, Torn)>| {
        let rig = Rig::new(morning(), 3);
        let (mut pump, _) = rig.boot(60_000);
        for (place, block) in (0..).zip(&blocks) {
            pump.load(block, place).unwrap();
        }
        pump.arm().unwrap();
        assert!(rig.run(&mut pump, 3 * MINUTE + 1));
        let before = rig.look().nor.operations();
        if let Some((after, torn)) = cut {
            rig.set().nor.cut_after(after, torn);
        }
        let _ = pump.choose(1, &mut [0; 640]);
        let _ = pump.remove(0);
        let _ = pump.remove(1);
        let _ = pump.choose(2, &mut [0; 640]);
        let operations = rig.look().nor.operations() - before;
        drop(pump);
        rig.outage(1_000);
        let (mut pump, _) = rig.boot(60_000);
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        assert_eq!(*pump.record(), rows.events[0]);
        let armed = pump.arm().map(|_| pump.record().schedule.0);
        (operations, armed)
    };
    let (operations, armed) = story(None);
    assert_eq!(armed, Ok(id(2)));
    for cut in 0..operations {
        for torn in Torn::ALL {
            let (_, armed) = story(Some((cut, torn)));
            let none = draught::pump::StartRefused::NothingLoaded;
            let fine = armed == Ok(id(2)) || armed == Ok(id(1)) || armed == Err(none);
            assert!(fine, "{cut} {torn:?}: {armed:?}");
        }
    }
}
