//! The record of an event as a file: JSON that `draught simulate --record` writes and that is read back with every row checked
//! against its own bytes. `docs/schema/record.json` describes it.
//!
//! What the pump recorded is in `event`, `samples` and `spans`: each row decoded, with units in the names, beside its raw bytes.
//! `simulation` and `series` are what only a simulator can tell; they are no part of a pump's record.

mod make;
mod read;
mod rows;

use serde::{Deserialize, Serialize};

pub use make::make;
pub use read::{ReadError, read};
pub use rows::{EventRecord, Instant, SampleRecord, SpanRecord, Spread, Trips, flags};

use crate::plan::site::SiteTime;
use draught::calendar::UtcOffset;

/// Goes up when a reader of this format would be misled.
pub const FORMAT: u32 = 1;

/// What stands in every record that no pump made.
pub const NOTICE: &str = "SIMULATED, NOT A SAMPLE";

/// A record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordFile {
    /// [`FORMAT`].
    pub format: u32,
    /// "simulated" or "pump", as in the event's row.
    pub origin: String,
    /// [`NOTICE`], where it is simulated.
    pub notice: Option<String>,
    /// The program that wrote the file.
    pub made_by: String,
    /// The schedule that was armed.
    pub schedule: Schedule,
    /// The time in which `local` instants are.
    pub site: Site,
    /// The row of the event; `null`: it was not over.
    pub event: Option<EventRecord>,
    /// The rows of its samplers.
    pub samples: Vec<SampleRecord>,
    /// The rows of its stretches of pumping.
    pub spans: Vec<SpanRecord>,
    /// What only a simulator knows.
    pub simulation: Option<Simulation>,
    /// Means over time, from the simulator.
    pub series: Option<Series>,
}

/// A schedule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Schedule {
    /// Its name; may be empty.
    pub name: String,
    /// Its id: the CRC of its block.
    pub id: String,
    /// The block, as the pump got it: `draught decode` reads it.
    pub block_hex: String,
}

/// The site's time.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// The IANA zone; `null` for a fixed offset.
    pub zone: Option<String>,
    /// Its letters, such as "CET", where it has some.
    pub abbreviation: Option<String>,
    /// What every local time in the file is at.
    pub utc_offset_minutes: i32,
}

/// What only a simulator knows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Simulation {
    /// The name of the world.
    pub world: String,
    /// Where chance began.
    pub seed: u64,
    /// Every constant of the world, with where it comes from.
    pub constants: Vec<Constant>,
    /// The scripted faults.
    pub faults: Vec<FaultRecord>,
    /// Time between two checkpoints while pumping.
    pub checkpoint_ms: u64,
    /// Truly drawn through the sampler's inlet, in µL·ms/min.
    pub true_volume_raw_ul_ms_per_min: u64,
}

/// A constant of a world.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Constant {
    /// Its key in the world file.
    pub key: String,
    /// As it is written there.
    pub is: String,
    /// Where it comes from.
    pub from: String,
}

/// A scripted fault.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultRecord {
    /// Its name in a world file.
    pub what: String,
    /// The same in words.
    pub words: String,
    /// When it begins, by the time of the world.
    pub at: Option<Instant>,
    /// How long it lasts; `null`: what it changes stays.
    pub lasts_ms: Option<u64>,
}

/// Means over time, from the simulator.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Series {
    /// Always "simulator": no pump keeps these.
    pub origin: String,
    /// The length of an interval; intervals are counted from arming on, and those without a reading are left out.
    pub every_ms: u64,
    /// In order of time.
    pub points: Vec<PointRecord>,
}

/// One interval.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PointRecord {
    /// When its first reading begins; `null` while the clock was not trusted.
    pub from: Option<Instant>,
    /// The same, after arming, by the pump's timer.
    pub ms_after_arming: u64,
    /// For how long readings were taken in it.
    pub read_ms: u64,
    /// Metered flow.
    pub flow_ul_per_min: u64,
    /// True flow at the sampler's inlet.
    pub true_flow_ul_per_min: u64,
    /// Pressure drop across the train.
    pub drop_pa: u64,
    /// Outside temperature.
    pub temperature_mk: u64,
    /// Outside pressure.
    pub pressure_pa: u64,
    /// What is left of the battery at the end; `null`: mains.
    pub battery_percent: Option<f64>,
}

impl Site {
    /// The time in which local instants are; `None` for an offset that no place has.
    #[must_use]
    pub fn time(&self) -> Option<SiteTime> {
        let quarters = self.utc_offset_minutes.checked_div(15)?;
        if quarters * 15 != self.utc_offset_minutes {
            return None;
        }
        let offset = UtcOffset::from_quarter_hours(i8::try_from(quarters).ok()?).ok()?;
        Some(SiteTime { offset, abbreviation: self.abbreviation.clone() })
    }
}

impl RecordFile {
    /// The text of the file.
    #[must_use]
    pub fn to_json(&self) -> String {
        // Nothing in it can fail to be written: no maps with keys that are no strings.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }
}
