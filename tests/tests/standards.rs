//! Published figures that the core meets, each beside its source.
//!
//! *Published* values were read in the text that is named; where a figure follows from published ones by
//! arithmetic, the comment says *computed*. Sections of the US Code of Federal Regulations (CFR) are cited from the
//! annual edition of 2015; later amendments were not checked.

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{EndReason, Event, PumpEnd, Pumped};
use draught::forecast::{Forecast, Span, What};
use draught::machine::{EventId, Input, Machine, Wake};
use draught::meter::Meter;
use draught::prelude::*;
use draught::table::LateTolerance;

const MIN: u64 = 60_000;
const HOUR: u64 = 60 * MIN;

/// Flow in mL/min.
fn flow(ml_per_min: u32) -> Target {
    Target::flow(Flow::from_ul_per_min(ml_per_min * 1_000).unwrap())
}

fn duration(ms: u64) -> DurationMs {
    DurationMs::from_ms(u32::try_from(ms).unwrap()).unwrap()
}

fn date(y: u16, m: u8, d: u8) -> Step {
    Step::WaitForDate(Date::from_ymd(y, m, d).unwrap())
}

fn time(h: u8, m: u8) -> TimeOfDay {
    TimeOfDay::from_hms(h, m, 0).unwrap()
}

/// An instant at a fixed offset, in hours from UTC.
fn wall(offset: i8, y: u16, m: u8, d: u8, h: u8, min: u8) -> WallMs {
    let civil = Civil { date: Date::from_ymd(y, m, d).unwrap(), time: time(h, min) };
    UtcOffset::from_quarter_hours(offset * 4).unwrap().instant(civil).unwrap()
}

fn now(wall: WallMs) -> Now {
    Now { mono: MonoMs::from_ms(77), wall: Some(wall) }
}

fn forecast(settings: &Settings, steps: &[Step], armed: WallMs) -> Vec<Span> {
    let table = TableRef::new(settings, steps).unwrap();
    Forecast::new(table, &Fit::ANY, now(armed)).unwrap().collect()
}

/// The stretches of pumping of a plan at a fixed offset, armed on 2027-02-11 at noon UTC.
fn pumping(target: Target, steps: &[Step]) -> Vec<Span> {
    let settings = Settings::new(UtcOffset::UTC, target);
    let spans = forecast(&settings, steps, wall(0, 2027, 2, 11, 12, 0));
    spans.into_iter().filter(|s| matches!(s.what, What::Pump { .. })).collect()
}

fn lasts(span: &Span) -> u64 {
    span.to.mono.since(span.from.mono)
}

/// What a run-for of so many minutes draws, in µL.
fn volume_of_run(ml_per_min: u32, minutes: u64) -> u64 {
    let run = Step::RunFor { run: duration(minutes * MIN), target: None };
    let spans = pumping(flow(ml_per_min), &[run, Step::Finish]);
    assert_eq!(lasts(&spans[0]), minutes * MIN);
    spans[0].volume.unwrap().as_ul()
}

/// How long a draw-volume takes, in ms.
fn time_of_draw(ml_per_min: u32, ml: u32) -> u64 {
    let volume = Volume::from_ml(ml).unwrap();
    let draw = Step::DrawVolume { volume, at_most: duration(31 * 24 * HOUR), target: None };
    let spans = pumping(flow(ml_per_min), &[draw, Step::Finish]);
    assert!(matches!(spans[0].what, What::Pump { by: PumpEnd::Volume, .. }));
    assert!(spans[0].volume.unwrap() >= volume.raw(), "not a drop less than asked");
    lasts(&spans[0])
}

// ---- Sampling time is volume over flow

/// OSHA method 1008 (hydrogen sulfide), published: 0.05 L/min for 240 min is 12 L; 0.5 L/min for 15 min is
/// 7.5 L; 0.5 L/min for 10 min is 5 L.
#[test]
fn osha_1008_flow_time_and_volume() {
    for (ml_per_min, minutes, ml) in [(50, 240, 12_000), (500, 15, 7_500), (500, 10, 5_000)] {
        assert_eq!(volume_of_run(ml_per_min, minutes), u64::from(ml) * 1_000);
        assert_eq!(time_of_draw(ml_per_min, ml), minutes * MIN);
    }
}

/// OSHA method ID-145, published: 10 L at 2.0 L/min, 5 min.
#[test]
fn osha_id_145_five_minutes() {
    assert_eq!(time_of_draw(2_000, 10_000), 5 * MIN);
}

/// OSHA method 109 (2-propanol): 18 L at 0.2 L/min, published; 90 min, computed.
/// OSHA method 69 (acetone): 3 L at 0.05 L/min, published; 60 min, computed.
#[test]
fn osha_109_and_69_volume_over_flow() {
    assert_eq!(time_of_draw(200, 18_000), 90 * MIN);
    assert_eq!(time_of_draw(50, 3_000), 60 * MIN);
}

/// The full-shift example of the OSHA Technical Manual as reproduced in Boss & Day, "Air Sampling and Industrial
/// Hygiene Engineering", 4.6.2, published: 240 min at 2.0 L/min is 480 L.
#[test]
fn four_hours_at_two_litres_a_minute() {
    assert_eq!(volume_of_run(2_000, 240), 480_000_000);
}

/// OSHA's worked example of a silica mixture (osha.gov/dsg/topics/silicacrystalline/rosem/mixture.html), published:
/// 405 L in 238 min and 326 L in 192 min, 731 L in all. Its flow of 1.7 L/min follows from them.
#[test]
fn osha_silica_example_volumes() {
    let litres = |minutes| (volume_of_run(1_700, minutes) + 500_000) / 1_000_000;
    assert_eq!((litres(238), litres(192)), (405, 326));
    assert_eq!(litres(238) + litres(192), 731);
}

/// Flow and volume ranges of methods of the NIOSH Manual of Analytical Methods, published; the times are
/// computed. In mL/min and mL.
#[test]
fn niosh_methods_volume_over_flow() {
    let methods: [(&str, &[u32], [u32; 2]); 11] = [
        ("0500 total dust", &[1_000, 2_000], [7_000, 133_000]),
        ("0501 total dust, capsule", &[1_000, 2_000], [17_000, 333_000]),
        ("0600 respirable dust", &[1_700, 2_200, 2_500], [20_000, 400_000]),
        ("1300 ketones I, acetone", &[10, 200], [500, 3_000]),
        ("1301 ketones II", &[10, 200], [1_000, 25_000]),
        ("1405 alcohols combined", &[10, 200], [2_000, 10_000]),
        ("2549 volatile organic compounds, screening", &[10, 50], [1_000, 6_000]),
        ("5700 formaldehyde on dust", &[2_000], [240_000, 1_050_000]),
        ("6009 mercury", &[150, 250], [2_000, 100_000]),
        ("7501 amorphous silica", &[1_000, 3_000, 1_700, 2_200], [50_000, 400_000]),
        ("7601 crystalline silica", &[2_200, 1_700], [400_000, 800_000]),
    ];
    for (method, flows, volumes) in methods {
        for flow in flows {
            for ml in volumes {
                // In ms, the one begun counted.
                let exact = (u64::from(ml) * MIN).div_ceil(u64::from(*flow));
                assert_eq!(time_of_draw(*flow, ml), exact, "{method}: {ml} mL at {flow} mL/min");
            }
        }
    }
}

/// NIOSH method 7400, step 4: t = Ac · E / (Q · L · 1000), published, with Ac = 385 mm², E = 100 to 1,300
/// fibres/mm², L = 0.1 fibre/mL; at 2 L/min 192.5 min to 2,502.5 min, computed.
#[test]
fn niosh_7400_sampling_time() {
    for (fibres_per_mm2, half_minutes) in [(100, 385), (1_300, 5_005)] {
        // Ac · E fibres, at 0.1 of them in each mL.
        let ml = 385 * fibres_per_mm2 * 10;
        assert_eq!(time_of_draw(2_000, ml), half_minutes * MIN / 2);
    }
}

/// 29 CFR 1910.1043 App. A (cotton dust), published: 7.4 L/min, area samples of 6 h. 2,664 L, computed.
#[test]
fn six_hours_of_cotton_dust() {
    assert_eq!(volume_of_run(7_400, 360), 2_664_000_000);
}

/// 30 CFR 74.4(a)(13), published: 2.0 L/min for 10 h within ±0.1 L/min. 1,140 L to 1,260 L, computed; the
/// plan is in the middle of it.
#[test]
fn ten_hours_in_a_coal_mine() {
    assert_eq!(volume_of_run(2_000, 600), 1_200_000_000);
    assert_eq!(
        (volume_of_run(1_900, 600), volume_of_run(2_100, 600)),
        (1_140_000_000, 1_260_000_000)
    );
}

// ---- 40 CFR 50 Appendix L: the 24-hour sample of fine particles

/// 3.1 and 7.4.1, published: 24 h at 16.67 L/min is 24 m³.
#[test]
fn a_day_at_16_67_litres_a_minute_is_24_cubic_metres() {
    let ul = volume_of_run(16_670, 1_440);
    assert_eq!(ul, 24_004_800_000);
    let tenths_of_m3 = (ul + 50_000_000) / 100_000_000;
    assert_eq!(tenths_of_m3, 240, "24.0 m³");
}

/// The same, metered second by second.
#[test]
fn a_day_metered_is_24_cubic_metres() {
    let mut meter = Meter::new(MonoMs::from_ms(0));
    for second in 1..=86_400 {
        meter.reading(MonoMs::from_ms(second * 1_000), 16_670_000);
    }
    assert_eq!(meter.volume().as_ul(), 24_004_800_000);
    assert_eq!((meter.mean_ul_per_min(), meter.cv_per_myriad()), (Some(16_670_000), Some(0)));
}

/// 7.4.3.2, published: the coefficient of variation is the sample standard deviation over the mean. Computed:
/// of 16.0, 16.67 and 17.34 L/min it is 0.67 / 16.67 = 4.02 %.
#[test]
fn the_coefficient_of_variation_is_that_of_a_sample() {
    let mut meter = Meter::new(MonoMs::from_ms(0));
    for (n, ul_per_min) in [16_000_000, 16_670_000, 17_340_000].into_iter().enumerate() {
        meter.reading(MonoMs::from_ms((n as u64 + 1) * 5_000), ul_per_min);
    }
    assert_eq!(meter.cv_per_myriad(), Some(402));
}

/// 7.4.12(a)(4), published: start at a set time and date, stop 24 h (1440 min) later ...
#[test]
fn start_at_a_time_and_date_and_stop_a_day_later() {
    let run = Step::RunFor { run: duration(1_440 * MIN), target: None };
    let steps = [date(2027, 2, 14), Step::WaitForTime(time(0, 0)), run, Step::Finish];
    let span = pumping(flow(16_670), &steps)[0];
    assert_eq!(span.from.wall, Some(wall(0, 2027, 2, 14, 0, 0)));
    assert_eq!(span.to.wall, Some(wall(0, 2027, 2, 15, 0, 0)));
}

/// ... or at a set time and date.
#[test]
fn start_at_a_time_and_date_and_stop_at_another() {
    let until = Step::RunUntil { time: time(6, 31), at_most: duration(24 * HOUR), target: None };
    let steps = [date(2027, 2, 14), Step::WaitForTime(time(7, 13)), until, Step::Finish];
    let span = pumping(flow(16_670), &steps)[0];
    assert_eq!(span.from.wall, Some(wall(0, 2027, 2, 14, 7, 13)));
    assert_eq!(span.to.wall, Some(wall(0, 2027, 2, 15, 6, 31)));
}

/// 7.4.12(b), published: start and stop can be set to within 1 min. Every minute of the day, exactly.
#[test]
fn every_minute_of_the_day_can_be_set() {
    for minute in 0..1_440u64 {
        let at = TimeOfDay::from_ms(u32::try_from(minute * MIN).unwrap()).unwrap();
        let until = Step::RunUntil { time: at, at_most: duration(24 * HOUR), target: None };
        let steps = [date(2027, 2, 14), Step::WaitForTime(at), until, Step::Finish];
        let span = pumping(flow(16_670), &steps)[0];
        let begin = wall(0, 2027, 2, 14, 0, 0).plus_ms(minute * MIN);
        assert_eq!((span.from.wall, lasts(&span)), (begin, 1_440 * MIN));
    }
}

/// 40 CFR 58.12(e) and 40 CFR 50 App. N 1.0, published: samples run from midnight to midnight, local standard time.
/// 49 CFR 71.2, published: clocks change on the second Sunday of March and the first of November; 2027-03-14 and
/// 2027-11-07, computed. A schedule at the offset of standard time runs 24 h on those days too.
#[test]
fn midnight_to_midnight_is_24_hours_when_clocks_change() {
    let central_standard = -6;
    let offset = UtcOffset::from_quarter_hours(central_standard * 4).unwrap();
    let settings = Settings::new(offset, flow(16_670));
    for (month, day) in [(3, 14), (11, 7)] {
        let until = Step::RunUntil { time: time(0, 0), at_most: duration(24 * HOUR), target: None };
        let steps = [date(2027, month, day), Step::WaitForTime(time(0, 0)), until, Step::Finish];
        let armed = wall(central_standard, 2027, month, day - 3, 9, 0);
        let spans = forecast(&settings, &steps, armed);
        let span = spans.iter().find(|s| matches!(s.what, What::Pump { .. })).unwrap();
        assert_eq!(span.from.wall, Some(wall(central_standard, 2027, month, day, 0, 0)));
        assert_eq!(lasts(span), 1_440 * MIN);
    }
}

/// 40 CFR 58.12(b), published: one 24-h sample every six days. Which days the national calendar names was not
/// checked; here the cycle starts on an invented day.
#[test]
fn one_day_in_six_keeps_its_cycle_over_a_leap_year() {
    let cycle = Cycle::new(Date::from_ymd(2027, 12, 27).unwrap(), 6).unwrap();
    let until = Step::RunUntil { time: time(0, 0), at_most: duration(24 * HOUR), target: None };
    let steps = [
        Step::WaitForCycleDay(cycle),
        Step::WaitForTime(time(0, 0)),
        until,
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(61).unwrap(),
            sampler: Sampler::Fresh,
        },
        Step::Finish,
    ];
    let spans = pumping(flow(16_670), &steps);
    assert_eq!(spans.len(), 61);
    let first = wall(0, 2027, 12, 27, 0, 0);
    for (n, span) in (0..).zip(&spans) {
        assert_eq!(span.from.wall, first.plus_ms(n * 6 * 24 * HOUR));
        assert_eq!((u64::from(span.sample), lasts(span)), (n + 1, 1_440 * MIN));
    }
    // 2028 is a leap year: 60 · 6 days later it is 2028-12-21.
    assert_eq!(spans[60].from.wall, Some(wall(0, 2028, 12, 21, 0, 0)));
}

/// A midnight-to-midnight sample that is first called `late` ms after its start.
fn started_late(late: u64) -> (Option<Pumped>, EndReason) {
    let mut settings = Settings::new(UtcOffset::UTC, flow(16_670));
    settings.late_tolerance = LateTolerance::from_ms(60 * 60_000).unwrap();
    let until = Step::RunUntil { time: time(0, 0), at_most: duration(24 * HOUR), target: None };
    let steps = [date(2027, 2, 14), Step::WaitForTime(time(0, 0)), until, Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let armed = now(wall(0, 2027, 2, 13, 20, 0));
    let input = |after| Input { now: armed.plus_ms(after), drawn: RawVolume::ZERO };
    let mut machine = Machine::new();
    machine.arm(table, &Fit::ANY, EventId(1), input(0)).unwrap();
    let mut ran = None;
    for after in [0, 4 * HOUR + late, 28 * HOUR] {
        loop {
            let answer = machine.advance(table, input(after));
            match answer.event {
                Some(Event::PumpingEnded(p)) => ran = Some(p),
                Some(Event::Ended(reason)) => return (ran, reason),
                _ => {}
            }
            if answer.wake != Wake::Again {
                break;
            }
        }
    }
    panic!("it has not ended");
}

/// 3.3, published: a sample period of 1380 to 1500 min is valid. With a late tolerance of an hour a midnight-to-
/// midnight sample starts up to an hour late and is valid, or does not start at all.
#[test]
fn a_late_tolerance_of_an_hour_keeps_the_sample_period_valid() {
    let minutes = |late| started_late(late).0.map(|p| p.pumped_ms() / MIN);
    assert_eq!(minutes(0), Some(1_440));
    assert_eq!(minutes(60 * MIN), Some(1_380));
    assert_eq!(started_late(60 * MIN + 1), (None, EndReason::Missed));
}

/// 7.4.13, published: elapsed time is accurate to 1 min. By the monotonic clock it is exact, also when somebody sets
/// the wall clock meanwhile.
#[test]
fn elapsed_time_is_exact_when_the_wall_clock_is_set() {
    let settings = Settings::new(UtcOffset::UTC, flow(16_670));
    let steps = [Step::RunFor { run: duration(24 * HOUR), target: None }, Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let armed = now(wall(0, 2027, 2, 14, 0, 0));
    let mut machine = Machine::new();
    let input = |now| Input { now, drawn: RawVolume::ZERO };
    machine.arm(table, &Fit::ANY, EventId(1), input(armed)).unwrap();
    machine.advance(table, input(armed));
    let set = |after: u64, wall: Option<WallMs>| Now { wall, ..armed.plus_ms(after) };
    for early in [
        set(12 * HOUR, armed.wall.unwrap().plus_ms(48 * HOUR)),
        set(13 * HOUR, None),
        set(24 * HOUR - 1, Some(WallMs::FIRST)),
    ] {
        assert_eq!(machine.advance(table, input(early)).event, None);
    }
    let Some(Event::PumpingEnded(p)) = machine.advance(table, input(set(24 * HOUR, None))).event
    else {
        panic!("24 h are over");
    };
    assert_eq!((p.pumped_ms(), p.overrun_ms), (1_440 * MIN, 0));
}
