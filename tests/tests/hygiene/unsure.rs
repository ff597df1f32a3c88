//! What cannot be told is not told: bounds instead of numbers that look sure. Each number is reckoned by hand beside it.

use draught_sim::hygiene::Amount::{AtLeast, Below, Between, Found};
use draught_sim::hygiene::air::{Conditions, MeterKind, MeterRead, both_at_site, rotameter_factor};
use draught_sim::hygiene::concentration::{
    Blank, Breakthrough, mean_of_blanks_mg, net_between_mg, net_mg, sorbent_mg,
};
use draught_sim::hygiene::exposure::{
    Divisor, PeakRule, Stretch, Unsampled, Verdict, compare, highest_quarter, mean, peak,
    short_term,
};
use draught_sim::hygiene::ppm::{MolarVolume, mg_m3_to_ppm, ppm_to_mg_m3};
use draught_sim::hygiene::verify::{Limit, Reading, measure};
use proptest::prelude::*;

fn at(minutes: f64, found: f64) -> Stretch {
    Stretch { minutes, concentration: Found(found) }
}

fn near(found: f64, wanted: f64) {
    assert!((found - wanted).abs() <= 1e-9 * wanted.abs(), "{found} is not {wanted}");
}

/// NMAM 1401: with breakthrough, sample was possibly lost: 0.85 + 0.2 mg is the least.
#[test]
fn a_tube_with_breakthrough_holds_at_least_what_was_found() {
    let tube = |front, back| sorbent_mg(front, back, 0.0, 0.0, None).expect("a tube");
    let broke = tube(Found(0.85), Found(0.25));
    assert_eq!((broke.breakthrough, broke.mass_mg), (Breakthrough::Yes, AtLeast(1.1)));
    let front_below = tube(Below(0.01), Found(0.2));
    assert_eq!((front_below.breakthrough, front_below.mass_mg), (Breakthrough::Yes, AtLeast(0.2)));
    // A limit of the back section that is above a tenth of the front: it may have broken through, or not.
    let unknown = tube(Found(0.85), Below(0.25));
    assert_eq!(unknown.breakthrough, Breakthrough::CannotTell);
    assert_eq!(unknown.mass_mg, AtLeast(0.85));
    // Nothing on either section is the common "below", and stays so.
    assert_eq!(tube(Below(0.01), Below(0.01)).mass_mg, Below(0.02));
    assert_eq!(tube(Found(0.85), Below(0.05)).mass_mg, Between(0.85, 0.85 + 0.05));
}

/// 29 CFR 1910.1043 App. A divides by the hours exposed: 2 h at 150 ppm and 6 h without exposure are 150 ppm, and over 8 h 37.5.
#[test]
fn hours_without_exposure_are_none_of_the_hours_exposed() {
    let with = |divisor, assumed| {
        let found = mean(&[at(120.0, 150.0)], divisor, (360.0, assumed)).expect("an exposure");
        (found.value, found.divisor_minutes)
    };
    assert_eq!(with(Divisor::HoursExposed, Unsampled::NotExposed), (Found(150.0), 120.0));
    assert_eq!(with(Divisor::EightHours, Unsampled::NotExposed), (Found(37.5), 480.0));
    // Exposed to something that is not known: all of it counts, and the result is a lower bound.
    assert_eq!(with(Divisor::HoursExposed, Unsampled::Unknown), (AtLeast(37.5), 480.0));
    assert_eq!(with(Divisor::HoursExposed, Unsampled::AsSampled), (Found(150.0), 480.0));
}

/// A day has 24 h: 10 h and 20 h of one person are a wrong unit, or two persons.
#[test]
fn a_day_of_more_than_24_hours_is_refused() {
    let of = |hours: f64, more: f64| {
        mean(
            &[at(600.0, 150.0), at(hours * 60.0, 75.0)],
            Divisor::EightHours,
            (more * 60.0, Unsampled::NotExposed),
        )
    };
    let refused = of(20.0, 0.0).unwrap_err();
    assert_eq!(refused.code(), "out-of-range");
    assert!(refused.message().contains("1800 min"), "{}", refused.message());
    assert!(of(14.0, 0.0).is_ok() && of(10.0, 4.0).is_ok());
    assert!(of(14.0, 1.0).is_err(), "25 h");
}

/// (7 x 20 + 8 x 40) / 15 = 460 / 15 = 30.67 ppm: over 25, though each by itself cannot be told.
#[test]
fn consecutive_samples_that_make_15_minutes_are_one_mean() {
    let two = [at(7.0, 20.0), at(8.0, 40.0)];
    let found = highest_quarter(&two, Unsampled::Unknown).expect("a mean");
    let Found(mean) = found.value else { panic!("{found:?}") };
    near(mean, 460.0 / 15.0);
    assert_eq!(compare(found.value, 25.0).expect("compared").verdict, Verdict::Over);
    for one in two {
        let alone = short_term(one, Unsampled::Unknown).expect("a bound");
        assert_eq!(compare(alone, 25.0).expect("compared").verdict, Verdict::CannotTell);
    }
    // 5, 5, 5 and 5 min: the first three and the last three have 15; 105/3 = 35 and 135/3 = 45.
    let four = [at(5.0, 10.0), at(5.0, 50.0), at(5.0, 45.0), at(5.0, 40.0)];
    let found = highest_quarter(&four, Unsampled::Unknown).expect("a mean");
    assert_eq!((found.value, found.wholes.len()), (Found(45.0), 2));
    // 6 and 6 min: (120 + 240) / 15 = 24, and three minutes more.
    let short = [at(6.0, 20.0), at(6.0, 40.0)];
    let with = |rest| highest_quarter(&short, rest).expect("bounds").value;
    assert_eq!(with(Unsampled::Unknown), AtLeast(24.0));
    assert_eq!(with(Unsampled::NotExposed), Found(24.0));
    assert_eq!(with(Unsampled::AsSampled), Found(30.0));
    // 10 and 10 min: all of both may be in 15 min, 600/15 = 40; at least half of it is, or the larger sample.
    let long = [at(10.0, 20.0), at(10.0, 40.0)];
    let found = highest_quarter(&long, Unsampled::Unknown).expect("bounds").value;
    let Between(least, most) = found else { panic!("{found:?}") };
    near(least, 400.0 / 15.0);
    near(most, 40.0);
}

/// 14 min 50 s is 15 min by hand; 14 min 30 s is not. One rule for all that ask.
#[test]
fn about_15_minutes_is_15_minutes() {
    let value = |minutes| short_term(at(minutes, 25.1), Unsampled::Unknown).expect("a mean");
    assert_eq!(value(14.0 + 50.0 / 60.0), Found(25.1));
    assert!(matches!(value(14.5), AtLeast(_)));
    assert!(matches!(value(15.5), Between(..)));
}

/// 24 ppm over 30 min can hide 10 min at 72 ppm (24 x 30 / 10), and 15 at 48: above a ceiling of 25 and a peak of 50, or not.
#[test]
fn a_long_sample_below_the_ceiling_does_not_tell_that_it_was_kept() {
    let rule = PeakRule { ceiling: 25.0, peak: 50.0, minutes: 10.0 };
    let told = |samples: &[Stretch]| peak(samples, rule).expect("a verdict");
    let long = told(&[at(30.0, 24.0)]);
    assert_eq!((long.verdict, long.highest), (Verdict::CannotTell, Between(24.0, 72.0)));
    // At most 30 x 24 / 25 = 28.8 min above the ceiling.
    assert_eq!(long.above_minutes, Below(28.8));
    // 8 ppm over 30 min: at most 16 in 15 min and 24 in 10, so it was kept.
    assert_eq!(told(&[at(30.0, 8.0)]).verdict, Verdict::NotOver);
    // 40 ppm over 30 min, never above 50: at least 30 (40 - 25) / (50 - 25) = 18 min above 25.
    let high = told(&[at(30.0, 40.0)]);
    assert_eq!((high.verdict, high.above_minutes.low()), (Verdict::Over, 18.0));
    // A sample of the ceiling's own 15 min tells the ceiling; 20 ppm in it are at most 30 in 10 min.
    assert_eq!(told(&[at(15.0, 20.0), at(10.0, 40.0)]).verdict, Verdict::NotOver);
    // 15 min at 24 may hide 12 min at 30 (more than the peak's 10): the mean of the ceiling's own time counts; 36 in 10 min.
    assert_eq!(told(&[at(15.0, 24.0)]).highest, Between(24.0, 36.0));
}

/// Readings of 2.0 and 20 L/min are of no one flow, though their mean is the 11 L/min after.
#[test]
fn readings_far_apart_are_said() {
    let apart =
        |flows: &[f64], limit| measure(Reading::Flows(flows)).expect("a mean").is_apart(limit);
    assert!(apart(&[2.0, 20.0], Limit::WORN), "18 of 11, 164 %");
    assert!(apart(&[1.0, 3.02, 2.01], Limit::WORN), "2.02 of 2.01, 100 %");
    assert!(!apart(&[2.01, 2.02, 2.00], Limit::WORN), "1.0 %");
    // 1.96 to 2.04 are 4 % of 2: from it on outdoors, not over it worn.
    assert!(apart(&[1.96, 2.04], Limit::AMBIENT) && !apart(&[1.96, 2.04], Limit::WORN));
    assert!(!apart(&[2.0], Limit::WORN), "one reading");
}

/// A rotameter corrected on one side only makes a drift that is none.
#[test]
fn rotameters_are_corrected_on_both_sides_or_on_neither() {
    let air = |c, kpa| Conditions::new(c, kpa).expect("air");
    let (cold, warm, calibration) = (air(12.0, 84.0), air(18.0, 84.0), air(25.0, 101.325));
    let read = |site| MeterRead {
        flow_l_per_min: 2.0,
        meter: MeterKind::Rotameter,
        calibration: Some(calibration),
        site,
    };
    let flows = |before, after: Option<Option<Conditions>>| {
        let (b, a) = both_at_site(read(before), after.map(read)).expect("flows");
        (b.flow_l_per_min, a.map(|a| a.flow_l_per_min))
    };
    assert_eq!(flows(Some(cold), Some(None)), (2.0, Some(2.0)));
    assert_eq!(flows(None, Some(Some(warm))), (2.0, Some(2.0)));
    let (b, a) = flows(Some(cold), Some(Some(warm)));
    near(b, 2.0 * rotameter_factor(calibration, cold));
    near(a.expect("after"), 2.0 * rotameter_factor(calibration, warm));
    near(flows(Some(cold), None).0, b);
    // Another meter on the other side needs no air.
    let piston = MeterRead { meter: MeterKind::Piston, site: None, ..read(None) };
    let (b, a) = both_at_site(read(Some(cold)), Some(piston)).expect("flows");
    assert!(b.factor > 1.0 && a.is_some_and(|a| a.factor == 1.0));
}

/// All of the air is 1,000,000 ppm.
#[test]
fn more_than_all_of_the_air_is_refused() {
    let volume = MolarVolume::CUSTOMARY;
    assert_eq!(ppm_to_mg_m3(Found(2e6), 72.11, volume).unwrap_err().code(), "out-of-range");
    assert!(ppm_to_mg_m3(Found(1e6), 72.11, volume).is_ok());
    // 3e6 mg/m3 x 24.45 / 72.11 = 1.017e6 ppm.
    assert_eq!(mg_m3_to_ppm(Found(3e6), 72.11, volume).unwrap_err().code(), "out-of-range");
    assert!(mg_m3_to_ppm(Found(2.9e6), 72.11, volume).is_ok());
}

/// A filter that lost 0.42 mg, or a blank of 3.0 mg on a sample of 1.412, is no result below 0.03 or 0.075 mg.
#[test]
fn a_loss_of_more_than_the_limit_of_detection_is_no_result() {
    for (mass, blank, limit) in [(-0.42, 0.0, 0.03), (1.412, 3.0, 0.075)] {
        let refused = net_mg(mass, blank, Some(limit)).unwrap_err();
        assert_eq!(refused.code(), "contradiction");
        assert!(refused.help().contains("torn"), "{}", refused.help());
    }
    assert_eq!(net_mg(-0.03, 0.0, Some(0.03)), Ok(Below(0.03)), "within the noise of weighing");
}

/// Blanks 0.012, < 0.010 and < 0.010 mg: 0.012 / 3 = 0.004 to 0.032 / 3 = 0.0107; the mean of the first alone would be 0.012.
#[test]
fn blanks_below_their_limit_are_not_left_out_of_the_mean() {
    let blanks = [Blank::Found(0.012), Blank::Below(0.010), Blank::Below(0.010)];
    let (least, most) = mean_of_blanks_mg(&blanks).expect("a mean");
    near(least, 0.004);
    near(most, 0.032 / 3.0);
    let Between(low, high) = net_between_mg(1.4, (least, most), None).expect("a mass") else {
        panic!("bounds are wanted")
    };
    near(low, 1.4 - 0.032 / 3.0);
    near(high, 1.4 - 0.004);
    // What may be all of it leaves from nothing on.
    assert_eq!(net_between_mg(0.25, (0.125, 0.5), None), Ok(Below(0.125)));
    assert_eq!(net_between_mg(0.25, (0.125, 0.125), None), Ok(Found(0.125)));
}

/// Minute by minute, at random: mostly little, now and then much.
fn minutes() -> impl Strategy<Value = (Vec<f64>, Vec<usize>)> {
    let level = prop_oneof![3 => 0.0..5.0_f64, 1 => 20.0..100.0_f64, 2 => Just(0.0)];
    (prop::collection::vec(level, 16..70), prop::collection::vec(1..40_usize, 1..8))
}

/// Cuts minutes into samples of so many, the last as long as it is.
fn cut(air: &[f64], lengths: &[usize]) -> Vec<Stretch> {
    let mut rest = air;
    let mut lengths = lengths.iter().copied().chain(std::iter::repeat(20));
    let mut samples = Vec::new();
    while !rest.is_empty() {
        let length = lengths.next().map_or(1, |n| n.min(rest.len()));
        let (one, after) = rest.split_at(length);
        samples.push(at(length as f64, one.iter().sum::<f64>() / length as f64));
        rest = after;
    }
    samples
}

fn highest(air: &[f64], window: usize) -> f64 {
    air.windows(window).map(|w| w.iter().sum::<f64>() / window as f64).fold(0.0, f64::max)
}

proptest! {
    /// What was really in the air lies within what is told of it.
    #[test]
    fn the_highest_quarter_lies_within_its_bounds((air, lengths) in minutes()) {
        let samples = cut(&air, &lengths);
        let told = highest_quarter(&samples, Unsampled::Unknown).expect("bounds");
        let real = highest(&air, 15);
        prop_assert!(told.value.low() <= real * (1.0 + 1e-9) + 1e-12, "{real} {told:?}");
        let covered = |k: usize| told.wholes.iter().any(|w| w.first <= k && k <= w.last);
        // A sample of 15 min counts as it is, wherever the highest quarter of an hour lay.
        if !(0..samples.len()).all(covered) {
            let most = told.value.high().expect("an upper bound");
            prop_assert!(real <= most * (1.0 + 1e-9) + 1e-12, "{real} {told:?}");
        }
    }

    /// A ceiling that is told to be kept was kept, however the air was within long samples.
    #[test]
    fn a_ceiling_told_to_be_kept_was_kept((air, lengths) in minutes(), ceiling in 1.0..60.0_f64, more in 1.0..3.0_f64) {
        let long: Vec<usize> = lengths.iter().map(|n| n + 15).collect();
        let samples = cut(&air, &long);
        prop_assume!(samples.iter().all(|s| s.minutes > 15.5));
        let rule = PeakRule { ceiling, peak: ceiling * more, minutes: 10.0 };
        if peak(&samples, rule).expect("a verdict").verdict == Verdict::NotOver {
            // Within a sample; across two, no single mean tells it.
            let mut rest = air.as_slice();
            for sample in &samples {
                let (one, after) = rest.split_at(sample.minutes as usize);
                prop_assert!(highest(one, 15) <= ceiling * (1.0 + 1e-9) || sample.minutes <= 15.0);
                prop_assert!(highest(one, 10) <= rule.peak * (1.0 + 1e-9));
                rest = after;
            }
        }
    }
}
