//! Event folders and their results on screens and for machines.

use std::path::PathBuf;

use serde_json::Value;

use draught_sim::results::Results;

use crate::harness::{run_with, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

const DEMO: &str = "docs/examples/events/joinery-2027-05-10";

/// A folder of a test's own, which goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("draught-event-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().expect("a path").to_owned()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

#[test]
fn a_folder_is_made_checked_and_reckoned() {
    let folder = Folder::new("screens");
    let path = folder.file("press-hall");
    let made = format!(
        "draught event new {DEMO}/plan.toml --armed-at \"2027-05-10 06:15\" -o {path} --pumps P1,P2"
    );
    let mut told = String::new();
    for line in [
        made.as_str(),
        &format!("draught event check {path}"),
        &format!("draught event check {DEMO}"),
        &format!("draught results {DEMO}"),
        &format!("draught results {DEMO}/records/p1.json"),
    ] {
        let answer = type_in(line);
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    told.push_str("$ cat press-hall/field.toml\n");
    told.push_str(&std::fs::read_to_string(folder.file("press-hall/field.toml")).expect("it"));
    let told = told.replace(&path, "press-hall");
    same_as_stored("tests/tests/cli/screens/event.txt".as_ref(), &told);
}

/// The records of the example are those that the tool makes of its plan.
#[test]
fn the_records_of_the_example_are_made_by_the_simulator() {
    let folder = Folder::new("records");
    for pump in [1, 2] {
        let made = folder.file("made.json");
        let answer = type_in(&format!(
            "draught simulate {DEMO}/plan.toml --armed-at \"2027-05-10 06:15\" --world worn-2-l-min --seed {pump} --record {made}"
        ));
        assert_eq!((answer.code, answer.err.as_str()), (0, ""));
        let made = std::fs::read_to_string(made).expect("a record");
        same_as_stored(format!("{DEMO}/records/p{pump}.json").as_ref(), &made);
    }
}

#[test]
fn what_contradicts_is_told_with_its_line() {
    let folder = Folder::new("contradicts");
    let sheet = {
        crate::harness::at_top();
        std::fs::read_to_string(format!("{DEMO}/field.toml")).expect("the sheet")
    };
    for file in ["plan.toml", "schedule.dra"] {
        std::fs::copy(format!("{DEMO}/{file}"), folder.file(file)).expect(file);
    }
    std::fs::create_dir(folder.file("records")).expect("a folder");
    for file in ["records/p1.json", "records/p2.json"] {
        std::fs::copy(format!("{DEMO}/{file}"), folder.file(file)).expect(file);
    }
    let sheet = sheet
        .replacen("pump      = \"P2\"", "pmup = \"P2\"", 1)
        .replacen("\"records/p2.json\"", "\"records/p1.json\"", 1)
        .replacen("[\"2.00 L/min\", ", "[\"2.00 lpm\", ", 1)
        .replacen("worker      = \"W1\"", "worker = \"W3\"", 1);
    std::fs::write(folder.file("field.toml"), sheet).expect("the sheet");
    let path = folder.0.to_str().expect("a path");
    let answer = run_with(&["event", "check", path], b"");
    assert_eq!(answer.code, 1);
    let told = format!(
        "$ draught event check joinery\n{}{}",
        answer.err,
        String::from_utf8_lossy(&answer.out)
    );
    same_as_stored(
        "tests/tests/cli/screens/event-contradicts.txt".as_ref(),
        &told.replace(path, "joinery"),
    );
}

#[test]
fn json_keeps_its_schema() {
    let (check, results) = (schema_of("event-check"), schema_of("results"));
    for (asked, schema) in [
        (vec!["event", "check", DEMO, "--json"], &check),
        (vec!["results", DEMO, "--json"], &results),
        (vec!["results", &format!("{DEMO}/records/p1.json"), "--json"], &results),
    ] {
        let answer = run_with(&asked, b"");
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{asked:?}");
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, schema, schema, ""), None, "{asked:?}");
    }
    // What the pages are tested with keeps to it as well.
    for case in
        [draught_tests::report_cases::six_workers(), draught_tests::report_cases::one_good_sample()]
    {
        let value = serde_json::to_value(&case).expect("JSON");
        assert_eq!(fault(&value, &results, &results, ""), None);
    }
    // And it can refuse.
    let mut value = serde_json::to_value(Results::default()).expect("JSON");
    assert_eq!(fault(&value, &results, &results, ""), None);
    value["samples"] = serde_json::json!([{ "sampler": "S" }]);
    assert!(fault(&value, &results, &results, "").is_some());
}

fn schema_of(name: &str) -> Value {
    crate::harness::at_top();
    schema(name)
}

#[test]
fn table_report_and_sheet_say_the_same_and_that_it_is_simulated() {
    let folder = Folder::new("files");
    let (csv, html, sheet) = (folder.file("r.csv"), folder.file("r.html"), folder.file("s.html"));
    assert_eq!(run_with(&["results", DEMO, "--csv", &csv], b"").code, 0);
    assert_eq!(run_with(&["report", DEMO, "-o", &html], b"").code, 0);
    assert_eq!(run_with(&["event", "sheet", DEMO, "-o", &sheet, "--paper", "letter"], b"").code, 0);
    let json = run_with(&["results", DEMO, "--json"], b"").out;
    let results: Results = serde_json::from_slice(&json).expect("results");
    let mut rows = csv::Reader::from_path(&csv).expect("a table");
    let head = rows.headers().expect("heads").clone();
    let at = |name: &str| head.iter().position(|h| h == name).expect(name);
    let rows: Vec<csv::StringRecord> = rows.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), 4 + results.workers.len());
    for (row, sample) in rows.iter().zip(&results.samples) {
        assert_eq!(row.get(at("notice")), Some("SIMULATED, NOT A SAMPLE"));
        let number = |name: &str| row.get(at(name)).and_then(|t| t.parse::<f64>().ok());
        // To twelve figures.
        let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() <= 1e-11 * b.abs(),
            (a, b) => a == b,
        };
        assert!(near(number("volume_used_l"), sample.volume.as_ref().and_then(|v| v.used_l)));
        let found = sample.laboratory.first().and_then(|a| a.concentration_mg_m3);
        assert!(near(number("concentration_mg_m3"), found), "{found:?}");
    }
    let page = std::fs::read_to_string(&html).expect("a page");
    assert!(page.contains("SIMULATED, NOT A SAMPLE") && page.contains("4.67"));
    let sheet = std::fs::read_to_string(&sheet).expect("a sheet");
    for said in [
        "SIMULATED, NOT A SAMPLE",
        "S-101",
        "B-1",
        "Chain of custody",
        "size: letter",
        "classified area",
        "snag",
    ] {
        assert!(sheet.contains(said), "{said}");
    }
    assert!(
        !sheet.contains("<script") && !sheet.contains("http://") && !sheet.contains("https://")
    );
}

#[test]
fn texts_are_escaped_on_the_sheet() {
    let folder = Folder::new("escape");
    let field = "[event]\nname = \"<b>&\\\"'\"\n[[sampler]]\nid = \"<script>alert(1)</script>\"\n";
    std::fs::write(folder.file("field.toml"), field).expect("a file");
    let answer = run_with(&["event", "sheet", folder.0.to_str().expect("a path"), "-o", "-"], b"");
    assert_eq!(answer.code, 0, "{}", answer.err);
    let page = String::from_utf8(answer.out).expect("text");
    assert!(page.contains("&lt;script&gt;") && page.contains("&lt;b&gt;&amp;"));
    assert!(!page.contains("<script") && !page.contains("<b>"));
}

#[test]
fn wrong_use_is_told() {
    let full = Folder::new("full");
    std::fs::write(full.file("x"), "").expect("a file");
    let full = full.0.to_str().expect("a path");
    let plan = format!("{DEMO}/plan.toml");
    let record = format!("{DEMO}/records/p1.json");
    let armed = "2027-05-10 06:15";
    for asked in [
        vec!["event", "new", &plan, "--armed-at", armed, "-o", full],
        vec!["event", "new", &plan, "--armed-at", armed, "-o", "x", "--pumps", "P1,p1"],
        vec!["event", "new", &plan, "--armed-at", armed, "-o", "x", "--pumps", "P1,,P2"],
        vec!["event", "new", &plan, "--armed-at", armed, "-o", "x", "--workers", "0"],
        vec!["event", "new", &plan, "--armed-at", armed, "-o", "x", "--method", "nmam-9999"],
        vec!["event", "new", "-", "-o", "x"],
        vec!["event", "new", "no-such-plan.toml", "-o", "x"],
        vec!["event", "check", "no-such-folder"],
        vec!["results"],
        vec!["results", DEMO, &record],
        vec!["results", &record, &record],
        vec!["results", &record, "--csv", &record],
        vec!["results", "no-such.json"],
    ] {
        let answer = run_with(&asked, b"");
        assert_eq!(answer.code, 2, "{asked:?}\n{}", answer.screen());
        assert!(answer.out.is_empty(), "{asked:?}");
        assert!(!std::path::Path::new("x").exists(), "{asked:?}");
    }
    let answer = run_with(&["results", "Cargo.toml"], b"");
    assert_eq!(answer.code, 1);
    assert!(answer.err.contains("error[not-a-record]") && answer.err.contains("= help: "));
}
