//! What a person was exposed to over a shift or a quarter of an hour, and what it is compared with.
//!
//! Concentrations are all in one unit, that of the limit: mg/m3, ppm or fibres/mL.

use super::amount::Amount;
use super::error::{Problem, not_negative, positive, result, strictly_over, within};
use super::source::{self, Source};

pub use super::peak::{Peak, PeakRule, peak};
pub use super::quarter::{Highest, Whole, highest_quarter, is_quarter, short_term};

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
    /// All hours exposed, sampled or not (29 CFR 1910.1043 App. A, cotton dust). Hours that are known to be without exposure are
    /// none of them.
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
    /// Named and not sampled, in min.
    pub unsampled_minutes: f64,
    /// What it was divided by, in min.
    pub divisor_minutes: f64,
}

/// What a day has, in min. A record may be off by what a clock is: a minute more is taken.
const DAY_MIN: f64 = 1_440.0;

/// Time-weighted mean: `E = (C1 T1 + ... + Cn Tn) / 8 h`, or `/ hours exposed`.
///
/// `unsampled` says for how many minutes the person worked and no sample was taken, and what is assumed of
/// them; by hours exposed, they are divided by as well, unless they are said to be without exposure. Range: minutes above 0 (unsampled: 0 or
/// more), 24 h in all: it is one person on one day; a sample below its limit gives bounds, never 0. Source: 29 CFR
/// 1910.1000(d)(1)(i), 1910.1043 App. A (2015 edition).
///
/// # Errors
/// No samples; numbers out of range; more than 24 h; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Divisor, Stretch, Unsampled, mean}};
/// let part = |hours: f64, ppm| Stretch { minutes: 60.0 * hours, concentration: Amount::Found(ppm) };
/// let shift = [part(2.0, 150.0), part(2.0, 75.0), part(4.0, 50.0)];
/// let e = mean(&shift, Divisor::EightHours, (0.0, Unsampled::NotExposed))?;
/// assert_eq!(e.value, Amount::Found(81.25));
/// // Hours without exposure are not divided by.
/// let two = mean(&shift[..1], Divisor::HoursExposed, (360.0, Unsampled::NotExposed))?;
/// assert_eq!(two.value, Amount::Found(150.0));
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
    let in_all = result("time", sampled + more)?;
    if in_all > DAY_MIN + 1.0 {
        within("time of one person on one day", in_all, 0.0, DAY_MIN, "min")?;
    }
    let divisor_minutes = match (divisor, assumed) {
        (Divisor::EightHours, _) => 480.0,
        (Divisor::HoursExposed, Unsampled::NotExposed) => sampled,
        (Divisor::HoursExposed, _) => in_all,
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
