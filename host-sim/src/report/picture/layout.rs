//! Where on the paper a moment stands.
//!
//! Stretches of pumping are drawn to one scale, side by side. A pause that is short beside them is drawn to the
//! same scale; a longer one is a narrow break that says how long it is.

use super::collect::{Collect, Off, Pumping};

/// A stretch of the time axis.
#[derive(Clone, Copy, Debug)]
pub struct Piece<'a> {
    /// Its left and right edge.
    pub x: (f64, f64),
    /// What it is.
    pub what: What<'a>,
}

/// What a piece of the time axis is.
#[derive(Clone, Copy, Debug)]
pub enum What<'a> {
    /// Pumping.
    Pumping(&'a Pumping),
    /// The pump is off; drawn to scale or as a break.
    Off {
        /// Why.
        off: Off,
        /// Whether it is a break, narrower than its time.
        broken: bool,
    },
    /// Stretches of pumping that are not drawn.
    LeftOut(u64),
}

/// The time axis.
#[derive(Clone, Debug)]
pub struct Layout<'a> {
    /// Its pieces, from left to right.
    pub pieces: Vec<Piece<'a>>,
    /// The scale, in px a ms.
    pub scale: f64,
}

/// A pause longer than this part of all the pumping is a break.
const TO_SCALE: f64 = 0.15;

impl<'a> Layout<'a> {
    /// Lays a run out between two edges.
    pub fn new(run: &'a Collect, (left, right): (f64, f64)) -> Self {
        let pumpings: Vec<&Pumping> = run.first.iter().chain(&run.last).collect();
        let pumped: u64 = pumpings.iter().map(|p| p.ms()).sum();
        let long = |off: Off| off.ms() as f64 > TO_SCALE * pumped as f64;
        let mut whats = Vec::new();
        for (i, pumping) in pumpings.iter().enumerate() {
            if run.left_out > 0 && i == run.first.len() {
                whats.push(What::LeftOut(run.left_out));
            } else if pumping.off.ms() > 0 {
                // What is before the first start is not part of the sampling.
                let broken = i == 0 || long(pumping.off);
                whats.push(What::Off { off: pumping.off, broken });
            }
            whats.push(What::Pumping(pumping));
        }
        if run.after.ms() > 0 {
            whats.push(What::Off { off: run.after, broken: long(run.after) });
        }
        let breaks = whats.iter().filter(|w| w.ms().is_none()).count() as f64;
        // Breaks take a fifth of the paper at most.
        let break_width = (0.2 * (right - left) / breaks.max(1.0)).min(26.0);
        let to_scale: u64 = whats.iter().filter_map(What::ms).sum();
        let scale = (right - left - breaks * break_width) / (to_scale.max(1) as f64);
        let mut x = left;
        let pieces = whats
            .into_iter()
            .map(|what| {
                let from = x;
                x += what.ms().map_or(break_width, |ms| ms as f64 * scale);
                Piece { x: (from, x), what }
            })
            .collect();
        Self { pieces, scale }
    }
}

impl What<'_> {
    /// Its time, if it is drawn to scale.
    fn ms(&self) -> Option<u64> {
        match self {
            Self::Pumping(p) => Some(p.ms()),
            Self::Off { off, broken: false } => Some(off.ms()),
            Self::Off { .. } | Self::LeftOut(_) => None,
        }
    }
}

/// Round numbers from `low` to `high`, about `wanted` of them.
#[must_use]
pub fn round_ticks(low: f64, high: f64, wanted: f64) -> Vec<f64> {
    let rough = (high - low) / wanted;
    if rough.is_nan() || rough <= 0.0 {
        return vec![low];
    }
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough);
    let step = step.unwrap_or(10.0 * power);
    let first = (low / step).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(|i| i as f64 * step).collect()
}

/// The steps between time ticks, in ms.
const TIME_STEPS: [u64; 16] = [
    1_000, 5_000, 15_000, 60_000, 120_000, 300_000, 600_000, 900_000, 1_800_000, 3_600_000,
    7_200_000, 10_800_000, 14_400_000, 21_600_000, 43_200_000, 86_400_000,
];

/// The smallest step between time ticks that leaves them `px` apart.
#[must_use]
pub fn time_step(scale: f64, px: f64) -> u64 {
    let step = TIME_STEPS.into_iter().find(|ms| *ms as f64 * scale >= px);
    step.unwrap_or_else(|| {
        let days = (px / scale / 86_400_000.0).ceil().max(1.0) as u64;
        days * 86_400_000
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        assert_eq!(round_ticks(0.0, 10.0, 5.0), [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]);
        assert_eq!(round_ticks(1.76, 2.24, 5.0), [1.8, 1.9000000000000001, 2.0, 2.1, 2.2]);
        assert_eq!(round_ticks(3.0, 3.0, 5.0), [3.0]);
        assert_eq!(time_step(960.0 / 900_000.0, 60.0), 60_000);
        assert_eq!(time_step(960.0 / 28_800_000.0, 62.0), 3_600_000);
    }
}
