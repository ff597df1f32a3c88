//! What stands in a field.toml. Every quantity is in the unit that its name has.

use std::ops::Range;

use draught::calendar::Civil;

use crate::hygiene::Amount;
use crate::hygiene::air::MeterKind;
use crate::hygiene::exposure::{Divisor, Unsampled};
use crate::hygiene::verify::Run;

/// A value with its place in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated<T> {
    /// The value.
    pub is: T,
    /// As it is written.
    pub says: String,
    /// Where.
    pub at: Range<usize>,
}

/// All of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Field {
    /// `[event]`.
    pub event: Event,
    /// `[verification]`.
    pub verification: Verification,
    /// `[[worker]]`.
    pub workers: Vec<Worker>,
    /// `[[sampler]]`.
    pub samplers: Vec<Sampler>,
}

/// `[event]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Event {
    /// Its name.
    pub name: Option<String>,
    /// Where.
    pub site: Option<String>,
    /// What was going on.
    pub task: Option<String>,
    /// Why it is sampled.
    pub why: Option<String>,
    /// Who prepared it.
    pub prepared_by: Option<String>,
    /// Who reviewed it.
    pub reviewed_by: Option<String>,
    /// The laboratory.
    pub laboratory: Option<String>,
    /// The method, for samplers that name none.
    pub method: Option<Stated<String>>,
    /// Whether blanks are subtracted; they are unless it says no.
    pub subtract_blanks: Option<bool>,
    /// The limits to compare with.
    pub limits: Vec<LimitValue>,
}

/// A limit.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitValue {
    /// In mg/m³.
    pub value_mg_m3: f64,
    /// As it is written.
    pub says: String,
    /// "twa-8h", "short-term" or "ceiling".
    pub kind: &'static str,
    /// Of which analyte; all, unless given.
    pub analyte: Option<String>,
    /// Where it comes from.
    pub source: Option<String>,
    /// Sampling and analytical error, a fraction.
    pub sae: Option<f64>,
    /// Written in ppm: it holds at 25 °C and 760 mm Hg.
    pub in_ppm: bool,
    /// Where it stands.
    pub at: Range<usize>,
}

/// `[verification]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Verification {
    /// How far the flow after may be from that before, in percent.
    pub limit_percent: Option<f64>,
    /// How far the flow before may be from the planned one, in percent.
    pub required_percent: Option<f64>,
    /// Where that comes from.
    pub source: Option<String>,
    /// Whether it is there at all.
    pub given: bool,
}

/// `[[worker]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Worker {
    /// Who: a number or letters, no name.
    pub id: Stated<String>,
    /// What the worker does.
    pub job: Option<String>,
    /// The length of the shift.
    pub shift_min: Option<f64>,
    /// What is divided by.
    pub divisor: Option<Divisor>,
    /// What is assumed of time of the shift without a sample.
    pub unsampled: Option<Unsampled>,
}

/// What a sampler is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// On a pump.
    #[default]
    Pump,
    /// Opened, closed, never pumped.
    FieldBlank,
    /// Material, not air.
    Bulk,
    /// Without a pump for another reason.
    PassiveNone,
}

impl Kind {
    /// Every kind with its word.
    pub const ALL: [(&'static str, Self); 4] = [
        ("pump", Self::Pump),
        ("field-blank", Self::FieldBlank),
        ("bulk", Self::Bulk),
        ("passive-none", Self::PassiveNone),
    ];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        Self::ALL[self as usize].0
    }
}

/// What a sample stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// One task.
    Task,
    /// The shift, or a part of it.
    Shift,
    /// A quarter of an hour.
    ShortTerm,
}

impl Group {
    /// Every group with its word.
    pub const ALL: [(&'static str, Self); 3] =
        [("task", Self::Task), ("shift", Self::Shift), ("short-term", Self::ShortTerm)];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        Self::ALL[self as usize].0
    }
}

/// Which flow is multiplied with time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowFrom {
    /// That of the flow meter.
    Verified,
    /// The pump's own mean.
    Pump,
}

/// Which volume is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VolumeFrom {
    /// The pump's.
    Integrated,
    /// Mean flow x time.
    MeanFlowTime,
    /// A tube's verified flow x time.
    VerifiedTube,
}

impl VolumeFrom {
    /// Every one with its word.
    pub const ALL: [(&'static str, Self); 3] = [
        ("integrated", Self::Integrated),
        ("mean-flow-time", Self::MeanFlowTime),
        ("verified-tube", Self::VerifiedTube),
    ];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Integrated => "integrated",
            Self::MeanFlowTime => "mean-flow-time",
            Self::VerifiedTube => "verified-tube",
        }
    }
}

/// `[[sampler]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Sampler {
    /// Its id.
    pub id: Stated<String>,
    /// What it is.
    pub kind: Kind,
    /// Who wore it.
    pub worker: Option<Stated<String>>,
    /// Where it was.
    pub place: Option<String>,
    /// The pump.
    pub pump: Option<Stated<String>>,
    /// The record, a path in the folder.
    pub record: Option<Stated<String>>,
    /// The number of the sample in it.
    pub sample: Option<Stated<u32>>,
    /// The method.
    pub method: Option<Stated<String>>,
    /// Which flow is multiplied.
    pub flow_from: Option<FlowFrom>,
    /// Which volume is used.
    pub volume_from: Option<Stated<VolumeFrom>>,
    /// The lot of the media.
    pub media_lot: Option<String>,
    /// The last day on which they are good.
    pub expiry: Option<Stated<draught::calendar::Date>>,
    /// The seal.
    pub seal: Option<String>,
    /// The sampler that this doubles.
    pub duplicate_of: Option<Stated<String>>,
    /// What it stands for.
    pub group: Option<Group>,
    /// Flow before.
    pub before: Vec<FlowReadings>,
    /// Flow after.
    pub after: Vec<FlowReadings>,
    /// In-shift checks.
    pub checks: Vec<InShift>,
    /// Custody.
    pub custody: Custody,
    /// What the laboratory found.
    pub lab: Vec<Lab>,
}

/// `[[sampler.before]]`, `[[sampler.after]]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlowReadings {
    /// When.
    pub when: Option<Stated<Civil>>,
    /// Flows.
    pub flows_l_per_min: Vec<f64>,
    /// Timings.
    pub runs: Vec<Run>,
    /// Air.
    pub temperature_c: Option<f64>,
    /// Air.
    pub pressure_kpa: Option<f64>,
    /// The meter.
    pub meter: Option<String>,
    /// What it is.
    pub meter_kind: Option<MeterKind>,
    /// Its relative standard uncertainty, in percent.
    pub meter_u_percent: Option<f64>,
    /// Air of its calibration; for rotameters.
    pub calibrated_c: Option<f64>,
    /// Air of its calibration; for rotameters.
    pub calibrated_kpa: Option<f64>,
    /// Who.
    pub by: Option<String>,
    /// Where it stands.
    pub at: Range<usize>,
}

/// `[[sampler.check]]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InShift {
    /// When.
    pub when: Option<Stated<Civil>>,
    /// The flow.
    pub flow_l_per_min: Option<f64>,
    /// The time that the pump showed.
    pub minutes: Option<f64>,
    /// Who.
    pub by: Option<String>,
    /// Where it stands.
    pub at: Range<usize>,
}

/// `[sampler.custody]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Custody {
    /// Who placed it.
    pub placed_by: Option<String>,
    /// Who took it off.
    pub removed_by: Option<String>,
    /// Given away.
    pub relinquished: Vec<HandOver>,
    /// Taken.
    pub received: Vec<HandOver>,
    /// How it is kept.
    pub storage: Option<String>,
    /// By when it must be fetched.
    pub retrieve_by: Option<Stated<Civil>>,
}

/// A hand over.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HandOver {
    /// Who.
    pub by: Option<String>,
    /// When.
    pub when: Option<Stated<Civil>>,
}

/// `[[sampler.lab]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Lab {
    /// What.
    pub analyte: Option<String>,
    /// In one piece, mg.
    pub mass_mg: Option<Amount>,
    /// On the front section, mg.
    pub front_mg: Option<Amount>,
    /// On the back section, mg.
    pub back_mg: Option<Amount>,
    /// What a filter lost on the way, mg: of a blank, whose change may be below 0.
    pub lost_mg: Option<f64>,
    /// Limit of detection, mg.
    pub lod_mg: Option<f64>,
    /// Limit of quantification, mg.
    pub loq_mg: Option<f64>,
    /// Relative standard uncertainty, percent.
    pub u_percent: Option<f64>,
    /// Who reported it.
    pub reported_by: Option<String>,
    /// When.
    pub when: Option<Stated<Civil>>,
    /// Where it stands.
    pub at: Range<usize>,
}

impl Field {
    /// The worker of an id.
    #[must_use]
    pub fn worker(&self, id: &str) -> Option<&Worker> {
        self.workers.iter().find(|w| w.id.is == id)
    }

    /// The sampler of an id.
    #[must_use]
    pub fn sampler(&self, id: &str) -> Option<&Sampler> {
        self.samplers.iter().find(|s| s.id.is == id)
    }
}

impl Sampler {
    /// One on a pump, of which nothing else is known.
    #[must_use]
    pub fn on_pump(id: String, record: String, sample: u32) -> Self {
        fn nowhere<T>(is: T, says: String) -> Stated<T> {
            Stated { is, says, at: 0..0 }
        }
        Self {
            id: nowhere(id.clone(), id),
            kind: Kind::Pump,
            worker: None,
            place: None,
            pump: None,
            record: Some(nowhere(record.clone(), record)),
            sample: Some(nowhere(sample, sample.to_string())),
            method: None,
            flow_from: None,
            volume_from: None,
            media_lot: None,
            expiry: None,
            seal: None,
            duplicate_of: None,
            group: None,
            before: Vec::new(),
            after: Vec::new(),
            checks: Vec::new(),
            custody: Custody::default(),
            lab: Vec::new(),
        }
    }
}

impl Lab {
    /// What was found in all.
    #[must_use]
    pub fn found(&self) -> Option<Amount> {
        match (self.mass_mg, self.front_mg, self.back_mg) {
            (Some(mass), ..) => Some(mass),
            (None, Some(front), Some(back)) => front.plus("mass", back).ok(),
            (None, Some(front), None) => Some(front),
            _ => None,
        }
    }
}
