use super::*;
use crate::clock::MonoMs;
use crate::event::EndReason;
use crate::event::Limit;
use crate::record::{EventRow, Flags, Origin};
use crate::wire::ScheduleId;

fn filled(put: impl Fn(&mut Put<'_>)) -> usize {
    let mut bytes = [0; ROW_LEN];
    let mut out = Put::new(&mut bytes);
    put(&mut out);
    out.len()
}

#[test]
fn a_span_comes_back() {
    let row = SpanRow {
        event: EventId(7),
        number: 65_535,
        step: StepNo::FIRST,
        passes: PassCount([1, 2, 3, 4]),
        sample: 9,
        begin: Some(WallMs::FIRST),
        end: None,
        pumped_ms: u64::MAX,
        volume: RawVolume::from_raw(u64::MAX),
        by: PumpEnd::Tripped(Limit::Sensor),
        overrun_ms: u32::MAX,
        flags: Flags(u32::MAX),
    };
    assert_eq!(SpanRow::from_bytes(&row.to_bytes()), Some(row));
    assert_eq!(filled(|out| row.put(out)), SpanRow::LEN);
}

#[test]
fn a_sample_comes_back() {
    let mut tally = Tally::new(MonoMs::from_ms(0));
    let empty = SampleRow::of(EventId(1), 2, (None, None), 3, &tally);
    assert_eq!(SampleRow::from_bytes(&empty.to_bytes()), Some(empty));
    let reading = crate::port::FlowReading { flow_ul_per_min: 5, drop_pa: Some(1), air_mk: None };
    let air = crate::port::Air { temperature_mk: 290_000, pressure_pa: 99_000 };
    (1..=301).for_each(|s| {
        tally.reading(MonoMs::from_ms(s * 1_000), &reading, Some(air));
    });
    let times = (Some(WallMs::FIRST), Some(WallMs::LAST));
    let full = SampleRow::of(EventId(1), 2, times, 3, &tally);
    assert!(full.interval_means.is_some() && full.temperature_mk().is_some());
    let full = SampleRow { interruptions: 1, unaccounted_ms: 2, flags: Flags::FLOW_OFF, ..full };
    assert_eq!(SampleRow::from_bytes(&full.to_bytes()), Some(full));
    assert_eq!(filled(|out| full.put(out)), SampleRow::LEN);
}

#[test]
fn an_event_comes_back() {
    let mut row = EventRow::begun(EventId(3), ScheduleId([1, 2, 3, 4]), Origin::Simulated);
    assert_eq!(EventRow::from_bytes(&row.to_bytes()), Some(row));
    row.interrupted_s = core::array::from_fn(|n| n as u32);
    row.trips = [1, 2, 3, 4, 5];
    row.supply_armed_percent = Some(100);
    row.missed = u16::MAX;
    row.reason = EndReason::Fault(Limit::Pressure);
    Flags::ALL.iter().for_each(|(flag, _)| row.flags.set(*flag));
    assert_eq!(EventRow::from_bytes(&row.to_bytes()), Some(row));
    assert_eq!(filled(|out| row.put(out)), EventRow::LEN);
}

#[test]
fn bytes_that_are_none_are_none() {
    assert_eq!(SpanRow::from_bytes(&[0xFF; ROW_LEN]), None);
    assert_eq!(SampleRow::from_bytes(&[0xFF; ROW_LEN]), None);
    assert_eq!(EventRow::from_bytes(&[0xFF; ROW_LEN]), None);
    // Step 0 is no step.
    assert_eq!(SpanRow::from_bytes(&[0; ROW_LEN]), None);
}

#[test]
fn every_flag_is_a_bit_of_its_own() {
    let all = Flags::ALL.iter().fold(0, |all, (flag, _)| {
        assert_eq!((flag.0.count_ones(), all & flag.0), (1, 0));
        all | flag.0
    });
    assert_eq!(all.count_ones() as usize, Flags::ALL.len());
}
