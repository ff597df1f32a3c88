//! Worlds drawn at random around the named ones.

use std::sync::OnceLock;

use super::plans::below;
use crate::bench::physics::PlantWorld;
use crate::bench::random::Stream;
use crate::bench::world::World;
use crate::plan::source::Source;

/// The worlds with a whole pump that `docs/world.md` names.
const NAMED: [(&str, &str); 3] = [
    ("worn-2-l-min", include_str!("../../../../docs/examples/worlds/worn-2-l-min.toml")),
    ("ambient-16-67", include_str!("../../../../docs/examples/worlds/ambient-16-67.toml")),
    ("low-flow-tube", include_str!("../../../../docs/examples/worlds/low-flow-tube.toml")),
];

/// A pump in a world.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// The world as its firmware was made for it.
    pub world: World,
    /// How much stronger the pump is than its firmware was told.
    pub strength: f64,
    /// How much slower its motor is than its firmware was told.
    pub lag: f64,
    /// Pages of its records.
    pub record_pages: u16,
    /// Pages of its checkpoints.
    pub checkpoint_pages: u16,
}

/// A world near one of the named ones: sensors, air, train, supply and crystals as others of their kind have them.
///
/// Every spread is assumed. They stay within what `docs/world.md` has a regulator put up with, so that a pump to which nothing
/// happens holds its flow.
#[must_use]
pub fn drawn(chance: &mut Stream) -> Drawn {
    let mut world = named(below(chance, NAMED.len() as u64) as usize).clone();
    let mut spread = |low: f64, high: f64| {
        let part = below(chance, 1_000_001) as f64 / 1e6;
        low + (high - low) * part
    };
    world.sensor.gain_error = spread(-0.015, 0.015);
    world.sensor.noise *= spread(0.3, 1.2);
    world.clock.wall_gain_ppb = spread(-25_000.0, 25_000.0) as i64;
    if let Some(plant) = &mut world.plant {
        let PlantWorld { rated, path, element, air, battery, crystal, .. } = plant;
        element.zero = rated.least * spread(-0.002, 0.002);
        element.drift_per_10k = spread(-0.005, 0.005);
        element.drop_error = spread(-0.02, 0.02);
        element.measures_drop = spread(0.0, 1.0) < 0.8;
        air.celsius = spread(5.0, 35.0);
        air.swing = spread(0.0, 5.0);
        air.pressure = spread(88_000.0, 103_000.0);
        air.celsius_error = spread(-1.0, 1.0);
        air.pressure_error = spread(-400.0, 400.0);
        air.measured = spread(0.0, 1.0) < 0.8;
        let clean = path.filter + path.tube + path.fittings;
        path.added = (rated.drop - clean) * spread(0.0, 1.0);
        path.dust *= spread(0.0, 2.0);
        battery.start = spread(0.4, 1.0);
        crystal.ppm = spread(-30.0, 30.0);
    }
    let (strength, lag) = (spread(0.95, 1.03), spread(0.7, 1.05));
    Drawn {
        world,
        strength,
        lag,
        record_pages: [8, 16, 48][below(chance, 3) as usize],
        checkpoint_pages: [2, 4, 12][below(chance, 3) as usize],
    }
}

fn named(index: usize) -> &'static World {
    static WORLDS: OnceLock<[World; NAMED.len()]> = OnceLock::new();
    let read = || {
        NAMED.map(|(name, text)| {
            let path = format!("docs/examples/worlds/{name}.toml");
            // They come with the program, and tests read them.
            World::read(&Source::new(path, text)).unwrap_or_default()
        })
    };
    &WORLDS.get_or_init(read)[index % NAMED.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_named_world_has_a_plant() {
        for (index, (name, _)) in NAMED.iter().enumerate() {
            assert!(named(index).plant.is_some(), "{name}");
        }
    }
}
