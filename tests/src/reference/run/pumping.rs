//! Pumping steps: whether they begin, and what becomes of them when they are interrupted.

use super::super::log::{End, Happening, Limit, Lost};
use super::super::plan::{Keep, No, OnOutage, OnTrip, Stop};
use super::super::world::Wish;
use super::super::{Ml, Ms, WALL_FIRST};
use super::outage::Outage;
use super::{Among, Leave, Pump, Then, Through};

/// A pumping step that has begun.
#[derive(Clone, Debug)]
pub(super) struct Job {
    pub no: No,
    pub keep: Keep,
    pub stop: Stop,
    /// The end of a run-until.
    pub until: Option<Ms>,
    /// Where the volume counts from.
    pub drawn_before: Ml,
    /// The time pumped in stretches that are over.
    pub pumped: Ms,
    /// Ends by its time at the latest when the monotonic clock shows this, because an outage came into it ...
    pub same_end: Option<Ms>,
    /// ... and because it was entered late on account of one.
    pub late_end: Option<Ms>,
    /// How often it has rested.
    rests: u32,
}

/// What broke a stretch of a step off.
pub(super) enum Broken {
    Tripped(Limit),
    Outage(Outage),
}

impl Pump<'_> {
    pub(super) fn pump(&mut self, no: No, keep: Keep, stop: Stop) -> Through {
        let mut until = None;
        if let Stop::At(time, at_most) = stop {
            let Some(end) = self.end_of_run_until(no, time, at_most)? else { return Ok(()) };
            until = Some(end);
        }
        let late_end = self.late_end(stop);
        if let (Some(end), Stop::After(d)) = (late_end, stop)
            && self.here.clocks.mono >= end
        {
            self.due = self.due_later(d);
            self.write(Happening::Lost(no, Lost::Past));
            return Ok(());
        }
        let confirmed = self.confirmed || self.world.samplers_are_confirmed();
        if let Some(repeat) = self.unconfirmed.filter(|_| !confirmed) {
            self.write(Happening::Skipped(no));
            return Err(Leave::PassOf(repeat));
        }
        let first = self.samples == 0;
        if first && self.plan.start_by.zip(self.due.wall).is_some_and(|(by, due)| due > by) {
            return Err(Leave::Over(End::StartBy));
        }
        if first || self.new_sample {
            self.samples += 1;
        }
        self.new_sample = false;
        self.unconfirmed = None;
        self.confirmed = false;
        self.story.due_at_start.push(self.due.wall);
        self.work(Job {
            no,
            keep,
            stop,
            until,
            drawn_before: self.here.drawn,
            pumped: 0,
            same_end: None,
            late_end,
            rests: 0,
        })
    }

    /// The end of a run-until; `None` if the step is lost.
    fn end_of_run_until(&mut self, no: No, time: Ms, at_most: Ms) -> Result<Option<Ms>, Leave> {
        let due = self.due.wall.expect("armed by a trusted wall clock");
        let after = self.last_appointment.map_or(due, |last| last.max(due));
        let end = self.plan.clock.first_time(time, after, |_, at| at > after);
        let Some(end) = end.filter(|end| end - due <= at_most) else {
            self.write(Happening::Lost(no, Lost::TooFar));
            return Ok(None);
        };
        let wall = loop {
            match self.here.clocks.wall.filter(|_| !self.is_dark()) {
                Some(wall) => break wall,
                // It goes on as soon as any instant is trusted.
                None => {
                    let wish = Wish { wall: Some(WALL_FIRST), ..Wish::default() };
                    self.pass_time(&wish, Among::Waiting)?
                }
            };
        };
        if end <= wall {
            self.due = self.on_both_clocks(end, wall);
            self.write(Happening::Lost(no, Lost::Past));
            return Ok(None);
        }
        Ok(Some(end))
    }

    /// The end of a run-for that is entered late because of an outage.
    fn late_end(&self, stop: Stop) -> Option<Ms> {
        match (stop, self.plan.on_outage, self.latest_resume) {
            (Stop::After(d), OnOutage::SameEnd(_), Some(resume)) if self.due.mono < resume => {
                Some(self.due.mono + d)
            }
            _ => None,
        }
    }

    /// Stretch after stretch until the step is through.
    fn work(&mut self, mut job: Job) -> Through {
        let mut goes_on = true;
        while goes_on {
            goes_on = match self.stretch(&mut job)? {
                None => false,
                Some(Broken::Tripped(limit)) => {
                    let again = self.after_trip(&mut job, limit)?;
                    self.rest(&mut job, again, true)?
                }
                Some(Broken::Outage(outage)) => {
                    self.goes_on_after(outage)?;
                    let lasts = job.stop.lasts();
                    if let (OnOutage::SameEnd(_), Some(d)) = (self.plan.on_outage, lasts) {
                        // A second outage leaves it where the first has put it.
                        job.same_end.get_or_insert(outage.from.mono + d - job.pumped);
                    }
                    let back = self.here.clocks.mono;
                    self.rest(&mut job, back, false)?
                }
            };
        }
        Ok(())
    }

    /// When the step may pump again after a limit has tripped.
    fn after_trip(&mut self, job: &mut Job, limit: Limit) -> Result<Ms, Leave> {
        match self.plan.on_trip {
            OnTrip::Rest(every, times) if job.rests < times => {
                job.rests += 1;
                Ok(self.here.clocks.mono + every)
            }
            OnTrip::GiveUp => Err(Leave::Over(End::Fault(limit))),
            _ if self.passes.is_empty() => Err(Leave::Over(End::Fault(limit))),
            _ => Err(Leave::Pass),
        }
    }

    /// Between two stretches. Whether there is another one after it.
    fn rest(&mut self, job: &mut Job, again: Ms, is_pause: bool) -> Result<bool, Leave> {
        let since = self.here.clocks.mono;
        loop {
            // A pump that is only just back has not been called yet.
            if !self.is_dark() {
                if let Some((_, _, due)) = self.run_until_is_over(job) {
                    self.due = due;
                    self.write(Happening::NotAgain);
                    return Ok(false);
                }
                if self.here.clocks.mono >= again {
                    break;
                }
            }
            let wish = match job.stop {
                Stop::At(_, at_most) => {
                    let mono = Some(again.min(self.due.mono + at_most));
                    Wish { mono, wall: job.until, ..Wish::default() }
                }
                _ => Wish { mono: Some(again), ..Wish::default() },
            };
            if let Then::Outage(outage) = self.pass_time(&wish, Among::Resting)? {
                self.goes_on_after(outage)?;
            }
        }
        if is_pause {
            let lasted = self.here.clocks.mono - since;
            job.same_end = job.same_end.map(|end| end + lasted);
            job.late_end = job.late_end.map(|end| end + lasted);
        }
        // With nothing left to do it does not begin again.
        if let Some((_, _, due)) = self.is_over(job, self.here.clocks.mono) {
            self.due = due;
            self.write(Happening::NotAgain);
            return Ok(false);
        }
        Ok(true)
    }
}

impl Job {
    /// Instants of the monotonic clock at which it ends by its time, whatever it has pumped.
    pub(super) fn earlier_ends(&self) -> impl Iterator<Item = Ms> + use<> {
        [self.same_end, self.late_end].into_iter().flatten()
    }
}

impl Stop {
    /// How long it may pump, unless it ends at a time of day.
    pub(super) fn lasts(self) -> Option<Ms> {
        match self {
            Self::After(d) | Self::Drawn(_, d) => Some(d),
            Self::At(..) => None,
        }
    }
}
