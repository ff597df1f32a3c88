//! One value over time: its scale and its curve.

use maud::{Markup, html};

use super::axis::{Axis, WIDTH};
use super::slices::Slice;
use crate::report::picture::round_ticks;

/// A pause longer than this parts a curve.
const PARTS_MS: i64 = 90_000;

/// A panel of a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// What it shows, with the unit.
    pub head: String,
    /// The class of its curve.
    pub class: &'static str,
    /// Its top edge, in px.
    pub top: f64,
    /// Its height, in px.
    pub height: f64,
    /// What stands at its bottom and top.
    pub range: (f64, f64),
    /// How many figures after the point its labels have.
    pub places: usize,
    /// Its grid.
    pub ticks: Vec<f64>,
}

impl Panel {
    /// A panel that values fit into; `zero`: from nothing on.
    pub fn new(
        head: impl Into<String>,
        class: &'static str,
        height: f64,
        (least, most): (f64, f64),
        zero: bool,
    ) -> Self {
        let room = ((most - least) * 0.15).max(most.abs() * 0.004).max(1e-6);
        let low = if zero || (least >= 0.0 && least - room < 0.3 * most) {
            least.min(0.0)
        } else {
            least - room
        };
        let high = most + room;
        let wanted = (0..6).map(|more| height / 30.0 + f64::from(more));
        let ticks = wanted.map(|n| round_ticks(low, high, n)).find(|ticks| ticks.len() > 1);
        let ticks = ticks.unwrap_or_default();
        let step = ticks.windows(2).map(|w| w[1] - w[0]).next().unwrap_or(1.0);
        let whole = |v: f64| (v - v.round()).abs() < 1e-6;
        let places = (0..6_i32).find(|p| whole(step * 10_f64.powi(*p))).unwrap_or(6);
        Self {
            head: head.into(),
            class,
            top: 0.0,
            height,
            range: (low, high),
            places: usize::try_from(places).unwrap_or(0),
            ticks,
        }
    }

    /// Where a value stands below the top of the panel, in px.
    pub fn y(&self, value: f64) -> f64 {
        let part = (value - self.range.0) / (self.range.1 - self.range.0);
        (1.0 - part.clamp(-0.5, 1.5)) * self.height
    }

    /// The grid with its labels in the margin.
    pub fn grid(&self) -> Markup {
        let bottom = self.top + self.height;
        html! {
            @for tick in &self.ticks {
                @let y = px(self.top + self.y(*tick));
                line.grid x1="0" x2="100%" y1=(y) y2=(y) {}
                text x="-8" y=(px(self.top + self.y(*tick) + 4.0)) text-anchor="end" {
                    (format!("{tick:.*}", self.places).replace('-', "\u{2212}"))
                }
            }
            line.edge x1="0" x2="100%" y1=(px(bottom)) y2=(px(bottom)) {}
        }
    }

    /// A level curve: each mean stands for its stretch of time.
    pub fn steps(
        &self,
        axis: &Axis,
        slices: &[Slice],
        value: impl Fn(&Slice) -> Option<f64>,
    ) -> Vec<String> {
        let points = slices.iter().filter_map(|s| {
            let y = self.y(value(s)?);
            Some((s, (axis.x(s.from), y), (axis.x(s.to), y)))
        });
        lines(points)
    }

    /// A curve that goes on from the end of one stretch to that of the next, through pauses too.
    pub fn slope(&self, axis: &Axis, slices: &[Slice]) -> Vec<String> {
        let mut points = Vec::new();
        for slice in slices {
            points.push((axis.x(slice.from), self.y(slice.volume.0)));
            points.push((axis.x(slice.to), self.y(slice.volume.1)));
        }
        vec![text(&points)]
    }
}

type Placed = (f64, f64);

fn lines<'a>(points: impl Iterator<Item = (&'a Slice, Placed, Placed)>) -> Vec<String> {
    let mut all: Vec<Vec<Placed>> = Vec::new();
    let mut ended = i64::MIN;
    for (slice, from, to) in points {
        if slice.from.saturating_sub(ended) > PARTS_MS {
            all.push(Vec::new());
        }
        if let Some(line) = all.last_mut() {
            line.extend([from, to]);
        }
        ended = slice.to;
    }
    all.iter().map(|line| text(line)).collect()
}

fn text(points: &[Placed]) -> String {
    let points: Vec<String> =
        points.iter().map(|(x, y)| format!("{},{}", px(*x), px(*y))).collect();
    points.join(" ")
}

/// A coordinate to a tenth.
pub fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    let whole = text.strip_suffix(".0").unwrap_or(&text);
    if whole == "-0" { "0".to_owned() } else { whole.to_owned() }
}

/// A place on the width, in percent.
pub fn percent(x: f64) -> String {
    format!("{}%", (x * 1_000.0 / WIDTH).round() / 10.0)
}

/// The least and the most of some values; none when there are none.
pub fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|v| v.is_finite()).fold(None, |range, v| {
        let (least, most) = range.unwrap_or((v, v));
        Some((least.min(v), most.max(v)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_hold_their_values() {
        for (range, zero, low) in [
            ((1.98, 2.02), false, 1.9),
            ((0.1, 2.02), false, -0.01),
            ((0.0, 963.0), true, -0.01),
            ((-12.0, -3.0), false, -20.0),
        ] {
            let panel = Panel::new("x", "flow", 120.0, range, zero);
            assert!(panel.range.0 <= range.0 && panel.range.1 > range.1 && panel.range.0 >= low);
            assert!(panel.ticks.len() > 1, "{range:?}: {:?}", panel.ticks);
            assert!(panel.y(range.1) > 0.0 && panel.y(range.0) <= 120.0);
        }
    }

    #[test]
    fn a_value_that_never_changes_has_a_scale() {
        for value in [0.0, 2.0, 101.3, -4.0] {
            let panel = Panel::new("x", "flow", 60.0, (value, value), false);
            assert!(panel.y(value).is_finite() && !panel.ticks.is_empty(), "{value}");
        }
    }
}
