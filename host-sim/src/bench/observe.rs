//! What a run shows to whoever watches it.

use draught::clock::Now;
use draught::event::Event;
use draught::machine::Input;
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

use super::physics::Fault;

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
    /// What surrounds a whole pump; `None` in a world without a plant.
    pub around: Option<Around>,
}

/// What is true around a whole pump, in whole numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Around {
    /// Mean flow through the sampler's inlet since the reading before, in µL/min.
    pub true_ul_per_min: u32,
    /// Pressure drop across the train, in Pa.
    pub drop_pa: u32,
    /// Outside temperature, in mK.
    pub temperature_mk: u32,
    /// Outside pressure, in Pa.
    pub pressure_pa: u32,
    /// What is left of the battery, in 0.01 %; `None`: mains.
    pub battery_per_myriad: Option<u16>,
    /// Voltage of the supply, in mV.
    pub supply_mv: u32,
}

/// A scripted fault begins or is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaultSeen {
    /// When: the time of the world, not the pump's clock.
    pub at: Now,
    /// What.
    pub fault: Fault,
    /// It begins; else it is over.
    pub begins: bool,
    /// Everything metered since arming.
    pub drawn: RawVolume,
    /// Everything truly drawn since arming.
    pub truly_drawn: RawVolume,
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
    /// The world did something to the pump.
    fn fault(&mut self, _seen: &FaultSeen) {}
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

    fn fault(&mut self, seen: &FaultSeen) {
        if let Some(o) = self {
            o.fault(seen);
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

    fn fault(&mut self, seen: &FaultSeen) {
        (**self).fault(seen);
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

    fn fault(&mut self, seen: &FaultSeen) {
        self.0.fault(seen);
        self.1.fault(seen);
    }
}
