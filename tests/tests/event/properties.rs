//! What holds of every sheet.

use proptest::prelude::*;

use draught_sim::event::read;
use draught_sim::plan::source::Source;
use draught_sim::results::Results;

use super::{DEMO, results, same, shift, text};

fn flow() -> impl Strategy<Value = f64> {
    (1_500_u32..2_500).prop_map(|ml| f64::from(ml) / 1e3)
}

fn field(flows: [f64; 4], way: &str, mass: &str, blank: f64, lod: f64, u: Option<f64>) -> String {
    let mut sheet = "[event]\nname = \"x\"\nlimit = { value = \"1 mg/m3\", kind = \"twa-8h\" }\n\
         [[worker]]\nid = \"W1\"\nshift = \"2 h 30 min\"\n"
        .to_owned();
    let meter = u.map_or(String::new(), |u| format!(", meter-u = \"{u} %\""));
    for (i, id) in ["A", "B"].iter().enumerate() {
        let (before, after) = (flows[2 * i], flows[2 * i + 1]);
        sheet += &format!(
            "[[sampler]]\nid = \"{id}\"\nworker = \"W1\"\nrecord = \"records/p{}.json\"\nmedia-lot = \"L\"\n{way}\n\
             before = [{{ flow = [\"{before} L/min\", \"{} L/min\"]{meter} }}]\n\
             after = [{{ flow = \"{after} L/min\"{meter} }}]\n\
             [[sampler.lab]]\nanalyte = \"dust\"\n{mass}\nlod = \"{lod} mg\"\nu = \"5 %\"\n",
            i + 1,
            before + 0.01,
        );
    }
    sheet
        + &format!(
            "[[sampler]]\nid = \"K\"\nkind = \"field-blank\"\nmedia-lot = \"L\"\n\
             [[sampler.lab]]\nanalyte = \"dust\"\nmass = \"{blank} mg\"\n"
        )
}

/// What is used is one of those that are offered, and every sum agrees with its parts.
fn consistent(r: &Results) {
    assert!(r.simulated && r.notice.is_some());
    for s in r.samples.iter().filter(|s| s.kind == "pump") {
        let v = s.volume.as_ref().expect("a volume");
        let offered = match v.used_is.as_deref() {
            Some("integrated") => v.integrated_l,
            Some("mean-flow-time") => v.mean_flow_time_l,
            Some("verified-tube") => v.verified_tube_l,
            other => panic!("{other:?}"),
        };
        assert_eq!(v.used_l, offered);
        let (used, integrated) = (v.used_l.expect("used"), v.integrated_l.expect("integrated"));
        if let (Some(traditional), Some(d)) = (v.mean_flow_time_l, v.difference_percent) {
            assert!((integrated * (1.0 + d / 100.0) - traditional).abs() < 1e-9 * integrated);
        }
        if let Some(flow) = s.flow_used_l_per_min {
            assert!(same(
                flow * s.happened.as_ref().expect("one").pumped_ms as f64 / 60_000.0,
                used
            ));
        }
        let of_analytes = s.laboratory.iter().filter_map(|a| a.budget.as_ref());
        for b in s.uncertainty.iter().chain(of_analytes) {
            let shares: f64 = b.terms.iter().map(|t| t.share_percent).sum();
            let squares: f64 = b.terms.iter().map(|t| t.standard_percent.powi(2)).sum();
            assert!((shares - 100.0).abs() < 1e-6, "{shares}");
            assert!((squares.sqrt() / b.combined_percent - 1.0).abs() < 1e-9);
            assert!(same(b.expanded, b.k * b.combined));
        }
        for a in &s.laboratory {
            let bounded = a.below_mg_m3.is_some() || a.least_mg_m3.is_some();
            assert!(a.concentration_mg_m3.is_some() != bounded, "a number or bounds: {a:?}");
            assert!(a.concentration_mg_m3.is_none_or(|c| c > 0.0), "below never becomes 0");
            assert!(a.below_mg_m3.is_none_or(|c| c > 0.0));
            if let (Some(mass), Some(blank), Some(net)) = (a.mass_mg, a.blank_mg, a.net_mass_mg) {
                assert!((mass - blank - net).abs() < 1e-12 * mass);
            }
            if let (Some(c), Some(net)) = (a.concentration_mg_m3, a.net_mass_mg) {
                assert!(same(c * used, net * 1000.0));
            }
        }
    }
    let json = serde_json::to_string(r).expect("JSON");
    assert_eq!(&serde_json::from_str::<Results>(&json).expect("it"), r, "it comes back whole");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn results_agree_with_themselves(
        flows in [flow(), flow(), flow(), flow()],
        way in prop::sample::select(vec![
            "", "volume-from = \"integrated\"", "volume-from = \"mean-flow-time\"",
            "volume-from = \"mean-flow-time\"\nflow-from = \"pump\"", "volume-from = \"verified-tube\"",
        ]),
        mass_ug in 1_u32..5_000, below in any::<bool>(), blank_ug in 1_u32..50, lod_ug in 1_u32..300,
        u in prop::option::of(1_u32..40),
    ) {
        let ug = |x: u32| f64::from(x) / 1e3;
        let mass = if below { format!("below = \"{} mg\"", ug(mass_ug)) } else { format!("mass = \"{} mg\"", ug(mass_ug)) };
        let u = u.map(|u| f64::from(u) / 10.0);
        let sheet = field(flows, way, &mass, ug(blank_ug), ug(lod_ug), u);
        let r = results(&sheet, shift());
        consistent(&r);
        for (s, i) in r.samples.iter().zip([0, 2]) {
            let (b, a) = (flows[i] + 0.005, flows[i + 1]);
            let over = ((a - b) / b).abs() > 0.05;
            if s.kind == "pump" && (((a - b) / b).abs() - 0.05).abs() > 1e-9 {
                prop_assert_eq!(s.flags.iter().any(|f| f.code == "verification-drift"), over);
            }
        }
    }

    #[test]
    fn no_sheet_makes_it_panic(at in 0_usize..7_000, cut in 0_usize..40, put in "[ -~]{0,12}") {
        let sheet = text(&format!("{DEMO}/field.toml"));
        let from = at.min(sheet.len());
        let to = (from + cut).min(sheet.len());
        let changed = format!("{}{put}{}", sheet.get(..from).unwrap_or(""), sheet.get(to..).unwrap_or(""));
        let (read, findings) = read(&Source::new("x", changed.clone()));
        if read.is_some() && !findings.has_errors() {
            let r = results(&changed, shift());
            prop_assert!(serde_json::to_string(&r).is_ok());
        }
    }
}
