//! The highest mean over 15 minutes, from samples that are shorter, as long, or longer.

use super::amount::Amount;
use super::error::{Problem, positive, result};
use super::exposure::{Stretch, Unsampled};

/// A quarter of an hour, in min.
pub(super) const QUARTER_MIN: f64 = 15.0;

/// What starting and stopping by hand may be off, in min: 10 s; common practice, no source.
const NEAR_MIN: f64 = 10.0 / 60.0;

/// Whether a sample counts as one of 15 minutes: within 10 s of it (common practice, no source).
///
/// ```
/// use draught_sim::hygiene::exposure::is_quarter;
/// assert!(is_quarter(15.0) && is_quarter(14.0 + 50.0 / 60.0) && !is_quarter(14.5));
/// ```
#[must_use]
pub fn is_quarter(minutes: f64) -> bool {
    (minutes - QUARTER_MIN).abs() <= NEAR_MIN * (1.0 + 1e-9)
}

/// Consecutive samples that make 15 minutes together, or one that has 15 by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Whole {
    /// The first of them, from 0 on.
    pub first: usize,
    /// The last.
    pub last: usize,
    /// Their mean.
    pub value: Amount,
}

/// The highest mean over 15 minutes.
#[derive(Clone, Debug, PartialEq)]
pub struct Highest {
    /// It, or what is known of it.
    pub value: Amount,
    /// What makes 15 minutes.
    pub wholes: Vec<Whole>,
    /// All samples together, in min.
    pub minutes: f64,
}

/// The highest mean over 15 minutes, from one sample; as [`highest_quarter`].
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Stretch, Unsampled, short_term}};
/// let sample = |minutes| Stretch { minutes, concentration: Amount::Found(30.0) };
/// assert_eq!(short_term(sample(15.0), Unsampled::Unknown)?, Amount::Found(30.0));
/// assert_eq!(short_term(sample(10.0), Unsampled::NotExposed)?, Amount::Found(20.0));
/// assert_eq!(short_term(sample(30.0), Unsampled::Unknown)?, Amount::Between(30.0, 60.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn short_term(sample: Stretch, rest: Unsampled) -> Result<Amount, Problem> {
    Ok(highest_quarter(&[sample], rest)?.value)
}

/// The highest mean over 15 minutes, from samples that followed one another without a gap, in their order.
///
/// * Samples that have 15 min, alone or together, give their mean `(C1 t1 + C2 t2 + ...) / (t1 + t2 + ...)`; where each belongs to such a
///   quarter, the highest of these counts.
/// * All together shorter than 15 min: `(C1 t1 + ...) / 15`, and what is assumed of the `rest`.
/// * Else bounds. What was in the air when, within a sample, is not known: at most all of it was drawn in the part that lies within the 15 min; at least,
///   of n quarters that cover the samples, one has the n-th part.
///
/// Range: minutes above 0. Source: arithmetic; 15 minutes for ceilings without instantaneous monitoring, 29 CFR 1910.1000(a)(1)
/// (2015 edition).
///
/// # Errors
/// No samples; numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::{Stretch, Unsampled, highest_quarter}};
/// let at = |minutes, ppm| Stretch { minutes, concentration: Amount::Found(ppm) };
/// let two = highest_quarter(&[at(5.0, 20.0), at(10.0, 35.0)], Unsampled::Unknown)?;
/// assert_eq!(two.value, Amount::Found(30.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn highest_quarter(samples: &[Stretch], rest: Unsampled) -> Result<Highest, Problem> {
    let count = samples.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "samples", count, least: 1 });
    }
    let mut minutes = 0.0;
    for sample in samples {
        minutes = result("time", minutes + positive("time", sample.minutes)?)?;
        sample.concentration.checked("concentration")?;
    }
    let wholes = wholes(samples)?;
    let in_one = |k: usize| wholes.iter().any(|w| w.first <= k && k <= w.last);
    let value = if (0..count).all(in_one) {
        let each = wholes.iter().map(|w| w.value);
        each.reduce(Amount::larger).unwrap_or(Amount::AtLeast(0.0))
    } else if minutes < QUARTER_MIN {
        part(samples, minutes, rest)?
    } else {
        bounds(samples, &wholes)?
    };
    Ok(Highest { value, wholes, minutes })
}

/// Every run of samples that has 15 minutes.
fn wholes(samples: &[Stretch]) -> Result<Vec<Whole>, Problem> {
    let mut found = Vec::new();
    for (first, run) in (0..).zip((0..samples.len()).map(|i| samples.get(i..).unwrap_or_default()))
    {
        let mut minutes = 0.0;
        for (more, sample) in run.iter().enumerate() {
            minutes += sample.minutes;
            if is_quarter(minutes) {
                let parts = run.iter().take(more + 1);
                let value = together(parts, minutes)?;
                found.push(Whole { first, last: first + more, value });
            } else if minutes > QUARTER_MIN {
                break;
            }
        }
    }
    Ok(found)
}

/// `(C1 t1 + ...) / minutes`.
fn together<'a>(parts: impl Iterator<Item = &'a Stretch>, minutes: f64) -> Result<Amount, Problem> {
    let terms = parts.map(|s| s.concentration.times("concentration", s.minutes / minutes));
    Amount::sum("concentration", &terms.collect::<Result<Vec<_>, _>>()?)
}

/// Less than 15 minutes in all.
fn part(samples: &[Stretch], minutes: f64, rest: Unsampled) -> Result<Amount, Problem> {
    let seen = together(samples.iter(), QUARTER_MIN)?;
    let unseen = match rest {
        Unsampled::NotExposed => Amount::Found(0.0),
        Unsampled::AsSampled => return together(samples.iter(), minutes),
        Unsampled::Unknown => Amount::AtLeast(0.0),
        Unsampled::AtMost(most) => {
            Amount::Below(most).times("concentration", 1.0 - minutes / QUARTER_MIN)?
        }
    };
    seen.plus("concentration", unseen)
}

/// More than 15 minutes in all, and not cut where the quarters are.
fn bounds(samples: &[Stretch], wholes: &[Whole]) -> Result<Amount, Problem> {
    let mut low = wholes.iter().map(|w| w.value.low()).fold(0.0, f64::max);
    let mut high = Some(0.0_f64);
    for i in 0..samples.len() {
        let run = samples.get(i..).unwrap_or_default();
        let (mut minutes, mut least, mut most, mut before) = (0.0, 0.0, Some(0.0), 0.0);
        for (more, s) in run.iter().enumerate() {
            // A quarter touches the first and this one only if those between are shorter than it.
            let between = if more == 0 { 0.0 } else { before };
            minutes += s.minutes;
            least += s.concentration.low() * s.minutes / QUARTER_MIN;
            most = most.zip(s.concentration.high()).map(|(m, c)| m + c * s.minutes / QUARTER_MIN);
            let quarters = (minutes / QUARTER_MIN - 1e-9).ceil().max(1.0);
            low = low.max(least / quarters);
            if between < QUARTER_MIN {
                high = high.zip(most).map(|(a, b)| a.max(b));
            }
            before += if more == 0 { 0.0 } else { s.minutes };
        }
    }
    let low = result("concentration", low)?;
    let high = high.map(|h| result("concentration", h)).transpose()?;
    Ok(Amount::of(low, high))
}
