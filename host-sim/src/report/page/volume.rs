//! The volume in every way that there is, and how uncertain it and the concentrations are.

use maud::{Markup, html};

use super::notes::Notes;
use super::number::{At, figures, nice, none, short, with_unit};
use super::table::{Column, table, totalled};
use super::workers::bar;
use crate::hygiene::round;
use crate::results::{Budget, SampleResult, Volumes};

/// The volume that is used, large.
pub fn key(volume: &Volumes, at: &At) -> Markup {
    html! {
        (used(volume, at))
        @if let Some(how) = &volume.used_is { span.small { (how_words(how)) } }
    }
}

/// The volume that is used, with its uncertainty in small.
pub fn used(volume: &Volumes, at: &At) -> Markup {
    let Some(used) = volume.used_l else { return none() };
    let expanded = volume.expanded_l.zip(volume.k);
    let shown = expanded.and_then(|(expanded, _)| round::with_uncertainty(used, expanded).ok());
    html! {
        @match (shown, expanded) {
            (Some((number, width)), Some((expanded, k))) => {
                (at.at("used-l").show(used, &with_unit(&number, "L")))
                span.small {
                    "± " (at.at("expanded-l").show(expanded, &with_unit(&width, "L")))
                    ", k\u{a0}=\u{a0}" (at.at("k").show(k, &short(k)))
                }
            }
            _ => (at.at("used-l").figures(used, 4, "L")),
        }
    }
}

fn how_words(how: &str) -> &str {
    match how {
        "integrated" => "integrated by the pump",
        "mean-flow-time" => "mean verified flow × time",
        "verified-tube" => "verified flow of the tube × time",
        other => other,
    }
}

/// The volume in each way that it can be had.
pub fn ways(sample: &SampleResult, at: &At, notes: &Notes) -> Markup {
    let Some(volume) = &sample.volume else { return html! {} };
    let at_volume = at.at("volume");
    html! {
        h3 { "Volume" }
        (rows(sample, volume, at, notes))
        @if volume.used_l.is_none() && !volume.used_because.is_empty() { p { (nice(&volume.used_because)) } }
        @if volume.difference_percent.is_some() {
            p.small {
                "Mean flow × time differs from the integrated volume by "
                (at_volume.at("difference-percent").percent(volume.difference_percent))
                @for why in &volume.why_they_differ { "; " (nice(why)) } "."
            }
        } @else if !volume.why_they_differ.is_empty() {
            p.small { @for (i, why) in volume.why_they_differ.iter().enumerate() { @if i > 0 { "; " } (nice(why)) } "." }
        }
    }
}

/// How uncertain volume and concentrations are.
pub fn uncertainty(sample: &SampleResult, at: &At, notes: &Notes) -> Markup {
    let of_volume = sample.uncertainty.iter().map(|b| (b, at.at("uncertainty")));
    let of_each =
        sample.laboratory.iter().enumerate().filter_map(|(i, r)| {
            Some((r.budget.as_ref()?, at.at("laboratory").at(i).at("budget")))
        });
    let all: Vec<(&Budget, At)> = of_volume.chain(of_each).collect();
    html! {
        @if !all.is_empty() {
            h3 { "Uncertainty" }
            @for (budget, at) in &all { (self::budget(budget, at, notes)) }
        }
    }
}

fn rows(sample: &SampleResult, volume: &Volumes, at: &At, notes: &Notes) -> Markup {
    let columns = [Column::text("how"), Column::figure("volume"), Column::text("which is")];
    let at_volume = at.at("volume");
    let used = volume.used_is.as_deref();
    let mut rows = Vec::new();
    let ways = [
        ("integrated", "integrated-l", volume.integrated_l, "at the inlet, actual conditions"),
        (
            "mean-flow-time",
            "mean-flow-time-l",
            volume.mean_flow_time_l,
            "mean of before and after × time pumped",
        ),
        ("verified-tube", "verified-tube-l", volume.verified_tube_l, "of a tube on a manifold"),
    ];
    for (how, key, value, about) in ways {
        if let Some(value) = value {
            rows.push(vec![
                html! { (how_words(how)) },
                at_volume.at(key).figures(value, 4, "L"),
                html! {
                    @if used == Some(how) { strong { "used: " } (about) " " (notes.refer(&format!("volume: {}", volume.used_because))) }
                    @else { (about) }
                },
            ]);
        }
    }
    if let Some(standard) = volume.standard_l {
        rows.push(vec![
            html! { "at standard conditions" },
            at_volume.at("standard-l").figures(standard, 4, "L"),
            html! { (nice(volume.standard_is.as_deref().unwrap_or(""))) },
        ]);
    }
    if let Some(flow) = sample.flow_used_l_per_min {
        rows.push(vec![
            html! { "flow used" },
            at.at("flow-used-l-per-min").figures(flow, 4, "L/min"),
            html! { (sample.flow_used_is.as_deref().unwrap_or("")) },
        ]);
    }
    if let Some(true_volume) = sample.happened.as_ref().and_then(|h| h.true_volume_l) {
        rows.push(vec![
            html! { "truly drawn" },
            at.at("happened").at("true-volume-l").figures(true_volume, 4, "L"),
            html! { "known to the simulated world only" },
        ]);
    }
    table("The volume in each way that it can be had", &columns, rows)
}

/// An uncertainty budget, term by term.
fn budget(budget: &Budget, at: &At, notes: &Notes) -> Markup {
    let columns = [
        Column::text("term"),
        Column::figure("stated"),
        Column::text("distribution"),
        Column::figure("sensitivity"),
        Column::figure("deg. of freedom"),
        Column::figure("standard"),
        Column::figure("share of variance"),
    ];
    let terms = at.at("terms");
    let rows = budget.terms.iter().enumerate().map(|(i, term)| {
        let at = terms.at(i);
        vec![
            html! {
                (term.name)
                @if !term.source.is_empty() { " " (notes.refer(&format!("{}: {}", term.name, term.source))) }
            },
            at.at("value").show(term.value, &with_unit(&short(term.value), &term.unit)),
            html! { (term.distribution) @if term.divisor != 1.0 { " ÷\u{a0}" (at.at("divisor").show(term.divisor, &short(term.divisor))) } },
            at.at("sensitivity").show(term.sensitivity, &short(term.sensitivity)),
            freedom(term.degrees_of_freedom, &at),
            at.at("standard-percent").figures(term.standard_percent, 2, "%"),
            html! {
                span.beside {
                    (at.at("share-percent").show(term.share_percent, &with_unit(&format!("{:.1}", term.share_percent), "%")))
                    (bar(term.share_percent))
                }
            },
        ]
    });
    let total = vec![
        html! { "combined" },
        at.at("combined").figures(budget.combined, 2, &budget.unit),
        html! {},
        html! {},
        freedom(budget.degrees_of_freedom, at),
        at.at("combined-percent").figures(budget.combined_percent, 2, "%"),
        html! {},
    ];
    let caption = html! {
        "Of the " (budget.of) ": ± " (at.at("expanded").figures(budget.expanded, 2, &budget.unit))
        ", which is " (at.at("expanded-percent").figures(budget.expanded_percent, 2, "%"))
        " of " (at.at("value").show(budget.value, &with_unit(&figures(budget.value, 3), &budget.unit)))
        ", with k\u{a0}=\u{a0}" (at.at("k").show(budget.k, &short(budget.k)))
    };
    html! { div.budget { (totalled(&caption, &columns, rows.collect(), Some(total))) } }
}

fn freedom(degrees: Option<f64>, at: &At) -> Markup {
    let at = at.at("degrees-of-freedom");
    degrees.map_or_else(|| html! { "∞" }, |d| at.show(d, &format!("{d:.0}")))
}
