//! What `draught explain` makes of blocks that are refused: every refused vector, and any bytes.

use draught::prelude::*;
use draught::wire::{self, RefusalCode, Refused};
use draught_sim::explain::{Explanation, explain, explain_for};
use draught_tests::strategies::{Scope, tables};
use draught_tests::vectors;
use proptest::prelude::*;

use crate::harness::{run_with, same_as_stored};

/// What is wrong, and the rows that it is about, each with the one before it and two behind it.
fn brief(screen: &str) -> String {
    let (wrong, rows) = screen.split_once("\n\n").unwrap_or((screen.trim_end(), ""));
    let rows: Vec<&str> = rows.lines().skip(1).collect();
    let marked = |i: usize| rows.get(i).is_some_and(|row| row.starts_with('>'));
    let near = |i: usize| marked(i + 1) || (i.saturating_sub(2)..=i).any(marked);
    let shown = rows.iter().enumerate().filter(|(i, _)| near(*i)).map(|(_, row)| *row);
    std::iter::once(wrong).chain(shown).collect::<Vec<_>>().join("\n") + "\n"
}

#[test]
fn every_refused_vector_is_told_by_its_first_fault() {
    let mut told = String::from(
        "What `draught explain` says of each vector of tests/vectors/v1/refused.json, of the rows only those at fault,\n\
         with the one before and two behind them. `draught explain --room 32` is asked where the vector's reader has room for 32 steps.\n",
    );
    for v in vectors::refused() {
        let room = v.capacity.to_string();
        let answer = run_with(&["explain", "-", "--room", &room], &v.hex);
        assert_eq!((answer.code, answer.err.as_str()), (1, ""), "{}", v.name);
        let e = explain_for(&v.hex, v.capacity);
        let first = e.damage.first().expect("it is refused");
        assert_eq!(
            (first.code, first.at, first.step),
            (v.code.as_str(), v.at, v.step),
            "{}",
            v.name
        );
        let screen = answer.screen();
        assert_eq!(screen, e.render(), "{}", v.name);
        told.push_str(&format!("\n{}: {}\n{}", v.name, v.meaning, brief(&screen)));
    }
    same_as_stored("tests/tests/cli/screens/refused-blocks.txt".as_ref(), &told);
}

/// A pump's own room decides; the steps are shown all the same.
#[test]
fn a_block_of_more_steps_than_a_pump_has_room_for() {
    let all = vectors::refused();
    let block = &all.iter().find(|v| v.name == "steps-33").expect("the vector").hex;
    assert_eq!(run_with(&["explain", "-"], block).code, 0);
    assert_eq!(run_with(&["explain", "-", "--room", "33"], block).code, 0);
    let small = run_with(&["explain", "-", "--room", "32"], block);
    assert_eq!(small.code, 1);
    let screen = small.screen();
    assert!(screen.contains("(found 33, at most 32)"), "{screen}");
    assert!(screen.contains("\n>    6  21 "), "{screen}");
    assert!(screen.contains("33  step      finish") || screen.contains("33  step        finish"));
    assert_eq!(run_with(&["explain", "-", "--room", "0"], block).code, 2);
}

fn decoded(bytes: &[u8], room: usize) -> Result<(), Refused> {
    let mut table = StepTable::<255>::empty();
    wire::observe(bytes, room, ())?;
    decode_into(bytes, &mut table)
}

/// What holds for any bytes: the same first fault as a reader's, every byte in one row, the fault marked.
fn is_explained(bytes: &[u8], room: usize) -> Result<(), TestCaseError> {
    let e = explain_for(bytes, room);
    let found = e.damage.first().map(|d| (d.code, d.at, d.step));
    let refused = decoded(bytes, room).err();
    prop_assert_eq!(found, refused.map(|r| (r.code.as_str(), r.at, r.step.map(StepNo::get))));
    prop_assert_eq!(e.id.is_some(), refused.is_none());
    if room == 255 {
        prop_assert_eq!(&explain(bytes), &e);
        // A device's own reader, not the one that only looks.
        let device = decode_into(bytes, &mut StepTable::<255>::empty()).err();
        prop_assert_eq!(refused, device);
    }
    let mut at = 0;
    for row in &e.rows {
        prop_assert_eq!(row.at, at, "{:?}", e);
        at += row.bytes.split(' ').filter(|b| !b.is_empty()).count();
    }
    prop_assert_eq!(at, bytes.len(), "{:?}", e);
    is_marked(&e, refused)
}

fn is_marked(e: &Explanation, refused: Option<Refused>) -> Result<(), TestCaseError> {
    let screen = e.render();
    let marked: Vec<usize> = screen
        .lines()
        .filter_map(|l| l.strip_prefix('>')?.split_whitespace().next()?.parse().ok())
        .collect();
    match refused {
        None => prop_assert!(marked.is_empty(), "{}", screen),
        // There are no rows to mark.
        Some(r) if r.code == RefusalCode::TooShort => prop_assert!(marked.is_empty(), "{}", screen),
        Some(r) => {
            prop_assert_eq!(marked.len(), e.damage.len(), "{}", screen);
            prop_assert!(marked.contains(&r.at), "{}", screen);
        }
    }
    Ok(())
}

/// The body with a right CRC.
fn sealed(body: &[u8]) -> Vec<u8> {
    [body, &wire::seal(body)].concat()
}

/// One thing done to the body of a block.
#[derive(Clone, Debug)]
enum Edit {
    Set(prop::sample::Index, u8),
    Remove(prop::sample::Index),
    Insert(prop::sample::Index, u8),
    Cut(prop::sample::Index),
}

fn edits() -> impl Strategy<Value = Vec<Edit>> {
    let at = any::<prop::sample::Index>;
    // Small bytes are tags and counts, so they get further.
    let byte = || prop_oneof![0..16_u8, any::<u8>()];
    let edit = prop_oneof![
        4 => (at(), byte()).prop_map(|(i, b)| Edit::Set(i, b)),
        1 => at().prop_map(Edit::Remove),
        1 => (at(), byte()).prop_map(|(i, b)| Edit::Insert(i, b)),
        1 => at().prop_map(Edit::Cut),
    ];
    prop::collection::vec(edit, 1..4)
}

fn edited(mut body: Vec<u8>, edits: &[Edit]) -> Vec<u8> {
    for edit in edits {
        if body.is_empty() {
            break;
        }
        match edit {
            Edit::Set(i, byte) => {
                let at = i.index(body.len());
                body[at] = *byte;
            }
            Edit::Remove(i) => drop(body.remove(i.index(body.len()))),
            Edit::Insert(i, byte) => body.insert(i.index(body.len() + 1), *byte),
            Edit::Cut(i) => body.truncate(i.index(body.len())),
        }
    }
    body
}

proptest! {
    #[test]
    fn any_bytes_are_explained(bytes in any::<Vec<u8>>(), room in 1..=255_usize) {
        is_explained(&bytes, room)?;
        is_explained(&sealed(&bytes), room)?;
        let headed = [b"D\x01", &bytes[..]].concat();
        is_explained(&sealed(&headed), room)?;
    }

    /// Mutated blocks, as they are and with a right CRC, so that all that stands behind the CRC is met too.
    #[test]
    fn any_mutated_block_is_explained(
        t in tables(Scope::Wide, 40),
        edits in edits(),
        room in prop_oneof![2 => Just(255_usize), 1 => 1..40_usize],
    ) {
        let mut block = vec![0; wire::max_len(40)];
        let len = wire::encode(t.table(), &mut block).expect("room");
        block.truncate(len);
        is_explained(&edited(block.clone(), &edits), room)?;
        is_explained(&sealed(&edited(block[..len - 4].to_vec(), &edits)), room)?;
    }
}
