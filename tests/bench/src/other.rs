//! The content of a step table in general-purpose encodings, to compare with.
//!
//! Everything a block holds and nothing else; what has its default value is left out there too. Numbers are in base
//! units, as a block's are after decoding.

use draught::prelude::*;
use draught::units::TargetKind;
use serde::{Deserialize, Serialize};

use crate::tables::Table;

/// A schedule.
#[derive(Clone, PartialEq, prost::Message, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Schedule {
    #[prost(sint32, tag = "1")]
    #[serde(default, skip_serializing_if = "is_zero")]
    utc_offset_quarters: i32,
    #[prost(message, optional, tag = "2")]
    target: Option<OneTarget>,
    #[prost(string, tag = "3")]
    #[serde(default, skip_serializing_if = "String::is_empty")]
    name: String,
    #[prost(message, optional, tag = "4")]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    start_by: Option<StartBy>,
    #[prost(message, repeated, tag = "5")]
    steps: Vec<OneStep>,
}

fn is_zero(number: &i32) -> bool {
    *number == 0
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
pub struct StartBy {
    #[prost(uint32, tag = "1")]
    date: u32,
    #[prost(uint32, tag = "2")]
    time: u32,
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
#[serde(transparent)]
pub struct OneTarget {
    #[prost(oneof = "Kept", tags = "1, 2")]
    kept: Option<Kept>,
}

#[derive(Clone, Copy, PartialEq, prost::Oneof, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kept {
    #[prost(uint32, tag = "1")]
    Flow(u32),
    #[prost(uint32, tag = "2")]
    Pressure(u32),
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
#[serde(transparent)]
pub struct OneStep {
    #[prost(oneof = "Kind", tags = "1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11")]
    kind: Option<Kind>,
}

#[derive(Clone, Copy, PartialEq, prost::Oneof, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    #[prost(message, tag = "1")]
    Finish(Nothing),
    #[prost(uint32, tag = "2")]
    WaitForDate(u32),
    #[prost(uint32, tag = "3")]
    WaitForTime(u32),
    #[prost(uint32, tag = "4")]
    WaitForWeekday(u32),
    #[prost(message, tag = "5")]
    WaitForCycleDay(Days),
    #[prost(message, tag = "6")]
    RunFor(Run),
    #[prost(message, tag = "7")]
    RunUntil(Run),
    #[prost(message, tag = "8")]
    DrawVolume(Run),
    #[prost(uint32, tag = "9")]
    Hold(u32),
    #[prost(message, tag = "10")]
    HoldUntilResumed(Wait),
    #[prost(message, tag = "11")]
    Repeat(Back),
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
pub struct Nothing {}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
pub struct Days {
    #[prost(uint32, tag = "1")]
    from: u32,
    #[prost(uint32, tag = "2")]
    every: u32,
}

/// A pumping step: its length, time of day or volume, its longest, its own target.
#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Run {
    #[prost(uint32, tag = "1")]
    value: u32,
    #[prost(uint32, optional, tag = "2")]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at_most: Option<u32>,
    #[prost(message, optional, tag = "3")]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    target: Option<OneTarget>,
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Wait {
    #[prost(uint32, tag = "1")]
    at_most: u32,
    #[prost(bool, tag = "2")]
    then_close: bool,
}

#[derive(Clone, Copy, PartialEq, prost::Message, Serialize, Deserialize)]
pub struct Back {
    #[prost(uint32, tag = "1")]
    from: u32,
    #[prost(uint32, tag = "2")]
    passes: u32,
    #[prost(uint32, tag = "3")]
    sampler: u32,
}

impl OneTarget {
    fn of(target: Target) -> Self {
        let kept = match target.kind() {
            TargetKind::Flow(f) => Kept::Flow(f.ul_per_min()),
            TargetKind::Pressure(p) => Kept::Pressure(p.as_pa()),
        };
        Self { kept: Some(kept) }
    }
}

impl OneStep {
    fn of(step: &Step) -> Self {
        let target = step.own_target().map(OneTarget::of);
        let run = |value, at_most| Run { value, at_most, target };
        let kind = match *step {
            Step::Finish => Kind::Finish(Nothing {}),
            Step::WaitForDate(date) => Kind::WaitForDate(date.days().into()),
            Step::WaitForTime(time) => Kind::WaitForTime(time.as_ms()),
            Step::WaitForWeekday(days) => Kind::WaitForWeekday(days.bits().into()),
            Step::WaitForCycleDay(cycle) => Kind::WaitForCycleDay(Days {
                from: cycle.from().days().into(),
                every: cycle.every().into(),
            }),
            Step::RunFor { run: length, .. } => Kind::RunFor(run(length.as_ms(), None)),
            Step::RunUntil { time, at_most, .. } => {
                Kind::RunUntil(run(time.as_ms(), Some(at_most.as_ms())))
            }
            Step::DrawVolume { volume, at_most, .. } => {
                Kind::DrawVolume(run(volume.as_ml(), Some(at_most.as_ms())))
            }
            Step::Hold(length) => Kind::Hold(length.as_ms()),
            Step::HoldUntilResumed { at_most, then } => Kind::HoldUntilResumed(Wait {
                at_most: at_most.as_ms(),
                then_close: then == Then::Close,
            }),
            Step::Repeat { from, passes, sampler } => Kind::Repeat(Back {
                from: from.get().into(),
                passes: passes.get().into(),
                sampler: sampler as u32,
            }),
        };
        Self { kind: Some(kind) }
    }
}

impl Schedule {
    /// The content of a table whose other settings are defaults.
    pub fn of(table: &Table) -> Self {
        let settings = table.settings();
        let mut plain = Settings::new(settings.utc_offset, settings.target);
        plain.name = settings.name.clone();
        plain.start_by = settings.start_by;
        assert_eq!(plain, *settings, "a setting that is not carried over");
        Self {
            utc_offset_quarters: settings.utc_offset.quarter_hours().into(),
            target: Some(OneTarget::of(settings.target)),
            name: settings.name.as_str().to_owned(),
            start_by: settings
                .start_by
                .map(|civil| StartBy { date: civil.date.days().into(), time: civil.time.as_ms() }),
            steps: table.steps().iter().map(OneStep::of).collect(),
        }
    }

    /// As JSON, as CBOR with words for keys, as CBOR with numbers for keys, as protobuf.
    pub fn encodings(&self) -> Vec<Vec<u8>> {
        let json = serde_json::to_vec(self).expect("it can be JSON");
        let mut cbor = Vec::new();
        ciborium::into_writer(self, &mut cbor).expect("it can be CBOR");
        let value: ciborium::Value = ciborium::from_reader(cbor.as_slice()).expect("it is CBOR");
        let mut numbered = Vec::new();
        ciborium::into_writer(&numbered_keys(value), &mut numbered).expect("it can be CBOR");
        let all = vec![json, cbor, numbered, prost::Message::encode_to_vec(self)];
        for which in [0, 1, 3] {
            let bytes = all.get(which).map_or(&[][..], Vec::as_slice);
            assert_eq!(Self::decoded(which, bytes), *self, "not the same content");
        }
        all
    }

    /// Back from one of [`Self::encodings`].
    pub fn decoded(which: usize, bytes: &[u8]) -> Self {
        match which {
            0 => serde_json::from_slice(bytes).expect("it is JSON"),
            1 => ciborium::from_reader(bytes).expect("it is CBOR"),
            3 => prost::Message::decode(bytes).expect("it is protobuf"),
            _ => panic!("nothing reads encoding {which} back"),
        }
    }
}

/// Every key replaced by a number of one byte, as a hand-made CBOR format would have it.
fn numbered_keys(value: ciborium::Value) -> ciborium::Value {
    use ciborium::Value;
    match value {
        Value::Map(entries) => {
            let entry = |(_, value)| (Value::Integer(1.into()), numbered_keys(value));
            Value::Map(entries.into_iter().map(entry).collect())
        }
        Value::Array(items) => Value::Array(items.into_iter().map(numbered_keys).collect()),
        other => other,
    }
}
