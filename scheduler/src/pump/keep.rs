//! The checkpoint of a whole pump, and the rows that follow from it.

use super::arm::LoadRefused;
use super::board::Board;
use super::state::{Config, Pump, Run, Sample};
use crate::bytes::{Put, Take};
use crate::clock::{MonoMs, Now};
use crate::journal::{JournalError, Ring, Shelf};
use crate::machine::{Checkpoint, Demand};
use crate::record::{EventRow, ROW_LEN, RowBytes, RowKind, SampleRow, SpanRow, Tally};
use crate::units::RawVolume;
use crate::wire::ScheduleId;

/// Bytes of a checkpoint of the whole pump.
pub const CHECKPOINT_LEN: usize =
    Checkpoint::LEN + Tally::LEN + Sample::LEN + 8 + EventRow::LEN + 1 + SpanRow::LEN + 4;

/// A step of the layout; a checkpoint of another is not read.
const LAYOUT: u8 = 1;

/// The rings and shelves of a pump.
pub(super) struct Keeper {
    checkpoints: Ring<CHECKPOINT_LEN>,
    records: Ring<ROW_LEN>,
    shelf: Shelf,
}

/// What the newest checkpoint says.
pub(super) struct Kept {
    pub(super) run: Run,
    pub(super) checkpoint: Checkpoint,
    pub(super) warned: bool,
    pub(super) place: u8,
}

impl Sample {
    const LEN: usize = 4 + 8 + 8 + 8 + 1;

    fn put(&self, out: &mut Put<'_>) {
        out.u32(self.number);
        out.wall(self.begin);
        out.wall(self.end);
        out.u64(self.pumped_ms);
        out.u8(self.over.into());
    }

    fn take(bytes: &mut Take<'_>) -> Self {
        Self {
            number: bytes.u32(),
            begin: bytes.wall(),
            end: bytes.wall(),
            pumped_ms: bytes.u64(),
            over: bytes.u8() != 0,
        }
    }
}

impl<B: Board, const N: usize> Pump<B, N> {
    /// Writes a checkpoint, reads it back, and then writes the rows that it holds. On an error it is tried again at the next poll.
    #[inline(never)]
    pub(super) fn keep(&mut self, now: Now) -> Result<(), JournalError> {
        let Ok(table) = self.table.checked() else { return Ok(()) };
        let checkpoint = self.run.machine.checkpoint(table, self.run.input(now));
        let mut bytes = [0; CHECKPOINT_LEN];
        let mut out = Put::new(&mut bytes);
        out.u8(LAYOUT);
        out.bytes(&checkpoint.to_bytes());
        self.run.tally.put(&mut out);
        self.run.sample.put(&mut out);
        out.u64(self.run.drawn_before.as_raw());
        self.run.event.put(&mut out);
        out.u8(u8::from(self.run.span.is_some()) | u8::from(self.power.failing) << 1);
        out.u8(self.run.resumes_in_row);
        out.u8(self.place);
        if let Some(span) = &self.run.span {
            span.put(&mut out);
        }
        // Whatever comes of it: a failing flash is tried at every poll, not in a loop.
        self.changed = true;
        self.keeper.checkpoints.append(self.board.flash(), LAYOUT, &bytes)?;
        (self.changed, self.run.kept) = (false, now.mono);
        self.write_rows();
        Ok(())
    }

    /// What the newest checkpoint says, if there is one that can be understood.
    pub(super) fn newest(&mut self) -> Option<Kept> {
        let mut bytes = [0; CHECKPOINT_LEN];
        self.keeper.checkpoints.newest(self.board.flash(), &mut bytes)?;
        let mut bytes = Take::new(&bytes);
        if bytes.u8() != LAYOUT {
            return None;
        }
        let checkpoint = Checkpoint::from_bytes(&bytes.array())?;
        let tally = Tally::take(&mut bytes);
        let sample = Sample::take(&mut bytes);
        let drawn_before = RawVolume::from_raw(bytes.u64());
        let event = EventRow::take(&mut bytes)?;
        let (has, resumes_in_row, place) = (bytes.u8(), bytes.u8(), bytes.u8());
        let span = if has & 1 != 0 { Some(SpanRow::take(&mut bytes)?) } else { None };
        let run = Run {
            machine: checkpoint.machine,
            demand: Demand::Off,
            tally,
            sample,
            drawn_before,
            event,
            span,
            kept: checkpoint.at.mono,
            resumes_in_row,
            over: !checkpoint.machine.is_armed() && event.event.0 != 0,
        };
        bytes.is_good().then_some(Kept { run, checkpoint, warned: has & 2 != 0, place })
    }

    /// Writes the rows that the checkpoint holds. One that cannot be written is flagged and stays in the checkpoint.
    fn write_rows(&mut self) {
        let run = &self.run;
        let span = run.span.map(|span| (RowKind::Span, span.to_bytes()));
        let sample = run.sample.over.then(|| (RowKind::Sample, self.sample_row().to_bytes()));
        let event = run.over.then(|| (RowKind::Event, run.event.to_bytes()));
        for (kind, row) in [span, sample, event].into_iter().flatten() {
            if self.keeper.records.append(self.board.flash(), kind as u8, &row).is_ok() {
                match kind {
                    RowKind::Span => self.run.span = None,
                    RowKind::Sample => self.run.sample.over = false,
                    RowKind::Event => self.run.over = false,
                }
            } else {
                self.run.event.flags.set(crate::record::Flags::ROW_LOST);
            }
        }
    }

    /// At boot: the same, but for rows that are in the journal already.
    pub(super) fn write_missing_rows(&mut self) {
        let event = self.run.event.event;
        let (span, sample) = (self.run.span, self.run.sample.number);
        let (mut has_span, mut has_sample, mut has_event) = (false, false, false);
        self.keeper.records.each(self.board.flash(), |kind, row: &RowBytes| {
            match RowKind::from_byte(kind) {
                Some(RowKind::Span) => {
                    has_span |= SpanRow::from_bytes(row).is_some_and(|row| {
                        row.event == event && span.is_some_and(|s| s.number == row.number)
                    });
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
        });
        if has_span {
            self.run.span = None;
        }
        self.run.sample.over &= !has_sample;
        self.run.over &= !has_event;
        self.write_rows();
    }

    fn sample_row(&self) -> SampleRow {
        let Run { event, sample, tally, .. } = &self.run;
        let times = (sample.begin, sample.end);
        SampleRow::of(event.event, sample.number, times, sample.pumped_ms, tally)
    }

    /// The armed schedule, from wherever it is kept.
    pub(super) fn load_armed(&mut self, place: u8, id: ScheduleId) -> bool {
        self.place = place;
        let kept = self.keeper.shelf.load(self.board.flash(), place, &mut self.table);
        kept.is_ok_and(|kept| kept == id)
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
        span: None,
        kept: MonoMs::from_ms(0),
        resumes_in_row: 0,
        over: false,
    };
}

impl Keeper {
    pub(super) fn open<F: embedded_storage::nor_flash::NorFlash>(flash: &mut F, config: &Config) -> Self {
        Self {
            checkpoints: Ring::open(flash, config.regions.checkpoints, config.device),
            records: Ring::open(flash, config.regions.records, config.device),
            shelf: Shelf::open(flash, config.regions.shelf, config.device),
        }
    }
}
