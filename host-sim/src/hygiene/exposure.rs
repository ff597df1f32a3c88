//! What a person was exposed to over a shift or a quarter of an hour, and what it is compared with.
//!
//! Concentrations are all in one unit, that of the limit: mg/m3, ppm or fibres/mL.

use super::amount::Amount;
use super::error::{Problem, at_least, not_negative, positive, result, strictly_over};
use super::source::{self, Source};

/// A stretch of time and its mean concentration; consecutive ones make a shift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// In min, above 0.
    pub minutes: f64,
    /// In the unit of the limit.
    pub concentration: Amount,
}

/// By what the sum of time x concentration is divided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Divisor {
    /// 8 h, whatever the shift (29 CFR 1910.1000(d)(1)(i)).
    EightHours,
    /// All hours exposed, sampled or not (29 CFR 1910.1043 App. A, cotton dust).
    HoursExposed,
}

impl Divisor {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::EightHours => "over 8 h",
            Self::HoursExposed => "over the hours exposed",
        }
    }

    /// Who says so.
    #[must_use]
    pub const fn source(self) -> Source {
        match self {
            Self::EightHours => source::TWA_8H,
            Self::HoursExposed => source::TWA_EXPOSED,
        }
    }
}

/// What is assumed of time that was not sampled. Nothing is assumed unless it is said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unsampled {
    /// No exposure: known from what was done, not from the samples.
    NotExposed,
    /// The mean of the time that was sampled.
    AsSampled,
    /// Not known: only a lower bound can be given.
    Unknown,
    /// Not known, but no more than this: bounds.
    AtMost(f64),
}

impl Unsampled {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotExposed => "assumed without exposure",
            Self::AsSampled => "assumed as in the time that was sampled",
            Self::Unknown => "not known: the result is a lower bound",
            Self::AtMost(_) => "not known, but bounded: the result has bounds",
        }
    }
}

/// An exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exposure {
    /// In the unit of the samples.
    pub value: Amount,
    /// Sampled, in min.
    pub sampled_minutes: f64,
    /// Exposed and not sampled, in min.
    pub unsampled_minutes: f64,
    /// What it was divided by, in min.
    pub divisor_minutes: f64,
}

/// Time-weighted mean: `E = (C1 T1 + ... + Cn Tn) / 8 h`, or `/ hours exposed`.
///
/// `unsampled` says for how many minutes the person worked and no sample was taken, and what is assumed of
/// them. Range: minutes above 0 (unsampled: 0 or more); a sample below its limit gives bounds, never 0. Source: 29 CFR
/// 1910.1000(d)(1)(i), 1910.1043 App. A (2015 edition).
///
/// # Errors
/// No samples; numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Divisor, Stretch, Unsampled, mean}};
/// let part = |hours: f64, ppm| Stretch { minutes: 60.0 * hours, concentration: Amount::Found(ppm) };
/// let shift = [part(2.0, 150.0), part(2.0, 75.0), part(4.0, 50.0)];
/// let e = mean(&shift, Divisor::EightHours, (0.0, Unsampled::NotExposed))?;
/// assert_eq!(e.value, Amount::Found(81.25));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mean(
    samples: &[Stretch],
    divisor: Divisor,
    unsampled: (f64, Unsampled),
) -> Result<Exposure, Problem> {
    let count = samples.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "samples", count, least: 1 });
    }
    let mut sampled = 0.0;
    for sample in samples {
        sampled = result("time", sampled + positive("time", sample.minutes)?)?;
    }
    let (more, assumed) = (not_negative("unsampled time", unsampled.0)?, unsampled.1);
    let divisor_minutes = match divisor {
        Divisor::EightHours => 480.0,
        Divisor::HoursExposed => result("time", sampled + more)?,
    };
    // Each term is divided before they are added, so that none overflows on the way.
    let share = |minutes: f64, concentration: Amount| {
        concentration.times("concentration", minutes / divisor_minutes)
    };
    let terms = samples.iter().map(|s| share(s.minutes, s.concentration));
    let seen = Amount::sum("exposure", &terms.collect::<Result<Vec<_>, _>>()?)?;
    let rest = match assumed {
        _ if more == 0.0 => Amount::Found(0.0),
        Unsampled::NotExposed => Amount::Found(0.0),
        Unsampled::AsSampled => seen.times("exposure", more / sampled)?,
        Unsampled::Unknown => Amount::AtLeast(0.0),
        Unsampled::AtMost(most) => share(more, Amount::Below(most))?,
    };
    Ok(Exposure {
        value: seen.plus("exposure", rest)?,
        sampled_minutes: sampled,
        unsampled_minutes: more,
        divisor_minutes,
    })
}

/// The mean over 15 minutes, from one sample.
///
/// A sample of 15 min is one. A shorter one is `C t / 15` plus what is assumed of the rest. A longer one hides its
/// highest quarter of an hour: that is at least its mean. Range: minutes above 0. Source: arithmetic; 15 minutes for ceilings
/// without instantaneous monitoring, 29 CFR 1910.1000(a)(1) (2015 edition).
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Stretch, Unsampled, short_term}};
/// let sample = |minutes| Stretch { minutes, concentration: Amount::Found(30.0) };
/// assert_eq!(short_term(sample(15.0), Unsampled::Unknown)?, Amount::Found(30.0));
/// assert_eq!(short_term(sample(10.0), Unsampled::NotExposed)?, Amount::Found(20.0));
/// assert_eq!(short_term(sample(30.0), Unsampled::Unknown)?, Amount::AtLeast(30.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn short_term(sample: Stretch, rest: Unsampled) -> Result<Amount, Problem> {
    let minutes = positive("time", sample.minutes)?;
    let found = sample.concentration.checked("concentration")?;
    if at_least(minutes, QUARTER) && at_least(QUARTER, minutes) {
        return Ok(found);
    }
    if minutes > QUARTER {
        return Ok(Amount::AtLeast(found.low()));
    }
    let part = minutes / QUARTER;
    let seen = found.times("concentration", part)?;
    let unseen = match rest {
        Unsampled::NotExposed => Amount::Found(0.0),
        Unsampled::AsSampled => return Ok(found),
        Unsampled::Unknown => Amount::AtLeast(0.0),
        Unsampled::AtMost(most) => Amount::Below(most).times("concentration", 1.0 - part)?,
    };
    seen.plus("concentration", unseen)
}

/// A quarter of an hour, in min.
const QUARTER: f64 = 15.0;

/// How an exposure stands to a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Not over it, at the most that it can be.
    NotOver,
    /// Over it, at the least that it can be.
    Over,
    /// It lies between bounds, and the limit does too.
    CannotTell,
}

impl Verdict {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotOver => "not over the limit",
            Self::Over => "over the limit",
            Self::CannotTell => "cannot be told: the limit lies within the bounds",
        }
    }
}

/// An exposure beside its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// Exposure over limit; 1 is the limit.
    pub share: Amount,
    /// In words, without uncertainty: see [`super::confidence`].
    pub verdict: Verdict,
}

/// Puts an exposure beside its limit: `E / L`; just at the limit is not over it.
///
/// Range: limit above 0, in the unit of the exposure. Source: "exceed", 29 CFR 1910.1000 (2015 edition).
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Verdict, compare}};
/// assert_eq!(compare(Amount::Found(81.25), 100.0)?.verdict, Verdict::NotOver);
/// assert_eq!(compare(Amount::Below(6.0), 5.0)?.verdict, Verdict::CannotTell);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn compare(exposure: Amount, limit: f64) -> Result<Compared, Problem> {
    let limit = positive("limit", limit)?;
    exposure.checked("exposure")?;
    let share = match exposure {
        Amount::Found(x) => Amount::Found(result("share of the limit", x / limit)?),
        Amount::Below(x) => {
            Amount::Below(result("share of the limit", x / limit)?).checked("share of the limit")?
        }
        Amount::Between(a, b) => {
            Amount::Between(a / limit, result("share of the limit", b / limit)?)
        }
        Amount::AtLeast(x) => Amount::AtLeast(result("share of the limit", x / limit)?),
    };
    let verdict = if strictly_over(exposure.low(), limit) {
        Verdict::Over
    } else if exposure.high().is_some_and(|most| !strictly_over(most, limit)) {
        Verdict::NotOver
    } else {
        Verdict::CannotTell
    };
    Ok(Compared { share, verdict })
}

/// A ceiling with a peak above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeakRule {
    /// Not to be passed, but for a peak.
    pub ceiling: f64,
    /// Never to be passed.
    pub peak: f64,
    /// For how long it may be above the ceiling in a shift, in min.
    pub minutes: f64,
}

/// Whether samples keep to a ceiling with a peak of so many minutes.
///
/// Over if one passes the peak, or if those above the ceiling last longer than allowed, together. Source: 29 CFR 1910.1000(b)
/// (2015 edition; e.g. above 25 ppm to at most 50 ppm for 10 min). A sample's mean hides what is shorter than the sample. Limits
/// that allow the peak once in so many hours need their own look.
///
/// # Errors
/// No samples; numbers out of range; a peak below the ceiling.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{PeakRule, Stretch, Verdict, peak}};
/// let rule = PeakRule { ceiling: 25.0, peak: 50.0, minutes: 10.0 };
/// let at = |minutes, ppm| Stretch { minutes, concentration: Amount::Found(ppm) };
/// assert_eq!(peak(&[at(10.0, 40.0), at(15.0, 20.0)], rule)?, Verdict::NotOver);
/// assert_eq!(peak(&[at(10.0, 40.0), at(5.0, 30.0)], rule)?, Verdict::Over);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn peak(samples: &[Stretch], rule: PeakRule) -> Result<Verdict, Problem> {
    let count = samples.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "samples", count, least: 1 });
    }
    not_negative("minutes allowed", rule.minutes)?;
    if positive("ceiling", rule.ceiling)? > positive("peak", rule.peak)? {
        return Err(Problem::Contradiction {
            what: "the peak is below the ceiling",
            help: "the peak is the larger of the two",
        });
    }
    let (mut surely, mut possibly) = (0.0, 0.0);
    let mut verdict = Verdict::NotOver;
    for sample in samples {
        let minutes = positive("time", sample.minutes)?;
        let over_peak = compare(sample.concentration, rule.peak)?.verdict;
        let over_ceiling = compare(sample.concentration, rule.ceiling)?.verdict;
        surely += if over_ceiling == Verdict::Over { minutes } else { 0.0 };
        possibly += if over_ceiling == Verdict::NotOver { 0.0 } else { minutes };
        match over_peak {
            Verdict::Over => return Ok(Verdict::Over),
            Verdict::CannotTell => verdict = Verdict::CannotTell,
            Verdict::NotOver => {}
        }
    }
    Ok(if strictly_over(surely, rule.minutes) {
        Verdict::Over
    } else if strictly_over(possibly, rule.minutes) {
        Verdict::CannotTell
    } else {
        verdict
    })
}
