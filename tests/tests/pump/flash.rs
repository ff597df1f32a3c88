//! What a pump does when its flash fails, or keeps less than it said.

use draught::event::EndReason;
use draught::machine::Phase;
use draught::machine::Wake;
use draught::prelude::*;
use draught::pump::Booted;
use draught::record::Flags;
use draught_tests::nor::Torn;
use draught_tests::rig::CHECKPOINT_PAGES;
use draught_tests::rig::PAGE;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::*;

#[test]
fn a_pump_does_not_start_before_its_checkpoint_is_kept() {
    let hold = Step::Hold(DurationMs::from_ms(60_000).unwrap());
    let (rig, mut pump) = armed(&block(settings(), &[run(1), hold, run(10)]), 60_000);
    assert!(rig.run(&mut pump, 90_000));
    rig.set().flash_fails = true;
    let pumped = rig.look().truly_pumped_ms;
    assert!(rig.run(&mut pump, 150_000));
    assert_eq!(rig.look().truly_pumped_ms, pumped, "the second run is not begun");
    assert!(rig.look().shown.fault);
    // It works again: so does the pump, and what it did not pump is in no volume.
    rig.set().flash_fails = false;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert_eq!(event.volume.as_raw(), rig.look().truly_drawn);
    assert!(event.flags.has(Flags::JOURNAL_FAILED));
}

#[test]
fn a_pump_whose_flash_fails_for_good_stops_within_an_interval_and_a_reading() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().flash_fails = true;
    assert!(rig.run(&mut pump, 20 * MINUTE));
    let pumped = rig.look().truly_pumped_ms;
    assert!((5 * MINUTE..=5 * MINUTE + 2_000).contains(&pumped), "{pumped}");
    assert!(!rig.look().shown.armed, "flow is too low, and the event is over");
    // A flash that comes back gets the record.
    rig.set().flash_fails = false;
    assert!(rig.run(&mut pump, 21 * MINUTE));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].volume.as_raw(), rig.look().truly_drawn);
}

#[test]
fn what_is_unaccounted_for_is_no_more_than_is_said() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE + 500));
    rig.set().flash_fails = true;
    assert!(rig.run(&mut pump, 6 * MINUTE + 58_000));
    drop(pump);
    rig.outage(5 * MINUTE);
    rig.set().flash_fails = false;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let lost = rig.look().truly_pumped_ms - event.pumped_ms;
    assert!(
        lost <= u64::from(event.unaccounted_ms) + 1_000,
        "{lost} ms are missing, {} ms are said to be; journal-failed: {}",
        event.unaccounted_ms,
        event.flags.has(Flags::JOURNAL_FAILED),
    );
}

#[test]
fn a_record_that_could_not_be_kept_is_tried_again_soon() {
    let (rig, mut pump) = armed(&block(settings(), &[run(5)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE - 500));
    rig.pass(500);
    rig.set().flash_fails = true; // one hiccup, at the very end
    let wake = pump.poll();
    rig.set().flash_fails = false;
    assert_ne!(
        wake,
        Wake::NEVER,
        "the record of the event is in RAM only, and nobody is asked to try again"
    );
}

#[test]
fn what_such_a_hiccup_costs() {
    let (rig, mut pump) = armed(&block(settings(), &[run(5)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE - 500));
    rig.pass(500);
    rig.set().flash_fails = true;
    let Wake::At { mono, wall, .. } = pump.poll() else { panic!() };
    rig.set().flash_fails = false;
    assert!(pump.status().phase == Phase::Ended(EndReason::Finished));
    // The firmware sleeps as it was told; days later the battery is changed.
    if mono.is_none() && wall.is_none() {
        rig.pass(48 * HOUR);
    } else {
        rig.pass(1_000);
        pump.poll();
    }
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    let event = Rows::of(&mut pump).events[0];
    assert_eq!((event.reason, event.pumped_ms), (EndReason::Finished, 5 * MINUTE));
}

#[test]
fn a_word_that_only_looks_right_takes_nothing_of_the_record_at_the_second_boot() {
    let (rig, mut pump) = armed(&busy(), 20_000);
    let before = rig.look().nor.operations();
    assert!(rig.run(&mut pump, 15 * MINUTE));
    let operations = rig.look().nor.operations() - before;
    // Every third: a third of the last words of slots is enough, and each takes two boots.
    for cut in (0..operations).step_by(3) {
        let (rig, mut pump) = armed(&busy(), 20_000);
        rig.set().nor.cut_after(cut, Torn::LooksRight);
        assert!(!rig.run(&mut pump, 15 * MINUTE), "the cut comes");
        rig.outage(10_000);
        drop(rig.boot(20_000));
        rig.outage(10_000);
        let (mut pump, _) = rig.boot(20_000);
        assert!(rig.run(&mut pump, 30 * MINUTE));
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        assert_eq!(rows.events[0].reason, EndReason::Finished, "cut {cut}");
        assert_eq!(*pump.record(), rows.events[0], "cut {cut}: what is told is what is kept");
        // What was collected is not offered again, also where a row is there twice.
        let mut last = None;
        pump.each_row(|seq, _, _| last = Some(seq));
        pump.release_rows(last.unwrap());
        assert_eq!(Rows::of(&mut pump), Rows::default(), "cut {cut}");
        // Letting go of what is gone, or never was, changes nothing, also not at the next boot.
        pump.release_rows(draught::journal::Seq(0));
        pump.release_rows(last.unwrap());
        pump.poll();
        rig.outage(10_000);
        let (mut pump, _) = rig.boot(20_000);
        assert_eq!(Rows::of(&mut pump), Rows::default(), "cut {cut}");
    }
}

#[test]
fn a_stretch_whose_schedule_rots_is_in_the_record() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE + 1));
    drop(pump);
    // Every bit of the schedule's block, and of both its headers.
    for byte in 0..2 * PAGE {
        rig.set().nor.flip(8 * byte);
    }
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!((event.reason, event.spans), (EndReason::WrongTable, 1));
    assert_eq!(event.pumped_ms, 10 * MINUTE);
    assert_eq!(rig.look().duty.per_myriad(), 0);
}

#[test]
fn rows_are_kept_after_the_flash_of_the_records_was_lost() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    pump.release_rows(last.unwrap());
    pump.poll();
    drop(pump);
    // The newest row rots: here, all of the region.
    for byte in 16 * PAGE..32 * PAGE {
        rig.set().nor.flip(8 * byte);
    }
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.arm().unwrap();
    let until = rig.look().ms + 5 * MINUTE;
    assert!(rig.run(&mut pump, until));
    assert_eq!(pump.record().reason, EndReason::Finished);
    assert!(!pump.record().flags.has(Flags::ROW_LOST));
    assert_eq!(Rows::of(&mut pump).events.len(), 1, "acknowledged rows count as collected");
}

#[test]
fn an_event_number_is_not_given_twice_when_checkpoints_are_lost() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    for byte in CHECKPOINT_PAGES.start * PAGE..CHECKPOINT_PAGES.end * PAGE {
        rig.set().nor.flip(8 * byte + 1);
    }
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &[run(30)]), 0).unwrap();
    let (id, _) = pump.arm().unwrap();
    let of_rows = Rows::of(&mut pump).events[0].event;
    assert_ne!(id, of_rows, "two events with one number");
}

#[test]
fn a_hiccup_of_the_flash_when_the_sampler_changes_loses_no_sample() {
    let mut settings = settings();
    settings.outage = made_up();
    let steps = [
        run(1),
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(3).unwrap(),
            sampler: Sampler::Fresh,
        },
    ];
    let (rig, mut pump) = armed(&block(settings, &steps), 20_000);
    assert!(rig.run(&mut pump, MINUTE - 500));
    rig.pass(500);
    rig.set().flash_hiccups = 20;
    pump.poll();
    assert_eq!(rig.look().flash_hiccups, 0);
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(rows.samples.iter().map(|s| s.number).collect::<Vec<_>>(), [1, 2, 3]);
    assert_sums(&rows);
}

#[test]
fn rows_that_are_collected_while_held_stay_collected() {
    let mut settings = settings();
    settings.outage = made_up();
    let hold = Step::Hold(minutes(1));
    let (rig, mut pump) = armed(&block(settings, &[run(1), hold, run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    pump.release_rows(last.unwrap());
    pump.poll();
    assert!(pump.status().is_kept);
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    assert_eq!(Rows::of(&mut pump), Rows::default(), "offered again, though it was polled");
    // And the event goes on as if nothing had been.
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!((event.reason, event.pumped_ms), (EndReason::Finished, 31 * MINUTE));
}

#[test]
fn an_event_number_is_not_given_twice_when_checkpoints_are_lost_under_way() {
    let hold = Step::Hold(minutes(1));
    let (rig, mut pump) = armed(&block(settings(), &[run(1), hold, run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    assert_eq!(Rows::of(&mut pump).spans.len(), 1);
    drop(pump);
    for byte in CHECKPOINT_PAGES.start * PAGE..CHECKPOINT_PAGES.end * PAGE {
        rig.set().nor.flip(8 * byte + 1);
    }
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &[run(2)]), 0).unwrap();
    let (id, _) = pump.arm().unwrap();
    let of_rows = Rows::of(&mut pump).spans[0].event;
    assert_ne!(id, of_rows, "two events with one number");
}

#[test]
fn an_event_whose_number_is_in_old_rows_is_not_ended_by_them() {
    let hold = Step::Hold(minutes(1));
    let (rig, mut pump) = armed(&block(settings(), &[run(1), hold, run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    for byte in CHECKPOINT_PAGES.start * PAGE..CHECKPOINT_PAGES.end * PAGE {
        rig.set().nor.flip(8 * byte + 1);
    }
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(made_up_settings(), &[run(20)]), 0).unwrap();
    pump.arm().unwrap();
    let until = rig.look().ms + 5 * MINUTE;
    assert!(rig.run(&mut pump, until));
    drop(pump);
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    let until = rig.look().ms + HOUR;
    assert!(rig.run(&mut pump, until));
    let events = Rows::of(&mut pump).events;
    assert_eq!(events.last().unwrap().reason, EndReason::Finished, "ended by another event's row");
}
