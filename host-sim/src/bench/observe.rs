//! What a run shows to whoever watches it.

use draught::clock::Now;
use draught::event::Event;
use draught::machine::Input;
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

/// One reading of the flow sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// When it was taken.
    pub at: Now,
    /// How long before it it covers, in ms.
    pub covers_ms: u64,
    /// The flow read, in µL/min.
    pub ul_per_min: u32,
    /// Everything metered since arming, with this reading.
    pub drawn: RawVolume,
    /// Everything truly drawn since arming, in this world.
    pub truly_drawn: RawVolume,
    /// The pumping step.
    pub step: StepNo,
    /// The sample it belongs to, from 1.
    pub sample: u32,
    /// What the pump keeps constant.
    pub target: Target,
}

/// One thing that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Happened {
    /// What the core was called with.
    pub input: Input,
    /// What it reported.
    pub event: Event,
    /// Everything truly drawn since arming, in this world.
    pub truly_drawn: RawVolume,
}

/// Watches a run. Whatever is not overridden is not looked at.
pub trait Observer {
    /// The sensor was read.
    fn reading(&mut self, _reading: &Reading) {}
    /// Something happened.
    fn event(&mut self, _happened: &Happened) {}
}

/// Nobody watches.
impl Observer for () {}

/// Everything that happened, in order.
impl Observer for Vec<Happened> {
    fn event(&mut self, happened: &Happened) {
        self.push(*happened);
    }
}

impl<O: Observer> Observer for Option<O> {
    fn reading(&mut self, reading: &Reading) {
        if let Some(o) = self {
            o.reading(reading);
        }
    }

    fn event(&mut self, happened: &Happened) {
        if let Some(o) = self {
            o.event(happened);
        }
    }
}

impl<O: Observer + ?Sized> Observer for &mut O {
    fn reading(&mut self, reading: &Reading) {
        (**self).reading(reading);
    }

    fn event(&mut self, happened: &Happened) {
        (**self).event(happened);
    }
}

impl<A: Observer, B: Observer> Observer for (A, B) {
    fn reading(&mut self, reading: &Reading) {
        self.0.reading(reading);
        self.1.reading(reading);
    }

    fn event(&mut self, happened: &Happened) {
        self.0.event(happened);
        self.1.event(happened);
    }
}
