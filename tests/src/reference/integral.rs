//! A metered volume, as what it is: the integral of a flow over time, rectangle by rectangle.

use super::{Ml, Ms};

/// A gap longer than this between two readings is time without volume.
pub const LONGEST_RECTANGLE: Ms = 5_000;

/// What a stretch of time was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stretch {
    /// It ended with a reading of the flow in µL/min, which covers it.
    Reading(u32),
    /// No reading could be had.
    Blind,
    /// The pump stood still.
    Still,
}

/// Everything a trace amounts to.
#[derive(Clone, Debug, PartialEq)]
pub struct Amounts {
    /// The volume in mL, exact.
    pub volume: Ml,
    /// The time that readings cover.
    pub metered: Ms,
    /// The time without volume.
    pub unmetered: Ms,
    /// The number of gaps.
    pub gaps: usize,
    /// The readings that cover time: how long, and the flow.
    pub rectangles: Vec<(Ms, u32)>,
    /// Mean flow over the metered time in µL/min, exact; `None` without a reading.
    pub mean: Option<Ml>,
    /// Sample standard deviation over mean, weighted by time; `None` below two readings or without flow.
    pub cv: Option<f64>,
}

/// Sums up a trace of stretches and what each was.
#[must_use]
pub fn integral(trace: &[(Ms, Stretch)]) -> Amounts {
    let mut rectangles = Vec::new();
    let mut gaps = Vec::new();
    for (lasts, stretch) in trace.iter().copied().filter(|(lasts, _)| *lasts > 0) {
        match stretch {
            Stretch::Reading(flow) if lasts <= LONGEST_RECTANGLE => rectangles.push((lasts, flow)),
            Stretch::Reading(_) | Stretch::Blind => gaps.push(lasts),
            Stretch::Still => {}
        }
    }
    let metered: Ms = rectangles.iter().map(|r| r.0).sum();
    // q µL/min is q / 1,000 mL in 60,000 ms.
    let volume: Ml = rectangles
        .iter()
        .map(|(lasts, flow)| Ml::new(i128::from(*flow), 1_000) * Ml::new(*lasts, 60_000))
        .sum();
    let mean = (metered > 0).then(|| volume * Ml::from(60_000 * 1_000) / Ml::from(metered));
    Amounts {
        volume,
        metered,
        unmetered: gaps.iter().sum(),
        gaps: gaps.len(),
        mean,
        cv: spread(&rectangles),
        rectangles,
    }
}

/// In two passes: the mean first, then what differs from it. `sqrt(Σt(q-m)² / Σt · n / (n-1)) / m`.
fn spread(rectangles: &[(Ms, u32)]) -> Option<f64> {
    let n = rectangles.len() as f64;
    let time: f64 = rectangles.iter().map(|r| r.0 as f64).sum();
    let mean = rectangles.iter().map(|r| r.0 as f64 * f64::from(r.1)).sum::<f64>() / time;
    let apart = |flow: u32| (f64::from(flow) - mean).powi(2);
    let variance = rectangles.iter().map(|r| r.0 as f64 * apart(r.1)).sum::<f64>() / time;
    (rectangles.len() >= 2 && mean > 0.0).then(|| (variance * n / (n - 1.0)).sqrt() / mean)
}
