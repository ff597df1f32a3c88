//! What a pump holds between two polls.

use super::board::Board;
use super::keep::{Keeper, Regions};
use crate::audit::Fit;
use crate::clock::{MonoMs, Now, WallMs};
use crate::limits::Limits;
use crate::machine::{Checkpoint, Demand, Input, Machine, Phase};
use crate::port::{Indications, Monotonic, Power, WallClock};
use crate::record::{EventRow, Flags, Log, Origin, SpanRow, Tally};
use crate::regulator::Regulator;
use crate::table::StepTable;
use crate::units::RawVolume;

/// How a pump is built: what does not change from one schedule to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Config {
    /// Number of the device; part of every slot of its journal, so that another pump's flash is not taken for its own.
    pub device: u64,
    /// Pump or simulation; stands in every record.
    pub origin: Origin,
    /// What it can do.
    pub fit: Fit,
    /// How its motor is driven.
    pub regulator: crate::regulator::Config,
    /// How its limits are judged, beyond what the schedule says.
    pub limits: crate::limits::Config,
    /// Time between two readings while the pump runs, in ms; at most 5,000, the longest that one reading may stand for.
    pub reading_ms: u32,
    /// Time between two checkpoints while the pump runs, in ms: 60,000 with a supply that warns early, else 4,000
    /// (five cuts in 6 h then stay within ± 20 s, 40 CFR 53.54).
    pub checkpoint_ms: u32,
    /// For how long a sample must be drawn, in ms, both ends included; a sample outside is flagged. 1380 to 1500 min for a
    /// 24-h sampler (40 CFR 50 App. L 3.3).
    pub sample_ms: Option<(u64, u64)>,
    /// Where in the flash what is kept.
    pub regions: Regions,
}

/// A pump with room for schedules of `N` steps.
pub struct Pump<B: Board, const N: usize> {
    pub(super) board: B,
    pub(super) config: Config,
    pub(super) table: StepTable<N>,
    pub(super) keeper: Keeper,
    pub(super) run: Run,
    /// [`Pump::boot`] was called.
    pub(super) booted: bool,
    /// Where the schedule that is loaded is kept.
    pub(super) place: u8,
    /// After an outage: not resumed yet, since the supply is charging and the schedule does not allow it.
    pub(super) held: Option<Checkpoint>,
    /// Added to the board's monotonic clock, which starts anew at every power-on.
    pub(super) mono_ahead: u64,
    pub(super) regulator: Regulator,
    pub(super) limits: Limits,
    pub(super) log: Log<8>,
    pub(super) indications: Indications,
    /// The latest reading of the supply.
    pub(super) power: Power,
    /// Something happened that the newest checkpoint does not hold.
    pub(super) changed: bool,
    /// The newest checkpoint says that the supply was failing: hardly anything has been pumped since.
    pub(super) warned: bool,
    /// It still is failing, and the pump runs on: checkpoints are as ever.
    pub(super) warned_in_vain: bool,
    /// The motor did not do as it was told: it is told again soon.
    pub(super) motor_unsure: bool,
    /// The motor runs.
    pub(super) driven: bool,
    /// For the supply that cannot carry the pump, in ms.
    pub(super) pumped_since_boot_ms: u32,
    /// Where both clocks are compared from, for steps of the wall clock: arming, a boot, or the latest step.
    pub(super) polled: Now,
    /// And the poll before: the wall clock may be set while little time passes.
    pub(super) polled_last: Now,
}

/// What a checkpoint holds of an event under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) machine: Machine,
    pub(super) demand: Demand,
    /// The sample under way: its sums, number, first begin and time pumped.
    pub(super) tally: Tally,
    pub(super) sample: Sample,
    /// What earlier samples drew.
    pub(super) drawn_before: RawVolume,
    /// The record so far.
    pub(super) event: EventRow,
    /// A reading could be corrected to the inlet in this event.
    pub(super) corrects: bool,
    /// What the stretch under way is flagged with, or the next one will be.
    pub(super) flags: Flags,
    /// The latest stretch, until its row is known to be in the journal.
    pub(super) span: Option<SpanRow>,
    /// When the latest checkpoint was written.
    pub(super) kept: MonoMs,
    /// The event is over; its row is to be in the journal.
    pub(super) over: bool,
    /// Resumes since a whole checkpoint interval was last pumped.
    pub(super) resumes_in_row: u8,
}

/// The sample under way, beside its sums.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sample {
    pub(super) number: u32,
    pub(super) begin: Option<crate::clock::WallMs>,
    pub(super) end: Option<crate::clock::WallMs>,
    pub(super) pumped_ms: u64,
    /// As they go into its row.
    pub(super) interruptions: u16,
    pub(super) unaccounted_ms: u32,
    pub(super) flags: Flags,
    /// It is over; its row is to be in the journal.
    pub(super) over: bool,
}

impl Sample {
    pub(super) const NONE: Self = Self {
        number: 0,
        begin: None,
        end: None,
        pumped_ms: 0,
        interruptions: 0,
        unaccounted_ms: 0,
        flags: Flags(0),
        over: false,
    };
}

/// Where a pump stands, for a screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// What it is doing.
    pub phase: Phase,
    /// It waits for the charger to be taken away before it goes on after an outage.
    pub held_by_charger: bool,
    /// What the motor is asked for.
    pub demand: Demand,
    /// Drawn in this event so far, at the sampler's inlet.
    pub drawn: RawVolume,
    /// What the operator sees.
    pub indications: Indications,
    /// The journal knows of everything that has happened; what was pumped since the newest checkpoint apart.
    pub is_kept: bool,
}

impl Run {
    pub(super) fn input(&self, now: Now) -> Input {
        Input { now, drawn: self.drawn_before.saturating_add(self.tally.meter().volume()) }
    }

    /// Flags the event, and what of it is concerned: the stretch that runs, or the next one while nothing is pumped; and the sample while a
    /// step pumps or is paused.
    #[inline(never)]
    pub(super) fn flag(&mut self, flag: Flags) {
        if !self.machine.is_armed() && !self.over {
            // The record of an event that is over stays as it is.
            return;
        }
        self.event.flags.set(flag);
        let under_way = self.machine.is_under_way();
        if under_way {
            self.sample.flags.set(flag);
        }
        if !under_way || self.machine.is_pumping() {
            self.flags.set(flag);
        }
    }

    /// Flags the event and the sample.
    #[inline(never)]
    pub(super) fn flag_sample(&mut self, flag: Flags) {
        self.event.flags.set(flag);
        self.sample.flags.set(flag);
    }

    pub(super) const fn is_pumping(&self) -> bool {
        matches!(self.demand, Demand::Pump(_))
    }
}

impl<B: Board, const N: usize> Pump<B, N> {
    /// Both clocks; the monotonic one goes on from before the latest outage.
    pub fn now(&mut self) -> Now {
        // What is added can be negative, as a number that wraps: a pump that was held by its charger may have been on for longer
        // than its event.
        let mono = self.board.mono().now().as_ms().wrapping_add(self.mono_ahead);
        Now { mono: MonoMs::from_ms(mono), wall: self.wall() }
    }

    /// The wall clock, asked twice if need be: one reading that a bus has spoiled must not end an event.
    pub(super) fn wall(&mut self) -> Option<WallMs> {
        let wall = self.board.wall();
        wall.now().or_else(|| wall.now())
    }

    /// The board, for what the engine does not do.
    pub const fn board(&mut self) -> &mut B {
        &mut self.board
    }

    /// The schedule that is loaded.
    pub const fn table(&self) -> &StepTable<N> {
        &self.table
    }

    /// The latest things that happened.
    pub const fn log(&self) -> &Log<8> {
        &self.log
    }

    /// The record of the event under way, or of the last one.
    pub const fn record(&self) -> &EventRow {
        &self.run.event
    }

    /// Where it stands.
    pub fn status(&mut self) -> Status {
        let now = self.now();
        let phase = match self.table.checked() {
            Ok(table) => self.run.machine.phase(table, now),
            Err(_) => Phase::Idle,
        };
        Status {
            phase,
            held_by_charger: self.held.is_some(),
            demand: self.run.demand,
            drawn: self.run.input(now).drawn,
            indications: self.indications,
            is_kept: !self.changed,
        }
    }
}
