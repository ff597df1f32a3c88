//! What happened as stretches of time: waiting, pumping, held.

use draught::clock::Now;
use draught::event::{EndReason, Event, HoldEnd, PumpEnd};
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

use super::observe::{Happened, Observer};

/// One stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The step; for a group of waits the last of them.
    pub step: StepNo,
    /// The sample that it belongs to, from 1; 0 before the first pumping.
    pub sample: u32,
    /// What it is.
    pub what: Within,
    /// From when ...
    pub from: Now,
    /// ... to when.
    pub to: Now,
    /// What was metered in it.
    pub volume: RawVolume,
}

/// What a stretch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Within {
    /// Waiting for an appointment, met or not.
    Wait {
        /// Whether it was met.
        met: bool,
    },
    /// Pumping.
    Pump {
        /// What the pump kept constant.
        target: Target,
        /// What ended it.
        by: PumpEnd,
    },
    /// Pump off.
    Hold {
        /// What ended it.
        by: HoldEnd,
    },
    /// The end of the event.
    End(EndReason),
}

/// Makes stretches out of events and hands each on.
#[derive(Clone, Debug)]
pub struct Stretches<F> {
    began: Option<(Now, RawVolume)>,
    target: Option<Target>,
    sample: u32,
    step: StepNo,
    take: F,
}

impl<F: FnMut(Stretch)> Stretches<F> {
    /// Each stretch goes to `take` when it is over.
    pub const fn new(take: F) -> Self {
        Self { began: None, target: None, sample: 0, step: StepNo::FIRST, take }
    }

    fn stretch(&mut self, step: StepNo, what: Within, happened: &Happened) {
        let now = (happened.input.now, happened.input.drawn);
        let (from, before) = self.began.take().unwrap_or(now);
        self.step = step;
        (self.take)(Stretch {
            step,
            sample: self.sample,
            what,
            from,
            to: now.0,
            volume: now.1.since(before),
        });
    }
}

impl<F: FnMut(Stretch)> Observer for Stretches<F> {
    fn event(&mut self, happened: &Happened) {
        let now = Some((happened.input.now, happened.input.drawn));
        match happened.event {
            Event::AppointmentSet { .. } | Event::HoldBegan { .. } => self.began = now,
            Event::PumpingBegan { target, sample, .. } => {
                self.began = now;
                self.target = Some(target);
                self.sample = sample;
            }
            Event::AppointmentMet { step, .. } => {
                self.stretch(step, Within::Wait { met: true }, happened);
            }
            Event::AppointmentMissed { step, .. } => {
                self.stretch(step, Within::Wait { met: false }, happened);
            }
            Event::PumpingEnded(p) => {
                if let Some(target) = self.target {
                    self.stretch(p.step, Within::Pump { target, by: p.by }, happened);
                }
            }
            Event::HoldEnded { step, by } => self.stretch(step, Within::Hold { by }, happened),
            Event::Ended(reason) => self.stretch(self.step, Within::End(reason), happened),
            Event::RunLost { .. }
            | Event::PassedOn { .. }
            | Event::RepeatDone { .. }
            | Event::PassSkipped { .. } => {}
        }
    }
}
