//! A worker's exposure, from the samples of the worker.

use super::laboratory::WorkerResult;
use super::{Limit, limits};
use crate::event::{Field, Group, Worker};
use crate::hygiene::confidence::{self, consecutive, single};
use crate::hygiene::exposure::{
    Divisor, Stretch, Unsampled, Verdict, compare, highest_quarter, mean,
};
use crate::hygiene::round::figures;
use crate::hygiene::{Amount, at_least};

/// A sample that has a concentration.
#[derive(Clone)]
pub(super) struct Part {
    pub sampler: String,
    pub worker: String,
    pub analyte: String,
    pub group: Option<Group>,
    pub duplicate: bool,
    pub minutes: f64,
    pub concentration: Amount,
    /// What makes it one at 25 °C and 760 mm Hg, where the air was measured.
    pub at_reference: Option<f64>,
    /// What it may be off by, of itself, at a level of 95 % on one side: 1.645 times its relative standard uncertainty; where it has a budget.
    pub relative_95: Option<f64>,
    /// There is no result of it yet: at least nothing, and no one knows how much. Without an analyte it may be of any.
    pub pending: bool,
    /// From the beginning to the end, in ms, where the clock was trusted.
    pub window: Option<(u64, u64)>,
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
        for part in own.iter().filter(|p| !p.analyte.is_empty()) {
            if !analytes.iter().any(|a| a.eq_ignore_ascii_case(&part.analyte)) {
                analytes.push(&part.analyte);
            }
        }
        if analytes.is_empty() {
            found.push(without_result(worker, &own));
        }
        for analyte in analytes {
            let of_analyte = |p: &&Part| p.analyte.eq_ignore_ascii_case(analyte);
            // A sampler that waits for the laboratory beside one of this analyte is for another.
            let waits = |p: &&Part| {
                p.analyte.is_empty()
                    && !own.iter().filter(|o| of_analyte(o)).any(|o| overlap(&[o, p]).is_some())
            };
            let of = |groups: &[Option<Group>]| -> Vec<&Part> {
                let fits = |p: &&&Part| (of_analyte(p) || waits(p)) && groups.contains(&p.group);
                own.iter().filter(fits).copied().filter(|p| !p.duplicate).collect()
            };
            let shift = of(&[None, Some(Group::Shift)]);
            let tasks = of(&[Some(Group::Task)]);
            // A task is a part of the shift: where the shift was sampled, it is not counted twice.
            let of_twa = if shift.is_empty() { &tasks } else { &shift };
            let of_kind = |kinds: &[&str]| -> Vec<Option<&Limit>> {
                let fits = |l: &&Limit| l.is_of(analyte) && kinds.contains(&l.kind.as_str());
                limits.iter().filter(fits).map(Some).collect()
            };
            // Compared with each limit that there is, and shown once where there is none.
            if !of_twa.is_empty() {
                for limit in or_none(of_kind(&["twa-8h"])) {
                    found.push(average(worker, analyte, of_twa, limit, assumptions, missing));
                }
            }
            if !shift.is_empty() && !tasks.is_empty() {
                let ids: Vec<&str> = tasks.iter().map(|t| t.sampler.as_str()).collect();
                push_once(
                    assumptions,
                    format!(
                        "{}: {} of a task within the shift; the average is of the shift's samples alone",
                        worker.id.is,
                        ids.join(", ")
                    ),
                );
            }
            let short = of(&[Some(Group::ShortTerm)]);
            let short_limits = of_kind(&["short-term", "ceiling"]);
            if !short.is_empty() {
                for limit in or_none(short_limits) {
                    found.push(highest(worker, analyte, &short, limit, assumptions));
                }
            } else if !of_twa.is_empty() {
                // What was drawn over a shift says of its quarters of an hour that one has its mean at the least.
                for limit in short_limits.into_iter().flatten() {
                    push_once(
                        missing,
                        format!(
                            "{}: a short-term sample of {analyte}, which the {} limit of {} asks for",
                            worker.id.is, limit.kind, limit.says
                        ),
                    );
                    found.push(highest(worker, analyte, of_twa, Some(limit), assumptions));
                }
            }
        }
    }
    found
}

/// What is compared with no limit is still shown once.
fn or_none(all: Vec<Option<&Limit>>) -> Vec<Option<&Limit>> {
    if all.is_empty() { vec![None] } else { all }
}

fn push_once(all: &mut Vec<String>, line: String) {
    if !all.contains(&line) {
        all.push(line);
    }
}

/// The samples as a limit takes them.
fn referred(parts: &[&Part], limit: Option<&Limit>, notes: &mut Vec<String>) -> Vec<Part> {
    let as_it_takes = |p: &&Part| {
        let own = p.concentration;
        let at = |l: &Limit| limits::referred(l, own, p.at_reference, notes);
        Part { concentration: limit.map_or(own, at), ..(*p).clone() }
    };
    parts.iter().map(as_it_takes).collect()
}

/// A worker of whom nothing is known yet is told, or who reads the table sees only the others.
fn without_result(worker: &Worker, parts: &[&Part]) -> WorkerResult {
    let ids: Vec<&str> = parts.iter().map(|p| p.sampler.as_str()).collect();
    WorkerResult {
        says: "no result".to_owned(),
        verdict: if ids.is_empty() {
            "no result: no sample of this worker has a record".to_owned()
        } else {
            format!("no result yet of {}", ids.join(", "))
        },
        ..head(worker, "-", "twa", parts)
    }
}

/// What is so where the result of a sample is not there yet.
fn tell_pending(r: &mut WorkerResult, parts: &[Part], at_reference: bool) {
    let pending: Vec<&str> =
        parts.iter().filter(|p| p.pending).map(|p| p.sampler.as_str()).collect();
    if !pending.is_empty() {
        let of = format!("no result yet of {}", pending.join(", "));
        r.verdict = match pending.len() == parts.len() {
            true => of,
            false => format!("{}; {of}", r.verdict),
        };
    }
    if at_reference && r.says != "not known" {
        r.says.push_str(" at 25 °C, 760 mm Hg");
    }
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
    if let Some(shift) = worker.shift_min.filter(|shift| sampled > shift * 1.05 + 1.0) {
        r.verdict = format!(
            "not computed: {} min were sampled in a shift of {} min; correct the shift, or whose samples these are",
            figures(sampled, 3),
            figures(shift, 3)
        );
        r.says = "not computed".to_owned();
        return r;
    }
    let (unsampled, of) = match (worker.shift_min, divisor) {
        (Some(shift), _) => ((shift - sampled).max(0.0), "the shift"),
        // How long the shift was is not known: that of the 8 h which no sample covers is not, either.
        (None, Divisor::EightHours) => ((480.0 - sampled).max(0.0), "8 h (its shift is not given)"),
        (None, Divisor::HoursExposed) => (0.0, ""),
    };
    r.unsampled_h = worker.shift_min.map(|_| unsampled / 60.0);
    // What a pump takes to start and stop is no time without a sample.
    let counts = unsampled > 1.0;
    let assumed = worker.unsampled.unwrap_or(Unsampled::Unknown);
    if counts {
        let minutes = figures(unsampled, 3);
        if worker.unsampled.is_none() {
            push_once(
                missing,
                format!(
                    "{id}: unsampled, what is assumed of {minutes} min of {of} without a sample: \"not-exposed\", \"as-sampled\" or \"unknown\""
                ),
            );
        }
        push_once(
            assumptions,
            format!("{id}: {minutes} min of {of} without a sample, {}", assumed.words()),
        );
    }
    if worker.shift_min.is_none() && divisor == Divisor::HoursExposed {
        push_once(
            assumptions,
            format!("{id}: the shift is not given; it is taken to be the time that was sampled"),
        );
    }
    if worker.divisor.is_none() {
        push_once(
            assumptions,
            format!(
                "{id}: averaged over 8 h (29 CFR 1910.1000(d)(1)(i)), as nothing else is given"
            ),
        );
    }
    let parts = referred(parts, limit, assumptions);
    let parts: &[Part] = &parts;
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
    if limit.is_some_and(|l| l.sae.is_some()) {
        confidence(&mut r, parts, found.value, limit);
    } else {
        near_the_limit(&mut r, parts, found.value);
    }
    tell_pending(&mut r, parts, limit.is_some_and(|l| l.in_ppm));
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
    if value == Amount::AtLeast(0.0) {
        // Nothing was found in what was sampled, and of the rest nothing is known: no number can be given.
        r.least_mg_m3 = None;
        r.says = "not known".to_owned();
        r.verdict = "cannot be told: nothing was found in the time that was sampled, and the rest is not known".to_owned();
        return;
    }
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

/// Without a sampling and analytical error, the uncertainty of the samples: where the limit lies within it, that is said.
fn near_the_limit(r: &mut WorkerResult, parts: &[Part], value: Amount) {
    let (Some(limit), Amount::Found(x)) = (&r.limit, value) else { return };
    let limit = limit.value_mg_m3;
    match parts.iter().map(|p| p.relative_95).collect::<Option<Vec<f64>>>() {
        None => r.verdict.push_str("; how sure that is, is not known: a flow was not verified"),
        Some(all) => {
            // An average is no less sure than the least sure of its samples.
            let u = all.into_iter().fold(0.0, f64::max);
            if (x * (1.0 - u)..=x * (1.0 + u)).contains(&limit) {
                let words = if x > limit { "over the limit" } else { "cannot be told" };
                r.verdict = format!(
                    "{words}: the limit lies within the uncertainty of {} % (95 %)",
                    figures(100.0 * u, 2)
                );
            }
        }
    }
}

/// Limits of confidence, where the error of sampling and analysis is given and every sample has a number.
fn confidence(r: &mut WorkerResult, parts: &[Part], value: Amount, limit: Option<&Limit>) {
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
    if let Some(part) = parts.iter().find(|p| p.relative_95.is_none()) {
        // What is over the limit as it stands is not made less by that.
        let so = if value > limit.value_mg_m3 { "over the limit" } else { "cannot be told" };
        r.verdict = format!(
            "{so}: how sure {} is, is not known, for its flow was not verified",
            part.sampler
        );
        (r.lcl, r.ucl) = (None, None);
        return;
    }
    let worst = parts.iter().filter_map(|p| p.relative_95).fold(0.0, f64::max);
    r.verdict = if worst > sae && class != confidence::Class::Violation {
        format!(
            "cannot be told: these samples are off by up to {} % (95 %), more than the sampling and analytical error of {} %",
            figures(100.0 * worst, 2),
            figures(100.0 * sae, 2)
        )
    } else {
        class.words().to_owned()
    };
}

/// Samples by when they began, in runs that have no gap: a tube is changed within a minute (common practice, no source).
fn consecutive_runs(mut parts: Vec<Part>) -> Vec<Vec<Part>> {
    parts.sort_by_key(|p| p.window);
    let mut runs: Vec<Vec<Part>> = Vec::new();
    for part in parts {
        let ended = runs.last().and_then(|run| run.last()?.window).map(|w| w.1);
        let follows =
            ended.zip(part.window).is_some_and(|(end, (begin, _))| begin.abs_diff(end) <= 60_000);
        match runs.last_mut() {
            Some(run) if follows => run.push(part),
            _ => runs.push(vec![part]),
        }
    }
    runs
}

/// The largest mean over a quarter of an hour.
fn highest(
    worker: &Worker,
    analyte: &str,
    parts: &[&Part],
    limit: Option<&Limit>,
    assumptions: &mut Vec<String>,
) -> WorkerResult {
    let kind = limit.map_or("short-term", |l| l.kind.as_str());
    let mut r = head(worker, analyte, kind, parts);
    r.divisor_name = "15 min".to_owned();
    r.divisor_h = Some(0.25);
    r.limit = limit.cloned();
    let parts = referred(parts, limit, assumptions);
    let all = parts.clone();
    let several = parts.len() > 1;
    let means = consecutive_runs(parts).into_iter().filter_map(|run| {
        let stretches: Vec<Stretch> = run
            .iter()
            .map(|p| Stretch { minutes: p.minutes, concentration: p.concentration })
            .collect();
        let found = highest_quarter(&stretches, Unsampled::Unknown).ok()?;
        if run.len() > 1 {
            let ids: Vec<&str> = run.iter().map(|p| p.sampler.as_str()).collect();
            let line = format!(
                "{}: {} follow one another and are put together",
                worker.id.is,
                ids.join(", ")
            );
            push_once(assumptions, line);
        }
        Some(found.value)
    });
    let largest = means.reduce(Amount::larger);
    match largest {
        Some(value) => {
            put(&mut r, value);
            near_the_limit(&mut r, &all, value);
            if let (Some(limit), Some(x)) = (limit, r.twa_mg_m3)
                && at_least(x, limit.value_mg_m3)
                && several
            {
                r.verdict.push_str("; the largest of the samples counts");
            }
        }
        None => "not computed".clone_into(&mut r.says),
    }
    tell_pending(&mut r, &all, limit.is_some_and(|l| l.in_ppm));
    r
}
