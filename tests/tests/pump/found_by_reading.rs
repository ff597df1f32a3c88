//! What a reader of the code found missing.

use draught::audit::Fit;
use draught::event::EndReason;
use draught::journal::Region;
use draught::limits;
use draught::machine::Wake;
use draught::port::{Key, Power};
use draught::prelude::*;
use draught::pump::{Booted, Config, Pump, Regions, StartRefused};
use draught::record::{Flags, Origin};
use draught::regulator;
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::rig::{CHECKPOINT_PAGES, PAGE, Rig, Rows};

use super::{
    FLOW_UL_PER_MIN, HOUR, MINUTE, armed, assert_sums, block, busy, minutes, morning, run, settings,
};

fn made_up() -> Outage {
    Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(HOUR as u32).unwrap(),
        while_charging: false,
    })
}

#[test]
fn a_lamp_put_out_while_held_by_the_charger_is_not_pumping_time() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.outage(10 * MINUTE);
    rig.set().power = Power { charging: true, ..Power::GOOD };
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    let until = rig.look().ms + 10 * MINUTE;
    assert!(rig.run(&mut pump, until));
    rig.set().keys.push_back(Key::Clear);
    pump.poll();
    drop(pump);
    rig.outage(1_000);
    rig.set().power.charging = false;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 3 * HOUR));
    let rows = Rows::of(&mut pump);
    let event = rows.events[0];
    let truly = rig.look().truly_pumped_ms;
    assert!(
        event.pumped_ms <= truly,
        "pumped {truly} ms, recorded {} ms; unaccounted {}; interruptions {}; flags {:b}; {:?}",
        event.pumped_ms,
        event.unaccounted_ms,
        event.interruptions,
        event.flags.0,
        event.reason,
    );
}

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
    match pump.arm() {
        Err(_) => (),
        Ok(_) => assert_ne!(
            pump.record().schedule.0,
            other[other.len() - 4..],
            "what load refused is armed"
        ),
    }
}

#[test]
fn a_schedule_that_was_refused_and_armed_all_the_same_survives_a_cut() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let mut settings = settings();
    settings.outage = made_up();
    let other = block(settings, &[run(30)]);
    rig.set().flash_fails = true;
    pump.load(&other, 1).unwrap_err();
    rig.set().flash_fails = false;
    if pump.arm().is_err() {
        return;
    }
    assert!(rig.run(&mut pump, 10 * MINUTE));
    drop(pump);
    rig.outage(5_000);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    assert_eq!(Rows::of(&mut pump).events[1].reason, EndReason::Finished);
}

#[test]
fn switching_a_pump_off_and_on_takes_no_room_of_the_record() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let free = pump.rows_free();
    drop(pump);
    let mut now_free = free;
    for _ in 0..30 {
        rig.outage(MINUTE);
        let (mut pump, booted) = rig.boot(60_000);
        assert_eq!(booted, Booted::Idle);
        pump.poll();
        now_free = pump.rows_free();
    }
    assert!(now_free + 4 >= free, "{free} rows free, 30 power cycles later {now_free}");
}

#[test]
fn a_pump_that_was_switched_on_and_off_for_a_year_can_be_armed() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    for cycle in 0..365 {
        rig.outage(MINUTE);
        let (mut pump, _) = rig.boot(60_000);
        pump.poll();
        if cycle == 364 {
            let flags = pump.record().flags;
            let armed = pump.arm().map(|_| ());
            assert_eq!(
                (armed, flags.has(Flags::ROW_LOST)),
                (Ok(()), false),
                "free {}",
                pump.rows_free()
            );
        }
    }
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
    assert!(pump.status().phase == draught::machine::Phase::Ended(EndReason::Finished));
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
fn a_volume_is_full_between_two_readings() {
    let volume = Volume::from_ml(1_000).unwrap();
    let draw = Step::DrawVolume { volume, at_most: minutes(10), target: None };
    let (rig, mut pump) = armed(&block(settings(), &[draw]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let ul = Rows::of(&mut pump).events[0].volume.as_raw() / 60_000;
    // A reading interval at 2.5 L/min would be 42 mL.
    assert!((1_000_000..1_003_000).contains(&ul), "{ul} uL of 1 L");
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
fn a_start_on_an_untrusted_clock_has_no_time_of_day() {
    let (rig, mut pump) = {
        let rig = Rig::new(morning(), 1);
        rig.set().wall = None;
        let (mut pump, _) = rig.boot(60_000);
        pump.load(&block(settings(), &[run(1), Step::Hold(minutes(60)), run(1)]), 0).unwrap();
        pump.arm().unwrap();
        (rig, pump)
    };
    assert!(rig.run(&mut pump, 30 * MINUTE));
    rig.set().wall = Some(morning());
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    let event = rows.events[0];
    assert_eq!(
        event.started, None,
        "pumping first began at 0 min, and the record says when it began for the second time"
    );
}

#[test]
fn a_stop_on_an_untrusted_clock_has_no_time_of_day() {
    let (rig, mut pump) =
        armed(&block(settings(), &[run(1), Step::Hold(minutes(60)), run(1)]), 60_000);
    assert!(rig.run(&mut pump, 30 * MINUTE));
    rig.set().wall = None;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    let (event, sample) = (rows.events[0], rows.samples[0]);
    assert_eq!((event.spans, event.pumped_ms), (2, 2 * MINUTE));
    assert_eq!((event.stopped, sample.end), (None, None), "pumping last ended at 62 min, not at 1");
}

#[test]
fn a_clock_that_went_back_over_an_outage_is_in_the_flags() {
    let (rig, mut pump) = armed(&busy(), 20_000);
    assert!(rig.run(&mut pump, 30_000));
    rig.outage(MINUTE);
    let back = rig.look().wall.unwrap().as_ms() - HOUR;
    rig.set().wall = WallMs::from_ms(back);
    let (mut pump, booted) = rig.boot(20_000);
    assert_eq!(booted, Booted::Resumed { outage_ms: None });
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert!(
        event.flags.has(Flags::CLOCK_STEPPED) || event.flags.has(Flags::CLOCK_UNTRUSTED),
        "{:b}, started {:?}, stopped {:?}",
        event.flags.0,
        event.started,
        event.stopped
    );
}

#[test]
fn a_clock_set_by_a_minute_while_a_schedule_waits_is_in_the_flags() {
    let steps = [Step::WaitForDate(Date::from_ymd(2027, 3, 15).unwrap()), run(15)];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    pump.poll();
    rig.pass(5 * 24 * HOUR);
    // The operator sets the clock, and the firmware polls, as docs/porting.md asks.
    let on = rig.look().wall.unwrap().as_ms() + MINUTE;
    rig.set().wall = WallMs::from_ms(on);
    assert!(rig.run(&mut pump, 8 * 24 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert!(event.flags.has(Flags::CLOCK_STEPPED), "set by 60 s, flags {:b}", event.flags.0);
}

#[test]
fn a_clock_that_is_set_by_less_than_2_s_over_and_over_is_in_the_flags() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    for minute in 1..=20 {
        assert!(rig.run(&mut pump, minute * MINUTE));
        let on = rig.look().wall.unwrap().as_ms() + 1_900;
        rig.set().wall = WallMs::from_ms(on);
    }
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert!(event.flags.has(Flags::CLOCK_STEPPED), "38 s in all, flags {:b}", event.flags.0);
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
fn a_retried_limit_has_room_for_its_rows() {
    let mut settings = settings();
    settings.fault = Fault::Retry {
        every: RetryEvery::from_ms(60_000).unwrap(),
        times: core::num::NonZeroU8::new(200).unwrap(),
    };
    // As many short runs as just fit, and one of them meets a blocked inlet.
    let passes = 380;
    let rig = Rig::new(morning(), 1);
    let (mut p, _) = rig.boot(60_000);
    let mut n = passes;
    loop {
        let steps = [
            Step::RunFor { run: DurationMs::from_ms(61_000).unwrap(), target: None },
            Step::Repeat {
                from: StepNo::FIRST,
                passes: Passes::new(n).unwrap(),
                sampler: Sampler::Same,
            },
        ];
        p.load(&block(settings.clone(), &steps), 0).unwrap();
        match p.arm() {
            Ok(_) => break,
            Err(StartRefused::JournalFull { .. }) => n -= 1,
            Err(e) => panic!("{e:?}"),
        }
    }
    assert!(rig.run(&mut p, 5 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut p, 65 * MINUTE));
    rig.set().open_percent = 100;
    assert!(rig.run(&mut p, 24 * HOUR));
    let rows = Rows::of(&mut p);
    assert!(
        !p.record().flags.has(Flags::ROW_LOST),
        "{} spans, {} rows of them",
        p.record().spans,
        rows.spans.len()
    );
    assert_sums(&rows);
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
