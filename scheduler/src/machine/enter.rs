//! Entering a step: appointments are resolved, pumping begins, repeats count.

use super::{Deadline, Input, Machine, State, step_at, target};
use crate::calendar::TimeOfDay;
use crate::clock::WallMs;
use crate::event::{EndReason, Event, LostCause};
use crate::repeats::{depth, group_end, innermost, number};
use crate::step::{Passes, Sampler, Step, StepNo};
use crate::table::{Outage, TableRef};
use crate::waits::{appointment, first_at};

impl Machine {
    pub(super) fn enter(&mut self, table: TableRef<'_>, index: u8, input: &Input) -> Option<Event> {
        match step_at(table, index) {
            // Only a table that was changed under way has no such step.
            None => self.end(EndReason::WrongTable),
            Some(Step::Finish) => self.end(EndReason::Finished),
            Some(Step::Repeat { from, passes, sampler }) => {
                self.count_pass(table, index, *from, *passes, *sampler)
            }
            Some(Step::Hold(d) | Step::HoldUntilResumed { at_most: d, .. }) => {
                self.state = State::Holding { index };
                self.deadline = Deadline::mono(self.due.mono.plus_ms(d.as_ms().into()));
                Some(Event::HoldBegan { step: number(index.into()) })
            }
            Some(Step::RunFor { run, .. }) => {
                self.enter_run_for(table, index, run.as_ms().into(), input)
            }
            Some(Step::DrawVolume { at_most, .. }) => {
                let end = input.now.mono.plus_ms(at_most.as_ms().into());
                self.begin_pumping(table, index, Deadline::mono(end), input)
            }
            Some(Step::RunUntil { time, at_most, .. }) => {
                self.enter_run_until(table, index, *time, at_most.as_ms().into(), input)
            }
            Some(_) => self.enter_waits(table, index),
        }
    }

    fn enter_waits(&mut self, table: TableRef<'_>, first: u8) -> Option<Event> {
        let steps = table.steps();
        let end = group_end(steps, first.into());
        let last = u8::try_from(end.saturating_sub(1)).unwrap_or(u8::MAX);
        let group = steps.get(usize::from(first)..end).unwrap_or(&[]);
        let line = self.due.wall.zip(self.armed);
        let at = line.and_then(|(due, armed)| {
            appointment(group, table.settings(), due, armed, self.last_appointment)
        });
        match at {
            Some(at) => {
                self.state = State::Waiting { first, last, at };
                self.deadline = Deadline::wall(at);
                let (first, step) = (number(first.into()), number(last.into()));
                Some(Event::AppointmentSet { first, step, at })
            }
            None => self.missed(table, first, last, None),
        }
    }

    /// An appointment was missed: the pass ends, or the event does.
    pub(super) fn missed(
        &mut self,
        table: TableRef<'_>,
        first: u8,
        last: u8,
        at: Option<WallMs>,
    ) -> Option<Event> {
        self.pass_is_over(table, last, EndReason::Missed);
        let (first, step) = (number(first.into()), number(last.into()));
        Some(Event::AppointmentMissed { first, step, at })
    }

    /// The pass ends here, or the event if there is no repeat around the step.
    #[inline(never)]
    pub(super) fn pass_is_over(&mut self, table: TableRef<'_>, index: u8, reason: EndReason) {
        match innermost(table.steps(), index.into()) {
            Some(repeat) => self.go(repeat),
            None => self.end_next(reason),
        }
    }

    fn enter_run_for(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        run_ms: u64,
        input: &Input,
    ) -> Option<Event> {
        let mut end = input.now.mono.plus_ms(run_ms);
        let keeps_stop_time = matches!(table.settings().outage, Outage::KeepStopTime(_));
        if keeps_stop_time && self.due.mono < self.resumed {
            // An outage made it late: it ends where it would have without.
            end = self.due.mono.plus_ms(run_ms);
            if end <= input.now.mono {
                self.due.move_on(run_ms);
                return self.lost(index, LostCause::Past);
            }
        }
        self.begin_pumping(table, index, Deadline::mono(end), input)
    }

    fn enter_run_until(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        time: TimeOfDay,
        at_most_ms: u64,
        input: &Input,
    ) -> Option<Event> {
        let offset = table.settings().utc_offset;
        let Some(due) = self.due.wall else { return self.lost(index, LostCause::TooFar) };
        let after = self.last_appointment.map_or(due, |last| last.max(due));
        let until = match first_at(&[], offset, time, after.as_ms().saturating_add(1)) {
            Some(until) if until.since(due) <= at_most_ms => until,
            _ => return self.lost(index, LostCause::TooFar),
        };
        let Some(wall) = input.now.wall else {
            self.deadline = Deadline::wall(WallMs::FIRST);
            return None;
        };
        if until <= wall {
            self.due.move_to(until, wall, input.now.mono);
            return self.lost(index, LostCause::Past);
        }
        let end = Deadline::mono(self.due.mono.plus_ms(at_most_ms));
        let end = Deadline { wall: Some(until), ..end };
        self.begin_pumping(table, index, end, input)
    }

    #[inline(never)]
    fn lost(&mut self, index: u8, cause: LostCause) -> Option<Event> {
        self.go(usize::from(index).saturating_add(1));
        Some(Event::RunLost { step: number(index.into()), cause })
    }

    fn begin_pumping(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        mut end: Deadline,
        input: &Input,
    ) -> Option<Event> {
        let step = number(index.into());
        // The repeat asks again when it passes on again.
        if let (Some(repeat), false) = (self.confirm_for.take(), self.confirmed) {
            self.go(repeat.index());
            return Some(Event::PassSkipped { step });
        }
        if self.sample == 0 && self.start_by_passed(table) {
            return self.end(EndReason::StartByPassed);
        }
        if self.fresh {
            self.sample = self.sample.saturating_add(1);
        }
        self.fresh = false;
        self.confirmed = false;
        if let Some(Step::DrawVolume { volume, .. }) = step_at(table, index) {
            end.drawn = input.drawn.saturating_add(volume.raw());
        }
        self.deadline = end;
        self.pump(table, index, 0, input)
    }

    /// A stretch of pumping begins, until the deadline.
    pub(super) fn pump(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        retries: u8,
        input: &Input,
    ) -> Option<Event> {
        let target = target(table, index);
        let (begin, drawn) = (input.now, input.drawn);
        self.state = State::Pumping { index, retries, target, begin, drawn };
        let step = number(index.into());
        let passes = self.passes(table, step);
        Some(Event::PumpingBegan { step, passes, sample: self.sample, target })
    }

    /// Whether the run that is due now is due later than the schedule's `start-by`.
    fn start_by_passed(&self, table: TableRef<'_>) -> bool {
        let Some(civil) = table.settings().start_by else { return false };
        // A start-by outside 2020 to 2135 has passed if it cannot be told; so has one without a due.
        let start_by = table.settings().utc_offset.instant(civil);
        !matches!((self.due.wall, start_by), (Some(due), Some(limit)) if due <= limit)
    }

    fn count_pass(
        &mut self,
        table: TableRef<'_>,
        index: u8,
        from: StepNo,
        passes: Passes,
        sampler: Sampler,
    ) -> Option<Event> {
        let level = depth(table.steps(), index.into());
        let step = number(index.into());
        // Repeats inside the body start again, and so does this one when it is done.
        let counts = self.done.get_mut(level..).unwrap_or(&mut []);
        let own = counts.first().map_or(0, |done| done.saturating_add(1));
        counts.fill(0);
        if own < passes.get()
            && let Some(done) = counts.first_mut()
        {
            *done = own;
        }
        if own >= passes.get() {
            if self.confirm_for == Some(step) {
                self.confirm_for = None;
            }
            self.go(usize::from(index).saturating_add(1));
            return Some(Event::RepeatDone { step });
        }
        match sampler {
            Sampler::Same => {}
            Sampler::Fresh => self.fresh = true,
            Sampler::FreshConfirmed => {
                self.fresh = true;
                self.confirm_for = Some(step);
            }
        }
        self.go(from.index());
        Some(Event::PassedOn { step, done: own, sampler })
    }
}
