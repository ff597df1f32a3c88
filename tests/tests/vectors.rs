//! The golden vectors: what is built equals the files, and each decodes or is refused as it says.

use std::collections::BTreeSet;
use std::path::Path;

use draught::prelude::*;
use draught::wire::{self, RefusalCode};
use draught_tests::oracle::{self, Body};
use draught_tests::schema;
use draught_tests::vectors::{self, Valid};
use serde::Serialize;
use serde::de::DeserializeOwned;

fn decoded(bytes: &[u8]) -> Result<StepTable<255>, wire::Refused> {
    let mut table = StepTable::empty();
    decode_into(bytes, &mut table).map(|()| table)
}

/// Compares a file with what the code builds, or adds to it when asked to. What it holds already never changes.
fn hold_to_file<T: Serialize + DeserializeOwned + PartialEq>(
    name: &str,
    built: &[T],
    named: fn(&T) -> &str,
) {
    let (path, text) = (vectors::path(name), vectors::file_text(built));
    let file = std::fs::read_to_string(&path).unwrap();
    for released in serde_json::from_str::<Vec<T>>(&file).unwrap() {
        assert!(built.contains(&released), "{name}: `{}` never changes", named(&released));
    }
    hold_to_text(&path, &file, &text);
}

fn hold_to_text(path: &Path, file: &str, text: &str) {
    if file != text && std::env::var_os("DRAUGHT_WRITE_VECTORS").is_some() {
        // In one go: other tests read it at the same time.
        let anew = path.with_extension("new");
        std::fs::write(&anew, text).unwrap();
        std::fs::rename(&anew, path).unwrap();
    } else {
        assert!(file == text, "{} is not what is built, which is:\n{text}", path.display());
    }
}

#[test]
fn vectors_are_what_is_built() {
    hold_to_file("valid.json", &vectors::valid::all(), |v| &v.name);
    hold_to_file("refused.json", &vectors::refused::all(), |v| &v.name);
}

/// Which fields there are, in which order and how wide, cannot change by accident: that would be a new version, with
/// vectors and a schema of its own (DEVELOPERS.md, "Releasing a format version").
#[test]
fn the_schema_is_the_one_of_version_1() {
    assert_eq!(wire::VERSION, 1, "a new version has a folder of its own");
    let path = vectors::path("schema.txt");
    hold_to_text(&path, &std::fs::read_to_string(&path).unwrap(), &schema::text());
}

#[test]
fn valid_vectors_decode_and_encode_to_themselves() {
    for v in vectors::valid() {
        let table = decoded(&v.hex).unwrap_or_else(|e| panic!("{}: {e}", v.name));
        let table = table.checked().unwrap();
        let mut block = vec![0xEE; v.hex.len()];
        assert_eq!(wire::encode(table, &mut block), Ok(v.hex.len()), "{}", v.name);
        assert_eq!(block, v.hex, "{}", v.name);
        assert_eq!(Body::of(table).block(), v.hex, "{}: postcard", v.name);
        assert_eq!(Body::read(&v.hex), Some(Body::of(table)), "{}: postcard", v.name);
        assert_eq!(v.fit().flow.is_some(), v.pump.flow_ul_per_min.is_some());
        let armed = table.settings().utc_offset.civil(v.armed_at()).unwrap();
        let again = Valid::new(&v.name, &v.meaning, v.hex.clone(), armed);
        assert_eq!((&again.armed, &again.fields), (&v.armed, &v.fields), "{}", v.name);
    }
}

#[test]
fn fields_of_a_valid_vector_cover_every_byte() {
    for v in vectors::valid() {
        let mut at = 0;
        for (offset, len, ..) in &v.fields {
            assert_eq!(*offset, at, "{}", v.name);
            at += len;
        }
        assert_eq!(at, v.hex.len() - 4, "{}: all but the CRC", v.name);
    }
}

#[test]
fn the_worked_example_byte_by_byte() {
    // Written by hand from docs/encoding.md.
    #[rustfmt::skip]
    let by_hand = [
        b'D', 1, 0, 0, 103,   // magic, version, UTC, flow, 25 x 100 mL/min
        0, 4,                 // no settings, four steps
        1, 0xC8, 0x4D,        // date: 9,928 days after 2000-01-01
        2, 0x8A, 0x0E,        // time: 450 min
        5, 62,                // run-for: 15 min
        0,                    // finish
    ];
    let valid = vectors::valid();
    let v = valid.iter().find(|v| v.name == "worked-example").unwrap();
    assert_eq!(v.hex, [&by_hand[..], &oracle::crc_32c(&by_hand).to_le_bytes()].concat());
    assert_eq!(v.hex.len(), 20);
}

#[test]
fn max_len_is_reached_and_not_passed() {
    for steps in [32, 255] {
        let valid = vectors::valid();
        let v = valid.iter().find(|v| v.name == format!("longest-{steps}")).unwrap();
        assert_eq!(v.hex.len(), wire::max_len(steps));
    }
    assert_eq!(wire::max_len(32), 610);
}

#[test]
fn vectors_hold_every_field() {
    let seen: BTreeSet<_> =
        vectors::valid().into_iter().flat_map(|v| v.fields).map(|f| f.2).collect();
    let known: BTreeSet<_> =
        wire::FieldName::ALL.iter().map(|name| name.as_str().to_owned()).collect();
    assert_eq!(seen, known);
}

fn refusal<const N: usize>(block: &[u8]) -> (String, usize, Option<u8>, bool) {
    let valid = vectors::valid();
    let before = &valid.iter().find(|v| v.name == "one-day-in-six").unwrap().hex;
    let mut table = StepTable::<N>::empty();
    decode_into(before, &mut table).unwrap();
    let old = table.clone();
    let refused = decode_into(block, &mut table).expect_err("refused");
    let text = refused.to_string();
    assert!(text.starts_with(&format!("byte {}", refused.at)), "{text}");
    assert!(text.ends_with(&format!("({})", refused.code)), "{text}");
    let step = refused.step.map(StepNo::get);
    (refused.code.to_string(), refused.at, step, table == old)
}

#[test]
fn refused_vectors_are_refused_for_the_reason_they_say_and_change_nothing() {
    for v in vectors::refused() {
        let (code, at, step, unchanged) = match v.capacity {
            32 => refusal::<32>(&v.hex),
            255 => refusal::<255>(&v.hex),
            other => panic!("{}: no table of {other} steps here", v.name),
        };
        assert_eq!((code.as_str(), at, step), (v.code.as_str(), v.at, v.step), "{}", v.name);
        let rule = RefusalCode::ALL
            .iter()
            .any(|c| matches!(c, RefusalCode::Table(_)) && c.as_str() == code);
        assert!(unchanged || rule, "{}", v.name);
    }
}

#[test]
fn every_code_is_refused_by_some_vector() {
    let seen: BTreeSet<_> = vectors::refused().into_iter().map(|v| v.code).collect();
    let all: BTreeSet<_> = RefusalCode::ALL.iter().map(ToString::to_string).collect();
    assert_eq!(all.len(), RefusalCode::ALL.len(), "codes are different");
    for code in &all {
        assert!(code.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-'));
    }
    assert_eq!(seen, all);
}

#[test]
fn messages_say_what_where_the_limit_and_what_to_do() {
    let refused = vectors::refused();
    for (name, text) in [
        (
            "range-offset-minus-49",
            "byte 2: UTC offset of -49 quarter-hours is outside -48 to 56; \
             choose a value inside the limits (out-of-range)",
        ),
        (
            "range-step-weekdays-eighth",
            "byte 10, step 2: set of weekdays of 128 is outside 1 to 127; \
             choose a value inside the limits (out-of-range)",
        ),
        (
            "version-2",
            "byte 1: the block was made by a newer format (found 2, at most 1); \
             update this reader, or write the schedule for its version (newer-format)",
        ),
        (
            "steps-33",
            "byte 6: there are more steps than the table holds (found 33, at most 32); \
             shorten the schedule, or use repeat (too-many-steps)",
        ),
        (
            "rule-repeat-later",
            "byte 9, step 2: a repeat must go back to an earlier step; \
             change the schedule (repeat-forward)",
        ),
    ] {
        let v = refused.iter().find(|v| v.name == name).unwrap();
        let mut table = StepTable::<32>::empty();
        assert_eq!(decode_into(&v.hex, &mut table).unwrap_err().to_string(), text);
    }
}
