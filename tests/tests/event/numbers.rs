//! The demo's results beside the same sums done in whole fractions.

use num_rational::Ratio;

use draught_sim::results::{AnalyteResult, Results, SampleResult};

use super::{DEMO, results, same, shift, text};

type Q = Ratio<i128>;

fn q(thousandths: i128) -> Q {
    Q::new(thousandths, 1000)
}

fn number(of: Q) -> f64 {
    *of.numer() as f64 / *of.denom() as f64
}

fn demo() -> Results {
    results(&text(&format!("{DEMO}/field.toml")), shift())
}

fn sample<'r>(r: &'r Results, id: &str) -> &'r SampleResult {
    r.samples.iter().find(|s| s.sampler == id).expect(id)
}

fn minutes(n: usize) -> Q {
    Q::new(shift()[n].file.samples[0].pumped_ms.into(), 60_000)
}

fn analyte(s: &SampleResult) -> &AnalyteResult {
    s.laboratory.first().expect("an analyte")
}

#[test]
fn mean_flow_times_time_and_what_is_found_in_it() {
    let r = demo();
    let s = sample(&r, "S-101");
    let v = s.verification.as_ref().expect("verified");
    let before = (q(2000) + q(2020) + q(2010)) / q(3000);
    let after = (q(1980) + q(1990) + q(2000)) / q(3000);
    let mean = (before + after) / q(2000);
    assert!(same(v.before.as_ref().expect("before").mean_l_per_min, number(before)));
    assert!(same(v.mean_l_per_min.expect("a mean"), number(mean)));
    let difference = (after - before) / before * q(100_000);
    assert!((v.difference_percent.expect("one") - number(difference)).abs() < 1e-12);
    assert_eq!((v.over, v.limit_percent), (Some(false), 5.0));

    let litres = mean * minutes(0);
    let volume = s.volume.as_ref().expect("a volume");
    assert_eq!(volume.used_is.as_deref(), Some("mean-flow-time"));
    assert!(same(volume.used_l.expect("used"), number(litres)));
    // Both are there: the pump's, to the last of its units.
    let raw = i128::from(shift()[0].file.samples[0].volume_raw_ul_ms_per_min);
    let integrated = Q::new(raw, 60_000_000_000);
    assert!(same(volume.integrated_l.expect("integrated"), number(integrated)));
    let off = (litres - integrated) / integrated * q(100_000);
    assert!((volume.difference_percent.expect("one") - number(off)).abs() < 1e-9);
    assert!(volume.why_they_differ.iter().any(|w| w.contains("sensor")), "{volume:?}");

    // 1.412 mg less the blank of 0.012 mg.
    let net = q(1412) - q(12);
    let a = analyte(s);
    assert_eq!((a.mass_mg, a.blank_mg), (Some(1.412), Some(0.012)));
    assert_eq!(a.blank_from, ["B-1"]);
    assert!(same(a.net_mass_mg.expect("net"), number(net)));
    let concentration = net * q(1_000_000) / litres;
    assert!(same(a.concentration_mg_m3.expect("one"), number(concentration)));
    assert!(same(a.share_of_limit_percent.expect("one"), number(concentration * q(20_000))));

    // Over 8 h, the break without exposure.
    let w = r.workers.iter().find(|w| w.worker == "W1").expect("W1");
    let twa = concentration * minutes(0) / q(480_000);
    assert!(same(w.twa_mg_m3.expect("one"), number(twa)));
    assert_eq!((w.divisor_h, w.divisor_name.as_str()), (Some(8.0), "8 h"));
    // SAE of a single full-period sample: Y -/+ SAE.
    let y = number(twa / q(5000));
    assert!((w.lcl.expect("LCL") - (y - 0.2)).abs() < 1e-12, "{w:?}");
    assert!((w.ucl.expect("UCL") - (y + 0.2)).abs() < 1e-12);
}

#[test]
fn the_budget_of_a_volume_is_the_root_of_its_squares() {
    let r = demo();
    let b = sample(&r, "S-101").uncertainty.as_ref().expect("a budget").clone();
    // Meter 0.5 %; drift 0.02 L/min, half of it, over sqrt 3; readings 0.01 L/min of three; time 1 s over sqrt 3. In % of 2.0 L/min x 150 min.
    let by_hand: [f64; 4] = [
        0.5,
        100.0 * (0.01 / 3_f64.sqrt()) / 2.0,
        100.0 * (0.01 / 3_f64.sqrt()) / 2.0,
        100.0 * (1.0 / 60.0 / 3_f64.sqrt()) / 150.0,
    ];
    assert_eq!(b.terms.len(), 4, "{b:?}");
    for (term, percent) in b.terms.iter().zip(by_hand) {
        assert!((term.standard_percent - percent).abs() < 1e-9, "{} {percent}", term.name);
    }
    let combined = by_hand.iter().map(|u| u * u).sum::<f64>().sqrt();
    assert!((b.combined_percent - combined).abs() < 1e-9);
    let shares: f64 = b.terms.iter().map(|t| t.share_percent).sum();
    assert!((shares - 100.0).abs() < 1e-9);
    // Welch-Satterthwaite: one term of two degrees of freedom.
    let freedom = combined.powi(4) / (by_hand[2].powi(4) / 2.0);
    assert!((b.degrees_of_freedom.expect("some") / freedom - 1.0).abs() < 1e-9);
    assert!((b.expanded / (b.k * b.combined) - 1.0).abs() < 1e-12 && b.k > 1.96 && b.k < 2.1);
    // Of the concentration: 4 % of the mass of 1.412 mg, of which 1.400 are left; a single blank of 0.012 mg, over sqrt 3; and the volume.
    let a = analyte(sample(&r, "S-101")).clone();
    let mass: f64 = 4.0 * 1.412 / 1.4;
    let of_concentration = a.budget.expect("a budget");
    let blank = 100.0 * 0.012 / 3_f64.sqrt() / 1.4;
    let all = mass.hypot(combined).hypot(blank);
    assert!((of_concentration.combined_percent - all).abs() < 1e-6);
    let says = a.says;
    assert_eq!(says, "4.67 ± 0.38 mg/m3 (k = 1.96)");
}

#[test]
fn timings_that_drift_are_flagged_and_below_stays_below() {
    let r = demo();
    let s = sample(&r, "S-201");
    let v = s.verification.as_ref().expect("verified");
    // 500 mL in 14.9, 15.0, 15.1 s, and in 16.0, 16.1, 16.0 s.
    let flow = |tenths: i128| Q::new(500 * 60 * 10, 1_000 * tenths);
    let before = (flow(149) + flow(150) + flow(151)) / q(3000);
    let after = (flow(160) + flow(161) + flow(160)) / q(3000);
    assert!(same(v.before.as_ref().expect("before").mean_l_per_min, number(before)));
    assert!(same(v.after.as_ref().expect("after").mean_l_per_min, number(after)));
    assert_eq!(v.over, Some(true), "{:?}", v.difference_percent);
    let codes: Vec<&str> = s.flags.iter().map(|f| f.code.as_str()).collect();
    assert_eq!(codes, ["verification-drift", "below-lod"]);
    assert!(s.flags.iter().all(|f| !f.means.is_empty() && !f.do_this.is_empty()));
    // The pump's volume is used unless the sheet asks otherwise.
    let raw = i128::from(shift()[1].file.samples[0].volume_raw_ul_ms_per_min);
    let litres = Q::new(raw, 60_000_000_000);
    let volume = s.volume.as_ref().expect("a volume");
    assert_eq!(volume.used_is.as_deref(), Some("integrated"));
    assert!(same(volume.used_l.expect("used"), number(litres)));
    let a = analyte(s);
    assert_eq!((a.mass_mg, a.concentration_mg_m3, a.blank_mg), (None, None, None));
    assert!(same(a.below_mg_m3.expect("below"), number(q(75) * q(1_000_000) / litres)));
    assert_eq!(a.says, "< 0.26 mg/m3");
    let w = r.workers.iter().find(|w| w.worker == "W2").expect("W2");
    assert_eq!((w.twa_mg_m3, w.lcl), (None, None));
    let bound = number(q(75) * q(1_000_000) / litres * minutes(1) / q(480_000));
    assert!(same(w.below_mg_m3.expect("below"), bound));
}

#[test]
fn planned_and_happened_are_those_of_plan_and_record() {
    let r = demo();
    let s = sample(&r, "S-101");
    let p = s.planned.as_ref().expect("planned");
    assert_eq!((p.pumped_least_ms, p.flow_l_per_min), (Some(9_000_000), Some(2.0)));
    assert!(p.start.as_ref().expect("a start").local.starts_with("2027-05-10T07:00:00"));
    let h = s.happened.as_ref().expect("happened");
    assert_eq!(h.start, shift()[0].file.samples[0].begin);
    assert_eq!(s.spans.len(), 2);
    let spans: f64 = s.spans.iter().map(|s| s.volume_l).sum();
    assert!(same(spans, h.volume_l));
    let last = s.series.last().expect("a series");
    assert!((last.cumulative_l / h.volume_l - 1.0).abs() < 1e-4, "{}", last.cumulative_l);
    assert!(r.simulated && s.simulated && r.notice.as_deref() == Some("SIMULATED, NOT A SAMPLE"));
}
