//! A worker's exposure, from the samples of the worker.

use super::Limit;
use super::laboratory::WorkerResult;
use crate::event::{Field, Group, Worker};
use crate::hygiene::confidence::{self, consecutive, single};
use crate::hygiene::exposure::{Divisor, Stretch, Unsampled, Verdict, compare, mean, short_term};
use crate::hygiene::round::figures;
use crate::hygiene::{Amount, at_least};

/// A sample that has a concentration.
pub(super) struct Part {
    pub sampler: String,
    pub worker: String,
    pub analyte: String,
    pub group: Option<Group>,
    pub duplicate: bool,
    pub minutes: f64,
    pub concentration: Amount,
    /// From the beginning to the end, in ms, where the clock was trusted.
    pub window: Option<(u64, u64)>,
}

/// A pump stops within seconds of a quarter of an hour: so close counts as one (common practice, no source).
pub(super) const QUARTER_MIN: f64 = 15.0;
const NEAR_MIN: f64 = 10.0 / 60.0;

/// The minutes of a short-term sample, a quarter of an hour where it is as good as one.
pub(super) fn quarter(minutes: f64) -> f64 {
    if (minutes - QUARTER_MIN).abs() <= NEAR_MIN { QUARTER_MIN } else { minutes }
}

/// Every worker's results; what is assumed and missing goes to the two lists.
pub(super) fn results(
    field: &Field,
    parts: &[Part],
    limits: &[Limit],
    assumptions: &mut Vec<String>,
    missing: &mut Vec<String>,
) -> Vec<WorkerResult> {
    let mut found = Vec::new();
    for worker in &field.workers {
        let own: Vec<&Part> = parts.iter().filter(|p| p.worker == worker.id.is).collect();
        let mut analytes: Vec<&str> = Vec::new();
        for part in &own {
            if !analytes.iter().any(|a| a.eq_ignore_ascii_case(&part.analyte)) {
                analytes.push(&part.analyte);
            }
        }
        for analyte in analytes {
            let of = |groups: &[Option<Group>]| -> Vec<&Part> {
                let fits = |p: &&&Part| {
                    p.analyte.eq_ignore_ascii_case(analyte) && groups.contains(&p.group)
                };
                own.iter().filter(fits).copied().filter(|p| !p.duplicate).collect()
            };
            let shift = of(&[None, Some(Group::Shift)]);
            let tasks = of(&[Some(Group::Task)]);
            // A task is a part of the shift: where the shift was sampled, it is not counted twice.
            let of_twa = if shift.is_empty() { &tasks } else { &shift };
            let limit = |kinds: &[&str]| {
                limits.iter().find(|l| {
                    let fits = l.analyte.as_ref().is_none_or(|a| a.eq_ignore_ascii_case(analyte));
                    fits && kinds.contains(&l.kind.as_str())
                })
            };
            if !of_twa.is_empty() {
                let twa = limit(&["twa-8h"]);
                found.push(average(worker, analyte, of_twa, twa, assumptions, missing));
            }
            if !shift.is_empty() && !tasks.is_empty() {
                let ids: Vec<&str> = tasks.iter().map(|t| t.sampler.as_str()).collect();
                assumptions.push(format!(
                    "{}: {} of a task within the shift; the average is of the shift's samples alone",
                    worker.id.is,
                    ids.join(", ")
                ));
            }
            let short = of(&[Some(Group::ShortTerm)]);
            if !short.is_empty() {
                found.push(highest(worker, analyte, &short, limit(&["short-term", "ceiling"])));
            }
        }
    }
    found
}

fn head(worker: &Worker, analyte: &str, kind: &str, parts: &[&Part]) -> WorkerResult {
    WorkerResult {
        worker: worker.id.is.clone(),
        job: worker.job.clone(),
        shift_h: worker.shift_min.map(|m| m / 60.0),
        analyte: analyte.to_owned(),
        kind: kind.to_owned(),
        sampled_h: parts.iter().map(|p| p.minutes).sum::<f64>() / 60.0,
        samples: parts.iter().map(|p| p.sampler.clone()).collect(),
        ..WorkerResult::default()
    }
}

fn overlap<'a>(parts: &[&'a Part]) -> Option<(&'a str, &'a str)> {
    for (i, a) in parts.iter().enumerate() {
        for b in parts.iter().skip(i + 1) {
            // Samples that follow each other may touch: a minute is no overlap.
            if let (Some((a0, a1)), Some((b0, b1))) = (a.window, b.window)
                && a0.max(b0) + 60_000 < a1.min(b1)
            {
                return Some((&a.sampler, &b.sampler));
            }
        }
    }
    None
}

fn average(
    worker: &Worker,
    analyte: &str,
    parts: &[&Part],
    limit: Option<&Limit>,
    assumptions: &mut Vec<String>,
    missing: &mut Vec<String>,
) -> WorkerResult {
    let id = &worker.id.is;
    let mut r = head(worker, analyte, "twa", parts);
    let divisor = worker.divisor.unwrap_or(Divisor::EightHours);
    r.divisor_name = match divisor {
        Divisor::EightHours => "8 h".to_owned(),
        Divisor::HoursExposed => "time exposed".to_owned(),
    };
    r.limit = limit.cloned();
    if let Some((a, b)) = overlap(parts) {
        r.verdict = format!(
            "not computed: {a} and {b} overlap in time; set group = \"task\" or duplicate-of for one of them"
        );
        r.says = "not computed".to_owned();
        return r;
    }
    let sampled: f64 = parts.iter().map(|p| p.minutes).sum();
    let unsampled = worker.shift_min.map_or(0.0, |shift| (shift - sampled).max(0.0));
    r.unsampled_h = worker.shift_min.map(|_| unsampled / 60.0);
    // What a pump takes to start and stop is no time without a sample.
    let counts = unsampled > 1.0;
    let assumed = worker.unsampled.unwrap_or(Unsampled::Unknown);
    if counts {
        let minutes = figures(unsampled, 3);
        if worker.unsampled.is_none() {
            missing.push(format!(
                "{id}: unsampled, what is assumed of {minutes} min of the shift without a sample: \"not-exposed\", \"as-sampled\" or \"unknown\""
            ));
        }
        assumptions.push(format!(
            "{id}: {minutes} min of the shift without a sample, {}",
            assumed.words()
        ));
    }
    if worker.divisor.is_none() {
        assumptions.push(format!(
            "{id}: averaged over 8 h (29 CFR 1910.1000(d)(1)(i)), as nothing else is given"
        ));
    }
    let stretches: Vec<Stretch> = parts
        .iter()
        .map(|p| Stretch { minutes: p.minutes, concentration: p.concentration })
        .collect();
    let rest = (if counts { unsampled } else { 0.0 }, assumed);
    let Ok(found) = mean(&stretches, divisor, rest) else {
        r.verdict = "not computed".to_owned();
        r.says = "not computed".to_owned();
        return r;
    };
    r.divisor_h = Some(found.divisor_minutes / 60.0);
    put(&mut r, found.value);
    confidence(&mut r, parts, found.value, limit);
    r
}

/// The value in its three fields, as a person reads it, and beside the limit.
fn put(r: &mut WorkerResult, value: Amount) {
    (r.twa_mg_m3, r.below_mg_m3, r.least_mg_m3) = match value {
        Amount::Found(x) => (Some(x), None, None),
        Amount::Below(x) => (None, Some(x), None),
        Amount::Between(a, b) => (None, Some(b), Some(a)),
        Amount::AtLeast(a) => (None, None, Some(a)),
    };
    r.says = value.text(if r.twa_mg_m3.is_some() { 3 } else { 2 }, "mg/m3").unwrap_or_default();
    let Some(limit) = &r.limit else {
        r.verdict = "no limit given to compare with".to_owned();
        return;
    };
    match compare(value, limit.value_mg_m3) {
        Ok(compared) => {
            let share = compared.share.high().unwrap_or(compared.share.low());
            r.share_of_limit_percent = Some(100.0 * share);
            r.verdict = match (compared.verdict, value) {
                (Verdict::CannotTell, Amount::AtLeast(_)) => {
                    "cannot be told: only a lower bound is known".to_owned()
                }
                (verdict, _) => verdict.words().to_owned(),
            };
        }
        Err(p) => r.verdict = p.to_string(),
    }
}

/// Limits of confidence, where the error of sampling and analysis is given and every sample has a number.
fn confidence(r: &mut WorkerResult, parts: &[&Part], value: Amount, limit: Option<&Limit>) {
    let (Some(limit), Amount::Found(value)) = (limit, value) else { return };
    let Some(sae) = limit.sae else { return };
    let samples: Option<Vec<confidence::Sample>> = parts
        .iter()
        .map(|p| match p.concentration {
            Amount::Found(found) => Some(confidence::Sample { minutes: p.minutes, found }),
            _ => None,
        })
        .collect();
    let Some(samples) = samples else { return };
    let computed = match samples.as_slice() {
        [_] => single(value, limit.value_mg_m3, sae),
        _ => consecutive(&samples, limit.value_mg_m3, sae).and_then(|of_samples| {
            // The share is that of the average; the relative error is that of the samples.
            let relative = (of_samples.upper - of_samples.severity) / of_samples.severity;
            single(value, limit.value_mg_m3, 0.0).map(|l| {
                let error = l.severity * relative;
                confidence::Limits { lower: l.severity - error, upper: l.severity + error, ..l }
            })
        }),
    };
    let Ok(l) = computed else { return };
    (r.lcl, r.ucl, r.sae) = (Some(l.lower), Some(l.upper), Some(sae));
    let class = if l.lower > 1.0 {
        confidence::Class::Violation
    } else if l.upper > 1.0 {
        confidence::Class::Possible
    } else {
        confidence::Class::NoViolation
    };
    r.verdict = class.words().to_owned();
}

/// The largest mean over a quarter of an hour.
fn highest(worker: &Worker, analyte: &str, parts: &[&Part], limit: Option<&Limit>) -> WorkerResult {
    let kind = limit.map_or("short-term", |l| l.kind.as_str());
    let mut r = head(worker, analyte, kind, parts);
    r.divisor_name = "15 min".to_owned();
    r.divisor_h = Some(0.25);
    r.limit = limit.cloned();
    let means = parts.iter().filter_map(|p| {
        let stretch = Stretch { minutes: quarter(p.minutes), concentration: p.concentration };
        short_term(stretch, Unsampled::Unknown).ok()
    });
    let largest = means.reduce(|a, b| {
        // The bounds of a maximum are the maxima of the bounds.
        let low = a.low().max(b.low());
        match (a.high(), b.high()) {
            (Some(x), Some(y)) if x.max(y) == low => Amount::Found(low),
            (Some(x), Some(y)) if low == 0.0 => Amount::Below(x.max(y)),
            (Some(x), Some(y)) => Amount::Between(low, x.max(y)),
            _ => Amount::AtLeast(low),
        }
    });
    match largest {
        Some(value) => {
            put(&mut r, value);
            if let (Some(limit), Some(x)) = (limit, r.twa_mg_m3)
                && at_least(x, limit.value_mg_m3)
                && parts.len() > 1
            {
                r.verdict.push_str("; the largest of the samples counts");
            }
        }
        None => "not computed".clone_into(&mut r.says),
    }
    r
}
