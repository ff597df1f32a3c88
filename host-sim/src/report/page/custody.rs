//! Who had a sampler, and what it was; with lines for what is filled in by hand.

use maud::{Markup, html};

use super::table::{Column, table};
use super::{fact, line};
use crate::results::{HandOver, SampleResult};

/// How many hand-overs have a line at least.
const LINES: usize = 2;

/// The part of a sampler.
pub fn part(sample: &SampleResult, id: &str) -> Markup {
    let custody = &sample.custody;
    let pumped = sample.happened.is_some() || sample.kind == "pump";
    html! {
        h3 id={ (id) "-custody" } { "Identity and custody" }
        dl.facts {
            @if sample.kind != "bulk" {
                (fact("Media lot", custody.media_lot.as_deref()))
                (fact("Good until", custody.expiry.as_deref()))
            }
            (fact("Seal", custody.seal.as_deref()))
            // What is known of these stands in the head.
            @if pumped && sample.pump.is_none() { (fact("Pump", None)) }
            @if pumped && sample.worker.is_none() && sample.place.is_none() { (fact("Worn by, place", None)) }
            (fact("Placed by", custody.placed_by.as_deref()))
            (fact("Removed by", custody.removed_by.as_deref()))
            (fact("Storage", custody.storage.as_deref()))
            (fact("Retrieve by", custody.retrieve_by.as_deref()))
        }
        (hands(&custody.relinquished, &custody.received))
    }
}

fn hands(given: &[HandOver], taken: &[HandOver]) -> Markup {
    let columns = [
        Column::text("hand-over"),
        Column::text("relinquished by"),
        Column::text("when"),
        Column::text("received by"),
        Column::text("when "),
    ];
    let rows = (0..given.len().max(taken.len()).max(LINES)).map(|i| {
        let (given, taken) = (given.get(i), taken.get(i));
        vec![
            html! { (i + 1) },
            written(given.and_then(|g| g.by.as_deref())),
            written(given.and_then(|g| g.at.as_deref())),
            written(taken.and_then(|t| t.by.as_deref())),
            written(taken.and_then(|t| t.at.as_deref())),
        ]
    });
    html! { div.custody { (table("From hand to hand", &columns, rows.collect())) } }
}

fn written(text: Option<&str>) -> Markup {
    text.filter(|t| !t.trim().is_empty()).map_or_else(line, |t| html! { (t) })
}
