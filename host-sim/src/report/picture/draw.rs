//! The picture itself.

use draught::units::TargetKind;

use super::axes::{flow_scale, time_axis, volume_scale};
use super::collect::{Collect, Pumping};
use super::layout::Layout;
use super::panels::{breaks, flow_panel, name_pauses, shade_pauses, volume_panel};
use super::svg::{Anchor, Svg};
use crate::plan::format;
use crate::plan::site::SiteTime;
use crate::record_file::NOTICE;

pub(super) const WIDTH: f64 = 1_000.0;
const HEIGHT: f64 = 600.0;
/// Left and right edge of the panels.
pub(super) const X: (f64, f64) = (78.0, 972.0);
/// Top and bottom of the panel of flow.
const FLOW: (f64, f64) = (96.0, 312.0);
/// Top and bottom of the panel of volume.
const VOLUME: (f64, f64) = (342.0, 516.0);

/// What stands around a picture.
#[derive(Clone, Debug)]
pub struct Caption {
    /// The schedule's name.
    pub name: String,
    /// One line on what happened.
    pub happened: String,
    /// The world and the seed.
    pub made_in: String,
}

/// Draws a run: of a whole pump with pressure drop, battery and everything that happened to it.
#[must_use]
pub fn draw(run: &Collect, site: &SiteTime, caption: &Caption) -> String {
    if run.whole {
        return super::whole::draw(run, site, caption);
    }
    let title = format!("{}: SIMULATED, not a sample", caption.name);
    let description = format!(
        "Flow with its target and a band of 5 % above, volume drawn below, over site time {}. {} {}",
        site.label(),
        caption.happened,
        caption.made_in
    );
    let mut svg = Svg::begin(WIDTH, HEIGHT, &title, &description);
    heading(&mut svg, site, caption, HEIGHT);
    let pumpings: Vec<&Pumping> = run.first.iter().chain(&run.last).collect();
    if pumpings.is_empty() {
        svg.text("", (WIDTH / 2.0, HEIGHT / 2.0), Anchor::Middle, "The pump was never started.");
        return svg.end();
    }
    let layout = Layout::new(run, X);
    let flow = flow_scale(&pumpings, (FLOW.1, FLOW.0));
    let volume = volume_scale(&pumpings, (VOLUME.1, VOLUME.0));
    watermark(&mut svg);
    shade_pauses(&mut svg, &layout, &[FLOW, VOLUME]);
    let from_zero = if flow.low > 0.0 { ", not from 0" } else { "" };
    flow.draw(&mut svg, X, &format!("flow, {}{from_zero}", flow.unit));
    let samples = pumpings.first().map(|p| p.sample) != pumpings.last().map(|p| p.sample);
    let each = if samples { "volume on each sampler" } else { "volume drawn" };
    volume.draw(&mut svg, X, &format!("{each}, {}", volume.unit));
    time_axis(&mut svg, &layout, site, &[FLOW, VOLUME], X.1);
    name_pauses(&mut svg, &layout, FLOW.0);
    svg.clipped("flow-panel", (X.0, FLOW.0), (X.1, FLOW.1), |svg| flow_panel(svg, &layout, &flow));
    volume_panel(&mut svg, &layout, &volume);
    svg.rect("frame", (X.0, FLOW.0), (X.1, FLOW.1));
    svg.rect("frame", (X.0, VOLUME.0), (X.1, VOLUME.1));
    breaks(&mut svg, &layout, VOLUME.1);
    legend(&mut svg, &pumpings, FLOW.0 - 12.0, false);
    svg.end()
}

/// What stands above and below the panels of a picture of a height.
pub(super) fn heading(svg: &mut Svg, site: &SiteTime, caption: &Caption, height: f64) {
    svg.text("title", (22.0, 32.0), Anchor::Start, &caption.name);
    svg.text("alert", (X.1, 30.0), Anchor::End, NOTICE);
    svg.text("muted", (22.0, 54.0), Anchor::Start, &caption.happened);
    svg.text("muted small", (22.0, height - 14.0), Anchor::Start, &caption.made_in);
    let time = format!("site time, {}", site.label());
    svg.text("muted small", (X.1, height - 14.0), Anchor::End, &time);
}

fn watermark(svg: &mut Svg) {
    let middle = f64::midpoint(X.0, X.1);
    svg.text("mark", (middle, FLOW.1 - 66.0), Anchor::Middle, "SIMULATED");
    svg.text("mark", (middle, VOLUME.1 - 46.0), Anchor::Middle, "SIMULATED");
}

/// What is what, in one line.
pub(super) fn legend(svg: &mut Svg, pumpings: &[&Pumping], y: f64, whole: bool) {
    let mut x = X.0;
    let mut entry = |svg: &mut Svg, class: &str, line: bool, text: &str| {
        if line {
            svg.line(class, &[(x, y - 4.0), (x + 22.0, y - 4.0)]);
        } else {
            svg.rect(class, (x, y - 9.0), (x + 22.0, y + 1.0));
        }
        svg.text("small muted", (x + 28.0, y), Anchor::Start, text);
        x += 28.0 + 6.2 * text.chars().count() as f64 + 22.0;
    };
    entry(svg, "flow", true, "mean flow");
    entry(svg, "range", false, "readings, least to most");
    let held: Vec<String> = pumpings
        .iter()
        .filter(|p| matches!(p.target.kind(), TargetKind::Pressure(_)))
        .map(|p| format::target(p.target))
        .collect();
    if held.len() < pumpings.len() {
        entry(svg, "target", true, "target");
        entry(svg, "band", false, "target ±5 %");
    }
    if let Some(pressure) = held.first() {
        entry(svg, "off", false, &format!("pump off; pressure held at {pressure}"));
    } else {
        entry(svg, "off", false, "pump off");
    }
    if whole {
        entry(svg, "fault", false, "fault in this world");
        entry(svg, "trip", true, "limit tripped");
    } else {
        entry(svg, "volume", true, "volume");
    }
}
