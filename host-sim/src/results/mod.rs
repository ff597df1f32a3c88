//! From the record to the answer: what a report, a table or a screen shows of an event, computed once and shown everywhere.
//!
//! Everything here is data with its unit in its name; [`Results`] is what a results file holds and what a report page is
//! made from. `says` beside a number is the same number as a person reads it: rounded to what its uncertainty bears, with its unit.
//! What is below a limit of detection has `below-…` instead of a number: it is never 0.

mod analytes;
mod blanks;
mod budgets;
mod compare;
mod compute;
pub mod flags;
mod flow;
mod from_record;
mod heads;
mod laboratory;
mod limits;
mod method_fit;
mod outside;
mod pump_flags;
mod sample;
mod volumes;
mod workers;

pub use compute::compute;

pub use laboratory::{
    AnalyteResult, BlankResult, Breakthrough, Budget, PairResult, Term, WorkerResult,
};
pub use sample::{
    Custody, Flag, FlowReading, FlowSet, HandOver, Happened, InShift, Mark, MethodRow, Planned,
    Point, SampleResult, SideBySide, SpanResult, Verification, Volumes,
};

use serde::{Deserialize, Serialize};

pub use crate::record_file::Instant;

/// What came of an event.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Results {
    /// Whether any record in it was simulated: then every page, table and file says so.
    pub simulated: bool,
    /// "SIMULATED, NOT A SAMPLE", where it is.
    pub notice: Option<String>,
    /// "draught".
    pub program: String,
    /// Its version.
    pub version: String,
    /// The event.
    pub event: EventHead,
    /// One for each sampler: those with a pump, field blanks and bulk samples.
    pub samples: Vec<SampleResult>,
    /// One for each worker, analyte and kind of limit.
    pub workers: Vec<WorkerResult>,
    /// What the blanks say.
    pub blanks: Vec<BlankResult>,
    /// Duplicates and side-by-side samples, compared.
    pub pairs: Vec<PairResult>,
    /// What was taken to be so.
    pub assumptions: Vec<String>,
    /// What to be careful of.
    pub cautions: Vec<String>,
    /// What nobody has filled in yet.
    pub missing: Vec<String>,
}

/// The event, as people described it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct EventHead {
    /// Its name.
    pub name: Option<String>,
    /// Where.
    pub site: Option<String>,
    /// What was going on there.
    pub task: Option<String>,
    /// Why it was sampled.
    pub why: Option<String>,
    /// Who prepared it.
    pub prepared_by: Option<String>,
    /// Who reviewed it.
    pub reviewed_by: Option<String>,
    /// The laboratory.
    pub laboratory: Option<String>,
    /// The method's id.
    pub method: Option<String>,
    /// Its title and where it comes from, if the library has it.
    pub method_title: Option<String>,
    /// How sure the library is of the method's figures: seen in the source, or from memory.
    pub method_known: Option<String>,
    /// The limit to compare with: the first of `limits`.
    pub limit: Option<Limit>,
    /// Every limit.
    #[serde(default)]
    pub limits: Vec<Limit>,
    /// Largest difference of flow before and after, in percent, above which a sample is flagged.
    pub verification_limit_percent: f64,
    /// Where that comes from.
    pub verification_limit_source: String,
    /// The site's zone.
    pub zone: Option<String>,
    /// Its letters.
    pub abbreviation: Option<String>,
    /// What every local time is at.
    pub utc_offset_minutes: i32,
    /// The name of the schedule.
    pub schedule_name: Option<String>,
    /// Its id: the CRC of its block, as on the pump.
    pub schedule_id: Option<String>,
    /// The plan in words, a line a step.
    pub plan: Vec<String>,
    /// The records.
    pub records: Vec<RecordHead>,
}

/// Where a record comes from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct RecordHead {
    /// The file.
    pub file: String,
    /// The pump that it belongs to, as the field sheet has it.
    pub pump: Option<String>,
    /// "pump" or "simulated".
    pub origin: String,
    /// The program that wrote it.
    pub made_by: String,
    /// The id of the schedule that was armed.
    pub schedule_id: String,
    /// The event's number in the pump's journal.
    pub event: Option<u32>,
    /// The simulated world, where it is one.
    pub world: Option<String>,
    /// Where chance began in it.
    pub seed: Option<u64>,
    /// The flags of the event.
    pub flags: Vec<String>,
    /// Why it ended.
    pub reason: Option<String>,
}

/// A limit value.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Limit {
    /// The limit.
    pub value_mg_m3: f64,
    /// As it was written.
    pub says: String,
    /// "twa-8h", "short-term" or "ceiling".
    pub kind: String,
    /// Where it comes from.
    pub source: Option<String>,
    /// Of which analyte; all, unless given.
    #[serde(default)]
    pub analyte: Option<String>,
    /// Sampling and analytical error, a fraction.
    #[serde(default)]
    pub sae: Option<f64>,
    /// Stated in ppm: it holds at 25 °C and 760 mm Hg.
    #[serde(default)]
    pub in_ppm: bool,
}
