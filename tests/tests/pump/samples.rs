//! What is said of one sample and of one stretch, and of no other.

use super::*;
use draught::port::Air;

/// Runs of ten minutes, each on a sampler of its own, a minute apart.
fn samplers(passes: u16, outage: Outage) -> Vec<u8> {
    let mut settings = settings();
    settings.outage = outage;
    let steps = [
        run(10),
        Step::Hold(minutes(1)),
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(passes).unwrap(),
            sampler: Sampler::Fresh,
        },
    ];
    block(settings, &steps)
}

/// When the run on a sampler begins, from 1.
const fn begin(sample: u64) -> u64 {
    (sample - 1) * 11 * MINUTE
}

/// The samples that have a flag, and the stretches that have it, by number.
fn with(rows: &Rows, flag: Flags) -> (Vec<u32>, Vec<u16>) {
    let samples = rows.samples.iter().filter(|s| s.flags.has(flag)).map(|s| s.number);
    let spans = rows.spans.iter().filter(|s| s.flags.has(flag)).map(|s| s.number);
    (samples.collect(), spans.collect())
}

fn all_flags(rows: &Rows) -> u32 {
    rows.samples.iter().fold(0, |all, s| all | s.flags.0)
}

#[test]
fn a_cut_is_told_of_the_sample_and_the_stretch_that_it_hit() {
    let (rig, mut pump) = armed(&samplers(4, made_up()), 60_000);
    assert!(rig.run(&mut pump, begin(2) + 4 * MINUTE + 30_500));
    drop(pump);
    rig.outage(2 * MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!((event.reason, rows.spans.len()), (EndReason::Finished, 5));
    for flag in [Flags::INTERRUPTED, Flags::TIME_UNACCOUNTED] {
        assert_eq!(with(&rows, flag), (vec![2], vec![2]), "{flag:?}");
    }
    let of = |s: &draught::record::SampleRow| (s.interruptions, s.unaccounted_ms);
    let told: Vec<_> = rows.samples.iter().map(of).collect();
    assert_eq!(told, [(0, 0), (1, 61_000), (0, 0), (0, 0)]);
    assert_eq!((event.interruptions, event.unaccounted_ms), (1, 61_000));
    assert_eq!(all_flags(&rows), event.flags.0, "nothing in the event that no sample has");
}

#[test]
fn a_cut_while_a_sampler_waits_is_told_of_the_stretch_that_it_made_late() {
    let (rig, mut pump) = armed(&samplers(3, made_up()), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE + 10_000));
    drop(pump);
    rig.outage(10_000);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    // No air was missed: the first sample is whole, and the second begins after a boot.
    assert_eq!(with(&rows, Flags::INTERRUPTED), (vec![2], vec![2]));
    assert_eq!(rows.samples[1].interruptions, 0);
    assert!(rows.events[0].flags.has(Flags::INTERRUPTED));
}

#[test]
fn a_limit_is_told_of_the_sample_that_it_tripped_in() {
    let (rig, mut pump) = armed(&samplers(3, made_up()), 60_000);
    assert!(rig.run(&mut pump, begin(2) + 3 * MINUTE));
    rig.set().open_percent = 10;
    while pump.record().trips == [0; 5] {
        let until = rig.look().ms + 1_000;
        assert!(rig.run(&mut pump, until));
    }
    rig.set().open_percent = 100;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.spans[1].by, PumpEnd::Tripped(Limit::FlowLow));
    assert_eq!(with(&rows, Flags::LIMIT_TRIPPED), (vec![2], vec![2]));
}

#[test]
fn a_sensor_that_does_not_answer_is_told_of_the_stretch() {
    let mut settings = settings();
    settings.fault = Fault::Close;
    let (rig, mut pump) =
        armed(&block(settings, &[run(5), Step::Hold(minutes(1)), run(5)]), 60_000);
    assert!(rig.run(&mut pump, 8 * MINUTE));
    rig.set().sensor_works = false;
    assert!(rig.run(&mut pump, 8 * MINUTE + 3_000));
    rig.set().sensor_works = true;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(with(&rows, Flags::FLOW_UNKNOWN), (vec![1], vec![2]));
}

#[test]
fn air_that_was_measured_for_one_sample_and_not_for_the_next_is_flagged() {
    let (rig, mut pump) = armed(&samplers(3, made_up()), 60_000);
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 95_000 });
    assert!(rig.run(&mut pump, begin(2) - 30_000));
    rig.set().air_sensor_works = false;
    assert!(rig.run(&mut pump, begin(3) - 30_000));
    rig.set().air_sensor_works = true;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let whole: Vec<_> = rows.samples.iter().map(|s| s.air_ms == s.metered_ms()).collect();
    assert_eq!(whole, [true, false, true]);
    assert_eq!(rows.samples[1].air_ms, 0);
    assert_eq!(with(&rows, Flags::AIR_UNKNOWN), (vec![2], vec![2]));
}

#[test]
fn a_pump_without_sensors_for_the_air_is_not_flagged_for_it() {
    let (rig, mut pump) = armed(&samplers(2, made_up()), 60_000);
    rig.set().air_sensor_works = false;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!((rows.events[0].flags, rows.samples[0].air_ms), (Flags(0), 0));
}

#[test]
fn a_clock_that_is_set_in_a_wait_is_told_of_what_comes_after_it() {
    let (rig, mut pump) = armed(&samplers(3, made_up()), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE + 30_000));
    let wall = rig.look().wall;
    rig.set().wall = wall.and_then(|wall| wall.plus_ms(60_000));
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(with(&rows, Flags::CLOCK_STEPPED), (vec![2], vec![2]));
}

#[test]
fn a_retry_pause_that_is_cut_is_told_of_its_sample_and_of_no_stretch() {
    let mut settings = settings();
    (settings.outage, settings.fault) = (made_up(), retry(10 * MINUTE, 3));
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().open_percent = 10;
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.set().open_percent = 100;
    assert_eq!(rig.look().duty.per_myriad(), 0, "it is paused");
    drop(pump);
    rig.outage(2 * MINUTE);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].reason, EndReason::Finished);
    assert_eq!(with(&rows, Flags::INTERRUPTED), (vec![1], vec![]));
    assert_eq!((rows.samples[0].interruptions, rows.samples[0].unaccounted_ms), (1, 0));
}

#[test]
fn the_flags_of_a_stretch_under_way_survive_a_cut() {
    let (rig, mut pump) = armed(&samplers(2, made_up()), 60_000);
    assert!(rig.run(&mut pump, 3 * MINUTE));
    rig.set().sensor_works = false;
    assert!(rig.run(&mut pump, 3 * MINUTE + 3_000));
    rig.set().sensor_works = true;
    assert!(rig.run(&mut pump, 6 * MINUTE));
    drop(pump);
    rig.outage(30_000);
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(with(&rows, Flags::FLOW_UNKNOWN), (vec![1], vec![1]));
}

#[test]
fn how_much_too_long_a_stretch_was_is_in_its_row() {
    let (rig, mut pump) = armed(&samplers(2, made_up()), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE - 500));
    rig.pass(3_500);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    let over: Vec<_> = rows.spans.iter().map(|s| (s.pumped_ms, s.overrun_ms)).collect();
    assert_eq!(over[0], (10 * MINUTE + 3_000, 3_000));
    assert_eq!(over[1].1, 0);
}

#[test]
fn a_missed_appointment_is_counted_and_its_pass_has_no_stretch() {
    // Two mornings; the first is missed, since the board slept over it.
    let steps = [
        Step::WaitForTime(TimeOfDay::from_hms(7, 30, 0).unwrap()),
        run(15),
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(2).unwrap(),
            sampler: Sampler::Fresh,
        },
    ];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    pump.poll();
    rig.pass(2 * HOUR);
    assert!(rig.run(&mut pump, 48 * HOUR));
    let rows = Rows::of(&mut pump);
    let event = rows.events[0];
    assert_eq!((event.missed, event.late_ms), (1, 0));
    assert!(event.flags.has(Flags::LATE));
    assert_eq!(rows.spans.iter().map(|s| s.passes.0[0]).collect::<Vec<_>>(), [2]);
}

#[test]
fn the_statistics_of_a_sample_are_those_of_its_sums() {
    let (rig, mut pump) = armed(&samplers(2, made_up()), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().open_percent = 96;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let sample = Rows::of(&mut pump).samples[0];
    let (sum, ms) = (i128::from(sample.volume().as_raw()), i128::from(sample.metered_ms()));
    let squares = i128::try_from(sample.flow.squares).unwrap();
    // Variance times ms², exactly; and the coefficient that the row gives of it, to its last digit.
    let spread = squares * ms - sum * sum;
    let n = i128::from(sample.flow.readings);
    let cv = i128::from(sample.cv_per_myriad().unwrap());
    let close = |cv: i128| cv * cv * sum * sum * (n - 1) <= spread * n * 100_000_000;
    assert!(spread > 0 && cv > 0 && close(cv - 1) && !close(cv + 1), "{cv} of {sample:?}");
}

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
fn a_blocked_inlet_trips_also_when_every_run_is_short_and_has_a_sampler_of_its_own() {
    for seconds in [4, 30] {
        let run = DurationMs::from_ms(seconds * 1_000).unwrap();
        let steps = [Step::RunFor { run, target: None }, fresh(100)];
        let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
        rig.set().open_percent = 0;
        while pump.record().trips == [0; 5] {
            let until = rig.look().ms + 1_000;
            assert!(rig.run(&mut pump, until) && until < 3 * MINUTE, "{seconds} s, never");
        }
        assert!(rig.look().ms > MINUTE, "{seconds} s, {} ms", rig.look().ms);
    }
}
