//! Whatever the numbers: an answer without NaN or infinity, or a problem that says what, the limit and what to do.

use draught_sim::hygiene::air::{
    Conditions, MeterKind, actual_volume_l, at_site, rotameter_factor, standard_factor,
    standard_volume_l,
};
use draught_sim::hygiene::budgets::{
    ConcentrationKnown, ToStandard, VolumeKnown, concentration_budget, volume_budget,
};
use draught_sim::hygiene::concentration::{
    Blank, Part, Tube, Weighed, breakthrough, concentration_mg_m3, gravimetric_mg, mass_mg,
    mean_blank_mg, mean_of_blanks_mg, net_between_mg, net_mg, sorbent_mg, together_mg_m3,
};
use draught_sim::hygiene::confidence::{self, consecutive, sae_from_cv, single};
use draught_sim::hygiene::exposure::{
    Divisor, PeakRule, Stretch, Unsampled, compare, highest_quarter, mean, peak, short_term,
};
use draught_sim::hygiene::fibres::{self, per_ml};
use draught_sim::hygiene::mixture::{self, SilicaPercent, additive, silica_limit_mg_m3};
use draught_sim::hygiene::parse::{Kind, read, read_amount, read_concentration};
use draught_sim::hygiene::period::{Period, least_of_the_day};
use draught_sim::hygiene::ppm::{MolarVolume, mg_m3_to_ppm, ppm_to_mg_m3};
use draught_sim::hygiene::round;
use draught_sim::hygiene::student::coverage_factor;
use draught_sim::hygiene::uncertainty::{Budget, Spread, Term, budget};
use draught_sim::hygiene::verify::{
    FlowChoice, Limit, Reading, Run, against_standard, measure, verify,
};
use draught_sim::hygiene::volume::{Sampled, beside, mean_flow_time_l, minutes_for};
use draught_sim::hygiene::{Amount, Problem};
use proptest::prelude::*;

/// Any `f64` at all, the awkward ones often.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => any::<u64>().prop_map(f64::from_bits),
        3 => prop::sample::select(vec![
            0.0, -0.0, 1.0, -1.0, 15.0, 25.0, 100.0, 480.0, f64::NAN, f64::INFINITY,
            f64::NEG_INFINITY, f64::MAX, f64::MIN, f64::MIN_POSITIVE, 5e-324, 1e-300, 1e300,
        ]),
        4 => 0.001..1000.0_f64,
    ]
}

fn any_amount() -> impl Strategy<Value = Amount> {
    (0..4, any_number(), any_number()).prop_map(|(kind, a, b)| match kind {
        0 => Amount::Found(a),
        1 => Amount::Below(a),
        2 => Amount::Between(a, b),
        _ => Amount::AtLeast(a),
    })
}

fn any_spread() -> impl Strategy<Value = Spread> {
    (0..6, any_number(), any_number()).prop_map(|(kind, a, b)| match kind {
        0 => Spread::Normal { standard: a },
        1 => Spread::Expanded { expanded: a, k: b },
        2 => Spread::Rectangular { half_width: a },
        3 => Spread::Triangular { half_width: a },
        4 => Spread::UShaped { half_width: a },
        _ => Spread::Student { standard: a, freedom: b },
    })
}

/// The numbers of an answer.
trait Numbers {
    fn numbers(&self) -> Vec<f64>;
}

impl Numbers for f64 {
    fn numbers(&self) -> Vec<f64> {
        vec![*self]
    }
}

impl Numbers for Amount {
    fn numbers(&self) -> Vec<f64> {
        if let Self::Below(limit) = self {
            assert!(*limit > 0.0, "below nothing");
        }
        self.text(3, "mg").expect("an answer can be written");
        std::iter::once(self.low()).chain(self.high()).collect()
    }
}

impl Numbers for Budget {
    fn numbers(&self) -> Vec<f64> {
        let lines = self.lines.iter().flat_map(|l| [l.standard, l.contribution, l.share_percent]);
        [self.result, self.combined, self.k, self.expanded]
            .into_iter()
            .chain(self.freedom)
            .chain(lines)
            .collect()
    }
}

impl Numbers for confidence::Limits {
    fn numbers(&self) -> Vec<f64> {
        vec![self.severity, self.lower, self.upper]
    }
}

impl Numbers for Tube {
    fn numbers(&self) -> Vec<f64> {
        self.mass_mg.numbers()
    }
}

fn sound<T: Numbers>(answer: Result<T, Problem>) {
    match answer {
        Ok(answer) => {
            let numbers = answer.numbers();
            assert!(numbers.iter().all(|n| n.is_finite()), "{numbers:?}");
        }
        Err(problem) => told(&problem),
    }
}

fn told(problem: &Problem) {
    let (message, help) = (problem.message(), problem.help());
    assert!(message.len() > 8 && help.len() > 8, "{message}: {help}");
    assert!(!message.contains("NaN") && !problem.to_string().is_empty(), "{message}");
    let code = problem.code();
    assert!(code.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{code}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn flows_and_volumes(a in any_number(), b in any_number(), c in any_number(), d in any_number(), e in any_number(), f in any_number()) {
        let air = [Conditions::new(a, b), Conditions::new(c, d), Ok(Conditions::EPA_STANDARD)];
        for one in air {
            match one {
                Ok(one) => {
                    sound(Ok(standard_factor(one, Conditions::EPA_STANDARD)));
                    sound(Ok(rotameter_factor(one, Conditions::EPA_STANDARD)));
                    sound(standard_volume_l(e, one, Conditions::EPA_STANDARD));
                    sound(actual_volume_l(e, one, Conditions::EPA_STANDARD));
                    sound(Ok(MolarVolume::exact(one).litres()));
                    for meter in [MeterKind::Rotameter, MeterKind::Bubble] {
                        let at = at_site(e, meter, Some(one), Some(Conditions::EPA_STANDARD));
                        sound(at.map(|at| at.flow_l_per_min));
                    }
                }
                Err(problem) => told(&problem),
            }
        }
        sound(mean_flow_time_l(a, b));
        sound(minutes_for(a, b));
        let choices = [FlowChoice::Mean, FlowChoice::Lower, FlowChoice::BeforeOnly, FlowChoice::Nominal(c)];
        for (choice, after) in choices.into_iter().flat_map(|c| [(c, None), (c, Some(b))]) {
            let limit = Limit { percent: d, ..Limit::WORN };
            match verify(a, after, limit, choice) {
                Ok(v) => {
                    sound(Ok(v.flow_used_l_per_min));
                    sound(Ok(v.difference_percent.unwrap_or(0.0)));
                }
                Err(problem) => told(&problem),
            }
        }
        sound(against_standard(a, b).map(|c| c.difference_percent));
        let sampled = Sampled {
            integrated_l: a,
            flow_used_l_per_min: b,
            flow_before_l_per_min: c,
            flow_after_l_per_min: Some(d),
            elapsed_minutes: e,
            pumping_minutes: f,
            flow_kept_l_per_min: None,
        };
        match beside(&sampled) {
            Ok(two) => {
                for n in [two.difference_l, two.difference_percent, two.uneven_drift_l, two.mean_flow_time_l] {
                    sound(Ok(n));
                }
                for (why, litres) in two.reasons {
                    sound(Ok(litres));
                    assert!(!why.words().contains("  "), "{}", why.words());
                }
            }
            Err(problem) => told(&problem),
        }
        sound(fibres::minutes(fibres::Count { area_mm2: a, flow_l_per_min: b, level_per_ml: c }, d));
        sound(per_ml(a, b, c));
        match Period::PM25.holds(a) { Ok(_) => {}, Err(problem) => told(&problem) }
    }

    #[test]
    fn readings(flows in prop::collection::vec(any_number(), 0..5), times in prop::collection::vec(any_number(), 0..5)) {
        let runs: Vec<Run> = flows.iter().zip(&times).map(|(v, t)| Run { volume_ml: *v, time_s: *t }).collect();
        for reading in [Reading::Flows(&flows), Reading::Timed(&runs)] {
            match measure(reading) {
                Ok(m) => {
                    for n in [Some(m.flow_l_per_min), m.spread_percent, m.deviation_l_per_min] {
                        sound(Ok(n.unwrap_or(1.0)));
                    }
                }
                Err(problem) => told(&problem),
            }
        }
        sound(mean_blank_mg(&flows));
    }

    #[test]
    fn masses_and_concentrations(
        a in any_amount(), b in any_amount(), w in any_number(), x in any_number(), y in any_number(), z in any_number(),
    ) {
        sound(concentration_mg_m3(a, w));
        sound(a.plus("mass", b));
        sound(a.times("mass", w));
        sound(mass_mg(w, x));
        for detection in [None, Some(z)] {
            sound(net_mg(w, x, detection));
            sound(net_between_mg(w, (x, y), detection));
            if let Err(problem) = mean_of_blanks_mg(&[Blank::Found(w), Blank::Below(x)]) { told(&problem) }
            sound(sorbent_mg(a, b, w, x, detection));
            let filter = |before_mg, after_mg| Weighed { before_mg, after_mg };
            sound(gravimetric_mg(filter(w, x), &[filter(y, x)], detection));
        }
        if let Err(problem) = breakthrough(a, b) { told(&problem) }
        sound(together_mg_m3(&[Part { mass_mg: a, volume_l: w }, Part { mass_mg: b, volume_l: x }]));
        sound(ppm_to_mg_m3(a, w, MolarVolume::CUSTOMARY));
        sound(mg_m3_to_ppm(a, w, MolarVolume::CUSTOMARY));
        sound(least_of_the_day(a, w));
        sound(compare(a, w).map(|c| c.share));
        sound(additive(&[mixture::Part { exposure: a, limit: w }, mixture::Part { exposure: b, limit: x }]).map(|c| c.share));
        sound(silica_limit_mg_m3(SilicaPercent { quartz: w, cristobalite: x, tridymite: y }));
    }

    #[test]
    fn exposures(a in any_amount(), b in any_amount(), w in any_number(), x in any_number(), y in any_number(), z in any_number()) {
        let samples = [Stretch { minutes: w, concentration: a }, Stretch { minutes: x, concentration: b }];
        for assumed in [Unsampled::NotExposed, Unsampled::AsSampled, Unsampled::Unknown, Unsampled::AtMost(z)] {
            for divisor in [Divisor::EightHours, Divisor::HoursExposed] {
                sound(mean(&samples, divisor, (y, assumed)).map(|e| e.value));
            }
            sound(short_term(samples[0], assumed));
            sound(highest_quarter(&samples, assumed).map(|h| h.value));
        }
        let rule = PeakRule { ceiling: x, peak: y, minutes: z };
        sound(peak(&samples, rule).map(|p| p.highest));
        sound(peak(&samples, rule).map(|p| p.above_minutes));
        if let Err(problem) = mean(&[], Divisor::EightHours, (0.0, Unsampled::Unknown)) { told(&problem) }
        sound(single(w, x, y));
        let consecutive_samples = [confidence::Sample { minutes: w, found: x }, confidence::Sample { minutes: y, found: z }];
        sound(consecutive(&consecutive_samples, x, z));
        sound(sae_from_cv(w));
    }

    #[test]
    fn budgets(
        s in any_spread(), t in any_spread(), u in any_spread(),
        a in any_number(), b in any_number(), c in any_number(), d in any_number(), coverage in prop_oneof![Just(0.95), any_number()],
    ) {
        sound(s.standard());
        let term = |value, spread, sensitivity| Term { name: "x".to_owned(), value, unit: "", spread, sensitivity };
        sound(budget(a, &[term(b, s, c), term(c, t, d)], coverage));
        sound(concentration_budget(&ConcentrationKnown {
            mass_mg: a, mass_spread: s, blank_mg: b, blank_spread: Some(t), volume_l: c, volume_spread: u,
        }, coverage));
        sound(volume_budget(&VolumeKnown {
            flow_l_per_min: a,
            calibration_percent: s,
            drift_l_per_min: b,
            repeated: Some((c, 3)),
            minutes: d,
            time_half_width_min: b,
            standard: Some(ToStandard {
                actual: Conditions::EPA_STANDARD,
                standard: Conditions::EPA_STANDARD,
                temperature_half_width_k: c,
                pressure_half_width_kpa: d,
            }),
        }, coverage));
        sound(coverage_factor(coverage, None));
        sound(coverage_factor(coverage, Some(a)));
    }

    #[test]
    fn written_numbers(x in any_number(), y in any_number(), figures in any::<u8>(), places in -20..20_i32) {
        for text in [round::significant(x, figures), round::significant_up(x, figures), round::significant_down(x, figures), round::to_places(x, places)] {
            match text {
                Ok(text) => prop_assert!(text.parse::<f64>().is_ok(), "{text}"),
                Err(problem) => told(&problem),
            }
        }
        if let Err(problem) = round::with_uncertainty(x, y) { told(&problem) }
    }

    #[test]
    fn texts_of_any_kind(text in "[-+<]{0,2} ?[0-9.,_eE−]{0,12} ?[a-zA-Zµ°/%³0-9 ]{0,10}", any in "\\PC{0,20}") {
        let kinds = [
            Kind::Flow, Kind::Volume, Kind::Duration, Kind::Mass, Kind::Temperature, Kind::Pressure, Kind::Percent,
            Kind::MassConcentration, Kind::GasConcentration, Kind::FibreConcentration, Kind::FibreDensity,
            Kind::Area, Kind::MolarMass, Kind::Change, Kind::Kelvin,
        ];
        for text in [&text, &any] {
            for kind in kinds {
                match read(text, kind) {
                    Ok(value) => prop_assert!(value.is_finite(), "{text} {value}"),
                    Err(e) => prop_assert!(!e.message.is_empty() && !e.help.is_empty()),
                }
                let _ = read_amount(text, kind);
            }
            let _ = read_concentration(text);
        }
    }
}
