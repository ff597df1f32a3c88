//! The reader of version 1 as it was when the version was released goes on reading version 1.
//!
//! A red test here means that the bytes or their meaning changed: that is a new version, with new vectors and a
//! frozen reader of its own (DEVELOPERS.md, "Releasing a format version"). The frozen reader is never mended.

use draught::wire as today;
use draught_tests::strategies::{Scope, tables};
use draught_tests::vectors;
use draught_v1::step::StepNo;
use draught_v1::table::StepTable;
use draught_v1::wire::{self as frozen, Field, Value};
use proptest::prelude::*;

/// Code, offset, step.
type Refusal = (String, usize, Option<u8>);

fn read(block: &[u8], capacity: usize) -> Result<Vec<vectors::Row>, Refusal> {
    let mut rows = Rows(Vec::new());
    let said = |r: frozen::Refused| (r.code.to_string(), r.at, r.step.map(StepNo::get));
    frozen::observe(block, capacity, &mut rows).map_err(said)?;
    frozen::decode_into(block, &mut StepTable::<255>::empty()).map_err(said)?;
    Ok(rows.0)
}

struct Rows(Vec<vectors::Row>);

impl frozen::Observer for Rows {
    fn field(&mut self, f: &Field<'_>) {
        let value = match f.value {
            Value::Number(n) | Value::Quantity(_, n) | Value::Scaled(_, n) => n.into(),
            Value::QuarterHours(q) => q.into(),
            Value::Choice(tag, _) => tag.into(),
            Value::Text(text) => text.into(),
        };
        self.0.push((f.at, f.len, f.name.as_str().to_owned(), f.step.map(StepNo::get), value));
    }
}

#[test]
fn it_reads_every_valid_vector_of_version_1() {
    for v in vectors::valid() {
        assert_eq!(read(&v.hex, 255), Ok(v.fields), "{}", v.name);
    }
}

#[test]
fn it_refuses_every_refused_vector_of_version_1_as_its_file_says() {
    for v in vectors::refused() {
        let expected = Err((v.code, v.at, v.step));
        assert_eq!(read(&v.hex, v.capacity), expected, "{}", v.name);
    }
}

proptest! {
    #[test]
    fn it_reads_what_the_core_writes_today(t in tables(Scope::Wide, 255)) {
        let mut block = vec![0; today::max_len(t.steps.len())];
        let len = today::encode(t.table(), &mut block).unwrap();
        let block = &block[..len];
        // A schedule that takes a newer version is not for it: it must say so.
        if block[1] > frozen::VERSION {
            prop_assert_eq!(read(block, 255), Err(("newer-format".into(), 1, None)));
        } else {
            let now = vectors::Valid::new("now", "", block.to_vec(), armed()).fields;
            prop_assert_eq!(read(block, 255), Ok(now));
        }
    }
}

fn armed() -> draught::calendar::Civil {
    draught::calendar::Civil::midnight(draught::calendar::Date::from_ymd(2027, 3, 8).unwrap())
}
