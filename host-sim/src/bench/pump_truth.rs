//! Where what a pump metered and what it truly drew part.

use std::collections::VecDeque;

use draught::units::RawVolume;

use super::observe::Around;
use super::physics::Truth;
use super::run::Setup;

/// A cut goes back to the newest checkpoint: at most this many readings are taken back.
const KEPT: usize = 16_384;

/// Keeps count of the truth while a run goes on.
#[derive(Clone, Debug, Default)]
pub(super) struct Ledger {
    now: Covered,
    /// What was covered when so much had been metered, the latest last.
    steps: VecDeque<(RawVolume, Covered)>,
    /// Each sample, and what had been drawn when it began, in µL.
    samples: Vec<(u32, f64)>,
    all_ul: f64,
}

/// What readings that are in the record stand for, in µL.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Covered {
    drawn_ul: f64,
    leaked_ul: f64,
}

/// Where metered and true volume part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Share {
    /// In the pump's record.
    pub metered: RawVolume,
    /// Truly drawn through the sampler's inlet.
    pub truly: RawVolume,
    /// Of it, while readings were taken that the record holds.
    pub covered: RawVolume,
    /// What came in behind the train meanwhile, past the sampler: it is metered, and no air from the inlet.
    pub leaked: RawVolume,
}

impl Share {
    /// Truly drawn, and in no record: after the newest checkpoint before a cut, while the sensor failed, while the pump came to a stand.
    #[must_use]
    pub const fn unrecorded(&self) -> RawVolume {
        self.truly.since(self.covered)
    }
}

impl Ledger {
    /// A reading stands for so much.
    pub fn metered(&mut self, so_far: RawVolume, drawn_ul: f64, leaked_ul: f64) {
        self.now.drawn_ul += drawn_ul;
        self.now.leaked_ul += leaked_ul;
        self.steps.push_back((so_far, self.now));
        if self.steps.len() > KEPT {
            self.steps.pop_front();
        }
    }

    /// After a cut, the record holds so much.
    pub fn back_to(&mut self, so_far: RawVolume) {
        let oldest = self.steps.front().map(|s| s.1);
        while self.steps.back().is_some_and(|(drawn, _)| *drawn > so_far) {
            self.steps.pop_back();
        }
        let none = if so_far == RawVolume::ZERO { None } else { oldest };
        self.now = self.steps.back().map(|s| s.1).or(none).unwrap_or_default();
    }

    /// Pumping begins on a sample.
    pub fn began(&mut self, sample: u32, drawn_ul: f64) {
        if self.samples.last().is_none_or(|(last, _)| *last != sample) {
            self.samples.push((sample, drawn_ul));
        }
    }

    pub fn end(&mut self, drawn_ul: f64) {
        self.all_ul = drawn_ul;
    }

    /// What was truly drawn on a sample.
    pub fn of_sample(&self, sample: u32) -> RawVolume {
        let Some(i) = self.samples.iter().position(|(n, _)| *n == sample) else {
            return RawVolume::ZERO;
        };
        let end = self.samples.get(i + 1).map_or(self.all_ul, |(_, ul)| *ul);
        raw(end).since(raw(self.samples[i].1))
    }

    pub fn all(&self) -> RawVolume {
        raw(self.all_ul)
    }

    pub fn share(&self, metered: RawVolume) -> Share {
        Share {
            metered,
            truly: raw(self.all_ul),
            covered: raw(self.now.drawn_ul),
            leaked: raw(self.now.leaked_ul),
        }
    }
}

/// µL as µL·ms/min, to the nearest.
pub(super) fn raw(ul: f64) -> RawVolume {
    RawVolume::from_raw((ul * 60_000.0).round() as u64)
}

/// What came in behind the train between two polls, at the inlet's conditions, in µL.
pub(super) fn leaked_ul(setup: &Setup<'_>, before: &Truth, now: &Truth) -> f64 {
    let Some(plant) = &setup.world.plant else { return 0.0 };
    let kelvin = now.celsius + 273.15;
    let thinner = (now.pressure - now.drop) / now.pressure;
    let at_inlet = now.inside * thinner * kelvin / (kelvin + plant.element.warming);
    let leak = (at_inlet - now.inlet).max(0.0);
    // Rounding of the solver is no leak.
    if leak < 1e-6 * now.inside { 0.0 } else { leak * (now.at_ms - before.at_ms) as f64 / 60_000.0 }
}

/// What is true around a reading.
pub(super) fn around(setup: &Setup<'_>, before: &Truth, now: &Truth) -> Around {
    let mains = setup.world.plant.as_ref().is_some_and(|p| p.battery.mains);
    let ms = (now.at_ms - before.at_ms).max(1) as f64;
    Around {
        true_ul_per_min: ((now.drawn_ul - before.drawn_ul) * 60_000.0 / ms).round() as u32,
        drop_pa: now.drop.max(0.0).round() as u32,
        temperature_mk: ((now.celsius + 273.15) * 1_000.0).round() as u32,
        pressure_pa: now.pressure.round() as u32,
        battery_per_myriad: (!mains).then(|| (now.left * 10_000.0).round() as u16),
        supply_mv: (now.volts * 1_000.0).round() as u32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_a_cut_only_what_the_checkpoint_holds_is_covered() {
        let mut ledger = Ledger::default();
        ledger.began(1, 0.0);
        for i in 1..=10 {
            ledger.metered(raw(f64::from(i) * 110.0), 100.0, 1.0);
        }
        // The checkpoint holds six readings of ten.
        ledger.back_to(raw(660.0));
        ledger.metered(raw(770.0), 100.0, 1.0);
        ledger.began(2, 1_100.0);
        ledger.end(1_200.0);
        let share = ledger.share(raw(770.0));
        assert_eq!((share.covered, share.leaked), (raw(700.0), raw(7.0)));
        assert_eq!((share.truly, share.unrecorded()), (raw(1_200.0), raw(500.0)));
        assert_eq!((ledger.of_sample(1), ledger.of_sample(2)), (raw(1_100.0), raw(100.0)));
        // One that holds none.
        ledger.back_to(RawVolume::ZERO);
        assert_eq!(ledger.share(RawVolume::ZERO).covered, RawVolume::ZERO);
    }
}
