//! The library of methods on screens, for machines, and with files of a user's own.

use std::path::PathBuf;

use serde_json::Value;

use crate::harness::{run_with, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

const MINE: &str = "\
id       = \"our-dust\"
title    = \"Total dust, our laboratory\"
issuer   = \"an invented laboratory\"
measures = \"total dust\"
flow       = { is = \"1.5 L/min\", from = \"our sheet 7\", tag = \"seen\" }
volume-max = { is = \"200 L\", from = \"our sheet 7\", tag = \"seen\" }
loq        = { is = \"50 ug\", from = \"recalled\", tag = \"memory\" }
";

/// A folder of this test's own, emptied.
fn folder(name: &str) -> PathBuf {
    let folder =
        std::env::temp_dir().join(format!("draught-methods-{name}-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a temporary folder");
    folder
}

#[test]
fn the_library_is_listed_and_shown() {
    let mut told = String::new();
    for line in [
        "draught methods",
        "draught methods show nmam-0600",
        "draught methods show nmam-0500",
        "draught methods show nmam-7400/shift",
        "draught methods show epa-app-l",
    ] {
        let answer = type_in(line);
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    let wrong = type_in("draught methods show NMAM-600");
    assert_eq!(wrong.code, 2);
    told.push_str(&format!("$ draught methods show NMAM-600\n{}", wrong.screen()));
    same_as_stored("tests/tests/cli/screens/methods.txt".as_ref(), &told);
}

#[test]
fn the_library_for_machines_keeps_its_schema() {
    let rules = schema_of("methods");
    for line in ["draught methods --json", "draught methods show nmam-7400 --json"] {
        let answer = type_in(line);
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &rules, &rules, ""), None, "{line}");
    }
    let all: Value = serde_json::from_slice(&type_in("draught methods --json").out).expect("JSON");
    let methods = all["methods"].as_array().expect("a list");
    let values = methods
        .iter()
        .flat_map(|m| m["entries"].as_array().expect("a list"))
        .flat_map(|e| e["values"].as_array().expect("a list"));
    for value in values {
        assert_eq!(value["decides"], value["tag"] != "memory", "{value}");
    }
}

fn schema_of(name: &str) -> Value {
    crate::harness::at_top();
    schema(name)
}

/// A user's file adds a method, and one of the same name takes the place of the program's; both are said.
#[test]
fn a_user_adds_and_replaces_methods() {
    let folder = folder("mine");
    let path = folder.to_str().expect("a path");
    std::fs::write(folder.join("a.toml"), MINE).expect("a file");
    let instead = MINE.replace("our-dust", "nmam-0501");
    std::fs::write(folder.join("b.toml"), instead).expect("a file");
    std::fs::write(folder.join("readme.txt"), "not a method").expect("a file");
    let list = run_with(&["methods", "--methods", path], b"").screen();
    assert!(list.contains(&format!("our-dust is from {path}/a.toml\n")), "{list}");
    assert!(
        list.contains(&format!(
            "nmam-0501 is from {path}/b.toml, in place of the one of that name"
        )),
        "{list}"
    );
    let shown = run_with(&["methods", "--methods", path, "show", "our-dust"], b"").screen();
    assert!(shown.contains("50 ug") && shown.contains("from memory"), "{shown}");

    // A plan that names it is checked against it, and only where the folder is given.
    let plan = "utc-offset = \"+00:00\"\nflow = \"1.5 L/min\"\nmethod = \"our-dust\"\n\
                steps = [{ run-for = \"3 h\" }, { finish = true }]\n[limits]\nexpect = \"0.1 mg/m3\"\n";
    let checked = run_with(&["check", "-", "--methods", path], plan.as_bytes());
    assert_eq!(checked.code, 1);
    let screen = checked.screen();
    assert!(screen.contains("error[method-volume]") && screen.contains("270 L"), "{screen}");
    assert!(screen.contains("a.toml"), "where the method comes from is said: {screen}");
    // The remembered LOQ decides nothing: 27 µg are no finding.
    assert!(!screen.contains("method-mass]") && screen.contains("note[method-memory]"), "{screen}");
    let without = run_with(&["check", "-"], plan.as_bytes());
    assert!(without.screen().contains("error[unknown-method]"), "{}", without.screen());
    let proposed = run_with(
        &["propose", "--method", "our-dust", "--methods", path, "--expect", "1 mg/m3"],
        b"",
    );
    assert_eq!(proposed.code, 0, "{}", proposed.screen());
    assert!(proposed.screen().contains("quantified from 50 ug is from memory: not used"));
    std::fs::remove_dir_all(&folder).expect("it was made");
}

#[test]
fn a_users_file_at_fault_is_told_with_its_place() {
    let folder = folder("fault");
    let path = folder.to_str().expect("a path");
    std::fs::write(folder.join("a.toml"), MINE.replace("\"200 L\"", "\"200\"")).expect("a file");
    let answer = run_with(&["methods", "--methods", path], b"");
    assert_eq!((answer.code, answer.out.len()), (1, 0), "{}", answer.err);
    assert!(answer.err.contains("error[missing-unit]"), "{}", answer.err);
    assert!(answer.err.contains("a.toml:6:"), "{}", answer.err);
    std::fs::write(folder.join("a.toml"), MINE).expect("a file");
    std::fs::write(folder.join("b.toml"), MINE).expect("a file");
    let twice = run_with(&["methods", "--methods", path], b"");
    assert_eq!(twice.code, 1);
    assert!(twice.err.contains("error[same-name]"), "{}", twice.err);
    std::fs::remove_dir_all(&folder).expect("it was made");
    let none = run_with(&["methods", "--methods", path], b"");
    assert_eq!(none.code, 2);
    assert!(none.err.contains("there is no such file"), "{}", none.err);
}
