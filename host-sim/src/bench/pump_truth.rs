//! Where what a pump metered and what it truly drew part.

use std::collections::VecDeque;

use draught::units::RawVolume;

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
