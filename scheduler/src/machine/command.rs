//! What an operator, or the host for one, may ask of a machine.

use core::fmt;

use super::{Advance, Input, Machine, State};
use crate::event::{EndReason, Limit, StopReason};
use crate::step::{Sampler, Step, StepNo};
use crate::table::TableRef;

/// A request. It takes effect at once or is refused; nothing is remembered for later.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Command {
    /// End a hold until resumed. Refused unless that very hold is under way and has not run out.
    Resume {
        /// The hold.
        step: StepNo,
    },
    /// A new sampler is in place. Refused while the pump runs, and in a schedule that never asks for one.
    ConfirmSampler,
    /// End the event now.
    Stop(StopReason),
    /// Take the schedule out of force. Refused while the pump runs: stop it first.
    Disarm,
    /// A limit tripped: the stretch of pumping ends now, and the schedule's fault rule decides how it goes on. Refused
    /// unless the pump runs.
    Trip(Limit),
}

/// Why a command was refused; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CommandRefused {
    /// No event is under way, or it has come to its end and only the report of that is still to be fetched.
    NotArmed,
    /// The step to resume is not the hold that is under way, or the hold has run out.
    NotThatHold,
    /// The schedule never asks for a new sampler.
    NoSamplerWanted,
    /// The pump runs.
    Pumping,
    /// The pump does not run.
    NotPumping,
}

impl CommandRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotArmed => "not-armed",
            Self::NotThatHold => "not-that-hold",
            Self::NoSamplerWanted => "no-sampler-wanted",
            Self::Pumping => "pumping",
            Self::NotPumping => "not-pumping",
        }
    }
}

impl fmt::Display for CommandRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotArmed => "nothing is armed",
            Self::NotThatHold => "the pump is not in that hold, or the hold has run out",
            Self::NoSamplerWanted => "this schedule does not ask for a new sampler",
            Self::Pumping => "the pump is running; stop it first",
            Self::NotPumping => "the pump is not running; a limit can trip only while it does",
        })
    }
}

impl core::error::Error for CommandRefused {}

impl Machine {
    /// Carries out a command, or refuses it and changes nothing.
    ///
    /// A command acts on the state of the last call: it makes no other transition first. Call
    /// [`Machine::advance`] at the same input before it when the last call lies back. Like
    /// `advance` it makes at most one transition and reports at most one event, and ends the event when the
    /// table is not the one that was armed.
    ///
    /// # Errors
    /// [`CommandRefused`], see each [`Command`].
    ///
    /// ```
    /// # use draught::audit::Fit;
    /// # use draught::machine::*;
    /// # use draught::prelude::*;
    /// # let target = Target::flow(Flow::from_ul_per_min(2_000_000)?);
    /// let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
    /// let (ten_min, hour) = (DurationMs::from_ms(600_000)?, DurationMs::from_ms(3_600_000)?);
    /// table.push(Step::HoldUntilResumed { at_most: hour, then: Then::Close }).unwrap();
    /// table.push(Step::RunFor { run: ten_min, target: None }).unwrap();
    /// table.push(Step::Finish).unwrap();
    /// let table = table.checked().unwrap();
    /// let at = |ms| Input { now: Now { mono: MonoMs::from_ms(ms), wall: None }, drawn: RawVolume::ZERO };
    /// let mut machine = Machine::new();
    /// machine.arm(table, &Fit::ANY, EventId(1), at(0)).unwrap();
    /// machine.advance(table, at(0)); // enters the hold
    ///
    /// let second = Command::Resume { step: StepNo::new(2)? };
    /// assert_eq!(machine.command(table, second, at(5)), Err(CommandRefused::NotThatHold));
    /// let first = Command::Resume { step: StepNo::FIRST };
    /// assert!(machine.command(table, first, at(5)).is_ok());
    /// assert_eq!(machine.advance(table, at(5)).demand, Demand::Pump(target));
    /// # Ok::<(), draught::units::OutOfRange>(())
    /// ```
    pub fn command(
        &mut self,
        table: TableRef<'_>,
        command: Command,
        input: Input,
    ) -> Result<Advance, CommandRefused> {
        if !self.is_armed() || matches!(self.state, State::Ending(_)) {
            return Err(CommandRefused::NotArmed);
        }
        if self.is_wrong(table) {
            let event = self.wrong_table(table, &input);
            return Ok(self.answer(event, true));
        }
        let event = match command {
            Command::Resume { step } => match self.resumable(table, &input) {
                Some(index) if usize::from(index) == step.index() => {
                    self.resume_hold(index, input.now)
                }
                _ => return Err(CommandRefused::NotThatHold),
            },
            Command::ConfirmSampler => {
                self.confirm_sampler(table)?;
                None
            }
            Command::Stop(reason) => self.end_early(table, EndReason::Stopped(reason), &input),
            Command::Disarm if self.is_pumping() => return Err(CommandRefused::Pumping),
            Command::Disarm => self.end(EndReason::Disarmed),
            Command::Trip(limit) => self.trip(table, limit, &input)?,
        };
        // A command that is no transition may come when one is due.
        let again = event.is_some() || self.is_due(&input);
        Ok(self.answer(event, again))
    }
    fn confirm_sampler(&mut self, table: TableRef<'_>) -> Result<(), CommandRefused> {
        let asks = |s: &Step| matches!(s, Step::Repeat { sampler: Sampler::FreshConfirmed, .. });
        if self.is_pumping() {
            return Err(CommandRefused::Pumping);
        }
        if !table.steps().iter().any(asks) {
            return Err(CommandRefused::NoSamplerWanted);
        }
        self.confirmed = true;
        Ok(())
    }
}
