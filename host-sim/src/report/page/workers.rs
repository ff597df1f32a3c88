//! Results against limits, a row for each worker, analyte and kind of limit.

use maud::{Markup, html};

use super::head::kind_words;
use super::link;
use super::number::{At, figures, nice, none, short};
use super::table::{Column, table};
use crate::results::{Results, WorkerResult};

/// The section; nothing where there is no worker.
pub fn section(results: &Results, at: &At) -> Markup {
    if results.workers.is_empty() {
        return html! {};
    }
    let columns = [
        Column::text("worker"),
        Column::text("analyte"),
        Column::figure("exposure"),
        Column::figure("of the limit"),
        Column::text("compared"),
        Column::text("samples, time"),
    ];
    let at = at.at("workers");
    let rows = results.workers.iter().enumerate().map(|(i, w)| row(results, w, &at.at(i)));
    html! {
        section id="workers" aria-labelledby="workers-head" {
            h2 id="workers-head" { "Results against limits" }
            (table("Exposure of each worker, with what it was divided by and what it is compared with", &columns, rows.collect()))
        }
    }
}

fn row(results: &Results, worker: &WorkerResult, at: &At) -> Vec<Markup> {
    vec![
        html! {
            (worker.worker)
            @if let Some(job) = &worker.job { span.small { (job) } }
        },
        html! { (worker.analyte) span.small { (kind_words(&worker.kind)) } },
        exposure(worker, at),
        share(worker, at),
        html! { (nice(&worker.verdict)) },
        samples(results, worker, at),
    ]
}

fn exposure(worker: &WorkerResult, at: &At) -> Markup {
    let says = nice(&worker.says);
    html! {
        @if let Some(twa) = worker.twa_mg_m3 {
            (at.at("twa-mg-m3").show(twa, &says))
        } @else if let Some(below) = worker.below_mg_m3 {
            (at.at("below-mg-m3").show(below, &says))
        } @else if let Some(least) = worker.least_mg_m3 {
            (at.at("least-mg-m3").show(least, &says))
        } @else { (says) }
    }
}

/// What it is made of, and what it was divided by.
fn samples(results: &Results, worker: &WorkerResult, at: &At) -> Markup {
    let hours = |value: f64| format!("{}\u{a0}h", short(value));
    html! {
        @for (i, sampler) in worker.samples.iter().enumerate() {
            @if i > 0 { ", " }
            @match results.samples.iter().position(|s| s.sampler == *sampler) {
                Some(place) => (link(&results.samples[place], place)),
                None => (sampler),
            }
        }
        span.small {
            (at.at("sampled-h").show(worker.sampled_h, &hours(worker.sampled_h))) " sampled"
            @if let Some(divisor) = worker.divisor_h {
                ", divided by " (at.at("divisor-h").show(divisor, &hours(divisor)))
                @if worker.divisor_name != "8 h" && !worker.divisor_name.is_empty() { " (" (worker.divisor_name) ")" }
            }
        }
        @if let Some(unsampled) = worker.unsampled_h.filter(|h| *h > 0.0) {
            span.small { (at.at("unsampled-h").show(unsampled, &hours(unsampled))) " of the shift not sampled" }
        }
    }
}

fn share(worker: &WorkerResult, at: &At) -> Markup {
    let Some(share) = worker.share_of_limit_percent else {
        return worker.limit.as_ref().map_or_else(none, |limit| {
            html! {
                (none())
                span.small {
                    "of " (at.at("limit").at("value-mg-m3").show(limit.value_mg_m3, &nice(&limit.says)))
                    ", " (nice(kind_words(&limit.kind)))
                }
            }
        });
    };
    let ratio = |value: f64| figures(value, 2);
    html! {
        (at.at("share-of-limit-percent").share(share, worker.below_mg_m3, worker.least_mg_m3))
        (bar(share))
        @if let Some(limit) = &worker.limit {
            span.small {
                "of " (at.at("limit").at("value-mg-m3").show(limit.value_mg_m3, &nice(&limit.says)))
                ", " (nice(kind_words(&limit.kind)))
            }
        }
        @if let (Some(lcl), Some(ucl)) = (worker.lcl, worker.ucl) {
            span.small {
                "confidence limits " span.keep { (at.at("lcl").show(lcl, &ratio(lcl))) " and " (at.at("ucl").show(ucl, &ratio(ucl))) }
            }
        }
    }
}

/// A share as a bar; what is over the whole fills it.
pub fn bar(percent: f64) -> Markup {
    let width = if percent.is_finite() { percent.clamp(0.0, 100.0) } else { 0.0 };
    html! { span.bar aria-hidden="true" { span style={ "width:" (format!("{width:.1}")) "%" } {} } }
}
