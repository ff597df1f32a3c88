//! `draught compute`: each answer as it is shown, its JSON, and arguments that cannot be.

use serde_json::Value;

use crate::harness::{at_top, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

/// What is shown of each; invented data.
const LINES: [&str; 52] = [
    "fibres --flow \"2 L/min\" --level \"0.1 f/mL\"",
    "fibres --flow \"4 L/min\" --level \"0.05 f/mL\" --area \"490 mm2\"",
    "calendar --anchor 2027-03-02 --every 6 --from 2027-03-01 --to 2027-03-31",
    "calendar --anchor 2027-03-02 --every 3 --from 2027-03-01 --to 2027-03-14 --missed 2027-03-05",
    "calendar --anchor 2027-03-02 --every 7 --from 2027-03-01 --to 2027-03-14 --missed 2027-03-09",
    "verify --before \"2.01 L/min\" --after \"1.97 L/min\" --meter piston --before-air \"19 C, 99.8 kPa\"",
    "verify --before \"2.01 L/min\" --before \"2.02 L/min\" --after \"1.88 L/min\" --use lower",
    "verify --before-run \"500 mL, 14.9 s\" --before-run \"500 mL, 15.0 s\"",
    "verify --before \"16.7 L/min\" --after \"16.0 L/min\" --sampling ambient",
    "verify --before \"1.72 L/min\" --after \"1.66 L/min\" --use nominal --nominal \"1.7 L/min\" --limit \"3 %\"",
    "verify --before \"2.0 L/min\" --after \"2.0 L/min\" --meter rotameter --calibration-air \"25 C, 760 mm Hg\" --before-air \"12 C, 84 kPa\" --after-air \"18 C, 84 kPa\"",
    "verify --before \"2.0 L/min\" --after \"2.0 L/min\" --meter rotameter --calibration-air \"25 C, 760 mm Hg\" --before-air \"12 C, 84 kPa\"",
    "verify --before \"2.0 L/min\" --before \"20 L/min\" --after \"11 L/min\"",
    "verify --indicated \"16.67 L/min\" --standard \"16.00 L/min\"",
    "verify --indicated \"17.51 L/min\" --standard \"17.51 L/min\" --required \"16.67 L/min\"",
    "rotameter --flow \"2.0 L/min\" --time \"480 min\" --calibration \"25 C, 760 mm Hg\" --site \"35 C, 630 mm Hg\"",
    "volume --before \"2.02 L/min\" --after \"1.98 L/min\" --time \"240 min\"",
    "volume --before \"2 L/min\" --after \"1 L/min\" --time \"8 h\"",
    "volume --before \"2.01 L/min\" --after \"1.95 L/min\" --use lower --time \"8 h\" --pumping \"7 h 30 min\" --integrated \"899.7 L\"",
    "volume --before \"16.67 L/min\" --use before --time \"1379 min\" --period pm25",
    "standard --volume \"24.0 m3\" --air \"10 C, 630 mm Hg\"",
    "standard --volume \"480 L\" --air \"31 C, 99.1 kPa\" --standard \"20 C, 101.325 kPa\"",
    "concentration --mass \"0.412 mg\" --volume \"480 L\"",
    "concentration --mass \"< 0.03 mg\" --volume \"480 L\"",
    "concentration --weighed \"14.200 mg, 14.618 mg\" --blank \"0.004 mg\" --blank \"-0.002 mg\" --detection \"0.03 mg\" --volume \"480 L\"",
    "concentration --front \"0.85 mg\" --back \"< 0.01 mg\" --volume \"12 L\"",
    "concentration --front \"0.85 mg\" --back \"0.12 mg\" --blank-front \"0.01 mg\" --volume \"12 L\"",
    "concentration --front \"0.85 mg\" --back \"< 0.2 mg\" --volume \"12 L\"",
    "concentration --mass \"1.40 mg\" --blank \"0.012 mg\" --blank \"< 0.010 mg\" --blank \"< 0.010 mg\" --volume \"300 L\"",
    "concentration --sample \"0.855 mg, 405 L\" --sample \"< 0.03 mg, 326 L\"",
    "ppm --concentration \"1000 ppm\" --molar-mass \"58.08 g/mol\"",
    "ppm --concentration \"< 0.5 mg/m3\" --molar-mass \"72.11 g/mol\" --air \"-5 C, 84 kPa\"",
    "twa --sample \"2 h, 150 ppm\" --sample \"2 h, 75 ppm\" --sample \"4 h, 50 ppm\" --limit \"100 ppm\"",
    "twa --sample \"5 h, 0.40 mg/m3\" --sample \"2 h, < 0.10 mg/m3\" --unsampled \"1 h\" --at-most \"2 mg/m3\" --limit \"1 mg/m3\"",
    "twa --sample \"6 h, 0.19 mg/m3\" --unsampled \"30 min\" --assume unknown --over exposed --limit \"0.2 mg/m3\"",
    "twa --sample \"2 h, 150 ppm\" --limit \"100 ppm\"",
    "twa --sample \"2 h, 150 ppm\" --unsampled \"6 h\" --assume not-exposed --over exposed --limit \"100 ppm\"",
    "short-term --sample \"7 min, 20 ppm\" --sample \"8 min, 40 ppm\" --consecutive --limit \"25 ppm\"",
    "short-term --sample \"7 min, 20 ppm\" --sample \"8 min, 40 ppm\" --limit \"25 ppm\"",
    "short-term --sample \"10 min, 20 ppm\" --sample \"10 min, 40 ppm\" --consecutive --limit \"25 ppm\"",
    "short-term --sample \"14 min 50 s, 25.1 ppm\" --sample \"1 h, 4 ppm\" --limit \"25 ppm\"",
    "short-term --sample \"30 min, 24 ppm\" --ceiling \"25 ppm\" --peak \"50 ppm\" --peak-time \"10 min\"",
    "short-term --sample \"10 min, 30 ppm\" --assume not-exposed --limit \"25 ppm\"",
    "short-term --sample \"10 min, 40 ppm\" --sample \"15 min, 20 ppm\" --ceiling \"25 ppm\" --peak \"50 ppm\" --peak-time \"10 min\"",
    "mixture --part \"500 ppm, 1000 ppm\" --part \"< 45 ppm, 200 ppm\" --part \"0.2 mg/m3, 1 mg/m3\"",
    "mixture --silica \"5 %, 2 %, 0 %\"",
    "confidence --result \"6.07 mg/m3\" --limit \"5 mg/m3\" --sae 0.23",
    "confidence --sample \"4 h, 0.9 mg/m3\" --sample \"4 h, 1.3 mg/m3\" --limit \"1 mg/m3\" --cv \"7 %\"",
    "uncertainty --flow \"2.0 L/min\" --calibration \"2 %\" --drift \"0.06 L/min\" --spread \"0.01 L/min\" --readings 3 --time \"240 min\" --time-within \"1 min\" --mass \"0.412 mg\" --mass-u \"4 %\" --blank \"0.004 mg\" --blank-u \"0.002 mg\"",
    "uncertainty --value 100 --term \"flow, 5, rectangular\" --term \"readings, 1.2, t2, -0.5\"",
    "completeness --anchor 2027-01-01 --every 6 --from 2027-02-01 --to 2027-03-10 --missed 2027-02-06",
    "completeness --anchor 2027-01-01 --every 6 --from 2027-01-01 --to 2027-06-30 --missed 2027-01-13 --missed 2027-02-12 --made-up \"2027-02-12, 2027-02-14\"",
];

#[test]
fn each_answer_is_shown() {
    at_top();
    let mut told = String::new();
    for line in LINES {
        let line = format!("draught compute {line}");
        let answer = type_in(&line);
        assert_eq!(answer.code, 0, "{line}\n{}", answer.screen());
        assert!(answer.err.is_empty(), "{line}\n{}", answer.err);
        let screen = answer.screen();
        for wanted in ["given ", "formula ", "result ", "source ", "caution "] {
            assert!(screen.lines().any(|l| l.starts_with(wanted)), "{line}: no {wanted}\n{screen}");
        }
        let widest = screen.lines().map(|l| l.chars().count()).max().unwrap_or(0);
        assert!(widest <= 110, "{line}: {widest} columns\n{screen}");
        told.push_str(&format!("$ {line}\n{screen}\n"));
    }
    same_as_stored("tests/tests/cli/screens/compute.txt".as_ref(), &told);
}

#[test]
fn json_keeps_its_schema_and_says_the_same() {
    at_top();
    let schema = schema("compute");
    let known =
        schema.pointer("/properties/compute/enum").and_then(Value::as_array).expect("names");
    let mut seen = std::collections::BTreeSet::new();
    for line in LINES {
        let answer = type_in(&format!("draught compute {line} --json"));
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &schema, &schema, ""), None, "{line}");
        let screen = type_in(&format!("draught compute {line}")).screen();
        for figure in value["results"].as_array().expect("results") {
            let text = figure["text"].as_str().expect("a text");
            assert!(screen.contains(text), "{line}: {text} is not on the screen");
            let exact = figure.get("value").is_some();
            let bounds =
                ["< ", "at least "].iter().any(|b| text.starts_with(b)) || text.contains(" to ");
            assert_ne!(exact, bounds, "{line}: {text}");
        }
        seen.insert(value["compute"].as_str().expect("a name").to_owned());
    }
    assert_eq!(seen.len(), known.len(), "each has an example: {seen:?}");
}

/// What cannot be is told with the argument that is at fault, and exit code 2.
#[test]
fn arguments_that_cannot_be_are_named() {
    at_top();
    let mut told = String::new();
    for (line, argument) in [
        ("volume --before \"2.0 lpm\" --time \"8 h\"", "--before"),
        ("volume --before \"2.0 L/min\" --time \"8 h\"", "--after"),
        ("volume --before \"0 L/min\" --use before --time \"8 h\"", "--before"),
        ("volume --before \"2 L/min\" --use before --time 480", "--time"),
        ("volume --before \"2 L/min\" --use before --time \"4 h\" --pumping \"5 h\"", "--pumping"),
        ("volume --before \"2 L/min\" --use nominal --time \"4 h\"", "--nominal"),
        ("standard --volume \"480 L\" --air \"10 C, 760 kPa\"", "--air"),
        ("standard --volume \"480 L\" --air \"10 C\"", "--air"),
        (
            "rotameter --flow \"2,0 L/min\" --time \"8 h\" --calibration \"25 C, 100 kPa\" --site \"25 C, 84 kPa\"",
            "--flow",
        ),
        ("verify --after \"2 L/min\"", "--before"),
        ("verify --before-run \"500 mL\"", "--before-run"),
        ("verify --indicated=\"-1 L/min\" --standard \"1 L/min\"", "--indicated"),
        ("concentration --mass \"0.412 mg\" --volume \"0 L\"", "--volume"),
        ("concentration --mass \"0 mg\" --volume \"480 L\"", "--mass"),
        ("concentration --mass \"< 0 mg\" --volume \"480 L\"", "--mass"),
        (
            "concentration --mass \"0.002 mg\" --blank \"0.004 mg\" --volume \"480 L\"",
            "--mass, --blank",
        ),
        ("concentration --volume \"480 L\"", "--mass"),
        ("ppm --concentration \"5 f/mL\" --molar-mass \"58 g/mol\"", "--concentration"),
        (
            "ppm --concentration \"5 ppm\" --molar-mass \"0.1 g/mol\"",
            "--concentration, --molar-mass",
        ),
        ("twa --sample \"2 h, 150 ppm\" --limit \"5 mg/m3\"", "--limit"),
        ("twa --sample \"2 h 150 ppm\"", "--sample"),
        ("twa --sample \"2 h, 0 ppm\"", "--sample"),
        ("twa --sample \"10 h, 150 ppm\" --sample \"20 h, 75 ppm\"", "--sample"),
        ("ppm --concentration \"2000000 ppm\" --molar-mass \"72.11 g/mol\"", "--concentration"),
        (
            "ppm --concentration \"3000 g/m3\" --molar-mass \"72.11 g/mol\"",
            "--concentration, --molar-mass",
        ),
        (
            "concentration --weighed \"14.62 mg, 14.20 mg\" --detection \"0.03 mg\" --volume \"480 L\"",
            "--weighed, --blank",
        ),
        ("uncertainty --value 1 --term \"flow, 5, t0\"", "--term, --coverage"),
        ("twa --sample \"2 h, 150 ppm\" --unsampled \"1 h\"", "--unsampled"),
        (
            "short-term --sample \"15 min, 40 ppm\" --ceiling \"50 ppm\" --peak \"25 ppm\" --peak-time \"10 min\"",
            "--ceiling, --peak",
        ),
        ("mixture --part \"45 ppm, 0 ppm\"", "--part"),
        ("mixture --silica \"50 %, 60 %, 0 %\"", "--silica"),
        ("confidence --result \"< 1 ppm\" --limit \"5 ppm\" --sae 0.2", "--result"),
        ("confidence --result \"6 ppm\" --limit \"5 ppm\" --sae 23", "--result, --sae"),
        ("uncertainty", "--flow"),
        ("uncertainty --value 1 --term \"flow, 5, square\"", "--term"),
        ("uncertainty --value 1 --term \"flow, 0, normal\"", "--term, --coverage"),
        ("fibres --flow \"2 L/min\" --level \"0 f/mL\"", "--level"),
        ("calendar --anchor 2027-02-30 --every 6 --from 2027-01-01 --to 2027-02-01", "--anchor"),
        ("calendar --anchor 2027-01-01 --every 0 --from 2027-01-01 --to 2027-02-01", "--every"),
        (
            "completeness --anchor 2027-01-01 --every 6 --from 2027-01-01 --to 2027-02-01 --missed 2027-01-08",
            "--missed",
        ),
        (
            "completeness --anchor 2027-01-01 --every 6 --from 2027-01-01 --to 2027-02-01 --missed 2027-01-07 --made-up \"2027-01-07, 2027-01-13\"",
            "--made-up",
        ),
    ] {
        let line = format!("draught compute {line}");
        let answer = type_in(&line);
        assert_eq!(answer.code, 2, "{line}\n{}", answer.screen());
        assert!(answer.out.is_empty(), "{line} must say nothing on standard output");
        let lead = format!("error: {argument}: ");
        assert!(answer.err.starts_with(&lead), "{line}\n{}", answer.err);
        assert!(answer.err.contains("\n  = help: "), "{line}\n{}", answer.err);
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    same_as_stored("tests/tests/cli/screens/compute-wrong.txt".as_ref(), &told);
}

/// Every example in a help text works as it stands.
#[test]
fn the_examples_of_each_help_work() {
    at_top();
    let names = schema("compute");
    let names = names.pointer("/properties/compute/enum").and_then(Value::as_array).expect("names");
    let mut shown = 0;
    for name in names.iter().filter_map(Value::as_str) {
        let help = type_in(&format!("draught compute {name} --help")).screen();
        let text = help.split("Example").nth(1).unwrap_or_else(|| panic!("{name} has no examples"));
        // Long lines are wrapped: a line that begins no command goes on with the one before.
        let mut commands: Vec<String> = Vec::new();
        for line in text.lines().skip(1).take_while(|l| !l.trim().is_empty()) {
            match (line.trim().starts_with("draught "), commands.last_mut()) {
                (false, Some(last)) => *last = format!("{last} {}", line.trim()),
                _ => commands.push(line.trim().to_owned()),
            }
        }
        assert!(!commands.is_empty(), "{name}");
        for command in commands {
            let answer = type_in(&command);
            assert_eq!(answer.code, 0, "{command}\n{}", answer.screen());
            shown += 1;
        }
    }
    assert!(shown > 30, "{shown}");
}
