//! The whole pump against published behaviour. What is cited was read in a copy of the US Code of Federal Regulations, 2015
//! edition (docs/standards.md); later amendments were not checked.

use draught::event::{EndReason, Limit};
use draught::machine::ArmRefused;
use draught::port::Air;
use draught::prelude::*;
use draught::pump::StartRefused;
use draught::record::{Flags, STANDARD_MK, STANDARD_PA};
use draught::table::{LateTolerance, Outage, Resume, ResumeWithin};
use draught_tests::rig::{Pumping, Rig, Rows, block};

/// 16.67 L/min, the design flow of 40 CFR 50 App. L 7.4.1.
const DESIGN_UL_PER_MIN: u32 = 16_670_000;
const SECOND: u64 = 1_000;
const MINUTE: u64 = 60 * SECOND;
const HOUR: u64 = 60 * MINUTE;

/// Sunday 2027-03-14 00:00 UTC.
fn midnight() -> WallMs {
    let civil = Civil::midnight(Date::from_ymd(2027, 3, 14).unwrap());
    UtcOffset::UTC.instant(civil).unwrap()
}

fn clock(hour: u8, minute: u8) -> TimeOfDay {
    TimeOfDay::from_hms(hour, minute, 0).unwrap()
}

fn ms(ms: u64) -> DurationMs {
    DurationMs::from_ms(u32::try_from(ms).unwrap()).unwrap()
}

/// A mains sampler: long outages do not end its event, and it may start late.
fn settings(outage: fn(Resume) -> Outage) -> Settings {
    let flow = Flow::from_ul_per_min(DESIGN_UL_PER_MIN).unwrap();
    let mut settings = Settings::new(UtcOffset::UTC, Target::flow(flow));
    let within = ResumeWithin::from_ms(24 * HOUR as u32).unwrap();
    settings.outage = outage(Resume { within, while_charging: true });
    settings.late_tolerance = LateTolerance::from_ms(24 * HOUR as u32).unwrap();
    settings
}

fn rig() -> Rig {
    let rig = Rig::new(midnight(), 3);
    rig.set().full_ul_per_min = 25_000_000;
    rig.set().sample_ms = Some((1_380 * MINUTE, 1_500 * MINUTE));
    rig
}

/// Without a supply that warns: a checkpoint every 4 s.
const CHECKPOINT_MS: u32 = 4_000;

fn armed(rig: &Rig, block: &[u8]) -> Pumping {
    let (mut pump, _) = rig.boot(CHECKPOINT_MS);
    pump.load(block, 0).unwrap();
    pump.arm().unwrap();
    pump
}

/// Sets what gets through so that the flow is this, whatever the regulator does: the pump is at its end.
fn restrict(rig: &Rig, ul_per_min: u64) {
    rig.set().full_ul_per_min = ul_per_min;
}

#[test]
fn flow_just_below_the_cut_off_stops_the_sampler_within_30_to_90_s() {
    // 40 CFR 53.53(g)(5): stopped at least 30 s but not more than 90 s after the flow passed the cut-off; then "flow out of
    // spec" and "incorrect sample period" are set. App. L 7.4.4: more than 10 % from the design flow for more than 60 s.
    let rig = rig();
    let mut pump = armed(
        &rig,
        &block(settings(Outage::KeepStopTime), &[Step::RunFor { run: ms(6 * HOUR), target: None }]),
    );
    assert!(rig.run(&mut pump, HOUR));
    restrict(&rig, 14_900_000);
    assert!(rig.run(&mut pump, 7 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let after = event.pumped_ms - HOUR;
    assert!((30 * SECOND..=90 * SECOND).contains(&after), "stopped after {after} ms");
    assert_eq!(event.reason, EndReason::Fault(Limit::FlowLow));
    assert!(event.flags.has(Flags::LIMIT_TRIPPED) && event.flags.has(Flags::TIME_OUTSIDE));
    assert!(rig.look().shown.fault);
}

#[test]
fn flow_below_the_cut_off_for_55_s_does_not_stop_the_sampler() {
    // App. L 7.4.4: not for more than 60 s.
    let rig = rig();
    let mut pump = armed(
        &rig,
        &block(settings(Outage::KeepStopTime), &[Step::RunFor { run: ms(6 * HOUR), target: None }]),
    );
    assert!(rig.run(&mut pump, HOUR));
    restrict(&rig, 14_900_000);
    assert!(rig.run(&mut pump, HOUR + 55 * SECOND));
    // What full duty, which the regulator has come to meanwhile, draws then.
    restrict(&rig, 17_000_000);
    assert!(rig.run(&mut pump, 7 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!((event.reason, event.trips), (EndReason::Finished, [0; 5]));
    assert_eq!(event.pumped_ms, 6 * HOUR);
}

#[test]
fn five_power_interruptions_in_six_hours() {
    // 40 CFR 53.54: an automatic 6-h sample, mains off for 20 s, 40 s, 2, 7 and 20 min, 10 min or more of power in between. The
    // start of each longer than 60 s is recorded within 2 min; the elapsed time, outages left out, within 20 s; the volume is mean
    // flow times time within 2 %.
    let offs = [20 * SECOND, 40 * SECOND, 2 * MINUTE, 7 * MINUTE, 20 * MINUTE];
    let rig = rig();
    let steps = [
        Step::WaitForTime(clock(1, 0)),
        Step::RunUntil { time: clock(7, 0), at_most: ms(6 * HOUR), target: None },
    ];
    let mut pump = armed(&rig, &block(settings(Outage::KeepStopTime), &steps));
    let mut began = Vec::new();
    for (n, off) in offs.into_iter().enumerate() {
        // Not in step with the checkpoints.
        assert!(rig.run(&mut pump, HOUR + (n as u64 + 1) * 40 * MINUTE + 1_777 * n as u64));
        began.push(rig.look().ms);
        drop(pump);
        rig.outage(off);
        (pump, _) = rig.boot(CHECKPOINT_MS);
    }
    assert!(rig.run(&mut pump, 8 * HOUR));
    let rows = Rows::of(&mut pump);
    let event = rows.events[0];
    assert_eq!(event.reason, EndReason::Finished);
    assert_eq!(event.stopped, midnight().plus_ms(7 * HOUR), "the stop time is kept");
    // 360 min less 30 min.
    let off: u64 = offs.iter().sum();
    let elapsed = event.pumped_ms.abs_diff(6 * HOUR - off);
    assert!(elapsed <= 20 * SECOND, "elapsed time is {elapsed} ms off");
    let expected = u64::from(DESIGN_UL_PER_MIN) * event.pumped_ms;
    assert!(event.volume.as_raw().abs_diff(expected) * 50 <= expected, "{:?}", event.volume);
    assert_eq!((event.interruptions, event.resumes), (3, 5));
    for (recorded, began) in event.interrupted_s.iter().zip(&began[2..]) {
        let truth = (midnight().as_ms() + began) / 1_000;
        assert!(u64::from(*recorded).abs_diff(truth) <= 120, "{recorded} for {truth}");
    }
    assert!(event.flags.has(Flags::INTERRUPTED) && !event.flags.has(Flags::MANY_INTERRUPTIONS));
}

#[test]
fn eleven_interruptions_are_counted_and_ten_kept() {
    // App. L 7.4.15.5: the start of each of more than 1 min, up to 10; more invalidate the sample.
    let rig = rig();
    let steps = [Step::RunUntil { time: clock(7, 0), at_most: ms(7 * HOUR), target: None }];
    let mut pump = armed(&rig, &block(settings(Outage::KeepStopTime), &steps));
    for n in 1..=11 {
        assert!(rig.run(&mut pump, n * 20 * MINUTE));
        drop(pump);
        rig.outage(90 * SECOND);
        (pump, _) = rig.boot(CHECKPOINT_MS);
    }
    assert!(rig.run(&mut pump, 8 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!(event.interruptions, 11);
    assert!(event.interrupted_s.iter().all(|&s| s > 0));
    assert!(event.flags.has(Flags::MANY_INTERRUPTIONS));
}

#[test]
fn power_absent_at_the_set_start_starts_on_its_return_and_stops_as_set() {
    // App. L 7.4.15.4.
    let steps = [
        Step::WaitForTime(clock(1, 0)),
        Step::RunUntil { time: clock(7, 0), at_most: ms(6 * HOUR), target: None },
    ];
    let rig = rig();
    let mut pump = armed(&rig, &block(settings(Outage::KeepStopTime), &steps));
    assert!(rig.run(&mut pump, 30 * MINUTE));
    drop(pump);
    rig.outage(HOUR);
    let (mut pump, _) = rig.boot(CHECKPOINT_MS);
    assert!(rig.run(&mut pump, 8 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    let at = |ms| midnight().plus_ms(ms);
    assert_eq!((event.started, event.stopped), (at(90 * MINUTE), at(7 * HOUR)));
    assert_eq!((event.start_set, event.stop_set), (at(HOUR), at(7 * HOUR)));
    assert!(event.flags.has(Flags::LATE));
    assert_eq!(u64::from(event.late_ms), 30 * MINUTE);
}

#[test]
fn power_that_returns_after_the_stop_starts_nothing() {
    // App. L 7.4.15.4: "provided that is before the operator-set stop time".
    let steps = [
        Step::WaitForTime(clock(1, 0)),
        Step::RunUntil { time: clock(7, 0), at_most: ms(6 * HOUR), target: None },
    ];
    let rig = rig();
    let mut pump = armed(&rig, &block(settings(Outage::KeepStopTime), &steps));
    assert!(rig.run(&mut pump, 30 * MINUTE));
    drop(pump);
    rig.outage(7 * HOUR);
    let (mut pump, _) = rig.boot(CHECKPOINT_MS);
    assert!(rig.run(&mut pump, 10 * HOUR));
    let event = Rows::of(&mut pump).events[0];
    assert_eq!((event.started, event.spans, event.pumped_ms), (None, 0, 0));
    assert_eq!(rig.look().truly_drawn, 0);
}

#[test]
fn a_sample_of_1379_or_1501_minutes_is_flagged() {
    // App. L 3.3 and 7.4.13; 40 CFR 50 App. B 8.15 has the same ends.
    for (minutes, flagged) in
        [(1_379, true), (1_380, false), (1_440, false), (1_500, false), (1_501, true)]
    {
        let rig = rig();
        let steps = [Step::RunFor { run: ms(minutes * MINUTE), target: None }];
        let mut pump = armed(&rig, &block(settings(Outage::MakeUpTime), &steps));
        assert!(rig.run(&mut pump, 26 * HOUR));
        let rows = Rows::of(&mut pump);
        assert_eq!(rows.events[0].flags.has(Flags::TIME_OUTSIDE), flagged, "{minutes} min");
        if minutes == 1_440 {
            // App. L 3.1: 24 m³ (24.005 at the design flow).
            let litres = rows.events[0].volume.as_ml() / 1_000;
            assert!((23_900..=24_100).contains(&litres), "{litres} L");
        }
    }
}

#[test]
fn more_than_10_percent_off_trips_and_5_percent_is_flagged_only() {
    // App. L 7.4.5.2: a flag if the flow is outside ± 5 % of the period average for more than 5 min.
    let rig = rig();
    let mut pump = armed(
        &rig,
        &block(settings(Outage::KeepStopTime), &[Step::RunFor { run: ms(3 * HOUR), target: None }]),
    );
    assert!(rig.run(&mut pump, HOUR));
    restrict(&rig, u64::from(DESIGN_UL_PER_MIN) * 92 / 100);
    assert!(rig.run(&mut pump, HOUR + 20 * MINUTE));
    restrict(&rig, 25_000_000);
    assert!(rig.run(&mut pump, 4 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(rows.events[0].reason, EndReason::Finished);
    assert!(rows.events[0].flags.has(Flags::FLOW_UNSTEADY));
    let (low, _) = rows.samples[0].interval_means.unwrap();
    // Lower than 92 % at first, until the duty has followed.
    assert!((14_500_000..15_400_000).contains(&low), "{low}");
}

#[test]
fn a_volume_at_standard_conditions_is_summed_beside_the_actual_one() {
    // App. B, J: (P / 101,325 Pa) · (298.15 K / T); here 90 kPa and 10 °C for an hour, then 95 kPa and 20 °C.
    let rig = rig();
    rig.set().air = Some(Air { temperature_mk: 283_150, pressure_pa: 90_000 });
    let mut pump = armed(
        &rig,
        &block(settings(Outage::KeepStopTime), &[Step::RunFor { run: ms(2 * HOUR), target: None }]),
    );
    assert!(rig.run(&mut pump, HOUR));
    let first = pump.status().drawn.as_raw();
    rig.set().air = Some(Air { temperature_mk: 293_150, pressure_pa: 95_000 });
    assert!(rig.run(&mut pump, 3 * HOUR));
    let sample = Rows::of(&mut pump).samples[0];
    let second = sample.volume().as_raw() - first;
    let standard = |drawn: u64, pressure: u64, temperature: u64| {
        u128::from(drawn) * u128::from(pressure) * u128::from(STANDARD_MK)
            / (u128::from(STANDARD_PA) * u128::from(temperature))
    };
    let exact = standard(first, 90_000, 283_150) + standard(second, 95_000, 293_150);
    let low = exact - u128::from(sample.standard.as_raw());
    // The bound of `Tally::standard`.
    assert!(low <= exact * 15 / 1_000_000_000 + u128::from(sample.flow.readings), "{low}");
    assert_eq!(sample.air_ms, sample.metered_ms());
    let temperature = sample.temperature_mk().unwrap();
    assert_eq!((temperature.min, temperature.max), (283_150, 293_150));
    assert!(temperature.mean.abs_diff(288_150) <= 2, "one of the 7,200 readings is of either air");
}

#[test]
fn a_schedule_that_needs_a_clock_is_not_armed_without_one() {
    let rig = rig();
    let (mut pump, _) = rig.boot(CHECKPOINT_MS);
    pump.load(
        &block(
            settings(Outage::KeepStopTime),
            &[Step::WaitForTime(clock(1, 0)), Step::RunFor { run: ms(HOUR), target: None }],
        ),
        0,
    )
    .unwrap();
    rig.set().wall = None;
    assert_eq!(pump.arm(), Err(StartRefused::Arm(ArmRefused::ClockUntrusted)));
}
