//! The section of one sampler.

use maud::{Markup, html};

use super::chart::chart;
use super::notes::Notes;
use super::number::{At, dated, nice, none};
use super::table::{Column, table};
use super::{
    custody, figure, flags, head, index, laboratory, method, notice, section_id, verification,
    volume,
};
use crate::results::{Results, SampleResult};
use crate::words;

/// Everything about a sampler. What stands beside each other on paper stands below each other on a screen.
pub fn section(
    results: &Results,
    sample: &SampleResult,
    index: usize,
    at: &At,
    notes: &Notes,
) -> Markup {
    let id = section_id(index);
    let pumped = sample.happened.is_some() || sample.kind == "pump";
    html! {
        section.sampler.pumped[sample.happened.is_some()] id=(id) aria-labelledby={ (id) "-head" } {
            header {
                p.over { (who(sample)) }
                h2 id={ (id) "-head" } { "Sampler " (sample.sampler) }
                @if results.samples.len() > 1 { (notice(sample.simulated)) }
                (key_facts(sample, at))
            }
            @if pumped || !sample.flags.is_empty() { (flags::list(sample, &id)) }
            div.parts {
                div.pair {
                    (part("half", side_by_side(results, sample)))
                    (part("half", html! { (method::part(sample, at, notes)) (volume::ways(sample, at, notes)) }))
                }
                (part("whole", verification::part(sample, at, notes)))
                (part("whole", laboratory::part(sample, at)))
                @if sample.happened.is_some() {
                    div.part.whole {
                        h3 { "Over time" }
                        (chart(sample, &id, results.event.utc_offset_minutes))
                    }
                }
                (part("whole", spans(results, sample, at)))
                (part("whole", volume::uncertainty(sample, at, notes)))
                (part("whole custody-part", custody::part(sample, &id)))
                (part("whole", missing(&sample.missing)))
            }
        }
    }
}

fn part(class: &str, content: Markup) -> Markup {
    html! { @if !content.0.is_empty() { div class={ "part " (class) } { (content) } } }
}

fn who(sample: &SampleResult) -> String {
    let mut parts = vec![index::kind_words(&sample.kind).to_owned()];
    parts.extend(sample.worker.as_ref().map(|w| format!("worn by {w}")));
    parts.extend(sample.place.clone());
    parts.extend(sample.pump.as_ref().map(|p| format!("pump {p}")));
    parts.extend(sample.group.as_ref().map(|g| format!("{g} sample")));
    parts.extend(sample.duplicate_of.as_ref().map(|d| format!("duplicate of {d}")));
    parts.join(" · ")
}

fn key_facts(sample: &SampleResult, at: &At) -> Markup {
    let happened = sample.happened.as_ref();
    html! {
        dl.facts.key {
            @for (n, result) in sample.laboratory.iter().enumerate() {
                (figure(&result.analyte, &laboratory::key(result, &at.at("laboratory").at(n))))
            }
            @if let Some(volume) = sample.volume.as_ref() {
                (figure("Volume", &volume::key(volume, &at.at("volume"))))
            }
            @if let Some(happened) = happened {
                (figure("Pumped for", &html! {
                    (at.at("happened").at("pumped-ms").show(happened.pumped_ms as f64, &super::number::lasts(happened.pumped_ms)))
                }))
                (figure("Mean flow", &at.at("happened").at("mean-flow-l-per-min").maybe(happened.mean_flow_l_per_min, 4, "L/min")))
            }
        }
    }
}

fn side_by_side(results: &Results, sample: &SampleResult) -> Markup {
    if sample.side_by_side.is_empty() {
        return html! {};
    }
    let columns = [
        Column::text("what"),
        Column::text("planned"),
        Column::text("happened"),
        Column::text("note"),
    ];
    let rows = sample.side_by_side.iter().map(|row| {
        vec![
            html! { (row.what) },
            dated(&row.planned),
            dated(&row.happened),
            html! { (nice(&row.note)) },
        ]
    });
    let schedule = [&sample.schedule_name, &sample.schedule_id].into_iter().flatten().cloned();
    let schedule: Vec<String> = schedule.collect();
    let schedule = match schedule.as_slice() {
        [name, id] => format!("Schedule {name}, id {id}. "),
        [one] => format!("Schedule {one}. "),
        _ => String::new(),
    };
    let plan = &results.event.plan;
    html! {
        h3 { "Planned and happened" }
        (table(&format!("{schedule}Times are the site's"), &columns, rows.collect()))
        @if !plan.is_empty() && results.event.schedule_id == sample.schedule_id {
            details {
                summary { "The plan, step by step" }
                ol.plain { @for step in plan { li { (nice(step)) } } }
            }
        }
    }
}

/// The stretches of pumping, where there is more than one.
fn spans(results: &Results, sample: &SampleResult, at: &At) -> Markup {
    if sample.spans.len() < 2 {
        return html! {};
    }
    let columns = [
        Column::text("stretch"),
        Column::text("from"),
        Column::text("to"),
        Column::figure("pumped"),
        Column::figure("volume"),
        Column::text("ended by"),
    ];
    let at = at.at("spans");
    let time = |i: &Option<_>| i.as_ref().map_or_else(none, |i| dated(&head::moment(i, results)));
    let rows = sample.spans.iter().enumerate().map(|(i, span)| {
        let at = at.at(i);
        vec![
            html! { (span.span) span.ref { ", step " (span.step) } },
            time(&span.begin),
            time(&span.end),
            at.at("pumped-ms").show(span.pumped_ms as f64, &super::number::lasts(span.pumped_ms)),
            at.at("volume-l").figures(span.volume_l, 4, "L"),
            html! { (ended(&span.ended_by)) },
        ]
    });
    let rows: Vec<_> = rows.collect();
    html! {
        @if rows.len() > 12 {
            details {
                summary { "The " (rows.len()) " stretches of pumping" }
                (table("Stretches of pumping", &columns, rows))
            }
        } @else { (table("Stretches of pumping", &columns, rows)) }
    }
}

/// How a stretch ended, in words; a code that is not known, as it stands.
fn ended(code: &str) -> &str {
    match words::stretch_of_code(code) {
        Some(by) => words::stretch_ended(by),
        None => code,
    }
}

fn missing(missing: &[String]) -> Markup {
    html! {
        @if !missing.is_empty() {
            h3 { "Still missing here" }
            ul.plain.missing { @for entry in missing { li { (nice(entry)) } } }
        }
    }
}
