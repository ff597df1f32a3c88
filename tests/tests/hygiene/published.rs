//! Worked examples and figures that were read in regulations, official methods and a textbook, by their id in
//! docs/standards.md, each with its source. CFR: 2015 edition; later changes not checked.

use draught_sim::hygiene::Amount::{self, Found};
use draught_sim::hygiene::air::{Conditions, MM_HG_KPA, rotameter_factor};
use draught_sim::hygiene::calendar::Cycle;
use draught_sim::hygiene::completeness::{WANTED_PERCENT, quarters};
use draught_sim::hygiene::concentration::{
    Breakthrough, Part, breakthrough, concentration_mg_m3, mass_mg, together_mg_m3,
};
use draught_sim::hygiene::confidence::{Class, sae_from_cv, single};
use draught_sim::hygiene::exposure::{
    Divisor, PeakRule, Stretch, Unsampled, Verdict, compare, mean, peak,
};
use draught_sim::hygiene::fibres::{Count, minutes};
use draught_sim::hygiene::mixture::{self, SilicaPercent, additive, silica_limit_mg_m3};
use draught_sim::hygiene::period::{Period, least_of_the_day};
use draught_sim::hygiene::ppm::{MolarVolume, mg_m3_to_ppm, ppm_to_mg_m3};
use draught_sim::hygiene::round::{significant, to_places};
use draught_sim::hygiene::uncertainty::{Spread, Term, budget};
use draught_sim::hygiene::verify::{Reading, Run, against_standard, measure};
use draught_sim::hygiene::volume::{mean_flow_time_l, minutes_for};
use jiff::civil::date;

fn hours(hours: f64, found: f64) -> Stretch {
    Stretch { minutes: hours * 60.0, concentration: Found(found) }
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} within {within}");
}

const NONE_LEFT: (f64, Unsampled) = (0.0, Unsampled::NotExposed);

/// TWA-1: 29 CFR 1910.1000(d)(1)(ii): 2 h at 150, 2 h at 75, 4 h at 50 ppm are 81.25 ppm, under 100.
#[test]
fn twa_1_three_levels_over_eight_hours() {
    let shift = [hours(2.0, 150.0), hours(2.0, 75.0), hours(4.0, 50.0)];
    let found = mean(&shift, Divisor::EightHours, NONE_LEFT).expect("an exposure");
    assert_eq!(found.value, Found(81.25));
    assert_eq!(compare(found.value, 100.0).expect("compared").verdict, Verdict::NotOver);
}

/// 29 CFR 1910.1000(d)(1)(i) divides by 8; 1910.1043 App. A (cotton dust) by all hours exposed.
#[test]
fn twa_divisors_eight_hours_or_hours_exposed() {
    let six = [hours(6.0, 0.2)];
    let value = |d| mean(&six, d, NONE_LEFT).expect("an exposure").value.low();
    near(value(Divisor::EightHours), 0.15, 1e-12);
    near(value(Divisor::HoursExposed), 0.2, 1e-12);
}

/// MIX-1: 29 CFR 1910.1000(d)(2)(ii): 500/1000 + 45/200 + 40/200 = 0.925, within limits.
#[test]
fn mix_1_three_solvents() {
    let parts = [(500.0, 1000.0), (45.0, 200.0), (40.0, 200.0)]
        .map(|(c, limit)| mixture::Part { exposure: Found(c), limit });
    let found = additive(&parts).expect("a mixture");
    near(found.share.low(), 0.925, 1e-12);
    assert_eq!(found.verdict, Verdict::NotOver);
}

/// SAE-1: OSHA Technical Manual, as in Boss & Day 4.6.2: 6.07 mg/m3, limit 5.0, SAE 0.23.
#[test]
fn sae_1_possible_overexposure() {
    let found = single(6.07, 5.0, 0.23).expect("limits");
    let two = |x| to_places(x, 2).expect("a number");
    assert_eq!(
        [two(found.severity), two(found.lower), two(found.upper)],
        ["1.21".to_owned(), "0.98".to_owned(), "1.44".to_owned()]
    );
    assert_eq!(found.class, Class::Possible);
}

/// OSHA ID-160 as in WAC 296-62-07737: AC - 1.645 CV AC is 0 at a CV of 0.61.
#[test]
fn sae_cv_asbestos_control_limit_is_zero_at_0_61() {
    near(sae_from_cv(0.608).expect("an error"), 1.0, 0.001);
}

/// CONC-1: the same example: 3.005 mg, 2.0 L/min, 240 min are 480 L and 6.26 mg/m3.
#[test]
fn conc_1_carbaryl() {
    let volume = mean_flow_time_l(2.0, 240.0).expect("a volume");
    assert_eq!(volume, 480.0);
    let found = concentration_mg_m3(Found(3.005), volume).expect("a concentration");
    assert_eq!(found.text(3, "mg/m3").expect("a text"), "6.26 mg/m3");
}

/// SIL-1: OSHA silica mixture page: 0.855 + 0.619 mg in 405 + 326 L are 1.474 mg in 731 L, 2.0 mg/m3.
#[test]
fn sil_1_two_filters() {
    let parts = [(0.855, 405.0), (0.619, 326.0)]
        .map(|(mass, volume_l)| Part { mass_mg: Found(mass), volume_l });
    let found = together_mg_m3(&parts).expect("a concentration");
    near(found.low(), 1000.0 * 1.474 / 731.0, 1e-12);
    assert_eq!(found.text(2, "mg/m3").expect("a text"), "2.0 mg/m3");
}

/// SIL-2: the same page: quartz 5.0 %, cristobalite 2.0 %, tridymite 0: 0.91 mg/m3.
#[test]
fn sil_2_limit_of_the_mixture() {
    let dust = SilicaPercent { quartz: 5.0, cristobalite: 2.0, tridymite: 0.0 };
    let limit = silica_limit_mg_m3(dust).expect("a limit");
    assert_eq!(to_places(limit, 2).expect("a number"), "0.91");
    assert_eq!(compare(Found(2.0), limit).expect("compared").verdict, Verdict::Over);
}

/// SIL-3: the same page: 238 min (at an implied 1.7 L/min) are 405 L.
#[test]
fn sil_3_volume() {
    let volume = mean_flow_time_l(1.7, 238.0).expect("a volume");
    near(volume, 404.6, 1e-9);
    assert_eq!(significant(volume, 3).expect("a number"), "405");
}

/// TIME-1 to 3: OSHA method 1008: 12 L, 7.5 L and 5 L.
#[test]
fn time_1_2_3_hydrogen_sulfide() {
    for (flow, minutes, litres) in [(0.05, 240.0, 12.0), (0.5, 15.0, 7.5), (0.5, 10.0, 5.0)] {
        near(mean_flow_time_l(flow, minutes).expect("a volume"), litres, 1e-12);
    }
}

/// TIME-4 and 5: OSHA methods 109 and 69: 18 L at 0.2 L/min and 3 L at 0.05 L/min (times computed).
#[test]
fn time_4_5_propanol_and_acetone() {
    near(minutes_for(18.0, 0.2).expect("a time"), 90.0, 1e-12);
    near(minutes_for(3.0, 0.05).expect("a time"), 60.0, 1e-12);
}

/// FIB-1: NMAM 7400 issue 2 step 4 (times computed).
#[test]
fn fib_1_fibres_on_a_filter() {
    let count = Count { area_mm2: 385.0, flow_l_per_min: 2.0, level_per_ml: 0.1 };
    near(minutes(count, 100.0).expect("a time"), 192.5, 1e-9);
    near(minutes(count, 1300.0).expect("a time"), 2502.5, 1e-9);
    for (flow_l_per_min, from, to) in [(1.0, 385.0, 5005.0), (4.0, 96.25, 1251.25)] {
        let count = Count { flow_l_per_min, ..count };
        near(minutes(count, 100.0).expect("a time"), from, 1e-9);
        near(minutes(count, 1300.0).expect("a time"), to, 1e-9);
    }
}

/// MASS-1: NMAM 0600: 20 L and 400 L at 5 mg/m3 are the ends of its range, 0.1 and 2.0 mg.
#[test]
fn mass_1_respirable_dust() {
    near(mass_mg(5.0, 20.0).expect("a mass"), 0.1, 1e-15);
    near(mass_mg(5.0, 400.0).expect("a mass"), 2.0, 1e-15);
}

/// MASS-2: NMAM 0500: 7 L and 133 L at 15 mg/m3 (masses computed).
#[test]
fn mass_2_total_dust() {
    near(mass_mg(15.0, 7.0).expect("a mass"), 0.105, 1e-15);
    near(mass_mg(15.0, 133.0).expect("a mass"), 1.995, 1e-15);
}

/// BRK-1: NMAM 1401: breakthrough is Wb > Wf/10, strictly.
#[test]
fn brk_1_a_tenth_is_no_breakthrough() {
    let rule = |back| breakthrough(Found(1.0), Found(back)).expect("a rule");
    assert_eq!([rule(0.10), rule(0.11)], [Breakthrough::No, Breakthrough::Yes]);
    // A tenth is a tenth also where binary fractions fall the other way.
    for thousandths in 1..5_000_u32 {
        let (front, back) = (f64::from(thousandths) / 100.0, f64::from(thousandths) / 1000.0);
        let found = breakthrough(Found(front), Found(back)).expect("a rule");
        assert_eq!(found, Breakthrough::No, "{front} {back}");
    }
}

/// PPM-1 to 4: pairs printed in OSHA 69, OSHA 1007, OSHA 84 and on a NIOSH page.
#[test]
fn ppm_1_2_3_4_printed_pairs() {
    for (ppm, molar, figures, printed) in [
        (1000.0, 58.08, 4, "2375"),
        (0.75, 30.03, 2, "0.92"),
        (200.0, 72.11, 3, "590"),
        (100.0, 74.12, 3, "303"),
    ] {
        let found = ppm_to_mg_m3(Found(ppm), molar, MolarVolume::CUSTOMARY).expect("mg/m3");
        assert_eq!(found.text(figures, "").expect("a text"), printed);
        let back = mg_m3_to_ppm(found, molar, MolarVolume::CUSTOMARY).expect("ppm");
        near(back.low(), ppm, ppm * 1e-12);
    }
    // NMAM 5700: 1 ppm of formaldehyde is 1.23 mg/m3; OSHA 84: 79.9 ppb of 2-butanone are 236 ug/m3.
    let one =
        |ppm, molar| ppm_to_mg_m3(Found(ppm), molar, MolarVolume::CUSTOMARY).expect("mg/m3").low();
    near(one(1.0, 30.03), 1.23, 0.005);
    near(one(0.0799, 72.11), 0.236, 0.0005);
    // OSHA 1008 prints 27.8 for 20 ppm of hydrogen sulfide; the formula gives 27.88.
    near(one(20.0, 34.08), 27.8, 27.8 * 0.005);
}

/// L-VERIFY: 40 CFR 50 App. L 9.2.5: recalibrate from 4 % on (percentages computed).
#[test]
fn l_verify_recalibrate_from_4_percent_on() {
    let off = against_standard(16.67, 16.00).expect("a check");
    assert_eq!((to_places(off.difference_percent, 2), off.recalibrate), (Ok("4.19".into()), true));
    let fine = against_standard(16.67, 16.10).expect("a check");
    assert_eq!(
        (to_places(fine.difference_percent, 2), fine.recalibrate),
        (Ok("3.54".into()), false)
    );
    for (indicated, standard) in [(10.4, 10.0), (5.2, 5.0), (15.6, 15.0), (9.6, 10.0)] {
        assert!(against_standard(indicated, standard).expect("a check").recalibrate, "just 4 %");
    }
}

/// L-TIME: 40 CFR 50 App. L 3.3, 7.4.13: 1380 to 1500 min; a short sample's least possible day.
#[test]
fn l_time_1380_to_1500_minutes() {
    let found =
        [1379.0, 1380.0, 1440.0, 1500.0, 1501.0].map(|m| Period::PM25.holds(m).expect("a time"));
    assert_eq!(found, [false, true, true, true, false]);
    let least = least_of_the_day(Found(40.0), 1080.0).expect("a concentration");
    assert_eq!(least, Amount::AtLeast(30.0));
    assert!(least_of_the_day(Found(40.0), 1380.0).is_err());
}

/// B-TIME: 40 CFR 50 App. B 8.15: 1440 +/- 60 min.
#[test]
fn b_time_1440_plus_minus_60_minutes() {
    let found = [1379.0, 1380.0, 1500.0, 1501.0].map(|m| Period::TSP.holds(m).expect("a time"));
    assert_eq!(found, [false, true, true, false]);
}

/// L-VOL: 40 CFR 50 App. L 3.1, 7.4.1: 1440 min at 16.67 L/min are 24.0 m3.
#[test]
fn l_vol_a_day_is_24_cubic_metres() {
    let volume = mean_flow_time_l(16.67, 1440.0).expect("a volume");
    assert_eq!(significant(volume / 1000.0, 3).expect("a number"), "24.0");
    near(volume, 24_004.8, 1e-6);
}

/// ROT-1: NMAM chapter D section 7a (volume computed): 960 L read are 1071.9 L.
#[test]
fn rot_1_rotameter_at_altitude() {
    let calibration = Conditions::new(25.0, 760.0 * MM_HG_KPA).expect("air");
    let site = Conditions::new(35.0, 630.0 * MM_HG_KPA).expect("air");
    let volume = mean_flow_time_l(2.0, 480.0).expect("a volume");
    assert_eq!(volume, 960.0);
    assert_eq!(to_places(volume * rotameter_factor(calibration, site), 1), Ok("1071.9".into()));
}

/// UNC-1: 5 % either way, equally likely, is 2.887 % (rule from memory); with 0.12 % of time 2.889 %.
#[test]
fn unc_1_rectangular_5_percent() {
    let flow = Spread::Rectangular { half_width: 5.0 };
    near(flow.standard().expect("u"), 2.887, 0.0005);
    let term = |spread| Term {
        name: "a term".to_owned(),
        value: 100.0,
        unit: "%",
        spread,
        sensitivity: 1.0,
    };
    let time = Spread::Rectangular { half_width: 100.0 / 480.0 };
    near(time.standard().expect("u"), 0.12, 0.0005);
    let found = budget(100.0, &[term(flow), term(time)], 0.95).expect("a budget");
    near(found.combined, 2.889, 0.0005);
}

/// BUBBLE: NMAM chapter D section 7a: one timing, at least twice more, and the average.
#[test]
fn bubble_three_timings_are_wanted() {
    let run = |time_s| Run { volume_ml: 500.0, time_s };
    let three = [run(14.9), run(15.0), run(15.1)];
    let found = measure(Reading::Timed(&three)).expect("a flow");
    near(found.flow_l_per_min, (30.0 / 14.9 + 2.0 + 30.0 / 15.1) / 3.0, 1e-12);
    assert!(!found.too_few_runs);
    assert!(measure(Reading::Timed(&three[..2])).expect("a flow").too_few_runs);
}

/// PEAK: 29 CFR 1910.1000(b)(3): ceiling 25, peak 50 ppm, up to 10 min.
#[test]
fn peak_25_50_ten_minutes() {
    let rule = PeakRule { ceiling: 25.0, peak: 50.0, minutes: 10.0 };
    let at = |minutes, ppm| Stretch { minutes, concentration: Found(ppm) };
    let verdict = |samples: &[Stretch]| peak(samples, rule).expect("a verdict").verdict;
    assert_eq!(verdict(&[at(15.0, 25.0), at(10.0, 50.0)]), Verdict::NotOver);
    assert_eq!(verdict(&[at(11.0, 30.0)]), Verdict::Over);
    assert_eq!(verdict(&[at(1.0, 51.0)]), Verdict::Over);
}

/// MAKE-UP: 40 CFR 50 App. N: before the next sampling day, or exactly one week after the missed one.
#[test]
fn make_up_before_the_next_day_or_a_week_later() {
    let cycle = Cycle::new(date(2027, 3, 2), 3).expect("a cycle");
    let make_up = cycle.make_up(date(2027, 3, 5)).expect("a make-up");
    let taken: Vec<i8> = (1..=31).filter(|d| make_up.takes(date(2027, 3, *d))).collect();
    assert_eq!(taken, [6, 7, 12]);
}

/// QUARTER: 75 % of a quarter's scheduled samples: EPA QA Handbook Vol. II App. D, seen in excerpts of a copy only.
#[test]
fn quarter_three_of_four_are_complete() {
    // One day in 6 from 2 April: 15 days to the end of June.
    let cycle = Cycle::new(date(2027, 4, 2), 6).expect("a cycle");
    let scheduled = cycle.days(date(2027, 4, 1), date(2027, 6, 30)).expect("days");
    assert_eq!(scheduled.len(), 15);
    let complete = |valid: usize| {
        let days: Vec<_> = scheduled.iter().enumerate().map(|(i, d)| (*d, i < valid)).collect();
        quarters(&days, &cycle, WANTED_PERCENT).expect("quarters")[0].complete
    };
    // 11 of 15 are 73.3 %, 12 are 80 %.
    assert_eq!([complete(11), complete(12)], [Some(false), Some(true)]);
}
