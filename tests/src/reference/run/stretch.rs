//! One stretch of pumping.

use super::super::log::{By, Happening, Start, Stretch};
use super::super::plan::Stop;
use super::super::world::Wish;
use super::super::{Ml, Ms};
use super::pumping::{Broken, Job};
use super::{Among, Due, Leave, Pump, Then};

/// Why a stretch ends, how much too late, and where the plan stands then.
type Over = (By, Ms, Due);

impl Pump<'_> {
    /// Pumps until the step is through, or until something breaks it off.
    pub(super) fn stretch(&mut self, job: &mut Job) -> Result<Option<Broken>, Leave> {
        let (passes, sample) = (self.passes.clone(), self.samples);
        let (begin, at_begin) = (self.here.clocks, self.here.drawn);
        self.write(Happening::Started(Start {
            no: job.no,
            passes: passes.clone(),
            sample,
            keep: job.keep,
        }));
        let mut stretch = Stretch {
            no: job.no,
            passes,
            sample,
            begin,
            end: begin,
            drawn: Ml::from(0),
            by: By::Time,
            over: 0,
        };
        loop {
            stretch.end = self.here.clocks;
            stretch.drawn = self.here.drawn - at_begin;
            if let Some((by, over, due)) = self.is_over(job, begin.mono).filter(|_| !self.is_dark())
            {
                let ran = stretch.end.mono - stretch.begin.mono;
                (stretch.by, stretch.over, self.due) = (by, over.min(ran), due);
                self.write(Happening::Stopped(stretch));
                return Ok(None);
            }
            let broken = match self
                .pass_time(&self.wish(job, begin.mono), Among::Pumping(&stretch, at_begin))?
            {
                Then::Tripped(limit) => {
                    (stretch.by, stretch.end) = (By::Tripped(limit), self.here.clocks);
                    Broken::Tripped(limit)
                }
                Then::Outage(outage) => {
                    (stretch.by, stretch.end) = (By::Outage, outage.from);
                    Broken::Outage(outage)
                }
                Then::Look | Then::Resumed => continue,
            };
            stretch.drawn = self.here.drawn - at_begin;
            job.pumped += stretch.end.mono - stretch.begin.mono;
            self.write(Happening::Stopped(stretch));
            return Ok(Some(broken));
        }
    }

    fn wish(&self, job: &Job, begin: Ms) -> Wish {
        let by_time = self.end_by_time(job, begin);
        let wish = match job.stop {
            Stop::After(_) => Wish { mono: by_time, ..Wish::default() },
            Stop::At(_, at_most) => {
                Wish { mono: Some(self.due.mono + at_most), wall: job.until, ..Wish::default() }
            }
            Stop::Drawn(v, _) => {
                Wish { mono: by_time, drawn: Some(job.drawn_before + v), ..Wish::default() }
            }
        };
        Wish { keeps: Some(job.keep), ..wish }
    }

    /// When a run-for or a draw has pumped for so long as it may.
    fn end_by_time(&self, job: &Job, begin: Ms) -> Option<Ms> {
        let by_pumping = job.stop.lasts().map(|d| begin + d - job.pumped);
        by_pumping.into_iter().chain(job.earlier_ends()).min()
    }

    /// Whether a step is over here, that began to pump again at this instant.
    pub(super) fn is_over(&self, job: &Job, begin: Ms) -> Option<Over> {
        if let Stop::At(..) = job.stop {
            return self.run_until_is_over(job);
        }
        let reached =
            matches!(job.stop, Stop::Drawn(v, _) if self.here.drawn - job.drawn_before >= v);
        if reached {
            return Some((By::Volume, 0, self.due_now()));
        }
        let d = job.stop.lasts().expect("not a run-until");
        let end = self.end_by_time(job, begin).expect("not a run-until");
        let by = if matches!(job.stop, Stop::Drawn(..)) { By::AtMost } else { By::Time };
        let over = self.here.clocks.mono - end;
        (over >= 0).then(|| (by, over, self.due_later(d)))
    }

    /// Whether it is the end of a run-until.
    pub(super) fn run_until_is_over(&self, job: &Job) -> Option<Over> {
        let Stop::At(_, at_most) = job.stop else { return None };
        let end = job.until.expect("resolved before it began");
        let now = self.here.clocks;
        if let Some(wall) = now.wall.filter(|wall| *wall >= end) {
            return Some((By::Time, wall - end, self.on_both_clocks(end, wall)));
        }
        let over = now.mono - (self.due.mono + at_most);
        let ahead = end - self.due.wall.expect("armed by a trusted wall clock");
        (over >= 0).then(|| (By::AtMost, over, self.due_later(ahead)))
    }
}
