//! The air: what the pump truly draws.
//!
//! Flow follows its set point with a first-order lag, solved exactly for any length of time, so a coarser step
//! changes nothing but how often the slow wander is renewed.

use draught::machine::Demand;
use draught::units::{Target, TargetKind};

use super::random::{Stream, exp_minus};
use super::world::World;

/// The pump with its sampling train.
#[derive(Clone, Debug)]
pub(super) struct Plant {
    /// True flow at this moment, in µL/min.
    flow: f64,
    /// The slow wander at this moment, as a part of the flow; `None` while the pump is off.
    wander: Option<f64>,
    chance: Stream,
}

impl Plant {
    pub fn new(seed: u64) -> Self {
        Self { flow: 0.0, wander: None, chance: Stream::new(seed, "plant") }
    }

    /// Lets time pass; returns what was truly drawn, in µL·ms/min.
    pub fn pass(&mut self, world: &World, demand: Demand, ms: u64) -> f64 {
        let ms = ms as f64;
        match demand {
            Demand::Off => {
                self.wander = None;
                self.settle(0.0, world.pump.fall_ms, ms)
            }
            Demand::Pump(target) => {
                let wander = self.wander(world, ms);
                // The regulator holds what the sensor reads; a pressure is held as it is.
                let read_as = match target.kind() {
                    TargetKind::Flow(_) => 1.0 + world.sensor.gain_error,
                    TargetKind::Pressure(_) => 1.0,
                };
                let held = nominal_flow(world, target) / read_as;
                self.settle((held * (1.0 + wander)).max(0.0), world.pump.rise_ms, ms)
            }
        }
    }

    /// The slow wander: normal, forgotten with its time constant.
    fn wander(&mut self, world: &World, ms: f64) -> f64 {
        if world.pump.wander == 0.0 {
            return 0.0;
        }
        let kept = match self.wander {
            Some(_) => exp_minus(ms / f64::from(world.pump.wander_ms)),
            None => 0.0,
        };
        let fresh = (1.0 - kept * kept).sqrt() * world.pump.wander * self.chance.normal();
        let wander = self.wander.unwrap_or(0.0) * kept + fresh;
        self.wander = Some(wander);
        wander
    }

    /// Moves the flow towards `set` for a time.
    fn settle(&mut self, set: f64, lag_ms: u32, ms: f64) -> f64 {
        if lag_ms == 0 {
            self.flow = set;
            return set * ms;
        }
        let lag = f64::from(lag_ms);
        let left = exp_minus(ms / lag);
        let off = self.flow - set;
        self.flow = set + off * left;
        set * ms + off * lag * (1.0 - left)
    }
}

/// The flow that a target stands for in this world, in µL/min.
pub(super) fn nominal_flow(world: &World, target: Target) -> f64 {
    match target.kind() {
        TargetKind::Flow(flow) => f64::from(flow.ul_per_min()),
        TargetKind::Pressure(pressure) => {
            f64::from(pressure.as_pa()) * f64::from(world.train.flow_at_kpa) / 1_000.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use draught::units::Flow;

    fn two_litres() -> Demand {
        Demand::Pump(Target::flow(Flow::from_ul_per_min(2_000_000).unwrap()))
    }

    #[test]
    fn the_lag_is_solved_exactly_for_any_step() {
        let mut world = World::ideal();
        world.pump.rise_ms = 2_000;
        let (mut one, mut many) = (Plant::new(1), Plant::new(1));
        let whole = one.pass(&world, two_litres(), 10_000);
        let parts: f64 = (0..1_000).map(|_| many.pass(&world, two_litres(), 10)).sum();
        assert!((whole - parts).abs() < 1.0, "{whole} {parts}");
        // What a first-order lag leaves out, once settled, is flow · time constant.
        let missing = 2e6 * 10_000.0 - whole;
        assert!((missing - 2e6 * 2_000.0 * (1.0 - (-5.0_f64).exp())).abs() < 1.0, "{missing}");
    }

    #[test]
    fn what_runs_on_after_the_stop_is_drawn_too() {
        let mut world = World::ideal();
        world.pump.fall_ms = 300;
        let mut plant = Plant::new(1);
        plant.pass(&world, two_litres(), 1_000);
        let after = plant.pass(&world, Demand::Off, 3_600_000);
        assert!((after - 2e6 * 300.0).abs() < 1.0, "{after}");
        assert_eq!(plant.pass(&world, Demand::Off, 1_000), 0.0);
    }

    #[test]
    fn a_sensor_that_reads_high_makes_the_pump_draw_less() {
        let mut world = World::ideal();
        world.sensor.gain_error = 0.25;
        let drawn = Plant::new(1).pass(&world, two_litres(), 1_000);
        assert_eq!(drawn, 2e9 / 1.25);
    }
}
