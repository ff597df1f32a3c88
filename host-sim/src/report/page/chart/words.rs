//! A chart in words, for those who do not see it.

use super::axis::{Axis, date_text};
use super::panel::extent;
use super::slices::{Clock, Slice, Slices};
use crate::report::page::number::figures;
use crate::results::SampleResult;

/// What the chart shows, in a few sentences.
pub fn about(sample: &SampleResult, slices: &Slices, axis: &Axis, marks: usize) -> String {
    let (from, to) = slices.range();
    let day = |at: i64| match slices.clock {
        Clock::Site => format!("{} {}", date_text(at), axis.clock_text(at, false)),
        Clock::AfterArming => axis.clock_text(at, false),
    };
    let mut text = format!("From {} to {}, {}. ", day(from), day(to), axis.label());
    if let Some(flow) = sample.planned.as_ref().and_then(|p| p.flow_l_per_min) {
        text += &format!("Planned flow {} L/min. ", figures(flow, 4));
    }
    let all = &slices.all;
    text += &range(all, "Flow", "L/min", 4, |s| Some(s.flow));
    if let Some(last) = all.last() {
        text += &format!("Volume at the end {} L. ", figures(last.volume.1, 4));
    }
    text += &range(all, "Pressure drop", "kPa", 3, |s| s.drop);
    text += &range(all, "Temperature", "°C", 3, |s| s.warmth);
    text += &range(all, "Air pressure", "kPa", 4, |s| s.air);
    text += &range(all, "Battery", "%", 3, |s| s.battery);
    text += &match marks {
        0 => "Nothing is marked on the time axis.".to_owned(),
        1 => "1 mark on the time axis, listed below the chart.".to_owned(),
        n => format!("{n} marks on the time axis, listed below the chart."),
    };
    text
}

fn range(
    slices: &[Slice],
    what: &str,
    unit: &str,
    count: i32,
    value: impl Fn(&Slice) -> Option<f64>,
) -> String {
    let Some((least, most)) = extent(slices.iter().filter_map(value)) else {
        return String::new();
    };
    let (least, most) = (figures(least, count), figures(most, count));
    if least == most {
        return format!("{what} {most} {unit} throughout. ");
    }
    format!("{what} {least} to {most} {unit}. ")
}
