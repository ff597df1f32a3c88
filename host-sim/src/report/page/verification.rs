//! The flow before and after.

use maud::{Markup, html};

use super::notes::Notes;
use super::number::{At, figures, none, short, with_unit};
use super::table::{Column, table};
use crate::results::{FlowSet, InShift, SampleResult, Verification};

/// The part of a sampler with a pump.
pub fn part(sample: &SampleResult, at: &At, notes: &Notes) -> Markup {
    if sample.kind != "pump" && sample.happened.is_none() && sample.verification.is_none() {
        return html! {};
    }
    let at = at.at("verification");
    html! {
        h3 { "Flow verification" }
        @match &sample.verification {
            None => p { "The flow was not verified, or nobody has filled it in: the volume rests on the pump's own sensor." },
            Some(verification) => { (sets(verification, &at, notes)) (outcome(verification, &at, notes)) (checks(verification, &at)) }
        }
    }
}

fn sets(verification: &Verification, at: &At, notes: &Notes) -> Markup {
    let columns = [
        Column::text("when"),
        Column::figure("readings"),
        Column::figure("mean"),
        Column::text("air"),
        Column::text("meter"),
        Column::text("read by"),
    ];
    let sets = [("before", &verification.before), ("after", &verification.after)];
    let rows = sets.map(|(key, set)| row(key, set.as_ref(), &at.at(key), notes));
    table("Read with a flow meter before and after", &columns, rows.into())
}

fn row(key: &str, set: Option<&FlowSet>, at: &At, notes: &Notes) -> Vec<Markup> {
    let Some(set) = set else {
        return vec![html! { (key) }, html! { span.soft { "not read" } }];
    };
    vec![
        html! { (key) @if let Some(when) = &set.at { span.small { (when) } } },
        readings(set, at),
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
            @if let Some(kind) = &set.meter_kind { ", " (kind) }
            " " (notes.refer(&format!("flow meter: {}", set.correction)))
        },
        html! { (set.by.as_deref().unwrap_or("–")) },
    ]
}

/// "2.001 · 2.000 · 1.987", and below them what was timed.
fn readings(set: &FlowSet, at: &At) -> Markup {
    let at = at.at("readings");
    let all = || set.readings.iter().enumerate();
    let timed = set.readings.iter().any(|r| r.time_s.is_some());
    let first = set.readings.first().and_then(|r| r.volume_ml);
    let same = set.readings.iter().all(|r| r.volume_ml == first);
    html! {
        @for (i, r) in all() {
            @if i > 0 { " · " }
            (at.at(i).at("flow-l-per-min").show(r.flow_l_per_min, &figures(r.flow_l_per_min, 4)))
        }
        @if timed {
            span.small {
                @for (i, r) in all() {
                    @let at = at.at(i);
                    @if i > 0 { " · " }
                    @if let Some(volume) = r.volume_ml.filter(|_| i == 0 || !same) {
                        (at.at("volume-ml").figures(volume, 4, "mL")) " in "
                    }
                    (at.at("time-s").maybe(r.time_s, 4, "s"))
                }
            }
        }
    }
}

fn outcome(verification: &Verification, at: &At, notes: &Notes) -> Markup {
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
            ". " (notes.refer(&format!("flow verification: {}", verification.rule)))
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
