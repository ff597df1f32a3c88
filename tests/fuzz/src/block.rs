//! A block is decoded: `capacity byte | body`. The CRC is put on here, since a fuzzer would never find it.
//!
//! The capacity byte picks the table; 255 says that the rest is a whole block, used as it is.

use draught::prelude::*;
use draught::table::Name;
use draught::units::Quantity;
use draught::wire::{self, Field, FieldName, Observer, RefusalCode, Refused, Value};
use draught_sim::explain::explain;

use crate::counts::Counts;
use crate::oracle::Body;

/// The capacity byte of an input that is used as it is, without a CRC put on.
pub const RAW: u8 = 255;

static COUNTS: Counts<4> = Counts::new(["executions", "past the CRC", "accepted", "explained"]);

/// One input.
///
/// # Panics
/// When a promise is broken.
pub fn one(input: &[u8]) {
    COUNTS.execution();
    let Some((&how, body)) = input.split_first() else { return };
    let block = if how == RAW { body.to_vec() } else { sealed(body) };
    let first = match how % 5 {
        0 => held::<255>(&block),
        1 => held::<32>(&block),
        2 => held::<128>(&block),
        3 => held::<8>(&block),
        _ => held::<1>(&block),
    };
    COUNTS.add(
        1,
        u64::from(!matches!(
            first,
            Some(Refused { code: RefusalCode::Crc | RefusalCode::TooShort, .. })
        )),
    );
    COUNTS.add(2, u64::from(first.is_none()));
    // Words take ten times as long as bytes: one block in eight is put into words, picked by its CRC.
    if block.last().is_some_and(|b| b % 8 == 0) {
        COUNTS.add(3, 1);
        explained(&block);
    }
}

/// A body with its CRC.
#[must_use]
pub fn sealed(body: &[u8]) -> Vec<u8> {
    let mut block = Vec::with_capacity(body.len() + 4);
    block.extend_from_slice(body);
    block.extend(wire::seal(body));
    block
}

/// What a table holds that is to be filled: not empty, so that a change of it is seen.
fn before<const N: usize>() -> StepTable<N> {
    let target = Target::pressure(Pressure::from_pa(777).expect("in range"));
    let mut settings = Settings::new(UtcOffset::UTC, target);
    settings.name = Name::new("before").expect("short");
    let mut table = StepTable::new(settings);
    table.push(Step::Finish).expect("room for one");
    table
}

/// Decodes into a table of `N` steps; why it was refused is the answer.
fn held<const N: usize>(block: &[u8]) -> Option<Refused> {
    let mut table = before::<N>();
    let outcome = wire::decode_into(block, &mut table);
    let mut fields = Fields::default();
    let observed = wire::observe(block, N, &mut fields);
    let Err(refused) = outcome else {
        assert_eq!(observed, Ok(()), "decode accepts what observe refuses");
        assert_eq!(fields.next + 4, block.len(), "a byte belongs to no field");
        accepted(block, &table);
        return None;
    };
    assert!(refused.at <= block.len(), "{refused:?}");
    if let RefusalCode::Table(_) = refused.code {
        assert_eq!(observed, Ok(()), "table rules come last");
        assert_eq!(table, StepTable::empty(), "a broken table rule leaves it empty");
    } else {
        assert_eq!(observed, Err(refused), "decode and observe");
        assert_eq!(table, before::<N>(), "a refusal leaves it as it was");
    }
    Some(refused)
}

/// Whatever is accepted is the one block of its table, for the other reader as well.
fn accepted<const N: usize>(block: &[u8], table: &StepTable<N>) {
    let checked = table.checked().expect("decoding applies every table rule");
    let steps = checked.steps().len();
    assert!(steps <= N && block.len() <= wire::max_len(steps));
    let mut again = vec![0xEE; block.len()];
    assert_eq!(wire::encode(checked, &mut again), Ok(block.len()));
    assert_eq!(again, block, "two blocks of one schedule");
    let short = block.len() - 1;
    let refused = wire::encode(checked, &mut again[..short]);
    assert_eq!(refused.map_err(|e| e.needed), Err(block.len()));
    assert_eq!(wire::schedule_id(checked).0, block[short - 3..]);
    // A table that is one too small.
    let over = wire::observe(block, steps - 1, ()).map_err(|r| r.code);
    assert_eq!(over, Err(RefusalCode::TooManySteps));
    let mirror = Body::of(checked);
    assert_eq!(Body::read(block).as_ref(), Some(&mirror), "the other reader");
    assert_eq!(mirror.block(), block, "the other writer");
}

/// Fields come one after the other, without a gap.
#[derive(Default)]
struct Fields {
    next: usize,
    step: Option<StepNo>,
}

impl Observer for Fields {
    fn field(&mut self, field: &Field<'_>) {
        assert_eq!(field.at, self.next, "{field:?}");
        let may_be_empty = field.name == FieldName::Name; // it is refused as a default after it was read
        assert!(field.len > 0 || may_be_empty, "{field:?}");
        if let Value::Quantity(kind, n) | Value::Scaled(kind, n) = field.value {
            assert!(is_legal(kind, n), "{field:?} is out of range");
        }
        assert!(field.step >= self.step, "{field:?} after {:?}", self.step);
        self.next += field.len;
        self.step = field.step;
    }
}

/// The ranges as docs/encoding.md has them.
fn is_legal(kind: Quantity, n: u32) -> bool {
    let (min, max, unit) = match kind {
        Quantity::Duration => (1, 2_678_400_000, 1_000),
        Quantity::TimeOfDay => (0, 86_399_999, 1),
        Quantity::Date => (0, 49_672, 1),
        Quantity::Flow => (1, 2_000_000_000, 1_000),
        Quantity::Pressure => (1, 200_000, 1),
        Quantity::Volume => (1, 4_000_000_000, 100),
        Quantity::Weekdays => (1, 127, 1),
        Quantity::CycleDays => (1, 366, 1),
        Quantity::StepNumber => (1, 255, 1),
        Quantity::Passes => (2, 65_535, 1),
        Quantity::LateTolerance => (5_000, 86_400_000, 1),
        Quantity::ResumeWithin => (1_000, 2_678_400_000, 1_000),
        Quantity::RetryEvery => (1_000, 86_400_000, 1),
        Quantity::RetryTimes => (1, 255, 1),
        Quantity::TripPercent => (1, 50, 1),
        Quantity::TripGrace => (1_000, 3_600_000, 1),
        other => panic!("{other:?} is in no block"),
    };
    (min..=max).contains(&n) && (n <= 1_000_000_000 || n.is_multiple_of(unit))
}

/// The words for people: every byte in its place, and the same first fault.
fn explained(block: &[u8]) {
    let mut table = StepTable::<255>::empty();
    let refused = wire::decode_into(block, &mut table).err();
    let words = explain(block);
    assert_eq!(words.len, block.len());
    assert_eq!(words.id.is_some(), refused.is_none());
    let first = words.damage.first().map(|d| (d.code, d.at));
    assert_eq!(first, refused.map(|r| (r.code.as_str(), r.at)));
    let mut next = 0;
    for row in &words.rows {
        assert_eq!(row.at, next, "{row:?}");
        next += (row.bytes.len() + 1) / 3;
    }
    assert_eq!(next, block.len(), "a byte is in no row");
    assert!(!words.render().is_empty());
}
