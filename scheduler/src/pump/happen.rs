//! What the machine reports, as it goes into the record.

use super::board::Board;
use super::state::{Pump, Sample};
use crate::clock::Now;
use crate::event::{EndReason, Event, PumpEnd, Pumped};
use crate::machine::{Checkpoint, Demand};
use crate::record::{Flags, SpanRow, Tally};

/// An appointment met later than this is told, in ms: less is how long a poll takes.
const LATE_MS: u64 = 1_000;

impl<B: Board, const N: usize> Pump<B, N> {
    /// Takes an event into the record.
    #[inline(never)]
    pub(super) fn happened(&mut self, now: Now, event: Event) {
        self.log.note(now, event);
        self.changed = true;
        match event {
            Event::AppointmentMet { late_ms, .. } => {
                if late_ms > LATE_MS {
                    self.run.flag(Flags::LATE);
                }
                let late_ms = u32::try_from(late_ms).unwrap_or(u32::MAX);
                self.run.event.late_ms = self.run.event.late_ms.max(late_ms);
            }
            Event::AppointmentMissed { .. } | Event::RunLost { .. } | Event::PassSkipped { .. } => {
                let event = &mut self.run.event;
                event.missed = event.missed.saturating_add(1);
                event.flags.set(Flags::LATE);
            }
            Event::PumpingBegan { sample, .. } => self.began(now, sample),
            Event::PumpingEnded(pumped) => self.ended(&pumped),
            Event::Ended(reason) => self.closed(reason),
            _ => {}
        }
    }

    fn began(&mut self, now: Now, sample: u32) {
        if self.run.sample.number == 0 {
            self.run.event.started = now.wall;
        }
        if sample != self.run.sample.number {
            if self.run.sample.number != 0 {
                self.close_sample();
                // While its sums are still there. The motor goes on as it does for these few ms; the next reading covers them.
                let _ = self.keep(now);
            }
            self.begin_sample(now, sample);
        }
    }

    /// From now on it is another sampler.
    fn begin_sample(&mut self, now: Now, number: u32) {
        if self.run.sample.over {
            // Its row could not be written.
            self.run.event.flags.set(Flags::ROW_LOST);
        }
        self.run.drawn_before = self.run.input(now).drawn;
        self.run.tally = Tally::new(now.mono);
        // What was wrong with the sampler before is not held against it at once, where the motor runs on.
        self.limits.next_sampler();
        self.run.sample = Sample { number, begin: now.wall, ..Sample::NONE };
        self.run.event.samples = self.run.event.samples.max(number);
        self.changed = true;
    }

    /// At boot: power was cut between the row of a sample and the begin of the next, whose stretch the checkpoint holds already.
    pub(super) fn finish_change_of_sampler(&mut self, checkpoint: &Checkpoint) {
        let number = checkpoint.machine.sample();
        if checkpoint.is_under_way() && number != self.run.sample.number {
            self.begin_sample(checkpoint.at, number);
        }
    }

    #[inline(never)]
    fn ended(&mut self, pumped: &Pumped) {
        let event = &mut self.run.event;
        if self.run.span.is_some() {
            // Only when the flash has failed since the last one.
            event.flags.set(Flags::ROW_LOST);
        }
        event.spans = event.spans.saturating_add(1);
        event.pumped_ms = event.pumped_ms.saturating_add(pumped.pumped_ms());
        event.volume = event.volume.saturating_add(pumped.volume);
        event.stopped = pumped.end.wall;
        let sample = &mut self.run.sample;
        sample.pumped_ms = sample.pumped_ms.saturating_add(pumped.pumped_ms());
        sample.end = pumped.end.wall;
        if let PumpEnd::Tripped(limit) = pumped.by {
            if let Some(count) = event.trips.get_mut(limit as usize) {
                *count = count.saturating_add(1);
            }
            event.flags.set(Flags::LIMIT_TRIPPED);
            self.run.flags.set(Flags::LIMIT_TRIPPED);
            self.indications.fault = true;
        }
        let flags = core::mem::take(&mut self.run.flags);
        let (event, sample) = (&self.run.event, &mut self.run.sample);
        sample.flags.set(flags);
        self.run.span = Some(SpanRow {
            event: event.event,
            number: event.spans,
            step: pumped.step,
            passes: pumped.passes,
            sample: pumped.sample,
            begin: pumped.begin.wall,
            end: pumped.end.wall,
            pumped_ms: pumped.pumped_ms(),
            volume: pumped.volume,
            by: pumped.by,
            overrun_ms: u32::try_from(pumped.overrun_ms).unwrap_or(u32::MAX),
            flags,
        });
        self.changed = true;
        if let PumpEnd::Tripped(_) = pumped.by {
            // A pass that follows at once starts like any other: its limits are judged anew.
            self.demand(Demand::Off);
        }
    }

    fn closed(&mut self, reason: EndReason) {
        self.close_sample();
        let event = &mut self.run.event;
        event.reason = reason;
        event.supply_ended_percent = self.power.left_percent;
        if reason != EndReason::Finished {
            event.flags.set(Flags::ENDED_EARLY);
        }
        self.run.over = true;
        self.changed = true;
    }

    /// The sample under way is over, if there is one: its row is due, and what is to be looked at is flagged.
    fn close_sample(&mut self) {
        if self.run.sample.number == 0 {
            return;
        }
        let run = &mut self.run;
        run.sample.over = true;
        // A pump that never corrects says so in the row; it is worth a look when it did and then did not.
        if run.corrects && run.tally.uncorrected_ms() > 0 {
            run.flag_sample(Flags::NOT_AT_INLET);
        }
        if let Some((least, most)) = self.config.sample_ms
            && !(least..=most).contains(&run.sample.pumped_ms)
        {
            run.flag_sample(Flags::TIME_OUTSIDE);
        }
        if run.tally.is_unsteady() {
            run.flag_sample(Flags::FLOW_UNSTEADY);
        }
    }
}
