//! The checkpoint of a whole pump, and the rows that follow from it.

use embedded_storage::nor_flash::NorFlash;

use super::board::Board;
use super::state::{Config, Pump, Run, Sample};
use crate::bytes::{Put, Take};
use crate::clock::{MonoMs, Now};
use crate::journal::{JournalError, Owner, Region, RegionRefused, Ring, Seq, Shelf};
use crate::machine::{Checkpoint, Demand};
use crate::record::{EventRow, Flags, ROW_LEN, RowBytes, RowKind, SampleRow, SpanRow, Tally};
use crate::units::RawVolume;

/// Bytes of a checkpoint of the whole pump.
pub const CHECKPOINT_LEN: usize =
    Checkpoint::LEN + Tally::LEN + Sample::LEN + EventRow::LEN + SpanRow::LEN + 13;

/// Bytes of flash for a checkpoint.
pub const CHECKPOINT_STRIDE: usize = 544;

/// Bytes of flash for a row of the record.
pub const ROW_STRIDE: usize = 160;

/// The fewest pages for records.
const RECORD_PAGES_MIN: u16 = 4;

/// The number of the ring of records.
const RECORDS: u8 = 2;

/// The layout of a checkpoint; one of another layout is not read.
const LAYOUT: u8 = 2;

/// Where in the flash what is kept. No two may overlap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Regions {
    /// Schedules.
    pub shelf: Region,
    /// Pages of half a place for a schedule.
    pub shelf_half_pages: u16,
    /// Checkpoints: two pages or more, the more the longer they last.
    pub checkpoints: Region,
    /// Records: four pages or more.
    pub records: Region,
}

/// The rings and shelves of a pump.
pub(super) struct Keeper {
    checkpoints: Ring<CHECKPOINT_STRIDE>,
    records: Ring<ROW_STRIDE>,
    pub(super) shelf: Shelf,
    /// Rows up to this one were collected.
    pub(super) released: Option<Seq>,
}

/// What the journal holds of the event of a checkpoint.
pub(super) struct Found {
    /// No row is newer than the checkpoint.
    pub(super) is_newest: bool,
    pub(super) has_sample: bool,
    pub(super) has_event: bool,
    /// Rows were written just now.
    pub(super) wrote: bool,
}

impl Sample {
    const LEN: usize = 4 + 8 + 8 + 8 + 2 + 4 + 4 + 1;

    fn put(&self, out: &mut Put<'_>) {
        out.u32(self.number);
        out.wall(self.begin);
        out.wall(self.end);
        out.u64(self.pumped_ms);
        out.u16(self.interruptions);
        out.u32(self.unaccounted_ms);
        out.u32(self.flags.0);
        out.u8(self.over.into());
    }

    fn take(bytes: &mut Take<'_>) -> Self {
        Self {
            number: bytes.u32(),
            begin: bytes.wall(),
            end: bytes.wall(),
            pumped_ms: bytes.u64(),
            interruptions: bytes.u16(),
            unaccounted_ms: bytes.u32(),
            flags: Flags(bytes.u32()),
            over: bytes.u8() != 0,
        }
    }
}

impl<B: Board, const N: usize> Pump<B, N> {
    /// Writes a checkpoint, reads it back, and then writes the rows that it holds. On an error it is tried again at the next poll.
    #[inline(never)]
    pub(super) fn keep(&mut self, now: Now) -> Result<(), JournalError> {
        let mut bytes = [0; CHECKPOINT_LEN];
        let mut out = Put::new(&mut bytes);
        // Made here and not by the machine: what happened must be kept also when the schedule cannot be read any more.
        Checkpoint {
            machine: self.run.machine,
            schedule: self.run.event.schedule,
            at: now,
            drawn: self.run.input(now).drawn,
        }
        .put(&mut out);
        self.run.tally.put(&mut out);
        self.run.sample.put(&mut out);
        self.run.event.put(&mut out);
        let has_span = u8::from(self.run.span.is_some());
        let warns = self.power.failing && !self.warned_in_vain;
        out.u8(has_span
            | u8::from(warns) << 1
            | u8::from(self.run.over) << 2
            | u8::from(self.run.corrects) << 3);
        out.u8(self.run.resumes_in_row);
        out.u8(self.place);
        out.u8(self.keeper.released.is_some().into());
        out.u32(self.keeper.released.map_or(0, |seq| seq.0));
        out.u8(self.indications.fault.into());
        out.u32(self.run.flags.0);
        if let Some(span) = &self.run.span {
            span.put(&mut out);
        }
        // Whatever comes of it: a flash that fails is tried at every poll, not in a loop.
        self.changed = true;
        let kept = self.keeper.checkpoints.append(self.board.flash(), LAYOUT, &bytes);
        if kept.is_err() {
            self.run.flag(Flags::JOURNAL_FAILED);
            self.indications.fault = true;
        }
        kept?;
        (self.changed, self.run.kept, self.warned) = (false, now.mono, warns);
        self.write_rows();
        Ok(())
    }

    /// At boot: the same checkpoint again, warned of if that one was. On an error it is as good as not yet there.
    #[inline(never)]
    pub(super) fn keep_as_found(&mut self, at: Now) {
        let failing = core::mem::replace(&mut self.power.failing, self.warned);
        let _ = self.keep(at);
        self.power.failing = failing;
    }

    /// Takes over what the newest checkpoint says, if there is one that can be understood.
    #[inline(never)]
    pub(super) fn read_newest(&mut self) -> Option<Checkpoint> {
        let entry = self.keeper.checkpoints.newest(self.board.flash())?;
        if entry.kind != LAYOUT {
            return None;
        }
        let mut bytes = Take::new(entry.payload());
        let checkpoint = Checkpoint::from_bytes(&bytes.array())?;
        let run = &mut self.run;
        run.machine = checkpoint.machine;
        run.kept = checkpoint.at.mono;
        run.tally = Tally::take(&mut bytes);
        run.drawn_before = checkpoint.drawn.since(run.tally.meter().volume());
        run.sample = Sample::take(&mut bytes);
        let event = EventRow::take(&mut bytes);
        run.event = event.unwrap_or(EventRow::NONE);
        let has = bytes.u8();
        run.resumes_in_row = bytes.u8();
        self.place = bytes.u8();
        let were_released = bytes.u8() != 0;
        let released = Seq(bytes.u32());
        self.indications.fault = bytes.u8() != 0;
        run.flags = Flags(bytes.u32());
        run.span = if has & 1 != 0 { SpanRow::take(&mut bytes) } else { None };
        run.over = has & 4 != 0;
        run.corrects = has & 8 != 0;
        self.warned = has & 2 != 0;
        if event.is_none() || !bytes.is_good() || (has & 1 != 0 && run.span.is_none()) {
            // Not a checkpoint of this layout, whatever its CRC says.
            self.run = Run::NONE;
            return None;
        }
        if were_released {
            // Opened anew: a ring whose slots are all gone must not number below what was let go of.
            let owner = Owner { device: self.config.device, ring: RECORDS };
            let (flash, region) = (self.board.flash(), self.config.regions.records);
            self.keeper.records = Ring::records(flash, region, owner, Some(released));
            self.keeper.released = Some(released);
        }
        Some(checkpoint)
    }

    /// Writes the rows that the checkpoint holds. One that cannot be written is flagged and stays in the checkpoint.
    #[inline(never)]
    fn write_rows(&mut self) {
        if let Some(span) = &self.run.span {
            let row = span.to_bytes();
            if self.write_row(RowKind::Span, &row) {
                self.run.span = None;
            }
        }
        if self.run.sample.over {
            let row = self.sample_row().to_bytes();
            self.run.sample.over = !self.write_row(RowKind::Sample, &row);
        }
        if self.run.over {
            let row = self.run.event.to_bytes();
            self.run.over = !self.write_row(RowKind::Event, &row);
        }
    }

    #[inline(never)]
    fn write_row(&mut self, kind: RowKind, row: &RowBytes) -> bool {
        let written = self.keeper.records.append(self.board.flash(), kind as u8, row).is_ok();
        if !written {
            self.run.event.flags.set(Flags::ROW_LOST);
        }
        written
    }

    /// At boot: the same, but for rows that are in the journal already. What the checkpoint holds is kept once more before, since power may
    /// have been cut in its very last word, which then reads well now and not for ever. For the same reason the newest row
    /// is written again if the checkpoint still holds it: [`each_row`](Self::each_row) tells two that are the same once.
    ///
    /// [`Found::is_newest`] is false when the journal holds a stretch that the checkpoint does not know of: a later checkpoint was there, and is
    /// not readable any more. Power cuts cannot do that, but flash that rots can.
    pub(super) fn write_missing_rows(&mut self, armed: bool, at: Now) -> Found {
        let event = self.run.event.event;
        let (span, sample) = (self.run.span, self.run.sample.number);
        let known = self.run.event.spans;
        let mut last = known;
        let (mut has_span, mut has_sample, mut has_event) = (false, false, false);
        let mut newest = None;
        let mut cursor = self.keeper.records.oldest();
        while let Some(entry) = self.keeper.records.next(self.board.flash(), &mut cursor) {
            let Some(row) = entry.payload_of::<ROW_LEN>() else { continue };
            newest = RowKind::from_byte(entry.kind);
            match newest {
                Some(RowKind::Span) => {
                    if let Some(row) = SpanRow::from_bytes(row).filter(|row| row.event == event) {
                        has_span |= span.is_some_and(|s| s.number == row.number);
                        last = last.max(row.number);
                    }
                }
                Some(RowKind::Sample) => {
                    has_sample |= SampleRow::from_bytes(row)
                        .is_some_and(|row| row.event == event && row.number == sample);
                }
                Some(RowKind::Event) => {
                    has_event |= EventRow::from_bytes(row).is_some_and(|row| row.event == event);
                }
                None => {}
            }
        }
        // The row of a sample that is not over, or of an event that is not: as good as a stretch that is not known.
        let sample_is_ahead = has_sample && !self.run.sample.over;
        let is_newest = last == known && !(armed && (has_event || sample_is_ahead));
        if has_span && newest != Some(RowKind::Span) {
            self.run.span = None;
        }
        // Not if another row would come between the two.
        let run = &mut self.run;
        let again = newest == Some(RowKind::Sample) && run.span.is_none();
        run.sample.over &= !has_sample || again;
        let again = newest == Some(RowKind::Event) && run.span.is_none() && !run.sample.over;
        run.over &= !has_event || again;
        let due = self.has_rows_due();
        if due || armed {
            self.keep_as_found(at);
        }
        // No number is given twice.
        self.run.event.spans = last;
        Found { is_newest, has_sample, has_event, wrote: due }
    }

    #[inline(never)]
    fn sample_row(&self) -> SampleRow {
        let Run { event, sample, tally, .. } = &self.run;
        let times = (sample.begin, sample.end);
        SampleRow {
            interruptions: sample.interruptions,
            unaccounted_ms: sample.unaccounted_ms,
            flags: sample.flags,
            ..SampleRow::of(event.event, sample.number, times, sample.pumped_ms, tally)
        }
    }

    /// The rows of the journal that were not released, oldest first.
    pub fn each_row(&mut self, mut see: impl FnMut(Seq, RowKind, &RowBytes)) {
        if !self.booted {
            return;
        }
        let mut cursor = self.keeper.records.oldest();
        let mut before = [0; ROW_LEN];
        while let Some(entry) = self.keeper.records.next(self.board.flash(), &mut cursor) {
            if let (Some(kind), Some(row)) =
                (RowKind::from_byte(entry.kind), entry.payload_of::<ROW_LEN>())
                && *row != before
            {
                before = *row;
                see(entry.seq, kind, row);
            }
        }
    }

    /// Lets go of all rows up to one: they were collected, and their room is used again.
    ///
    /// That is kept with the next poll's checkpoint; after a cut before it they are offered once more.
    pub fn release_rows(&mut self, up_to: Seq) {
        let Some(up_to) = self.and_the_same(up_to).filter(|_| self.booted) else { return };
        self.keeper.records.release(up_to);
        self.keeper.released = Some(up_to);
        self.changed = true;
    }

    /// The last of the rows that are the same as this one: they were told once, and go together. `None`: there is no such row (any more).
    fn and_the_same(&mut self, mut up_to: Seq) -> Option<Seq> {
        let mut row = None;
        let mut cursor = self.keeper.records.oldest();
        while let Some(entry) = self.keeper.records.next(self.board.flash(), &mut cursor) {
            let this = entry.payload_of::<ROW_LEN>().copied();
            if entry.seq == up_to {
                row = this;
            } else if row.is_some() {
                if this != row {
                    break;
                }
                up_to = entry.seq;
            }
        }
        row.map(|_| up_to)
    }

    /// Whether a row waits for the journal.
    pub(super) const fn has_rows_due(&self) -> bool {
        self.run.over || self.run.sample.over || self.run.span.is_some()
    }

    /// How many more rows the journal has room for.
    pub fn rows_free(&mut self) -> u32 {
        self.keeper.rows_free(self.board.flash())
    }
}

impl Run {
    /// Nothing has ever been armed.
    pub(super) const NONE: Self = Self {
        machine: crate::machine::Machine::new(),
        demand: Demand::Off,
        tally: Tally::new(MonoMs::from_ms(0)),
        sample: Sample::NONE,
        drawn_before: RawVolume::ZERO,
        event: EventRow::NONE,
        corrects: false,
        flags: Flags(0),
        span: None,
        kept: MonoMs::from_ms(0),
        resumes_in_row: 0,
        over: false,
    };
}

impl Keeper {
    /// Finds what is there.
    pub(super) fn open<F: NorFlash>(flash: &mut F, config: &Config) -> Result<Self, RegionRefused> {
        let owner = |ring| Owner { device: config.device, ring };
        let Regions { shelf, shelf_half_pages, checkpoints, records } = config.regions;
        if records.pages() < RECORD_PAGES_MIN {
            return Err(RegionRefused::TooFewPages);
        }
        let overlaps = [(shelf, checkpoints), (checkpoints, records), (records, shelf)];
        if overlaps.iter().any(|(a, b)| a.overlaps::<F>(*b)) {
            return Err(RegionRefused::Overlap);
        }
        Ok(Self {
            checkpoints: Ring::checkpoints(flash, checkpoints, owner(1)),
            records: Ring::records(flash, records, owner(RECORDS), None),
            shelf: Shelf::new(shelf, owner(3), shelf_half_pages)?,
            released: None,
        })
    }

    pub(super) fn rows_free<F: NorFlash>(&self, flash: &mut F) -> u32 {
        self.records.free(flash)
    }
}

const _: () =
    assert!(CHECKPOINT_LEN <= Ring::<CHECKPOINT_STRIDE>::PAYLOAD, "a checkpoint fits its slot");
const _: () = assert!(ROW_LEN <= Ring::<ROW_STRIDE>::PAYLOAD, "a row fits its slot");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_layout_fills_its_length() {
        let mut bytes = [0; CHECKPOINT_LEN];
        let mut out = Put::new(&mut bytes);
        let mut before = 0;
        let mut filled = |out: &mut Put<'_>| {
            let len = out.len() - before;
            before = out.len();
            len
        };
        Tally::new(MonoMs::from_ms(0)).put(&mut out);
        assert_eq!(filled(&mut out), Tally::LEN);
        Sample::NONE.put(&mut out);
        assert_eq!(filled(&mut out), Sample::LEN);
        EventRow::NONE.put(&mut out);
        assert_eq!(filled(&mut out), EventRow::LEN);
    }
}
