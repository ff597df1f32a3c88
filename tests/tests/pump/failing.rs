//! What a pump does when its board lets it down.

use draught::event::{EndReason, StopReason};
use draught::machine::Phase;
use draught::port::Key;
use draught::prelude::*;
use draught::record::Flags;
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::rig::Rows;

use draught::pump::StartRefused;

use super::{FLOW_UL_PER_MIN, HOUR, MINUTE, armed, assert_sums, block, busy, run, settings};

/// Sixty runs of 20 s with 5 s between them: none is as long as a checkpoint interval.
fn short_runs() -> Vec<u8> {
    let mut settings = settings();
    settings.outage = Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(HOUR as u32).unwrap(),
        while_charging: false,
    });
    let steps = [
        Step::RunFor { run: DurationMs::from_ms(20_000).unwrap(), target: None },
        Step::Hold(DurationMs::from_ms(5_000).unwrap()),
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(60).unwrap(),
            sampler: Sampler::Same,
        },
    ];
    block(settings, &steps)
}

#[test]
fn resumes_far_apart_are_no_supply_fault_though_every_run_is_shorter_than_an_interval() {
    let (rig, pump) = armed(&short_runs(), 60_000);
    drop(pump);
    let (mut pump, _) = rig.boot(60_000);
    for _ in 0..7 {
        // 100 s with power are 80 s of pumping: more than an interval.
        let until = rig.look().ms + 100_000;
        assert!(rig.run(&mut pump, until));
        while matches!(pump.status().phase, Phase::Holding { .. }) {
            let until = rig.look().ms + 1_000;
            assert!(rig.run(&mut pump, until));
        }
        rig.outage(1_000);
        pump = rig.boot(60_000).0;
    }
    assert!(rig.run(&mut pump, 2 * HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
}

#[test]
fn a_lamp_that_was_put_out_stays_out_over_a_cut() {
    let mut settings = settings();
    settings.fault = Fault::Retry {
        every: RetryEvery::from_ms(5 * 60_000).unwrap(),
        times: core::num::NonZeroU8::MIN,
    };
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 4 * MINUTE));
    assert!(rig.look().shown.fault, "it tripped");
    // Lit, it comes back lit.
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    assert!(rig.look().shown.fault);
    rig.set().open_percent = 100;
    rig.set().keys.push_back(Key::Clear);
    pump.poll();
    assert!(!rig.look().shown.fault);
    // Put out, it stays out; the record still has the flag.
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    assert!(!rig.look().shown.fault);
    assert!(rig.run(&mut pump, HOUR));
    assert!(Rows::of(&mut pump).events[0].flags.has(Flags::LIMIT_TRIPPED));
}

#[test]
fn a_cut_while_nothing_is_pumped_leaves_nothing_unaccounted() {
    let mut settings = settings();
    settings.fault = Fault::Retry {
        every: RetryEvery::from_ms(5 * 60_000).unwrap(),
        times: core::num::NonZeroU8::MIN,
    };
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 4 * MINUTE));
    rig.set().open_percent = 100;
    assert!(matches!(pump.status().phase, Phase::Paused { .. }));
    rig.outage(2 * MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!((event.reason, event.interruptions), (EndReason::Finished, 1));
    assert_eq!(event.unaccounted_ms, 0);
    assert!(!event.flags.has(Flags::TIME_UNACCOUNTED));
    assert_eq!(rig.look().truly_pumped_ms, event.pumped_ms);
}

#[test]
fn a_motor_stops_before_flash_is_written_also_when_a_key_comes_at_that_instant() {
    let (rig, mut pump) = armed(
        &block(settings(), &[run(1), Step::Hold(DurationMs::from_ms(60_000).unwrap()), run(1)]),
        60_000,
    );
    assert!(rig.run(&mut pump, 59_999));
    rig.pass(1);
    assert!(rig.look().duty.per_myriad() > 0);
    rig.set().written_while_driven = 0;
    rig.set().keys.push_back(Key::Stop);
    pump.poll();
    assert_eq!(rig.look().written_while_driven, 0);
    assert_eq!(rig.look().duty.per_myriad(), 0);
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].reason, EndReason::Stopped(StopReason::Operator));
}

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
fn a_pump_whose_flash_fails_for_good_stops_within_two_intervals_and_its_grace() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().flash_fails = true;
    assert!(rig.run(&mut pump, 20 * MINUTE));
    let pumped = rig.look().truly_pumped_ms;
    assert!((6 * MINUTE..=7 * MINUTE + 1_000).contains(&pumped), "{pumped}");
    assert!(!rig.look().shown.armed, "flow is too low, and the event is over");
    // A flash that comes back gets the record.
    rig.set().flash_fails = false;
    assert!(rig.run(&mut pump, 21 * MINUTE));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].volume.as_raw(), rig.look().truly_drawn);
}

#[test]
fn a_wall_clock_that_went_back_over_an_outage_is_not_believed() {
    // The stop time is kept by the wall clock: one that went back by an hour would let the pump run an hour too long.
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.outage(MINUTE);
    let back = rig.look().wall.unwrap().as_ms() - HOUR;
    rig.set().wall = WallMs::from_ms(back);
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, draught::pump::Booted::Resumed { outage_ms: None });
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::ClockLost);
    // A clock of whole seconds may seem to go back by one.
    let (rig, mut pump) = armed(&busy(), 20_000);
    assert!(rig.run(&mut pump, 20_001));
    rig.outage(100);
    let back = rig.look().wall.unwrap().as_ms() - 1_000;
    rig.set().wall = WallMs::from_ms(back);
    let (_, booted) = rig.boot(20_000);
    assert_eq!(booted, draught::pump::Booted::Resumed { outage_ms: Some(0) });
}

/// So many short runs, each on the same sampler or on a fresh one, with a hold between them.
fn runs(passes: u16, sampler: Sampler) -> Vec<u8> {
    let steps = [
        Step::RunFor { run: DurationMs::from_ms(1_000).unwrap(), target: None },
        Step::Hold(DurationMs::from_ms(1_000).unwrap()),
        Step::Repeat { from: StepNo::FIRST, passes: Passes::new(passes).unwrap(), sampler },
    ];
    block(settings(), &steps)
}

#[test]
fn a_schedule_is_armed_only_if_its_record_fits() {
    // Sixteen rows are kept free for what is not forecast, one is the event's, and each sampler has one.
    let (rig, mut pump) = armed(&runs(2, Sampler::Same), 60_000);
    let free = u16::try_from(pump.rows_free()).unwrap();
    assert!(rig.run(&mut pump, MINUTE));
    for (sampler, most) in [(Sampler::Same, free - 18), (Sampler::Fresh, (free - 17) / 2)] {
        let rig = draught_tests::rig::Rig::new(super::morning(), 2);
        let (mut pump, _) = rig.boot(60_000);
        pump.load(&runs(most + 1, sampler), 0).unwrap();
        let StartRefused::JournalFull { needed, free: room } = pump.arm().unwrap_err() else {
            panic!("it does not fit")
        };
        assert!(needed > room && room == u32::from(free), "{needed} of {room}");
        pump.load(&runs(most, sampler), 0).unwrap();
        pump.arm().unwrap();
        // And it does fit.
        assert!(rig.run(&mut pump, HOUR));
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        assert_eq!(rows.events[0].reason, EndReason::Finished);
        assert_eq!(rows.spans.len(), usize::from(most));
    }
}

#[test]
fn a_schedule_that_hardly_pumps_is_not_walked_for_ever() {
    let hold = Step::Hold(DurationMs::from_ms(1_000).unwrap());
    let passes = |n, from| Step::Repeat {
        from: StepNo::new(from).unwrap(),
        passes: Passes::new(n).unwrap(),
        sampler: Sampler::Same,
    };
    let steps = [run(1), hold, passes(60_000, 2)];
    let rig = draught_tests::rig::Rig::new(super::morning(), 2);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &steps), 0).unwrap();
    assert_eq!(pump.arm(), Err(StartRefused::TooLong));
    assert!(!pump.status().indications.armed);
    pump.load(&block(settings(), &[run(1), hold, passes(1_000, 2)]), 0).unwrap();
    pump.arm().unwrap();
}

#[test]
fn what_is_pumped_while_a_warning_lasts_is_accounted_for() {
    for lasts in [500, 1_500, 5_000, 40_000, 100_000] {
        let (rig, mut pump) = armed(&busy(), 60_000);
        assert!(rig.run(&mut pump, 200_500), "in the second run");
        rig.set().power.failing = true;
        // The supply wakes the board when it warns.
        assert!(rig.run(&mut pump, 200_500 + lasts));
        rig.outage(5 * MINUTE);
        rig.set().power.failing = false;
        let (mut pump, _) = rig.boot(60_000);
        assert!(rig.run(&mut pump, HOUR));
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        let (event, lost) = (rows.events[0], rig.look().truly_pumped_ms - rows.events[0].pumped_ms);
        assert!(lost <= u64::from(event.unaccounted_ms), "warned for {lasts} ms: {lost} ms");
        // More than a moment is worth a look.
        assert!(lost <= 3_000 || event.flags.has(Flags::TIME_UNACCOUNTED), "{lasts}: {lost}");
        // A warning that lasts does not wear the flash.
        assert_eq!(rig.look().nor.wrong_use, Vec::<String>::new());
    }
}

#[test]
fn a_word_that_only_looks_right_takes_nothing_of_the_record_at_the_second_boot() {
    use draught_tests::nor::Torn;
    let (rig, mut pump) = armed(&busy(), 20_000);
    let before = rig.look().nor.operations();
    assert!(rig.run(&mut pump, 15 * MINUTE));
    let operations = rig.look().nor.operations() - before;
    for cut in 0..operations {
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
    for byte in 0..2 * draught_tests::rig::PAGE {
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
fn a_limit_that_ended_a_pass_is_judged_anew_in_the_next() {
    // Eight runs of 10 min, each on a sampler of its own, one after the other. The inlet is blocked for 63 s in the third.
    let eight = Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(8).unwrap(),
        sampler: Sampler::Fresh,
    };
    let (rig, mut pump) = armed(&block(settings(), &[run(10), eight]), 60_000);
    assert!(rig.run(&mut pump, 25 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 26 * MINUTE + 3_000));
    rig.set().open_percent = 100;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!((event.trips, event.samples), ([1, 0, 0, 0, 0], 8));
    let short: Vec<_> = rows.samples.iter().filter(|s| s.pumped_ms < 10 * MINUTE).collect();
    assert_eq!(
        short.len(),
        1,
        "{:?}",
        rows.samples.iter().map(|s| s.pumped_ms).collect::<Vec<_>>()
    );
    // The next one starts like any other, not from the full duty that the blockage left.
    let after = rows.samples.iter().find(|s| s.number == short[0].number + 1).unwrap();
    let target = u64::from(FLOW_UL_PER_MIN) * 10 * MINUTE;
    assert!(after.volume.as_raw().abs_diff(target) < target / 100, "{:?}", after.volume);
}
