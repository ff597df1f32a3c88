//! The row of a whole event.

use super::codes;
use super::flags::Flags;
use super::rows::{INTERRUPTIONS_KEPT, ROW_LEN, RowBytes};
use crate::bytes::{Put, Take};
use crate::clock::WallMs;
use crate::event::EndReason;
use crate::machine::EventId;
use crate::units::RawVolume;
use crate::wire::ScheduleId;

/// Where a record comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Origin {
    /// A pump drew air.
    Pump,
    /// A simulation: not a sample.
    Simulated,
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
    /// Interruptions of more than 1 min, or of a length that nobody knows, counted from the newest checkpoint on: a cut without a warning counts up to one checkpoint
    /// interval more, and its begin is that much earlier. With 4 s between checkpoints, or a supply that warns, that is what 40 CFR
    /// 53.54 asks for.
    pub interruptions: u16,
    /// When the first ten began, in s since 2000-01-01T00:00Z; 0 for none.
    pub interrupted_s: [u32; INTERRUPTIONS_KEPT],
    /// How often it was resumed after an outage, of any length.
    pub resumes: u16,
    /// Pumping before cuts that no checkpoint holds: at most this long, in ms.
    pub unaccounted_ms: u32,
    /// How often each limit tripped, in the order of [`crate::event::Limit`].
    pub trips: [u8; 5],
    /// The largest lateness of an appointment that was met, in ms.
    pub late_ms: u32,
    /// Appointments that were missed, runs that were lost and passes that were skipped: those that no stretch stands for.
    pub missed: u16,
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
            missed: 0,
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
        + 2
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
        out.u16(self.missed);
        out.u8(self.supply_armed_percent.unwrap_or(u8::MAX));
        out.u8(self.supply_ended_percent.unwrap_or(u8::MAX));
        out.u32(self.flags.0);
        out.u8(codes::of_reason(self.reason));
    }

    #[inline(never)]
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
            missed: bytes.u16(),
            supply_armed_percent: percent(bytes.u8()),
            supply_ended_percent: percent(bytes.u8()),
            flags: Flags(bytes.u32()),
            reason: codes::reason(bytes.u8())?,
        })
    }
}
