//! The groups that a hygienist works in.

use std::sync::OnceLock;

use draught_sim::event::{Folder, Record};
use draught_sim::results::{Flag, Results, SampleResult, WorkerResult};

use super::{results, shift, simulated};

fn codes(s: &SampleResult) -> Vec<&str> {
    s.flags.iter().map(|f: &Flag| f.code.as_str()).collect()
}

fn head(limit: &str) -> String {
    format!(
        "[event]\nname = \"x\"\n{limit}\n[[worker]]\nid = \"W1\"\nshift = \"5 h\"\nunsampled = \"not-exposed\"\n"
    )
}

const TWA: &str = "limit = { value = \"5 mg/m3\", kind = \"twa-8h\" }";

fn sampler(id: &str, record: usize, more: &str) -> String {
    let n = record + 1;
    format!(
        "[[sampler]]\nid = \"{id}\"\nworker = \"W1\"\npump = \"P{n}\"\nrecord = \"records/p{n}.json\"\n\
         before = [{{ flow = \"2.0 L/min\" }}]\nafter = [{{ flow = \"2.0 L/min\" }}]\n{more}\n"
    )
}

fn lab(mass: &str) -> String {
    format!("[[sampler.lab]]\nanalyte = \"dust\"\n{mass}\n")
}

fn worker<'r>(r: &'r Results, kind: &str) -> &'r WorkerResult {
    r.workers.iter().find(|w| w.kind == kind).expect(kind)
}

/// Eight short samples of one pump.
fn eight() -> &'static Record {
    static ONCE: OnceLock<Record> = OnceLock::new();
    ONCE.get_or_init(|| {
        let plan = super::text("docs/examples/eight-short-samples.toml");
        let plan = plan.replace("\"1.0 L/min\"", "\"100 mL/min\"");
        let plan = plan.split("[limits]").next().expect("a plan");
        simulated("p1", plan, "2027-02-03 07:50", "low-flow-tube", 3)
    })
}

#[test]
fn tubes_on_a_manifold_have_their_own_flow_times_time() {
    let tube = |id: &str, flow: &str| {
        format!(
            "[[sampler]]\nid = \"{id}\"\nrecord = \"records/p1.json\"\npump = \"P1\"\n\
             before = [{{ flow = \"{flow}\" }}]\nafter = [{{ flow = \"{flow}\" }}]\n{}",
            lab("mass = \"0.3 mg\"")
        )
    };
    let r = results(&(tube("A", "0.5 L/min") + &tube("B", "0.25 L/min")), shift());
    for (s, litres) in r.samples.iter().zip([75.0, 37.5]) {
        let v = s.volume.as_ref().expect("a volume");
        assert_eq!(v.used_is.as_deref(), Some("verified-tube"));
        assert_eq!((v.used_l, v.verified_tube_l), (Some(litres), Some(litres)));
        assert_eq!(
            (v.integrated_l, v.mean_flow_time_l, v.standard_l.is_some()),
            (None, None, true)
        );
        assert_eq!(s.laboratory[0].concentration_mg_m3, Some(0.3 * 1000.0 / litres));
    }
    // Without its own verified flow a tube has no volume, least of all the pump's.
    let field = tube("A", "0.5 L/min")
        + "[[sampler]]\nid = \"B\"\nrecord = \"records/p1.json\"\n[[sampler.lab]]\nanalyte = \"dust\"\nmass = \"0.3 mg\"\n";
    let r = results(&field, shift());
    let v = r.samples[1].volume.as_ref().expect("a volume");
    assert_eq!((v.used_l, v.integrated_l), (None, None));
    assert!(codes(&r.samples[1]).contains(&"no-volume"));
    assert_eq!(r.samples[1].laboratory[0].concentration_mg_m3, None);
    // Asked otherwise, it is refused here too.
    let field = tube("A", "0.5 L/min").replace("pump = \"P1\"", "volume-from = \"integrated\"")
        + &tube("B", "0.25 L/min");
    let v = results(&field, shift()).samples[0].volume.clone().expect("a volume");
    assert!(v.used_l.is_none() && v.used_because.contains("never the pump's volume"), "{v:?}");
}

#[test]
fn a_task_within_a_shift_is_not_counted_twice() {
    let field = head(TWA)
        + &sampler("S", 0, "group = \"shift\"\nvolume-from = \"mean-flow-time\"")
        + &lab("mass = \"0.6 mg\"")
        + &sampler("T", 1, "group = \"task\"\nvolume-from = \"mean-flow-time\"")
        + &lab("mass = \"1.5 mg\"");
    let r = results(&field, shift());
    let w = worker(&r, "twa");
    // 0.6 mg in 300 L is 2 mg/m3, for 150 min.
    assert_eq!(w.samples, ["S"]);
    assert!((w.twa_mg_m3.expect("one") - 2.0 * 150.0 / 480.0).abs() < 1e-12);
    assert!(r.assumptions.iter().any(|a| a.contains("T of a task")), "{:?}", r.assumptions);
    // Both as parts of the shift overlap in time: nothing is computed.
    let r = results(&field.replace("\"task\"", "\"shift\""), shift());
    let w = worker(&r, "twa");
    assert!(w.twa_mg_m3.is_none() && w.verdict.contains("overlap"), "{}", w.verdict);
    // A duplicate is compared, not added.
    let r = results(&field.replace("group = \"task\"", "duplicate-of = \"S\""), shift());
    assert_eq!(worker(&r, "twa").samples, ["S"]);
    let pair = r.pairs.iter().find(|p| p.what == "dust").expect("a pair");
    // 2 and 5 mg/m3: 3 over 3.5.
    assert!((pair.difference_percent.expect("one") - 300.0 / 3.5).abs() < 1e-9, "{pair:?}");
    assert!(r.pairs.iter().any(|p| p.what == "volume"));
}

#[test]
fn unsampled_time_is_said_and_never_taken_as_nothing_in_silence() {
    let one = sampler("S", 0, "volume-from = \"mean-flow-time\"") + &lab("mass = \"0.6 mg\"");
    let known = results(&(head(TWA) + &one), shift());
    assert!((worker(&known, "twa").twa_mg_m3.expect("one") - 0.625).abs() < 1e-12);
    assert!(known.assumptions.iter().any(|a| a.contains("150 min of the shift")));
    let silent = head(TWA).replace("unsampled = \"not-exposed\"\n", "") + &one;
    let r = results(&silent, shift());
    let w = worker(&r, "twa");
    assert_eq!((w.twa_mg_m3, w.below_mg_m3), (None, None));
    assert!((w.least_mg_m3.expect("least") - 0.625).abs() < 1e-12);
    assert!(w.says.starts_with("at least") && w.verdict.contains("lower bound"), "{w:?}");
    assert!(r.missing.iter().any(|m| m.starts_with("W1: unsampled")), "{:?}", r.missing);
    // As in the time that was sampled: 300 min at 2 mg/m3.
    let r = results(&(head(TWA).replace("not-exposed", "as-sampled") + &one), shift());
    assert!((worker(&r, "twa").twa_mg_m3.expect("one") - 1.25).abs() < 1e-12);
    // Over the time exposed, all of which is the shift.
    let exposed = head(TWA)
        .replace("not-exposed", "as-sampled")
        .replace("shift = ", "divisor = \"exposed\"\nshift = ");
    let w = worker(&results(&(exposed + &one), shift()), "twa").clone();
    assert_eq!((w.divisor_name.as_str(), w.divisor_h), ("time exposed", Some(5.0)));
    assert!((w.twa_mg_m3.expect("one") - 2.0).abs() < 1e-12);
}

#[test]
fn short_term_samples_are_compared_each_and_the_largest_counts() {
    let limit = "limit = [{ value = \"5 mg/m3\", kind = \"twa-8h\" }, { value = \"10 mg/m3\", kind = \"short-term\" }]";
    let tube = |n: u32, mass: &str| {
        format!(
            "[[sampler]]\nid = \"S-{n}\"\nworker = \"W1\"\ngroup = \"short-term\"\nrecord = \"records/p1.json\"\nsample = {n}\n\
             volume-from = \"mean-flow-time\"\nbefore = [{{ flow = \"100 mL/min\" }}]\nafter = [{{ flow = \"100 mL/min\" }}]\n{}",
            lab(mass)
        )
    };
    let record = [eight().clone()];
    let field = head(limit)
        + &tube(1, "mass = \"0.006 mg\"")
        + &tube(2, "mass = \"0.012 mg\"")
        + &tube(3, "below = \"0.003 mg\"");
    let r = results(&field, &record);
    let minutes = |n: usize| record[0].file.samples[n].pumped_ms as f64 / 60_000.0;
    assert!((minutes(1) - 15.0).abs() < 1.0 / 6.0, "{}", minutes(1));
    let w = worker(&r, "short-term");
    let most = 0.12 * 1000.0 / minutes(1);
    assert!((w.twa_mg_m3.expect("one") - most).abs() < 1e-9, "{w:?}");
    assert_eq!((w.samples.len(), w.divisor_name.as_str()), (3, "15 min"));
    assert!((w.share_of_limit_percent.expect("one") - 10.0 * most).abs() < 1e-9);
    for s in &r.samples {
        assert_eq!(s.laboratory[0].limit.as_ref().map(|l| l.kind.as_str()), Some("short-term"));
        assert!(!codes(s).contains(&"short-term-not-15-min"), "{:?}", codes(s));
    }
    // Each sampler has its own part of the record.
    let begins: Vec<_> =
        r.samples.iter().map(|s| s.happened.as_ref().expect("one").start.clone()).collect();
    assert!(begins[0] != begins[1] && r.samples.iter().all(|s| s.spans.len() == 1));
    // A sample of hours is no quarter of an hour: its highest is at least its mean.
    let long = head(limit)
        + &sampler("L", 0, "group = \"short-term\"\nvolume-from = \"mean-flow-time\"")
        + &lab("mass = \"0.6 mg\"");
    let r = results(&long, shift());
    assert!(codes(&r.samples[0]).contains(&"short-term-not-15-min"));
    let w = worker(&r, "short-term");
    assert_eq!((w.twa_mg_m3, w.least_mg_m3), (None, Some(2.0)));
}

#[test]
fn consecutive_tubes_make_one_average_and_less_error_than_one() {
    let limit = TWA.replace(" }", ", sae = 0.2 }");
    let tube = |n: u32, mass: f64| {
        format!(
            "[[sampler]]\nid = \"S-{n}\"\nworker = \"W1\"\ngroup = \"shift\"\nrecord = \"records/p1.json\"\nsample = {n}\n\
             before = [{{ flow = \"100 mL/min\" }}]\nafter = [{{ flow = \"100 mL/min\" }}]\n{}",
            lab(&format!("mass = \"{mass} mg\""))
        )
    };
    let field =
        head(&limit).replace("5 h", "2 h") + &(1..=8).map(|n| tube(n, 0.03)).collect::<String>();
    let r = results(&field, &[eight().clone()]);
    let w = worker(&r, "twa");
    let sum: f64 = r
        .samples
        .iter()
        .zip(&eight().file.samples)
        .map(|(s, row)| {
            s.laboratory[0].concentration_mg_m3.expect("one") * row.pumped_ms as f64 / 60_000.0
        })
        .sum();
    assert!((w.twa_mg_m3.expect("one") / (sum / 480.0) - 1.0).abs() < 1e-12, "{w:?}");
    // Eight alike: the error of one over sqrt 8.
    let y = w.twa_mg_m3.expect("one") / 5.0;
    let error = w.ucl.expect("UCL") - y;
    assert!((error / (y * 0.2 / 8_f64.sqrt()) - 1.0).abs() < 1e-3, "{error} {y}");
    assert!((y - w.lcl.expect("LCL") - error).abs() < 1e-12);
}

#[test]
fn sections_blanks_and_breakthrough() {
    let tube = |front: &str, back: &str| {
        head(TWA)
            + &sampler("S", 0, "media-lot = \"L\"\nvolume-from = \"mean-flow-time\"")
            + &lab(&format!("mass-front = \"{front}\"\nmass-back = \"{back}\"\nlod = \"0.01 mg\""))
            + "[[sampler]]\nid = \"B\"\nkind = \"field-blank\"\nmedia-lot = \"L\"\n"
            + &lab("mass-front = \"0.02 mg\"\nmass-back = \"0.01 mg\"")
    };
    let r = results(&tube("1.00 mg", "0.10 mg"), shift());
    let a = &r.samples[0].laboratory[0];
    assert!(
        !a.breakthrough.as_ref().expect("told").over
            && !codes(&r.samples[0]).contains(&"breakthrough")
    );
    // 1.00 + 0.10 - 0.02 - 0.01 in 300 L.
    assert!((a.concentration_mg_m3.expect("one") - 1.07 / 0.3).abs() < 1e-12);
    assert_eq!(r.blanks[0].used_for, ["S"]);
    // Strictly more than a tenth: what is there is the least that was.
    let r = results(&tube("1.00 mg", "0.11 mg"), shift());
    let a = &r.samples[0].laboratory[0];
    assert!(
        a.breakthrough.as_ref().expect("told").over
            && codes(&r.samples[0]).contains(&"breakthrough")
    );
    assert_eq!(a.concentration_mg_m3, None);
    assert!(
        (a.least_mg_m3.expect("least") - 1.08 / 0.3).abs() < 1e-12
            && a.says.starts_with("at least")
    );
    assert!(worker(&r, "twa").least_mg_m3.is_some());
    // A back section below its limit leaves bounds, not a number.
    let r = results(&tube("1.00 mg", "< 0.02 mg"), shift());
    let a = &r.samples[0].laboratory[0];
    let bounds = (a.least_mg_m3.expect("least"), a.below_mg_m3.expect("most"));
    assert!((bounds.0 - 0.98 / 0.3).abs() < 1e-12 && (bounds.1 - 1.00 / 0.3).abs() < 1e-12);
    let r = results(&tube("0.10 mg", "< 0.02 mg"), shift());
    assert!(codes(&r.samples[0]).contains(&"breakthrough-unknown"));
    // Blanks are not subtracted where the sheet says so.
    let kept =
        tube("1.00 mg", "0.10 mg").replace("[event]\n", "[event]\nsubtract-blanks = false\n");
    let r = results(&kept, shift());
    assert!(
        (r.samples[0].laboratory[0].concentration_mg_m3.expect("one") - 1.10 / 0.3).abs() < 1e-12
    );
    assert!(r.blanks[0].used_for.is_empty());
}

/// Of a blank below its limit nothing is known but that: it counts as nothing, in the mean of all of them, so no result is too low.
#[test]
fn blanks_below_their_limit_count_as_nothing() {
    let blank = |id: &str, found: &str| {
        format!("[[sampler]]\nid = \"{id}\"\nkind = \"field-blank\"\nmedia-lot = \"L\"\n")
            + &lab(found)
    };
    let of = |blanks: &str| {
        let one = sampler("S", 0, "media-lot = \"L\"\nvolume-from = \"mean-flow-time\"");
        results(&(head(TWA) + &one + &lab("mass = \"0.100 mg\"") + blanks), shift())
    };
    let told = |r: &Results| r.assumptions.iter().any(|a| a.contains("is below its limit"));
    let (found, below) = ("mass = \"0.006 mg\"", "below = \"0.004 mg\"");
    let r = of(&(blank("B-1", found) + &blank("B-2", below)));
    let a = &r.samples[0].laboratory[0];
    assert!((a.blank_mg.expect("a mean") - 0.003).abs() < 1e-15, "{a:?}");
    assert_eq!(a.blank_from, ["B-1", "B-2"]);
    assert!((a.concentration_mg_m3.expect("one") - 0.097 / 0.3).abs() < 1e-12);
    assert!(told(&r), "{:?}", r.assumptions);
    // None but such: nothing is subtracted.
    let r = of(&(blank("B-1", below) + &blank("B-2", below)));
    let a = &r.samples[0].laboratory[0];
    assert_eq!((a.blank_mg, a.blank_from.len()), (None, 0));
    assert!((a.concentration_mg_m3.expect("one") - 0.1 / 0.3).abs() < 1e-12);
    assert!(told(&r) && r.blanks.iter().all(|b| b.used_for.is_empty()), "{:?}", r.blanks);
    let r = of(&(blank("B-1", found) + &blank("B-2", found)));
    assert!(!told(&r), "{:?}", r.assumptions);
}

#[test]
fn methods_and_limits_flag_what_is_outside() {
    let one = |method: &str, mass: &str| {
        let method = format!("method = \"{method}\"\nvolume-from = \"mean-flow-time\"");
        let r = results(&(head(TWA) + &sampler("S", 0, &method) + &lab(mass)), shift());
        let s = &r.samples[0];
        s.flags.iter().map(|f| f.code.clone()).collect::<Vec<_>>()
    };
    assert_eq!(one("nmam-0501", "mass = \"0.6 mg\""), Vec::<String>::new());
    // 300 L are over the 133 L that 0500 has at 15 mg/m3; at the 2 mg/m3 that were found, they hold no more than it takes.
    assert_eq!(one("nmam-0500", "mass = \"0.6 mg\""), Vec::<String>::new());
    assert_eq!(one("nmam-0500", "mass = \"2.1 mg\""), ["mass-outside", "over-limit"]);
    // 2.0 L/min is not 2.5.
    assert_eq!(one("nmam-0600/aluminium", "mass = \"0.6 mg\""), ["flow-outside"]);
    assert_eq!(one("epa-app-l", "mass = \"0.6 mg\"")[..2], ["flow-outside", "duration-outside"]);
    assert_eq!(one("nmam-0501", "mass = \"6 mg\""), ["mass-outside", "over-limit"]);
    assert_eq!(one("nmam-0501", "mass = \"0.6 mg\"\nloq = \"1 mg\""), ["below-loq"]);
    // Nothing was found above what the laboratory can tell: below, not a number.
    assert_eq!(one("nmam-0501", "mass = \"0.06 mg\"\nlod = \"0.075 mg\""), ["below-lod"]);
    // A 7 mg/m3 limit in ppm, by 24.45.
    let ppm = TWA.replace("5 mg/m3\"", "1 ppm\", molar-mass = \"48.9 g/mol\"");
    let r = results(&(head(&ppm) + &sampler("S", 0, "") + &lab("mass = \"0.6 mg\"")), shift());
    assert!((r.event.limit.as_ref().expect("a limit").value_mg_m3 - 2.0).abs() < 1e-12);
}

#[test]
fn a_rotameter_is_corrected_and_no_other_meter() {
    let meter = |kind: &str| {
        let air = "temperature = \"35 C\", pressure = \"83.993 kPa\", calibrated-temperature = \"25 C\", calibrated-pressure = \"101.325 kPa\"";
        let read = format!("[{{ flow = \"2.0 L/min\", meter-kind = \"{kind}\", {air} }}]");
        let field = sampler("S", 0, "volume-from = \"mean-flow-time\"")
            .replace("[{ flow = \"2.0 L/min\" }]", &read);
        results(&(head(TWA) + &field), shift()).samples[0].clone()
    };
    // ROT-1: sqrt(101.325 x 308.15 / (83.993 x 298.15)), here over 150 min.
    let factor = (101.325 * 308.15 / (83.993 * 298.15_f64)).sqrt();
    let s = meter("rotameter");
    let used = s.volume.as_ref().and_then(|v| v.used_l).expect("used");
    assert!((used - 300.0 * factor).abs() < 1e-9 && (factor - 1071.9 / 960.0).abs() < 1e-4);
    for kind in ["bubble", "piston", "other"] {
        assert_eq!(meter(kind).volume.and_then(|v| v.used_l), Some(300.0), "{kind}");
    }
}

#[test]
fn records_alone_have_volumes_and_no_more() {
    let r = draught_sim::results::compute(
        &Folder::of_records(vec![eight().clone(), shift()[1].clone()]),
        &draught_sim::methods::Library::default(),
    );
    assert_eq!(r.samples.len(), 9);
    assert!(r.workers.is_empty() && r.missing.is_empty());
    for s in &r.samples {
        let v = s.volume.as_ref().expect("a volume");
        assert_eq!(v.used_is.as_deref(), Some("integrated"));
        assert!(s.laboratory.is_empty() && s.verification.is_none() && s.simulated);
    }
    let ids: std::collections::BTreeSet<&str> =
        r.samples.iter().map(|s| s.sampler.as_str()).collect();
    assert_eq!(ids.len(), 9, "{ids:?}");
}
