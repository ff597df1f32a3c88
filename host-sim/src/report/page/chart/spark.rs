//! Small multiples: the flow of every sampler on the same axes, so that rows can be compared at a glance.

use maud::{Markup, html};

use super::axis::{Axis, date_text};
use super::panel::{extent, px};
use super::slices::{Clock, Slice, Slices};
use crate::report::page::number::figures;
use crate::results::{Results, SampleResult};

const HEIGHT: f64 = 34.0;

/// What all small multiples of a page have in common.
#[derive(Clone, Debug, PartialEq)]
pub struct Common {
    axis: Axis,
    /// What stands at the top, as a part of the planned flow.
    most: f64,
    /// The axes in words.
    pub says: String,
}

impl Common {
    /// Axes that every sample fits on; none when nothing can be drawn.
    pub fn of(results: &Results) -> Option<Self> {
        let offset = results.event.utc_offset_minutes;
        let mut all: Vec<Slice> = Vec::new();
        let mut most: f64 = 1.1;
        for sample in &results.samples {
            let Some(slices) = Slices::of(sample, offset).filter(|s| s.clock == Clock::Site) else {
                continue;
            };
            let whole = whole(sample, &slices);
            most = slices.all.iter().fold(most, |m, s| m.max(s.flow / whole));
            all.extend(slices.all);
        }
        all.sort_by_key(|s| s.from);
        let axis = Axis::over(&all, Clock::Site);
        let (from, to) = (axis.pieces().first()?.from, axis.pieces().last()?.to);
        // A leak at the sensor must not make everything else a flat line.
        let most = (most * 1.05).min(2.0);
        let text = |at: i64| format!("{} {}", date_text(at), axis.clock_text(at, false));
        let says = format!(
            "Flow of each sampler over one time axis, {} to {}; from 0 to {} % of its planned flow, which is dotted",
            text(from),
            text(to),
            figures(most * 100.0, 3)
        );
        Some(Self { axis, most, says })
    }
}

/// What 100 % is: the planned flow, else the mean.
fn whole(sample: &SampleResult, slices: &Slices) -> f64 {
    let time: i64 = slices.all.iter().map(|s| s.to - s.from).sum();
    let sum: f64 = slices.all.iter().map(|s| s.flow * (s.to - s.from) as f64).sum();
    let mean = sum / time.max(1) as f64;
    super::target(sample).unwrap_or(if mean > 0.0 { mean } else { 1.0 })
}

/// The flow of one sampler.
pub fn spark(sample: &SampleResult, common: &Common, offset_minutes: i32) -> Markup {
    let slices = Slices::of(sample, offset_minutes).filter(|s| s.clock == Clock::Site);
    let Some(slices) = slices else { return html! { span.soft { "nothing to draw" } } };
    let whole = whole(sample, &slices);
    let y = |flow: f64| HEIGHT * (1.0 - (flow / whole / common.most).clamp(0.0, 1.0));
    let axis = &common.axis;
    let (least, most) = extent(slices.all.iter().map(|s| s.flow)).unwrap_or_default();
    let about =
        format!("Flow of {}: {} to {} L/min", sample.sampler, figures(least, 3), figures(most, 3));
    let mut lines: Vec<Vec<String>> = Vec::new();
    let mut ended = i64::MIN;
    for s in &slices.all {
        if s.from.saturating_sub(ended) > 90_000 {
            lines.push(Vec::new());
        }
        let height = px(y(s.flow));
        if let Some(line) = lines.last_mut() {
            line.extend([s.from, s.to].map(|at| format!("{},{height}", px(axis.x(at)))));
        }
        ended = s.to;
    }
    html! {
        svg.spark role="img" aria-label=(about) viewBox="0 0 1000 34" preserveAspectRatio="none" {
            title { (about) }
            line.target x1="0" x2="1000" y1=(px(y(whole))) y2=(px(y(whole))) {}
            line.edge x1="0" x2="1000" y1="34" y2="34" {}
            @for line in lines { polyline.curve.flow points=(line.join(" ")) {} }
        }
    }
}
