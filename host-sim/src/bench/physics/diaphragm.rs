//! The pump's own curve.

use super::constants::DiaphragmWorld;
use crate::bench::random::exp_minus;

/// How fast the membrane works, as a part of full drive at nominal voltage.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Drive(f64);

impl Drive {
    /// Lets it follow what the motor is given for a time; the mean over that time.
    pub fn pass(&mut self, pump: &DiaphragmWorld, set: f64, ms: f64) -> f64 {
        let lag = if set > 0.0 { pump.rise_ms } else { pump.fall_ms };
        if lag <= 0.0 {
            self.0 = set;
            return set;
        }
        let off = self.0 - set;
        let left = exp_minus(ms / lag);
        self.0 = set + off * left;
        // So little is nothing: a pump that is off comes to a stand.
        if (self.0 - set).abs() < 1e-9 {
            self.0 = set;
        }
        set + off * lag * (1.0 - left) / ms
    }

    /// Whether it still moves.
    pub fn moves(self, set: f64) -> bool {
        (self.0 - set).abs() > 1e-4
    }
}

impl DiaphragmWorld {
    /// What it would draw against nothing.
    pub(super) fn free(&self, drive: f64) -> f64 {
        self.free_flow * ((drive - self.dead) / (1.0 - self.dead)).max(0.0)
    }

    /// What it draws less for a Pa.
    pub(super) fn lost_per_pa(&self) -> f64 {
        self.free_flow / self.stall_pressure
    }
}
