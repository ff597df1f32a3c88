//! Power comes back.

use super::board::Board;
use super::keep::Keeper;
use super::state::{Config, Pump, Run};
use crate::bytes::Take;
use crate::clock::{MonoMs, Now};
use crate::event::{EndReason, Event, StopReason};
use crate::journal::RegionRefused;
use crate::limits::Limits;
use crate::machine::{Checkpoint, Command, EventId, Machine};
use crate::meter::GAP_MS;
use crate::port::{Duty, Indications, Monotonic, Motor, Power, Supply};
use crate::record::{Flags, INTERRUPTION_MS, INTERRUPTIONS_KEPT, Log};
use crate::regulator::Regulator;
use crate::table::{Outage, StepTable};

/// So many resumes without a whole checkpoint interval of pumping between them are a supply that cannot carry the pump.
const RESUMES_MAX: u8 = 5;

/// A supply that warned goes on for no longer than this, or its warning was in vain, in ms.
pub(super) const WARNED_MS: u32 = 2_000;

/// What a pump found at boot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Booted {
    /// No event was under way.
    Idle,
    /// An event was under way, and goes on, or ended for the outage; the record says which.
    Resumed {
        /// How long the outage lasted, in ms; `None` when the clock was not trusted before or after.
        outage_ms: Option<u64>,
    },
    /// An event was under way; it goes on when the charger is taken away.
    HeldByCharger,
}

impl<B: Board, const N: usize> Pump<B, N> {
    /// An engine at rest, with its motor off: [`Pump::boot`] comes next. Before that it does nothing and refuses everything: what
    /// the journal knows of an event under way must not be written over.
    ///
    /// # Errors
    /// [`RegionRefused`] when the flash is not laid out as it must be: a fault of the firmware.
    pub fn new(mut board: B, mut config: Config) -> Result<Self, RegionRefused> {
        // A reading that stands for longer is a gap.
        config.reading_ms = config.reading_ms.min(GAP_MS as u32);
        Ok(Self {
            keeper: Keeper::open(board.flash(), &config)?,
            board,
            config,
            table: StepTable::empty(),
            run: Run::NONE,
            booted: false,
            place: 0,
            held: None,
            mono_ahead: 0,
            regulator: Regulator::new(config.regulator),
            limits: Limits::new(config.limits),
            log: Log::default(),
            indications: Indications::default(),
            power: Power::GOOD,
            changed: false,
            warned: false,
            warned_in_vain: false,
            motor_unsure: false,
            driven: false,
            pumped_since_boot_ms: 0,
            polled: Now { mono: MonoMs::from_ms(0), wall: None },
            polled_last: Now { mono: MonoMs::from_ms(0), wall: None },
        })
    }

    /// Finds what the journal holds, and goes on with an event that was under way. Call it once, before the first poll.
    ///
    /// `buffer` is for the block of the schedule that was armed: [`wire::max_len`](crate::wire::max_len) of `N` is always enough.
    /// Blank flash is as good as any.
    pub fn boot(&mut self, buffer: &mut [u8]) -> Booted {
        self.booted = true;
        // A reset by a watchdog may have left it running. Told at once, and once more when it is known whose sampler that concerns.
        let _ = self.board.motor().drive(Duty::OFF);
        self.power = self.board.supply().read();
        let newest = self.read_newest();
        self.motor_unsure = !self.drive(Duty::OFF);
        let booted = match newest {
            Some(checkpoint) => self.go_on(&checkpoint, buffer),
            None => {
                // No number of an event is given twice, whatever became of the checkpoints.
                let mut last = 0;
                self.each_row(|_, _, row| last = last.max(Take::new(row).u32()));
                self.run.event.event = EventId(last);
                Booted::Idle
            }
        };
        let now = self.now();
        (self.polled, self.polled_last) = (now, now);
        booted
    }

    fn go_on(&mut self, checkpoint: &Checkpoint, buffer: &mut [u8]) -> Booted {
        // What cannot be loaded is found out when it is resumed.
        let place = self.place.into();
        let _ = self.keeper.shelf.load(self.board.flash(), place, buffer, &mut self.table);
        let armed = self.run.machine.is_armed();
        let rows = self.write_missing_rows(armed, checkpoint.at);
        self.finish_change_of_sampler(checkpoint);
        if rows.wrote {
            // That they are there: or each boot from now on would write the newest again.
            self.keep_as_found(checkpoint.at);
        }
        if !self.run.machine.is_armed() {
            return Booted::Idle;
        }
        if !rows.is_newest {
            // What was pumped since cannot be told apart from what would be pumped once more: the event ends here.
            self.run.machine = Machine::new();
            self.run.event.flags.set(Flags::ROW_LOST);
            let now = self.now();
            if !rows.has_event {
                self.happened(now, Event::Ended(EndReason::Stopped(StopReason::Fault)));
                // A row that is there is not written again.
                self.run.sample.over &= !rows.has_sample;
            }
            let _ = self.keep(now);
            return Booted::Idle;
        }
        if self.must_wait_for_charger(checkpoint) {
            self.held = Some(*checkpoint);
            self.continue_clock(checkpoint);
            return Booted::HeldByCharger;
        }
        Booted::Resumed { outage_ms: self.resume(checkpoint, None) }
    }

    /// A battery that died must not start again on the charger, unless the schedule says that the pump lives on one.
    fn must_wait_for_charger(&self, checkpoint: &Checkpoint) -> bool {
        let allowed = match self.table.settings().outage {
            Outage::KeepStopTime(resume) | Outage::MakeUpTime(resume) => resume.while_charging,
            Outage::Abandon => true,
        };
        self.power.charging && !allowed && checkpoint.is_under_way()
    }

    /// The monotonic clock goes on from the checkpoint; how long the outage lasted is the answer.
    ///
    /// Both clocks are read once: two readings could differ about how long that was.
    #[inline(never)]
    fn continue_clock(&mut self, checkpoint: &Checkpoint) -> (Now, Option<u64>) {
        let wall = self.wall();
        let (mono, outage_ms) = checkpoint.continued(wall);
        let own = self.board.mono().now();
        self.mono_ahead = mono.as_ms().wrapping_sub(own.as_ms());
        (Now { mono, wall }, outage_ms)
    }

    /// Goes on with the event, or ends it, as its outage rule says, or as it is asked to end. Nothing is pumped before the checkpoint of this
    /// is written.
    #[inline(never)]
    fn resume(&mut self, checkpoint: &Checkpoint, asked: Option<EndReason>) -> Option<u64> {
        let (now, outage_ms) = self.continue_clock(checkpoint);
        let was_under_way = checkpoint.is_under_way();
        self.run.event.resumes = self.run.event.resumes.saturating_add(1);
        self.run.flag(Flags::INTERRUPTED);
        if outage_ms.is_none() {
            self.run.flag(Flags::CLOCK_UNTRUSTED);
        }
        if was_under_way {
            // Before the row of the stretch is made that it ended.
            self.account_for(checkpoint, outage_ms);
        }
        self.run.tally.idle(now.mono);
        let input = self.run.input(now);
        let resumed = match self.table.checked() {
            Ok(table) if asked.is_none() => Machine::resume(table, checkpoint, input).ok(),
            _ => None,
        };
        match resumed {
            Some((machine, event)) => {
                self.run.machine = machine;
                event.into_iter().for_each(|event| self.happened(now, event));
            }
            // It is ended, or the schedule that was armed is not there any more, or is another.
            None => {
                self.run.machine = Machine::new();
                checkpoint.stretch().into_iter().for_each(|event| self.happened(now, event));
                self.happened(now, Event::Ended(asked.unwrap_or(EndReason::WrongTable)));
            }
        }
        // A pause takes nothing of the supply.
        if checkpoint.is_pumping() {
            self.run.resumes_in_row = self.run.resumes_in_row.saturating_add(1);
            if self.run.resumes_in_row >= RESUMES_MAX && self.run.machine.is_armed() {
                let _ = self.ask(Command::Stop(StopReason::Supply), now);
            }
        }
        self.changed = true;
        (self.polled, self.polled_last) = (now, now);
        // Tried again at the next poll when it fails, before the motor is driven.
        let _ = self.keep(now);
        outage_ms
    }

    /// What an outage took of a step that was under way.
    fn account_for(&mut self, checkpoint: &Checkpoint, outage_ms: Option<u64>) {
        let Run { event, sample, .. } = &mut self.run;
        if outage_ms.is_none_or(|ms| ms > INTERRUPTION_MS) {
            let count = usize::from(event.interruptions);
            if let (Some(place), Some(wall)) =
                (event.interrupted_s.get_mut(count), checkpoint.at.wall)
            {
                *place = u32::try_from(wall.as_ms() / 1_000).unwrap_or(u32::MAX);
            }
            event.interruptions = event.interruptions.saturating_add(1);
            sample.interruptions = sample.interruptions.saturating_add(1);
            if usize::from(sample.interruptions) > INTERRUPTIONS_KEPT {
                sample.flags.set(Flags::MANY_INTERRUPTIONS);
            }
            if count >= INTERRUPTIONS_KEPT {
                event.flags.set(Flags::MANY_INTERRUPTIONS);
            }
        }
        if checkpoint.is_pumping() {
            let most = if self.warned {
                WARNED_MS
            } else {
                self.run.flag(Flags::TIME_UNACCOUNTED);
                self.config.checkpoint_ms
            };
            // A checkpoint comes at the reading after it is due.
            let most = most.saturating_add(self.config.reading_ms);
            let lost = outage_ms.and_then(|ms| u32::try_from(ms).ok()).unwrap_or(most).min(most);
            let Run { event, sample, .. } = &mut self.run;
            event.unaccounted_ms = event.unaccounted_ms.saturating_add(lost);
            sample.unaccounted_ms = sample.unaccounted_ms.saturating_add(lost);
        }
    }

    /// Whether an event waits for the charger to be taken away. When it was, or the event has waited for too long, it goes on or ends.
    pub(super) fn is_held(&mut self) -> bool {
        let Some(checkpoint) = self.held else { return false };
        let wall = self.wall();
        let (_, outage_ms) = checkpoint.continued(wall);
        let too_long = match self.table.settings().outage {
            Outage::KeepStopTime(resume) | Outage::MakeUpTime(resume) => {
                outage_ms.is_some_and(|ms| ms > resume.within.as_ms().into())
            }
            Outage::Abandon => true,
        };
        if self.power.charging && !too_long {
            return true;
        }
        self.let_go(None);
        false
    }

    /// An event that was held goes on, or ends as it is asked to.
    #[inline(never)]
    pub(super) fn let_go(&mut self, asked: Option<EndReason>) {
        if let Some(checkpoint) = self.held.take() {
            self.resume(&checkpoint, asked);
        }
    }

    /// A new sampler is in place, while the event is held.
    pub(super) fn confirm_while_held(&mut self) {
        if let Some(held) = &mut self.held {
            held.machine.assume_confirmed();
            self.run.machine = held.machine;
            self.changed = true;
        }
    }
}
