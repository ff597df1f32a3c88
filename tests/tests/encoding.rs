//! The encoding: what is written can be read, what cannot be written is refused.

use draught::audit::TableRule;
use draught::prelude::*;
use draught::wire::{self, BufferTooSmall};
use draught_tests::oracle::{self, Body};
use draught_tests::strategies::{OwnTable, Scope, tables};
use draught_tests::vectors;
use proptest::prelude::*;

fn encoded(table: TableRef<'_>) -> Vec<u8> {
    let mut out = vec![0xEE; wire::max_len(table.steps().len())];
    let len = wire::encode(table, &mut out).expect("max_len is enough");
    out.truncate(len);
    out
}

fn decoded(bytes: &[u8]) -> Result<StepTable<255>, wire::Refused> {
    let mut table = StepTable::empty();
    decode_into(bytes, &mut table).map(|()| table)
}

/// The body with a right CRC.
fn sealed(body: &[u8]) -> Vec<u8> {
    let mut block = body.to_vec();
    block.extend(oracle::crc_32c(body).to_le_bytes());
    block
}

/// What must hold for any block that decodes: it is the only block of its table.
fn is_canonical(bytes: &[u8]) -> Result<(), TestCaseError> {
    if let Ok(table) = decoded(bytes) {
        let table = table.checked().expect("decoding applies every table rule");
        prop_assert_eq!(encoded(table), bytes);
    }
    Ok(())
}

fn table_of(flow_ul_per_min: u32, steps: &[Step]) -> OwnTable {
    let target = Target::flow(Flow::from_ul_per_min(flow_ul_per_min).unwrap());
    OwnTable { settings: Settings::new(UtcOffset::UTC, target), steps: steps.to_vec() }
}

fn minutes(n: u32) -> DurationMs {
    DurationMs::from_ms(n * 60_000).unwrap()
}

#[test]
fn everyday_schedules_are_small() {
    let one = table_of(
        2_500_000,
        &[
            Step::WaitForDate(Date::from_ymd(2027, 3, 8).unwrap()),
            Step::WaitForTime(TimeOfDay::from_hms(7, 30, 0).unwrap()),
            Step::RunFor { run: minutes(15), target: None },
            Step::Finish,
        ],
    );
    assert!(wire::encoded_len(one.table()) <= 20);

    // 40 steps in whole minutes: thirteen times an appointment, a run and a hold.
    let times = (0..13).map(|n| TimeOfDay::from_hms(7 + n, 15, 0).unwrap());
    let mut steps: Vec<_> = times
        .flat_map(|time| {
            let run = Step::RunFor { run: minutes(15), target: None };
            [Step::WaitForTime(time), run, Step::Hold(minutes(45))]
        })
        .collect();
    steps.push(Step::Finish);
    let forty = table_of(2_500_000, &steps);
    assert_eq!(forty.steps.len(), 40);
    assert!(wire::encoded_len(forty.table()) <= 120);
}

#[test]
fn an_own_target_that_is_the_schedules_is_written_as_none() {
    let own = |target| [Step::RunFor { run: minutes(15), target }, Step::Finish];
    let plain = table_of(2_500_000, &own(None));
    let same = table_of(2_500_000, &own(Some(plain.settings.target)));
    assert_eq!(encoded(same.table()), encoded(plain.table()));
    assert_eq!(wire::schedule_id(same.table()), wire::schedule_id(plain.table()));
    let other = table_of(2_500_000, &own(Some(Target::flow(Flow::SMALLEST))));
    assert_ne!(wire::schedule_id(other.table()), wire::schedule_id(plain.table()));
}

#[test]
fn a_buffer_that_is_too_small_is_refused_with_the_size_it_takes() {
    let t = table_of(2_500_000, &[Step::RunFor { run: minutes(15), target: None }, Step::Finish]);
    let needed = wire::encoded_len(t.table());
    for room in 0..needed {
        let refused = wire::encode(t.table(), &mut vec![0; room]);
        assert_eq!(refused, Err(BufferTooSmall { needed }));
    }
    assert_eq!(wire::encode(t.table(), &mut vec![0; needed]), Ok(needed));
}

#[test]
fn no_table_has_more_steps_than_a_block_can_number() {
    let settings = Settings::new(UtcOffset::UTC, Target::flow(Flow::SMALLEST));
    let mut steps = vec![Step::Hold(minutes(1)); 254];
    steps.push(Step::Finish);
    assert!(TableRef::new(&settings, &steps).is_ok());
    steps.insert(0, Step::Hold(minutes(1)));
    let fault = TableRef::new(&settings, &steps).unwrap_err();
    assert_eq!((fault.step.get(), fault.rule), (255, TableRule::NoFinish));
}

#[test]
fn every_truncation_is_refused() {
    for v in vectors::valid() {
        for len in 0..v.hex.len() {
            assert!(decoded(&v.hex[..len]).is_err(), "{} cut to {len} bytes", v.name);
        }
    }
}

proptest! {
    #[test]
    fn a_table_comes_back_as_it_went(t in tables(Scope::Wide, 255)) {
        let bytes = encoded(t.table());
        prop_assert_eq!(decoded(&bytes), Ok(t.stored::<255>()));
        prop_assert_eq!(bytes.len(), wire::encoded_len(t.table()));
        prop_assert!(bytes.len() <= wire::max_len(t.steps.len()));
        prop_assert_eq!(&wire::schedule_id(t.table()).0, bytes.last_chunk().unwrap());
    }

    #[test]
    fn postcard_writes_the_same_bytes(t in tables(Scope::Wide, 255)) {
        let bytes = encoded(t.table());
        let body = Body::of(t.table());
        prop_assert_eq!(body.block(), bytes.clone());
        prop_assert_eq!(Body::read(&bytes), Some(body));
    }

    #[test]
    fn everyday_tables_too(t in tables(Scope::Everyday, 32)) {
        let bytes = encoded(t.table());
        prop_assert_eq!(Body::of(t.table()).block(), bytes.clone());
        prop_assert_eq!(decoded(&bytes), Ok(t.stored::<255>()));
    }

    #[test]
    fn arbitrary_bytes_are_read_or_refused(bytes in any::<Vec<u8>>()) {
        is_canonical(&bytes)?;
        is_canonical(&sealed(&bytes))?;
        let mut headed = vec![b'D', 1];
        headed.extend(&bytes);
        is_canonical(&sealed(&headed))?;
    }

    #[test]
    fn mutated_blocks_are_the_only_block_of_their_table_or_refused(
        t in tables(Scope::Wide, 40),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..4), 1..4),
    ) {
        let mut body = encoded(t.table());
        body.truncate(body.len() - 4);
        for (place, byte, kind) in changes {
            let at = place.index(body.len());
            match kind {
                0 => body[at] = byte,
                1 => body[at] ^= 1 << (byte & 7),
                2 => body.insert(at, byte),
                _ => drop(body.remove(at)),
            }
            if body.is_empty() {
                break;
            }
        }
        is_canonical(&sealed(&body))?;
    }
}
