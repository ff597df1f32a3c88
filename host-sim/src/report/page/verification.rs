//! The flow before and after.

use maud::{Markup, html};

use super::number::{At, figures, nice, none, short, with_unit};
use super::table::{Column, table};
use crate::results::{FlowSet, InShift, SampleResult, Verification};

/// The part of a sampler with a pump.
pub fn part(sample: &SampleResult, at: &At) -> Markup {
    if sample.kind != "pump" && sample.happened.is_none() && sample.verification.is_none() {
        return html! {};
    }
    let at = at.at("verification");
    html! {
        h3 { "Flow verification" }
        @match &sample.verification {
            None => p { "The flow was not verified, or nobody has filled it in: the volume rests on the pump's own sensor." },
            Some(verification) => { (sets(verification, &at)) (outcome(verification, &at)) (checks(verification, &at)) }
        }
    }
}

fn sets(verification: &Verification, at: &At) -> Markup {
    let columns = [
        Column::text("when"),
        Column::figure("readings"),
        Column::figure("mean"),
        Column::text("air"),
        Column::text("meter"),
        Column::text("corrected"),
    ];
    let sets = [("before", &verification.before), ("after", &verification.after)];
    let rows = sets.map(|(key, set)| row(key, set.as_ref(), &at.at(key)));
    table("Read with a flow meter before and after", &columns, rows.into())
}

fn row(key: &str, set: Option<&FlowSet>, at: &At) -> Vec<Markup> {
    let Some(set) = set else {
        return vec![html! { (key) }, html! { span.soft { "not read" } }];
    };
    let readings = set.readings.iter().enumerate().map(|(i, reading)| {
        let at = at.at("readings").at(i);
        html! {
            (at.at("flow-l-per-min").show(reading.flow_l_per_min, &figures(reading.flow_l_per_min, 4)))
            @if let (Some(volume), Some(time)) = (reading.volume_ml, reading.time_s) {
                span.small {
                    (at.at("volume-ml").figures(volume, 4, "mL")) " in " (at.at("time-s").figures(time, 4, "s"))
                }
            }
        }
    });
    vec![
        html! { (key) @if let Some(when) = &set.at { span.small { (when) } } },
        html! { @for (i, reading) in readings.enumerate() { @if i > 0 { " · " } (reading) } },
        html! {
            (at.at("mean-l-per-min").figures(set.mean_l_per_min, 4, "L/min"))
            @if let Some(cv) = set.cv_percent {
                span.small { "CV " (at.at("cv-percent").figures(cv, 2, "%")) }
            }
        },
        html! {
            @if let Some(t) = set.temperature_c { (at.at("temperature-c").show(t, &with_unit(&format!("{t:.1}"), "°C"))) " " }
            @if let Some(p) = set.pressure_kpa { (at.at("pressure-kpa").figures(p, 4, "kPa")) }
            @if set.temperature_c.is_none() && set.pressure_kpa.is_none() { (none()) }
        },
        html! {
            (set.meter.as_deref().unwrap_or("–"))
            @if let Some(kind) = &set.meter_kind { span.small { (kind) } }
            @if let Some(by) = &set.by { span.small { "by " (by) } }
        },
        html! { (nice(&set.correction)) },
    ]
}

fn outcome(verification: &Verification, at: &At) -> Markup {
    let over = match verification.over {
        Some(true) => "above",
        Some(false) => "within",
        None => "not compared with",
    };
    html! {
        p {
            @if let Some(mean) = verification.mean_l_per_min {
                "Mean of before and after " (at.at("mean-l-per-min").figures(mean, 4, "L/min")) ". "
            }
            @if verification.difference_percent.is_some() {
                "After differs from before by " (at.at("difference-percent").percent(verification.difference_percent))
                ", " (over) " the limit of "
            } @else { "The difference is " (over) " the limit of " }
            (at.at("limit-percent").show(verification.limit_percent, &with_unit(&short(verification.limit_percent), "%")))
            @if !verification.limit_source.is_empty() { " (" (verification.limit_source) ")" }
            ". " (nice(&verification.rule))
        }
    }
}

fn checks(verification: &Verification, at: &At) -> Markup {
    if verification.checks.is_empty() {
        return html! {};
    }
    let columns = [
        Column::text("when"),
        Column::figure("flow"),
        Column::figure("beside before"),
        Column::figure("minutes shown"),
        Column::text("by"),
    ];
    let at = at.at("checks");
    let rows = verification.checks.iter().enumerate().map(|(i, check)| check_row(check, &at.at(i)));
    table("Looked at while it ran", &columns, rows.collect())
}

fn check_row(check: &InShift, at: &At) -> Vec<Markup> {
    vec![
        html! { (check.at.as_deref().unwrap_or("not noted")) },
        at.at("flow-l-per-min").maybe(check.flow_l_per_min, 4, "L/min"),
        at.at("difference-percent").percent(check.difference_percent),
        at.at("minutes").maybe(check.minutes, 4, "min"),
        html! { (check.by.as_deref().unwrap_or("–")) },
    ]
}
