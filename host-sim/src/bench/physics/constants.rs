//! What a plant is made of, as numbers. Their file is read in `plant_file.rs`.
//!
//! Flows are in µL/min, pressures in Pa, temperatures in °C, times in ms, parts as fractions.

use super::air::AirSeries;
use super::fault::Fault;

/// Pump, sampling train, sensors, outside air, supply and crystal of a simulated board.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlantWorld {
    /// What the pump is made for.
    pub rated: RatedWorld,
    /// The pump.
    pub pump: DiaphragmWorld,
    /// The sampling train.
    pub path: PathWorld,
    /// The flow element, beyond what `[sensor]` says of it.
    pub element: ElementWorld,
    /// The outside air.
    pub air: AirWorld,
    /// The supply.
    pub battery: BatteryWorld,
    /// The crystal of both clocks.
    pub crystal: CrystalWorld,
    /// What goes wrong, and when.
    pub faults: Vec<Fault>,
}

/// What the pump is made for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RatedWorld {
    /// The flow at which it is rated.
    pub flow: f64,
    /// The least flow that it can be set to.
    pub least: f64,
    /// The most; also what the sensor's resolution refers to.
    pub most: f64,
    /// The pressure drop against which it holds the rated flow.
    pub drop: f64,
}

/// A diaphragm pump: flow in proportion to how far the drive is above its dead part, less a leak past the valves in proportion to the
/// pressure.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiaphragmWorld {
    /// The flow at full duty and nominal voltage, against nothing.
    pub free_flow: f64,
    /// The pressure difference at full duty and nominal voltage against a closed inlet.
    pub stall_pressure: f64,
    /// The part of full drive below which nothing is drawn.
    pub dead: f64,
    /// The nominal voltage.
    pub volts: f64,
    /// Time constant of the drive after a change of the duty.
    pub rise_ms: f64,
    /// Time constant of the drive running down when the motor is off.
    pub fall_ms: f64,
    /// Amplitude of the pulsation that reaches the flow element, as a part of the flow.
    pub pulsation: f64,
    /// Its frequency at full drive, in Hz; in proportion to the drive.
    pub pulsation_hz: f64,
}

/// The sampling train. Its drops are given at the rated flow.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PathWorld {
    /// Drop of the clean filter: in proportion to the flow.
    pub filter: f64,
    /// Drop of a sorbent tube: in proportion to the flow.
    pub tube: f64,
    /// Drop of inlet, cyclone and fittings: as the square of the flow.
    pub fittings: f64,
    /// What is added when a filter was loaded before: in proportion to the flow.
    pub added: f64,
    /// Dust in the air, in mg/m³.
    pub dust: f64,
    /// Drop added by a mg of dust: in proportion to the flow.
    pub per_mg: f64,
}

/// The flow element, beyond gain, noise and resolution.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ElementWorld {
    /// What it reads at no flow.
    pub zero: f64,
    /// Gain that comes with 10 K above 20 °C.
    pub drift_per_10k: f64,
    /// The most that it can read.
    pub full_scale: f64,
    /// How much warmer than outside the air in it is while the pump runs, in K.
    pub warming: f64,
    /// Whether its law is a square root, so that pulsation makes it read high.
    pub orifice: bool,
    /// Whether the pressure drop and the temperature in it are measured.
    pub measures_drop: bool,
    /// How much more than the true drop is read, as a part of it.
    pub drop_error: f64,
}

/// The outside air.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AirWorld {
    /// Mean temperature.
    pub celsius: f64,
    /// Half the difference between warmest and coldest.
    pub swing: f64,
    /// When it is warmest, in ms after the begin of the day.
    pub warmest_ms: f64,
    /// Absolute pressure.
    pub pressure: f64,
    /// A series that takes the place of all of these.
    pub series: Option<AirSeries>,
    /// Whether the board measures it.
    pub measured: bool,
    /// What is read too much, in K.
    pub celsius_error: f64,
    /// What is read too much, in Pa.
    pub pressure_error: f64,
}

/// What the board runs on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BatteryWorld {
    /// A mains supply at the pump's nominal voltage; the rest does not matter then.
    pub mains: bool,
    /// Lithium-ion cells in series.
    pub cells: f64,
    /// Charge when full, in mAh.
    pub mah: f64,
    /// Charge at the begin, as a part of it.
    pub start: f64,
    /// Internal resistance, in mΩ.
    pub milliohm: f64,
    /// What the board draws with the motor off, in mA.
    pub idle_ma: f64,
    /// What the motor draws at full drive against nothing, in mA.
    pub free_ma: f64,
    /// What it draws more for a kPa, in mA.
    pub ma_per_kpa: f64,
    /// Below this, in V, the supply says that it is low.
    pub low_v: f64,
    /// Below this, in V, the supply says that it is about to go.
    pub failing_v: f64,
}

/// The crystal of both clocks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CrystalWorld {
    /// What it gains at its turnover temperature, in ppm.
    pub ppm: f64,
    /// What it loses with the square of the distance from it, in ppm/K².
    pub parabola: f64,
    /// Its turnover temperature.
    pub turnover: f64,
}

impl BatteryWorld {
    /// The voltage of the supply, with a part of its charge left and nothing drawn.
    #[must_use]
    pub fn open_volts(&self, left: f64, nominal: f64) -> f64 {
        if self.mains { nominal } else { self.cells * super::battery::cell_volts(left) }
    }
}

impl PlantWorld {
    /// How a firmware of this pump would drive its motor, by the tuning rule of [`draught::regulator`], with what is measured
    /// of the pump on a full battery; `every_ms` is the time between two readings.
    #[must_use]
    pub fn regulator(&self, every_ms: u32) -> draught::regulator::Config {
        use draught::regulator::{Config, Curve};
        let pump = &self.pump;
        let most = self.battery.open_volts(1.0, pump.volts) / pump.volts;
        let dead = pump.dead / most;
        // Full duty, above what is dead, in units of nominal drive.
        let above = (most - pump.dead) / (1.0 - pump.dead);
        let per_myriad = (dead * 10_000.0).round() as u16;
        let rise = 100.0 / (1.0 - dead);
        let (lag, delay) = (pump.rise_ms as u32, every_ms);
        let at_full = (pump.free_flow * above) as u32;
        // A train in front of a pump with a leak: this part of the pressure of a closed inlet remains.
        let against = self.rated.drop / self.rated.flow * pump.free_flow / pump.stall_pressure;
        let pressure_rise = rise * against / (1.0 + against);
        let pressure_at_full = (pump.stall_pressure * above) as u32;
        Config {
            flow: Curve::tuned(at_full, per_myriad, rise.round() as u16, lag, delay),
            pressure: Some(Curve::tuned(
                pressure_at_full,
                per_myriad,
                pressure_rise.round() as u16,
                lag,
                delay,
            )),
            ..Config::default()
        }
    }
}
