//! The picture itself.

use draught::units::{RawVolume, TargetKind};

use super::axes::{Scale, flow_scale, off_label, time_axis, volume_scale};
use super::collect::{Bin, Collect, Pumping};
use super::layout::{Layout, What};
use super::svg::{Anchor, Svg};
use crate::plan::format;
use crate::plan::site::SiteTime;
use crate::report::numbers;

const WIDTH: f64 = 1_000.0;
const HEIGHT: f64 = 600.0;
/// Left and right edge of the panels.
const X: (f64, f64) = (78.0, 972.0);
/// Top and bottom of the panel of flow.
const FLOW: (f64, f64) = (96.0, 312.0);
/// Top and bottom of the panel of volume.
const VOLUME: (f64, f64) = (342.0, 516.0);

/// With more pieces than this on the time axis, labels that say the same are left out.
const MANY: usize = 17;

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

/// Draws a run.
#[must_use]
pub fn draw(run: &Collect, site: &SiteTime, caption: &Caption) -> String {
    let title = format!("{}: SIMULATED, not a sample", caption.name);
    let description = format!(
        "Flow with its target and a band of 5 % above, volume drawn below, over site time {}. {} {}",
        site.label(),
        caption.happened,
        caption.made_in
    );
    let mut svg = Svg::begin(WIDTH, HEIGHT, &title, &description);
    heading(&mut svg, site, caption);
    let pumpings: Vec<&Pumping> = run.first.iter().chain(&run.last).collect();
    if pumpings.is_empty() {
        svg.text("", (WIDTH / 2.0, HEIGHT / 2.0), Anchor::Middle, "The pump was never started.");
        return svg.end();
    }
    let layout = Layout::new(run, X);
    let flow = flow_scale(&pumpings, (FLOW.1, FLOW.0));
    let volume = volume_scale(&pumpings, (VOLUME.1, VOLUME.0));
    watermark(&mut svg);
    shade_pauses(&mut svg, &layout);
    let from_zero = if flow.low > 0.0 { ", not from 0" } else { "" };
    flow.draw(&mut svg, X, &format!("flow, {}{from_zero}", flow.unit));
    let samples = pumpings.first().map(|p| p.sample) != pumpings.last().map(|p| p.sample);
    let each = if samples { "volume on each sampler" } else { "volume drawn" };
    volume.draw(&mut svg, X, &format!("{each}, {}", volume.unit));
    time_axis(&mut svg, &layout, site, &[FLOW, VOLUME], X.1);
    name_pauses(&mut svg, &layout);
    svg.clipped("flow-panel", (X.0, FLOW.0), (X.1, FLOW.1), |svg| flow_panel(svg, &layout, &flow));
    volume_panel(&mut svg, &layout, &volume);
    svg.rect("frame", (X.0, FLOW.0), (X.1, FLOW.1));
    svg.rect("frame", (X.0, VOLUME.0), (X.1, VOLUME.1));
    breaks(&mut svg, &layout);
    legend(&mut svg, &pumpings);
    svg.end()
}

fn heading(svg: &mut Svg, site: &SiteTime, caption: &Caption) {
    svg.text("title", (22.0, 32.0), Anchor::Start, &caption.name);
    svg.text("alert", (X.1, 30.0), Anchor::End, "SIMULATED, NOT A SAMPLE");
    svg.text("muted", (22.0, 54.0), Anchor::Start, &caption.happened);
    svg.text("muted small", (22.0, HEIGHT - 14.0), Anchor::Start, &caption.made_in);
    let time = format!("site time, {}", site.label());
    svg.text("muted small", (X.1, HEIGHT - 14.0), Anchor::End, &time);
}

fn watermark(svg: &mut Svg) {
    let middle = f64::midpoint(X.0, X.1);
    svg.text("mark", (middle, FLOW.1 - 66.0), Anchor::Middle, "SIMULATED");
    svg.text("mark", (middle, VOLUME.1 - 46.0), Anchor::Middle, "SIMULATED");
}

/// Shades every time with the pump off.
fn shade_pauses(svg: &mut Svg, layout: &Layout<'_>) {
    for piece in &layout.pieces {
        if !matches!(piece.what, What::Pumping(_)) {
            svg.rect("off", (piece.x.0, FLOW.0), (piece.x.1, FLOW.1));
            svg.rect("off", (piece.x.0, VOLUME.0), (piece.x.1, VOLUME.1));
        }
    }
}

/// Says how long the pump is off; of many pauses that are alike, at the first.
fn name_pauses(svg: &mut Svg, layout: &Layout<'_>) {
    let mut said = None;
    for piece in &layout.pieces {
        let label = match piece.what {
            What::Pumping(_) => continue,
            What::Off { off, .. } => off_label(off),
            What::LeftOut(n) => ("more, not drawn:", format::grouped(n)),
        };
        if said.as_ref() == Some(&label) && layout.pieces.len() > MANY {
            continue;
        }
        let (word, length) = &label;
        let middle = f64::midpoint(piece.x.0, piece.x.1);
        let width = piece.x.1 - piece.x.0;
        if width > 6.6 * word.len().max(length.len()) as f64 {
            svg.text("small muted", (middle, FLOW.0 + 18.0), Anchor::Middle, word);
            svg.text("small muted", (middle, FLOW.0 + 33.0), Anchor::Middle, length);
        } else if width > 11.0 {
            let text = format!("{word} {length}");
            svg.text_up("small muted", (middle + 4.0, FLOW.0 + 8.0), Anchor::End, &text);
        }
        said = Some(label);
    }
}

/// Marks where the time axis is broken.
fn breaks(svg: &mut Svg, layout: &Layout<'_>) {
    for piece in &layout.pieces {
        if !matches!(piece.what, What::Off { broken: true, .. } | What::LeftOut(_)) {
            continue;
        }
        let middle = f64::midpoint(piece.x.0, piece.x.1);
        let reach = ((piece.x.1 - piece.x.0) / 2.0).min(4.0);
        for x in [middle - reach / 2.0, middle + reach / 2.0] {
            let slash = [(x - reach / 2.0, VOLUME.1 + 6.0), (x + reach / 2.0, VOLUME.1 - 6.0)];
            svg.line("break", &slash);
        }
    }
}

fn flow_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
    for (x, pumping) in stretches(layout) {
        if let Some(target) = pumping.target.as_flow() {
            let target = f64::from(target.ul_per_min());
            svg.rect("band", (x.0, scale.at(target * 1.05)), (x.1, scale.at(target * 0.95)));
            svg.line("target", &[(x.0, scale.at(target)), (x.1, scale.at(target))]);
        }
        let bins = coarse(pumping, layout.scale);
        let mut upper = Vec::new();
        let mut lower = Vec::new();
        let mut means = Vec::new();
        let mut from = x.0;
        for bin in &bins {
            let to = from + bin.ms as f64 * layout.scale;
            let middle = f64::midpoint(from, to);
            upper.push((middle, scale.at(f64::from(bin.range.1))));
            lower.push((middle, scale.at(f64::from(bin.range.0))));
            means.push((middle, scale.at(bin.mean())));
            from = to;
        }
        upper.extend(lower.into_iter().rev());
        svg.area("range", &upper);
        svg.line("flow", &means);
    }
}

fn volume_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
    let stretches: Vec<_> = stretches(layout).collect();
    for (i, (x, pumping)) in stretches.iter().enumerate() {
        let mut drawn = pumping.before;
        let mut at = x.0;
        let mut points = vec![(at, scale.at(drawn.as_raw() as f64))];
        for bin in coarse(pumping, layout.scale) {
            drawn = drawn.saturating_add(bin.volume);
            at += bin.ms as f64 * layout.scale;
            points.push((at, scale.at(drawn.as_raw() as f64)));
        }
        let end = points.last().copied().unwrap_or((x.1, VOLUME.1));
        let next = stretches.get(i + 1).filter(|(_, p)| p.sample == pumping.sample);
        if let Some((next, later)) = next {
            // Nothing is drawn in a pause; where stretches are left out, it goes on elsewhere.
            if later.before == drawn {
                points.push((next.0, end.1));
            }
        } else {
            volume_label(svg, end, drawn, i, &stretches);
        }
        svg.line("volume", &points);
    }
}

/// Writes how much there was at the end of a sample, if there is room for it.
fn volume_label(
    svg: &mut Svg,
    end: (f64, f64),
    drawn: RawVolume,
    i: usize,
    stretches: &[((f64, f64), &Pumping)],
) {
    let label = numbers::volume(drawn);
    let sample = stretches[i].1.sample;
    let first = stretches.iter().find(|(_, p)| p.sample == sample).map_or(end.0, |(x, _)| x.0);
    if end.0 - first > 7.6 * label.len() as f64 {
        svg.text("volume-text", (end.0 - 6.0, end.1 - 7.0), Anchor::End, &label);
    }
}

fn stretches<'l>(layout: &'l Layout<'_>) -> impl Iterator<Item = ((f64, f64), &'l Pumping)> {
    layout.pieces.iter().filter_map(|piece| match piece.what {
        What::Pumping(p) => Some((piece.x, p)),
        _ => None,
    })
}

/// The bins of a stretch, put together so that each is at least a pixel wide.
fn coarse(pumping: &Pumping, scale: f64) -> Vec<Bin> {
    let per_bin = pumping.bin_ms as f64 * scale;
    let together = (1.0 / per_bin).ceil().clamp(1.0, 1e6) as usize;
    pumping
        .bins
        .chunks(together)
        .filter_map(|bins| bins.iter().copied().reduce(|a, b| a.with(&b)))
        .collect()
}

fn legend(svg: &mut Svg, pumpings: &[&Pumping]) {
    let y = FLOW.0 - 12.0;
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
    entry(svg, "volume", true, "volume");
}
