//! Where an event stands, for a screen.

use super::{Machine, State, step_at};
use crate::clock::{MonoMs, Now, WallMs};
use crate::event::EndReason;
use crate::repeats::number;
use crate::step::{Step, StepNo};
use crate::table::TableRef;

/// Where an event stands, for a screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// Nothing is armed.
    Idle,
    /// Between two steps; call again.
    Between,
    /// Waiting for the day of an appointment.
    WaitForDate {
        /// The last wait of the group.
        step: StepNo,
        /// The scheduled start.
        appointment: WallMs,
    },
    /// The day has come; waiting for the time of an appointment.
    WaitForTime {
        /// The last wait of the group.
        step: StepNo,
        /// The scheduled start.
        appointment: WallMs,
    },
    /// Waiting for a wall clock that can be trusted.
    WaitForClock {
        /// The step that needs it.
        step: StepNo,
    },
    /// Pumping.
    Pumping {
        /// The pumping step.
        step: StepNo,
        /// When the pump was started.
        begin: Now,
    },
    /// Pump off within a pumping step, after a limit tripped or an outage.
    Paused {
        /// The pumping step.
        step: StepNo,
        /// When it pumps again, or ends if that is sooner.
        until: MonoMs,
    },
    /// Pump off, in a hold.
    Holding {
        /// The hold.
        step: StepNo,
        /// When it runs out.
        until: MonoMs,
    },
    /// The event is over.
    Ended(EndReason),
}

impl Machine {
    /// Whether the schedule waits for the operator: to resume a hold, or to confirm a new sampler.
    #[must_use]
    pub fn wants_operator(&self, table: TableRef<'_>) -> bool {
        match self.state {
            State::Holding { index }
                if matches!(step_at(table, index), Some(Step::HoldUntilResumed { .. })) =>
            {
                true
            }
            // Pumping takes the demand for a sampler away, and so does the end.
            _ => self.is_armed() && self.confirm_for.is_some() && !self.confirmed,
        }
    }

    /// Where the event stands. `now` tells waiting for the day from waiting for the time.
    #[must_use]
    pub fn phase(&self, table: TableRef<'_>, now: Now) -> Phase {
        match self.state {
            State::Idle => Phase::Idle,
            State::Entering { index } => match (step_at(table, index), now.wall) {
                (Some(Step::RunUntil { .. }), None) => {
                    Phase::WaitForClock { step: number(index.into()) }
                }
                _ => Phase::Between,
            },
            State::Ending(_) => Phase::Between,
            State::Waiting { last, at, .. } => {
                let offset = table.settings().utc_offset;
                let day = |w| offset.civil(w).map(|c| c.date);
                let step = number(last.into());
                match now.wall {
                    None => Phase::WaitForClock { step },
                    Some(wall) if day(wall) < day(at) => {
                        Phase::WaitForDate { step, appointment: at }
                    }
                    Some(_) => Phase::WaitForTime { step, appointment: at },
                }
            }
            State::Pumping { index, begin, .. } => {
                Phase::Pumping { step: number(index.into()), begin }
            }
            State::Paused { index, .. } => {
                Phase::Paused { step: number(index.into()), until: self.deadline.mono }
            }
            State::Holding { index } => {
                Phase::Holding { step: number(index.into()), until: self.deadline.mono }
            }
            State::Ended(reason) => Phase::Ended(reason),
        }
    }
}
