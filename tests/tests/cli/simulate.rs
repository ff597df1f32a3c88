//! `draught simulate` as its users meet it.

use std::fs;

use serde_json::Value;

use crate::harness::{armed_at, at_top, plans, run_with, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

#[test]
fn every_example_is_simulated_as_it_stands() {
    let at_work = schema_at_top();
    for plan in plans("docs/examples") {
        let path = plan.to_str().expect("a path");
        let shown = run_with(&["simulate", path], b"");
        assert_eq!(shown.code, 0, "{path}\n{}", shown.screen());
        let screen = shown.screen();
        assert!(screen.contains("\nSIMULATED, NOT A SAMPLE   default world, seed 1"), "{screen}");
        assert!(screen.contains("A real sample also needs flow verified before and after."));
        let answer = run_with(&["simulate", path, "--json"], b"");
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &at_work, &at_work, ""), None, "{path}");
        assert_eq!(value["comparison"]["as_forecast"], Value::Bool(true), "{path}");
        let sum = |list: &str| -> u64 {
            value[list]
                .as_array()
                .expect("a list")
                .iter()
                .filter_map(|s| s["volume_raw"].as_u64())
                .sum()
        };
        let total = value["happened"]["volume_raw"].as_u64().expect("a volume");
        assert_eq!((sum("spans"), sum("samples")), (total, total), "{path}");
    }
}

fn schema_at_top() -> Value {
    at_top();
    schema("simulate")
}

#[test]
fn a_plan_at_fault_is_refused_as_check_refuses_it() {
    let mut refused = 0;
    for plan in plans("docs/examples/mistakes") {
        let path = plan.to_str().expect("a path");
        let armed = armed_at(&plan);
        let codes = |text: &str| -> Vec<String> {
            let said = text.split("error[").skip(1).filter_map(|t| t.split_once(']'));
            said.map(|(code, _)| code.to_owned()).collect()
        };
        let checked = run_with(&["check", path, "--armed-at", &armed], b"");
        let simulated = run_with(&["simulate", path, "--armed-at", &armed], b"");
        assert_eq!(codes(&simulated.err), codes(&checked.screen()), "{path}");
        if checked.code == 1 {
            refused += 1;
            assert_eq!((simulated.code, simulated.out.len()), (1, 0), "{path}");
        }
    }
    assert!(refused >= 15, "{refused} plans at fault");
}

#[test]
fn screens_of_simulate() {
    let mut told = String::new();
    for (line, code) in [
        ("draught simulate docs/examples/bakery-night.toml --seed 7", 0),
        ("draught simulate docs/examples/bakery-night.toml --resume-after never", 0),
        (
            "draught simulate docs/examples/bakery-night.toml --world docs/examples/worlds/worn-pump.toml",
            0,
        ),
        (
            "draught simulate docs/examples/two-flows.toml --world docs/examples/worlds/ideal.toml",
            0,
        ),
        (
            "draught simulate docs/examples/mistakes/tight-at-most.toml --world docs/examples/worlds/worn-pump.toml",
            1,
        ),
        (
            "draught simulate docs/examples/short-term.toml --world docs/examples/worlds/worn-pump.toml",
            0,
        ),
        ("draught simulate docs/examples/eight-short-samples.toml", 0),
        ("draught simulate docs/examples/fixed-volume.toml", 0),
    ] {
        let answer = type_in(line);
        assert_eq!(answer.code, code, "{line}\n{}", answer.screen());
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    same_as_stored("tests/tests/cli/screens/simulate.txt".as_ref(), &told);
}

#[test]
fn wrong_worlds_and_wrong_use_are_told() {
    let world = |name: &str, text: &str| {
        let path = std::env::temp_dir().join(format!("draught-{}-{name}", std::process::id()));
        fs::write(&path, text).expect("a temporary file");
        path.to_str().expect("a path").to_owned()
    };
    let plan = "docs/examples/bakery-night.toml";
    let mut told = String::new();
    let faults = "name = \"leaky\"\n\
                  colour = \"red\"\n\
                  [pump]\n\
                  rize = { is = \"2 s\", from = \"assumed\" }\n\
                  fall = \"300 ms\"\n\
                  wander = { is = \"0.4\", from = \"assumed\" }\n\
                  [sensor]\n\
                  noise = { is = \"80 %\", from = \"assumed\" }\n\
                  gain-error = { is = \"1 %\" }\n";
    let path = world("faults.toml", faults);
    let answer = run_with(&["simulate", plan, "--world", &path], b"");
    assert_eq!((answer.code, answer.out.len()), (1, 0));
    told.push_str(&answer.err.replace(&path, "leaky.toml"));
    fs::remove_file(&path).expect("it was written");
    for line in [
        "draught simulate docs/examples/bakery-night.toml --world no-such-file.toml",
        "draught simulate docs/examples/bakery-night.toml --csv no-such-folder/trace.csv",
        "draught simulate docs/examples/bakery-night.toml --svg -",
        "draught simulate docs/examples/bakery-night.toml --csv docs/examples/bakery-night.toml",
        "draught simulate docs/examples/bakery-night.toml --csv docs",
        "draught simulate docs/examples/bakery-night.toml --resume-after soon",
        "draught simulate docs/examples/bakery-night.toml --seed seven",
        "draught simulate docs/examples/bakery-night.toml --csv-every \"1 min\"",
    ] {
        let answer = type_in(line);
        assert_eq!((answer.code, answer.out.len()), (2, 0), "{line}\n{}", answer.screen());
        told.push_str(&format!("\n$ {line}\n{}", answer.err));
    }
    same_as_stored("tests/tests/cli/screens/simulate-wrong.txt".as_ref(), &told);
}

#[test]
fn trace_and_picture_are_written_and_say_simulated() {
    let folder = std::env::temp_dir().join(format!("draught-simulate-{}", std::process::id()));
    fs::create_dir_all(&folder).expect("a temporary folder");
    let path = |name: &str| folder.join(name).to_str().expect("a path").to_owned();
    let (csv, svg) = (path("trace.csv"), path("run.svg"));
    let plan = "docs/examples/weekdays.toml";
    let arguments =
        ["simulate", plan, "--csv", &csv, "--svg", &svg, "--csv-every", "1 min", "--seed", "3"];
    let answer = run_with(&arguments, b"");
    assert_eq!(answer.code, 0);
    let text = fs::read_to_string(&csv).expect("the trace");
    assert!(text.starts_with(
        "# SIMULATED, NOT A SAMPLE. Made by draught simulate in the default world, seed 3."
    ));
    // One row a minute for five days of 8 h, what happened, a heading and three comments.
    let readings = text.lines().filter(|l| l.contains(",reading,")).count();
    let events = text.lines().filter(|l| l.contains(",event,")).count();
    assert_eq!((readings, text.lines().count()), (2_400, 2_400 + events + 4));
    let rows = format!("wrote {csv}, 2,{} rows", 400 + events);
    assert!(answer.screen().contains(&rows), "{}", answer.screen());
    let picture = fs::read_to_string(&svg).expect("the picture");
    assert!(roxmltree::Document::parse(&picture).is_ok());
    assert!(picture.contains("SIMULATED, NOT A SAMPLE") && picture.contains("foundry-week"));
    // The picture that the documents show: of the run that the README shows.
    let shown = "docs/examples/bakery-night.toml";
    assert_eq!(run_with(&["simulate", shown, "--svg", &svg], b"").code, 0);
    let picture = fs::read_to_string(&svg).expect("the picture");
    same_as_stored("docs/pictures/bakery-night.svg".as_ref(), &picture);
    fs::remove_dir_all(&folder).expect("it was made");
}
