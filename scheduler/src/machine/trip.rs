//! A limit trips: the stretch ends, and the step pauses, its pass is over, or the event ends.

use super::{CommandRefused, Deadline, Input, Machine, State};
use crate::clock::MonoMs;
use crate::event::{EndReason, Event, Limit, PumpEnd};
use crate::table::{Fault, TableRef};

/// No pause moves the end of a step.
pub(super) const NEVER_MOVES: MonoMs = MonoMs::from_ms(u64::MAX);

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
        let ended = self.stop(table, index, PumpEnd::Tripped(limit), 0, input);
        match table.settings().fault {
            Fault::Retry { every, times } if retries < times.get() => {
                let now = input.now.mono;
                let until = now.plus_ms(every.as_ms().into());
                self.pause(index, retries.saturating_add(1), &end, now, until, true);
            }
            Fault::Close => self.end_next(EndReason::Fault(limit)),
            Fault::Stop | Fault::Retry { .. } => {
                self.pass_is_over(table, index, EndReason::Fault(limit));
            }
        }
        Ok(ended)
    }

    /// A step that would have ended at `end` stands still from `since` on until it pumps again. It gets its time all the
    /// same (`moves`), unless it ends at an instant.
    #[inline(never)]
    pub(super) fn pause(
        &mut self,
        index: u8,
        retries: u8,
        end: &Deadline,
        since: MonoMs,
        until: MonoMs,
        moves: bool,
    ) {
        let (mut ends, mut moves_from) = (end.mono, NEVER_MOVES);
        // Only a run-until has an end on the wall clock.
        if moves && end.wall.is_none() {
            ends = until.plus_ms(end.mono.since(since));
            moves_from = until;
        }
        self.state = State::Paused { index, retries, end: ends, moves_from, full: end.drawn };
        self.deadline = Deadline { wall: end.wall, ..Deadline::mono(until.min(ends)) };
    }

    /// A pause is over: from now on the deadline is the end of the step; whether that has come without another stretch.
    pub(super) fn ends_paused(&mut self, input: &Input) -> bool {
        if let State::Paused { end, moves_from, full, .. } = self.state {
            self.deadline.mono = end.plus_ms(input.now.mono.since(moves_from));
            self.deadline.drawn = full;
        }
        self.is_due(input)
    }
}
