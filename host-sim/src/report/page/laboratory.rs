//! What the laboratory found, and what it comes to.

use maud::{Markup, html};

use super::number::{At, figures, nice, none, short, with_unit};
use super::table::{Column, table};
use crate::hygiene::round;
use crate::results::{AnalyteResult, Results, SampleResult};

/// The concentration or what it is below; else the mass, as a person reads it. The uncertainty stands below it, in small.
fn answer(result: &AnalyteResult, at: &At) -> Markup {
    let expanded = result.expanded_mg_m3.zip(result.k).zip(result.concentration_mg_m3);
    if let Some(((expanded, k), value)) = expanded
        && let Ok((number, width)) = round::with_uncertainty(value, expanded)
    {
        return html! {
            (at.at("concentration-mg-m3").show(value, &with_unit(&number, "mg/m3")))
            span.small {
                "± " (at.at("expanded-mg-m3").show(expanded, &with_unit(&width, "mg/m3")))
                ", k\u{a0}=\u{a0}" (at.at("k").show(k, &short(k)))
            }
        };
    }
    let says = nice(&result.says);
    let values = [
        ("concentration-mg-m3", result.concentration_mg_m3),
        ("below-mg-m3", result.below_mg_m3),
        ("net-mass-mg", result.net_mass_mg),
        ("mass-mg", result.mass_mg),
        ("below-mg", result.below_mg),
    ];
    let first = values.into_iter().find_map(|(key, value)| value.map(|v| (key, v)));
    match first {
        Some((key, value)) if !says.is_empty() => at.at(key).show(value, &says),
        _ if says.is_empty() => none(),
        _ => html! { (says) },
    }
}

/// In a row of the index.
pub fn in_row(result: &AnalyteResult, at: &At) -> Markup {
    html! { (answer(result, at)) span.small { (result.analyte) } }
}

/// In the head of a section.
pub fn key(result: &AnalyteResult, at: &At) -> Markup {
    html! {
        (answer(result, at))
        @if let (Some(share), Some(limit)) = (result.share_of_limit_percent, &result.limit) {
            span.small {
                (at.at("share-of-limit-percent").share(share, result.below_mg_m3, result.least_mg_m3)) " of " (nice(&limit.says))
            }
        }
    }
}

/// The part of a sampler.
pub fn part(sample: &SampleResult, at: &At) -> Markup {
    let at = at.at("laboratory");
    if sample.laboratory.is_empty() && sample.kind == "bulk" {
        return html! {};
    }
    if sample.laboratory.is_empty() {
        return html! { h3 { "Laboratory" } p.soft { "No laboratory result has been filled in." } };
    }
    let columns = [
        Column::text("analyte"),
        Column::figure("mass found"),
        Column::figure("blank"),
        Column::figure("detection, quantification"),
        Column::text("breakthrough"),
        Column::figure("concentration"),
        Column::text("compared"),
    ];
    let rows = sample.laboratory.iter().enumerate().map(|(i, result)| row(result, &at.at(i)));
    html! {
        h3 { "Laboratory" }
        (table("What the laboratory found, and the concentration that it comes to", &columns, rows.collect()))
    }
}

fn row(result: &AnalyteResult, at: &At) -> Vec<Markup> {
    let reported = [&result.reported_by, &result.reported_at];
    let reported: Vec<&str> = reported.into_iter().flatten().map(String::as_str).collect();
    vec![
        html! { (result.analyte) @if !reported.is_empty() { span.small { "reported by " (reported.join(", ")) } } },
        mass(result, at),
        html! {
            @if let Some(blank) = result.blank_mg {
                // What a blank lost is added.
                @if blank < 0.0 { (at.at("blank-mg").show(blank, &format!("+{} mg", figures(-blank, 2)))) }
                @else { "\u{2212}" (at.at("blank-mg").figures(blank, 2, "mg")) }
                @if !result.blank_from.is_empty() { span.small { "from " (result.blank_from.join(", ")) } }
            } @else { (none()) }
        },
        html! {
            (at.at("lod-mg").maybe(result.lod_mg, 2, "mg")) ", " (at.at("loq-mg").maybe(result.loq_mg, 2, "mg"))
        },
        breakthrough(result, at),
        concentration(result, at),
        html! { (nice(result.verdict.as_deref().unwrap_or("–"))) },
    ]
}

fn mass(result: &AnalyteResult, at: &At) -> Markup {
    html! {
        @match (result.mass_mg, result.below_mg) {
            (Some(mass), _) => (at.at("mass-mg").figures(mass, 3, "mg")),
            (None, Some(below)) => { "< " (at.at("below-mg").figures(below, 2, "mg")) }
            (None, None) => (none()),
        }
        @if let (Some(front), Some(back)) = (result.mass_front_mg, result.mass_back_mg) {
            span.small {
                "front " (at.at("mass-front-mg").figures(front, 3, "mg"))
                ", back " (at.at("mass-back-mg").figures(back, 3, "mg"))
            }
        }
        @if let Some(net) = result.net_mass_mg.filter(|_| result.blank_mg.is_some()) {
            span.small { "net " (at.at("net-mass-mg").figures(net, 3, "mg")) }
        }
    }
}

fn breakthrough(result: &AnalyteResult, at: &At) -> Markup {
    let Some(b) = &result.breakthrough else { return none() };
    let at = at.at("breakthrough");
    html! {
        "back is " (at.at("back-of-front-percent").figures(b.back_of_front_percent, 2, "%")) " of front"
        span.small {
            @if b.over { "above " } @else { "not above " }
            (at.at("limit-percent").show(b.limit_percent, &with_unit(&short(b.limit_percent), "%")))
        }
    }
}

fn concentration(result: &AnalyteResult, at: &At) -> Markup {
    html! {
        @if result.concentration_mg_m3.is_some() || result.below_mg_m3.is_some() { (answer(result, at)) }
        @else if result.least_mg_m3.is_some() { (nice(&result.says)) }
        @else { (none()) }
        @if let Some(share) = result.share_of_limit_percent {
            span.small {
                (at.at("share-of-limit-percent").share(share, result.below_mg_m3, result.least_mg_m3)) " of the limit"
            }
        }
    }
}

/// The blanks.
pub fn blanks(results: &Results, at: &At) -> Markup {
    if results.blanks.is_empty() {
        return html! {};
    }
    let columns = [
        Column::text("blank"),
        Column::text("media lot"),
        Column::text("analyte"),
        Column::figure("found on it"),
        Column::text("counts for"),
    ];
    let at = at.at("blanks");
    let rows = results.blanks.iter().enumerate().map(|(i, blank)| {
        let at = at.at(i);
        let says = nice(&blank.says);
        vec![
            html! { (blank.sampler) },
            html! { (blank.media_lot.as_deref().unwrap_or("–")) },
            html! { (blank.analyte) },
            match (blank.mass_mg, blank.below_mg) {
                (Some(mass), _) => at.at("mass-mg").show(mass, &says),
                (None, Some(below)) => at.at("below-mg").show(below, &says),
                (None, None) => html! { (says) },
            },
            html! { (blank.used_for.join(", ")) },
        ]
    });
    html! {
        section id="blanks" aria-labelledby="blanks-head" {
            h2 id="blanks-head" { "Blanks" }
            (table("Field blanks, which went along and drew no air", &columns, rows.collect()))
        }
    }
}

/// Duplicates and side-by-side samples.
pub fn pairs(results: &Results, at: &At) -> Markup {
    if results.pairs.is_empty() {
        return html! {};
    }
    let columns = [
        Column::text("pair"),
        Column::text("what"),
        Column::figure("first"),
        Column::figure("second"),
        Column::figure("difference"),
        Column::text("in words"),
    ];
    let at = at.at("pairs");
    let value = |at: At, value: Option<f64>, unit: &str| {
        value.map_or_else(none, |v| at.show(v, &with_unit(&figures(v, 3), unit)))
    };
    let rows = results.pairs.iter().enumerate().map(|(i, pair)| {
        let at = at.at(i);
        vec![
            html! { (pair.first) " and " (pair.second) },
            html! { (pair.what) },
            value(at.at("first-value"), pair.first_value, &pair.unit),
            value(at.at("second-value"), pair.second_value, &pair.unit),
            at.at("difference-percent").percent(pair.difference_percent),
            html! { (nice(&pair.says)) },
        ]
    });
    html! {
        section id="pairs" aria-labelledby="pairs-head" {
            h2 id="pairs-head" { "Pairs" }
            (table("Samplers that should say the same; the difference is of their mean", &columns, rows.collect()))
        }
    }
}
