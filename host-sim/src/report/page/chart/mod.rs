//! Charts of a sample: everything over one time axis, drawn as SVG in the page.
//!
//! The page does not know how wide it will be. So the svg is as wide as its plot, places along it are percents, heights and letters are
//! pixels: text stays readable on a phone and on paper, and only the curves are stretched.

pub mod axis;
pub mod marks;
mod panel;
mod rows;
pub mod slices;
mod spark;
mod words;

use maud::{Markup, html};

pub use spark::{Common, spark};

use self::axis::Axis;
use self::marks::{Numbered, labels};
use self::panel::{Panel, extent, percent, px};
use self::slices::{Slice, Slices};
use crate::results::{SampleResult, Verification};

/// Where the band around the planned flow ends: 40 CFR 50 App. L 7.4.3.1.
const BAND: f64 = 0.05;
/// Room above the first panel for the numbers of marks, and above each for its head.
const ABOVE: f64 = 24.0;
const HEAD: f64 = 14.0;
const BETWEEN: f64 = 34.0;

/// The charts of a sample with everything that belongs to them.
pub fn chart(sample: &SampleResult, id: &str, offset_minutes: i32) -> Markup {
    let Some(slices) = Slices::of(sample, offset_minutes) else {
        return html! { p.soft { "Nothing to draw: the record has no pumping at a known time." } };
    };
    let axis = Axis::over(&slices.all, slices.clock);
    let panels = panels(sample, &slices);
    let marks = marks::numbered(&sample.marks, &axis, offset_minutes);
    let title = format!("Charts of sampler {}", sample.sampler);
    let about = words::about(sample, &slices, &axis, marks.len());
    html! {
        figure {
            (legend(sample, &slices))
            p.unseen id={ (id) "-about" } { (about) }
            div.chart role="img" aria-label=(title) aria-describedby={ (id) "-about" } {
                @for (i, panel) in panels.iter().enumerate() {
                    div class={ "panel " (panel.class) } {
                        svg.plot height=(px(panel.top + panel.height)) {
                            (pauses(&axis, &slices, panel, &marks))
                            (lines_of(&marks, panel, i == 0))
                            (panel_of(panel, &axis, sample, &slices))
                            @if i == 0 { (numbers_of(&marks)) }
                        }
                        // Below the last panel on a screen, below each where they stand side by side.
                        (times(&axis))
                    }
                }
            }
            figcaption {
                @if slices.from_series { "Means over 5 min, " } @else { "Mean of each stretch of pumping, " }
                (axis.label())
                ". Grey: no air was drawn."
                @if slices.from_series && sample.simulated {
                    " Drop, air and battery are those of the simulated world, which a pump reads with an error of its own."
                }
            }
        }
        @if !marks.is_empty() {
            ol.marks { @for mark in &marks { li { span.number { (mark.when) } ": " (mark.says) } } }
        }
        (rows::figures_of(&slices, &axis))
    }
}

fn panels(sample: &SampleResult, slices: &Slices) -> Vec<Panel> {
    let all = &slices.all;
    let target = target(sample);
    let verified = sample.verification.iter().flat_map(verified_flows).map(|(_, flow)| flow);
    let band = target.into_iter().flat_map(|t| [t * (1.0 - BAND), t * (1.0 + BAND)]);
    let flow = extent(
        all.iter().flat_map(|s| [Some(s.flow), s.truth]).flatten().chain(band).chain(verified),
    );
    let volume = extent(all.iter().map(|s| s.volume.1));
    let mut panels = Vec::new();
    let mut push = |head: &str, class, height, range: Option<(f64, f64)>, zero| {
        let Some(range) = range else { return };
        let mut panel = Panel::new(head, class, height, range, zero);
        if panel.range.0 > 0.0 && class == "flow" {
            panel.head.push_str(" (not from 0)");
        }
        panel.top = if panels.is_empty() { ABOVE + HEAD } else { BETWEEN };
        panels.push(panel);
    };
    push("Flow, L/min", "flow", 140.0, flow, false);
    push("Volume drawn, L", "volume", 66.0, volume, true);
    let of = |value: fn(&Slice) -> Option<f64>| extent(all.iter().filter_map(value));
    push("Pressure drop, kPa", "drop", 66.0, of(|s| s.drop), true);
    push("Temperature, °C", "warmth", 66.0, of(|s| s.warmth), false);
    push("Air pressure, kPa", "air", 66.0, of(|s| s.air), false);
    let battery = of(|s| s.battery).map(|(_, most)| (0.0, most.max(100.0)));
    push("Battery, %", "battery", 66.0, battery, true);
    panels
}

fn target(sample: &SampleResult) -> Option<f64> {
    sample.planned.as_ref().and_then(|p| p.flow_l_per_min).filter(|t| t.is_finite() && *t > 0.0)
}

/// What was measured before and after, with where it stands: at the beginning or the end.
fn verified_flows(verification: &Verification) -> impl Iterator<Item = (bool, f64)> {
    let sets = [(true, &verification.before), (false, &verification.after)];
    let flows = sets.map(|(first, set)| set.as_ref().map(|s| (first, s.mean_l_per_min)));
    flows.into_iter().flatten().filter(|(_, flow)| flow.is_finite())
}

/// Where no air was drawn: between slices, and in what is marked so.
fn pauses(axis: &Axis, slices: &Slices, panel: &Panel, marks: &[Numbered<'_>]) -> Markup {
    let bottom = panel.top + panel.height;
    let between = slices.all.windows(2).filter(|pair| pair[1].from - pair[0].to > 90_000);
    let between = between.map(|pair| (axis.x(pair[0].to), axis.x(pair[1].from)));
    // An interruption is a pause as well: it is shaded once.
    let gaps: Vec<(f64, f64)> = between.collect();
    let covered = |x: f64| gaps.iter().any(|g| x >= g.0 - 6.0 && x <= g.1 + 6.0);
    let cuts = marks.iter().filter(|m| m.is_gap).filter_map(|m| m.x);
    let cuts = cuts.filter(|(from, to)| to > from && !covered(*from));
    let above = if panel.class == "flow" { ABOVE } else { 0.0 };
    html! {
        @for (from, to) in gaps.iter().copied().chain(cuts) {
            rect.gap x=(percent(from)) width=(percent((to - from).max(1.5))) y=(px(above)) height=(px(bottom - above)) {}
        }
        @for pair in axis.pieces().windows(2) {
            @for x in [pair[0].x.1, pair[1].x.0] {
                line.cut x1=(percent(x)) x2=(percent(x)) y1=(px(above)) y2=(px(bottom)) {}
            }
        }
    }
}

fn panel_of(panel: &Panel, axis: &Axis, sample: &SampleResult, slices: &Slices) -> Markup {
    let all = &slices.all;
    let is_flow = panel.class == "flow";
    let curves = match panel.class {
        "volume" => panel.slope(axis, all),
        "drop" => panel.steps(axis, all, |s| s.drop),
        "warmth" => panel.steps(axis, all, |s| s.warmth),
        "air" => panel.steps(axis, all, |s| s.air),
        "battery" => panel.steps(axis, all, |s| s.battery),
        _ => panel.steps(axis, all, |s| Some(s.flow)),
    };
    let target = target(sample).filter(|_| is_flow);
    html! {
        text.head x="0" y=(px(panel.top - 9.0)) { (panel.head) }
        (panel.grid())
        svg x="0" y=(px(panel.top)) width="100%" height=(px(panel.height)) preserveAspectRatio="none"
            viewBox={ "0 0 1000 " (px(panel.height)) } overflow="hidden" {
            @if let Some(target) = target {
                @let (upper, lower) = (panel.y(target * (1.0 + BAND)), panel.y(target * (1.0 - BAND)));
                rect.band x="0" width="1000" y=(px(upper)) height=(px(lower - upper)) {}
                line.target x1="0" x2="1000" y1=(px(panel.y(target))) y2=(px(panel.y(target))) {}
            }
            @if is_flow {
                @for line in panel.steps(axis, all, |s| s.truth) { polyline.curve.truth points=(line) {} }
            }
            @for line in &curves { polyline class={ "curve " (panel.class) } points=(line) {} }
        }
        @if is_flow {
            @for (first, flow) in sample.verification.iter().flat_map(verified_flows) {
                circle.verified cx=(if first { "0" } else { "100%" }) cy=(px(panel.top + panel.y(flow))) r="4.5" {}
            }
        }
        @if is_flow && sample.simulated {
            text.shadow x="50%" y=(px(panel.top + panel.height * 0.62)) text-anchor="middle" { "SIMULATED" }
        }
    }
}

fn lines_of(marks: &[Numbered<'_>], panel: &Panel, is_first: bool) -> Markup {
    let top = if is_first { "16" } else { "0" };
    html! {
        @for (from, _) in marks.iter().filter_map(|m| m.x) {
            line.at x1=(percent(from)) x2=(percent(from)) y1=(top) y2=(px(panel.top + panel.height)) {}
        }
    }
}

fn numbers_of(marks: &[Numbered<'_>]) -> Markup {
    html! {
        @for (x, label) in labels(marks) {
            text.whose x=(percent(x)) y="11" text-anchor="middle" { (label) }
        }
    }
}

fn times(axis: &Axis) -> Markup {
    html! {
        svg.times height="42" {
            @for tick in axis.ticks() {
                @let x = percent(tick.x_tenths as f64 / 10.0);
                g.wide[!tick.on_phones] {
                    line.edge x1=(x) x2=(x) y1="0" y2="5" {}
                    text x=(x) y="19" text-anchor="middle" { (tick.label) }
                }
            }
            @for date in axis.dates() {
                text.date.wide[!date.on_phones] x=(percent(date.x_tenths as f64 / 10.0)) y="37" { (date.label) }
            }
        }
    }
}

fn legend(sample: &SampleResult, slices: &Slices) -> Markup {
    let truth = slices.all.iter().any(|s| s.truth.is_some());
    let verified = sample.verification.iter().flat_map(verified_flows).next().is_some();
    let planned = target(sample).is_some();
    let sample_of = |class: &str| {
        html! { svg aria-hidden="true" { line class=(class) x1="0" x2="26" y1="6" y2="6" {} } }
    };
    html! {
        ul.key-to {
            li { (sample_of("curve flow")) "flow, metered" }
            @if truth { li { (sample_of("curve truth")) "true flow, in the simulated world" } }
            @if planned {
                li { (sample_of("target")) "planned flow" }
                li { svg aria-hidden="true" { rect.band width="26" height="12" {} } "within 5 % of it" }
            }
            @if verified {
                li { svg aria-hidden="true" { circle.verified cx="13" cy="6" r="4.5" {} } "verified before, after" }
            }
        }
    }
}
