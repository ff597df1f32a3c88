//! The meter against the integral: equal, not close.

use draught::clock::MonoMs;
use draught::forecast::{Forecast, What};
use draught::meter::Meter;
use draught::units::RawVolume;
use draught_tests::plans::scene;
use draught_tests::reference::integral::{LONGEST_RECTANGLE, Stretch, integral};
use draught_tests::reference::{Ml, Ms, ml_of_raw};
use proptest::prelude::*;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

/// Readings a second apart and otherwise; gaps at and about the longest rectangle.
fn lasts() -> impl Strategy<Value = Ms> {
    prop_oneof![
        4 => 0..=1_100i128,
        3 => 0..=LONGEST_RECTANGLE,
        1 => LONGEST_RECTANGLE - 2..=LONGEST_RECTANGLE + 2,
        1 => 0..=100_000_000i128,
    ]
}

fn flow() -> impl Strategy<Value = u32> {
    prop_oneof![
        4 => 1_900_000..=2_100_000u32,
        2 => any::<u32>(),
        1 => prop_oneof![Just(0u32), Just(1), Just(u32::MAX)],
    ]
}

fn trace() -> impl Strategy<Value = Vec<(Ms, Stretch)>> {
    let stretch = prop_oneof![
        8 => flow().prop_map(Stretch::Reading),
        1 => Just(Stretch::Blind),
        1 => Just(Stretch::Still),
    ];
    prop::collection::vec((lasts(), stretch), 0..120)
}

fn metered(start: u64, trace: &[(Ms, Stretch)]) -> Meter {
    let mut at = MonoMs::from_ms(start);
    let mut meter = Meter::new(at);
    for (lasts, stretch) in trace {
        at = at.plus_ms(u64::try_from(*lasts).expect("a duration"));
        match stretch {
            Stretch::Reading(flow) => meter.reading(at, *flow),
            Stretch::Blind => meter.gap(at),
            Stretch::Still => meter.idle(at),
        }
    }
    meter
}

proptest! {
    #![proptest_config(cases(2_000))]

    #[test]
    fn the_meter_is_the_integral(start in 0..1u64 << 40, trace in trace()) {
        let (meter, exact) = (metered(start, &trace), integral(&trace));
        prop_assert_eq!(ml_of_raw(meter.volume().as_raw()), exact.volume);
        prop_assert_eq!(Ms::from(meter.metered_ms()), exact.metered);
        prop_assert_eq!(Ms::from(meter.gap_ms()), exact.unmetered);
        prop_assert_eq!(meter.gaps() as usize, exact.gaps);
        prop_assert_eq!(meter.readings() as usize, exact.rectangles.len());
        let flows = || exact.rectangles.iter().map(|r| r.1);
        prop_assert_eq!(meter.min_ul_per_min(), flows().min());
        prop_assert_eq!(meter.max_ul_per_min(), flows().max());
    }

    /// The mean is the exact one to the nearest µL/min, the spread as near as a mean in whole µL/min allows.
    #[test]
    fn mean_and_spread_are_the_exact_ones(trace in trace()) {
        let (meter, exact) = (metered(0, &trace), integral(&trace));
        match (meter.mean_ul_per_min(), exact.mean) {
            (Some(mean), Some(exact)) => {
                let off = Ml::from(i128::from(mean)) - exact;
                prop_assert!(off * 2 <= Ml::from(1) && off * 2 >= Ml::from(-1), "{mean}, {exact}");
            }
            (mean, exact) => prop_assert_eq!(mean.map(|m| Ml::from(i128::from(m))), exact),
        }
        // The core takes the mean in whole µL/min: half of one too far off, and with it the deviation, times
        // the root of n / (n - 1), which is 1.41 at most.
        let mean = exact.mean.map_or(0.0, |m| *m.numer() as f64 / *m.denom() as f64);
        match (meter.cv_per_myriad(), exact.cv) {
            (Some(cv), Some(exact)) => {
                let deviation = exact * mean;
                let least = deviation / (mean + 0.5) * 10_000.0;
                let most = (deviation + 0.71) / (mean - 0.5) * 10_000.0;
                let cv = f64::from(cv);
                prop_assert!(
                    cv >= least * 0.9998 - 1.5 && (mean <= 0.5 || cv <= most * 1.0002 + 1.5),
                    "{cv}, {least} to {most}"
                );
            }
            // A mean below half a µL/min is nothing in whole ones.
            (None, Some(_)) => prop_assert!(mean < 0.5, "a mean of {mean} and no spread"),
            (cv, exact) => prop_assert_eq!(cv.map(f64::from), exact),
        }
    }

    /// At flows that pumps keep, the spread is the exact one to the nearest 0.01 %.
    #[test]
    fn the_spread_of_a_kept_flow_is_exact(
        at in 10_000..30_000_000u32,
        trace in prop::collection::vec((1..=LONGEST_RECTANGLE, 0..=200u32), 2..200),
    ) {
        let trace: Vec<_> = trace
            .into_iter()
            .map(|(lasts, off)| {
                // Up to 10 % to either side.
                let flow = u64::from(at) * (900 + u64::from(off)) / 1_000;
                (lasts, Stretch::Reading(u32::try_from(flow).expect("a flow")))
            })
            .collect();
        let exact = integral(&trace).cv.expect("two readings") * 10_000.0;
        let cv = f64::from(metered(0, &trace).cv_per_myriad().expect("two readings"));
        prop_assert!((cv - exact).abs() <= 1.0, "{cv}, exactly {exact}");
    }

    /// Any split of an interval at the same flow gives the same volume.
    #[test]
    fn splitting_an_interval_changes_nothing(
        trace in prop::collection::vec((1..=LONGEST_RECTANGLE, flow()), 1..60),
        cuts in prop::collection::vec(0..=1_000u32, 1..20),
    ) {
        let mut cuts = cuts.iter().cycle();
        let whole: Vec<_> = trace.iter().map(|(ms, q)| (*ms, Stretch::Reading(*q))).collect();
        let mut split = Vec::new();
        for (lasts, flow) in &trace {
            let cut = lasts * Ms::from(*cuts.next().expect("endless")) / 1_000;
            split.push((cut, Stretch::Reading(*flow)));
            split.push((lasts - cut, Stretch::Reading(*flow)));
        }
        let (whole, split) = (metered(9, &whole), metered(9, &split));
        prop_assert_eq!(whole.volume(), split.volume());
        prop_assert_eq!(whole.metered_ms(), split.metered_ms());
        prop_assert_eq!(whole.mean_ul_per_min(), split.mean_ul_per_min());
        prop_assert_eq!(whole.min_ul_per_min(), split.min_ul_per_min());
        prop_assert_eq!(whole.max_ul_per_min(), split.max_ul_per_min());
        prop_assert_eq!(split.gaps(), 0);
    }

    /// A constant flow, metered a second at a time, is what the forecast says of a whole stretch.
    #[test]
    fn what_is_metered_is_what_was_forecast(scene in scene()) {
        let Ok(forecast) = Forecast::new(scene.table(), &draught::audit::Fit::ANY, scene.armed)
        else {
            return Ok(());
        };
        for span in forecast.take(40) {
            let (What::Pump { target, .. }, Some(volume)) = (span.what, span.volume) else { continue };
            let flow = target.as_flow().expect("a volume is known for a flow").ul_per_min();
            let mut meter = Meter::new(span.from.mono);
            // An hour is enough to be metered second by second; the rest goes in one sum.
            let fine = span.from.mono.plus_ms(3_600_000).min(span.to.mono);
            let mut at = span.from.mono;
            while at < fine {
                at = at.plus_ms(1_000).min(fine);
                meter.reading(at, flow);
            }
            let rest = u64::from(flow) * span.to.mono.since(fine);
            prop_assert_eq!(meter.volume().saturating_add(RawVolume::from_raw(rest)), volume);
            prop_assert_eq!(meter.gap_ms(), 0);
        }
    }
}

#[test]
fn a_gap_is_told_at_five_seconds_and_a_millisecond() {
    let mut meter = Meter::new(MonoMs::from_ms(0));
    meter.reading(MonoMs::from_ms(5_000), 1_000);
    assert_eq!((meter.volume().as_raw(), meter.gaps()), (5_000_000, 0));
    meter.reading(MonoMs::from_ms(10_001), 1_000);
    assert_eq!((meter.volume().as_raw(), meter.gaps(), meter.gap_ms()), (5_000_000, 1, 5_001));
    // The reading after a gap covers what comes after the gap, and no more.
    meter.reading(MonoMs::from_ms(10_002), 1_000);
    assert_eq!((meter.volume().as_raw(), meter.metered_ms()), (5_001_000, 5_001));
}

#[test]
fn a_clock_that_goes_back_draws_nothing() {
    let mut meter = Meter::new(MonoMs::from_ms(10_000));
    meter.reading(MonoMs::from_ms(9_000), 1_000);
    meter.idle(MonoMs::from_ms(8_000));
    meter.gap(MonoMs::from_ms(7_000));
    assert_eq!(meter, Meter::new(MonoMs::from_ms(10_000)));
    meter.reading(MonoMs::from_ms(10_001), 7);
    assert_eq!(meter.volume().as_raw(), 7);
}
