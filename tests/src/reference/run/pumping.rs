//! Pumping steps.

use super::super::log::{By, End, Happening, Lost, Start, Stretch};
use super::super::plan::{Keep, No, Stop};
use super::super::world::Wish;
use super::super::{Ml, Ms};
use super::{Among, Due, Leave, Pump, Through};

impl Pump<'_> {
    pub(super) fn pump(&mut self, no: No, keep: Keep, stop: Stop) -> Through {
        let mut until = None;
        if let Stop::At(time, at_most) = stop {
            let due = self.due.wall.expect("armed by a trusted wall clock");
            let after = self.last_appointment.map_or(due, |last| last.max(due));
            let end = self.plan.clock.first_time(time, after, |_, at| at > after);
            let Some(end) = end.filter(|end| end - due <= at_most) else {
                self.write(Happening::Lost(no, Lost::TooFar));
                return Ok(());
            };
            let wall = loop {
                match self.here.clocks.wall {
                    Some(wall) => break wall,
                    None => self.pass_time(&Wish::default(), Among::Waiting)?,
                };
            };
            if end <= wall {
                self.due = self.on_both_clocks(end, wall);
                self.write(Happening::Lost(no, Lost::Past));
                return Ok(());
            }
            until = Some(end);
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
        self.begin(no, keep);
        let mut stretch = Stretch {
            no,
            passes: self.passes.clone(),
            sample: self.samples,
            begin: self.here.clocks,
            end: self.here.clocks,
            drawn: Ml::from(0),
            by: By::Time,
            over: 0,
        };
        let at_begin = self.here.drawn;
        loop {
            stretch.end = self.here.clocks;
            stretch.drawn = self.here.drawn - at_begin;
            if let Some((by, over, due)) = self.stops(stop, until, &stretch) {
                let ran = stretch.end.mono - stretch.begin.mono;
                (stretch.by, stretch.over, self.due) = (by, over.min(ran), due);
                self.write(Happening::Stopped(stretch));
                return Ok(());
            }
            let begin = stretch.begin.mono;
            let wish = match stop {
                Stop::After(d) => Wish { mono: Some(begin + d), ..Wish::default() },
                Stop::At(_, at_most) => {
                    Wish { mono: Some(self.due.mono + at_most), wall: until, ..Wish::default() }
                }
                Stop::Drawn(v, at_most) => Wish {
                    mono: Some(begin + at_most),
                    drawn: Some(at_begin + v),
                    ..Wish::default()
                },
            };
            let wish = Wish { keeps: Some(keep), ..wish };
            self.pass_time(&wish, Among::Pumping(&stretch, at_begin))?;
        }
    }

    pub(super) fn begin(&mut self, no: No, keep: Keep) {
        if self.samples == 0 || self.new_sample {
            self.samples += 1;
        }
        self.new_sample = false;
        self.unconfirmed = None;
        self.confirmed = false;
        self.story.due_at_start.push(self.due.wall);
        let (passes, sample) = (self.passes.clone(), self.samples);
        self.write(Happening::Started(Start { no, passes, sample, keep }));
    }

    /// Whether the pump stops here; why, how much too late, and where the plan stands then.
    pub(super) fn stops(
        &self,
        stop: Stop,
        until: Option<Ms>,
        so_far: &Stretch,
    ) -> Option<(By, Ms, Due)> {
        let pumped = so_far.end.mono - so_far.begin.mono;
        match stop {
            Stop::After(d) => (pumped >= d).then(|| (By::Time, pumped - d, self.due_later(d))),
            Stop::At(_, at_most) => {
                let end = until.expect("resolved before it began");
                if let Some(wall) = so_far.end.wall.filter(|wall| *wall >= end) {
                    return Some((By::Time, wall - end, self.on_both_clocks(end, wall)));
                }
                let over = so_far.end.mono - (self.due.mono + at_most);
                let ahead = end - self.due.wall.expect("armed by a trusted wall clock");
                (over >= 0).then(|| (By::AtMost, over, self.due_later(ahead)))
            }
            Stop::Drawn(v, at_most) => {
                if so_far.drawn >= v {
                    return Some((By::Volume, 0, self.due_now()));
                }
                (pumped >= at_most).then(|| (By::AtMost, pumped - at_most, self.due_later(at_most)))
            }
        }
    }
}
