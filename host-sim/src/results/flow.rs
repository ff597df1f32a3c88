//! Flow verification, from the readings on a field sheet.

use super::sample::{FlowReading, FlowSet, InShift, Verification};
use super::{Flag, flags};
use crate::event::{FlowReadings, Sampler};
use crate::hygiene::air::{Conditions, MeterKind, MeterRead, at_site};
use crate::hygiene::round::{figures, signed_percent};
use crate::hygiene::verify::{FlowChoice, Limit, Measured, Reading, measure, off, verify};

/// What was measured, and what is shown of it.
pub(super) struct Set {
    pub shown: FlowSet,
    pub measured: Measured,
    pub flow_l_per_min: f64,
    pub meter_u_percent: Option<f64>,
}

/// A verification with what later steps need of it.
pub(super) struct Verified {
    pub shown: Verification,
    pub before: Option<Set>,
    pub after: Option<Set>,
    pub flags: Vec<Flag>,
    pub notes: Vec<String>,
}

impl Verified {
    /// The flow before, else that after, beside the planned one.
    pub fn required(&self, planned: Option<f64>, rule: &Rule) -> Option<Flag> {
        let (which, set) = match (&self.before, &self.after) {
            (Some(set), _) => ("before", set),
            (None, Some(set)) => ("after", set),
            (None, None) => return None,
        };
        let flow = set.flow_l_per_min;
        let (difference, over) = off(flow, planned?, rule.required).ok()?;
        let says = format!(
            "{which} {} L/min, planned {} L/min: {}",
            figures(flow, 4),
            figures(planned?, 4),
            signed_percent(difference)
        );
        over.then(|| flags::flag("off-required", says))
    }

    /// The flow that is multiplied with time: the mean, or the only one.
    pub fn flow_l_per_min(&self) -> Option<f64> {
        match (&self.before, &self.after) {
            (Some(_), Some(_)) => self.shown.mean_l_per_min,
            (Some(one), None) | (None, Some(one)) => Some(one.flow_l_per_min),
            (None, None) => None,
        }
    }
}

/// The limits of a verification, and where the first comes from.
#[derive(Clone, Debug)]
pub(super) struct Rule {
    /// Between before and after, and between the pump and the meter.
    pub limit: Limit,
    /// Between before and what is planned.
    pub required: Limit,
    pub source: String,
}

/// Verifies a sampler's flow.
pub(super) fn verified(sampler: &Sampler, rule: &Rule) -> Verified {
    let mut flags = Vec::new();
    let mut notes = Vec::new();
    // The readings nearest to the sample: the last before, the first after.
    let last = sampler.before.iter().max_by_key(|r| r.when.as_ref().map(|w| w.is));
    let first = sampler.after.iter().min_by_key(|r| r.when.as_ref().map(|w| w.is));
    // A difference between a flow that is corrected and one that is not would be no drift: both or neither.
    let correct = !last.into_iter().chain(first).any(|r| read(r, 1.0).lacks_air());
    let before = last.and_then(|r| set(r, correct, &mut flags, &mut notes));
    let after = first.and_then(|r| set(r, correct, &mut flags, &mut notes));
    for (which, set) in [("before", &before), ("after", &after)] {
        let Some(set) = set else { continue };
        if set.measured.is_apart(rule.limit) {
            let flows = || set.shown.readings.iter().map(|r| r.flow_l_per_min);
            let (least, most) = (flows().fold(f64::MAX, f64::min), flows().fold(0.0, f64::max));
            let apart = set.measured.spread_percent.unwrap_or(0.0);
            let says = format!(
                "{which}: {} to {} L/min, {} % apart",
                figures(least, 4),
                figures(most, 4),
                figures(apart, 2)
            );
            flags.push(super::flags::flag("readings-apart", says));
        }
    }
    for (which, all) in [("before", &sampler.before), ("after", &sampler.after)] {
        if all.len() > 1 {
            let used = if which == "before" { "the last" } else { "the first" };
            notes.push(format!(
                "{}: {} verifications {which}; {used} is used",
                sampler.id.is,
                all.len()
            ));
        }
    }
    let (b, a) = (before.as_ref(), after.as_ref());
    let found = b.and_then(|b| {
        let after = a.map(|a| a.flow_l_per_min);
        let choice = if after.is_some() { FlowChoice::Mean } else { FlowChoice::BeforeOnly };
        verify(b.flow_l_per_min, after, rule.limit, choice).ok()
    });
    let difference_percent = found.and_then(|v| v.difference_percent);
    let over = difference_percent.map(|d| rule.limit.is_passed_by(d));
    let limit_words = format!("{} %", figures(rule.limit.percent, 2).trim_end_matches(".0"));
    if let (Some(true), Some(d)) = (over, difference_percent) {
        let says = format!("{} from before to after, limit {limit_words}", signed_percent(d));
        flags.push(super::flags::flag("verification-drift", says));
    }
    match (b, a) {
        (Some(_), Some(_)) => {}
        (Some(_), None) => flags.push(flags::flag("not-verified", "no flow after")),
        (None, Some(_)) => flags.push(flags::flag("not-verified", "no flow before")),
        (None, None) => flags.push(flags::flag("not-verified", "no flow before, none after")),
    }
    let mut checks = Vec::new();
    for check in &sampler.checks {
        let difference = b
            .zip(check.flow_l_per_min)
            .map(|(b, flow)| 100.0 * ((flow - b.flow_l_per_min) / b.flow_l_per_min));
        let at = check.when.as_ref().map(|w| w.says.clone());
        if let Some(d) = difference.filter(|d| rule.limit.is_passed_by(*d)) {
            let says =
                format!("{}: {}", at.as_deref().unwrap_or("at some time"), signed_percent(d));
            flags.push(super::flags::flag("in-shift-off", says));
        }
        checks.push(InShift {
            at,
            flow_l_per_min: check.flow_l_per_min,
            minutes: check.minutes,
            by: check.by.clone(),
            difference_percent: difference,
        });
    }
    let from = if rule.limit.from_it_on { "of or over" } else { "over" };
    Verified {
        shown: Verification {
            before: before.as_ref().map(|s| s.shown.clone()),
            after: after.as_ref().map(|s| s.shown.clone()),
            checks,
            mean_l_per_min: found
                .filter(|v| v.after_l_per_min.is_some())
                .map(|v| v.flow_used_l_per_min),
            difference_percent,
            limit_percent: rule.limit.percent,
            limit_source: rule.source.clone(),
            over,
            rule: format!(
                "(after - before) / before; a difference {from} {limit_words} flags the sample for review ({})",
                rule.source
            ),
        },
        before,
        after,
        flags,
        notes,
    }
}

fn conditions(c: Option<f64>, kpa: Option<f64>) -> Option<Conditions> {
    Conditions::new(c?, kpa?).ok()
}

/// What a meter read, with its air.
fn read(r: &FlowReadings, flow_l_per_min: f64) -> MeterRead {
    MeterRead {
        flow_l_per_min,
        meter: r.meter_kind.unwrap_or(MeterKind::Other),
        calibration: conditions(r.calibrated_c, r.calibrated_kpa),
        site: conditions(r.temperature_c, r.pressure_kpa),
    }
}

fn set(
    r: &FlowReadings,
    correct: bool,
    flags: &mut Vec<Flag>,
    notes: &mut Vec<String>,
) -> Option<Set> {
    let reading = if r.runs.is_empty() {
        Reading::Flows(&r.flows_l_per_min)
    } else {
        Reading::Timed(&r.runs)
    };
    let measured = measure(reading).ok()?;
    if measured.too_few_runs {
        flags.push(flags::flag("few-timings", format!("{} timed", measured.count)));
    }
    let MeterRead { flow_l_per_min, meter: kind, calibration, site } =
        read(r, measured.flow_l_per_min);
    let uncorrected = kind == MeterKind::Rotameter && !correct;
    let at = at_site(flow_l_per_min, kind, calibration, site.filter(|_| !uncorrected)).ok()?;
    if uncorrected {
        flags.push(flags::flag("meter-not-corrected", "a rotameter"));
    }
    if kind == MeterKind::Rotameter && !uncorrected {
        notes.push(format!(
            "a rotameter's flow was multiplied by {} for the air of the site (NMAM chapter D section 7a)",
            figures(at.factor, 4)
        ));
    }
    let readings = if r.runs.is_empty() {
        r.flows_l_per_min
            .iter()
            .map(|f| FlowReading { flow_l_per_min: *f, volume_ml: None, time_s: None })
            .collect()
    } else {
        r.runs
            .iter()
            .map(|run| FlowReading {
                flow_l_per_min: run.volume_ml / run.time_s * 0.06,
                volume_ml: Some(run.volume_ml),
                time_s: Some(run.time_s),
            })
            .collect()
    };
    let cv = measured.deviation_l_per_min.map(|d| 100.0 * d / measured.flow_l_per_min);
    Some(Set {
        shown: FlowSet {
            at: r.when.as_ref().map(|w| w.says.clone()),
            readings,
            mean_l_per_min: at.flow_l_per_min,
            cv_percent: cv,
            temperature_c: r.temperature_c,
            pressure_kpa: r.pressure_kpa,
            meter: r.meter.clone(),
            meter_kind: r.meter_kind.map(|k| crate::event::meter_word(k).to_owned()),
            by: r.by.clone(),
            correction: at.why.to_owned(),
        },
        measured,
        flow_l_per_min: at.flow_l_per_min,
        meter_u_percent: r.meter_u_percent,
    })
}
