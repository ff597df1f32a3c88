//! A ceiling that may be passed for a while, up to a peak.

use super::amount::Amount;
use super::error::{Problem, not_negative, positive, result, strictly_over};
use super::exposure::{Stretch, Verdict, compare};
use super::quarter::{QUARTER_MIN, is_quarter};

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

/// How samples keep to a ceiling with a peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Whether they do.
    pub verdict: Verdict,
    /// The highest mean, of a sample or of the time of a peak within it.
    pub highest: Amount,
    /// Time above the ceiling, in min.
    pub above_minutes: Amount,
}

/// Whether samples keep to a ceiling with a peak of so many minutes.
///
/// Over if one passes the peak, or if those above the ceiling last longer than allowed, together. A sample's mean hides what is shorter
/// than it: one of more than 15 min that is below the ceiling says nothing of its highest quarter of an hour, unless all of it, drawn in 15
/// min, would still be below; the same holds for the peak and the minutes allowed. Such samples are told to be over, or cannot be told; they are
/// told to keep to it only by that bound. Time above the ceiling in a long sample: at least `t (C - ceiling) / (peak - ceiling)`, at most
/// `C t / ceiling`.
///
/// Range: minutes above 0, minutes allowed 0 or more. Source: 29 CFR 1910.1000(b)
/// (2015 edition; e.g. above 25 ppm to at most 50 ppm for 10 min); a ceiling that is not measured from moment to moment is a 15-minute
/// mean, 1910.1000(a)(1); bounds by arithmetic. Limits that allow the peak once in so many hours need their own look.
///
/// # Errors
/// No samples; numbers out of range; a peak below the ceiling.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{PeakRule, Stretch, Verdict, peak}};
/// let rule = PeakRule { ceiling: 25.0, peak: 50.0, minutes: 10.0 };
/// let at = |minutes, ppm| Stretch { minutes, concentration: Amount::Found(ppm) };
/// assert_eq!(peak(&[at(10.0, 40.0), at(15.0, 20.0)], rule)?.verdict, Verdict::NotOver);
/// assert_eq!(peak(&[at(10.0, 40.0), at(5.0, 30.0)], rule)?.verdict, Verdict::Over);
/// assert_eq!(peak(&[at(30.0, 24.0)], rule)?.verdict, Verdict::CannotTell, "10 min of 72 ppm?");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn peak(samples: &[Stretch], rule: PeakRule) -> Result<Peak, Problem> {
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
    let mut highest: Option<Amount> = None;
    for sample in samples {
        let minutes = positive("time", sample.minutes)?;
        sample.concentration.checked("concentration")?;
        let most = highest_window(sample, rule.minutes)?;
        highest = Some(highest.map_or(most, |h| h.larger(most)));
        let (least_min, most_min) = above(sample, rule)?;
        surely = result("time", surely + least_min)?;
        possibly = result("time", possibly + most_min.min(minutes))?;
    }
    let highest = highest.unwrap_or(Amount::AtLeast(0.0));
    let by_peak = compare(highest, rule.peak)?.verdict;
    let verdict = if by_peak == Verdict::Over || strictly_over(surely, rule.minutes) {
        Verdict::Over
    } else if by_peak == Verdict::CannotTell || strictly_over(possibly, rule.minutes) {
        Verdict::CannotTell
    } else {
        Verdict::NotOver
    };
    Ok(Peak { verdict, highest, above_minutes: Amount::of(surely, Some(possibly)) })
}

/// The highest mean over the time of a peak within a sample: at least the sample's own, and at most as if all of it had been drawn in
/// that time. Where no peak is allowed, over 15 min.
fn highest_window(sample: &Stretch, allowed_minutes: f64) -> Result<Amount, Problem> {
    let found = sample.concentration;
    let window = if allowed_minutes > 0.0 { allowed_minutes } else { QUARTER_MIN };
    if sample.minutes <= window || window == QUARTER_MIN && is_quarter(sample.minutes) {
        return Ok(found);
    }
    let high = found.high().map(|c| result("concentration", c * (sample.minutes / window)));
    Ok(Amount::of(found.low(), high.transpose()?))
}

/// How long a sample was above the ceiling, at least and at most, in min.
fn above(sample: &Stretch, rule: PeakRule) -> Result<(f64, f64), Problem> {
    let (minutes, found) = (sample.minutes, sample.concentration);
    if minutes <= QUARTER_MIN || is_quarter(minutes) {
        return Ok(match compare(found, rule.ceiling)?.verdict {
            Verdict::Over => (minutes, minutes),
            Verdict::CannotTell => (0.0, minutes),
            Verdict::NotOver => (0.0, 0.0),
        });
    }
    // The rest as high as the ceiling, and what is above it as high as the peak: less time above is not possible.
    let room = rule.peak - rule.ceiling;
    let by_mean = if strictly_over(found.low(), rule.ceiling) && room > 0.0 {
        (minutes * ((found.low() - rule.ceiling) / room)).min(minutes)
    } else {
        0.0
    };
    let quarters = (minutes / QUARTER_MIN - 1e-9).ceil();
    let one_quarter = found.low() * (minutes / (QUARTER_MIN * quarters));
    let least =
        if strictly_over(one_quarter, rule.ceiling) { by_mean.max(QUARTER_MIN) } else { by_mean };
    let most = match found.high() {
        Some(high) if !strictly_over(high * (minutes / QUARTER_MIN), rule.ceiling) => 0.0,
        Some(high) => (high * minutes / rule.ceiling).min(minutes),
        None => minutes,
    };
    Ok((least, most.max(least)))
}
