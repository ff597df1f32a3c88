//! After an outage: an event goes on from a checkpoint, or ends.

use core::fmt;

use super::{Checkpoint, Input, Machine, State};
use crate::event::{EndReason, Event, PassCount, PumpEnd, Pumped};
use crate::repeats::number;
use crate::table::{Outage, Settings, TableRef};
use crate::wire::schedule_id;

/// Why an event was not resumed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ResumeRefused {
    /// No event was under way at the checkpoint.
    NotArmed,
    /// The table is another schedule than the one under way at the checkpoint.
    WrongTable,
}

impl ResumeRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotArmed => "nothing-to-resume",
            Self::WrongTable => "another-schedule",
        }
    }
}

impl fmt::Display for ResumeRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotArmed => "no event was under way at the checkpoint; there is nothing to resume",
            Self::WrongTable => {
                "the checkpoint belongs to another schedule; load the one that was armed, or arm this one"
            }
        })
    }
}

impl core::error::Error for ResumeRefused {}

impl Checkpoint {
    /// The stretch of pumping that was cut, where its schedule cannot be read any more: in which passes it was is not known.
    pub(crate) fn stretch(&self) -> Option<Event> {
        let State::Pumping { index, begin, drawn, .. } = self.machine.state else { return None };
        Some(Event::PumpingEnded(Pumped {
            step: number(index.into()),
            passes: PassCount([0; 4]),
            sample: self.machine.sample,
            begin,
            end: self.at,
            volume: self.drawn.since(drawn),
            by: PumpEnd::Outage,
            overrun_ms: 0,
        }))
    }
}

impl Machine {
    /// The machine that goes on from a checkpoint after an outage, and the end of the stretch of pumping that it cut, if it
    /// did. `docs/steps.md`, "Outages", says when it goes on and when the event ends; the next calls tell.
    ///
    /// The monotonic clock of `now` goes on from [`Checkpoint::continued`], and its metered total from
    /// [`Checkpoint::drawn`].
    ///
    /// # Errors
    /// [`ResumeRefused`].
    pub fn resume(
        table: TableRef<'_>,
        checkpoint: &Checkpoint,
        now: Input,
    ) -> Result<(Self, Option<Event>), ResumeRefused> {
        let mut machine = checkpoint.machine;
        if !machine.is_armed() {
            return Err(ResumeRefused::NotArmed);
        }
        if schedule_id(table) != checkpoint.schedule {
            return Err(ResumeRefused::WrongTable);
        }
        machine.resumed = now.now.mono;
        let event = machine.go_on(table, checkpoint, &now);
        Ok((machine, event))
    }

    fn go_on(&mut self, table: TableRef<'_>, cut: &Checkpoint, input: &Input) -> Option<Event> {
        let settings = table.settings();
        let outage_ms = cut.outage_ms(input.now.wall);
        let makes_up_time = matches!(settings.outage, Outage::MakeUpTime(_));
        match self.state {
            State::Pumping { index, retries, .. } => {
                let end = self.deadline;
                let at_the_cut = Input { now: cut.at, drawn: cut.drawn };
                let ended = self.stop(table, index, PumpEnd::Outage, 0, &at_the_cut);
                self.pause(index, retries, &end, cut.at.mono, input.now.mono, makes_up_time);
                self.end_after_outage(settings, outage_ms);
                ended
            }
            State::Paused { .. } => {
                self.end_after_outage(settings, outage_ms);
                None
            }
            State::Holding { .. } if outage_ms.is_none() && !makes_up_time => {
                self.end_next(EndReason::ClockLost);
                None
            }
            _ => None,
        }
    }

    /// A pumping step was under way: the event ends if the outage rule does not let it go on.
    fn end_after_outage(&mut self, settings: &Settings, outage_ms: Option<u64>) {
        let reason = match (settings.outage, outage_ms) {
            (Outage::KeepStopTime(_), None) => EndReason::ClockLost,
            (Outage::MakeUpTime(_), None) => return,
            (Outage::KeepStopTime(resume) | Outage::MakeUpTime(resume), Some(ms))
                if ms <= resume.within.as_ms().into() =>
            {
                return;
            }
            _ => EndReason::Outage,
        };
        self.end_next(reason);
    }
}
