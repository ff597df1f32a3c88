//! Volumes and verified flows of the six samplers, once more by hand: from the records' own sums and the readings on the sheet.

use serde_json::Value;

use crate::fractions::{Q, is, mean, quantities, whole};
use crate::records::{RAW_PER_L, record};
use crate::sheet;
use crate::walk::{Told, told};

/// `draught results --json` of the folder.
pub fn results(told: &Told) -> Value {
    let answer = told.also("draught results stone-hall --json");
    serde_json::from_str(&answer).expect("JSON")
}

/// The result of a sampler.
pub fn sample<'r>(results: &'r Value, id: &str) -> &'r Value {
    let all = results["samples"].as_array().expect("samples");
    all.iter().find(|s| s["sampler"] == id).unwrap_or_else(|| panic!("{id} is not there"))
}

/// The codes of its flags, in order.
pub fn flags(sample: &Value) -> Vec<&str> {
    let all = sample["flags"].as_array().expect("flags");
    all.iter().filter_map(|f| f["code"].as_str()).collect()
}

/// The sampler on a pump.
pub fn id(pump: usize) -> String {
    format!("S-{pump}01")
}

/// What a pump drew, in L.
pub fn litres(told: &Told, pump: usize) -> Q {
    Q::new(whole(&record(told, pump), "/samples/0/volume_raw_ul_ms_per_min"), RAW_PER_L)
}

/// How long it pumped, in min.
pub fn minutes(told: &Told, pump: usize) -> Q {
    Q::new(whole(&record(told, pump), "/samples/0/pumped_ms"), 60_000)
}

#[test]
fn volumes_used_are_the_pumps_own_and_mean_flow_times_time_stands_beside() {
    let told = told();
    let results = results(told);
    let sheet = told.text("stone-hall/field.toml");
    for pump in 1..=6 {
        let s = sample(&results, &id(pump));
        let litres = litres(told, pump);
        is(s, "/volume/integrated-l", litres);
        is(s, "/volume/used-l", litres);
        assert_eq!(s["volume"]["used-is"], "integrated");

        let read = |table: &str| {
            let flows = sheet::value(&sheet, table, &id(pump), "flow").expect("readings");
            let flows = quantities(&flows, "L/min");
            assert_eq!(flows.len(), 3);
            mean(&flows)
        };
        let (before, after) = (read("sampler.before"), read("sampler.after"));
        is(s, "/verification/before/mean-l-per-min", before);
        is(s, "/verification/after/mean-l-per-min", after);
        let flow = (before + after) / 2;
        is(s, "/verification/mean-l-per-min", flow);
        let beside = flow * minutes(told, pump);
        is(s, "/volume/mean-flow-time-l", beside);
        // Differences of numbers that are near each other keep fewer digits.
        let percent = |found: &Value, wanted: Q| {
            let wanted = 100.0 * *wanted.numer() as f64 / *wanted.denom() as f64;
            let found = found.as_f64().expect("a number");
            assert!((found - wanted).abs() < 1e-10, "{found} {wanted}");
        };
        percent(&s["verification"]["difference-percent"], (after - before) / before);
        percent(&s["volume"]["difference-percent"], (beside - litres) / litres);
        // All of them within 5 %.
        assert_eq!(s["verification"]["over"], false);
    }
}

/// Two samples of six ask for a look, and say why.
#[test]
fn what_happened_is_flagged_and_nothing_else() {
    let told = told();
    let results = results(told);
    for pump in [1, 2, 4, 6] {
        let s = sample(&results, &id(pump));
        let own = flags(s);
        let of_the_pump = |f: &&str| !matches!(*f, "over-limit" | "below-lod");
        assert_eq!(own.iter().find(|f| of_the_pump(f)), None, "{}: {own:?}", id(pump));
        assert_eq!(s["happened"]["reason"], "finished");
    }
    let cut = sample(&results, "S-301");
    assert_eq!(flags(cut), ["interrupted", "time-unaccounted"]);
    assert_eq!(cut["happened"]["interruptions"], 1);
    assert_eq!(cut["spans"].as_array().map(Vec::len), Some(2));

    let blocked = sample(&results, "S-501");
    let own = flags(blocked);
    for code in ["limit-tripped", "ended-early", "volume-outside"] {
        assert!(own.contains(&code), "{code} in {own:?}");
    }
    assert_eq!(blocked["happened"]["reason"], "fault-flow-low");
    // The pump stopped, and the method's 400 L are far.
    assert!(litres(told, 5) < Q::from_integer(400));
    for s in results["samples"].as_array().expect("samples") {
        for flag in s["flags"].as_array().expect("flags") {
            for part in ["says", "means", "do-this"] {
                assert!(flag[part].as_str().is_some_and(|t| !t.is_empty()), "{flag}");
            }
        }
    }
}
