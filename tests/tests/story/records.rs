//! What the six pumps recorded: four quiet days, a battery that came loose, a sampler that was blocked.

use serde_json::Value;

use crate::fractions::{Q, whole};
use crate::walk::{Told, told};

/// The record of pump 1 to 6.
pub fn record(told: &Told, pump: usize) -> Value {
    let text = told.text(&format!("stone-hall/records/p{pump}.json"));
    serde_json::from_str(&text).expect("JSON")
}

fn texts<'v>(of: &'v Value, pointer: &str) -> Vec<&'v str> {
    let all = of.pointer(pointer).and_then(Value::as_array).expect("a list");
    all.iter().filter_map(Value::as_str).collect()
}

fn text<'v>(of: &'v Value, pointer: &str) -> &'v str {
    of.pointer(pointer).and_then(Value::as_str).unwrap_or_else(|| panic!("{pointer}: no text"))
}

/// Milliseconds since the midnight of the site, of a time like `2027-04-13T10:02:35.045+01:00`.
fn since_midnight_ms(of: &Value, pointer: &str) -> i128 {
    let (_, time) = text(of, pointer).split_once("2027-04-13T").expect("of that day");
    let number = |from: usize, to: usize| time[from..to].parse::<i128>().expect("digits");
    ((number(0, 2) * 60 + number(3, 5)) * 60 + number(6, 8)) * 1000 + number(9, 12)
}

const MINUTE_MS: i128 = 60_000;
const START_MS: i128 = (7 * 60 + 30) * MINUTE_MS;
const STOP_MS: i128 = 15 * 60 * MINUTE_MS;
/// µL·ms/min in a litre.
pub const RAW_PER_L: i128 = 60_000_000_000;

/// What holds of every record: one schedule, other pumps, and every stretch counted once.
#[test]
fn every_record_adds_up() {
    let told = told();
    let block = std::fs::read(told.folder.join("stone-hall/schedule.dra")).expect("the block");
    let id: String = block[block.len() - 4..].iter().map(|b| format!("{b:02x}")).collect();
    let mut volumes = Vec::new();
    for pump in 1..=6 {
        let r = record(told, pump);
        assert_eq!(text(&r, "/schedule/id"), id);
        assert_eq!(text(&r, "/event/schedule_id"), id);
        assert_eq!(text(&r, "/notice"), "SIMULATED, NOT A SAMPLE");
        assert_eq!(whole(&r, "/simulation/seed"), i128::try_from(pump).expect("small"));
        assert_eq!(since_midnight_ms(&r, "/event/started/local"), START_MS);
        for sum in ["pumped_ms", "volume_raw_ul_ms_per_min"] {
            let spans = r["spans"].as_array().expect("stretches");
            let of_spans: i128 = spans.iter().map(|s| whole(s, &format!("/{sum}"))).sum();
            assert_eq!(of_spans, whole(&r, &format!("/event/{sum}")), "p{pump} {sum}");
            assert_eq!(of_spans, whole(&r, &format!("/samples/0/{sum}")), "p{pump} {sum}");
        }
        volumes.push(whole(&r, "/event/volume_raw_ul_ms_per_min"));
    }
    volumes.sort_unstable();
    volumes.dedup();
    assert_eq!(volumes.len(), 6, "six pumps of six seeds draw six volumes");
}

#[test]
fn four_pumps_ran_as_planned() {
    for pump in [1, 2, 4, 6] {
        let r = record(told(), pump);
        assert_eq!(text(&r, "/event/reason"), "finished");
        assert!(texts(&r, "/event/flags").is_empty(), "p{pump}");
        assert_eq!(whole(&r, "/event/pumped_ms"), STOP_MS - START_MS);
        assert_eq!(since_midnight_ms(&r, "/event/stopped/local"), STOP_MS);
        // Within a thousandth of 1.7 L/min for 450 min.
        let litres = Q::new(whole(&r, "/event/volume_raw_ul_ms_per_min"), RAW_PER_L);
        let off = litres / Q::from_integer(765) - Q::from_integer(1);
        assert!(off < Q::new(1, 1000) && off > Q::new(-1, 1000), "p{pump}: {litres}");
    }
}

/// The battery was gone from 10:00:35 for 2 min. The pump kept its checkpoint of 10:00:00, went on to the old end, and counted nothing twice.
#[test]
fn the_loose_battery_is_one_interruption_and_its_volume_is_counted_once() {
    let r = record(told(), 3);
    assert_eq!(whole(&r, "/event/interruptions"), 1);
    assert_eq!(whole(&r, "/event/resumes"), 1);
    assert_eq!(text(&r, "/event/reason"), "finished");
    assert_eq!(texts(&r, "/event/flags"), ["interrupted", "time-unaccounted"]);
    assert_eq!(texts(&r, "/samples/0/flags"), ["interrupted", "time-unaccounted"]);
    assert_eq!(whole(&r, "/samples/0/interruptions"), 1);
    assert_eq!(whole(&r, "/samples/0/unaccounted_ms"), whole(&r, "/event/unaccounted_ms"));
    let spans = r["spans"].as_array().expect("stretches");
    assert_eq!(spans.len(), 2);
    assert_eq!((text(&spans[0], "/ended_by"), text(&spans[1], "/ended_by")), ("outage", "time"));

    let cut = since_midnight_ms(&r, "/simulation/faults/0/at/local");
    let back = cut + whole(&r, "/simulation/faults/0/lasts_ms");
    assert_eq!((cut, back - cut), ((10 * 60 * 60 + 35) * 1000, 2 * MINUTE_MS));
    let (begin, end) = ("/begin/local", "/end/local");
    assert_eq!(since_midnight_ms(&spans[0], begin), START_MS);
    let stopped = since_midnight_ms(&spans[0], end);
    let resumed = since_midnight_ms(&spans[1], begin);
    assert_eq!(since_midnight_ms(&spans[1], end), STOP_MS);
    // The newest checkpoint is at most one interval old; the pump is up again within a second.
    let interval = whole(&r, "/simulation/checkpoint_ms");
    assert!(stopped <= cut && cut - stopped <= interval, "{stopped} {cut}");
    assert!(resumed >= back && resumed - back < 1000, "{resumed} {back}");
    for (span, from, to) in [(&spans[0], START_MS, stopped), (&spans[1], resumed, STOP_MS)] {
        assert_eq!(
            whole(span, "/pumped_ms"),
            to - from,
            "each stretch is as long as its clock says"
        );
    }
    // What was drawn between checkpoint and cut is known to the simulator alone: it is in no stretch, and the record owns up to it.
    let unaccounted = whole(&r, "/event/unaccounted_ms");
    assert!(unaccounted >= cut - stopped && unaccounted <= interval + 1000, "{unaccounted}");
    let points = r.pointer("/series/points").and_then(Value::as_array).expect("a series");
    let read: i128 = points.iter().map(|p| whole(p, "/read_ms")).sum();
    assert_eq!(read - whole(&r, "/event/pumped_ms"), cut - stopped);
    let drawn: i128 =
        points.iter().map(|p| whole(p, "/read_ms") * whole(p, "/flow_ul_per_min")).sum();
    let lost = Q::new(drawn - whole(&r, "/event/volume_raw_ul_ms_per_min"), RAW_PER_L);
    let at_its_flow = Q::new(17, 10) * Q::new(cut - stopped, MINUTE_MS);
    let off = lost / at_its_flow - Q::from_integer(1);
    assert!(off < Q::new(5, 100) && off > Q::new(-5, 100), "{lost} L beside {at_its_flow} L");
}

/// The inlet was blocked at 09:50; after a minute the pump gave up, said why, and did not start again, though it was free from 09:55 on.
#[test]
fn the_blocked_pump_stopped_and_said_why() {
    let r = record(told(), 5);
    assert_eq!(text(&r, "/event/reason"), "fault-flow-low");
    assert_eq!(texts(&r, "/event/flags"), ["limit-tripped", "ended-early"]);
    assert_eq!(whole(&r, "/event/trips/flow_low"), 1);
    assert_eq!(texts(&r, "/samples/0/flags"), ["limit-tripped"]);
    assert_eq!(whole(&r, "/event/interruptions"), 0);
    let blocked = since_midnight_ms(&r, "/simulation/faults/0/at/local");
    assert_eq!(blocked, (9 * 60 + 50) * MINUTE_MS);
    let stopped = since_midnight_ms(&r, "/event/stopped/local");
    // 10 % off for 60 s, as the plan has it unless it says otherwise, and the pump looks once a second.
    assert!(stopped - blocked >= MINUTE_MS && stopped - blocked <= MINUTE_MS + 2000, "{stopped}");
    assert_eq!(whole(&r, "/event/pumped_ms"), stopped - START_MS);
    assert_eq!(r["spans"].as_array().map(Vec::len), Some(1));
    // Nothing was drawn while it was blocked: 140 min at 1.7 L/min.
    let litres = Q::new(whole(&r, "/event/volume_raw_ul_ms_per_min"), RAW_PER_L);
    let off = litres / Q::from_integer(238) - Q::from_integer(1);
    assert!(off < Q::new(1, 1000) && off > Q::new(-1, 1000), "{litres}");
}
