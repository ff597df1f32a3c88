//! Supplies that warn, fail again and again, or charge; and the lamp that stays out.

use draught::event::EndReason;
use draught::machine::Phase;
use draught::port::Key;
use draught::port::Power;
use draught::prelude::*;
use draught::pump::Booted;
use draught::record::Flags;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::*;

/// Sixty runs of 20 s with 5 s between them: none is as long as a checkpoint interval.
fn short_runs() -> Vec<u8> {
    let mut settings = settings();
    settings.outage = made_up();
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
fn five_short_cuts_in_a_pause_are_no_supply_fault() {
    // 30 s of pumping, a blocked inlet, an hour of pause; the cuts come in the pause, in which no interval can be pumped.
    let mut settings = settings();
    settings.outage = made_up();
    settings.fault = retry(HOUR, 1);
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 4 * MINUTE));
    rig.set().open_percent = 100;
    for _ in 0..5 {
        rig.outage(2_000);
        pump = rig.boot(60_000).0;
        let until = rig.look().ms + 5 * MINUTE;
        assert!(rig.run(&mut pump, until));
    }
    assert!(rig.run(&mut pump, 4 * HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
}

#[test]
fn a_cut_while_nothing_is_pumped_leaves_nothing_unaccounted() {
    let mut settings = settings();
    settings.fault = retry(5 * MINUTE, 1);
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
fn a_boot_on_a_failing_supply_does_not_say_of_an_earlier_cut_that_it_was_warned_of() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(1), run(10)]), 60_000);
    assert!(rig.run(&mut pump, MINUTE + 50_000)); // 50 s into the second run, with no warning
    drop(pump);
    rig.outage(MINUTE);
    // The empty battery is put on its charger: the board wakes, and dies again.
    rig.set().power = Power { failing: true, charging: true, ..Power::GOOD };
    let (pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power = Power::GOOD;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    let lost = rig.look().truly_pumped_ms - event.pumped_ms;
    assert!(
        lost <= u64::from(event.unaccounted_ms) + 1_000 && event.flags.has(Flags::TIME_UNACCOUNTED),
        "{lost} ms are missing, {} ms are said to be, flags {:b}",
        event.unaccounted_ms,
        event.flags.0
    );
}

#[test]
fn the_charger_is_not_forgotten_when_an_event_is_held_and_cut_again() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    assert!(last.is_none());
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].pumped_ms, 30 * MINUTE);
    assert_eq!(rows.events[0].interruptions, 1);
}

#[test]
fn a_stop_while_held_by_the_charger_adds_no_reading_to_the_sample() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20_000));
    rig.set().power.failing = true;
    pump.poll();
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power = Power { charging: true, ..Power::GOOD };
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    rig.set().keys.push_back(Key::Stop);
    pump.poll();
    let shown = rig.look().shown;
    rig.pass(4_000); // another key, say
    pump.poll();
    let rows = Rows::of(&mut pump);
    let sample = rows.samples[0];
    assert!(
        sample.metered_ms() <= sample.pumped_ms && !shown.armed && !shown.pumping,
        "pumped {} ms, metered {} ms, {:?}, cv {:?}; shown after the stop: {shown:?}",
        sample.pumped_ms,
        sample.metered_ms(),
        sample.flow_ul_per_min(),
        sample.cv_per_myriad()
    );
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
fn a_lamp_that_was_put_out_stays_out_over_a_cut() {
    let mut settings = settings();
    settings.fault = retry(5 * MINUTE, 1);
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
    let (rig, mut pump) =
        armed(&block(settings, &[run(1), Step::Hold(minutes(1)), run(30)]), 60_000);
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
    assert!(event.volume.as_raw() <= rig.look().truly_drawn);
}
