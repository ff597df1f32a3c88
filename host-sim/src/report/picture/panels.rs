//! What is drawn inside the panels, and what marks the time with the pump off.

use draught::units::RawVolume;

use super::axes::{Scale, off_label};
use super::collect::{Bin, Pumping};
use super::layout::{Layout, What};
use super::svg::{Anchor, Svg};
use crate::plan::format;
use crate::report::numbers;

/// With more pieces than this on the time axis, labels that say the same are left out.
const MANY: usize = 17;

/// Shades every time with the pump off.
pub fn shade_pauses(svg: &mut Svg, layout: &Layout<'_>, panels: &[(f64, f64)]) {
    for piece in &layout.pieces {
        if !matches!(piece.what, What::Pumping(_)) {
            for panel in panels {
                svg.rect("off", (piece.x.0, panel.0), (piece.x.1, panel.1));
            }
        }
    }
}

/// Says how long the pump is off, below the top of a panel; of many pauses that are alike, at the first.
pub fn name_pauses(svg: &mut Svg, layout: &Layout<'_>, top: f64) {
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
            svg.text("small muted", (middle, top + 18.0), Anchor::Middle, word);
            svg.text("small muted", (middle, top + 33.0), Anchor::Middle, length);
        } else if width > 11.0 {
            let text = format!("{word} {length}");
            svg.text_up("small muted", (middle + 4.0, top + 8.0), Anchor::End, &text);
        }
        said = Some(label);
    }
}

/// Marks where the time axis, at the bottom of the panels, is broken.
pub fn breaks(svg: &mut Svg, layout: &Layout<'_>, bottom: f64) {
    for piece in &layout.pieces {
        if !matches!(piece.what, What::Off { broken: true, .. } | What::LeftOut(_)) {
            continue;
        }
        let middle = f64::midpoint(piece.x.0, piece.x.1);
        let reach = ((piece.x.1 - piece.x.0) / 2.0).min(4.0);
        for x in [middle - reach / 2.0, middle + reach / 2.0] {
            let slash = [(x - reach / 2.0, bottom + 6.0), (x + reach / 2.0, bottom - 6.0)];
            svg.line("break", &slash);
        }
    }
}

/// Flow with its target and the band around it.
pub fn flow_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
    for (x, pumping) in stretches(layout) {
        if let Some(target) = pumping.target.as_flow() {
            let target = f64::from(target.ul_per_min());
            svg.rect("band", (x.0, scale.at(target * 1.05)), (x.1, scale.at(target * 0.95)));
            svg.line("target", &[(x.0, scale.at(target)), (x.1, scale.at(target))]);
        }
        for run in read_runs(x.0, pumping, layout.scale) {
            let upper = run.iter().map(|(x, bin)| (*x, scale.at(f64::from(bin.range.1))));
            let lower = run.iter().rev().map(|(x, bin)| (*x, scale.at(f64::from(bin.range.0))));
            svg.area("range", &upper.chain(lower).collect::<Vec<_>>());
            let means: Vec<_> = run.iter().map(|(x, bin)| (*x, scale.at(bin.mean()))).collect();
            svg.line("flow", &means);
        }
    }
}

/// The bins of a stretch with their places, cut where nothing was read.
pub fn read_runs(left: f64, pumping: &Pumping, scale: f64) -> Vec<Vec<(f64, Bin)>> {
    let mut runs = vec![Vec::new()];
    let mut from = left;
    for bin in coarse(pumping, scale) {
        let to = from + bin.ms as f64 * scale;
        if bin.read_ms == 0 {
            runs.push(Vec::new());
        } else if let Some(run) = runs.last_mut() {
            run.push((f64::midpoint(from, to), bin));
        }
        from = to;
    }
    runs.retain(|run| !run.is_empty());
    runs
}

/// What has been drawn.
pub fn volume_panel(svg: &mut Svg, layout: &Layout<'_>, scale: &Scale) {
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
        let end = points.last().copied().unwrap_or((x.1, scale.y.0));
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

/// The stretches of pumping that are drawn, with their edges.
pub fn stretches<'l>(layout: &'l Layout<'_>) -> impl Iterator<Item = ((f64, f64), &'l Pumping)> {
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
