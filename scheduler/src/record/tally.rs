//! What is summed up while a sample is drawn.

use super::air::{to_inlet, to_standard};
use crate::arithmetic::{divide, wide_product};
use crate::bytes::{Put, Take};
use crate::clock::MonoMs;
use crate::meter::{GAP_MS, Meter};
use crate::port::{Air, FlowReading};
use crate::units::RawVolume;

/// Means are taken over intervals of this length of pumping (40 CFR 50 App. L 7.4.3.1).
pub const INTERVAL_MS: u32 = 300_000;

/// Smallest, largest, and sum over time of one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Extremes {
    /// The smallest; [`u32::MAX`] when there was none.
    pub min: u32,
    /// The largest.
    pub max: u32,
    /// The sum of value · time in ms; not divided, so not rounded.
    pub sum: u64,
}

impl Extremes {
    const NONE: Self = Self { min: u32::MAX, max: 0, sum: 0 };

    #[inline(never)]
    fn see(&mut self, value: u32, ms: u64) {
        (self.min, self.max) = (self.min.min(value), self.max.max(value));
        self.sum = self.sum.saturating_add(u64::from(value).wrapping_mul(ms));
    }

    /// Smallest, mean over `ms`, and largest; `None` when there was no reading.
    pub(crate) fn over(&self, ms: u64) -> Option<Spread> {
        let mean = u32::try_from(divide(self.sum.saturating_add(ms / 2), ms)?).ok()?;
        Some(Spread { min: self.min, mean, max: self.max })
    }

    /// How many bytes it takes.
    pub(crate) const LEN: usize = 16;

    #[inline(never)]
    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u32(self.min);
        out.u32(self.max);
        out.u64(self.sum);
    }

    #[inline(never)]
    pub(crate) fn take(bytes: &mut Take<'_>) -> Self {
        Self { min: bytes.u32(), max: bytes.u32(), sum: bytes.u64() }
    }
}

/// Smallest, mean over time, and largest of what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Spread {
    /// The smallest.
    pub min: u32,
    /// The mean over time, to the nearest.
    pub mean: u32,
    /// The largest.
    pub max: u32,
}

/// Sums over one sample: volume at the sampler's inlet and at standard conditions, flow, the air, means over intervals.
///
/// Both volumes are summed as the readings come. Neither is ever made from the other, since the conditions of a whole
/// sample are not those of its parts.
///
/// ```
/// use draught::clock::MonoMs;
/// use draught::port::{Air, FlowReading};
/// use draught::record::Tally;
///
/// let air = Air { temperature_mk: 288_150, pressure_pa: 95_000 };
/// let reading = FlowReading { flow_ul_per_min: 2_000_000, drop_pa: Some(0), air_mk: None };
/// let mut tally = Tally::new(MonoMs::from_ms(0));
/// for second in 1..=60 {
///     tally.reading(MonoMs::from_ms(second * 1_000), &reading, Some(air));
/// }
/// assert_eq!(tally.meter().volume().as_ml(), 2_000);
/// // 2 L · 95,000/101,325 · 298.15/288.15
/// assert_eq!(tally.standard().as_ml(), 1_940);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    meter: Meter,
    /// At standard conditions, over the time in `air_ms`.
    standard: RawVolume,
    /// Time with a reading of flow and of the air.
    air_ms: u64,
    temperature: Extremes,
    pressure: Extremes,
    /// Time with a reading that could not be brought to the inlet.
    uncorrected_ms: u64,
    /// The interval under way: its time and volume.
    interval_ms: u32,
    interval: RawVolume,
    /// Smallest and largest mean of a whole interval, in µL/min.
    lowest: u32,
    highest: u32,
}

impl Tally {
    /// How many bytes it takes in a checkpoint.
    pub(crate) const LEN: usize = Meter::LEN + 8 + 8 + 2 * Extremes::LEN + 8 + 4 + 8 + 8;

    /// Nothing drawn yet.
    #[must_use]
    pub const fn new(start: MonoMs) -> Self {
        Self {
            meter: Meter::new(start),
            standard: RawVolume::ZERO,
            air_ms: 0,
            temperature: Extremes::NONE,
            pressure: Extremes::NONE,
            uncorrected_ms: 0,
            interval_ms: 0,
            interval: RawVolume::ZERO,
            lowest: u32::MAX,
            highest: 0,
        }
    }

    /// A reading: it stands for the time since the call before. What came of it at the sampler's inlet, in µL/min, is the answer.
    pub fn reading(&mut self, at: MonoMs, reading: &FlowReading, air: Option<Air>) -> u32 {
        let ms = at.since(self.meter.last());
        let inlet = air.and_then(|air| to_inlet(reading, air));
        let flow = match inlet {
            Some(ratio) => ratio.of_number(reading.flow_ul_per_min.into()),
            None => reading.flow_ul_per_min.into(),
        };
        let flow = u32::try_from(flow).unwrap_or(u32::MAX);
        self.meter.reading(at, flow);
        if ms > GAP_MS || ms == 0 {
            return flow;
        }
        if inlet.is_none() {
            self.uncorrected_ms = self.uncorrected_ms.saturating_add(ms);
        }
        let drawn = u64::from(flow).wrapping_mul(ms);
        if let Some((air, ratio)) = air.and_then(|air| Some((air, to_standard(air)?))) {
            let standard = RawVolume::from_raw(ratio.of_number(drawn));
            self.standard = self.standard.saturating_add(standard);
            self.air_ms = self.air_ms.saturating_add(ms);
            self.temperature.see(air.temperature_mk, ms);
            self.pressure.see(air.pressure_pa, ms);
        }
        self.go_on(drawn, ms as u32);
        flow
    }

    /// Adds to the interval under way, and closes it when it is long enough. One reading may go over its end by up to 5 s.
    fn go_on(&mut self, drawn: u64, ms: u32) {
        self.interval = self.interval.saturating_add(RawVolume::from_raw(drawn));
        self.interval_ms = self.interval_ms.saturating_add(ms);
        if self.interval_ms >= INTERVAL_MS {
            let mean = divide(self.interval.as_raw(), self.interval_ms.into()).unwrap_or(0);
            let mean = u32::try_from(mean).unwrap_or(u32::MAX);
            (self.lowest, self.highest) = (self.lowest.min(mean), self.highest.max(mean));
            (self.interval, self.interval_ms) = (RawVolume::ZERO, 0);
        }
    }

    /// The pump ran and no reading could be had since the call before.
    pub fn gap(&mut self, at: MonoMs) {
        self.meter.gap(at);
    }

    /// The pump stood still since the call before.
    pub fn idle(&mut self, at: MonoMs) {
        self.meter.idle(at);
    }

    /// Volume and flow at the sampler's inlet.
    #[must_use]
    pub const fn meter(&self) -> &Meter {
        &self.meter
    }

    /// The volume at 25 °C and 101,325 Pa of the part that was drawn while the air was measured.
    ///
    /// It is low by less than 1.5 parts in 10^8 and one unit a reading.
    #[must_use]
    pub const fn standard(&self) -> RawVolume {
        self.standard
    }

    /// For how long the air was measured, in ms. Equal to the metered time when [`Tally::standard`] covers all of the sample.
    #[must_use]
    pub const fn air_ms(&self) -> u64 {
        self.air_ms
    }

    /// For how long the flow could not be brought to the inlet, in ms.
    #[must_use]
    pub const fn uncorrected_ms(&self) -> u64 {
        self.uncorrected_ms
    }

    /// Outside temperature, in mK, and pressure, in Pa, over [`Tally::air_ms`].
    #[must_use]
    pub const fn air(&self) -> (Extremes, Extremes) {
        (self.temperature, self.pressure)
    }

    /// Smallest and largest mean flow over an interval of 5 min of pumping, in µL/min; `None` before the first is over.
    #[must_use]
    pub const fn interval_means(&self) -> Option<(u32, u32)> {
        if self.highest == 0 && self.lowest == u32::MAX {
            None
        } else {
            Some((self.lowest, self.highest))
        }
    }

    /// Whether a mean over 5 min was more than 5 % off the mean of all (40 CFR 50 App. L 7.4.5.2).
    #[must_use]
    pub fn is_unsteady(&self) -> bool {
        let Some((low, high)) = self.interval_means() else { return false };
        // The mean is volume over time: both sides times 20 and that time, so nothing is rounded.
        let ms_20 = self.meter.metered_ms().wrapping_mul(20);
        let volume = self.meter.volume().as_raw();
        wide_product(ms_20, high) > wide_product(volume, 21)
            || wide_product(ms_20, low) < wide_product(volume, 19)
    }

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        self.meter.put(out);
        out.u64(self.standard.as_raw());
        out.u64(self.air_ms);
        self.temperature.put(out);
        self.pressure.put(out);
        out.u64(self.uncorrected_ms);
        out.u32(self.interval_ms);
        out.u64(self.interval.as_raw());
        out.u32(self.lowest);
        out.u32(self.highest);
    }

    #[inline(never)]
    pub(crate) fn take(bytes: &mut Take<'_>) -> Self {
        Self {
            meter: Meter::take(bytes),
            standard: RawVolume::from_raw(bytes.u64()),
            air_ms: bytes.u64(),
            temperature: Extremes::take(bytes),
            pressure: Extremes::take(bytes),
            uncorrected_ms: bytes.u64(),
            interval_ms: bytes.u32(),
            interval: RawVolume::from_raw(bytes.u64()),
            lowest: bytes.u32(),
            highest: bytes.u32(),
        }
    }
}
