//! The rows of a record, decoded, each beside its bytes.

use draught::clock::WallMs;
use draught::event::Limit;
use draught::record::{EventRow, Flags, Origin, ROW_LEN, SampleRow, SpanRow};
use draught::step::StepNo;
use draught::units::RawVolume;
use serde::{Deserialize, Serialize};

use crate::plan::site::{SiteTime, stamp_ms};
use crate::words;

/// A moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instant {
    /// RFC 3339, to the millisecond, in UTC.
    pub utc: String,
    /// The same in the site's time.
    pub local: String,
}

impl Instant {
    /// A moment in the site's time.
    #[must_use]
    pub fn of(wall: WallMs, site: &SiteTime) -> Self {
        Self { utc: stamp_ms(&SiteTime::utc(), wall), local: stamp_ms(site, wall) }
    }
}

/// Smallest, mean over time, largest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spread {
    /// The smallest.
    pub min: u32,
    /// The mean.
    pub mean: u32,
    /// The largest.
    pub max: u32,
}

/// How often each limit tripped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trips {
    /// Too little flow.
    pub flow_low: u8,
    /// Too much flow.
    pub flow_high: u8,
    /// Too much pressure.
    pub pressure: u8,
    /// A supply too weak.
    pub supply: u8,
    /// A sensor or motor at fault.
    pub sensor: u8,
}

/// The row of an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EventRecord {
    /// Its id.
    pub event: u32,
    /// The schedule that was armed.
    pub schedule_id: String,
    /// "pump" or "simulated".
    pub origin: String,
    /// When it was armed; as all moments here `null` when the clock was not trusted.
    pub armed: Option<Instant>,
    /// The scheduled start, as set.
    pub start_set: Option<Instant>,
    /// The last stop, as forecast at arming.
    pub stop_set: Option<Instant>,
    /// When pumping first began.
    pub started: Option<Instant>,
    /// When pumping last ended.
    pub stopped: Option<Instant>,
    /// Time pumped, outages and pauses left out.
    pub pumped_ms: u64,
    /// At the sampler's inlet; 60,000,000 are 1 mL.
    pub volume_raw_ul_ms_per_min: u64,
    /// The same, rounded down.
    pub volume_ml: u64,
    /// Stretches of pumping.
    pub spans: u16,
    /// Samples.
    pub samples: u32,
    /// Interruptions of more than 1 min.
    pub interruptions: u16,
    /// When the first ten began.
    pub interrupted: Vec<Instant>,
    /// How often it was resumed after an outage, of any length.
    pub resumes: u16,
    /// Pumping before cuts that no checkpoint holds: at most this long.
    pub unaccounted_ms: u32,
    /// How often each limit tripped.
    pub trips: Trips,
    /// The largest lateness of an appointment that was met.
    pub late_ms: u32,
    /// Appointments missed, runs lost and passes skipped.
    pub missed: u16,
    /// What the supply had left when it was armed.
    pub supply_armed_percent: Option<u8>,
    /// What it had left at the end.
    pub supply_ended_percent: Option<u8>,
    /// What a person should look at.
    pub flags: Vec<String>,
    /// Why it ended.
    pub reason: String,
    /// The row as it was in the journal.
    pub row_hex: String,
}

/// The row of a sample.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SampleRecord {
    /// The event it belongs to.
    pub event: u32,
    /// Its number, from 1.
    pub sample: u32,
    /// When pumping first began on it.
    pub begin: Option<Instant>,
    /// When pumping last ended on it.
    pub end: Option<Instant>,
    /// How long the pump ran, outages and pauses left out.
    pub pumped_ms: u64,
    /// For how long readings covered that.
    pub metered_ms: u64,
    /// How many readings there were.
    pub readings: u32,
    /// At the sampler's inlet; 60,000,000 are 1 mL.
    pub volume_raw_ul_ms_per_min: u64,
    /// The same, rounded down.
    pub volume_ml: u64,
    /// At 25 °C and 101,325 Pa, of the part that was drawn while the air was measured.
    pub standard_volume_raw_ul_ms_per_min: u64,
    /// The same, rounded down.
    pub standard_volume_ml: u64,
    /// For how long the air was measured.
    pub air_measured_ms: u64,
    /// For how long the flow could not be corrected to the inlet.
    pub uncorrected_ms: u64,
    /// Flow.
    pub flow_ul_per_min: Option<Spread>,
    /// The sum of flow² · time, in (µL/min)²·ms, whole: with the volume and the time above, the flow's mean and variance are exact.
    pub flow_squares_raw_ul2_ms_per_min2: String,
    /// Coefficient of variation of the flow, in 0.01 %.
    pub flow_cv_per_myriad: Option<u32>,
    /// Smallest mean flow over 5 min.
    pub least_5_min_mean_ul_per_min: Option<u32>,
    /// Largest mean flow over 5 min.
    pub most_5_min_mean_ul_per_min: Option<u32>,
    /// Outside temperature.
    pub temperature_mk: Option<Spread>,
    /// Outside pressure.
    pub pressure_pa: Option<Spread>,
    /// Interruptions of more than 1 min while it was drawn.
    pub interruptions: u16,
    /// Pumping through it before cuts that no checkpoint holds: at most this long.
    pub unaccounted_ms: u32,
    /// What a person should look at in this sample.
    pub flags: Vec<String>,
    /// The row as it was in the journal.
    pub row_hex: String,
}

/// The row of a stretch of pumping.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpanRecord {
    /// The event it belongs to.
    pub event: u32,
    /// Its number, from 1.
    pub span: u16,
    /// The step.
    pub step: u8,
    /// The pass of each repeat around the step, outermost first.
    pub passes: Vec<u16>,
    /// The sample.
    pub sample: u32,
    /// When it began.
    pub begin: Option<Instant>,
    /// When it ended.
    pub end: Option<Instant>,
    /// How long the pump ran.
    pub pumped_ms: u64,
    /// At the sampler's inlet; 60,000,000 are 1 mL.
    pub volume_raw_ul_ms_per_min: u64,
    /// The same, rounded down.
    pub volume_ml: u64,
    /// Why it ended.
    pub ended_by: String,
    /// How much longer than asked the pump ran, because a poll came late.
    pub overrun_ms: u32,
    /// What a person should look at in this stretch.
    pub flags: Vec<String>,
    /// The row as it was in the journal.
    pub row_hex: String,
}

impl EventRecord {
    /// From a row and its bytes.
    #[must_use]
    pub fn of(row: &EventRow, bytes: &[u8; ROW_LEN], site: &SiteTime) -> Self {
        let at = |wall: Option<WallMs>| wall.map(|w| Instant::of(w, site));
        let kept = row.interrupted_s.iter().take(row.interruptions.into());
        let interrupted = kept.filter_map(|s| WallMs::from_ms(u64::from(*s) * 1_000));
        let trips = |limit: Limit| row.trips.get(limit as usize).copied().unwrap_or(0);
        Self {
            event: row.event.0,
            schedule_id: row.schedule.to_string(),
            origin: origin(row.origin).to_owned(),
            armed: at(row.armed),
            start_set: at(row.start_set),
            stop_set: at(row.stop_set),
            started: at(row.started),
            stopped: at(row.stopped),
            pumped_ms: row.pumped_ms,
            volume_raw_ul_ms_per_min: row.volume.as_raw(),
            volume_ml: row.volume.as_ml(),
            spans: row.spans,
            samples: row.samples,
            interruptions: row.interruptions,
            interrupted: interrupted.map(|w| Instant::of(w, site)).collect(),
            resumes: row.resumes,
            unaccounted_ms: row.unaccounted_ms,
            trips: Trips {
                flow_low: trips(Limit::FlowLow),
                flow_high: trips(Limit::FlowHigh),
                pressure: trips(Limit::Pressure),
                supply: trips(Limit::Supply),
                sensor: trips(Limit::Sensor),
            },
            late_ms: row.late_ms,
            missed: row.missed,
            supply_armed_percent: row.supply_armed_percent,
            supply_ended_percent: row.supply_ended_percent,
            flags: flags(row.flags),
            reason: words::end_code(row.reason).to_owned(),
            row_hex: hex(bytes),
        }
    }
}

impl SampleRecord {
    /// From a row and its bytes.
    #[must_use]
    pub fn of(row: &SampleRow, bytes: &[u8; ROW_LEN], site: &SiteTime) -> Self {
        let at = |wall: Option<WallMs>| wall.map(|w| Instant::of(w, site));
        Self {
            event: row.event.0,
            sample: row.number,
            begin: at(row.begin),
            end: at(row.end),
            pumped_ms: row.pumped_ms,
            metered_ms: row.metered_ms(),
            readings: row.flow.readings,
            volume_raw_ul_ms_per_min: row.volume().as_raw(),
            volume_ml: row.volume().as_ml(),
            standard_volume_raw_ul_ms_per_min: row.standard.as_raw(),
            standard_volume_ml: row.standard.as_ml(),
            air_measured_ms: row.air_ms,
            uncorrected_ms: row.uncorrected_ms,
            flow_ul_per_min: row.flow_ul_per_min().map(spread),
            flow_squares_raw_ul2_ms_per_min2: row.flow.squares.to_string(),
            flow_cv_per_myriad: row.cv_per_myriad(),
            least_5_min_mean_ul_per_min: row.interval_means.map(|m| m.0),
            most_5_min_mean_ul_per_min: row.interval_means.map(|m| m.1),
            temperature_mk: row.temperature_mk().map(spread),
            pressure_pa: row.pressure_pa().map(spread),
            interruptions: row.interruptions,
            unaccounted_ms: row.unaccounted_ms,
            flags: flags(row.flags),
            row_hex: hex(bytes),
        }
    }
}

impl SpanRecord {
    /// From a row and its bytes.
    #[must_use]
    pub fn of(row: &SpanRow, bytes: &[u8; ROW_LEN], site: &SiteTime) -> Self {
        let at = |wall: Option<WallMs>| wall.map(|w| Instant::of(w, site));
        Self {
            event: row.event.0,
            span: row.number,
            step: StepNo::get(row.step),
            passes: row.passes.0.iter().copied().take_while(|p| *p > 0).collect(),
            sample: row.sample,
            begin: at(row.begin),
            end: at(row.end),
            pumped_ms: row.pumped_ms,
            volume_raw_ul_ms_per_min: RawVolume::as_raw(row.volume),
            volume_ml: row.volume.as_ml(),
            ended_by: words::stretch_code(row.by).to_owned(),
            overrun_ms: row.overrun_ms,
            flags: flags(row.flags),
            row_hex: hex(bytes),
        }
    }
}

const fn spread(of: draught::record::Spread) -> Spread {
    Spread { min: of.min, mean: of.mean, max: of.max }
}

pub(super) const fn origin(origin: Origin) -> &'static str {
    match origin {
        Origin::Pump => "pump",
        Origin::Simulated => "simulated",
    }
}

/// The codes of the flags that are set.
#[must_use]
pub fn flags(flags: Flags) -> Vec<String> {
    let set = Flags::ALL.iter().filter(|(flag, _)| flags.has(*flag));
    set.map(|(_, code)| (*code).to_owned()).collect()
}

/// Bytes as hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
