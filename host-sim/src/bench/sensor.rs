//! The flow sensor: what the pump believes it draws.

use super::random::Stream;
use super::world::World;

/// A flow sensor, read at intervals; a reading stands for the mean flow of the interval before it.
#[derive(Clone, Debug)]
pub(super) struct Sensor {
    /// The smallest step of a reading, in µL/min.
    step: f64,
    chance: Stream,
}

impl Sensor {
    /// A sensor for flows up to `largest`, in µL/min.
    pub fn new(world: &World, seed: u64, largest: f64) -> Self {
        let step = (largest * world.sensor.resolution).round().max(1.0);
        Self { step, chance: Stream::new(seed, "sensor") }
    }

    /// Reads a true mean flow, in µL/min.
    pub fn read(&mut self, world: &World, truth: f64) -> u32 {
        let sensor = &world.sensor;
        let noise = if sensor.noise > 0.0 { sensor.noise * self.chance.normal() } else { 0.0 };
        let seen = truth * (1.0 + sensor.gain_error) * (1.0 + noise);
        let steps = (seen / self.step).round().max(0.0);
        // Saturates, as a sensor does.
        (steps * self.step) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ideal_sensor_reads_what_is_true() {
        let world = World::ideal();
        let mut sensor = Sensor::new(&world, 1, 2e6);
        for truth in [0.0, 1.0, 1_999_999.0, 2_000_000.4, 4e9] {
            assert_eq!(f64::from(sensor.read(&world, truth)), truth.round());
        }
    }

    #[test]
    fn gain_and_steps_are_seen() {
        let mut world = World::ideal();
        world.sensor.gain_error = 0.01;
        world.sensor.resolution = 0.001;
        let mut sensor = Sensor::new(&world, 1, 2e6);
        assert_eq!(sensor.read(&world, 2e6), 2_020_000);
        assert_eq!(sensor.read(&world, 2.0005e6), 2_020_000);
        assert_eq!(sensor.read(&world, 2.0025e6), 2_022_000);
    }
}
