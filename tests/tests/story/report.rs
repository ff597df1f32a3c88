//! The report: its page, its table and its JSON have the numbers of `draught results --json`.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::volumes::{id, results};
use crate::walk::told;

const NOTICE: &str = "SIMULATED, NOT A SAMPLE";

#[test]
fn the_json_of_the_report_is_that_of_the_results() {
    let report: Value = serde_json::from_str(&told().text("report.json")).expect("JSON");
    assert_eq!(report, results(told()));
    assert_eq!(report["notice"], NOTICE);
    assert_eq!(report["missing"], serde_json::json!([]), "nothing is missing in the end");
}

/// Each number on the page is where it says it is, and those that matter are there.
#[test]
fn the_numbers_of_the_page_are_those_of_the_results() {
    let results = results(told());
    let page = told().text("report.html");
    let mut there = BTreeSet::new();
    for element in page.split("<data ").skip(1) {
        let attribute = |name: &str| {
            let (_, rest) = element.split_once(&format!("{name}=\""))?;
            rest.split_once('"').map(|(value, _)| value)
        };
        // data-value stands behind value, so a blank before the name tells the two apart.
        let shown: f64 = attribute("value").and_then(|v| v.parse().ok()).expect("a number");
        let pointer = attribute(" data-value").expect("a place");
        let found = results.pointer(pointer).and_then(Value::as_f64);
        assert_eq!(found, Some(shown), "{pointer}");
        there.insert(pointer);
    }
    let samples = results["samples"].as_array().expect("samples");
    for (n, sample) in samples.iter().enumerate().take(6) {
        assert_eq!(sample["sampler"], id(n + 1));
        for place in ["volume/used-l", "volume/mean-flow-time-l", "verification/mean-l-per-min"] {
            assert!(there.contains(format!("/samples/{n}/{place}").as_str()), "{n} {place}");
        }
        let found = if n == 5 { "below-mg-m3" } else { "concentration-mg-m3" };
        let place = format!("/samples/{n}/laboratory/0/{found}");
        assert!(there.contains(place.as_str()), "{place}");
    }
    let exposures = ["twa", "twa", "twa", "twa", "least", "below"];
    for (n, which) in exposures.iter().enumerate() {
        let place = format!("/workers/{n}/{which}-mg-m3");
        assert!(there.contains(place.as_str()), "{place}");
    }
    // One for the page, one for each of the six sections.
    assert!(page.matches(NOTICE).count() >= 7);
    assert!(!page.contains("<script") && !page.contains("http://") && !page.contains("https://"));
}

/// The same to the twelve figures of the table.
fn near(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-11 * b.abs(),
        (a, b) => a == b,
    }
}

#[test]
fn the_table_has_a_row_for_each_sampler_with_the_same_numbers() {
    let results = results(told());
    let samples = results["samples"].as_array().expect("samples");
    let table = told().text("report.csv");
    let mut table = csv::Reader::from_reader(table.as_bytes());
    let heads = table.headers().expect("heads").clone();
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.expect("a row")).collect();
    let workers = results["workers"].as_array().expect("workers");
    assert_eq!((rows.len(), workers.len()), (samples.len() + 6, 6));
    // The exposures stand below the samples.
    let at = |head: &str| heads.iter().position(|h| h == head).expect("a head");
    for (row, worker) in rows.iter().skip(samples.len()).zip(workers) {
        assert_eq!(row.get(at("worker")), worker["worker"].as_str());
        for (head, key) in [
            ("concentration_mg_m3", "twa-mg-m3"),
            ("below_mg_m3", "below-mg-m3"),
            ("least_mg_m3", "least-mg-m3"),
            ("ucl", "ucl"),
        ] {
            let shown = row.get(at(head)).and_then(|t| t.parse::<f64>().ok());
            assert!(near(shown, worker[key].as_f64()), "{head} {shown:?} {worker}");
        }
    }
    for (row, sample) in rows.iter().zip(samples) {
        let cell = |head: &str| {
            let at = heads.iter().position(|h| h == head).unwrap_or_else(|| panic!("no {head}"));
            row.get(at).expect("a cell")
        };
        assert_eq!(cell("sampler"), sample["sampler"].as_str().expect("an id"));
        if sample["kind"] == "pump" {
            assert_eq!(cell("notice"), NOTICE);
        }
        for (head, pointer) in [
            ("volume_used_l", "/volume/used-l"),
            ("volume_mean_flow_time_l", "/volume/mean-flow-time-l"),
            ("flow_difference_percent", "/verification/difference-percent"),
            ("mass_mg", "/laboratory/0/mass-mg"),
            ("blank_mg", "/laboratory/0/blank-mg"),
            ("concentration_mg_m3", "/laboratory/0/concentration-mg-m3"),
            ("below_mg_m3", "/laboratory/0/below-mg-m3"),
            ("expanded_mg_m3", "/laboratory/0/expanded-mg-m3"),
        ] {
            let shown = cell(head).parse::<f64>().ok();
            let told = sample.pointer(pointer).and_then(Value::as_f64);
            assert!(near(shown, told), "{head} {shown:?} {told:?}");
        }
    }
}

/// The sheet that is printed before has room to write, and the one after has what was written.
#[test]
fn both_sheets_can_be_printed() {
    let (before, after) = (told().text("sheet.html"), told().text("custody.html"));
    for sampler in (1..=6).map(id) {
        assert!(before.contains(&sampler) && after.contains(&sampler), "{sampler}");
    }
    assert!(!before.contains("L-2027-03") && after.contains("L-2027-03"));
    assert!(after.contains("Chain of custody") && after.contains("B-2") && after.contains(NOTICE));
}
