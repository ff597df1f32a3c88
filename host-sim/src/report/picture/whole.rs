//! The picture of a whole pump: flow, pressure drop, volume and battery on one time axis, with everything that happened to it.

use draught::units::TargetKind;

use super::axes::{Scale, flow_scale, time_axis, volume_scale};
use super::collect::{Collect, Pumping};
use super::draw::{Caption, WIDTH, X, heading, legend};
use super::layout::Layout;
use super::marks;
use super::panels::{
    breaks, flow_panel, name_pauses, read_runs, shade_pauses, stretches, volume_panel,
};
use super::svg::{Anchor, Svg};
use crate::plan::format;
use crate::plan::site::SiteTime;

/// Heights of the panels of flow, drop, volume and battery, and what is between two.
const HEIGHTS: [f64; 4] = [190.0, 104.0, 132.0, 84.0];
const BETWEEN: f64 = 20.0;
/// Where labels of marks may begin.
const TOP: f64 = 94.0;
/// Time axis and what was made how.
const BELOW: f64 = 76.0;

/// Draws a run of a whole pump.
pub fn draw(run: &Collect, site: &SiteTime, caption: &Caption) -> String {
    let pumpings: Vec<&Pumping> = run.first.iter().chain(&run.last).collect();
    let layout = Layout::new(run, X);
    let placed = marks::place(&run.marks, &layout, X.1);
    let on_mains = pumpings.iter().all(|p| p.bins.iter().all(|bin| bin.battery.is_none()));
    let mut panels = Vec::new();
    let mut top = TOP + marks::height(&placed) + 4.0;
    for height in HEIGHTS.iter().take(if on_mains { 3 } else { 4 }) {
        panels.push((top, top + height));
        top += height + BETWEEN;
    }
    let height = top - BETWEEN + BELOW;
    let title = format!("{}: SIMULATED, not a sample", caption.name);
    let mut svg = Svg::begin(WIDTH, height, &title, &description(run, site, caption, on_mains));
    heading(&mut svg, site, caption, height);
    if pumpings.is_empty() {
        svg.text("", (WIDTH / 2.0, height / 2.0), Anchor::Middle, "The pump was never started.");
        return svg.end();
    }
    let upside_down = |panel: (f64, f64)| (panel.1, panel.0);
    let flow = flow_scale(&pumpings, upside_down(panels[0]));
    let drop = drop_scale(&pumpings, upside_down(panels[1]));
    let volume = volume_scale(&pumpings, upside_down(panels[2]));
    let middle = f64::midpoint(X.0, X.1);
    for panel in [panels[0], panels[2]] {
        let y = f64::midpoint(panel.0, panel.1) + 36.0;
        svg.text("mark", (middle, y), Anchor::Middle, "SIMULATED");
    }
    shade_pauses(&mut svg, &layout, &panels);
    marks::shade(&mut svg, &placed, &panels);
    let from_zero = if flow.low > 0.0 { ", not from 0" } else { "" };
    flow.draw(&mut svg, X, &format!("flow, {}{from_zero}", flow.unit));
    drop.draw(&mut svg, X, &format!("drop, {}", drop.unit));
    let samples = pumpings.first().map(|p| p.sample) != pumpings.last().map(|p| p.sample);
    let each = if samples { "each sample, " } else { "volume, " };
    volume.draw(&mut svg, X, &format!("{each}{}", volume.unit));
    let battery = panels.get(3).map(|panel| battery_scale(upside_down(*panel)));
    if let Some(battery) = &battery {
        battery.draw(&mut svg, X, "battery, %");
    }
    time_axis(&mut svg, &layout, site, &panels, X.1);
    let (first, bottom) = (panels[0], panels.last().map_or(0.0, |p| p.1));
    svg.clipped("flow-panel", (X.0, first.0), (X.1, first.1), |svg| {
        flow_panel(svg, &layout, &flow)
    });
    drop_panel(&mut svg, &layout, &drop);
    volume_panel(&mut svg, &layout, &volume);
    if let Some(battery) = &battery {
        battery_panel(&mut svg, &layout, battery);
    }
    for panel in &panels {
        svg.rect("frame", (X.0, panel.0), (X.1, panel.1));
    }
    breaks(&mut svg, &layout, bottom);
    marks::draw(&mut svg, &placed, first.0, bottom);
    name_pauses(&mut svg, &layout, first.0);
    legend(&mut svg, &pumpings, 78.0, true);
    svg.end()
}

/// The picture in words.
fn description(run: &Collect, site: &SiteTime, caption: &Caption, on_mains: bool) -> String {
    let panels = if on_mains { "and volume drawn" } else { "volume drawn and battery" };
    let mut text = format!(
        "Flow with its target and a band of 5 %, pressure drop across the sampling train, {panels}, over site time {}. {}",
        site.label(),
        caption.happened,
    );
    for mark in &run.marks {
        let at = mark.at.wall.map_or(String::new(), |w| format!("{}: ", site.day_time(round(w))));
        text += &format!(" {at}{}.", mark.label);
    }
    text + " " + &caption.made_in
}

/// To the second: a pump is a few ms late here and there.
fn round(wall: draught::clock::WallMs) -> draught::clock::WallMs {
    draught::clock::WallMs::from_ms((wall.as_ms() + 500) / 1_000 * 1_000).unwrap_or(wall)
}

/// The axis of pressure drop, from nothing to the most.
fn drop_scale(pumpings: &[&Pumping], y: (f64, f64)) -> Scale {
    let bins = pumpings.iter().flat_map(|p| &p.bins);
    let most = f64::from(bins.map(|bin| bin.drop.1).max().unwrap_or(0)).max(10.0);
    let (unit, size) = if most >= 1_000.0 { ("kPa", 1_000.0) } else { ("Pa", 1.0) };
    Scale { low: 0.0, high: most * 1.12 / size, unit, size, y }
}

/// The axis of the battery, in 0.01 %.
fn battery_scale(y: (f64, f64)) -> Scale {
    Scale { low: 0.0, high: 104.0, unit: "%", size: 100.0, y }
}

fn drop_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
    for (x, pumping) in stretches(layout) {
        if let TargetKind::Pressure(held) = pumping.target.kind() {
            let held = f64::from(held.as_pa());
            svg.rect("band", (x.0, scale.at(held * 1.05)), (x.1, scale.at(held * 0.95)));
            svg.line("target", &[(x.0, scale.at(held)), (x.1, scale.at(held))]);
        }
        for run in read_runs(x.0, pumping, layout.scale) {
            let upper = run.iter().map(|(x, bin)| (*x, scale.at(bin.drop.1.into())));
            let lower = run.iter().rev().map(|(x, bin)| (*x, scale.at(bin.drop.0.into())));
            svg.area("drop-range", &upper.chain(lower).collect::<Vec<_>>());
            let means: Vec<_> =
                run.iter().map(|(x, bin)| (*x, scale.at(bin.mean_drop()))).collect();
            svg.line("drop", &means);
        }
    }
}

/// One line through everything: a battery goes on while the pump is off.
fn battery_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
    let mut points = Vec::new();
    let mut last = None;
    for (x, pumping) in stretches(layout) {
        for (x, bin) in read_runs(x.0, pumping, layout.scale).into_iter().flatten() {
            if let Some(left) = bin.battery {
                points.push((x, scale.at(left.into())));
                last = Some(left);
            }
        }
    }
    svg.line("battery", &points);
    if let (Some(end), Some(left)) = (points.last(), last) {
        let text = format!("{} %", format::grouped(u64::from(left + 50) / 100));
        let above = end.1 - 7.0 > scale.y.1 + 12.0;
        let y = if above { end.1 - 7.0 } else { end.1 + 16.0 };
        svg.text("small muted", (end.0 - 4.0, y), Anchor::End, &text);
    }
}
