//! What surrounds the simulated pump, as numbers. Their file is read in `world_file.rs`.

use std::fmt;

use super::physics::PlantWorld;

/// A simulated world. Every number in it is a constant; chance comes from the seed.
#[derive(Clone, Debug, PartialEq)]
pub struct World {
    /// What it is called.
    pub name: String,
    /// The clocks.
    pub clock: ClockWorld,
    /// The pump and how well it keeps its flow.
    pub pump: PumpWorld,
    /// What the air passes.
    pub train: TrainWorld,
    /// The flow sensor.
    pub sensor: SensorWorld,
    /// What the operator does.
    pub operator: OperatorWorld,
    /// Pump, train, sensors, air and supply with their physics, in a world that has a `[plant]`.
    pub plant: Option<PlantWorld>,
    /// Where each number comes from, in the order of the world file.
    pub sources: Vec<Source>,
}

/// Where a constant of a world comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The key in the world file, such as `sensor.noise`.
    pub key: String,
    /// The value as it was written.
    pub is: String,
    /// Where it comes from: a published source, a measurement, or "assumed".
    pub from: String,
}

/// The clocks of the pump.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockWorld {
    /// What the wall clock gains on the monotonic one, in parts per billion.
    pub wall_gain_ppb: i64,
}

/// The pump: flow follows its demand with a lag, and is held with a slow wander.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PumpWorld {
    /// Time constant of the flow rising to its target, in ms.
    pub rise_ms: u32,
    /// Time constant of the flow falling when the motor is off, in ms.
    pub fall_ms: u32,
    /// Standard deviation of the slow wander of the flow, as a part of it.
    pub wander: f64,
    /// Time constant of that wander, in ms.
    pub wander_ms: u32,
}

/// The sampling train, needed where the pump keeps pressure constant: then the train decides the flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TrainWorld {
    /// The flow through it at a pressure difference of 1 kPa, in µL/min.
    pub flow_at_kpa: u32,
}

/// The flow sensor. The pump holds what it reads, not what is true.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorWorld {
    /// How much more it reads than is true, as a part of the truth.
    pub gain_error: f64,
    /// Standard deviation of the noise of one reading, as a part of it.
    pub noise: f64,
    /// The smallest step of a reading, as a part of the schedule's largest flow; 0 for 1 µL/min.
    pub resolution: f64,
    /// How often it is read while the pump runs, in ms.
    pub every_ms: u32,
}

/// What the operator does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OperatorWorld {
    /// When a hold until resumed is resumed.
    pub resume: Resume,
    /// Whether a new sampler is put in and confirmed when the schedule asks for one.
    pub confirms: bool,
}

/// When a hold until resumed is resumed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Resume {
    /// After 30 min, or after two thirds of the hold's "at most" if that is sooner.
    Usual,
    /// After a time, in ms; a hold that has run out by then is not resumed.
    After(u64),
    /// Never: every hold runs out.
    Never,
}

const USUAL_MS: u64 = 30 * 60_000;

impl Resume {
    /// How long after its begin a hold of at most `at_most_ms` is resumed; `None`: it runs out.
    #[must_use]
    pub fn after_ms(self, at_most_ms: u64) -> Option<u64> {
        match self {
            Self::Usual => Some(USUAL_MS.min(at_most_ms * 2 / 3)),
            Self::After(ms) => Some(ms).filter(|ms| *ms < at_most_ms),
            Self::Never => None,
        }
    }
}

impl World {
    /// A world without any error: flow is at its target at once, the sensor reads what is true, both clocks agree.
    #[must_use]
    pub fn ideal() -> Self {
        Self {
            name: "ideal".to_owned(),
            clock: ClockWorld { wall_gain_ppb: 0 },
            pump: PumpWorld { rise_ms: 0, fall_ms: 0, wander: 0.0, wander_ms: 1_000 },
            train: TrainWorld { flow_at_kpa: 1_500_000 },
            sensor: SensorWorld { gain_error: 0.0, noise: 0.0, resolution: 0.0, every_ms: 1_000 },
            operator: OperatorWorld { resume: Resume::Usual, confirms: true },
            plant: None,
            sources: Vec::new(),
        }
    }

    /// This world with perfect clocks: what its operator does, and nothing else that could differ from the forecast.
    #[must_use]
    pub fn as_forecast(&self) -> Self {
        Self { operator: self.operator, train: self.train, ..Self::ideal() }
    }
}

impl fmt::Display for World {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} world", self.name)
    }
}
