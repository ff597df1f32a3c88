//! A sample beside what its method asks.

use maud::{Markup, html};

use super::notes::Notes;
use super::number::{At, nice};
use super::table::{Column, table};
use crate::results::SampleResult;

/// The part of a sampler with a pump.
pub fn part(sample: &SampleResult, at: &At, notes: &Notes) -> Markup {
    if sample.method_fit.is_empty() && sample.method_says.is_none() {
        return html! {};
    }
    let columns = [
        Column::text("what"),
        Column::figure("is"),
        Column::text("the method asks"),
        Column::text("fits"),
    ];
    let at = at.at("method-fit");
    let rows = sample.method_fit.iter().enumerate().map(|(i, row)| {
        vec![
            html! { (row.what) @if let Some(analyte) = &row.analyte { span.small { (analyte) } } },
            match row.value {
                Some(value) => at.at(i).at("value").show(value, &nice(&row.is)),
                None => html! { (nice(&row.is)) },
            },
            html! { (nice(&row.wants)) " " (notes.refer(&row.from)) },
            match row.standing.as_str() {
                "fits" => html! { "yes" },
                "outside" => html! { strong.tag.review { (row.says) } },
                _ => html! { span.soft { (row.says) } },
            },
        ]
    });
    let rows: Vec<_> = rows.collect();
    let name = sample.method.as_deref().unwrap_or("no method");
    html! {
        h3 { "Beside the method" }
        @if rows.is_empty() { p { (name) } } @else { (table(&format!("{name}, and this sample"), &columns, rows)) }
        @if let Some(says) = &sample.method_says { p.small.soft { (nice(says)) } }
    }
}
