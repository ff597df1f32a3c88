//! All samplers at a glance: a row for each, with its flow as a small multiple.

use maud::{Markup, html};

use super::chart::{Common, spark};
use super::number::{At, nice, none};
use super::table::{Column, table};
use super::{flags, laboratory};
use crate::results::{Results, SampleResult};

/// The section; a single sampler needs none.
pub fn section(results: &Results, at: &At) -> Markup {
    if results.samples.len() < 2 {
        return html! {};
    }
    let common = Common::of(results);
    let columns = [
        Column::text("sampler"),
        Column::text("worn by"),
        Column::text("flow over time"),
        Column::figure("volume"),
        Column::figure("laboratory"),
        Column::text("flags"),
    ];
    let at = at.at("samples");
    let offset = results.event.utc_offset_minutes;
    let rows = results.samples.iter().enumerate().map(|(i, sample)| {
        let at = at.at(i);
        vec![
            html! {
                (super::link(sample, i))
                @if let Some(pump) = &sample.pump { span.small { "pump " (pump) } }
                @if sample.simulated { span.small { "simulated" } }
            },
            wearer(sample),
            match (&common, &sample.happened) {
                (Some(common), Some(_)) => spark(sample, common, offset),
                _ => html! { span.soft { "no pump" } },
            },
            volume(sample, &at),
            html! {
                @for (n, result) in sample.laboratory.iter().enumerate() {
                    (laboratory::in_row(result, &at.at("laboratory").at(n)))
                }
                @if sample.laboratory.is_empty() { (none()) }
            },
            flags::tags(sample),
        ]
    });
    html! {
        section id="samplers" aria-labelledby="samplers-head" {
            h2 id="samplers-head" { "All samplers" }
            (table(common.as_ref().map_or("All samplers", |c| c.says.as_str()), &columns, rows.collect()))
        }
    }
}

/// Who wore it and where.
fn wearer(sample: &SampleResult) -> Markup {
    let place = sample.place.as_deref().unwrap_or_default();
    html! {
        @match &sample.worker {
            Some(worker) => { (worker) span.small { (place) } },
            None if place.is_empty() => (kind_words(&sample.kind)),
            None => (place),
        }
    }
}

/// What a sampler is.
pub fn kind_words(kind: &str) -> &str {
    match kind {
        "pump" => "sampler with a pump",
        "field-blank" => "field blank",
        "bulk" => "bulk sample",
        "passive-none" => "sampler without a pump",
        other => other,
    }
}

fn volume(sample: &SampleResult, at: &At) -> Markup {
    let Some(volume) = &sample.volume else { return none() };
    match volume.used_l {
        Some(_) => super::volume::used(volume, &at.at("volume")),
        None if volume.says.is_empty() => none(),
        None => html! { (nice(&volume.says)) },
    }
}
