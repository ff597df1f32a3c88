//! Whether the journal has room for the record.

use draught::event::EndReason;
use draught::prelude::*;
use draught::pump::Booted;
use draught::pump::StartRefused;
use draught::record::Flags;
use draught_tests::rig::Pumping;
use draught_tests::rig::Rig;
use draught_tests::rig::Rows;
use draught_tests::rig::block;

use super::{HOUR, MINUTE, armed, assert_sums, made_up, morning, retry, run, settings};

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
    // Forty rows are kept free for what is not forecast, one is the event's, and each sampler has one.
    let (rig, mut pump) = armed(&runs(2, Sampler::Same), 60_000);
    let free = u16::try_from(pump.rows_free()).unwrap();
    assert!(rig.run(&mut pump, MINUTE));
    for (sampler, most) in [(Sampler::Same, free - 42), (Sampler::Fresh, (free - 41) / 2)] {
        let rig = Rig::new(morning(), 2);
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
    let rig = Rig::new(morning(), 2);
    let (mut pump, _) = rig.boot(60_000);
    pump.load(&block(settings(), &steps), 0).unwrap();
    assert_eq!(pump.arm(), Err(StartRefused::TooLong));
    assert!(!pump.status().indications.armed);
    pump.load(&block(settings(), &[run(1), hold, passes(1_000, 2)]), 0).unwrap();
    pump.arm().unwrap();
}

/// A rig with a pump that is armed with as many runs of a minute as its record has room for.
fn as_many_runs_as_fit(settings: &Settings, checkpoint_ms: u32) -> (Rig, Pumping) {
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(checkpoint_ms);
    let fits = (2..=u16::try_from(pump.rows_free()).unwrap()).rev().find(|&n| {
        let run = Step::RunFor { run: DurationMs::from_ms(61_000).unwrap(), target: None };
        let passes = Passes::new(n).unwrap();
        let again = Step::Repeat { from: StepNo::FIRST, passes, sampler: Sampler::Same };
        pump.load(&block(settings.clone(), &[run, again]), 0).unwrap();
        match pump.arm() {
            Ok(_) => true,
            Err(StartRefused::JournalFull { .. }) => false,
            Err(e) => panic!("{e:?}"),
        }
    });
    assert!(fits.is_some_and(|n| n > 100));
    (rig, pump)
}

#[test]
fn a_retried_limit_has_room_for_its_rows() {
    let mut settings = settings();
    settings.fault = retry(MINUTE, 200);
    // One of the runs meets a blocked inlet.
    let (rig, mut p) = as_many_runs_as_fit(&settings, 60_000);
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

#[test]
fn ten_cuts_in_a_schedule_that_just_fits_lose_no_row() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = as_many_runs_as_fit(&settings, 20_000);
    for _ in 0..10 {
        let until = rig.look().ms + 80_000;
        assert!(rig.run(&mut pump, until));
        rig.outage(2_000);
        pump = rig.boot(20_000).0;
    }
    assert!(rig.run(&mut pump, 24 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(pump.record().reason, EndReason::Finished);
    assert!(
        !pump.record().flags.has(Flags::ROW_LOST),
        "{} spans, {} of them in rows, events {}",
        pump.record().spans,
        rows.spans.len(),
        rows.events.len()
    );
    assert_sums(&rows);
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
