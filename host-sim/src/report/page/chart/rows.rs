//! The figures that a chart is drawn from, as a table that can be opened.

use maud::{Markup, html};

use super::axis::{Axis, date_text};
use super::slices::{Clock, Slices};
use crate::report::page::number::{figures, lasts};
use crate::report::page::table::{Column, table};

/// A table of every slice.
pub fn figures_of(slices: &Slices, axis: &Axis) -> Markup {
    let has =
        |value: fn(&super::Slice) -> Option<f64>| slices.all.iter().any(|s| value(s).is_some());
    let mut columns = vec![
        Column::text("from"),
        Column::figure("read for"),
        Column::figure("flow, L/min"),
        Column::figure("volume so far, L"),
    ];
    type Value = fn(&super::Slice) -> Option<f64>;
    let others: [(&'static str, i32, Value); 4] = [
        ("drop, kPa", 3, |s| s.drop),
        ("temperature, °C", 3, |s| s.warmth),
        ("pressure, kPa", 4, |s| s.air),
        ("battery, %", 3, |s| s.battery),
    ];
    let others: Vec<_> = others.into_iter().filter(|(.., value)| has(*value)).collect();
    columns.extend(others.iter().map(|(head, ..)| Column::figure(head)));
    let mut day = i64::MIN;
    let mut rows = Vec::new();
    for slice in &slices.all {
        let today = slice.from.div_euclid(86_400_000);
        let date = (slices.clock == Clock::Site && today != day).then(|| date_text(slice.from));
        day = today;
        let seconds = slice.from.rem_euclid(60_000) >= 1_000;
        let time = axis.clock_text(slice.from, seconds);
        let mut row = vec![
            html! { @if let Some(date) = date { (date) " " } (time) },
            html! { (lasts(u64::try_from(slice.to - slice.from).unwrap_or(0))) },
            html! { (figures(slice.flow, 4)) },
            html! { (figures(slice.volume.1, 4)) },
        ];
        for (_, count, value) in &others {
            row.push(value(slice).map_or_else(|| html! {}, |v| html! { (figures(v, *count)) }));
        }
        rows.push(row);
    }
    html! {
        details {
            summary { "The figures of this chart as a table" }
            (table("What the chart is drawn from", &columns, rows))
        }
    }
}
