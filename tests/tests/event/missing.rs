//! `draught event check` lists exactly what is missing: every key of a whole sheet is taken out in turn.

use std::ops::Range;

use draught_sim::event::missing::{Missing, all};
use draught_sim::event::new::{Wish, field};

use super::{ARMED, DEMO, Temporary, draught, folder, shift, text};

/// A key of a sheet: in which table, of which id, where.
struct Key {
    table: String,
    id: String,
    key: String,
    at: Range<usize>,
}

/// Every key of the demo's sheet; a value may go over lines until its brackets are closed.
fn keys(sheet: &str) -> Vec<Key> {
    let (mut table, mut id, mut found, mut at) = (String::new(), String::new(), Vec::new(), 0);
    let mut open = 0_i32;
    for line in sheet.split_inclusive('\n') {
        let end = at + line.len();
        let bare = line.split(" #").next().unwrap_or("").trim();
        let depth = |l: &str| l.matches('[').count() as i32 - l.matches(']').count() as i32;
        if open > 0 {
            open += depth(bare);
            if let Some(Key { at, .. }) = found.last_mut() {
                at.end = end;
            }
        } else if bare.starts_with('[') {
            table = bare.trim_matches(['[', ']']).to_owned();
            if !table.contains('.') {
                id = table.clone();
            }
        } else if let Some((key, value)) = bare.split_once('=').filter(|_| !bare.starts_with('#')) {
            let (key, value) = (key.trim().to_owned(), value.trim());
            if key == "id" {
                id = value.trim_matches('"').to_owned();
            }
            open = depth(value);
            found.push(Key { table: table.clone(), id: id.clone(), key, at: at..end });
        }
        at = end;
    }
    found
}

/// What is to be said when a key is not there; `None`: it may be left out.
fn expected(k: &Key) -> Option<(String, String)> {
    let here = |key: &str| Some((k.id.clone(), key.to_owned()));
    match (k.table.as_str(), k.key.as_str()) {
        ("verification", "limit") | ("worker", "divisor" | "unsampled") => None,
        ("sampler", "kind" | "sample" | "volume-from" | "group") => None,
        ("sampler.before" | "sampler.after", "meter-u") => None,
        ("sampler.check", "minutes") | ("sampler.lab", "loq") => None,
        ("sampler.lab", "mass" | "below") => here("lab.mass"),
        ("sampler.before" | "sampler.after", "flow" | "runs") => {
            here(&format!("{}.flow", k.table.trim_start_matches("sampler.")))
        }
        (table, key) => match table.strip_prefix("sampler.") {
            Some(inner) => here(&format!("{inner}.{key}")),
            None => here(key),
        },
    }
}

fn listed(missing: &[Missing]) -> Vec<(String, String)> {
    missing.iter().map(|m| (m.of.clone(), m.key.clone())).collect()
}

#[test]
fn each_key_taken_out_is_the_one_that_is_listed() {
    let sheet = text(&format!("{DEMO}/field.toml"));
    assert_eq!(listed(&all(&folder(&sheet, shift()))), [], "the demo is complete");
    let keys = keys(&sheet);
    assert!(keys.len() > 100, "{} keys", keys.len());
    let mut needed = 0;
    for k in &keys {
        let mut without = sheet.clone();
        without.replace_range(k.at.clone(), "");
        // An id must be there, and a blank without its kind is on a pump: both are told elsewhere.
        if k.key == "id" || (k.key == "kind" && !k.id.starts_with("S-")) {
            continue;
        }
        let found = listed(&all(&folder(&without, shift())));
        let wanted: Vec<_> = expected(k).into_iter().collect();
        needed += wanted.len();
        assert_eq!(found, wanted, "without {} of {} {}", k.key, k.table, k.id);
        // Empty is as good as not there, for all that are texts.
        let line = sheet.get(k.at.clone()).unwrap_or("");
        if line.matches('"').count() == 2 && line.trim_start().starts_with(&k.key) {
            let mut empty = sheet.clone();
            empty.replace_range(k.at.clone(), &format!("{} = \"\"\n", k.key));
            assert_eq!(listed(&all(&folder(&empty, shift()))), wanted, "{} empty", k.key);
        }
    }
    assert!(needed > 80, "{needed} keys are needed");
}

#[test]
fn hands_and_whole_tables_are_missed_too() {
    let sheet = text(&format!("{DEMO}/field.toml"));
    for (from, to, of, key) in [
        (
            "relinquished = [{ by = \"A. Demo\", at = \"2027-05-10 15:30\" }]",
            "relinquished = [{ by = \"A. Demo\" }]",
            "S-101",
            "custody.relinquished.at",
        ),
        (
            "received     = [{ by = \"L. Demo\", at = \"2027-05-11 09:10\" }]",
            "received = [{ at = \"2027-05-11 09:10\" }]",
            "S-101",
            "custody.received.by",
        ),
        ("records/p1.json", "records/other.json", "S-101", "records/other.json"),
        (", source = \"demo, no real limit\"", "", "event", "limit.source"),
    ] {
        assert!(sheet.contains(from), "{from}");
        let found = listed(&all(&folder(&sheet.replacen(from, to, 1), shift())));
        assert_eq!(found, [(of.to_owned(), key.to_owned())], "{to}");
    }
}

#[test]
fn a_new_folder_misses_everything_but_what_it_was_made_of() {
    let temporary = Temporary::new("new");
    let path = temporary.file("six");
    let plan = super::top().join(DEMO).join("plan.toml");
    let plan = plan.to_str().expect("a path");
    let asked = ["event", "new", plan, "--armed-at", ARMED, "-o", &path, "--workers", "6"];
    let (code, out, err) = draught(&asked);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    let (code, out, err) = draught(&["event", "check", &path]);
    assert_eq!((code, err.as_str()), (0, ""), "only missing is no fault\n{out}");
    for id in ["S-101", "S-601", "records/p6.json", "0 contradictions"] {
        assert!(out.contains(id), "{id}\n{out}");
    }
    // Made once, never overwritten.
    assert_eq!(draught(&asked).0, 2);
    // The block is the plan's own.
    let block = std::fs::read(temporary.0.join("six/schedule.dra")).expect("the block");
    assert_eq!(block, std::fs::read(super::top().join(DEMO).join("schedule.dra")).expect("it"));
}

#[test]
fn whatever_a_new_sheet_is_made_of_it_can_be_read() {
    for name in ["plain", "with \"quotes\" and \\", "µ and\ttabs\nand lines"] {
        let wish = Wish {
            name: name.to_owned(),
            method: Some("nmam-0600".to_owned()),
            pumps: vec!["P 1/2".to_owned(), "\"x\"".to_owned()],
            samples: 3,
            day: "2027-03-08".to_owned(),
            shift: Some("8 h".to_owned()),
        };
        let folder = folder(&field(&wish), &[]);
        assert_eq!((folder.field.samplers.len(), folder.field.workers.len()), (6, 2));
        assert_eq!(folder.field.samplers[5].id.is, "S-203");
    }
}
