//! The motor: off when nothing asks for it, off before flash is written, and what is told when it does not obey.

use draught::event::EndReason;
use draught::event::StopReason;
use draught::port::Duty;
use draught::port::Key;
use draught::prelude::*;
use draught::pump::Booted;
use draught::record::Flags;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::*;

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
fn a_motor_that_does_not_stop_is_in_the_record() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 59_500));
    rig.pass(500);
    rig.set().motor_fails = true;
    let until = rig.look().ms + 10 * MINUTE;
    assert!(rig.run(&mut pump, until));
    rig.set().motor_fails = false;
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert!(rig.look().truly_pumped_ms > event.pumped_ms + 9 * MINUTE, "it ran on");
    assert!(event.flags.has(Flags::MOTOR_FAILED), "flags {:b}", event.flags.0);
}

#[test]
fn an_idle_pump_whose_motor_does_not_answer_wears_no_flash() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().motor_fails = true;
    let before = rig.look().nor.operations();
    for _ in 0..60 {
        pump.poll();
        rig.pass(1_000);
    }
    let operations = rig.look().nor.operations() - before;
    // One checkpoint, and the erase of a page if it needs one.
    assert!(operations < 200, "{operations} words and erases in a minute with nothing armed");
}

#[test]
fn an_engine_at_rest_has_its_motor_off() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    // A soft reset: the timer of the motor goes on as it was. And the charger is in.
    rig.outage(0);
    rig.set().duty = draught::port::Duty::from_per_myriad(5_000);
    rig.set().power.charging = true;
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    assert!(rig.run(&mut pump, 6 * MINUTE));
    assert_eq!(rig.look().duty.per_myriad(), 0, "held, and the motor runs");
}

#[test]
fn a_status_after_a_command_that_was_refused_is_what_the_motor_does() {
    // A step ended and the next began at the instant of a command that is refused: nobody drives the motor until the next poll.
    let hold = Step::Hold(minutes(1));
    let (rig, mut pump) = armed(&block(settings(), &[run(1), hold, run(5)]), 60_000);
    assert!(rig.run(&mut pump, 59_500));
    rig.pass(500);
    let refused = pump.command(draught::machine::Command::Resume { step: StepNo::FIRST });
    assert!(refused.is_err());
    assert_eq!(rig.look().duty.per_myriad(), 0, "the run is over, and the motor runs on");
}

#[test]
fn a_draw_volume_is_not_up_to_a_reading_too_long() {
    // docs/accuracy.md: "The shell takes its reading at the moment at which the volume will be full".
    let step = Step::DrawVolume {
        volume: Volume::from_ml(1_010).unwrap(),
        at_most: minutes(5),
        target: None,
    };
    let (rig, mut pump) = armed(&block(settings(), &[step]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let event = Rows::of(&mut pump).events[0];
    let ml = event.volume.as_raw() / 60_000_000;
    assert!((1_010..=1_011).contains(&ml), "{ml} mL");
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
    assert!(after.volume().as_raw().abs_diff(target) < target / 100, "{:?}", after.volume());
}

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
