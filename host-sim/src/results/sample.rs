//! What came of one sampler.

use serde::{Deserialize, Serialize};

use super::{AnalyteResult, Budget, Instant};
use crate::record_file::Trips;

/// One sampler: planned, happened, verified, computed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct SampleResult {
    /// Its id on the field sheet; of a record without one, the number of the sample.
    pub sampler: String,
    /// "pump", "field-blank", "bulk" or "passive-none".
    pub kind: String,
    /// Whether its record was simulated.
    pub simulated: bool,
    /// Who wore it.
    pub worker: Option<String>,
    /// Where it was.
    pub place: Option<String>,
    /// The pump.
    pub pump: Option<String>,
    /// The record it is taken from.
    pub record: Option<String>,
    /// The number of the sample in the record.
    pub sample: Option<u32>,
    /// The id of the schedule.
    pub schedule_id: Option<String>,
    /// Its name.
    pub schedule_name: Option<String>,
    /// The method.
    pub method: Option<String>,
    /// "task", "shift" or "short-term".
    pub group: Option<String>,
    /// The sampler that this is a duplicate of.
    pub duplicate_of: Option<String>,
    /// What was planned.
    pub planned: Option<Planned>,
    /// What happened.
    pub happened: Option<Happened>,
    /// The same, side by side in words, a line each.
    pub side_by_side: Vec<SideBySide>,
    /// The flow before and after.
    pub verification: Option<Verification>,
    /// The flow that the volume is computed from, where it is computed from one.
    pub flow_used_l_per_min: Option<f64>,
    /// Which flow that is: "verified" or "pump".
    pub flow_used_is: Option<String>,
    /// The volume, in every way that there is.
    pub volume: Option<Volumes>,
    /// How uncertain the volume is.
    pub uncertainty: Option<Budget>,
    /// What the laboratory found.
    pub laboratory: Vec<AnalyteResult>,
    /// What there is to say about the method: that none is named, or which variant was taken.
    #[serde(default)]
    pub method_says: Option<String>,
    /// What the method asks of a sample, and whether this one fits.
    #[serde(default)]
    pub method_fit: Vec<MethodRow>,
    /// What a person should look at. A flag asks for a review, it does not void a sample.
    pub flags: Vec<Flag>,
    /// Means over 5 min, where the record has them.
    pub series: Vec<Point>,
    /// What lies on the time axis.
    pub marks: Vec<Mark>,
    /// The stretches of pumping.
    pub spans: Vec<SpanResult>,
    /// Who had it.
    pub custody: Custody,
    /// What nobody has filled in yet.
    pub missing: Vec<String>,
}

/// What was planned for a sample.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Planned {
    /// When it would start.
    pub start: Option<Instant>,
    /// When it would stop.
    pub stop: Option<Instant>,
    /// For how long the pump would run, at least.
    pub pumped_least_ms: Option<u64>,
    /// And at most: more where it depends on when a hold is resumed.
    pub pumped_most_ms: Option<u64>,
    /// The flow.
    pub flow_l_per_min: Option<f64>,
    /// Instead of a flow: the pressure that was to be kept.
    pub pressure_kpa: Option<f64>,
    /// The volume, at least.
    pub volume_least_l: Option<f64>,
    /// And at most.
    pub volume_most_l: Option<f64>,
    /// The least that is wanted.
    pub wanted_least_l: Option<f64>,
    /// The most that is wanted.
    pub wanted_most_l: Option<f64>,
}

/// What happened to a sample, as the pump recorded it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Happened {
    /// When pumping first began on it.
    pub start: Option<Instant>,
    /// When pumping last ended on it.
    pub stop: Option<Instant>,
    /// How long the pump ran, outages and pauses left out.
    pub pumped_ms: u64,
    /// For how long readings covered that.
    pub metered_ms: u64,
    /// At the sampler's inlet, actual conditions, metered.
    pub volume_l: f64,
    /// Mean of the flow over time.
    pub mean_flow_l_per_min: Option<f64>,
    /// Its smallest reading.
    pub least_flow_l_per_min: Option<f64>,
    /// Its largest.
    pub most_flow_l_per_min: Option<f64>,
    /// Coefficient of variation of the flow.
    pub flow_cv_percent: Option<f64>,
    /// The 5-min mean furthest from the target, in percent of it; with a sign.
    pub worst_5_min_percent: Option<f64>,
    /// Outside temperature: least, mean, most.
    pub temperature_c: Option<[f64; 3]>,
    /// Outside pressure: least, mean, most.
    pub pressure_kpa: Option<[f64; 3]>,
    /// Interruptions of more than 1 min while it was drawn.
    pub interruptions: Option<u16>,
    /// How often each limit stopped the pump while it was drawn.
    pub trips: Option<Trips>,
    /// Largest lateness of an appointment, in the whole event.
    pub late_ms: Option<u32>,
    /// What the battery had when it was armed.
    pub battery_armed_percent: Option<u8>,
    /// What it had at the end.
    pub battery_ended_percent: Option<u8>,
    /// Why the event ended.
    pub reason: Option<String>,
    /// What was truly drawn, which only a simulator knows.
    pub true_volume_l: Option<f64>,
}

/// One line of planned beside happened.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct SideBySide {
    /// What it is about.
    pub what: String,
    /// As planned; "-" where nothing was.
    pub planned: String,
    /// As it happened.
    pub happened: String,
    /// What to say about that; may be empty.
    pub note: String,
}

/// Flow before and after.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Verification {
    /// Before it began.
    pub before: Option<FlowSet>,
    /// After it ended.
    pub after: Option<FlowSet>,
    /// While it went on.
    pub checks: Vec<InShift>,
    /// Mean of before and after.
    pub mean_l_per_min: Option<f64>,
    /// (after - before) / before; with a sign.
    pub difference_percent: Option<f64>,
    /// Above this a sample is flagged.
    pub limit_percent: f64,
    /// Where that comes from.
    pub limit_source: String,
    /// Whether it is above.
    pub over: Option<bool>,
    /// The rule that was applied, in words.
    pub rule: String,
}

/// Readings of a flow meter, one after the other.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct FlowSet {
    /// When, in the site's time.
    pub at: Option<String>,
    /// The readings.
    pub readings: Vec<FlowReading>,
    /// Their mean.
    pub mean_l_per_min: f64,
    /// Their standard deviation over their mean, from two readings on.
    pub cv_percent: Option<f64>,
    /// Temperature of the air.
    pub temperature_c: Option<f64>,
    /// Pressure of the air.
    pub pressure_kpa: Option<f64>,
    /// The meter.
    pub meter: Option<String>,
    /// "bubble", "piston", "rotameter" or "other".
    pub meter_kind: Option<String>,
    /// Who read it.
    pub by: Option<String>,
    /// What was corrected, or why nothing was.
    pub correction: String,
}

/// One reading.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct FlowReading {
    /// The flow.
    pub flow_l_per_min: f64,
    /// The volume it was timed over, where it was.
    pub volume_ml: Option<f64>,
    /// The time that took.
    pub time_s: Option<f64>,
}

/// A look at the pump while it ran.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct InShift {
    /// When, in the site's time.
    pub at: Option<String>,
    /// The flow.
    pub flow_l_per_min: Option<f64>,
    /// The minutes that the pump showed.
    pub minutes: Option<f64>,
    /// Who looked.
    pub by: Option<String>,
    /// The flow beside that before, in percent; with a sign.
    pub difference_percent: Option<f64>,
}

/// A volume in every way that there is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Volumes {
    /// The pump's, at the inlet, actual conditions.
    pub integrated_l: Option<f64>,
    /// The pump's, at standard conditions.
    pub standard_l: Option<f64>,
    /// Which conditions those are.
    pub standard_is: Option<String>,
    /// Mean of the flow before and after x time.
    pub mean_flow_time_l: Option<f64>,
    /// Of a tube on a manifold: its verified flow x time.
    pub verified_tube_l: Option<f64>,
    /// The one that is used.
    pub used_l: Option<f64>,
    /// "integrated", "mean-flow-time" or "verified-tube".
    pub used_is: Option<String>,
    /// Why that one.
    pub used_because: String,
    /// (mean flow x time - integrated) / integrated; with a sign.
    pub difference_percent: Option<f64>,
    /// What makes them differ.
    pub why_they_differ: Vec<String>,
    /// Expanded uncertainty of the one that is used.
    pub expanded_l: Option<f64>,
    /// Its coverage factor.
    pub k: Option<f64>,
    /// The one that is used, as a person reads it.
    pub says: String,
}

/// One thing that a method asks, and whether the sample fits.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct MethodRow {
    /// "flow", "volume", "time", "mass", ...
    pub what: String,
    /// Of a mass: of what.
    pub analyte: Option<String>,
    /// What was compared, in the unit.
    pub value: Option<f64>,
    /// The unit.
    pub unit: Option<String>,
    /// The least that is asked, in the unit.
    pub least: Option<f64>,
    /// The most.
    pub most: Option<f64>,
    /// What it is, as a person reads it.
    pub is: String,
    /// What is asked, as a person reads it.
    pub wants: String,
    /// Where that comes from.
    pub from: String,
    /// "fits", "outside" or "not-known".
    pub standing: String,
    /// The same in words: "too little".
    pub says: String,
}

/// What a person should look at.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Flag {
    /// Its code, which does not change.
    pub code: String,
    /// "review", "warning" or "note".
    pub level: String,
    /// What is so, with its numbers.
    pub says: String,
    /// What that means.
    pub means: String,
    /// What to do.
    pub do_this: String,
}

/// Means over 5 min.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Point {
    /// When it begins.
    pub from: Option<Instant>,
    /// The same, after arming, by the pump's timer.
    pub ms_after_arming: u64,
    /// For how long readings were taken in it.
    pub read_ms: u64,
    /// Metered flow.
    pub flow_l_per_min: f64,
    /// True flow, which only a simulator knows.
    pub true_flow_l_per_min: Option<f64>,
    /// Volume from the beginning of the sample to the end of the interval.
    pub cumulative_l: f64,
    /// Pressure drop across the train.
    pub drop_kpa: f64,
    /// Outside temperature.
    pub temperature_c: f64,
    /// Outside pressure.
    pub pressure_kpa: f64,
    /// What is left of the battery.
    pub battery_percent: Option<f64>,
}

/// Something on the time axis.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Mark {
    /// "interruption", "trip", "fault" (scripted, of a simulator), "check", "start" or "stop".
    pub kind: String,
    /// When it begins.
    pub at: Option<Instant>,
    /// When it ends, where it lasts.
    pub to: Option<Instant>,
    /// What it is.
    pub says: String,
}

/// A stretch of pumping.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct SpanResult {
    /// Its number, from 1.
    pub span: u16,
    /// The step.
    pub step: u8,
    /// The pass of each repeat around the step, outermost first.
    pub passes: Vec<u16>,
    /// When it began.
    pub begin: Option<Instant>,
    /// When it ended.
    pub end: Option<Instant>,
    /// How long the pump ran.
    pub pumped_ms: u64,
    /// Metered.
    pub volume_l: f64,
    /// Why it ended.
    pub ended_by: String,
}

/// Who had a sampler, and what it was.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Custody {
    /// The lot of its media.
    pub media_lot: Option<String>,
    /// The last day on which that is good.
    pub expiry: Option<String>,
    /// Its seal.
    pub seal: Option<String>,
    /// Who placed it.
    pub placed_by: Option<String>,
    /// Who took it off.
    pub removed_by: Option<String>,
    /// Who gave it away, and when.
    pub relinquished: Vec<HandOver>,
    /// Who took it.
    pub received: Vec<HandOver>,
    /// How it is kept.
    pub storage: Option<String>,
    /// By when it must be fetched.
    pub retrieve_by: Option<String>,
}

/// A hand over.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct HandOver {
    /// Who.
    pub by: Option<String>,
    /// When, in the site's time.
    pub at: Option<String>,
}
