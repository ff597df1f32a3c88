//! A board with plain physics. Every constant is assumed, and none is that of a particular pump.

use std::cell::{Ref, RefCell, RefMut};
use std::rc::Rc;

use draught::clock::{MonoMs, WallMs};
use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use draught::port::{
    Air, Ambient, Duty, Faulty, FlowReading, FlowSensor, Indications, Key, Monotonic, Motor, Panel,
    Power, Supply, WallClock,
};
use draught::pump::Board;

use super::super::nor::Nor;
use super::super::random::{Stream, exp_minus};

/// The pages of the rig's flash, in bytes.
pub const PAGE: usize = 4_096;

/// Pages of the rig's flash.
pub const PAGES: usize = 64;

/// What the parts of a pump are like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Physics {
    /// Flow at full duty and full supply with nothing in the way, in µL/min.
    pub full_ul_per_min: f64,
    /// Pressure at full duty against a closed inlet, in Pa.
    pub stall_pa: f64,
    /// Drop across a clean train at full flow, in Pa; in proportion to the flow.
    pub clean_pa: f64,
    /// By how much the train's resistance grows with each 100 L drawn, as a part of that of the clean one.
    pub loading: f64,
    /// Time constant of the flow, in ms.
    pub lag_ms: f64,
    /// How much more the sensor reads than is true, as a part of the truth.
    pub gain: f64,
    /// Standard deviation of its noise, as a part of the reading.
    pub noise: f64,
    /// Its smallest step, in µL/min.
    pub step_ul_per_min: f64,
    /// Hours that a full battery lasts at full duty.
    pub battery_h: f64,
    /// What the wall clock gains on the monotonic one, in parts per million.
    pub wall_ppm: f64,
}

impl Physics {
    /// A worn pump of some 5 L/min, assumed: 20 kPa of stall, a filter of 2 kPa, 1 % of noise.
    pub const WORN: Self = Self {
        full_ul_per_min: 5_000_000.0,
        stall_pa: 20_000.0,
        clean_pa: 2_000.0,
        loading: 0.05,
        lag_ms: 800.0,
        gain: 0.006,
        noise: 0.01,
        step_ul_per_min: 2_000.0,
        battery_h: 30.0,
        wall_ppm: 20.0,
    };

    /// An outdoor sampler on mains, assumed: 25 L/min free, 35 kPa of stall, a filter of 3 kPa at full flow.
    pub const AMBIENT: Self = Self {
        full_ul_per_min: 25_000_000.0,
        stall_pa: 35_000.0,
        clean_pa: 3_000.0,
        loading: 0.000_5,
        lag_ms: 1_500.0,
        gain: 0.0,
        noise: 0.01,
        step_ul_per_min: 10_000.0,
        battery_h: 1e9,
        wall_ppm: 10.0,
    };
}

/// What surrounds the engine, and what it cannot see.
#[derive(Clone, Debug)]
pub struct Surroundings {
    physics: Physics,
    chance: Stream,
    /// Time, in ms from the beginning; power or not.
    pub ms: u64,
    on_ms: u64,
    wall: WallMs,
    /// The wall clock was set by this much.
    pub wall_set_ms: i64,
    /// The wall clock has lost its time.
    pub wall_lost: bool,
    /// How hard the motor is driven.
    pub duty: Duty,
    /// The true flow, in µL/min.
    pub flow: f64,
    /// How much harder air gets through than a clean train lets it: 1 is clean.
    pub resistance: f64,
    /// Air that comes in beside the sampler, as a part of what is pumped.
    pub leak: f64,
    /// What the sensor does.
    pub sensor: SensorState,
    last_reading: u32,
    /// What is left in the battery, as a part.
    pub battery: f64,
    /// The supply warns.
    pub failing: bool,
    /// A charger is connected.
    pub charging: bool,
    /// Keys to be pressed.
    pub keys: Vec<Key>,
    /// What the panel shows.
    pub shown: Indications,
    /// What went through the sampler since the beginning, in µL.
    pub truly_drawn_ul: f64,
    /// For how long the motor ran, in ms.
    pub pumped_ms: u64,
    /// The flash.
    pub nor: Nor<4, PAGE>,
}

/// What a flow sensor does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SensorState {
    /// It works.
    Works,
    /// It does not answer.
    Silent,
    /// It says the same again and again.
    Stuck,
}

/// The board, and all of its ports.
#[derive(Clone, Debug)]
pub struct Rig(Rc<RefCell<Surroundings>>);

impl Rig {
    /// With power, a full battery and a clean train, at an instant.
    #[must_use]
    pub fn new(physics: Physics, wall: WallMs, seed: u64) -> Self {
        Self(Rc::new(RefCell::new(Surroundings {
            physics,
            chance: Stream::new(seed, "board"),
            ms: 0,
            on_ms: 0,
            wall,
            wall_set_ms: 0,
            wall_lost: false,
            duty: Duty::OFF,
            flow: 0.0,
            resistance: 1.0,
            leak: 0.0,
            sensor: SensorState::Works,
            last_reading: 0,
            battery: 1.0,
            failing: false,
            charging: false,
            keys: Vec::new(),
            shown: Indications::default(),
            truly_drawn_ul: 0.0,
            pumped_ms: 0,
            nor: Nor::new(PAGES, seed),
        })))
    }

    /// Looks at it.
    #[must_use]
    pub fn look(&self) -> Ref<'_, Surroundings> {
        self.0.borrow()
    }

    /// Changes it.
    #[must_use]
    pub fn set(&self) -> RefMut<'_, Surroundings> {
        self.0.borrow_mut()
    }

    /// Time passes.
    pub fn pass(&self, ms: u64) {
        self.set().pass(ms);
    }

    /// Power is gone for a time, and comes back: the flash and the wall clock are left, and what is in the train.
    pub fn outage(&self, ms: u64) {
        let mut s = self.set();
        s.duty = Duty::OFF;
        s.flow = 0.0;
        s.pass(ms);
        s.on_ms = s.ms;
        s.failing = false;
        s.nor.boot();
    }
}

impl Surroundings {
    /// What the parts are like.
    #[must_use]
    pub const fn physics(&self) -> Physics {
        self.physics
    }

    /// The flow that settles at this duty: a straight pump curve meets a straight train.
    fn settled(&self) -> f64 {
        let p = &self.physics;
        let drive = f64::from(self.duty.per_myriad()) / 10_000.0 * self.voltage();
        // q = full · (drive - p/stall), p = q · slope.
        let slope = p.clean_pa * self.resistance / p.full_ul_per_min;
        (p.full_ul_per_min * drive / (1.0 + p.full_ul_per_min * slope / p.stall_pa)).max(0.0)
    }

    /// As a part of the full battery's: it sags by a fifth until it is empty.
    fn voltage(&self) -> f64 {
        0.8 + 0.2 * self.battery
    }

    fn pass(&mut self, ms: u64) {
        let p = self.physics;
        let left = exp_minus(ms as f64 / p.lag_ms);
        let settled = self.settled();
        let before = self.flow;
        self.flow = settled + (before - settled) * left;
        // The mean over the interval of what decays into the settled flow.
        let mean = settled + (before - settled) * (1.0 - left) * p.lag_ms / (ms as f64).max(1.0);
        let drawn = mean * ms as f64 / 60_000.0 * (1.0 - self.leak);
        self.truly_drawn_ul += drawn;
        if self.resistance.is_finite() {
            self.resistance *= 1.0 + p.loading * drawn / 100e6;
        }
        let duty = f64::from(self.duty.per_myriad()) / 10_000.0;
        self.battery = (self.battery - duty * ms as f64 / (p.battery_h * 3_600_000.0)).max(0.0);
        self.pumped_ms += if self.duty == Duty::OFF { 0 } else { ms };
        self.ms += ms;
    }

    /// The pressure drop across the train, in Pa.
    #[must_use]
    pub fn drop_pa(&self) -> u32 {
        let p = &self.physics;
        let drop = self.flow * p.clean_pa * self.resistance / p.full_ul_per_min;
        drop.clamp(0.0, p.stall_pa) as u32
    }
}

impl Monotonic for Rig {
    fn now(&mut self) -> MonoMs {
        let s = self.look();
        MonoMs::from_ms(s.ms - s.on_ms)
    }
}

impl WallClock for Rig {
    fn now(&mut self) -> Option<WallMs> {
        let s = self.look();
        if s.wall_lost {
            return None;
        }
        let gained = s.ms as f64 * s.physics.wall_ppm / 1e6;
        let ms = s.wall.as_ms() + s.ms;
        WallMs::from_ms(ms.checked_add_signed(gained as i64 + s.wall_set_ms)?)
    }
}

impl Motor for Rig {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        self.set().duty = duty;
        Ok(())
    }
}

impl FlowSensor for Rig {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        let mut s = self.set();
        let p = s.physics;
        let noise = s.chance.normal() * p.noise;
        let read = s.flow * (1.0 + p.gain + noise);
        let stepped = (read / p.step_ul_per_min).round() * p.step_ul_per_min;
        let flow_ul_per_min = match s.sensor {
            SensorState::Silent => return Err(Faulty),
            SensorState::Stuck => s.last_reading,
            SensorState::Works => stepped.clamp(0.0, 4e9) as u32,
        };
        s.last_reading = flow_ul_per_min;
        let drop_pa = Some(s.drop_pa());
        Ok(FlowReading { flow_ul_per_min, drop_pa, air_mk: None })
    }
}

impl Supply for Rig {
    fn read(&mut self) -> Power {
        let s = self.look();
        Power {
            left_percent: Some((s.battery * 100.0) as u8),
            low: s.battery < 0.02 && !s.charging,
            failing: s.failing,
            charging: s.charging,
        }
    }
}

impl Ambient for Rig {
    fn read(&mut self) -> Option<Air> {
        None
    }
}

impl Panel for Rig {
    fn show(&mut self, indications: Indications) {
        self.set().shown = indications;
    }

    fn key(&mut self) -> Option<Key> {
        self.set().keys.pop()
    }
}

impl ErrorType for Rig {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Rig {
    const READ_SIZE: usize = 4;

    fn read(&mut self, at: u32, to: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.set().nor.read(at, to)
    }

    fn capacity(&self) -> usize {
        self.look().nor.capacity()
    }
}

impl NorFlash for Rig {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.set().nor.erase(from, to)
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        self.set().nor.write(at, bytes)
    }
}

impl Board for Rig {
    type Mono = Self;
    type Wall = Self;
    type Motor = Self;
    type Flow = Self;
    type Supply = Self;
    type Ambient = Self;
    type Flash = Self;
    type Panel = Self;

    fn mono(&mut self) -> &mut Self {
        self
    }
    fn wall(&mut self) -> &mut Self {
        self
    }
    fn motor(&mut self) -> &mut Self {
        self
    }
    fn flow(&mut self) -> &mut Self {
        self
    }
    fn supply(&mut self) -> &mut Self {
        self
    }
    fn ambient(&mut self) -> &mut Self {
        self
    }
    fn flash(&mut self) -> &mut Self {
        self
    }
    fn panel(&mut self) -> &mut Self {
        self
    }
}
