//! The report: results as one page that holds everything it needs. No script, no request, and every text escaped.
//!
//! Each number says in `data-value` where in the JSON of the results it stands, and in `value` what it is there.

mod chart;
mod custody;
mod ending;
mod flags;
mod head;
mod index;
mod laboratory;
mod method;
mod notes;
pub mod number;
mod sample;
mod sheet;
pub mod table;
mod verification;
mod volume;
mod workers;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use self::notes::Notes;
use self::number::At;
pub use self::sheet::{Paper, edges};
use crate::record_file::NOTICE;
use crate::results::Results;

/// The page; `paper`: what it is printed on, unless the reader's browser is to choose.
#[must_use]
pub fn page(results: &Results, paper: Option<Paper>) -> String {
    let at = At::default();
    // Before the page is put together, for its contents depend on whether there are notes.
    let notes = Notes::default();
    let samples =
        results.samples.iter().enumerate().map(|(i, sample)| {
            sample::section(results, sample, i, &at.at("samples").at(i), &notes)
        });
    let samples: Vec<Markup> = samples.collect();
    let title = head::title(results);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                // Whatever a text holds, the page asks nobody for anything.
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:";
                meta name="referrer" content="no-referrer";
                meta name="generator" content={ (results.program) " " (results.version) };
                title { (title) @if results.simulated { " (" (NOTICE) ")" } }
                link rel="icon" href="data:,";
                style { (PreEscaped(sheet::style(&title, results.simulated, paper))) }
            }
            body {
                a.skip href="#results" { "Skip to the results" }
                div.page {
                    header { (notice(results.simulated)) (head::head(results, &at)) (head::contents(results, &notes)) }
                    main id="results" tabindex="-1" class=[(results.samples.len() > 1).then_some("many")] {
                        (workers::section(results, &at))
                        (index::section(results, &at))
                        @for sample in &samples { (sample) }
                        (laboratory::blanks(results, &at))
                        (laboratory::pairs(results, &at))
                        (ending::sections(results, &at, &notes))
                    }
                    (ending::footer(results))
                }
            }
        }
    }
    .into_string()
}

/// The banner of a page or a section that holds anything simulated.
fn notice(simulated: bool) -> Markup {
    html! { @if simulated { p.notice { strong { (NOTICE) } } } }
}

/// A pair of label and value; an empty line to write on where there is no value.
fn fact(label: &str, value: Option<&str>) -> Markup {
    html! {
        div {
            dt { (label) }
            dd { (value.filter(|v| !v.trim().is_empty()).map_or_else(line, |v| html! { (number::nice(v)) })) }
        }
    }
}

/// The same with figures in it.
fn figure(label: &str, value: &Markup) -> Markup {
    html! { div { dt { (label) } dd { (value) } } }
}

/// An empty line to write on.
fn line() -> Markup {
    html! { span.line { span.unseen { "to fill in" } } }
}

/// Where the section of a sampler is: names are people's, so they are no ids.
fn section_id(index: usize) -> String {
    format!("sampler-{}", index + 1)
}

/// A link to the section of a sampler; a name of the usual length stays in one piece.
fn link(sample: &crate::results::SampleResult, index: usize) -> Markup {
    let usual = sample.sampler.chars().count() <= 12;
    html! { a.keep[usual] href={ "#" (section_id(index)) } { (sample.sampler) } }
}

/// "1 flag", "3 flags".
fn count(n: usize, noun: &str) -> String {
    crate::plan::format::count(n, noun)
}
