//! Loading and arming.

use core::fmt;

use super::board::Board;
use super::state::{Pump, Run};
use crate::clock::Now;
use crate::forecast::{Forecast, What};
use crate::journal::{ShelfError, Shelved};
use crate::machine::{ArmRefused, EventId, FirstStart};
use crate::port::Supply;
use crate::record::{EventRow, Flags, Tally};
use crate::table::{Fault, StepTable};
use crate::wire::{self, ScheduleId};

/// Rows kept free for stretches that the forecast does not know of: pauses and outages. A cut takes up to three: the stretch that
/// it ended, what was being written, and the newest row once more.
const SPARE_ROWS: u32 = 40;

/// In place of the place of a schedule, when none is loaded. No shelf has so many.
const NO_PLACE: u8 = u8::MAX;

/// How many spans ahead arming walks for each row that there is room for: what it blocks the firmware for is bounded.
const WALKED_A_ROW: u32 = 16;

/// Why a schedule was not loaded; but for [`LoadRefused::Armed`], none is loaded now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LoadRefused {
    /// [`Pump::boot`] comes first.
    NotBooted,
    /// A schedule is armed: stop or disarm it first.
    Armed,
    /// The block is refused, there is no such place, or the flash failed.
    Shelf(ShelfError),
    /// It is in its place, and that it is the one to be armed could not be kept: the flash failed. Load it again.
    NotKept,
}

/// Why nothing was armed; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StartRefused {
    /// [`Pump::boot`] comes first.
    NotBooted,
    /// No schedule is loaded.
    NothingLoaded,
    /// The machine refused it.
    Arm(ArmRefused),
    /// The journal has too little room for the record: collect and release the records first.
    JournalFull {
        /// Rows that the schedule needs, or the first number that is too many.
        needed: u32,
        /// Rows that there is room for.
        free: u32,
    },
    /// The schedule has more than 16 waits, holds and runs for each row that there is room for: arming walks it, and does not
    /// walk that far.
    TooLong,
    /// The checkpoint of arming could not be written and read back: the flash failed.
    NotKept,
    /// The supply is too weak to begin.
    SupplyLow,
}

const NOT_BOOTED: &str = "the pump has not looked into its journal yet: a fault of the firmware";

impl fmt::Display for LoadRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBooted => f.write_str(NOT_BOOTED),
            Self::Armed => f.write_str("a schedule is armed; stop or disarm it first"),
            Self::Shelf(refused) => refused.fmt(f),
            Self::NotKept => {
                f.write_str("that it is loaded could not be kept: the flash failed; load it again")
            }
        }
    }
}

impl fmt::Display for StartRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBooted => f.write_str(NOT_BOOTED),
            Self::NothingLoaded => f.write_str("no schedule is loaded"),
            Self::Arm(refused) => refused.fmt(f),
            Self::JournalFull { needed, free } => write!(
                f,
                "the record needs room for {needed} rows and there is room for {free}; collect \
                 the records first, or shorten the schedule"
            ),
            Self::TooLong => f.write_str(
                "the schedule has too many waits and holds for each run; shorten it, or collect the records first",
            ),
            Self::NotKept => f.write_str("arming could not be kept: the flash failed"),
            Self::SupplyLow => f.write_str("the supply is too weak; charge it first"),
        }
    }
}

impl core::error::Error for LoadRefused {}
impl core::error::Error for StartRefused {}

impl<B: Board, const N: usize> Pump<B, N> {
    /// Puts a schedule into the pump: decodes it, keeps it in flash in one of several places, and reads it back. It is the one to
    /// be armed from now on, also after the power was off.
    ///
    /// # Errors
    /// [`LoadRefused`]; the schedule that was in that place is then still there, but none is loaded any more, unless one was armed.
    pub fn load(&mut self, block: &[u8], place: u8) -> Result<(), LoadRefused> {
        self.may_load()?;
        let (flash, table) = (self.board.flash(), &mut self.table);
        let stored = self.keeper.shelf.store(flash, place.into(), block, table);
        self.loaded(stored, place).map(|_| ())
    }

    /// Makes the schedule of another place the one that is loaded: it is decoded, and is the one to be armed from now on, also
    /// after the power was off.
    ///
    /// `buffer` is for its block: [`wire::max_len`] of `N` is always enough.
    ///
    /// # Errors
    /// [`LoadRefused`]; none is loaded any more then, unless one was armed.
    pub fn choose(&mut self, place: u8, buffer: &mut [u8]) -> Result<ScheduleId, LoadRefused> {
        self.may_load()?;
        let (flash, table) = (self.board.flash(), &mut self.table);
        let found = self.keeper.shelf.load(flash, place.into(), buffer, table);
        self.loaded(found, place)
    }

    /// Empties a place. The schedule that is armed stays where it is.
    ///
    /// # Errors
    /// [`LoadRefused::Armed`] for the place of the schedule that is armed; [`LoadRefused::Shelf`]: there is no such place, or the flash failed.
    pub fn remove(&mut self, place: u8) -> Result<(), LoadRefused> {
        let may = self.may_load();
        if may == Err(LoadRefused::NotBooted) || place == self.place {
            may?;
        }
        if place == self.place {
            // Whatever comes of it.
            self.unload();
        }
        self.keeper.shelf.remove(self.board.flash(), place.into()).map_err(LoadRefused::Shelf)
    }

    /// Nothing is loaded from now on, also after the power was off.
    #[inline(never)]
    fn unload(&mut self) {
        self.table = StepTable::empty();
        self.place = NO_PLACE;
        let now = self.now();
        // Tried again at the next poll when it fails.
        let _ = self.keep(now);
    }

    /// How many places for schedules there are, numbered from 0.
    pub const fn places(&self) -> u16 {
        self.keeper.shelf.places()
    }

    /// What a place holds: the id, the name and the length of its schedule.
    ///
    /// # Errors
    /// [`ShelfError::Empty`], [`ShelfError::NoSuchPlace`], [`ShelfError::Damaged`].
    pub fn stored(&mut self, place: u8) -> Result<Shelved, ShelfError> {
        self.keeper.shelf.show(self.board.flash(), place.into())
    }

    const fn may_load(&self) -> Result<(), LoadRefused> {
        if !self.booted {
            return Err(LoadRefused::NotBooted);
        }
        if self.run.machine.is_armed() { Err(LoadRefused::Armed) } else { Ok(()) }
    }

    /// What was decoded into the table is kept as the one to be armed. Nothing that was refused can be armed.
    fn loaded(
        &mut self,
        found: Result<ScheduleId, ShelfError>,
        place: u8,
    ) -> Result<ScheduleId, LoadRefused> {
        let kept = found.map_err(LoadRefused::Shelf).and_then(|id| {
            self.place = place;
            let now = self.now();
            self.keep(now).map(|()| id).map_err(|_| LoadRefused::NotKept)
        });
        if kept.is_err() {
            self.unload();
        }
        kept
    }

    /// Brings a schedule into force: from now on the pump starts by itself.
    ///
    /// The event's id, one more than the last, is in a checkpoint that was read back before this returns.
    ///
    /// # Errors
    /// [`StartRefused`].
    pub fn arm(&mut self) -> Result<(EventId, FirstStart), StartRefused> {
        if !self.booted {
            return Err(StartRefused::NotBooted);
        }
        if self.run.machine.is_armed() || self.held.is_some() {
            return Err(StartRefused::Arm(ArmRefused::AlreadyArmed));
        }
        let now = self.now();
        if self.has_rows_due() && (self.keep(now).is_err() || self.has_rows_due()) {
            // The record of the last event is not in the journal yet.
            return Err(StartRefused::NotKept);
        }
        self.power = self.board.supply().read();
        if self.power.low {
            return Err(StartRefused::SupplyLow);
        }
        let table = self.table.checked().map_err(|_| StartRefused::NothingLoaded)?;
        let id = EventId(self.run.event.event.0.wrapping_add(1));
        let mut run = Run { tally: Tally::new(now.mono), kept: now.mono, ..Run::NONE };
        let first = run
            .machine
            .arm(table, &self.config.fit, id, run.input(now))
            .map_err(StartRefused::Arm)?;
        let forecast = Forecast::new(table, &self.config.fit, now).map_err(StartRefused::Arm)?;
        let free = self.keeper.rows_free(self.board.flash());
        // Spans are numbered by 16 bits.
        let most = free.min(u16::MAX.into());
        let retries = match table.settings().fault {
            Fault::Retry { times, .. } => times.get().into(),
            Fault::Stop | Fault::Close => 0,
        };
        let spare = SPARE_ROWS.wrapping_add(retries);
        let (needed, stop_set) =
            rows_of(forecast, now, spare, most).ok_or(StartRefused::TooLong)?;
        if needed > most {
            return Err(StartRefused::JournalFull { needed, free });
        }
        let mut event = EventRow::begun(id, wire::schedule_id(table), self.config.origin);
        event.armed = now.wall;
        event.start_set = first.at.wall.or(first.due);
        event.stop_set = stop_set;
        event.supply_armed_percent = self.power.left_percent;
        if now.wall.is_none() {
            event.flags.set(Flags::CLOCK_UNTRUSTED);
        }
        run.event = event;
        let before = core::mem::replace(&mut self.run, run);
        (self.polled, self.polled_last) = (now, now);
        if self.keep(now).is_err() {
            self.run = before;
            self.changed = true; // whatever of it is in flash is superseded
            return Err(StartRefused::NotKept);
        }
        Ok((id, first))
    }
}

/// How many rows a schedule makes with those kept free, and when it last stops. Counts no further than one more than `most`: what
/// fits is walked whole, and what does not is not walked for long.
fn rows_of(
    forecast: Forecast<'_>,
    armed: Now,
    spare: u32,
    most: u32,
) -> Option<(u32, Option<crate::clock::WallMs>)> {
    let mut left = most.wrapping_mul(WALKED_A_ROW);
    let (mut spans, mut rows, mut last) = (0_u32, spare.wrapping_add(1), armed.wall);
    for span in forecast {
        left = left.checked_sub(1)?;
        if matches!(span.what, What::Pump { .. }) {
            spans = spans.saturating_add(1);
            rows = spans.saturating_add(span.sample).saturating_add(spare.wrapping_add(1));
            last = span.to.wall.or(last);
            if rows > most {
                break;
            }
        }
    }
    Some((rows, last))
}
