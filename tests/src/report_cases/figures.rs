//! Volumes, laboratory results and their uncertainty in a case.

use draught_sim::hygiene::round;
use draught_sim::results::{AnalyteResult, Budget, Limit, Term, Volumes};

fn term(name: &str, value: f64, distribution: &str, divisor: f64, source: &str) -> Term {
    Term {
        name: name.to_owned(),
        value,
        unit: "%".to_owned(),
        distribution: distribution.to_owned(),
        divisor,
        sensitivity: 1.0,
        degrees_of_freedom: (distribution == "normal").then_some(2.0),
        standard_percent: value / divisor,
        share_percent: 0.0,
        source: source.to_owned(),
    }
}

/// A budget of a volume or, with the laboratory, of a concentration.
pub fn budget(of: &str, value: f64, unit: &str, lab: bool) -> Budget {
    let mut terms = vec![
        term("flow meter", 1.0, "rectangular", 3.0_f64.sqrt(), "certificate of M-3 (demo)"),
        term("readings before and after", 0.18, "normal", 1.0, "scatter of 6 readings"),
        term("drift between them", 0.6, "rectangular", 3.0_f64.sqrt(), "after beside before"),
        term("time", 0.02, "rectangular", 3.0_f64.sqrt(), "the pump's crystal"),
    ];
    if lab {
        terms.push(term("laboratory", 4.0, "standard", 1.0, "as the laboratory states"));
    }
    let variance: f64 = terms.iter().map(|t| t.standard_percent.powi(2)).sum();
    for t in &mut terms {
        t.share_percent = t.standard_percent.powi(2) / variance * 100.0;
    }
    let combined_percent = variance.sqrt();
    Budget {
        of: of.to_owned(),
        value,
        unit: unit.to_owned(),
        terms,
        combined: value * combined_percent / 100.0,
        combined_percent,
        degrees_of_freedom: Some(41.0),
        k: 2.0,
        expanded: value * combined_percent / 50.0,
        expanded_percent: combined_percent * 2.0,
    }
}

/// What the laboratory found.
pub fn lab(
    analyte: &str,
    concentration: f64,
    volume_l: f64,
    below: bool,
    limit: &Limit,
) -> AnalyteResult {
    let m3 = volume_l / 1_000.0;
    let about = AnalyteResult {
        analyte: analyte.to_owned(),
        lod_mg: Some(0.03),
        loq_mg: Some(0.1),
        limit: Some(limit.clone()),
        reported_by: Some("C. Demo".to_owned()),
        reported_at: Some("2027-03-15".to_owned()),
        ..AnalyteResult::default()
    };
    if below {
        let below = 0.03 / m3;
        return AnalyteResult {
            below_mg: Some(0.03),
            below_mg_m3: Some(below),
            share_of_limit_percent: Some(below / limit.value_mg_m3 * 100.0),
            verdict: Some("below what can be detected".to_owned()),
            says: format!("< {} mg/m3", round::significant_up(below, 2).unwrap_or_default()),
            ..about
        };
    }
    let budget = budget("concentration", concentration, "mg/m3", true);
    AnalyteResult {
        mass_mg: Some(concentration * m3),
        net_mass_mg: Some(concentration * m3),
        concentration_mg_m3: Some(concentration),
        expanded_mg_m3: Some(budget.expanded),
        k: Some(2.0),
        share_of_limit_percent: Some(concentration / limit.value_mg_m3 * 100.0),
        verdict: Some("see the worker's average".to_owned()),
        says: format!("{concentration:.2} mg/m3"),
        budget: Some(budget),
        ..about
    }
}

/// The volume in every way.
pub fn volumes(integrated: f64, by_flow: f64, budget: &Budget) -> Volumes {
    Volumes {
        integrated_l: Some(integrated),
        standard_l: Some(integrated * 0.985),
        standard_is: Some("25 °C and 101.325 kPa".to_owned()),
        mean_flow_time_l: Some(by_flow),
        used_l: Some(by_flow),
        used_is: Some("mean-flow-time".to_owned()),
        used_because: "The verified flow is traceable to a meter; the pump's own sensor is not."
            .to_owned(),
        difference_percent: Some((by_flow / integrated - 1.0) * 100.0),
        why_they_differ: vec![
            "The verified flow is the mean of two moments; the pump metered every second."
                .to_owned(),
            "The pump's sensor has an error of its own.".to_owned(),
        ],
        expanded_l: Some(budget.expanded),
        k: Some(2.0),
        says: format!("{by_flow:.0} L"),
        ..Volumes::default()
    }
}
