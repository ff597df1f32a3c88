//! Flags: what is so, what that means and what to do.

use maud::{Markup, html};

use super::count;
use super::number::nice;
use crate::results::flags::explained;
use crate::results::{Flag, SampleResult};

/// Whether a person should look at a sample before its result is used.
pub fn asks_for_review(sample: &SampleResult) -> bool {
    sample.flags.iter().any(|f| f.level != "note")
}

fn class(flag: &Flag) -> &'static str {
    match flag.level.as_str() {
        "note" => "note",
        "warning" => "warning",
        _ => "review",
    }
}

/// How many of each, in a row of the index.
pub fn tags(sample: &SampleResult) -> Markup {
    let of = |wanted: &str| sample.flags.iter().filter(|f| class(f) == wanted).count();
    let words = [
        ("review", of("review"), "to review"),
        ("warning", of("warning"), "warning"),
        ("note", of("note"), "note"),
    ];
    html! {
        @for (class, n, word) in words.into_iter().filter(|(_, n, _)| *n > 0) {
            span.tag.(class) { @if class == "review" { (n) " " (word) } @else { (count(n, word)) } } " "
        }
        @if sample.flags.is_empty() { span.soft { "none" } }
    }
}

/// What is so: in a few words, and with its numbers.
fn title(flag: &Flag) -> String {
    match explained(&flag.code) {
        Some(known) if flag.says.is_empty() => nice(known.brief),
        Some(known) => nice(&format!("{}: {}", known.brief, flag.says)),
        None => nice(&flag.says),
    }
}

fn sentence(text: &str) -> String {
    let mut rest = text.chars();
    let first = rest.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    nice(&format!("{first}{}.", rest.as_str()))
}

/// All flags of a sampler.
pub fn list(sample: &SampleResult, id: &str) -> Markup {
    if sample.flags.is_empty() {
        return html! { p.soft { "No flags." } };
    }
    html! {
        h3 id={ (id) "-flags" } { "Flags" }
        p.small.soft { "A flag asks a person to look; it does not void a sample." }
        ul.flags aria-labelledby={ (id) "-flags" } {
            @for flag in &sample.flags {
                li.(class(flag)) {
                    p.head {
                        strong { (title(flag)) }
                        span.tag { @if class(flag) == "review" { "to review" } @else { (class(flag)) } }
                        span.code { (flag.code) }
                    }
                    @if !flag.means.is_empty() { p { (sentence(&flag.means)) } }
                    @if !flag.do_this.is_empty() { p { "What to do: " (nice(&flag.do_this)) "." } }
                }
            }
        }
    }
}
