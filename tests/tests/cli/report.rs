//! `draught report`: what it writes, and what it says when it cannot.

use std::path::PathBuf;

use draught_sim::results::Results;
use draught_tests::report_cases;

use crate::harness::run_with;

/// A folder of its own for files, which goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("draught-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_owned()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

#[test]
fn page_table_and_json_are_written() {
    let folder = Folder::new("report");
    let results = report_cases::six_workers();
    let input = serde_json::to_vec(&results).unwrap();
    let (html, csv, json) = (folder.file("r.html"), folder.file("r.csv"), folder.file("r.json"));
    let asked = ["report", "-", "-o", &html, "--csv", &csv, "--json", &json];
    let answer = run_with(&asked, &input);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert_eq!(answer.screen(), format!("wrote {html}\nwrote {csv}\nwrote {json}\n"));
    assert!(std::fs::read_to_string(&html).unwrap().starts_with("<!DOCTYPE html>"));
    // Not a digit is lost on the way.
    let again: Results = serde_json::from_str(&std::fs::read_to_string(&json).unwrap()).unwrap();
    assert_eq!(again, results);
    let mut rows = csv::Reader::from_path(&csv).unwrap();
    let volume = rows.headers().unwrap().iter().position(|h| h == "volume_used_l").unwrap();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), results.samples.len() + results.workers.len());
    for (row, sample) in rows.iter().zip(&results.samples) {
        let used = sample.volume.as_ref().and_then(|v| v.used_l);
        let told: Option<f64> = row.get(volume).unwrap().parse().ok();
        // To twelve figures.
        let same = told.zip(used).is_none_or(|(a, b)| (a - b).abs() <= 1e-11 * b);
        assert!(same && told.is_some() == used.is_some(), "{}", sample.sampler);
    }
}

#[test]
fn wrong_use_is_said() {
    let input = serde_json::to_vec(&report_cases::one_good_sample()).unwrap();
    for (asked, said) in [
        (vec!["report", "-"], "there is nothing to write to"),
        (vec!["report", "-", "-o", "-"], "-o needs a file"),
        (vec!["report", "no-such.json", "-o", "x.html"], "there is no such file"),
        (vec!["report", "-", "-o", "no-such-folder/x.html"], "there is no such folder"),
        (vec!["report", "Cargo.toml", "-o", "Cargo.toml"], "it is what is read"),
    ] {
        let answer = run_with(&asked, &input);
        assert_eq!(answer.code, 2, "{asked:?}");
        assert!(answer.err.contains(said) && answer.err.contains("= help: "), "{}", answer.err);
    }
}

#[test]
fn what_is_no_results_is_the_datas_fault() {
    for text in ["", "{}", "[1]", "{\"simulated\": 3}", "flow = 2"] {
        let answer = run_with(&["report", "-", "-o", "never-written.html"], text.as_bytes());
        assert_eq!(answer.code, 1, "{text}");
        assert!(answer.err.starts_with("error[results]: standard input holds no results: "));
        assert!(!std::path::Path::new("never-written.html").exists());
    }
}
