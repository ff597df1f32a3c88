//! Flow verification: readings with a meter before and after, and which flow enters the volume.

use super::error::{Problem, at_least, positive, result, strictly_over};
use super::source::{self, Source};

/// One timing of a volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Volume that passed, in mL.
    pub volume_ml: f64,
    /// Time that it took, in s.
    pub time_s: f64,
}

/// What was read off a meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading<'a> {
    /// Flows in L/min, one or several.
    Flows(&'a [f64]),
    /// Timings of a volume; three are wanted.
    Timed(&'a [Run]),
}

/// A verified flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Mean of the readings, in L/min.
    pub flow_l_per_min: f64,
    /// How many there were.
    pub count: usize,
    /// Largest minus smallest, in % of the mean; with two readings or more.
    pub spread_percent: Option<f64>,
    /// Sample standard deviation, in L/min; with two readings or more.
    pub deviation_l_per_min: Option<f64>,
    /// Timings, and fewer than the three of NMAM chapter D section 7a.
    pub too_few_runs: bool,
}

impl Measured {
    /// Whether the readings lie so far apart that they are hardly of one flow: their spread is over the limit of the verification.
    ///
    /// Source: common practice, no source; NMAM chapter D section 7a averages repeated timings of one flow.
    #[must_use]
    pub fn is_apart(&self, limit: Limit) -> bool {
        self.spread_percent.is_some_and(|spread| limit.is_passed_by(spread))
    }
}

/// How many timings NMAM chapter D section 7a wants: one, and at least two more (read).
pub const RUNS: usize = 3;

/// The mean of readings, with their spread: `Q = (Q1 + ... + Qn) / n`; of timings `Qi = Vi / ti`.
///
/// Range: every flow, volume and time above 0; at least one. Three timings are wanted (NMAM chapter D section 7a,
/// read); fewer are said, not refused.
///
/// # Errors
/// None given; one that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::verify::{Reading, Run, measure};
/// let run = |time_s| Run { volume_ml: 500.0, time_s };
/// let measured = measure(Reading::Timed(&[run(14.9), run(15.0), run(15.1)]))?;
/// assert!((measured.flow_l_per_min - 2.0001).abs() < 1e-4);
/// assert_eq!((measured.count, measured.too_few_runs), (3, false));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn measure(reading: Reading<'_>) -> Result<Measured, Problem> {
    let flows: Vec<f64> = match reading {
        Reading::Flows(flows) => {
            flows.iter().map(|f| positive("flow", *f)).collect::<Result<_, _>>()?
        }
        Reading::Timed(runs) => runs.iter().map(flow_of_run).collect::<Result<_, _>>()?,
    };
    let count = flows.len();
    let (Some(least), Some(most)) =
        (flows.iter().copied().reduce(f64::min), flows.iter().copied().reduce(f64::max))
    else {
        return Err(Problem::TooFew { what: "readings", count, least: 1 });
    };
    // Divided first, so that the sum cannot overflow.
    let mean = flows.iter().map(|f| f / count as f64).sum::<f64>();
    let mean = positive("mean flow", result("mean flow", mean)?)?;
    let several = count > 1;
    let squares: f64 = flows.iter().map(|f| (f - mean).powi(2)).sum();
    let deviation = if several {
        Some(result("spread of the flows", (squares / (count - 1) as f64).sqrt())?)
    } else {
        None
    };
    let spread = if several {
        Some(result("spread of the flows", 100.0 * ((most - least) / mean))?)
    } else {
        None
    };
    Ok(Measured {
        flow_l_per_min: mean,
        count,
        spread_percent: spread,
        deviation_l_per_min: deviation,
        too_few_runs: matches!(reading, Reading::Timed(_)) && count < RUNS,
    })
}

fn flow_of_run(run: &Run) -> Result<f64, Problem> {
    let (volume_ml, time_s) = (positive("volume", run.volume_ml)?, positive("time", run.time_s)?);
    positive("flow", result("flow", volume_ml / time_s * 0.06)?)
}

/// How far the flow after may be from the flow before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// In % of the flow before.
    pub percent: f64,
    /// Whether a difference of just this much is over.
    pub from_it_on: bool,
    /// Who says so.
    pub source: Source,
}

impl Limit {
    /// Outdoors: from 4 % on. Taken over from 40 CFR 50 App. L 9.2.5 (2015 edition), which has it for a sampler beside a standard, at one
    /// time: for before and after it is common practice, no source.
    pub const AMBIENT: Self =
        Self { percent: 4.0, from_it_on: true, source: source::AMBIENT_DRIFT };
    /// Worn pumps: over 5 %, common practice, no source.
    pub const WORN: Self = Self { percent: 5.0, from_it_on: false, source: source::WORN_DRIFT };

    /// Outdoors, off the required flow: from 2 % on (40 CFR 50 App. L 9.2.4 to 9.2.6, 2015 edition).
    pub const AMBIENT_REQUIRED: Self =
        Self { percent: 2.0, from_it_on: true, source: source::AMBIENT_REQUIRED };
    /// Worn pumps, off the required flow: over 5 %, common practice, no source.
    pub const WORN_REQUIRED: Self =
        Self { percent: 5.0, from_it_on: false, source: source::WORN_REQUIRED };

    /// Another limit, which is passed by what is over it; the same number keeps the rule's own edge.
    #[must_use]
    pub fn changed(self, percent: f64, source: Source) -> Self {
        Self { percent, from_it_on: self.from_it_on && percent == self.percent, source }
    }

    /// Whether a difference is over the limit.
    #[must_use]
    pub fn is_passed_by(&self, difference_percent: f64) -> bool {
        let size = difference_percent.abs();
        if self.from_it_on {
            at_least(size, self.percent)
        } else {
            strictly_over(size, self.percent)
        }
    }
}

/// Which flow enters the volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FlowChoice {
    /// Half the sum of before and after (40 CFR 50 App. B 10.1.1).
    Mean,
    /// The lower of the two: the smaller volume, so the larger concentration. Common practice, no source.
    Lower,
    /// That before, where there is none after.
    BeforeOnly,
    /// The cyclone's nominal flow in L/min, as NMAM 0600 step 6 note 2 has it: only where the method says so.
    Nominal(f64),
}

impl FlowChoice {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Mean => "mean of before and after",
            Self::Lower => "the lower of before and after",
            Self::BeforeOnly => "before only",
            Self::Nominal(_) => "nominal flow of the cyclone",
        }
    }
}

/// What a verification came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verification {
    /// Before sampling, in L/min.
    pub before_l_per_min: f64,
    /// After, if it was measured.
    pub after_l_per_min: Option<f64>,
    /// `100 (after - before) / before`.
    pub difference_percent: Option<f64>,
    /// The limit that was asked for.
    pub limit: Limit,
    /// Over it: the sample is flagged for review, never void by that alone.
    pub over_limit: bool,
    /// What enters the volume, in L/min.
    pub flow_used_l_per_min: f64,
    /// Which that is.
    pub flow_used_is: FlowChoice,
}

/// Compares the flow after with the flow before, `d = 100 (after - before) / before`, and says which flow enters
/// the volume.
///
/// Range: flows above 0, limit from 0 to 100 %. A difference over the limit flags the sample and voids nothing.
///
/// # Errors
/// Numbers out of range; no flow after, where the choice needs one.
///
/// ```
/// use draught_sim::hygiene::verify::{FlowChoice, Limit, verify};
/// let found = verify(2.02, Some(1.90), Limit::WORN, FlowChoice::Mean)?;
/// assert!((found.flow_used_l_per_min - 1.96).abs() < 1e-12);
/// assert!(found.over_limit, "-5.9 %");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn verify(
    before_l_per_min: f64,
    after_l_per_min: Option<f64>,
    limit: Limit,
    choice: FlowChoice,
) -> Result<Verification, Problem> {
    let before = positive("flow before", before_l_per_min)?;
    let after = after_l_per_min.map(|f| positive("flow after", f)).transpose()?;
    super::error::within("limit", limit.percent, 0.0, 100.0, "%")?;
    let needed = after.ok_or(Problem::Missing {
        what: "flow after",
        help: "measure it, or say that only the flow before is used",
    });
    let used = match choice {
        FlowChoice::Mean => before / 2.0 + needed? / 2.0,
        FlowChoice::Lower => before.min(needed?),
        FlowChoice::BeforeOnly => before,
        FlowChoice::Nominal(flow) => positive("nominal flow", flow)?,
    };
    let difference = match after {
        Some(after) => Some(difference_percent("flow after", after, before)?),
        None => None,
    };
    Ok(Verification {
        before_l_per_min: before,
        after_l_per_min: after,
        difference_percent: difference,
        limit,
        over_limit: difference.is_some_and(|d| limit.is_passed_by(d)),
        flow_used_l_per_min: positive("flow used", used)?,
        flow_used_is: choice,
    })
}

fn difference_percent(what: &'static str, value: f64, reference: f64) -> Result<f64, Problem> {
    // Subtracted before it is divided: 2.0 against 2.0 is exactly 0.
    result(what, 100.0 * ((value - reference) / reference))
}

/// A flow beside the one it should be: `d = 100 (flow - should be) / should be`, and whether that is over a limit. Of a verified flow
/// beside the one that is required, and of a pump's own flow beside the meter's.
///
/// Range: both above 0, limit from 0 to 100 %.
///
/// # Errors
/// A flow that is not above 0; too large; a limit out of range.
///
/// ```
/// use draught_sim::hygiene::verify::{Limit, off};
/// assert_eq!(off(2.05, 2.0, Limit::WORN_REQUIRED)?.1, false, "+2.5 %");
/// assert_eq!(off(2.05, 2.0, Limit::AMBIENT_REQUIRED)?.1, true);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn off(
    flow_l_per_min: f64,
    should_be_l_per_min: f64,
    limit: Limit,
) -> Result<(f64, bool), Problem> {
    let flow = positive("flow", flow_l_per_min)?;
    let should_be = positive("flow that it should be", should_be_l_per_min)?;
    super::error::within("limit", limit.percent, 0.0, 100.0, "%")?;
    let difference = difference_percent("difference of the flows", flow, should_be)?;
    Ok((difference, limit.is_passed_by(difference)))
}

/// The check of a sampler outdoors against a flow standard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AmbientCheck {
    /// `100 (indicated - standard) / standard`.
    pub difference_percent: f64,
    /// 4 % or more from the standard: recalibrate (App. L 9.2.5).
    pub recalibrate: bool,
}

/// A sampler's indicated flow beside the one that is required.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RequiredCheck {
    /// `100 (indicated - required) / required`.
    pub difference_percent: f64,
    /// 2 % or more from it: set the flow again (App. L 9.2.6).
    pub reset: bool,
}

/// A sampler's indicated flow against the required one: `d = 100 (indicated - required) / required`, to be set again from 2 % on.
///
/// Range: both above 0. Source: rule 40 CFR 50 App. L 9.2.6 (2015 edition).
///
/// # Errors
/// A flow that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::verify::against_required;
/// assert!(against_required(17.51, 16.67)?.reset, "5.0 %");
/// assert!(!against_required(16.90, 16.67)?.reset, "1.4 %");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn against_required(
    indicated_l_per_min: f64,
    required_l_per_min: f64,
) -> Result<RequiredCheck, Problem> {
    let indicated = positive("indicated flow", indicated_l_per_min)?;
    let required = positive("required flow", required_l_per_min)?;
    let difference_percent = difference_percent("difference of the flows", indicated, required)?;
    Ok(RequiredCheck { difference_percent, reset: at_least(difference_percent.abs(), 2.0) })
}

/// A sampler's indicated flow against a standard: `d = 100 (indicated - standard) / standard`, recalibrate from
/// 4 % on.
///
/// Range: both above 0. Source: rule 40 CFR 50 App. L 9.2.5 (2015 edition); the difference, 40 CFR 58 App. A 3.2.3, form
/// from memory.
///
/// # Errors
/// A flow that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::verify::against_standard;
/// assert!(against_standard(16.67, 16.00)?.recalibrate, "4.19 %");
/// assert!(!against_standard(16.67, 16.10)?.recalibrate, "3.54 %");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn against_standard(
    indicated_l_per_min: f64,
    standard_l_per_min: f64,
) -> Result<AmbientCheck, Problem> {
    let indicated = positive("indicated flow", indicated_l_per_min)?;
    let standard = positive("standard flow", standard_l_per_min)?;
    let difference_percent = difference_percent("difference of the flows", indicated, standard)?;
    Ok(AmbientCheck {
        difference_percent,
        recalibrate: Limit::AMBIENT.is_passed_by(difference_percent),
    })
}
