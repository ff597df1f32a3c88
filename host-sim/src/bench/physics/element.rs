//! The flow element: what the board is told of the flow.

use draught::port::FlowReading;

use super::air::kelvin;
use super::constants::PlantWorld;
use super::sine::sine_of_turns;
use crate::bench::random::Stream;
use crate::bench::world::SensorWorld;

/// What passed since the last reading.
#[derive(Clone, Copy, Debug, Default)]
struct Since {
    ms: f64,
    /// Sums over time of flow, drop and temperature inside.
    flow: f64,
    drop: f64,
    celsius: f64,
    /// Turns of the pulsation.
    turns: f64,
}

/// A flow sensor; a reading stands for the mean since the one before.
#[derive(Clone, Debug)]
pub(super) struct Element {
    chance: Stream,
    since: Since,
    /// Phase of the pulsation at the last reading, in turns.
    phase: f64,
    last: FlowReading,
}

impl Element {
    pub fn new(seed: u64) -> Self {
        Self {
            chance: Stream::new(seed, "element"),
            since: Since::default(),
            phase: 0.0,
            last: FlowReading { flow_ul_per_min: 0, drop_pa: None, air_mk: None },
        }
    }

    /// Lets air pass: flow and drop, the temperature inside, and the drive.
    pub fn pass(
        &mut self,
        world: &PlantWorld,
        (flow, drop): (f64, f64),
        celsius: f64,
        drive: f64,
        ms: f64,
    ) {
        self.since.ms += ms;
        self.since.flow += flow * ms;
        self.since.drop += drop * ms;
        self.since.celsius += celsius * ms;
        self.since.turns += world.pump.pulsation_hz * drive * ms / 1_000.0;
    }

    /// It was without power: what passed meanwhile is in no reading.
    pub fn forget(&mut self) {
        self.since = Since::default();
    }

    /// A reading. Asked again at the same instant, the same.
    pub fn read(&mut self, world: &PlantWorld, sensor: &SensorWorld, stuck: bool) -> FlowReading {
        let since = std::mem::take(&mut self.since);
        let phase = self.phase;
        self.phase = (phase + since.turns).fract();
        if since.ms <= 0.0 {
            return self.last;
        }
        let truth = since.flow / since.ms;
        let celsius = since.celsius / since.ms;
        let element = &world.element;
        let a = world.pump.pulsation;
        // A square-root law reads the root of the mean square.
        let law = if element.orifice { (1.0 + a * a / 2.0).sqrt() } else { 1.0 };
        // What is left of a sine after averaging: the difference of its cosines over its turns.
        let ripple = if since.turns > 0.0 {
            let cosines = sine_of_turns(phase + 0.25) - sine_of_turns(phase + since.turns + 0.25);
            a * cosines / (std::f64::consts::TAU * since.turns)
        } else {
            0.0
        };
        let drift = element.drift_per_10k * (celsius - 20.0) / 10.0;
        // Noise averages out: a reading of half the time has root two times as much.
        let shorter = (f64::from(sensor.every_ms) / since.ms.max(50.0)).sqrt();
        let noise = sensor.noise * shorter * self.chance.normal();
        let seen = truth * (law + ripple) * (1.0 + sensor.gain_error) * (1.0 + drift);
        let seen = (seen + element.zero) * (1.0 + noise);
        let step = (world.rated.most * sensor.resolution).round().max(1.0);
        let flow = ((seen.clamp(0.0, element.full_scale) / step).round() * step) as u32;
        if !stuck {
            let drop = since.drop / since.ms * (1.0 + element.drop_error);
            let measured = element.measures_drop;
            self.last = FlowReading {
                flow_ul_per_min: flow,
                drop_pa: measured.then_some(drop.round() as u32),
                air_mk: measured.then_some((kelvin(celsius) * 1_000.0).round() as u32),
            };
        }
        self.last
    }
}
