//! What the laboratory's figures come to.

use serde::{Deserialize, Serialize};

use super::Limit;

/// One analyte of one sampler.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct AnalyteResult {
    /// What it is.
    pub analyte: String,
    /// As reported, front and back together; none where it is below.
    pub mass_mg: Option<f64>,
    /// On the front section.
    pub mass_front_mg: Option<f64>,
    /// On the back section.
    pub mass_back_mg: Option<f64>,
    /// What it is below, as reported.
    pub below_mg: Option<f64>,
    /// What was subtracted for the blanks.
    pub blank_mg: Option<f64>,
    /// Which blanks.
    pub blank_from: Vec<String>,
    /// What is left.
    pub net_mass_mg: Option<f64>,
    /// Limit of detection.
    pub lod_mg: Option<f64>,
    /// Limit of quantification.
    pub loq_mg: Option<f64>,
    /// Whether it broke through to the back section.
    pub breakthrough: Option<Breakthrough>,
    /// The concentration; none where it is below or there is no volume.
    pub concentration_mg_m3: Option<f64>,
    /// What the concentration is below.
    pub below_mg_m3: Option<f64>,
    /// Expanded uncertainty of the concentration.
    pub expanded_mg_m3: Option<f64>,
    /// Its coverage factor.
    pub k: Option<f64>,
    /// The limit.
    pub limit: Option<Limit>,
    /// Of the limit; of a "below", the share that it is below.
    pub share_of_limit_percent: Option<f64>,
    /// How it was compared, and what came of it.
    pub verdict: Option<String>,
    /// How uncertain the concentration is.
    pub budget: Option<Budget>,
    /// Who reported it.
    pub reported_by: Option<String>,
    /// When.
    pub reported_at: Option<String>,
    /// The concentration, or else the mass, as a person reads it.
    pub says: String,
}

/// Whether an analyte broke through to the back section.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Breakthrough {
    /// Back over front.
    pub back_of_front_percent: f64,
    /// Above this it did.
    pub limit_percent: f64,
    /// Whether it did.
    pub over: bool,
}

/// How uncertain a value is, term by term.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Budget {
    /// Of what.
    pub of: String,
    /// The value.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// The terms.
    pub terms: Vec<Term>,
    /// Combined standard uncertainty, in the unit.
    pub combined: f64,
    /// The same, of the value.
    pub combined_percent: f64,
    /// Effective degrees of freedom; none: so many that it does not matter.
    pub degrees_of_freedom: Option<f64>,
    /// The coverage factor.
    pub k: f64,
    /// k times the combined, in the unit.
    pub expanded: f64,
    /// The same, of the value.
    pub expanded_percent: f64,
}

/// A term of a budget.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Term {
    /// What it is.
    pub name: String,
    /// How large it was stated to be, in its unit.
    pub value: f64,
    /// The unit.
    pub unit: String,
    /// "normal", "rectangular", "triangular" or "standard".
    pub distribution: String,
    /// What makes a standard uncertainty of it.
    pub divisor: f64,
    /// By how much the value changes with it.
    pub sensitivity: f64,
    /// Degrees of freedom; none: infinitely many.
    pub degrees_of_freedom: Option<f64>,
    /// The standard uncertainty that it gives the value, of the value.
    pub standard_percent: f64,
    /// Its part in the combined variance.
    pub share_percent: f64,
    /// Where it comes from.
    pub source: String,
}

/// A worker's exposure.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct WorkerResult {
    /// The worker.
    pub worker: String,
    /// What the worker does.
    pub job: Option<String>,
    /// The length of the shift.
    pub shift_h: Option<f64>,
    /// The analyte.
    pub analyte: String,
    /// "twa", "short-term" or "ceiling".
    pub kind: String,
    /// The time-weighted average, or of short-term samples the largest.
    pub twa_mg_m3: Option<f64>,
    /// What it is below, where a sample of it is below.
    pub below_mg_m3: Option<f64>,
    /// The least it can be, where a sample of it is below: with that taken as nothing.
    pub least_mg_m3: Option<f64>,
    /// What was divided by.
    pub divisor_h: Option<f64>,
    /// Its name: "8 h" or "time exposed".
    pub divisor_name: String,
    /// How long was sampled.
    pub sampled_h: f64,
    /// Time of the shift that no sample covers; it counts as nothing over 8 h, and is said.
    pub unsampled_h: Option<f64>,
    /// The limit.
    pub limit: Option<Limit>,
    /// Of the limit.
    pub share_of_limit_percent: Option<f64>,
    /// Lower confidence limit of the share, 1 being the limit.
    pub lcl: Option<f64>,
    /// Upper confidence limit.
    pub ucl: Option<f64>,
    /// The sampling and analytical error those come from.
    pub sae: Option<f64>,
    /// What came of it, in words.
    pub verdict: String,
    /// The samplers that it is made of.
    pub samples: Vec<String>,
    /// The average as a person reads it.
    pub says: String,
}

/// A blank.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct BlankResult {
    /// The sampler.
    pub sampler: String,
    /// The lot of its media.
    pub media_lot: Option<String>,
    /// The analyte.
    pub analyte: String,
    /// What was found on it.
    pub mass_mg: Option<f64>,
    /// What that is below.
    pub below_mg: Option<f64>,
    /// The samplers that it counts for.
    pub used_for: Vec<String>,
    /// The same as a person reads it.
    pub says: String,
}

/// Two samplers that should say the same.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct PairResult {
    /// The first.
    pub first: String,
    /// The other.
    pub second: String,
    /// What is compared: an analyte, or "volume".
    pub what: String,
    /// The first's.
    pub first_value: Option<f64>,
    /// The other's.
    pub second_value: Option<f64>,
    /// The unit of both.
    pub unit: String,
    /// (second - first) over their mean; with a sign.
    pub difference_percent: Option<f64>,
    /// The same as a person reads it.
    pub says: String,
}
