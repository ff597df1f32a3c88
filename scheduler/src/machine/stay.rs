//! Being in a step: what ends it, and where that leaves the line.

use super::{Input, Machine, State, step_at};
use crate::clock::{Now, WallMs};
use crate::event::{EndReason, Event, HoldEnd, PumpEnd, Pumped};
use crate::repeats::number;
use crate::step::{Step, Then};
use crate::table::TableRef;
use crate::waits::time_of_day;

impl Machine {
    /// An appointment has come: it is met, or missed.
    pub(super) fn meet(
        &mut self,
        table: TableRef<'_>,
        first: u8,
        last: u8,
        at: WallMs,
        input: &Input,
    ) -> Option<Event> {
        // The deadline of a wait is on the wall clock alone, so there is one.
        let wall = input.now.wall.unwrap_or(at);
        let missed = self.met_too_late(table, first, last, at, wall);
        if self.due.wall.is_none_or(|due| at > due) {
            self.due.move_to(at, wall, input.now.mono);
        }
        self.last_appointment = Some(at);
        if missed {
            return self.missed(table, first, last, Some(at));
        }
        self.go(usize::from(last).saturating_add(1));
        Some(Event::AppointmentMet { step: number(last.into()), at, late_ms: wall.since(at) })
    }

    fn met_too_late(
        &self,
        table: TableRef<'_>,
        first: u8,
        last: u8,
        at: WallMs,
        wall: WallMs,
    ) -> bool {
        let settings = table.settings();
        let group = table.steps().get(usize::from(first)..=usize::from(last)).unwrap_or(&[]);
        if time_of_day(group).is_some() {
            let line = self.due.wall.map_or(at, |due| due.max(at));
            wall.since(line) > u64::from(settings.late_tolerance.as_ms())
        } else {
            let day = |w| settings.utc_offset.civil(w).map(|c| c.date);
            // No civil day left, after 2135, is a day that is over.
            day(wall).is_none_or(|today| Some(today) > day(at))
        }
    }

    /// A pumping step has come to its end; one that is paused has nothing to report.
    pub(super) fn stop_in_time(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        input: &Input,
    ) -> Option<Event> {
        let (by, overrun_ms) = self.move_line(table, index, input);
        let ended = self.stop(table, index, by, overrun_ms, input);
        if by == PumpEnd::Stopped {
            // Only another table of the same length has no pumping step here.
            self.end_next(EndReason::WrongTable);
        }
        ended
    }

    /// The line after a pumping step whose end has come; what ended it, and how long ago that was.
    /// [`PumpEnd::Stopped`] if there is no such step.
    fn move_line(&mut self, table: TableRef<'_>, index: u8, input: &Input) -> (PumpEnd, u64) {
        let (now, end) = (input.now, self.deadline);
        let mut over = now.mono.since(end.mono);
        let by = match step_at(table, index) {
            Some(Step::RunFor { run, .. }) => {
                self.due.move_on(run.as_ms().into());
                PumpEnd::Time
            }
            Some(Step::RunUntil { .. }) => match (end.wall, now.wall) {
                (Some(until), Some(wall)) if wall >= until => {
                    self.due.move_to(until, wall, now.mono);
                    over = wall.since(until);
                    PumpEnd::Time
                }
                (Some(until), _) => {
                    self.due.move_on(self.due.wall.map_or(0, |due| until.since(due)));
                    PumpEnd::Limit
                }
                _ => PumpEnd::Stopped,
            },
            Some(Step::DrawVolume { .. }) if input.drawn >= end.drawn => {
                self.due.move_here(now);
                over = 0;
                PumpEnd::Volume
            }
            Some(Step::DrawVolume { at_most, .. }) => {
                self.due.move_on(at_most.as_ms().into());
                PumpEnd::Limit
            }
            _ => PumpEnd::Stopped,
        };
        (by, over)
    }

    /// The pump stops, and the next step is entered.
    pub(super) fn stop(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        by: PumpEnd,
        overrun_ms: u64,
        input: &Input,
    ) -> Option<Event> {
        let was = self.state;
        self.go(usize::from(index).saturating_add(1));
        let State::Pumping { begin, drawn, .. } = was else { return None };
        let step = number(index.into());
        // It cannot have run too long by more than it ran.
        let overrun_ms = overrun_ms.min(input.now.mono.since(begin.mono));
        Some(Event::PumpingEnded(Pumped {
            step,
            passes: self.passes(table, step),
            sample: self.sample,
            begin,
            end: input.now,
            volume: input.drawn.since(drawn),
            by,
            overrun_ms,
        }))
    }

    /// The event ends out of turn; a stretch of pumping that is under way is reported first.
    pub(super) fn end_early(
        &mut self,
        table: TableRef<'_>,
        reason: EndReason,
        input: &Input,
    ) -> Option<Event> {
        let State::Pumping { index, .. } = self.state else { return self.end(reason) };
        let ended = self.stop(table, index, PumpEnd::Stopped, 0, input);
        self.end_next(reason);
        ended
    }

    /// A hold is over, and nobody has resumed it.
    pub(super) fn run_out(&mut self, table: TableRef<'_>, index: u8) -> Option<Event> {
        if let Some(Step::HoldUntilResumed { then: Then::Close, .. }) = step_at(table, index) {
            self.end_next(EndReason::HoldRanOut);
        } else {
            self.due.move_on(self.deadline.mono.since(self.due.mono));
            self.go(usize::from(index).saturating_add(1));
        }
        Some(Event::HoldEnded { step: number(index.into()), by: HoldEnd::RanOut })
    }

    /// The operator ends a hold.
    pub(crate) fn resume_hold(&mut self, index: u8, now: Now) -> Option<Event> {
        self.due.move_here(now);
        self.go(usize::from(index).saturating_add(1));
        Some(Event::HoldEnded { step: number(index.into()), by: HoldEnd::Resumed })
    }
}
