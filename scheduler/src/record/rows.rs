//! What is kept of an event, as fixed layouts of [`ROW_LEN`] bytes.

use super::codes;
use super::flags::Flags;
use super::tally::{Extremes, Spread, Tally};
use crate::bytes::{Put, Take};
use crate::clock::WallMs;
use crate::event::{PassCount, PumpEnd};
use crate::machine::EventId;
use crate::meter::FlowSums;
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

/// Which row it is. A number stands for one layout: a row that is laid out anew gets another, so that rows of before an update are
/// not taken for what they are not (1 to 3 are used up).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum RowKind {
    /// A [`SpanRow`].
    Span = 4,
    /// A [`SampleRow`].
    Sample = 5,
    /// An [`EventRow`](super::EventRow).
    Event = 6,
}

impl RowKind {
    /// From the byte that stands for it.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Option<Self> {
        match byte {
            4 => Some(Self::Span),
            5 => Some(Self::Sample),
            6 => Some(Self::Event),
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
    /// How much longer than asked the pump ran, because a poll came late, in ms.
    pub overrun_ms: u32,
    /// What a person should look at: what happened in this stretch, and while the pump waited for it.
    pub flags: Flags,
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
    pub(crate) const LEN: usize = 4 + 2 + 1 + 8 + 4 + 8 + 8 + 8 + 8 + 1 + 4 + 4;

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
        out.u32(self.overrun_ms);
        out.u32(self.flags.0);
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
            overrun_ms: bytes.u32(),
            flags: Flags(bytes.u32()),
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
    /// What the readings add up to, at the sampler's inlet.
    pub flow: FlowSums,
    /// The volume at 25 °C and 101,325 Pa, of the part that was drawn while the air was measured.
    pub standard: RawVolume,
    /// For how long the air was measured, in ms; [`SampleRow::standard`] covers the sample when this is all the metered time.
    pub air_ms: u64,
    /// For how long the flow could not be corrected to the inlet, in ms.
    pub uncorrected_ms: u64,
    /// Smallest and largest mean flow over 5 min, in µL/min.
    pub interval_means: Option<(u32, u32)>,
    /// Outside temperature, in mK, over [`SampleRow::air_ms`].
    pub temperature: Extremes,
    /// Outside pressure, in Pa, over [`SampleRow::air_ms`].
    pub pressure: Extremes,
    /// Interruptions of more than 1 min, or of a length that nobody knows, while it was drawn. Those that cut a stretch short ended it by [`PumpEnd::Outage`], which is where
    /// their begin stands; so do cuts of less than a minute, and one in a pause ended no stretch.
    pub interruptions: u16,
    /// Of what was drawn through it before cuts, no checkpoint holds at most this much, in ms of pumping.
    pub unaccounted_ms: u32,
    /// What a person should look at: all that its stretches are flagged with, and what concerns it as a whole.
    pub flags: Flags,
}

impl SampleRow {
    /// Its volume, at the sampler's inlet.
    #[must_use]
    pub const fn volume(&self) -> RawVolume {
        self.flow.volume
    }

    /// For how long readings covered the time pumped, in ms.
    #[must_use]
    pub const fn metered_ms(&self) -> u64 {
        self.flow.metered_ms
    }

    /// Smallest, mean and largest flow, in µL/min.
    #[must_use]
    pub fn flow_ul_per_min(&self) -> Option<Spread> {
        let mean = self.flow.mean_ul_per_min()?;
        Some(Spread { min: self.flow.min, mean, max: self.flow.max })
    }

    /// The coefficient of variation of the flow: [`FlowSums::cv_per_myriad`].
    #[must_use]
    pub fn cv_per_myriad(&self) -> Option<u32> {
        self.flow.cv_per_myriad()
    }

    /// Outside temperature, in mK.
    #[must_use]
    pub fn temperature_mk(&self) -> Option<Spread> {
        self.temperature.over(self.air_ms)
    }

    /// Outside pressure, in Pa.
    #[must_use]
    pub fn pressure_pa(&self) -> Option<Spread> {
        self.pressure.over(self.air_ms)
    }

    /// The row of a sample that nobody has complained of, from its sums.
    #[must_use]
    pub fn of(
        event: EventId,
        number: u32,
        (begin, end): (Option<WallMs>, Option<WallMs>),
        pumped_ms: u64,
        tally: &Tally,
    ) -> Self {
        let (temperature, pressure) = tally.air();
        Self {
            event,
            number,
            begin,
            end,
            pumped_ms,
            flow: *tally.meter().sums(),
            standard: tally.standard(),
            air_ms: tally.air_ms(),
            uncorrected_ms: tally.uncorrected_ms(),
            interval_means: tally.interval_means(),
            temperature,
            pressure,
            interruptions: 0,
            unaccounted_ms: 0,
            flags: Flags(0),
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
            pumped_ms: bytes.u48(),
            flow: FlowSums::take(&mut bytes),
            standard: RawVolume::from_raw(bytes.u64()),
            air_ms: bytes.u48(),
            uncorrected_ms: bytes.u48(),
            interval_means: known(bytes.u32()).zip(known(bytes.u32())),
            temperature: Extremes::take(&mut bytes),
            pressure: Extremes::take(&mut bytes),
            interruptions: bytes.u16(),
            unaccounted_ms: bytes.u32(),
            flags: Flags(bytes.u32()),
        };
        bytes.is_good().then_some(row)
    }

    /// How many bytes it fills.
    pub(crate) const LEN: usize =
        4 + 4 + 8 + 8 + 6 + FlowSums::LEN + 8 + 6 + 6 + 8 + 2 * Extremes::LEN + 2 + 4 + 4;

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u32(self.event.0);
        out.u32(self.number);
        out.wall(self.begin);
        out.wall(self.end);
        out.u48(self.pumped_ms);
        self.flow.put(out);
        out.u64(self.standard.as_raw());
        out.u48(self.air_ms);
        out.u48(self.uncorrected_ms);
        let (low, high) = self.interval_means.unwrap_or((UNKNOWN, UNKNOWN));
        out.u32(low);
        out.u32(high);
        self.temperature.put(out);
        self.pressure.put(out);
        out.u16(self.interruptions);
        out.u32(self.unaccounted_ms);
        out.u32(self.flags.0);
    }
}

/// In place of a number that is not known.
const UNKNOWN: u32 = u32::MAX;

fn known(number: u32) -> Option<u32> {
    (number != UNKNOWN).then_some(number)
}

const _: () = assert!(
    SpanRow::LEN <= ROW_LEN
        && SampleRow::LEN <= ROW_LEN
        && super::event_row::EventRow::LEN <= ROW_LEN,
    "a row fits its slot"
);

#[cfg(test)]
mod tests;
