//! What is true of a pump, held against what it says: watched over every interval.

use draught::limits;
use draught::table::Limits;
use draught::units::{Target, TargetKind};

use super::broken::{Broken, Promise};
use super::faults::{Fault, FaultKind};
use crate::bench::physics::{FaultKind as InWorld, PlantWorld, Truth};
use crate::bench::world::{SensorWorld, World};

/// After a sensor has stuck, or a leak has ended, the limits see what is true again only after this, in ms.
const BLIND_MS: u64 = 30_000;

/// An interval of more than this stands for this, to the limits, in ms.
const GAP_MS: u64 = 5_000;

/// By how much the metered volume may differ from the true one, in µL.
///
/// The terms are those of `docs/accuracy.md`, each as large as this world makes it, and all of one sign:
///
/// * in proportion to the flow: the sensor's gain; its drift, with how far it is from 20 °C; what an orifice reads too much of a
///   pulsation, a²/4; the errors of drop, pressure and temperature in the correction to the inlet, or all of what the
///   correction would be where something of it is not measured;
/// * in proportion to the time: the sensor's zero, half a step of its resolution, a µL/min that is rounded away;
/// * by chance: the noise of the readings, and what is left of the pulsation in each, six standard deviations;
/// * for each start: the first reading, which is the mean since the last one before the pause, and what was drawn while the pump ran
///   down;
/// * for each interval of more than 5 s without a poll: all of it, as it has no volume (only too little is metered);
/// * for each cut: what was drawn since the latest checkpoint (likewise).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Budget {
    /// What may be metered too much or too little.
    both_ul: f64,
    /// What may be metered too little beside that.
    less_ul: f64,
    variance: f64,
}

impl Budget {
    fn either(&self) -> f64 {
        self.both_ul + 6.0 * self.variance.sqrt()
    }

    /// From the least to the most that may be metered of a true volume.
    pub fn around(&self, true_ul: f64) -> (f64, f64) {
        (true_ul - self.either() - self.less_ul, true_ul + self.either())
    }
}

/// Watches one event.
#[derive(Clone, Debug)]
pub(super) struct Watch {
    plant: PlantWorld,
    sensor: SensorWorld,
    faults: Vec<Fault>,
    limits: Limits,
    /// What the engine asks for since its latest poll.
    asked: Option<Target>,
    /// For how long it has asked for pumping, in ms.
    pub asked_ms: u64,
    /// For how long what is to be kept has been far off, in ms.
    off_ms: u64,
    /// Limits that have tripped.
    trips: u32,
    /// The most of the flow, in µL/min.
    most_flow: f64,
    /// What was drawn when it began, in µL.
    begin_ul: f64,
    pub budget: Budget,
}

impl Watch {
    pub fn new(world: &World, faults: &[Fault], limits: Limits, truth: &Truth) -> Self {
        Self {
            plant: world.plant.clone().unwrap_or_default(),
            sensor: world.sensor,
            faults: faults.to_vec(),
            limits,
            asked: None,
            asked_ms: 0,
            off_ms: 0,
            trips: 0,
            most_flow: 0.0,
            begin_ul: truth.drawn_ul,
            budget: Budget::default(),
        }
    }

    /// What was truly drawn, in µL.
    pub fn drawn(&self, truth: &Truth) -> f64 {
        truth.drawn_ul - self.begin_ul
    }

    /// Whether this pump measures all that a correction to its inlet takes.
    pub const fn is_corrected(&self) -> bool {
        self.plant.air.measured && self.plant.element.measures_drop
    }

    /// So many limits have tripped in this event: after each the next pass may begin at once, and its limits are judged anew.
    pub fn tripped(&mut self, trips: u32) {
        if trips != self.trips {
            (self.trips, self.off_ms) = (trips, 0);
        }
    }

    /// What the engine asks for from now on.
    pub fn asks(&mut self, target: Option<Target>) {
        if target == self.asked {
            return;
        }
        if target.is_some() && self.asked.is_none() {
            let flow = self.plant.rated.most * 1.2;
            self.budget.both_ul += flow * self.plant.pump.fall_ms / 60_000.0;
            self.budget.less_ul += flow * f64::from(self.sensor.every_ms) / 60_000.0;
        }
        self.asked = target;
        self.off_ms = 0;
    }

    /// Power is cut: what was drawn in so many ms may be in no record.
    pub fn cut(&mut self, lost_ms: u64) {
        // Also when nothing is asked for any more: the end of the stretch need not have been kept.
        self.budget.less_ul += self.most_flow * lost_ms as f64 / 60_000.0;
        self.asks(None);
    }

    /// Time has passed, without a cut.
    pub fn passed(&mut self, before: &Truth, after: &Truth) -> Result<(), Broken> {
        let ms = after.at_ms - before.at_ms;
        let (Some(target), true) = (self.asked, ms > 0) else { return Ok(()) };
        self.asked_ms += ms;
        let drawn = after.drawn_ul - before.drawn_ul;
        let flow = drawn * 60_000.0 / ms as f64;
        self.most_flow = self.most_flow.max(flow);
        let off = self.bias(before).max(self.bias(after));
        let step = (self.plant.rated.most * self.sensor.resolution).round().max(1.0);
        let minutes = ms as f64 / 60_000.0;
        let budget = &mut self.budget;
        budget.both_ul += drawn * off;
        budget.both_ul += (self.plant.element.zero.abs() + step / 2.0 + 1.0) * minutes;
        let every = f64::from(self.sensor.every_ms);
        // Of a sine that is averaged over many turns; it does not run slower than a tenth of full drive.
        let ripple = self.plant.pump.pulsation
            / (std::f64::consts::PI * self.plant.pump.pulsation_hz * 0.1 * every / 1_000.0);
        let noise = self.sensor.noise.powi(2) + ripple.powi(2);
        budget.variance += noise * drawn * flow * every / 60_000.0;
        if ms > GAP_MS {
            budget.less_ul += drawn;
        }
        self.trips(target, (flow, after.drop, off), ms, after.at_ms)
    }

    /// Something that is far off for longer than the grace trips a limit: then nothing is asked for any more.
    fn trips(
        &mut self,
        target: Target,
        (flow, drop, bias): (f64, f64, f64),
        ms: u64,
        now: u64,
    ) -> Result<(), Broken> {
        if self.is_blind(now) {
            self.off_ms = 0;
            return Ok(());
        }
        let trip = f64::from(self.limits.trip.as_percent()) / 100.0;
        let (kept, wanted, bias) = match target.kind() {
            TargetKind::Flow(flow_wanted) => (flow, f64::from(flow_wanted.ul_per_min()), bias),
            TargetKind::Pressure(pressure) => {
                (drop, f64::from(pressure.as_pa()), self.plant.element.drop_error.abs())
            }
        };
        let zero = self.plant.element.zero.abs() / wanted;
        // Half as much again as the limit, beside what the sensor may be wrong and four standard deviations of its noise.
        let far = 1.5 * trip + bias + zero + 4.0 * self.sensor.noise;
        if (kept / wanted - 1.0).abs() <= far {
            self.off_ms = 0;
            return Ok(());
        }
        self.off_ms += ms.min(GAP_MS);
        let config = limits::Config::default();
        let margin = config.settle_ms + config.back_ms + 2 * self.sensor.every_ms;
        // The poll at which it trips may be one that comes late.
        if self.off_ms > u64::from(self.limits.grace.as_ms() + margin) + GAP_MS {
            let (is, of) = (kept.round(), wanted.round());
            return Err(Promise::NoTrip.broken(
                format!("{is} instead of {of} for {} ms, and no limit has tripped", self.off_ms),
                now,
            ));
        }
        Ok(())
    }

    /// Whether the pump cannot see what it draws.
    fn is_blind(&self, now: u64) -> bool {
        self.faults.iter().any(|f| match f.kind {
            FaultKind::InWorld { kind: InWorld::SensorStuck | InWorld::Leak(_), for_ms } => {
                now >= f.at_ms && now < f.at_ms + for_ms + BLIND_MS
            }
            _ => false,
        })
    }

    /// How far a reading may be off in proportion to the flow.
    fn bias(&self, at: &Truth) -> f64 {
        let PlantWorld { element, pump, air, .. } = &self.plant;
        let inside = at.celsius + element.warming;
        let law = if element.orifice { pump.pulsation.powi(2) / 4.0 } else { 0.0 };
        let left = at.pressure - at.drop;
        let kelvin = at.celsius + 273.15;
        let to_inlet = if air.measured && element.measures_drop {
            element.drop_error.abs() * at.drop / left
                + air.pressure_error.abs() * at.drop / (at.pressure * left)
                + air.celsius_error.abs() / kelvin
        } else {
            at.pressure / left * (1.0 + element.warming / kelvin) - 1.0
        };
        let drift = element.drift_per_10k.abs() * (inside - 20.0).abs() / 10.0;
        // A tenth more for what the terms make of each other.
        1.1 * (self.sensor.gain_error.abs() + drift + law + to_inlet)
    }
}

#[cfg(test)]
mod tests {
    use draught::units::Flow;

    use super::*;
    use crate::bench::random::Stream;
    use crate::bench::whole::drawn;

    fn watch(world: &World) -> Watch {
        let mut watch = Watch::new(world, &[], Limits::DEFAULT, &Truth::default());
        watch.asks(Some(Target::flow(Flow::from_ul_per_min(2_000_000).unwrap())));
        watch
    }

    /// Seconds of a flow, in µL/min; the first in which a promise is broken.
    fn seconds(watch: &mut Watch, count: u64, flow: f64) -> Option<u64> {
        let air = Truth { celsius: 20.0, pressure: 101_325.0, ..Truth::default() };
        (0..count).find(|second| {
            let before = Truth { at_ms: second * 1_000, drawn_ul: 0.0, ..air };
            let after = Truth { at_ms: before.at_ms + 1_000, drawn_ul: flow / 60.0, ..air };
            watch.passed(&before, &after).is_err()
        })
    }

    #[test]
    fn a_blocked_pump_that_runs_on_breaks_a_promise_and_others_do_not() {
        let world = drawn(&mut Stream::new(1, "world")).world;
        assert_eq!(seconds(&mut watch(&world), 10_000, 2_000_000.0), None);
        assert_eq!(seconds(&mut watch(&world), 10_000, 1_850_000.0), None);
        // Grace, settling, the way back, two readings, a late poll.
        assert_eq!(seconds(&mut watch(&world), 10_000, 0.0), Some(60 + 10 + 5 + 2 + 5));
        let mut idle = watch(&world);
        idle.asks(None);
        assert_eq!(seconds(&mut idle, 10_000, 0.0), None);
    }

    #[test]
    fn a_budget_is_a_few_percent_of_what_was_drawn() {
        let world = drawn(&mut Stream::new(1, "world")).world;
        let mut watch = watch(&world);
        seconds(&mut watch, 3_600, 2_000_000.0);
        let (least, most) = watch.budget.around(120e6);
        assert!(least < 120e6 && least > 110e6, "{least}");
        assert!(most > 120e6 && most < 130e6, "{most}");
    }
}
