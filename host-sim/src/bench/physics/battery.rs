//! What is left, and at what voltage.

use super::constants::BatteryWorld;

/// Open-circuit voltage of one lithium-ion cell against the part of its charge that is left: the usual shape (steep at both
/// ends, flat between), assumed.
const CELL: [(f64, f64); 9] = [
    (0.0, 3.00),
    (0.05, 3.40),
    (0.1, 3.55),
    (0.2, 3.65),
    (0.4, 3.74),
    (0.6, 3.83),
    (0.8, 3.97),
    (0.9, 4.06),
    (1.0, 4.20),
];

pub(super) fn cell_volts(left: f64) -> f64 {
    let left = left.clamp(0.0, 1.0);
    let (mut from, mut volts) = CELL[0];
    for (to, at) in CELL {
        if left <= to {
            let part = if to > from { (left - from) / (to - from) } else { 1.0 };
            return volts + (at - volts) * part;
        }
        (from, volts) = (to, at);
    }
    volts
}

/// A supply under way.
#[derive(Clone, Copy, Debug)]
pub(super) struct Battery {
    /// What is left, as a part of all.
    pub left: f64,
    /// At the board, in V.
    pub volts: f64,
    /// What is drawn, in mA.
    pub milliamps: f64,
}

impl Battery {
    pub fn new(world: &BatteryWorld, nominal: f64) -> Self {
        let left = world.start;
        Self { left, volts: world.open_volts(left, nominal), milliamps: world.idle_ma }
    }

    /// Draws for a time: `duty` of what the motor takes at this drive and pressure.
    pub fn pass(
        &mut self,
        world: &BatteryWorld,
        nominal: f64,
        (duty, drive, drop): (f64, f64, f64),
        ms: f64,
    ) {
        let motor = world.free_ma * drive + world.ma_per_kpa * drop / 1_000.0;
        // What the motor takes while its switch is closed comes from the battery; the rest of the time it runs on.
        self.milliamps = world.idle_ma + duty * motor;
        if world.mains {
            return;
        }
        let drawn = self.milliamps * ms / 3_600_000.0;
        self.left = (self.left - drawn / world.mah).max(0.0);
        let sag = self.milliamps * world.milliohm / 1e6;
        // An empty one is cut off by its protection.
        let open = world.open_volts(self.left, nominal);
        self.volts = if self.left > 0.0 { (open - sag).max(0.0) } else { 0.0 };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_meets_its_points_and_never_rises_as_it_empties() {
        for (left, volts) in CELL {
            assert_eq!(cell_volts(left), volts);
        }
        let all: Vec<f64> = (0..=1_000).map(|i| cell_volts(f64::from(i) / 1_000.0)).collect();
        assert!(all.windows(2).all(|w| w[0] <= w[1]));
    }

    #[test]
    fn a_charge_lasts_as_long_as_it_must() {
        let world = BatteryWorld {
            cells: 2.0,
            mah: 1_000.0,
            start: 1.0,
            milliohm: 200.0,
            idle_ma: 10.0,
            free_ma: 300.0,
            ma_per_kpa: 30.0,
            ..BatteryWorld::default()
        };
        let mut battery = Battery::new(&world, 7.4);
        // 10 + 0.5 · (300 · 0.4 + 30 · 2) = 100 mA: 10 h.
        let mut hours = 0.0;
        while battery.left > 0.0 {
            battery.pass(&world, 7.4, (0.5, 0.4, 2_000.0), 36_000.0);
            hours += 0.01;
        }
        assert!((hours - 10.0_f64).abs() < 0.02, "{hours}");
        assert_eq!(battery.volts, 0.0);
    }
}
