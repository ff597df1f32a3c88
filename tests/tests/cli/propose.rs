//! Proposals: on screens, for machines, and as plans that pass check.

use serde_json::Value;

use crate::harness::{run_with, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

/// What is asked, and the exit code.
const ASKED: &[(&str, u8)] = &[
    (
        "--method nmam-0600/nylon --expect \"0.8 mg/m3\" --limit \"5 mg/m3\" --time \"8 h\" --pump \"1 L/min\" \"3 L/min\"",
        0,
    ),
    ("--method nmam-0600 --expect \"0.8 mg/m3\" --from 22:00 --until 06:00", 0),
    (
        "--method nmam-0500 --expect \"3 mg/m3\" --limit \"15 mg/m3\" --pump \"1 L/min\" \"3 L/min\"",
        0,
    ),
    ("--method nmam-5700 --expect \"20 ug/m3\" --world worn-2-l-min --dust \"1 mg/m3\"", 0),
    (
        "--flow \"1 L/min\" \"2 L/min\" --volume \"7 L\" \"133 L\" --loq \"0.1 mg\" --mass-at-most \"2 mg\" --expect \"2 mg/m3\" --time \"6 h\"",
        0,
    ),
    ("--method nmam-7400/shift --fibres \"0.1 f/cc\" --pump \"1 L/min\" \"4 L/min\"", 0),
    ("--method nmam-0500 --expect \"0.5 mg/m3\" --time \"8 h\"", 0),
    ("--method nmam-0600/nylon --expect \"0.5 mg/m3\" --time \"8 h\"", 0),
    ("--method nmam-0500 --limit \"1 mg/m3\" --from 06:00 --until 06:00", 0),
    (
        "--method nmam-0500 --expect \"20 mg/m3\" --world docs/examples/worlds/worn-2-l-min.toml --time \"8 h\"",
        0,
    ),
    ("--method nmam-7400/shift --fibres \"0.1 f/cc\" --dust \"10 mg/m3\"", 0),
    ("--flow \"2 L/min\" --time \"31 d\" --world docs/examples/worlds/worn-2-l-min.toml", 0),
    ("--flow \"2 L/min\" --volume \"100 L\" \"500 L\" --change \"0 min\"", 0),
    ("--method osha-1008", 0),
    ("--method osha-69 --time \"8 h\"", 0),
    ("--method epa-app-l --pump \"15 L/min\" \"18.4 L/min\"", 0),
    ("--method osha-1910-1043 --pump \"5 L/min\" \"10 L/min\"", 0),
    ("--method nmam-7501/total --expect \"0.5 mg/m3\" --dust \"4 mg/m3\"", 0),
    ("--method nmam-6009 --short-term \"15 min\" --expect \"0.05 mg/m3\"", 0),
    ("--method nmam-6009 --short-term \"15 min\" --expect \"0.02 mg/m3\"", 1),
    ("--method nmam-7601 --expect \"0.05 mg/m3\" --time \"2 h\"", 1),
    ("--method osha-1910-1043 --pump \"1 L/min\" \"3 L/min\"", 1),
    ("--method nmam-0500 --expect \"0.01 mg/m3\"", 1),
    ("--method nmam-0500 --expect \"0.5 mg/m3\" --limit \"15 mg/m3\"", 1),
    ("--method nmam-0600/nylon --short-term \"15 min\" --expect \"5 mg/m3\"", 1),
    ("--method epa-app-l --time \"20 h\"", 1),
    ("--method nmam-0501 --short-term \"5 min\" --expect \"40 mg/m3\"", 0),
    ("--method nmam-7601/hd --short-term \"15 min\" --expect \"1 mg/m3\"", 1),
    (
        "--method nmam-5700 --expect \"0.002 mg/m3\" --world docs/examples/worlds/worn-2-l-min.toml --dust \"40 mg/m3\"",
        1,
    ),
];

#[test]
fn proposals_are_shown() {
    let mut told = String::new();
    for (asked, code) in ASKED {
        let line = format!("draught propose {asked}");
        let answer = type_in(&line);
        assert_eq!((answer.code, answer.err.as_str()), (*code, ""), "{line}\n{}", answer.screen());
        assert!(answer.screen().contains("Follow the method"), "{line} says no caution");
        told.push_str(&format!("$ {line}\n{}exit code {code}\n\n", answer.screen()));
    }
    for line in [
        "draught propose",
        "draught propose --method nmam-9999",
        "draught propose --method nmam-0600/steel",
        "draught propose --flow \"1 L/min\" --expect \"2 ppm\"",
        "draught propose --flow \"2 L/min\" \"1 L/min\"",
        "draught propose --method epa-app-j",
        "draught propose --method nmam-0600 --fibres \"0.1 f/cc\"",
        "draught propose --flow \"1 L/min\" --world docs/examples/worlds/ideal.toml",
        "draught propose --flow \"1 L/min\" --time \"8 h\" --from 07:00 --until 08:00",
        "draught propose --flow \"1 L/min\" --start \"2027-03-08 07:30\"",
        "draught propose --flow \"1 L/min\" --start 2027-03-08 -o -",
        "draught propose --flow \"1 L/min\" --from 07:00 --until 08:00 --start \"2027-03-08 07:30\" -o -",
        "draught propose --flow \"1 L/min\" --start \"2020-03-08 07:30\" -o -",
        "draught propose --flow \"1 L/min\" -o docs/plan.md",
    ] {
        let answer = type_in(line);
        assert_eq!(answer.code, 2, "{line}\n{}", answer.screen());
        told.push_str(&format!("$ {line}\n{}\n", answer.err));
    }
    same_as_stored("tests/tests/cli/screens/propose.txt".as_ref(), &told);
}

#[test]
fn proposals_for_machines_keep_their_schema() {
    crate::harness::at_top();
    let rules = schema("propose");
    for (asked, code) in ASKED {
        let answer = type_in(&format!("draught propose {asked} --json"));
        assert_eq!(answer.code, *code, "{asked}");
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &rules, &rules, ""), None, "{asked}");
        assert_eq!(value["possible"], *code == 0, "{asked}");
        let collisions = value["tried"][0]["collisions"].as_array().expect("a list");
        assert_eq!(collisions.is_empty(), *code == 0, "{asked}");
    }
}

/// Each proposal makes a plan that check finds nothing wrong with, armed by hand and at a time.
#[test]
fn proposed_plans_pass_check() {
    let mut told = String::new();
    let possible = || ASKED.iter().filter(|(_, code)| *code == 0);
    let starts = ["", " --start \"2027-03-08 07:30\""];
    for ((asked, _), start) in possible().flat_map(|a| starts.map(|s| (a, s))) {
        // With --from, the date alone.
        let at =
            if asked.contains("--from") { start.replace(" 07:30", "") } else { start.to_owned() };
        let line = format!("draught propose {asked} --zone Europe/Oslo{at} -o -");
        let plan = type_in(&line);
        assert_eq!((plan.code, plan.err.as_str()), (0, ""), "{line}");
        let checked = run_with(&["check", "-", "--armed-at", "2027-03-08 06:00"], &plan.out);
        let screen = checked.screen();
        assert_eq!(checked.code, 0, "{line}\n{screen}");
        // What the method's own entry lacks is a note; nothing may be worth a warning.
        assert!(screen.contains("\n0 errors, 0 warnings."), "{line}\n{screen}");
        if !start.is_empty() {
            let text = String::from_utf8_lossy(&plan.out);
            told.push_str(&format!("$ {line}\n{text}\n$ draught check ...\n{screen}\n"));
        }
    }
    same_as_stored("tests/tests/cli/screens/proposed-plans.txt".as_ref(), &told);
}

/// What a plan comes to by the forecast is what was proposed.
#[test]
fn a_proposed_plan_draws_what_was_proposed() {
    for (asked, _) in ASKED.iter().filter(|(_, code)| *code == 0) {
        let json = type_in(&format!("draught propose {asked} --json")).out;
        let value: Value = serde_json::from_slice(&json).expect("JSON");
        let chosen = value["chosen"].as_u64().expect("one") as usize;
        let proposal = &value["tried"][chosen]["proposal"];
        let number = |key: &str| proposal[key].as_f64().expect("a number");
        let plan = type_in(&format!("draught propose {asked} --zone Europe/Oslo -o -")).out;
        let forecast = run_with(&["forecast", "-", "--json"], &plan).out;
        let forecast: Value = serde_json::from_slice(&forecast).expect("JSON");
        let total_l = number("volume-l") * number("samples");
        let spans = forecast["resumed"].as_array().expect("spans");
        let ml: f64 = spans.iter().filter_map(|s| s["volume_ml"].as_f64()).sum();
        let litres = ml / 1e3;
        assert!(
            (litres - total_l).abs() < 0.001 + 1e-4 * total_l,
            "{asked}: {litres} L, proposed {total_l} L"
        );
    }
}

#[test]
fn a_file_that_exists_is_not_overwritten() {
    let folder = std::env::temp_dir().join(format!("draught-propose-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a temporary folder");
    let path = folder.join("plan.toml");
    let arguments = ["propose", "--flow", "1 L/min", "-o", path.to_str().expect("a path")];
    let first = run_with(&arguments, b"");
    assert_eq!(first.code, 0, "{}", first.screen());
    assert!(first.screen().contains("written. Next:"), "{}", first.screen());
    let written = std::fs::read(&path).expect("the plan");
    assert_eq!(run_with(&["check", "-"], &written).code, 0);
    let second = run_with(&arguments, b"");
    assert_eq!(second.code, 2);
    assert!(second.err.contains("it is there already"), "{}", second.err);
    // What is impossible writes nothing, and says so.
    let other = folder.join("other.toml");
    let path = other.to_str().expect("a path");
    let none = run_with(
        &["propose", "--flow", "1 L/min", "--pump", "2 L/min", "3 L/min", "-o", path],
        b"",
    );
    assert_eq!((none.code, other.exists()), (1, false));
    assert!(none.err.contains("is not written"), "{}", none.err);
    std::fs::remove_dir_all(&folder).expect("it was made");
}

mod random {
    use proptest::prelude::*;

    use crate::harness::run_with;

    /// Every way of using a method, with any concentration, time and pump: what is proposed passes check.
    fn asked() -> impl Strategy<Value = Vec<String>> {
        let library = draught_sim::methods::Library::default();
        let ids: Vec<String> =
            library.methods().iter().flat_map(|m| m.entries()).map(|e| e.id).collect();
        let digits = |from: f64, to: f64| (from..to).prop_map(|e| format!("{:.3}", 10_f64.powf(e)));
        (
            proptest::sample::select(ids),
            proptest::option::of(digits(-2.0, 1.5)),
            proptest::option::of(1_u32..1_600),
            proptest::option::of((digits(-2.0, 0.0), digits(0.1, 1.5))),
        )
            .prop_map(|(id, expect, time, pump)| {
                let mut words = vec!["--method".to_owned(), id];
                words.extend(
                    expect.iter().flat_map(|c| ["--expect".to_owned(), format!("{c} mg/m3")]),
                );
                words.extend(time.iter().flat_map(|t| ["--time".to_owned(), format!("{t} min")]));
                if let Some((least, most)) = pump {
                    words.extend([
                        "--pump".to_owned(),
                        format!("{least} L/min"),
                        format!("{most} L/min"),
                    ]);
                }
                words
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_proposed_plan_passes_check(words in asked()) {
            let mut line = vec!["propose"];
            line.extend(words.iter().map(String::as_str));
            line.extend(["--zone", "Europe/Oslo", "-o", "-"]);
            let plan = run_with(&line, b"");
            if plan.code == 1 {
                return Ok(());
            }
            // The inlet of App. J sets its flow: without a pump there is none to propose.
            if words.iter().any(|w| w == "epa-app-j") && !words.iter().any(|w| w == "--pump") {
                prop_assert_eq!(plan.code, 2);
                return Ok(());
            }
            prop_assert_eq!(plan.code, 0, "{}", plan.err);
            let checked = run_with(&["check", "-"], &plan.out);
            let screen = checked.screen();
            prop_assert!(screen.contains("\n0 errors, 0 warnings."), "{}\n{}", String::from_utf8_lossy(&plan.out), screen);
        }
    }
}
