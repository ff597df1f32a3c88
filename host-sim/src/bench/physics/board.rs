//! A simulated board: time passes, and the air with it.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;

use draught::clock::WallMs;
use draught::port::{Duty, Indications, Key};

use super::air::kelvin;
use super::battery::Battery;
use super::constants::PlantWorld;
use super::diaphragm::Drive;
use super::element::Element;
use super::fault::FaultKind;
use super::train::{Balance, Expansion, Path, balance};
use crate::bench::nor::Nor;
use crate::bench::world::{SensorWorld, World};

/// The pages of the board's flash, in bytes.
pub const PAGE: usize = 4_096;

/// Pages of the board's flash.
pub const PAGES: usize = 64;

/// While the drive moves, physics goes on in steps of this.
const MOVING_MS: f64 = 50.0;
/// While it stands or is steady, in steps of this: battery, filter and weather change slowly.
const STEADY_MS: f64 = 1_000.0;
/// Off, only clocks and the battery's idle load go on.
const OFF_MS: f64 = 600_000.0;

/// In this time an empty battery is charged; assumed.
const CHARGE_MS: f64 = 7_200_000.0;

/// So many writes to the flash are remembered.
const WRITTEN_KEPT: usize = 64;

/// A board with its pump, in a world. A clone is another handle on the same board; each handle has all of its ports.
#[derive(Clone, Debug)]
pub struct SimBoard(pub(super) Rc<RefCell<Inside>>);

/// What is true of a board, which no board knows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Truth {
    /// Time since the board was switched on, in ms.
    pub at_ms: u64,
    /// Flow through the sampler's inlet at outside conditions, in µL/min.
    pub inlet: f64,
    /// Flow through the flow element at the conditions there, in µL/min.
    pub inside: f64,
    /// Pressure drop across the train, in Pa.
    pub drop: f64,
    /// Drawn through the inlet since the begin, at outside conditions, in µL.
    pub drawn_ul: f64,
    /// Dust on the filter, in mg.
    pub dust_mg: f64,
    /// How fast the membrane works, as a part of full drive at nominal voltage.
    pub drive: f64,
    /// What the motor is given, as a part of full duty.
    pub duty: f64,
    /// Voltage of the supply, in V.
    pub volts: f64,
    /// What is drawn from it, in mA.
    pub milliamps: f64,
    /// What is left of its charge, as a part of all.
    pub left: f64,
    /// Outside air, in °C.
    pub celsius: f64,
    /// Outside air, absolute, in Pa.
    pub pressure: f64,
}

#[derive(Debug)]
pub(super) struct Inside {
    pub plant: PlantWorld,
    pub sensor: SensorWorld,
    pub wall_gain: f64,
    /// When it was switched on; `None`: the wall clock was never set.
    pub begin: Option<WallMs>,
    /// Beginnings of faults that happen once, up to this instant, are done.
    once_until: u64,
    pub truth: Truth,
    drive: Drive,
    pub battery: Battery,
    pub element: Element,
    /// What the crystal has counted, in ms.
    pub counted_ms: f64,
    pub stepped_ms: i64,
    /// What it had counted when power came back.
    pub on_ms: f64,
    pub driven: Duty,
    pub keys: Vec<Key>,
    pub shown: Indications,
    pub nor: Nor<4, PAGE>,
    /// The latest writes to it.
    pub written: VecDeque<(u32, usize)>,
    /// How often the wall clock was read.
    pub wall_reads: u32,
}

impl SimBoard {
    /// A board that is switched on, its wall clock right or never set; `None` if the world has no `[plant]`.
    #[must_use]
    pub fn new(world: &World, seed: u64, begin: Option<WallMs>) -> Option<Self> {
        let plant = world.plant.clone()?;
        let battery = Battery::new(&plant.battery, plant.pump.volts);
        let mut inside = Inside {
            sensor: world.sensor,
            wall_gain: world.clock.wall_gain_ppb as f64 * 1e-9,
            begin,
            once_until: 0,
            truth: Truth::default(),
            drive: Drive::default(),
            battery,
            element: Element::new(seed),
            counted_ms: 0.0,
            stepped_ms: 0,
            on_ms: 0.0,
            driven: Duty::OFF,
            keys: Vec::new(),
            shown: Indications::default(),
            nor: Nor::new(PAGES, seed),
            written: VecDeque::new(),
            wall_reads: 0,
            plant,
        };
        inside.look();
        Some(Self(Rc::new(RefCell::new(inside))))
    }

    /// Lets time pass.
    pub fn pass(&self, ms: u64) {
        self.0.borrow_mut().pass(ms);
    }

    /// What is true now.
    #[must_use]
    pub fn truth(&self) -> Truth {
        self.0.borrow().truth
    }

    /// Puts a new sampler in: a clean filter.
    pub fn new_sampler(&self) {
        self.0.borrow_mut().truth.dust_mg = 0.0;
    }

    /// Charges the battery, to a part of all.
    pub fn charge(&self, left: f64) {
        let mut inside = self.0.borrow_mut();
        inside.battery.left = left.clamp(0.0, 1.0);
        inside.look();
    }

    /// Changes what the board is made of, from now on.
    pub fn change(&self, how: impl FnOnce(&mut PlantWorld)) {
        let mut inside = self.0.borrow_mut();
        how(&mut inside.plant);
        inside.look();
    }

    /// Whether the flow sensor answers.
    #[must_use]
    pub fn sensor_answers(&self) -> bool {
        !self.0.borrow().sensor_fails()
    }

    /// Presses a key.
    pub fn press(&self, key: Key) {
        self.0.borrow_mut().keys.push(key);
    }

    /// What the panel shows.
    #[must_use]
    pub fn shown(&self) -> Indications {
        self.0.borrow().shown
    }

    /// The flash, for what happens to it.
    pub fn flash<T>(&self, of: impl FnOnce(&mut Nor<4, PAGE>) -> T) -> T {
        of(&mut self.0.borrow_mut().nor)
    }

    /// Where the flash was written lately, the latest first: offset and length.
    #[must_use]
    pub fn written(&self) -> Vec<(u32, usize)> {
        self.0.borrow().written.iter().rev().copied().collect()
    }

    /// How the motor is driven.
    #[must_use]
    pub fn driven(&self) -> Duty {
        self.0.borrow().driven
    }

    /// Power is gone for a time and comes back: wall clock, flash and what is in the train are left, and the monotonic clock begins
    /// anew.
    pub fn outage(&self, ms: u64) {
        let mut inside = self.0.borrow_mut();
        inside.driven = Duty::OFF;
        inside.pass(ms);
        inside.on_ms = inside.counted_ms;
        inside.element.forget();
        inside.nor.boot();
    }
}

impl Inside {
    fn is_on(&self, is: impl Fn(&FaultKind) -> bool) -> bool {
        let now = self.truth.at_ms;
        self.plant.faults.iter().any(|f| f.is_on(now) && is(&f.kind))
    }

    pub fn sensor_fails(&self) -> bool {
        self.is_on(|k| *k == FaultKind::SensorFailing)
    }

    pub fn sensor_is_stuck(&self) -> bool {
        self.is_on(|k| *k == FaultKind::SensorStuck)
    }

    /// Whether this reading of the wall clock fails.
    pub fn clock_fails(&mut self) -> bool {
        self.wall_reads = self.wall_reads.wrapping_add(1);
        let reads = self.wall_reads;
        self.is_on(|k| match k {
            FaultKind::ClockLost => true,
            FaultKind::ClockFlickers(each) => reads.is_multiple_of(*each),
            _ => false,
        })
    }

    pub fn motor_disobeys(&self) -> bool {
        self.is_on(|k| *k == FaultKind::MotorDisobeys)
    }

    pub fn supply_warns(&self) -> bool {
        self.is_on(|k| *k == FaultKind::SupplyWarns)
    }

    pub fn is_charging(&self) -> bool {
        self.is_on(|k| *k == FaultKind::Charging)
    }

    fn pass(&mut self, ms: u64) {
        let end = self.truth.at_ms.saturating_add(ms);
        while self.truth.at_ms < end {
            let now = self.truth.at_ms;
            self.happen_once();
            let edge = self.plant.faults.iter().flat_map(|f| f.edges()).filter(|e| *e > now).min();
            let most = end.min(edge.unwrap_or(u64::MAX)) - now;
            let longest = self.longest_step() as u64;
            self.step(most.min(longest));
        }
    }

    pub fn wrote(&mut self, at: u32, len: usize) {
        if self.written.len() >= WRITTEN_KEPT {
            self.written.pop_front();
        }
        self.written.push_back((at, len));
    }

    /// Faults that happen at an instant.
    fn happen_once(&mut self) {
        let now = self.truth.at_ms;
        let due = self.once_until..=now;
        for fault in self.plant.faults.iter().filter(|f| due.contains(&f.at_ms)) {
            match fault.kind {
                FaultKind::ClockStepped(by_ms) => self.stepped_ms += by_ms,
                FaultKind::BatteryWeak(left) => self.battery.left = left,
                _ => {}
            }
        }
        self.once_until = now + 1;
    }

    /// What the motor gets, as a part of nominal drive.
    fn set(&self) -> f64 {
        if self.is_on(|k| *k == FaultKind::MotorStalls) {
            return 0.0;
        }
        let duty = f64::from(self.driven.per_myriad()) / f64::from(Duty::FULL.per_myriad());
        duty * self.battery.volts / self.plant.pump.volts
    }

    fn longest_step(&self) -> f64 {
        let set = self.set();
        match (self.drive.moves(set), set > 0.0) {
            (true, _) => MOVING_MS,
            (false, true) => STEADY_MS,
            (false, false) => OFF_MS,
        }
    }

    fn step(&mut self, ms: u64) {
        let set = self.set();
        let time = ms as f64;
        let drive = self.drive.pass(&self.plant.pump, set, time);
        let Balance { inlet, inside, drop } = self.flow_at(drive);
        let (celsius, pressure) = (self.truth.celsius, self.truth.pressure);
        let warmed = celsius + if drive > 0.0 { self.plant.element.warming } else { 0.0 };
        self.element.pass(&self.plant, (inside, drop), warmed, drive, time);
        let drawn_ul = inlet * time / 60_000.0;
        // A µL is a billionth of a m³.
        let dust_mg = drawn_ul * 1e-9 * self.plant.path.dust;
        let duty = f64::from(self.driven.per_myriad()) / 10_000.0;
        self.battery.pass(&self.plant.battery, self.plant.pump.volts, (duty, drive, drop), time);
        if self.is_charging() {
            self.battery.left = (self.battery.left + time / CHARGE_MS).min(1.0);
        }
        self.counted_ms += time * (1.0 + self.plant.crystal.gain_ppm(celsius) * 1e-6);
        self.truth = Truth {
            at_ms: self.truth.at_ms + ms,
            inlet,
            inside,
            drop,
            drawn_ul: self.truth.drawn_ul + drawn_ul,
            dust_mg: self.truth.dust_mg + dust_mg,
            drive,
            duty,
            celsius,
            pressure,
            ..self.truth
        };
        self.look();
    }

    /// Weather and supply as they are now.
    fn look(&mut self) {
        let begin = self.begin.map_or(0, |wall| wall.as_ms() % 86_400_000);
        let (mut celsius, mut pressure) = self.plant.air.at(self.truth.at_ms as f64, begin as f64);
        for fault in self.plant.faults.iter().filter(|f| f.is_on(self.truth.at_ms)) {
            if let FaultKind::AirShifted(kelvin, pascal) = fault.kind {
                celsius += kelvin;
                pressure += pascal;
            }
        }
        self.truth.celsius = celsius;
        self.truth.pressure = pressure;
        self.truth.volts = self.battery.volts;
        self.truth.milliamps = self.battery.milliamps;
        self.truth.left = self.battery.left;
    }

    fn flow_at(&self, drive: f64) -> Balance {
        let PlantWorld { rated, pump, path, element, .. } = &self.plant;
        let per_flow = 1.0 / rated.flow;
        let mut loaded = path.per_mg * self.truth.dust_mg;
        for fault in self.plant.faults.iter() {
            if let FaultKind::Clogging(drop) = fault.kind {
                loaded += drop * fault.grown(self.truth.at_ms);
            }
        }
        let (mut kinks, mut blocked, mut leak) = (0.0, false, 0.0);
        for fault in self.plant.faults.iter().filter(|f| f.is_on(self.truth.at_ms)) {
            match fault.kind {
                FaultKind::Kink(drop) => kinks += drop,
                FaultKind::Blockage => blocked = true,
                FaultKind::Leak(per_kpa) => leak += per_kpa / 1_000.0,
                _ => {}
            }
        }
        let path = Path {
            linear: (path.filter + path.tube + path.added + loaded) * per_flow,
            square: (path.fittings + kinks) * per_flow * per_flow,
            blocked,
            leak,
        };
        let outside = kelvin(self.truth.celsius);
        let air = Expansion {
            pressure: self.truth.pressure,
            warmer: (outside + element.warming) / outside,
        };
        balance(pump.free(drive), pump.lost_per_pa(), &path, air)
    }
}
