//! What a chart is drawn from: stretches of time with what was read in them.

use jiff::Timestamp;

use crate::results::{Instant, SampleResult};

/// A stretch of time with a mean of everything that was read in it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slice {
    /// When it begins, in ms.
    pub from: i64,
    /// When it ends, in ms.
    pub to: i64,
    /// Flow, in L/min.
    pub flow: f64,
    /// True flow, which only a simulator knows.
    pub truth: Option<f64>,
    /// Volume at its beginning and at its end, in L.
    pub volume: (f64, f64),
    /// Pressure drop across the train, in kPa.
    pub drop: Option<f64>,
    /// Temperature of the air, in °C.
    pub warmth: Option<f64>,
    /// Pressure of the air, in kPa.
    pub air: Option<f64>,
    /// What is left of the battery, in percent.
    pub battery: Option<f64>,
}

/// How the times of slices are to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// As civil time of the site, as if it were UTC.
    Site,
    /// After arming: the pump's clock was not trusted.
    AfterArming,
}

/// A sample as slices, and where they come from.
#[derive(Clone, Debug, PartialEq)]
pub struct Slices {
    /// In order of time.
    pub all: Vec<Slice>,
    /// What their times are.
    pub clock: Clock,
    /// From the means over 5 min; otherwise from the stretches of pumping.
    pub from_series: bool,
}

/// A moment in the site's civil time, in ms as if it were UTC.
pub fn civil_ms(instant: &Instant, offset_minutes: i32) -> Option<i64> {
    let at: Timestamp = instant.utc.parse().ok()?;
    Some(at.as_millisecond() + i64::from(offset_minutes) * 60_000)
}

impl Slices {
    /// Of a sample; none when nothing was pumped on it, or nobody knows when.
    pub fn of(sample: &SampleResult, offset_minutes: i32) -> Option<Self> {
        let slices = if sample.series.is_empty() {
            spans(sample, offset_minutes)
        } else {
            series(sample, offset_minutes)
        };
        (!slices.all.is_empty()).then_some(slices)
    }

    /// When it begins and ends.
    pub fn range(&self) -> (i64, i64) {
        let from = self.all.first().map_or(0, |s| s.from);
        (from, self.all.iter().map(|s| s.to).max().unwrap_or(from))
    }
}

fn series(sample: &SampleResult, offset_minutes: i32) -> Slices {
    let after = |ms: u64| i64::try_from(ms).unwrap_or(i64::MAX / 4).min(i64::MAX / 4);
    // One trusted reading of the clock tells when the pump was armed, and the pump's timer the rest.
    let armed = sample.series.iter().find_map(|point| {
        let at = civil_ms(point.from.as_ref()?, offset_minutes)?;
        Some(at - after(point.ms_after_arming))
    });
    let mut before = 0.0;
    let all = sample.series.iter().filter(|p| p.read_ms > 0).map(|point| {
        let from = armed.unwrap_or(0) + after(point.ms_after_arming);
        let volume = (before, point.cumulative_l);
        before = point.cumulative_l;
        Slice {
            from,
            to: from + after(point.read_ms),
            flow: point.flow_l_per_min,
            truth: point.true_flow_l_per_min,
            volume,
            drop: Some(point.drop_kpa),
            warmth: Some(point.temperature_c),
            air: Some(point.pressure_kpa),
            battery: point.battery_percent,
        }
    });
    let clock = if armed.is_some() { Clock::Site } else { Clock::AfterArming };
    Slices { all: sound(all), clock, from_series: true }
}

fn spans(sample: &SampleResult, offset_minutes: i32) -> Slices {
    let mut before = 0.0;
    let all = sample.spans.iter().filter_map(|span| {
        let from = civil_ms(span.begin.as_ref()?, offset_minutes)?;
        let to = civil_ms(span.end.as_ref()?, offset_minutes)?;
        let volume = (before, before + span.volume_l);
        before = volume.1;
        let flow = span.volume_l / (span.pumped_ms as f64 / 60_000.0);
        Some(Slice { from, to, flow, volume, ..Slice::default() })
    });
    Slices { all: sound(all), clock: Clock::Site, from_series: false }
}

/// What can be drawn, in order of time.
fn sound(slices: impl Iterator<Item = Slice>) -> Vec<Slice> {
    let sound = |s: &Slice| {
        s.to > s.from && s.flow.is_finite() && s.volume.0.is_finite() && s.volume.1.is_finite()
    };
    let mut all: Vec<Slice> = slices.filter(sound).collect();
    all.sort_by_key(|s| s.from);
    all
}
