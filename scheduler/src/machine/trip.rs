//! A limit trips: the stretch ends, and the step pauses, its pass is over, or the event ends.

use super::{CommandRefused, Deadline, Input, Machine, State};
use crate::clock::MonoMs;
use crate::event::{EndReason, Event, Limit, PumpEnd};
use crate::table::{Fault, TableRef};

/// When a step that stands still ends by its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ends {
    /// After so many more ms of pumping.
    After(u64),
    /// At an instant, whether it pumps until then or not.
    At(MonoMs),
}

impl Ends {
    /// How a step goes on whose end would have been at `end` when it was paused: a run-until ends at an instant, and what
    /// has a length gets the rest of it later.
    pub(super) fn paused(end: &Deadline, now: MonoMs) -> Self {
        match end.wall {
            Some(_) => Self::At(end.mono),
            None => Self::After(end.mono.since(now)),
        }
    }
}

impl Deadline {
    /// Of a paused step: when it pumps again, or ends without.
    pub(super) fn of_pause(until: MonoMs, ends: Ends, wall: Option<crate::clock::WallMs>) -> Self {
        let mono = match ends {
            Ends::At(end) => end.min(until),
            Ends::After(_) => until,
        };
        Self { wall, ..Self::mono(mono) }
    }
}

impl Machine {
    /// A limit trips now.
    pub(super) fn trip(
        &mut self,
        table: TableRef<'_>,
        limit: Limit,
        input: &Input,
    ) -> Result<Option<Event>, CommandRefused> {
        let State::Pumping { index, retries, .. } = self.state else {
            return Err(CommandRefused::NotPumping);
        };
        let end = self.deadline;
        let ended = self.stop(table, PumpEnd::Tripped(limit), 0, input);
        match table.settings().fault {
            Fault::Retry { every, times } if retries < times.get() => {
                let now = input.now.mono;
                let until = now.plus_ms(every.as_ms().into());
                self.pause(index, retries.saturating_add(1), until, Ends::paused(&end, now), &end);
            }
            Fault::Close => self.end_next(EndReason::Fault(limit)),
            Fault::Stop | Fault::Retry { .. } => {
                self.pass_is_over(table, index, EndReason::Fault(limit));
            }
        }
        Ok(ended)
    }

    /// A step stands still until it pumps again.
    pub(super) fn pause(
        &mut self,
        index: u8,
        retries: u8,
        until: MonoMs,
        ends: Ends,
        end: &Deadline,
    ) {
        self.state = State::Paused { index, retries, until, ends, full: end.drawn };
        self.deadline = Deadline::of_pause(until, ends, end.wall);
    }

    /// A pause is over: the step pumps again, unless its end has come.
    #[inline(never)]
    pub(super) fn pump_again(&mut self, table: TableRef<'_>, input: &Input) -> Option<Event> {
        let State::Paused { index, retries, ends, full, .. } = self.state else { return None };
        let mono = match ends {
            Ends::At(end) => end,
            Ends::After(ms) => input.now.mono.plus_ms(ms),
        };
        let end = Deadline { mono, wall: self.deadline.wall, drawn: full };
        if !end.has_come(input) {
            return self.pump(table, index, retries, end, input);
        }
        match self.move_line(table, index, &end, input) {
            // Only another table of the same length has no pumping step here.
            (PumpEnd::Stopped, _) => self.end_next(EndReason::WrongTable),
            _ => self.go(usize::from(index).saturating_add(1)),
        }
        None
    }
}
