//! Whether a result is over a limit with the errors of sampling and analysis taken into account.

use super::error::{Problem, positive, result, strictly_over, within};

/// The three answers, in the words of the text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// The upper limit of confidence is not over 1.
    NoViolation,
    /// 1 lies between the limits of confidence.
    Possible,
    /// The lower limit of confidence is over 1.
    Violation,
}

impl Class {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoViolation => "no violation: not over the limit, errors allowed for",
            Self::Possible => {
                "possible overexposure: the limit lies within the errors; sample again"
            }
            Self::Violation => "violation: over the limit, errors allowed for",
        }
    }
}

/// Limits of confidence of a result, as shares of the limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Result over limit.
    pub severity: f64,
    /// Lower limit of confidence, one-sided 95 %; may be below 0.
    pub lower: f64,
    /// Upper limit of confidence, one-sided 95 %.
    pub upper: f64,
    /// What follows.
    pub class: Class,
}

fn classed(severity: f64, error: f64) -> Result<Limits, Problem> {
    let (lower, upper) = (severity - error, result("upper limit", severity + error)?);
    let class = if strictly_over(lower, 1.0) {
        Class::Violation
    } else if strictly_over(upper, 1.0) {
        Class::Possible
    } else {
        Class::NoViolation
    };
    Ok(Limits { severity, lower, upper, class })
}

fn sae_checked(sae: f64) -> Result<f64, Problem> {
    within("sampling and analytical error", sae, 0.0, 2.0, "(a fraction)")
}

/// One sample over the whole time: `Y = X / L`, `LCL = Y - SAE`, `UCL = Y + SAE`.
///
/// Range: result and limit above 0, in one unit; SAE a fraction, 0 to 2 (0.23 is 23 %). A result below its limit of detection has no
/// such limits. Source: OSHA Technical Manual as reproduced in Boss & Day, ch. 4 (copy read).
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::confidence::{Class, single};
/// let found = single(6.07, 5.0, 0.23)?;
/// assert!((found.lower - 0.984).abs() < 1e-12 && (found.upper - 1.444).abs() < 1e-12);
/// assert_eq!(found.class, Class::Possible);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn single(found: f64, limit: f64, sae: f64) -> Result<Limits, Problem> {
    let severity = positive("result", found)? / positive("limit", limit)?;
    classed(result("share of the limit", severity)?, sae_checked(sae)?)
}

/// One of several samples that follow one another over the whole time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// In min.
    pub minutes: f64,
    /// In the unit of the limit.
    pub found: f64,
}

/// Consecutive samples: `Y = (T1 X1 + ... + Tn Xn) / (L (T1 + ... + Tn))`,
/// `LCL = Y - SAE sqrt(T1^2 X1^2 + ... + Tn^2 Xn^2) / (L (T1 + ... + Tn))`.
///
/// Errors of single samples partly cancel, so the limits are narrower than those of one. The upper limit is taken by symmetry.
/// Range: as [`single`]; times above 0. Source: the same (equation garbled in the copy, but legible).
///
/// # Errors
/// None given; numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::confidence::{Class, Sample, consecutive};
/// let halves = [Sample { minutes: 240.0, found: 6.07 }; 2];
/// let found = consecutive(&halves, 5.0, 0.23)?;
/// assert_eq!(found.class, Class::Violation, "two that agree say more than one: {}", found.lower);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn consecutive(samples: &[Sample], limit: f64, sae: f64) -> Result<Limits, Problem> {
    let count = samples.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "samples", count, least: 1 });
    }
    let (limit, sae) = (positive("limit", limit)?, sae_checked(sae)?);
    let mut time = 0.0;
    for sample in samples {
        time = result("time", time + positive("time", sample.minutes)?)?;
    }
    let (mut severity, mut root) = (0.0, 0.0_f64);
    for sample in samples {
        let part = positive("result", sample.found)? / limit * (sample.minutes / time);
        severity += part;
        root = root.hypot(part);
    }
    classed(result("share of the limit", severity)?, result("error", sae * root)?)
}

/// A sampling and analytical error from a coefficient of variation: `SAE = 1.645 CV`, one-sided 95 %.
///
/// Range: CV a fraction, 0 to 1. Source: OSHA ID-160 as in WAC 296-62-07737 (read).
///
/// # Errors
/// A CV out of range.
///
/// ```
/// use draught_sim::hygiene::confidence::sae_from_cv;
/// assert!((sae_from_cv(0.14)? - 0.2303).abs() < 1e-12);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn sae_from_cv(cv: f64) -> Result<f64, Problem> {
    Ok(1.645 * within("coefficient of variation", cv, 0.0, 1.0, "(a fraction)")?)
}
