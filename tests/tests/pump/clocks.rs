//! What a record says when a clock is lost, set or late.

use draught::event::EndReason;
use draught::prelude::*;
use draught::pump::Booted;
use draught::record::Flags;
use draught_tests::rig::Rig;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::*;

#[test]
fn a_wall_clock_that_went_back_over_an_outage_is_not_believed() {
    // The stop time is kept by the wall clock: one that went back by an hour would let the pump run an hour too long.
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.outage(MINUTE);
    let back = rig.look().wall.unwrap().as_ms() - HOUR;
    rig.set().wall = WallMs::from_ms(back);
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::Resumed { outage_ms: None });
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
    assert_eq!(booted, Booted::Resumed { outage_ms: Some(0) });
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
fn a_run_that_was_too_long_because_of_a_late_poll_is_flagged() {
    // porting.md: "Calls that come late are recorded".
    let (rig, mut pump) = armed(&block(settings(), &[run(1), Step::Hold(minutes(5))]), 60_000);
    assert!(rig.run(&mut pump, 57_000));
    rig.pass(7_900); // 4.9 s after the reading at 56 or 57 s, in two goes
    pump.poll();
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert!(rows.spans[0].pumped_ms > 64_000, "{}", rows.spans[0].pumped_ms);
    assert!(rows.events[0].flags.has(Flags::FLOW_UNKNOWN), "flags {:b}", rows.events[0].flags.0);
}

#[test]
fn one_failed_reading_of_the_clock_at_boot_does_not_end_a_sample() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20 * MINUTE));
    drop(pump);
    rig.outage(1_000);
    rig.set().wall_fails = 1;
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::Resumed { outage_ms: Some(61_000) }, "from the newest checkpoint");
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert!(!event.flags.has(Flags::CLOCK_UNTRUSTED));
}

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
