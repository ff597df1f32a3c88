//! What holds for all numbers.

use draught_sim::hygiene::Amount::{self, Below, Found};
use draught_sim::hygiene::air::{Conditions, actual_volume_l, standard_volume_l};
use draught_sim::hygiene::budgets::{VolumeKnown, volume_budget};
use draught_sim::hygiene::concentration::{
    Part, concentration_mg_m3, net_mg, sorbent_mg, together_mg_m3,
};
use draught_sim::hygiene::confidence::{Sample, consecutive, single};
use draught_sim::hygiene::exposure::{Divisor, Stretch, Unsampled, Verdict, compare, mean};
use draught_sim::hygiene::parse::{Kind, read};
use draught_sim::hygiene::ppm::{MolarVolume, mg_m3_to_ppm, ppm_to_mg_m3};
use draught_sim::hygiene::uncertainty::Spread;
use draught_sim::hygiene::verify::{FlowChoice, Limit, verify};
use draught_sim::hygiene::volume::{Sampled, beside};
use proptest::prelude::*;

fn stretches() -> impl Strategy<Value = Vec<(f64, f64, bool)>> {
    // Six of three hours, and up to five hours more: within a day.
    prop::collection::vec((1.0..180.0_f64, 0.01..500.0_f64, any::<bool>()), 1..7)
}

fn made(samples: &[(f64, f64, bool)]) -> Vec<Stretch> {
    let one = |(minutes, c, below): &(f64, f64, bool)| Stretch {
        minutes: *minutes,
        concentration: if *below { Below(*c) } else { Found(*c) },
    };
    samples.iter().map(one).collect()
}

const NONE_LEFT: (f64, Unsampled) = (0.0, Unsampled::NotExposed);

proptest! {
    #[test]
    fn a_mean_lies_between_the_smallest_and_the_largest(samples in stretches()) {
        let e = mean(&made(&samples), Divisor::HoursExposed, NONE_LEFT).expect("an exposure");
        let most = samples.iter().map(|s| s.1).fold(0.0, f64::max);
        let least = samples.iter().map(|s| if s.2 { 0.0 } else { s.1 }).fold(f64::MAX, f64::min);
        prop_assert!(e.value.low() >= least * (1.0 - 1e-12));
        prop_assert!(e.value.high().is_some_and(|h| h <= most * (1.0 + 1e-12)));
        prop_assert_eq!(samples.iter().any(|s| s.2), !matches!(e.value, Found(_)), "below stays below");
    }

    #[test]
    fn what_is_below_a_limit_may_be_anything_up_to_it(samples in stretches(), parts in prop::collection::vec(0.0..1.0_f64, 7)) {
        let bounds = mean(&made(&samples), Divisor::EightHours, NONE_LEFT).expect("bounds").value;
        let real: Vec<Stretch> = samples.iter().zip(&parts)
            .map(|((minutes, c, below), part)| Stretch {
                minutes: *minutes,
                concentration: Found(if *below { c * part } else { *c }),
            })
            .collect();
        let real = mean(&real, Divisor::EightHours, NONE_LEFT).expect("an exposure").value.low();
        prop_assert!(real >= bounds.low() * (1.0 - 1e-12));
        prop_assert!(bounds.high().is_some_and(|h| real <= h * (1.0 + 1e-12)));
    }

    #[test]
    fn assumptions_about_unsampled_time_are_in_order(samples in stretches(), more in 1.0..300.0_f64, most in 500.0..1000.0_f64) {
        let samples = made(&samples);
        let with = |u| mean(&samples, Divisor::EightHours, (more, u)).expect("an exposure").value;
        let (none, same, unknown, bounded) = (
            with(Unsampled::NotExposed), with(Unsampled::AsSampled), with(Unsampled::Unknown), with(Unsampled::AtMost(most)),
        );
        prop_assert!(none.low() <= same.low() && none.high() <= same.high());
        prop_assert_eq!((unknown.low(), unknown.high()), (none.low(), None));
        prop_assert_eq!(bounded.low(), none.low());
        prop_assert!(same.high().zip(bounded.high()).is_some_and(|(s, b)| s <= b));
    }

    #[test]
    fn verdicts_hold_for_every_value_within_the_bounds(low in 0.0..10.0_f64, wide in 0.0..10.0_f64, limit in 0.1..20.0_f64, part in 0.0..1.0_f64) {
        let bounds = Amount::Between(low, low + wide);
        let real = compare(Found(low + wide * part), limit).expect("compared").verdict;
        match compare(bounds, limit).expect("compared").verdict {
            Verdict::CannotTell => {}
            told => prop_assert_eq!(told, real),
        }
    }

    #[test]
    fn more_mass_or_less_volume_is_a_higher_concentration(m in 0.001..10.0_f64, v in 1.0..5000.0_f64, more in 1.001..2.0_f64) {
        let c = |m, v| concentration_mg_m3(Found(m), v).expect("a concentration").low();
        prop_assert!(c(m * more, v) > c(m, v) && c(m, v * more) < c(m, v));
    }

    #[test]
    fn units_come_back(x in 1e-6..1e6_f64, molar in 1.0..1000.0_f64, t in -40.0..60.0_f64, p in 50.0..110.0_f64) {
        let air = Conditions::new(t, p).expect("air");
        let standard = standard_volume_l(x, air, Conditions::EPA_STANDARD).expect("a volume");
        let back = actual_volume_l(standard, air, Conditions::EPA_STANDARD).expect("a volume");
        prop_assert!((back - x).abs() <= x * 1e-12);
        for volume in [MolarVolume::CUSTOMARY, MolarVolume::exact(air)] {
            let there = ppm_to_mg_m3(Found(x), molar, volume).expect("mg/m3");
            let back = mg_m3_to_ppm(there, molar, volume).expect("ppm").low();
            prop_assert!((back - x).abs() <= x * 1e-12);
        }
    }

    #[test]
    fn a_blank_lowers_and_never_below_the_limit_of_detection(m in 0.0..1.0_f64, blank in 0.0..1.0_f64, limit in 0.001..0.5_f64) {
        match net_mg(m, blank, Some(limit)) {
            Ok(Found(x)) => prop_assert!(x >= limit * (1.0 - 1e-9) && x <= m),
            Ok(below) => {
                prop_assert_eq!(below, Below(limit));
                prop_assert!(m - blank < limit && blank - m <= limit * (1.0 + 1e-9));
            }
            // A loss of more than the limit of detection is a mistake, and no result.
            Err(problem) => {
                prop_assert_eq!(problem.code(), "contradiction");
                prop_assert!(blank - m > limit);
                return Ok(());
            }
        }
        let tube = sorbent_mg(Found(m), Below(limit), blank, 0.0, Some(limit)).expect("a tube");
        prop_assert!(tube.mass_mg.high().is_none_or(|h| h > 0.0));
        prop_assert!(!matches!(tube.mass_mg, Found(_)), "a section below its limit is not 0");
    }

    #[test]
    fn samples_together_lie_between_them(parts in prop::collection::vec((0.001..10.0_f64, 1.0..1000.0_f64), 1..6)) {
        let each: Vec<Part> = parts.iter().map(|(m, v)| Part { mass_mg: Found(*m), volume_l: *v }).collect();
        let all = together_mg_m3(&each).expect("a concentration").low();
        let single: Vec<f64> = parts.iter().map(|(m, v)| 1000.0 * m / v).collect();
        prop_assert!(all >= single.iter().copied().fold(f64::MAX, f64::min) * (1.0 - 1e-12));
        prop_assert!(all <= single.iter().copied().fold(0.0, f64::max) * (1.0 + 1e-12));
    }

    #[test]
    fn reasons_add_up_to_the_difference(
        i in 1.0..5000.0_f64, used in 0.1..20.0_f64, before in 0.1..20.0_f64, after in 0.1..20.0_f64, e in 1.0..1500.0_f64, part in 0.01..1.0_f64,
        kept in prop::option::of(0.1..20.0_f64),
    ) {
        let found = beside(&Sampled {
            integrated_l: i,
            flow_used_l_per_min: used,
            flow_before_l_per_min: before,
            flow_after_l_per_min: Some(after),
            elapsed_minutes: e,
            pumping_minutes: e * part,
            flow_kept_l_per_min: kept,
        }).expect("two volumes");
        let sum: f64 = found.reasons.iter().map(|r| r.1).sum();
        let size = found.integrated_l.max(found.mean_flow_time_l);
        prop_assert!((sum - found.difference_l).abs() <= size * 1e-5, "{sum} {}", found.difference_l);
    }

    #[test]
    fn the_flow_used_lies_between_before_and_after(before in 0.1..20.0_f64, after in 0.1..20.0_f64) {
        let used = |choice| verify(before, Some(after), Limit::WORN, choice).expect("verified");
        let mean = used(FlowChoice::Mean).flow_used_l_per_min;
        prop_assert!(mean >= before.min(after) && mean <= before.max(after));
        prop_assert_eq!(used(FlowChoice::Lower).flow_used_l_per_min, before.min(after));
        let drift = used(FlowChoice::Mean).difference_percent.expect("a difference");
        prop_assert_eq!(used(FlowChoice::Lower).over_limit, drift.abs() > 5.0);
    }

    #[test]
    fn consecutive_samples_are_never_less_certain_than_one(found in prop::collection::vec((1.0..300.0_f64, 0.1..20.0_f64), 1..6), sae in 0.0..0.5_f64) {
        let samples: Vec<Sample> = found.iter().map(|(minutes, found)| Sample { minutes: *minutes, found: *found }).collect();
        let many = consecutive(&samples, 5.0, sae).expect("limits");
        // One sample with the same result: its relative error is the SAE itself, the text's is absolute.
        prop_assert!(many.upper - many.lower <= 2.0 * sae * many.severity * (1.0 + 1e-9));
        prop_assert!((many.upper + many.lower - 2.0 * many.severity).abs() <= many.severity * 1e-9);
        let one = single(5.0, 5.0, sae).expect("limits");
        let same = consecutive(&[Sample { minutes: 10.0, found: 5.0 }], 5.0, sae).expect("limits");
        prop_assert!((one.lower - same.lower).abs() < 1e-12, "one consecutive sample is a single one at the limit");
    }

    #[test]
    fn a_budget_grows_with_each_of_its_terms(drift in 0.0..0.5_f64, more in 0.01..0.5_f64, time in 0.0..10.0_f64) {
        let budget = |drift_l_per_min, time_half_width_min| volume_budget(&VolumeKnown {
            flow_l_per_min: 2.0,
            calibration_percent: Spread::Expanded { expanded: 2.0, k: 2.0 },
            drift_l_per_min,
            repeated: None,
            minutes: 240.0,
            time_half_width_min,
            standard: None,
        }, 0.95).expect("a budget");
        let (least, drifted, late) = (budget(drift, time), budget(drift + more, time), budget(drift, time + more));
        prop_assert!(drifted.expanded > least.expanded && late.expanded > least.expanded);
        let shares: f64 = least.lines.iter().map(|l| l.share_percent).sum();
        prop_assert!((shares - 100.0).abs() < 1e-9);
    }

    #[test]
    fn units_of_one_quantity_agree(tenths in 1_u32..100_000) {
        let x = f64::from(tenths) / 10.0;
        for (kind, one, other, times) in [
            (Kind::Mass, "mg", "ug", 1e3), (Kind::Mass, "g", "mg", 1e3), (Kind::Volume, "m3", "L", 1e3),
            (Kind::Flow, "L/min", "mL/min", 1e3), (Kind::Duration, "h", "min", 60.0), (Kind::Pressure, "kPa", "hPa", 10.0),
            (Kind::GasConcentration, "ppm", "ppb", 1e3), (Kind::MassConcentration, "mg/m3", "ug/m3", 1e3),
        ] {
            let a = read(&format!("{x} {one}"), kind).expect("a quantity");
            let b = read(&format!("{} {other}", x * times), kind).expect("a quantity");
            prop_assert!((a - b).abs() <= a * 1e-12, "{x} {one}: {a} {b}");
        }
    }
}

#[test]
fn temperatures_and_mercury() {
    for (text, kind, value) in [
        ("298.15 K", Kind::Temperature, 25.0),
        ("77 F", Kind::Temperature, 25.0),
        ("-40 F", Kind::Temperature, -40.0),
        ("−12 °C", Kind::Temperature, -12.0),
        ("760 mm Hg", Kind::Pressure, 101.325),
        ("1013.25 mbar", Kind::Pressure, 101.325),
    ] {
        let found = read(text, kind).expect("a quantity");
        assert!((found - value).abs() < 1e-9, "{text}: {found}");
    }
}
