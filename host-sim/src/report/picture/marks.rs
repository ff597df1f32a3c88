//! Marks on the time axis: what the world did to a pump, and what the pump did about it.

use std::cmp::Ordering;

use draught::clock::{MonoMs, Now};

use super::collect::Mark;
use super::layout::{Layout, What};
use super::svg::{Anchor, Svg};

/// The height of a line of labels.
const LANE: f64 = 15.0;
/// More labels than that above each other are not written.
const LANES_MAX: usize = 6;
/// About the width of a letter.
const LETTER: f64 = 5.9;
/// The same of a bold one.
const BOLD_LETTER: f64 = 6.7;

/// A mark that has its place.
#[derive(Clone, Debug)]
pub struct Placed<'m> {
    mark: &'m Mark,
    label: String,
    x: f64,
    until: Option<f64>,
    /// Left and right edge of the label.
    text: (f64, f64),
    lane: Option<usize>,
}

/// Places marks so that no label lies over another, and no line of one goes through another's label.
///
/// From right to left: a label stands to the right of its line, and one that would reach into the next goes above it. At the right
/// edge, where a label has to stand to the left of its line, they come last.
pub fn place<'m>(marks: &'m [Mark], layout: &Layout<'_>, right: f64) -> Vec<Placed<'m>> {
    let mut placed: Vec<Placed<'m>> = marks
        .iter()
        .filter_map(|mark| {
            let x = x_of(layout, mark.at)?;
            let until = mark.until.map(|at| x_of(layout, at).unwrap_or(right).max(x));
            let label = mark.label.clone();
            Some(Placed { mark, label, x, until, text: (x, x), lane: None })
        })
        .collect();
    placed.sort_by(|a, b| a.x.total_cmp(&b.x));
    let mut placed = together(placed);
    for one in &mut placed {
        let letter = if one.mark.by_pump { BOLD_LETTER } else { LETTER };
        let width = letter * one.label.chars().count() as f64 + 8.0;
        let from = (one.x + 3.0).min(right - width);
        one.text = (from, from + width);
    }
    let moved = |one: &Placed<'_>| one.text.0 < one.x;
    let (at_edge, rest): (Vec<usize>, Vec<usize>) =
        (0..placed.len()).partition(|i| moved(&placed[*i]));
    for i in rest.into_iter().rev().chain(at_edge) {
        placed[i].lane = (0..LANES_MAX).find(|lane| is_free(&placed, &placed[i], *lane));
    }
    placed
}

/// Whether a label may stand in a lane.
fn is_free(placed: &[Placed<'_>], one: &Placed<'_>, lane: usize) -> bool {
    let inside = |x: f64, text: (f64, f64)| x > text.0 - 2.0 && x < text.1;
    placed.iter().filter_map(|other| Some((other, other.lane?))).all(|(other, others)| {
        let apart = one.text.1 <= other.text.0 || other.text.1 <= one.text.0;
        match others.cmp(&lane) {
            // The line of a mark goes down through all lanes below its label.
            Ordering::Equal => apart && !inside(other.x, one.text) && !inside(one.x, other.text),
            Ordering::Greater => !inside(other.x, one.text),
            Ordering::Less => !inside(one.x, other.text),
        }
    })
}

/// Marks that say the same at almost the same place become one that says how many.
fn together(placed: Vec<Placed<'_>>) -> Vec<Placed<'_>> {
    let mut kept: Vec<(Placed<'_>, u32)> = Vec::new();
    for one in placed {
        match kept.last_mut() {
            Some((last, n)) if last.mark.label == one.mark.label && one.x - last.x < 6.0 => {
                *n += 1;
                last.until = one.until.or(last.until);
            }
            _ => kept.push((one, 1)),
        }
    }
    let named = kept.into_iter().map(|(mut one, n)| {
        if n > 1 {
            one.label = format!("{n} x {}", one.label);
        }
        one
    });
    named.collect()
}

/// How high the labels are in all.
pub fn height(placed: &[Placed<'_>]) -> f64 {
    let lanes = placed.iter().filter_map(|p| p.lane).max().map_or(0, |lane| lane + 1);
    lanes as f64 * LANE
}

/// Draws the times in which something was wrong, behind everything else.
pub fn shade(svg: &mut Svg, placed: &[Placed<'_>], panels: &[(f64, f64)]) {
    for one in placed {
        let Some(until) = one.until else { continue };
        for panel in panels {
            svg.rect("fault", (one.x, panel.0), (until.max(one.x + 1.5), panel.1));
        }
    }
}

/// Draws lines and labels; the lowest label stands above `top`, lines go to the bottom of the last panel.
pub fn draw(svg: &mut Svg, placed: &[Placed<'_>], top: f64, bottom: f64) {
    for one in placed {
        let lane = one.lane.unwrap_or(0) as f64;
        let y = top - 5.0 - lane * LANE;
        let class = if one.mark.by_pump { "trip" } else { "mark-line" };
        let from = if one.lane.is_some() { y - 9.0 } else { top };
        svg.line(class, &[(one.x, from), (one.x, bottom)]);
    }
    for one in placed.iter().filter(|one| one.lane.is_some()) {
        let y = top - 5.0 - one.lane.unwrap_or(0) as f64 * LANE;
        let class = if one.mark.by_pump { "mark-text trip-text" } else { "mark-text" };
        svg.text(class, (one.text.0, y), Anchor::Start, &one.label);
    }
}

/// Where a moment stands; `None` before, after, or where nothing is drawn.
fn x_of(layout: &Layout<'_>, at: Now) -> Option<f64> {
    layout.pieces.iter().find_map(|piece| {
        let (from, ms): (MonoMs, u64) = match piece.what {
            What::Pumping(p) => (p.from.mono, p.ms()),
            What::Off { off, .. } => (off.from?.mono, off.ms()),
            What::LeftOut(_) => return None,
        };
        let after = at.mono.since(from);
        let inside = at.mono >= from && after <= ms && ms > 0;
        let part = after as f64 / ms.max(1) as f64;
        inside.then_some(piece.x.0 + part * (piece.x.1 - piece.x.0))
    })
}
