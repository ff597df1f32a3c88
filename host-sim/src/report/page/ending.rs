//! What the results rest on: what is missing, assumptions, cautions, records and versions, and who answers for the report.

use maud::{Markup, html};

use super::fact;
use super::notes::Notes;
use super::number::{At, nice};
use super::table::{Column, table};
use crate::results::{RecordHead, Results};
use crate::words;

/// The last sections.
pub fn sections(results: &Results, at: &At, notes: &Notes) -> Markup {
    html! {
        @if !results.missing.is_empty() {
            section id="missing" aria-labelledby="missing-head" {
                h2 id="missing-head" { "Still missing" }
                @let whole = of_the_whole(results);
                @if whole.len() < results.missing.len() { p.soft { "What is missing of a sampler stands with it." } }
                ul.plain.missing { @for entry in whole { li { (nice(entry)) } } }
            }
        }
        section id="basis" aria-labelledby="basis-head" {
            h2 id="basis-head" { "Assumptions and cautions" }
            h3 { "What was taken to be so" }
            @if results.assumptions.is_empty() { p.soft { "Nothing is stated." } } @else { (list(&results.assumptions)) }
            h3 { "What to be careful of" }
            @if results.cautions.is_empty() { p.soft { "Nothing is stated." } } @else { (list(&results.cautions)) }
            (notes.list())
        }
        section id="origin" aria-labelledby="origin-head" {
            h2 id="origin-head" { "Records and versions" }
            (records(&results.event.records, at))
            p {
                "This page was written by " (results.program) " " (results.version)
                ". The same results as JSON: draught report --json."
            }
            dl.hands {
                (fact("Prepared by", results.event.prepared_by.as_deref()))
                (fact("Signature and date", None))
                (fact("Reviewed by", results.event.reviewed_by.as_deref()))
                (fact("Signature and date", None))
            }
        }
    }
}

/// What is missing of no sampler.
fn of_the_whole(results: &Results) -> Vec<&String> {
    let of_sampler = |entry: &str| {
        results.samples.iter().any(|s| {
            let own = entry.strip_prefix(&s.sampler).and_then(|rest| rest.strip_prefix(": "));
            own.is_some_and(|own| s.missing.iter().any(|m| m == own))
        })
    };
    results.missing.iter().filter(|entry| !of_sampler(entry)).collect()
}

fn list(entries: &[String]) -> Markup {
    html! { ul.plain { @for entry in entries { li { (nice(entry)) } } } }
}

fn records(records: &[RecordHead], at: &At) -> Markup {
    if records.is_empty() {
        return html! { p.soft { "No record of a pump belongs to this report." } };
    }
    let columns = [
        Column::text("record"),
        Column::text("pump"),
        Column::text("origin"),
        Column::text("schedule id"),
        Column::text("ended by"),
        Column::text("flags in the record"),
        Column::text("written by"),
    ];
    let at = at.at("event").at("records");
    let rows = records.iter().enumerate().map(|(i, record)| {
        let at = at.at(i);
        vec![
            html! {
                span.path { (record.file) }
                @if let Some(event) = record.event { span.small { "event " (at.at("event").show(event.into(), &event.to_string())) } }
            },
            html! { (record.pump.as_deref().unwrap_or("–")) },
            html! {
                (record.origin)
                @if let Some(world) = &record.world {
                    span.small { "world " (world) @if let Some(seed) = record.seed { ", seed " (seed) } }
                }
            },
            html! { (record.schedule_id) },
            html! { (record.reason.as_deref().map_or_else(|| "not over".to_owned(), words::ended_by_code)) },
            html! { @if record.flags.is_empty() { "none" } @else { (record.flags.join(", ")) } },
            html! { (record.made_by) },
        ]
    });
    table("The records that the results were computed from", &columns, rows.collect())
}

/// The last line.
pub fn footer(results: &Results) -> Markup {
    html! {
        footer {
            (super::notice(results.simulated))
            p {
                "Follow the method, the accredited laboratory, the site's hygienist and local codes. "
                "A sampling pump gives no alarm and protects nobody."
            }
        }
    }
}
