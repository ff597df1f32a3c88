//! What is kept of an event, as fixed layouts of [`ROW_LEN`] bytes.

use super::codes;
use super::tally::{Spread, Tally};
use crate::bytes::{Put, Take};
use crate::clock::WallMs;
use crate::event::{EndReason, PassCount, PumpEnd};
use crate::machine::EventId;
use crate::step::StepNo;
use crate::units::RawVolume;
use crate::wire::ScheduleId;

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
    /// An [`EventRow`].
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

/// Where a record comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Origin {
    /// A pump drew air.
    Pump,
    /// A simulation: not a sample.
    Simulated,
}

/// What a person should look at, as bits. A flag asks for a review; it does not void a sample by itself (40 CFR 50 App. L 10.12).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Flags(pub u32);

impl Flags {
    /// A mean flow over 5 min was more than 5 % off the mean of its sample (App. L 7.4.5.2).
    pub const FLOW_UNSTEADY: Self = Self(1);
    /// A limit tripped.
    pub const LIMIT_TRIPPED: Self = Self(1 << 1);
    /// The pump ran without readings for some time: it counts as time, not as volume.
    pub const FLOW_UNKNOWN: Self = Self(1 << 2);
    /// Power was lost while the event was under way.
    pub const INTERRUPTED: Self = Self(1 << 3);
    /// More than ten interruptions of more than 1 min (App. L 7.4.15.5).
    pub const MANY_INTERRUPTIONS: Self = Self(1 << 4);
    /// The pump ran for some time before a cut that no checkpoint holds: up to one checkpoint interval a cut is missing.
    pub const TIME_UNACCOUNTED: Self = Self(1 << 5);
    /// The wall clock was set, or went its own way, while the event was under way.
    pub const CLOCK_STEPPED: Self = Self(1 << 6);
    /// The wall clock could not be trusted at some time.
    pub const CLOCK_UNTRUSTED: Self = Self(1 << 7);
    /// The air was not measured all of the time: the standard volume does not cover the sample.
    pub const AIR_UNKNOWN: Self = Self(1 << 8);
    /// The flow was not corrected to the sampler's inlet all of the time.
    pub const NOT_AT_INLET: Self = Self(1 << 9);
    /// An appointment was met late or missed, or a run was lost.
    pub const LATE: Self = Self(1 << 10);
    /// A row could not be kept in the journal.
    pub const ROW_LOST: Self = Self(1 << 11);
    /// The event was ended early, by hand or by a fault.
    pub const ENDED_EARLY: Self = Self(1 << 12);

    /// A sample was drawn for less or more time than it must be (App. L 3.3, 7.4.13: 1380 to 1500 min).
    pub const TIME_OUTSIDE: Self = Self(1 << 13);

    /// A mean flow over 5 min was more than 5 % off the target.
    pub const FLOW_OFF: Self = Self(1 << 14);

    /// Every flag, with its stable code.
    pub const ALL: &'static [(Self, &'static str)] = &[
        (Self::FLOW_UNSTEADY, "flow-unsteady"),
        (Self::LIMIT_TRIPPED, "limit-tripped"),
        (Self::FLOW_UNKNOWN, "flow-unknown"),
        (Self::INTERRUPTED, "interrupted"),
        (Self::MANY_INTERRUPTIONS, "many-interruptions"),
        (Self::TIME_UNACCOUNTED, "time-unaccounted"),
        (Self::CLOCK_STEPPED, "clock-stepped"),
        (Self::CLOCK_UNTRUSTED, "clock-untrusted"),
        (Self::AIR_UNKNOWN, "air-unknown"),
        (Self::NOT_AT_INLET, "not-at-inlet"),
        (Self::LATE, "late"),
        (Self::ROW_LOST, "row-lost"),
        (Self::ENDED_EARLY, "ended-early"),
        (Self::TIME_OUTSIDE, "time-outside"),
        (Self::FLOW_OFF, "flow-off"),
    ];

    /// Sets a flag; once set it stays.
    pub const fn set(&mut self, flag: Self) {
        self.0 |= flag.0;
    }

    /// Whether a flag is set.
    #[must_use]
    pub const fn has(self, flag: Self) -> bool {
        self.0 & flag.0 != 0
    }
}

/// A whole event, from arming to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EventRow {
    /// Its id.
    pub event: EventId,
    /// The schedule that was armed: the CRC of its table.
    pub schedule: ScheduleId,
    /// Pump or simulation.
    pub origin: Origin,
    /// When it was armed.
    pub armed: Option<WallMs>,
    /// The scheduled start, as set.
    pub start_set: Option<WallMs>,
    /// The last stop, as the schedule forecast it at arming.
    pub stop_set: Option<WallMs>,
    /// When pumping first began.
    pub started: Option<WallMs>,
    /// When pumping last ended.
    pub stopped: Option<WallMs>,
    /// Time pumped, outages and pauses left out, in ms.
    pub pumped_ms: u64,
    /// What was drawn in all, at the sampler's inlet.
    pub volume: RawVolume,
    /// Stretches of pumping.
    pub spans: u16,
    /// Samples.
    pub samples: u32,
    /// Interruptions of more than 1 min.
    pub interruptions: u16,
    /// When the first ten began, in s since 2000-01-01T00:00Z; 0 for none.
    pub interrupted_s: [u32; INTERRUPTIONS_KEPT],
    /// How often it was resumed after an outage, of any length.
    pub resumes: u16,
    /// Pumping before cuts that no checkpoint holds: at most this long, in ms.
    pub unaccounted_ms: u32,
    /// How often each limit tripped, in the order of [`crate::event::Limit`].
    pub trips: [u8; 5],
    /// The largest lateness of an appointment, in ms.
    pub late_ms: u32,
    /// What the supply had left when it was armed, in percent.
    pub supply_armed_percent: Option<u8>,
    /// What it had left at the end.
    pub supply_ended_percent: Option<u8>,
    /// What a person should look at.
    pub flags: Flags,
    /// Why it ended.
    pub reason: EndReason,
}

impl EventRow {
    /// No event yet.
    pub(crate) const NONE: Self = Self::begun(EventId(0), ScheduleId([0; 4]), Origin::Pump);

    /// An event that has just been armed.
    pub(crate) const fn begun(event: EventId, schedule: ScheduleId, origin: Origin) -> Self {
        Self {
            event,
            schedule,
            origin,
            armed: None,
            start_set: None,
            stop_set: None,
            started: None,
            stopped: None,
            pumped_ms: 0,
            volume: RawVolume::ZERO,
            spans: 0,
            samples: 0,
            interruptions: 0,
            interrupted_s: [0; INTERRUPTIONS_KEPT],
            resumes: 0,
            unaccounted_ms: 0,
            trips: [0; 5],
            late_ms: 0,
            supply_armed_percent: None,
            supply_ended_percent: None,
            flags: Flags(0),
            reason: EndReason::Disarmed,
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
        let row = Self::take(&mut bytes)?;
        bytes.is_good().then_some(row)
    }

    /// How many bytes it fills.
    pub(crate) const LEN: usize = 4
        + 4
        + 1
        + 5 * 8
        + 8
        + 8
        + 2
        + 4
        + 2
        + 4 * INTERRUPTIONS_KEPT
        + 2
        + 4
        + 5
        + 4
        + 1
        + 1
        + 4
        + 1;

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        out.u32(self.event.0);
        out.bytes(&self.schedule.0);
        out.u8(self.origin as u8);
        for wall in [self.armed, self.start_set, self.stop_set, self.started, self.stopped] {
            out.wall(wall);
        }
        out.u64(self.pumped_ms);
        out.u64(self.volume.as_raw());
        out.u16(self.spans);
        out.u32(self.samples);
        out.u16(self.interruptions);
        self.interrupted_s.iter().for_each(|&s| out.u32(s));
        out.u16(self.resumes);
        out.u32(self.unaccounted_ms);
        out.bytes(&self.trips);
        out.u32(self.late_ms);
        out.u8(self.supply_armed_percent.unwrap_or(u8::MAX));
        out.u8(self.supply_ended_percent.unwrap_or(u8::MAX));
        out.u32(self.flags.0);
        out.u8(codes::of_reason(self.reason));
    }

    pub(crate) fn take(bytes: &mut Take<'_>) -> Option<Self> {
        let percent = |byte| (byte != u8::MAX).then_some(byte);
        Some(Self {
            event: EventId(bytes.u32()),
            schedule: ScheduleId([bytes.u8(), bytes.u8(), bytes.u8(), bytes.u8()]),
            origin: match bytes.u8() {
                0 => Origin::Pump,
                1 => Origin::Simulated,
                _ => return None,
            },
            armed: bytes.wall(),
            start_set: bytes.wall(),
            stop_set: bytes.wall(),
            started: bytes.wall(),
            stopped: bytes.wall(),
            pumped_ms: bytes.u64(),
            volume: RawVolume::from_raw(bytes.u64()),
            spans: bytes.u16(),
            samples: bytes.u32(),
            interruptions: bytes.u16(),
            interrupted_s: {
                let mut starts = [0; INTERRUPTIONS_KEPT];
                starts.iter_mut().for_each(|s| *s = bytes.u32());
                starts
            },
            resumes: bytes.u16(),
            unaccounted_ms: bytes.u32(),
            trips: [bytes.u8(), bytes.u8(), bytes.u8(), bytes.u8(), bytes.u8()],
            late_ms: bytes.u32(),
            supply_armed_percent: percent(bytes.u8()),
            supply_ended_percent: percent(bytes.u8()),
            flags: Flags(bytes.u32()),
            reason: codes::reason(bytes.u8())?,
        })
    }
}

const _: () = assert!(SpanRow::LEN <= ROW_LEN && EventRow::LEN <= ROW_LEN, "a row fits its slot");

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::MonoMs;
    use crate::event::Limit;

    fn filled(put: impl Fn(&mut Put<'_>)) -> usize {
        let mut bytes = [0; ROW_LEN];
        let mut out = Put::new(&mut bytes);
        put(&mut out);
        out.len()
    }

    #[test]
    fn a_span_comes_back() {
        let row = SpanRow {
            event: EventId(7),
            number: 65_535,
            step: StepNo::FIRST,
            passes: PassCount([1, 2, 3, 4]),
            sample: 9,
            begin: Some(WallMs::FIRST),
            end: None,
            pumped_ms: u64::MAX,
            volume: RawVolume::from_raw(u64::MAX),
            by: PumpEnd::Tripped(Limit::Sensor),
        };
        assert_eq!(SpanRow::from_bytes(&row.to_bytes()), Some(row));
        assert_eq!(filled(|out| row.put(out)), SpanRow::LEN);
    }

    #[test]
    fn a_sample_comes_back() {
        let mut tally = Tally::new(MonoMs::from_ms(0));
        let empty = SampleRow::of(EventId(1), 2, (None, None), 3, &tally);
        assert_eq!(SampleRow::from_bytes(&empty.to_bytes()), Some(empty));
        let reading =
            crate::port::FlowReading { flow_ul_per_min: 5, drop_pa: Some(1), air_mk: None };
        let air = crate::port::Air { temperature_mk: 290_000, pressure_pa: 99_000 };
        (1..=301).for_each(|s| {
            tally.reading(MonoMs::from_ms(s * 1_000), &reading, Some(air));
        });
        let times = (Some(WallMs::FIRST), Some(WallMs::LAST));
        let full = SampleRow::of(EventId(1), 2, times, 3, &tally);
        assert!(full.interval_means.is_some() && full.temperature_mk.is_some());
        assert_eq!(SampleRow::from_bytes(&full.to_bytes()), Some(full));
        assert_eq!(filled(|out| full.put(out)), SampleRow::LEN);
    }

    #[test]
    fn an_event_comes_back() {
        let mut row = EventRow::begun(EventId(3), ScheduleId([1, 2, 3, 4]), Origin::Simulated);
        assert_eq!(EventRow::from_bytes(&row.to_bytes()), Some(row));
        row.interrupted_s = core::array::from_fn(|n| n as u32);
        row.trips = [1, 2, 3, 4, 5];
        row.supply_armed_percent = Some(100);
        row.reason = EndReason::Fault(Limit::Pressure);
        Flags::ALL.iter().for_each(|(flag, _)| row.flags.set(*flag));
        assert_eq!(EventRow::from_bytes(&row.to_bytes()), Some(row));
        assert_eq!(filled(|out| row.put(out)), EventRow::LEN);
    }

    #[test]
    fn bytes_that_are_none_are_none() {
        assert_eq!(SpanRow::from_bytes(&[0xFF; ROW_LEN]), None);
        assert_eq!(SampleRow::from_bytes(&[0xFF; ROW_LEN]), None);
        assert_eq!(EventRow::from_bytes(&[0xFF; ROW_LEN]), None);
        // Step 0 is no step.
        assert_eq!(SpanRow::from_bytes(&[0; ROW_LEN]), None);
    }

    #[test]
    fn every_flag_is_a_bit_of_its_own() {
        let all = Flags::ALL.iter().fold(0, |all, (flag, _)| {
            assert_eq!((flag.0.count_ones(), all & flag.0), (1, 0));
            all | flag.0
        });
        assert_eq!(all.count_ones() as usize, Flags::ALL.len());
    }
}
