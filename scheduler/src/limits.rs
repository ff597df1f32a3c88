//! When a pump must stop: flow off its target, too much pressure, a weak supply, a sensor that fails or is stuck.
//!
//! Pure: what was seen and for how long go in, what tripped comes out. What happens then is the schedule's fault rule
//! (`docs/steps.md`).
//!
//! | limit | trips when |
//! |---|---|
//! | flow low, flow high | what is kept constant was off its target by **more** than the schedule's trip percentage for **longer** than its grace: 10 % and 60 s unless set (40 CFR 50 App. L 7.4.4; 30 CFR 74.4(a)(14)). Not before [`Config::settle_ms`] after a start, but the time counts from the start, so a pump that starts with its inlet shut stops after the grace too |
//! | pressure | the pressure difference was above the schedule's limit for longer than its grace |
//! | supply | the supply was low for longer than [`Config::supply_ms`] |
//! | sensor | no reading for longer than [`Config::sensor_ms`]; or the same reading, not 0, for longer than [`Config::stuck_ms`], while the duty moved by [`Config::stuck_duty_per_myriad`] or more; or the same reading for longer than [`Config::same_at_most_ms`], where a board sets it |
//!
//! An excursion ends when readings have been inside again for [`Config::back_ms`]: near the limit single readings fall inside by their
//! noise, and a flow of 10.6 % too little must not pass for one that keeps coming back (40 CFR 53.53 asks for a stop 30 to 90 s after
//! the flow passed the limit). Only a reading that is outside trips, so an excursion of 55 s does not. While no reading
//! is to be had, an excursion goes on.
//!
//! Beside that, [`Limits::is_off_target`] warns when the mean over 5 min is more than 5 % off the **target** (App. L 7.4.3.1). The other
//! rule of App. L, 5 % off the mean of the whole **period** (7.4.5.2), can be judged only when the period is over, from the 5-min
//! means in the record.
//!
//! ```
//! use draught::event::Limit;
//! use draught::limits::{Config, Limits, Seen};
//! use draught::port::Duty;
//! use draught::table;
//! use draught::units::{Flow, Target};
//!
//! let target = Target::flow(Flow::from_ul_per_min(16_670_000)?);
//! let seen = Seen { duty: Duty::FULL, ..Seen::flow(14_900_000) };
//! let mut limits = Limits::new(Config::default());
//! limits.start();
//! for _ in 0..60 {
//!     assert_eq!(limits.judge(target, &table::Limits::DEFAULT, &seen, 1_000), None);
//! }
//! let tripped = limits.judge(target, &table::Limits::DEFAULT, &seen, 1_000);
//! assert_eq!(tripped, Some(Limit::FlowLow));
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

use crate::event::Limit;
use crate::meter::GAP_MS;
use crate::port::Duty;
use crate::table;
use crate::units::{Target, TargetKind};

mod excursion;
mod interval;
mod stuck;

use excursion::Excursion;
use interval::Interval;
use stuck::Stuck;

/// How limits are judged, beyond what the schedule says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config {
    /// A flow that is off trips nothing before this time after a start.
    pub settle_ms: u32,
    /// Being inside for this long ends an excursion.
    pub back_ms: u32,
    /// A sensor may fail for this long.
    pub sensor_ms: u32,
    /// A supply may be low for this long.
    pub supply_ms: u32,
    /// The same reading may come for this long while the duty moves ...
    pub stuck_ms: u32,
    /// ... by this, in 0.01 % of full.
    pub stuck_duty_per_myriad: u16,
    /// The same reading may come for this long in any case; set it only for a sensor whose noise is more than its step.
    pub same_at_most_ms: Option<u32>,
    /// The mean over 5 min may be off the target by this much.
    pub warn_percent: u8,
}

impl Default for Config {
    /// 10 s to settle, 5 s to be back, 10 s without a reading, 2 s of a low supply, 10 s of one reading while the duty moves by a tenth
    /// of full (all assumed); 5 % (40 CFR 50 App. L 7.4.3.1).
    fn default() -> Self {
        Self {
            settle_ms: 10_000,
            back_ms: 5_000,
            sensor_ms: 10_000,
            supply_ms: 2_000,
            stuck_ms: 10_000,
            stuck_duty_per_myriad: 1_000,
            same_at_most_ms: None,
            warn_percent: 5,
        }
    }
}

/// What was seen of an interval of pumping.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Seen {
    /// The flow at the sampler's inlet, in µL/min; `None`: the sensor failed.
    pub flow_ul_per_min: Option<u32>,
    /// The pressure difference across the sampling train, in Pa, where it is measured.
    pub drop_pa: Option<u32>,
    /// How hard the motor was driven.
    pub duty: Duty,
    /// The supply is too weak to go on pumping.
    pub supply_low: bool,
}

impl Seen {
    /// A flow with nothing else to say: no pressure measured, motor at nothing known, supply good.
    #[must_use]
    pub const fn flow(ul_per_min: u32) -> Self {
        Self {
            flow_ul_per_min: Some(ul_per_min),
            drop_pa: None,
            duty: Duty::OFF,
            supply_low: false,
        }
    }
}

/// The limits of a pump, from a start on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limits {
    config: Config,
    since_ms: u32,
    off: Excursion,
    pressure: Excursion,
    stuck: Stuck,
    without_reading_ms: u32,
    supply_low_ms: u32,
    interval: Interval,
}

impl Limits {
    /// Nothing seen yet.
    #[must_use]
    pub const fn new(config: Config) -> Self {
        Self {
            config,
            since_ms: 0,
            off: Excursion::NONE,
            pressure: Excursion::NONE,
            stuck: Stuck::NONE,
            without_reading_ms: 0,
            supply_low_ms: 0,
            interval: Interval::NONE,
        }
    }

    /// The pump starts, or goes on to another target: nothing of before counts.
    pub const fn start(&mut self) {
        *self = Self::new(self.config);
    }

    /// The pump goes on through another sampler. What was wrong with the one before does not trip at once: the flow has time to
    /// settle. But it is not forgotten, or a pump that stands still through many short samples would never be stopped.
    pub const fn next_sampler(&mut self) {
        (self.since_ms, self.interval) = (0, Interval::NONE);
    }

    /// Whether the latest whole 5 min of pumping were off their target by more than the warning percentage on average.
    #[must_use]
    pub const fn is_off_target(&self) -> bool {
        self.interval.was_off
    }

    /// Judges what was seen of the last `ms`; an interval of more than 5 s stands for 5 s, as its reading does. What trips, trips
    /// again at each call until the next start.
    ///
    /// Where a pressure is kept constant, too little of it is [`Limit::FlowLow`] and too much [`Limit::FlowHigh`];
    /// [`Limit::Pressure`] is the schedule's limit on it. Without a reading of what is kept constant the sensor fails.
    pub fn judge(
        &mut self,
        target: Target,
        limits: &table::Limits,
        seen: &Seen,
        ms: u64,
    ) -> Option<Limit> {
        let ms = ms.min(GAP_MS) as u32;
        let config = self.config;
        let (target, kept) = match target.kind() {
            TargetKind::Flow(flow) => (flow.ul_per_min(), seen.flow_ul_per_min),
            TargetKind::Pressure(pressure) => (pressure.as_pa(), seen.drop_pa),
        };
        self.since_ms = self.since_ms.saturating_add(ms);

        let grace = limits.grace.as_ms();
        let is_off = kept.map(|kept| is_off(kept, target, limits.trip.as_percent()));
        let flow_trips = self.off.lasts(is_off, ms, config.back_ms, grace);
        let too_much =
            limits.pressure_at_most.and_then(|most| seen.drop_pa.map(|drop| drop > most.as_pa()));
        let pressure_trips = self.pressure.lasts(too_much, ms, config.back_ms, grace);
        let supply_trips = count(&mut self.supply_low_ms, seen.supply_low, ms) > config.supply_ms;
        let no_reading = count(&mut self.without_reading_ms, kept.is_none(), ms) > config.sensor_ms;
        let stuck = match kept {
            Some(kept) => {
                self.interval.add(kept, target, ms, config.warn_percent);
                self.stuck.sees(kept, seen.duty, ms, &config)
            }
            None => false,
        };

        // The sensor first: what it says cannot be judged if it fails.
        if no_reading || stuck {
            Some(Limit::Sensor)
        } else if supply_trips {
            Some(Limit::Supply)
        } else if pressure_trips {
            Some(Limit::Pressure)
        } else if flow_trips
            && (self.since_ms >= config.settle_ms
                || self.off.is_longer_than(grace.saturating_add(config.settle_ms)))
        {
            Some(if kept < Some(target) { Limit::FlowLow } else { Limit::FlowHigh })
        } else {
            None
        }
    }
}

/// For how long it has been so, in ms.
fn count(so_far: &mut u32, is_so: bool, ms: u32) -> u32 {
    *so_far = if is_so { so_far.saturating_add(ms) } else { 0 };
    *so_far
}

/// Whether a value differs from the target by more than a percentage of it: exact.
const fn is_off(value: u32, target: u32, percent: u32) -> bool {
    // Below 2^32 · 100, and a percentage is below 256.
    let off = (value.abs_diff(target) as u64).wrapping_mul(100);
    off > (target as u64).wrapping_mul(percent as u64)
}

#[cfg(test)]
mod tests;
