//! A fourth reading, by one who wants it to be wrong.

use super::*;
use draught::event::StopReason;
use draught::machine::Command;
use draught::port::{Air, Duty};
use draught::pump::{CHECKPOINT_STRIDE, LoadRefused, Pump};
use draught_tests::rig::{CHECKPOINT_PAGES, PAGE};

fn fresh(passes: u16) -> Step {
    Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(passes).unwrap(),
        sampler: Sampler::Fresh,
    }
}

fn made_up_settings() -> Settings {
    let mut settings = settings();
    settings.outage = made_up();
    settings
}

fn not_booted(rig: &Rig) -> Pumping {
    use draught::audit::Fit;
    use draught::journal::Region;
    use draught::pump::{Config, Regions};
    let region = |from: usize, pages| Region::new(rig, (from * PAGE) as u32, pages).unwrap();
    let config = Config {
        device: 7,
        origin: draught::record::Origin::Simulated,
        fit: Fit::ANY,
        regulator: draught::regulator::Config::default(),
        limits: draught::limits::Config::default(),
        reading_ms: 1_000,
        checkpoint_ms: 60_000,
        sample_ms: None,
        regions: Regions {
            shelf: region(0, 8),
            shelf_half_pages: 1,
            checkpoints: region(8, 8),
            records: region(16, 16),
        },
    };
    Pump::new(rig.clone(), config).unwrap()
}

// A. Identity, schedule

#[test]
fn an_engine_that_was_not_booted_does_not_remove_the_schedule_that_is_armed() {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(made_up_settings(), &[run(30)]), 1).unwrap();
    pump.arm().unwrap();
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    let mut pump = not_booted(&rig);
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

// B. Motor

#[test]
fn a_motor_that_missed_one_command_at_boot_does_not_run_for_as_long_as_it_is_held() {
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    // A watchdog's reset: the motor's driver keeps what it was told, and misses one command.
    rig.set().power.charging = true;
    rig.set().duty = Duty::from_per_myriad(5_000);
    rig.set().motor_fails = true;
    let (mut pump, booted) = rig.boot(60_000);
    rig.set().motor_fails = false;
    assert_eq!(booted, Booted::HeldByCharger);
    let until = rig.look().ms + 5 * MINUTE;
    assert!(rig.run(&mut pump, until));
    assert_eq!(rig.look().duty, Duty::OFF, "it has run for 5 min, and nobody tells it to stop");
}

#[test]
fn a_motor_that_did_not_stop_at_boot_is_in_the_record() {
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    rig.set().power.charging = true;
    rig.set().duty = Duty::from_per_myriad(5_000);
    rig.set().motor_fails = true;
    let (mut pump, _) = rig.boot(60_000);
    rig.set().motor_fails = false;
    let until = rig.look().ms + 5 * MINUTE;
    assert!(rig.run(&mut pump, until));
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    let more = rig.look().truly_pumped_ms - event.pumped_ms;
    assert!(event.flags.has(Flags::MOTOR_FAILED), "{more} ms more than is told, {:?}", event.flags);
}

// C. Clock

#[test]
fn a_clock_that_could_not_be_read_for_an_instant_at_boot_keeps_the_stop_time_or_ends_the_event() {
    // steps.md: how long the outage was is known, and the run stops at 06:30; or it is not, and the event ends.
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20 * MINUTE));
    drop(pump);
    rig.outage(8 * MINUTE);
    rig.set().wall_fails = 2;
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(rig.look().wall_fails, 0);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let stopped = event.stopped.unwrap().since(morning()) / 1_000;
    assert!(stopped <= 30 * 60, "{booted:?}, {:?}: pumped until {stopped} s", event.reason);
}

#[test]
fn an_outage_that_is_too_long_ends_the_event_whatever_the_clock_said_for_an_instant() {
    // A pump on a shelf overnight.
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20 * MINUTE));
    drop(pump);
    rig.outage(50 * MINUTE);
    rig.set().wall_fails = 2;
    let (mut pump, booted) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 3 * HOUR));
    let rows = Rows::of(&mut pump);
    let event = rows.events[0];
    assert_eq!(event.interruptions, 1, "{booted:?} {:?} {:?}", event.reason, event.flags);
}

#[test]
fn a_clock_that_is_set_while_held_by_the_charger_is_in_the_flags() {
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 7 * MINUTE));
    let on = rig.look().wall.unwrap().as_ms() + 30 * MINUTE;
    rig.set().wall = WallMs::from_ms(on);
    assert!(rig.run(&mut pump, 9 * MINUTE));
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert!(event.flags.has(Flags::CLOCK_STEPPED), "{:?} {:b}", event.reason, event.flags.0);
}

#[test]
fn a_clock_that_was_lost_in_a_wait_is_in_the_flags_after_a_cut() {
    let steps = [Step::WaitForDate(Date::from_ymd(2027, 3, 9).unwrap()), run(15)];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    pump.poll();
    rig.pass(HOUR);
    rig.set().wall = None;
    pump.poll();
    rig.pass(HOUR);
    rig.set().wall = Some(morning());
    pump.poll();
    assert!(pump.record().flags.has(Flags::CLOCK_UNTRUSTED));
    assert!(pump.status().is_kept, "all that has happened is kept, it says");
    drop(pump);
    rig.outage(MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 48 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert!(event.flags.has(Flags::CLOCK_UNTRUSTED), "{:b}", event.flags.0);
}

#[test]
fn a_clock_that_is_set_twice_does_not_end_a_hold_early_after_a_cut() {
    let (rig, mut pump) = armed(&block(settings(), &[Step::Hold(minutes(180)), run(15)]), 60_000);
    pump.poll();
    for at in [10, 20] {
        assert!(rig.run(&mut pump, at * MINUTE));
        let on = rig.look().wall.unwrap().as_ms() + HOUR;
        rig.set().wall = WallMs::from_ms(on);
        pump.poll();
    }
    assert!(rig.run(&mut pump, 30 * MINUTE));
    drop(pump);
    rig.outage(10_000);
    let (mut pump, _) = rig.boot(60_000);
    while rig.look().truly_pumped_ms == 0 {
        let until = rig.look().ms + 10_000;
        assert!(rig.run(&mut pump, until));
    }
    let began = rig.look().ms / 1_000;
    assert!(began + 30 >= 180 * 60, "it began at {began} s of 10,800");
}

// D. Flags of the wrong sample

#[test]
fn a_flow_that_was_off_in_one_sample_is_not_told_of_the_next() {
    let (rig, mut pump) = armed(&block(settings(), &[run(6), fresh(2)]), 60_000);
    rig.set().open_percent = 46;
    assert!(rig.run(&mut pump, 6 * MINUTE));
    pump.poll();
    rig.set().open_percent = 100;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    let off: Vec<_> = rows.samples.iter().map(|s| s.flags.has(Flags::FLOW_OFF)).collect();
    let means: Vec<_> = rows.samples.iter().map(|s| s.interval_means).collect();
    assert_eq!(off, [true, false], "the means over 5 min were {means:?}");
}

#[test]
fn what_was_wrong_with_one_sampler_does_not_trip_the_next() {
    let (rig, mut pump) = armed(&block(settings(), &[run(6), fresh(2)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE + 1_500));
    // Loaded in its last 59 s: less than the minute that it may be.
    rig.set().open_percent = 40;
    assert!(rig.run(&mut pump, 6 * MINUTE));
    pump.poll();
    // The next one is as good as new.
    rig.set().open_percent = 100;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    let pumped: Vec<_> = rows.samples.iter().map(|s| s.pumped_ms).collect();
    assert_eq!(pumped, [6 * MINUTE, 6 * MINUTE], "{:?}", rows.events[0].trips);
}

#[test]
fn air_that_reads_as_nothing_real_is_not_silently_left_out_of_the_standard_volume() {
    let (rig, mut pump) = armed(&block(settings(), &[run(10)]), 60_000);
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 95_000 });
    assert!(rig.run(&mut pump, 5 * MINUTE));
    // The pressure sensor's bus reads zeros.
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 0 });
    assert!(rig.run(&mut pump, HOUR));
    let sample = Rows::of(&mut pump).samples[0];
    assert!(
        sample.air_ms == sample.metered_ms() || sample.flags.has(Flags::AIR_UNKNOWN),
        "{} of {} ms are in the standard volume, and no flag says so",
        sample.air_ms,
        sample.metered_ms()
    );
}

#[test]
fn air_that_was_measured_all_the_time_is_not_flagged() {
    let (rig, mut pump) = armed(&block(settings(), &[run(10)]), 60_000);
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 95_000 });
    assert!(rig.run(&mut pump, 5 * MINUTE));
    pump.poll();
    // One reading more at the same instant, which stands for no time.
    rig.set().air_sensor_works = false;
    pump.poll();
    rig.set().air_sensor_works = true;
    assert!(rig.run(&mut pump, HOUR));
    let sample = Rows::of(&mut pump).samples[0];
    assert_eq!(sample.air_ms, sample.metered_ms());
    assert!(!sample.flags.has(Flags::AIR_UNKNOWN));
}

// E. Time unaccounted for

#[test]
fn what_is_pumped_after_a_warning_with_a_flash_that_fails_is_told() {
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE + 500));
    // The supply sags: it warns, and soon the flash does not take anything any more.
    rig.set().power.failing = true;
    pump.poll();
    rig.set().flash_fails = true;
    assert!(rig.run(&mut pump, 5 * MINUTE + 55_000));
    drop(pump);
    rig.set().flash_fails = false;
    rig.set().power.failing = false;
    rig.outage(5 * MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let lost = rig.look().truly_pumped_ms - event.pumped_ms;
    assert!(
        lost <= u64::from(event.unaccounted_ms) + 1_000,
        "{lost} ms are missing, {} are said to be, flagged: {}",
        event.unaccounted_ms,
        event.flags.has(Flags::TIME_UNACCOUNTED)
    );
}

// F. After the end

#[test]
fn the_record_of_an_event_that_is_over_does_not_change() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let row = Rows::of(&mut pump).events[0];
    assert_eq!(*pump.record(), row);
    rig.set().motor_fails = true;
    pump.poll();
    rig.set().motor_fails = false;
    pump.poll();
    drop(pump);
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    let kept = Rows::of(&mut pump).events[0];
    assert_eq!(*pump.record(), kept, "told and kept");
    assert_eq!(*pump.record(), row);
}

// G. While held

#[test]
fn an_event_that_is_held_is_disarmed_when_asked() {
    // steps.md, Outages: "until that call the pump is off, as while a step is paused: it may be stopped, disarmed and a new
    // sampler confirmed".
    let (rig, mut pump) = armed(&block(made_up_settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    assert!(pump.status().indications.armed || pump.status().held_by_charger);
    let said = pump.command(Command::Disarm);
    assert_eq!(said, Ok(()), "{}", said.unwrap_err());
}

#[test]
fn a_sampler_that_is_confirmed_on_the_charger_is_confirmed() {
    let confirmed = Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(2).unwrap(),
        sampler: Sampler::FreshConfirmed,
    };
    let mut settings = made_up_settings();
    settings.fault = retry(10 * MINUTE, 3);
    let (rig, mut pump) = armed(&block(settings, &[run(5), confirmed]), 60_000);
    assert!(rig.run(&mut pump, 4 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    rig.set().keys.push_back(Key::ConfirmSampler);
    pump.poll();
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(rows.samples.len(), 2, "missed {}", rows.events[0].missed);
}

#[test]
fn held_for_an_hour_writes_nothing() {
    let mut settings = settings();
    settings.outage = Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(12 * HOUR as u32).unwrap(),
        while_charging: false,
    });
    let (rig, mut pump) = armed(&block(settings, &[run(1), Step::Hold(minutes(1)), run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    let before = rig.look().nor.operations();
    assert!(rig.run(&mut pump, HOUR));
    assert_eq!(rig.look().nor.operations(), before);
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    pump.release_rows(last.unwrap());
    rig.set().keys.push_back(Key::Clear);
    pump.poll();
    let after = rig.look().nor.operations();
    assert!(rig.run(&mut pump, 3 * HOUR));
    assert_eq!(rig.look().nor.operations(), after);
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 5 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert_eq!(event.volume.as_raw() <= rig.look().truly_drawn, true);
    let _ = (CHECKPOINT_STRIDE, StopReason::Host);
}

// H. A second look

#[test]
fn an_event_does_not_end_for_a_lost_clock_that_was_read() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20 * MINUTE));
    drop(pump);
    rig.outage(2 * MINUTE);
    (rig.set().wall_skips, rig.set().wall_fails) = (1, 2);
    let (mut pump, booted) = rig.boot(60_000);
    assert!(matches!(booted, Booted::Resumed { outage_ms: Some(_) }), "{booted:?}");
    assert!(rig.run(&mut pump, 2 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let flags = event.flags;
    assert!(
        event.reason == EndReason::Finished || flags.has(Flags::CLOCK_UNTRUSTED),
        "{booted:?}, and then {:?}, {:b}",
        event.reason,
        flags.0
    );
}

#[test]
fn a_clock_set_by_a_minute_in_a_wait_of_a_week_is_in_the_flags() {
    let steps = [Step::WaitForDate(Date::from_ymd(2027, 3, 17).unwrap()), run(15)];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    pump.poll();
    rig.pass(7 * 24 * HOUR);
    pump.poll();
    // The firmware polls just before it, and just after.
    let on = rig.look().wall.unwrap().as_ms() + MINUTE;
    rig.set().wall = WallMs::from_ms(on);
    assert!(rig.run(&mut pump, 10 * 24 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert!(event.flags.has(Flags::CLOCK_STEPPED), "set by 60 s, flags {:b}", event.flags.0);
}

#[test]
fn a_clock_set_by_10_s_between_two_readings_of_a_day_is_in_the_flags() {
    // porting.md: "a step of more than 2 s is flagged". 10 s between two polls a second apart.
    let (rig, mut pump) = armed(&block(settings(), &[run(23 * 60)]), 60_000);
    assert!(rig.run(&mut pump, 22 * HOUR));
    pump.poll();
    let on = rig.look().wall.unwrap().as_ms() + 10_000;
    rig.set().wall = WallMs::from_ms(on);
    assert!(rig.run(&mut pump, 24 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert!(event.flags.has(Flags::CLOCK_STEPPED), "set by 10 s, flags {:b}", event.flags.0);
}

#[test]
fn a_flow_that_was_never_corrected_in_one_sample_is_flagged_there() {
    let (rig, mut pump) = armed(&block(settings(), &[run(10), fresh(2)]), 60_000);
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 95_000 });
    rig.set().drop_pa = Some(2_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    pump.poll();
    rig.set().drop_pa = None;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    let flagged: Vec<_> = rows.samples.iter().map(|s| s.flags.has(Flags::NOT_AT_INLET)).collect();
    let not: Vec<_> = rows.samples.iter().map(|s| (s.uncorrected_ms, s.metered_ms())).collect();
    assert_eq!(flagged, [false, true], "not corrected, of metered: {not:?}");
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
