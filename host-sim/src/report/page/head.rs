//! The head of the report: what it is about, in facts and without a verdict.

use maud::{Markup, html};

use super::chart::axis::date_text;
use super::chart::slices::civil_ms;
use super::notes::Notes;
use super::number::{At, nice};
use super::{count, fact, figure, section_id};
use crate::results::{EventHead, Instant, Results};

/// What the page is called.
pub fn title(results: &Results) -> String {
    let event = &results.event;
    let name =
        [&event.name, &event.schedule_name].into_iter().flatten().find(|n| !n.trim().is_empty());
    name.map_or_else(|| "Air sampling report".to_owned(), Clone::clone)
}

/// The head.
pub fn head(results: &Results, at: &At) -> Markup {
    let event = &results.event;
    let at = at.at("event");
    html! {
        p.over { "Air sampling report" @if let Some(days) = days(results) { " · " (days) } }
        h1 { (title(results)) }
        p.soft { (summary(results)) }
        dl.facts {
            (fact("Site", event.site.as_deref()))
            (fact("Task", event.task.as_deref()))
            (fact("Why it was sampled", event.why.as_deref()))
            (figure("Method", &method(event)))
            (figure("Limit to compare with", &limit(event, &at)))
            (fact("Laboratory", event.laboratory.as_deref()))
            (figure("Time", &html! { (time(event)) }))
            (figure("Schedule", &schedule(event)))
        }
    }
}

fn method(event: &EventHead) -> Markup {
    let Some(method) = &event.method else { return super::line() };
    html! {
        (method)
        @for more in [&event.method_title, &event.method_known].into_iter().flatten() {
            span.small.soft { " " (nice(more)) }
        }
    }
}

fn limit(event: &EventHead, at: &At) -> Markup {
    if event.limits.is_empty() {
        return super::line();
    }
    html! {
        @for (i, limit) in event.limits.iter().enumerate() {
            @if i > 0 { br; }
            (at.at("limits").at(i).at("value-mg-m3").show(limit.value_mg_m3, &nice(&limit.says)))
            ", " (nice(kind_words(&limit.kind)))
            @if let Some(analyte) = &limit.analyte { ", " (analyte) }
            @if let Some(source) = &limit.source { span.small.soft { " " (source) } }
        }
    }
}

fn schedule(event: &EventHead) -> Markup {
    let (name, id) = (&event.schedule_name, &event.schedule_id);
    html! {
        @match name.as_ref().or(id.as_ref()) {
            None => (super::line()),
            Some(first) => {
                (first)
                @if let Some(id) = id {
                    span.small.soft { @if name.is_some() { " id " (id) ", the CRC of its block" } @else { " the CRC of its block" } }
                }
            }
        }
    }
}

/// What a kind of limit is called.
pub fn kind_words(kind: &str) -> &str {
    match kind {
        "twa-8h" => "average over 8 h",
        "twa" => "time-weighted average",
        "short-term" => "short-term",
        "ceiling" => "ceiling",
        other => other,
    }
}

fn time(event: &EventHead) -> String {
    let minutes = event.utc_offset_minutes;
    let sign = if minutes < 0 { '\u{2212}' } else { '+' };
    let (h, m) = (minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60);
    let offset = format!("UTC{sign}{h:02}:{m:02}");
    let names = [&event.zone, &event.abbreviation].into_iter().flatten();
    names.cloned().chain([offset]).collect::<Vec<_>>().join(", ")
}

/// A moment in the site's time, for people: "Mon 2027-03-08 07:00".
pub fn moment(instant: &Instant, results: &Results) -> String {
    let Some(at) = civil_ms(instant, results.event.utc_offset_minutes) else {
        return instant.local.clone();
    };
    let ms = at.rem_euclid(86_400_000);
    let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60);
    let seconds = if s == 0 { String::new() } else { format!(":{s:02}") };
    format!("{} {h:02}:{m:02}{seconds}", date_text(at))
}

fn days(results: &Results) -> Option<String> {
    let happened = || results.samples.iter().filter_map(|s| s.happened.as_ref());
    let ms = |i: &Instant| civil_ms(i, results.event.utc_offset_minutes);
    let first = happened().filter_map(|h| h.start.as_ref()).filter_map(ms).min()?;
    let last = happened().filter_map(|h| h.stop.as_ref()).filter_map(ms).max()?;
    let (from, to) = (date_text(first), date_text(last));
    Some(if from == to { from } else { format!("{from} to {to}") })
}

/// Counts, no verdict.
fn summary(results: &Results) -> String {
    let of = |kind: &str| results.samples.iter().filter(|s| s.kind == kind).count();
    let pumped =
        results.samples.iter().filter(|s| s.happened.is_some() || s.kind == "pump").count();
    let workers = results.workers.iter().map(|w| w.worker.as_str());
    let workers: std::collections::BTreeSet<&str> = workers.collect();
    let flagged = results.samples.iter().filter(|s| super::flags::asks_for_review(s)).count();
    let mut parts = vec![format!("{} with a pump", count(pumped, "sampler"))];
    for (n, noun) in [(of("field-blank"), "field blank"), (of("bulk"), "bulk sample")] {
        if n > 0 {
            parts.push(count(n, noun));
        }
    }
    if !workers.is_empty() {
        parts.push(count(workers.len(), "worker"));
    }
    let review = match flagged {
        0 => "No sampler has a flag that asks for review.".to_owned(),
        1 => "1 sampler has flags that ask for review.".to_owned(),
        n => format!("{n} samplers have flags that ask for review."),
    };
    let missing = match results.missing.len() {
        0 => String::new(),
        1 => " 1 entry is still missing.".to_owned(),
        n => format!(" {n} entries are still missing."),
    };
    format!("{}. {review}{missing}", parts.join(", "))
}

/// Links to every part.
pub fn contents(results: &Results, notes: &Notes) -> Markup {
    html! {
        nav.contents aria-label="Contents" {
            ul {
                @if !results.workers.is_empty() { li { a href="#workers" { "Results against limits" } } }
                @if results.samples.len() > 1 { li { a href="#samplers" { "All samplers" } } }
                @for (i, sample) in results.samples.iter().enumerate() {
                    li { a href={ "#" (section_id(i)) } { (sample.sampler) } }
                }
                @if !results.blanks.is_empty() { li { a href="#blanks" { "Blanks" } } }
                @if !results.pairs.is_empty() { li { a href="#pairs" { "Pairs" } } }
                @if !results.missing.is_empty() { li { a href="#missing" { "Still missing" } } }
                li { a href="#basis" { "Assumptions and cautions" } }
                @if !notes.is_empty() { li { a href="#notes" { "Notes" } } }
                li { a href="#origin" { "Records and versions" } }
            }
        }
    }
}
