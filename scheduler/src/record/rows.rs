//! What is kept of an event, as fixed layouts of [`ROW_LEN`] bytes.

use super::codes;
use super::tally::{Spread, Tally};
use crate::bytes::{Put, Take};
use crate::clock::WallMs;
use crate::event::{PassCount, PumpEnd};
use crate::machine::EventId;
use crate::step::StepNo;
use crate::units::RawVolume;

/// Bytes of any row: it fills one slot of the journal.
pub const ROW_LEN: usize = 144;

/// One row.
pub type RowBytes = [u8; ROW_LEN];

/// How many interruptions are kept with their start (40 CFR 50 App. L 7.4.15.5: up to 10 a sample period).
pub const INTERRUPTIONS_KEPT: usize = 10;

/// An interruption up to this length is not counted (App. L 7.4.15.5: "more than 1 minute").
pub const INTERRUPTION_MS: u64 = 60_000;

/// Which row it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum RowKind {
    /// A [`SpanRow`].
    Span = 1,
    /// A [`SampleRow`].
    Sample = 2,
    /// An [`EventRow`](super::EventRow).
    Event = 3,
}

impl RowKind {
    /// From the byte that stands for it.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Option<Self> {
        match byte {
            1 => Some(Self::Span),
            2 => Some(Self::Sample),
            3 => Some(Self::Event),
            _ => None,
        }
    }
}

/// One stretch of pumping.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpanRow {
    /// The event it belongs to.
    pub event: EventId,
    /// Its number in the event, from 1.
    pub number: u16,
    /// The step.
    pub step: StepNo,
    /// The passes of the repeats around it, outermost first; 0 where there is none.
    pub passes: PassCount,
    /// The sample.
    pub sample: u32,
    /// When it began; `None` when the clock was not trusted.
    pub begin: Option<WallMs>,
    /// When it ended.
    pub end: Option<WallMs>,
    /// How long the pump ran, in ms.
    pub pumped_ms: u64,
    /// What was drawn, at the sampler's inlet.
    pub volume: RawVolume,
    /// Why it ended.
    pub by: PumpEnd,
}

impl SpanRow {
    /// Its bytes.
    #[must_use]
    pub fn to_bytes(&self) -> RowBytes {
        let mut bytes = [0; ROW_LEN];
        self.put(&mut Put::new(&mut bytes));
        bytes
    }

    /// From its bytes; `None` when they are none.
    #[must_use]
    pub fn from_bytes(bytes: &RowBytes) -> Option<Self> {
        let mut bytes = Take::new(bytes);
        let row = Self::take(&mut bytes)?;
        bytes.is_good().then_some(row)
    }

    /// How many bytes it fills.
    pub(crate) const LEN: usize = 4 + 2 + 1 + 8 + 4 + 8 + 8 + 8 + 8 + 1;

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u32(self.event.0);
        out.u16(self.number);
        out.u8(self.step.get());
        self.passes.0.iter().for_each(|&pass| out.u16(pass));
        out.u32(self.sample);
        out.wall(self.begin);
        out.wall(self.end);
        out.u64(self.pumped_ms);
        out.u64(self.volume.as_raw());
        out.u8(codes::of_pump_end(self.by));
    }

    #[inline(never)]
    pub(crate) fn take(bytes: &mut Take<'_>) -> Option<Self> {
        Some(Self {
            event: EventId(bytes.u32()),
            number: bytes.u16(),
            step: StepNo::new(bytes.u8()).ok()?,
            passes: PassCount([bytes.u16(), bytes.u16(), bytes.u16(), bytes.u16()]),
            sample: bytes.u32(),
            begin: bytes.wall(),
            end: bytes.wall(),
            pumped_ms: bytes.u64(),
            volume: RawVolume::from_raw(bytes.u64()),
            by: codes::pump_end(bytes.u8())?,
        })
    }
}

/// What one sampler collected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SampleRow {
    /// The event it belongs to.
    pub event: EventId,
    /// Its number in the event, from 1.
    pub number: u32,
    /// When pumping first began on it.
    pub begin: Option<WallMs>,
    /// When pumping last ended on it.
    pub end: Option<WallMs>,
    /// How long the pump ran, outages and pauses left out, in ms.
    pub pumped_ms: u64,
    /// For how long readings covered that, in ms.
    pub metered_ms: u64,
    /// How many readings there were.
    pub readings: u32,
    /// What was drawn, at the sampler's inlet.
    pub volume: RawVolume,
    /// The same at 25 °C and 101,325 Pa, of the part that was drawn while the air was measured.
    pub standard: RawVolume,
    /// For how long the air was measured, in ms; [`SampleRow::standard`] covers the sample when this is `metered_ms`.
    pub air_ms: u64,
    /// For how long the flow could not be corrected to the inlet, in ms.
    pub uncorrected_ms: u64,
    /// Flow, in µL/min.
    pub flow_ul_per_min: Option<Spread>,
    /// Coefficient of variation of the flow, in hundredths of a percent.
    pub cv_per_myriad: Option<u32>,
    /// Smallest and largest mean flow over 5 min, in µL/min.
    pub interval_means: Option<(u32, u32)>,
    /// Outside temperature, in mK.
    pub temperature_mk: Option<Spread>,
    /// Outside pressure, in Pa.
    pub pressure_pa: Option<Spread>,
}

impl SampleRow {
    /// The row of a sample, from its sums.
    #[must_use]
    pub fn of(
        event: EventId,
        number: u32,
        (begin, end): (Option<WallMs>, Option<WallMs>),
        pumped_ms: u64,
        tally: &Tally,
    ) -> Self {
        let meter = tally.meter();
        let flow = meter.min_ul_per_min().zip(meter.max_ul_per_min());
        Self {
            event,
            number,
            begin,
            end,
            pumped_ms,
            metered_ms: meter.metered_ms(),
            readings: meter.readings(),
            volume: meter.volume(),
            standard: tally.standard(),
            air_ms: tally.air_ms(),
            uncorrected_ms: tally.uncorrected_ms(),
            flow_ul_per_min: flow.zip(meter.mean_ul_per_min()).map(|((min, max), mean)| Spread {
                min,
                mean,
                max,
            }),
            cv_per_myriad: meter.cv_per_myriad(),
            interval_means: tally.interval_means(),
            temperature_mk: tally.temperature_mk(),
            pressure_pa: tally.pressure_pa(),
        }
    }

    /// Its bytes.
    #[must_use]
    pub fn to_bytes(&self) -> RowBytes {
        let mut bytes = [0; ROW_LEN];
        self.put(&mut Put::new(&mut bytes));
        bytes
    }

    /// From its bytes; `None` when they are none.
    #[must_use]
    pub fn from_bytes(bytes: &RowBytes) -> Option<Self> {
        let mut bytes = Take::new(bytes);
        let row = Self {
            event: EventId(bytes.u32()),
            number: bytes.u32(),
            begin: bytes.wall(),
            end: bytes.wall(),
            pumped_ms: bytes.u64(),
            metered_ms: bytes.u64(),
            readings: bytes.u32(),
            volume: RawVolume::from_raw(bytes.u64()),
            standard: RawVolume::from_raw(bytes.u64()),
            air_ms: bytes.u64(),
            uncorrected_ms: bytes.u64(),
            flow_ul_per_min: spread(&mut bytes),
            cv_per_myriad: known(bytes.u32()),
            interval_means: known(bytes.u32()).zip(known(bytes.u32())),
            temperature_mk: spread(&mut bytes),
            pressure_pa: spread(&mut bytes),
        };
        bytes.is_good().then_some(row)
    }

    /// How many bytes it fills.
    #[cfg(test)]
    pub(crate) const LEN: usize = 4 + 4 + 8 + 8 + 8 + 8 + 4 + 8 + 8 + 8 + 8 + 12 + 4 + 8 + 12 + 12;

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u32(self.event.0);
        out.u32(self.number);
        out.wall(self.begin);
        out.wall(self.end);
        out.u64(self.pumped_ms);
        out.u64(self.metered_ms);
        out.u32(self.readings);
        out.u64(self.volume.as_raw());
        out.u64(self.standard.as_raw());
        out.u64(self.air_ms);
        out.u64(self.uncorrected_ms);
        put_spread(out, self.flow_ul_per_min);
        out.u32(self.cv_per_myriad.unwrap_or(UNKNOWN));
        let (low, high) = self.interval_means.unwrap_or((UNKNOWN, UNKNOWN));
        out.u32(low);
        out.u32(high);
        put_spread(out, self.temperature_mk);
        put_spread(out, self.pressure_pa);
    }
}

/// In place of a number that is not known.
const UNKNOWN: u32 = u32::MAX;

fn known(number: u32) -> Option<u32> {
    (number != UNKNOWN).then_some(number)
}

fn put_spread(out: &mut Put<'_>, spread: Option<Spread>) {
    let Spread { min, mean, max } =
        spread.unwrap_or(Spread { min: UNKNOWN, mean: UNKNOWN, max: UNKNOWN });
    out.u32(min);
    out.u32(mean);
    out.u32(max);
}

fn spread(bytes: &mut Take<'_>) -> Option<Spread> {
    let (min, mean, max) = (bytes.u32(), bytes.u32(), bytes.u32());
    (min != UNKNOWN).then_some(Spread { min, mean, max })
}

const _: () = assert!(
    SpanRow::LEN <= ROW_LEN && super::event_row::EventRow::LEN <= ROW_LEN,
    "a row fits its slot"
);

#[cfg(test)]
mod tests;
