//! A sensor that says the same whatever the pump does.

use super::Config;
use crate::port::Duty;

/// The latest reading, for how long it has been the same, and between which duties.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Stuck {
    value: u32,
    ms: u32,
    least: Duty,
    most: Duty,
}

impl Stuck {
    pub(super) const NONE: Self = Self { value: 0, ms: 0, least: Duty::FULL, most: Duty::OFF };

    /// Whether the sensor is stuck. A reading of 0 is a blocked inlet, which is another limit's.
    pub(super) fn sees(&mut self, value: u32, duty: Duty, ms: u32, config: &Config) -> bool {
        if value == 0 || value != self.value {
            *self = Self { value, ms: 0, least: duty, most: duty };
            return false;
        }
        self.ms = self.ms.saturating_add(ms);
        (self.least, self.most) = (self.least.min(duty), self.most.max(duty));
        let moved = self.most.per_myriad().saturating_sub(self.least.per_myriad());
        let though_driven = self.ms > config.stuck_ms && moved >= config.stuck_duty_per_myriad;
        though_driven || config.same_at_most_ms.is_some_and(|most| self.ms > most)
    }
}
