//! `draught campaign`.

use serde_json::Value;

use crate::harness::{at_top, run_with};
use crate::machine_readable::{fault, schema};

#[test]
fn json_keeps_its_schema_and_the_same_seed_says_the_same() {
    at_top();
    let asked = ["campaign", "--runs", "30", "--seed", "1", "--json"];
    let answer = run_with(&asked, &[]);
    assert_eq!(answer.code, 0, "{}", answer.screen());
    let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
    let schema = schema("campaign");
    assert_eq!(fault(&value, &schema, &schema, ""), None, "{value}");
    assert_eq!(value["runs"], 30);
    assert_eq!(run_with(&asked, &[]).out, answer.out);
}

#[test]
fn one_run_is_repeated_with_the_faults_that_are_asked_for() {
    at_top();
    let none = run_with(&["campaign", "--seed", "110", "--faults", "none"], &[]);
    assert_eq!(none.code, 0);
    assert!(none.screen().contains("kept every promise"), "{}", none.screen());
    let moved = run_with(&["campaign", "--seed", "110", "--faults", "0@5000"], &[]);
    assert!(moved.screen().contains("0      5.000 s"), "{}", moved.screen());
    let beyond = run_with(&["campaign", "--seed", "110", "--faults", "99"], &[]);
    assert_eq!(beyond.code, 2);
    assert!(beyond.err.contains("numbered from 0"), "{}", beyond.err);
    let unseeded = run_with(&["campaign", "--faults", "1"], &[]);
    assert_eq!(unseeded.code, 2);
}
